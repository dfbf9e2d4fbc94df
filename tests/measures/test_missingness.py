"""What counts as missing: only rows to which a field applies, by site and over the calendar."""

from collections.abc import Callable

import pandas as pd
import pytest

from audit.measures.data_quality import calendar_unit, field_completeness, missingness
from audit.records import VisitLog
from audit.schema.applies import NOT_WHERE, ONLY_IF_ANY, ONLY_WHERE
from audit.schema.visits import VISITS

Load = Callable[..., VisitLog]


def counts(table: pd.DataFrame, column: str) -> list[list[object]]:
    """Stratum, missing and of how many, for one column."""
    rows: list[list[object]] = (
        table.loc[table["column"] == column, ["stratum", "events", "n"]].to_numpy().tolist()
    )
    return rows


@pytest.fixture
def visits(log_of: Load) -> pd.DataFrame:
    """Six visits at two sites over four quarters, with one of everything that makes a field not apply."""
    return log_of("""
        patient_ref | visit_date | visit_kind     | site_ref | insertion_outcome    | pain_score | contact_result | device_in_situ    | threads_seen
        W1          | 2025-01-10 | insertion      | S1       | placed               | 3          |                |                   |
        W2          | 2025-02-10 | insertion      | S1       | failed               |            |                |                   |
        W3          | 2025-02-11 | insertion      | S2       | deferred_not_started |            |                |                   |
        W1          | 2025-03-01 | follow_up      | S1       |                      |            | reached        | in_situ_confirmed |
        W1          | 2025-10-01 | remote_contact | S2       |                      |            | not_reached    |                   |
        W1          | 2025-11-01 | remote_contact | S2       |                      |            | reached        | unknown           |
        """).visits  # noqa: E501 - a drawn log


def test_a_field_is_missing_only_where_it_applies(visits: pd.DataFrame) -> None:
    table = missingness(visits)
    # Pain belongs to the two insertions begun; the device to the two contacts at which someone spoke, unknown being
    # missing; threads to the one who was examined.
    assert counts(table, "pain_score") == [["overall", 1, 2]]
    assert counts(table, "device_in_situ") == [["overall", 1, 2]]
    assert counts(table, "threads_seen") == [["overall", 1, 1]]
    assert counts(table, "insertion_outcome") == [["overall", 0, 3]]


def test_each_site_is_counted_by_itself_and_the_sites_add_up(visits: pd.DataFrame) -> None:
    by_site, overall = missingness(visits, by="site_ref"), missingness(visits)
    assert counts(by_site, "pain_score") == [["S1", 1, 2], ["S2", 0, 0]]
    assert counts(by_site, "device_in_situ") == [["S1", 0, 1], ["S2", 1, 1]]
    names = ["events", "n", "n_unknown"]
    pd.testing.assert_frame_equal(
        by_site.groupby("column", sort=False)[names].sum(),
        overall.set_index("column")[names],
        check_names=False,
    )


def test_a_quarter_without_a_visit_stands_between_the_others(visits: pd.DataFrame) -> None:
    table = missingness(visits, by="quarter")
    assert counts(table, "visit_kind") == [
        ["2025Q1", 0, 4],
        ["2025Q2", 0, 0],
        ["2025Q3", 0, 0],
        ["2025Q4", 0, 2],
    ]
    assert table.loc[table["n"] == 0, "proportion"].isna().all()
    assert len(counts(missingness(visits, by="month"), "visit_kind")) == 11
    assert counts(missingness(visits, by="year"), "visit_kind") == [["2025", 0, 6]]


def test_a_field_that_the_log_does_not_have_is_never_a_count_of_nought(visits: pd.DataFrame) -> None:
    table = missingness(visits).set_index("column")
    absent = table[~table["in_log"]]
    assert "age_years" in absent.index
    assert (absent["n"] == 0).all()
    assert absent["proportion"].isna().all()
    # It would apply to three insertions, of which one was not begun.
    assert absent.loc[["age_years", "sound_length_mm"], "n_unknown"].tolist() == [3, 2]


def test_what_is_missing_and_what_is_filled_in_make_up_the_rows(visits: pd.DataFrame) -> None:
    for by in ("overall", "site_ref"):
        missing = missingness(visits, by=by)
        missing = missing[missing["in_log"]].reset_index(drop=True)
        filled = field_completeness(visits, by=by).reset_index(drop=True)
        assert missing[["stratum", "column", "n"]].equals(filled[["stratum", "column", "n"]])
        assert (missing["events"] + filled["events"] == missing["n"]).all()


def test_plain_pandas_counts_the_same_blanks(visits: pd.DataFrame) -> None:
    begun = visits[visits["insertion_outcome"].isin(["placed", "failed"])]
    expected = begun["pain_score"].isna().groupby(begun["site_ref"].astype(str)).sum()
    found = missingness(visits, by="site_ref")
    own = found[(found["column"] == "pain_score") & (found["n"] > 0)]
    assert dict(zip(own["stratum"], own["events"], strict=True)) == expected.to_dict()


def test_without_visits_only_the_whole_has_rows(visits: pd.DataFrame) -> None:
    for by, length in (("overall", len(missingness(visits))), ("site_ref", 0), ("quarter", 0)):
        table = missingness(visits.head(0), by=by)
        assert len(table) == length
        assert (table["n"] == 0).all()
        assert {"in_log", "events", "proportion", "caution"} <= set(table.columns)


def test_a_stratum_that_there_is_not_is_a_wrong_argument(visits: pd.DataFrame) -> None:
    with pytest.raises(
        ValueError, match=r"^by must be overall, site_ref, clinician_ref, month, quarter or year, got 'week'$"
    ):
        missingness(visits, by="week")


def test_the_calendar_is_as_fine_as_can_be_shown() -> None:
    def spanning(last: str) -> str:
        return calendar_unit(pd.DataFrame({"visit_date": pd.to_datetime(["2020-01-31", last])}))

    assert [
        spanning(last) for last in ("2020-01-31", "2021-04-01", "2021-05-01", "2023-12-31", "2024-01-01")
    ] == [
        "month",
        "month",
        "quarter",
        "quarter",
        "year",
    ]
    assert calendar_unit(pd.DataFrame({"visit_date": pd.to_datetime([])})) == "month"


def test_every_condition_names_columns_and_codes_of_the_schema() -> None:
    for conditions in (ONLY_WHERE, NOT_WHERE):
        for name, each in conditions.items():
            assert VISITS[name]
            for deciding, codes in each:
                column = VISITS[deciding]
                assert set(codes) <= (set(column.codes) if column.kind == "code" else {True, False})
    assert set(ONLY_IF_ANY) <= set(VISITS.names)
