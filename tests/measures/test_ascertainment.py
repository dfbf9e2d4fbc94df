"""Devices issued against devices in the log, by hand."""

from collections.abc import Callable

import pandas as pd

from audit.measures.ascertainment import case_ascertainment
from audit.measures.data_quality import query_list
from audit.records import Cohort, VisitLog

LOG = """
    patient_ref | visit_date | visit_kind | insertion_outcome    | site_ref | device_wasted_count
    W1          | 2026-07-01 | insertion  | placed               | A        | 0
    W2          | 2026-07-02 | insertion  | failed               | A        | 2
    W3          | 2026-07-03 | insertion  | failed               | A        |
    W4          | 2026-08-03 | insertion  | placed               | A        |
    W5          | 2026-07-04 | insertion  | placed               | B        | 1
    W6          | 2026-07-05 | insertion  | deferred_not_started | A        |
    W7          | 2026-07-05 | insertion  | placed               |          |
    """


def test_the_log_is_reconciled_by_site_and_month(cohort_of: Callable[..., Cohort]) -> None:
    issued = pd.DataFrame(
        {
            "site_ref": ["A", "A", "B"],
            "month": ["2026-07", "2026-08", "2026-07"],
            "devices_issued": [6, 1, 2],
            "devices_returned": [1, 0, 0],
        }
    )
    table = case_ascertainment(cohort_of(LOG).attempts, issued)
    names = ["by", "stratum", "month", "devices_placed", "devices_wasted", "n_wasted_unknown", "used"]
    assert table[[*names, "not_accounted_for"]].to_numpy().tolist() == [
        # July at A: 1 placed and 2 wasted of 6 - 1; one failure does not say what it wasted.
        ["overall", "overall", "", 3, 3, 1, 8, 2],
        ["site_ref", "A", "", 2, 2, 1, 6, 2],
        ["site_ref", "B", "", 1, 1, 0, 2, 0],
        ["site_and_month", "A", "2026-07", 1, 2, 1, 5, 2],
        ["site_and_month", "A", "2026-08", 1, 0, 0, 1, 0],
        ["site_and_month", "B", "2026-07", 1, 1, 0, 2, 0],
    ]
    assert table["ratio"].round(4).tolist() == [0.75, 0.6667, 1.0, 0.6, 1.0, 1.0]


def test_a_site_that_never_logs_accounts_for_nothing_and_one_with_no_stock_has_no_ratio(
    cohort_of: Callable[..., Cohort],
) -> None:
    issued = pd.DataFrame(
        {"site_ref": ["C", "D"], "month": "2026-07", "devices_issued": [5, 0], "devices_returned": [0, 0]}
    )
    table = case_ascertainment(cohort_of(LOG).attempts, issued).set_index(["by", "stratum"])
    assert table.loc[("site_ref", "C"), "not_accounted_for"] == 5
    assert pd.isna(table.loc[("site_ref", "D"), "ratio"])


def test_the_query_list_names_line_site_and_what_to_do(log_of: Callable[..., VisitLog]) -> None:
    log = log_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | site_ref | visit_ref | age_years
        W1          | 2026-07-01 | insertion  | placed            | B        | V1        | 999
        W2          | 2026-07-01 | insertion  | placed            | A        |           | abc
        """)
    queries = query_list(log.findings, log.set_aside, log.visits)
    assert queries[["site_ref", "row", "visit_ref", "column", "rule", "used"]].to_numpy().tolist() == [
        ["A", 3, "", "age_years", "unreadable_value", True],
        ["B", 2, "V1", "age_years", "out_of_range", True],
    ]
    assert queries["message"].str.endswith(".").all()
    assert not queries["message"].str.contains("abc|W1|W2").any()


def test_nothing_to_ask_gives_no_rows(log_of: Callable[..., VisitLog]) -> None:
    log = log_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2026-07-01 | insertion  | placed
        """)
    assert query_list(log.findings.head(0), log.set_aside, log.visits).empty
