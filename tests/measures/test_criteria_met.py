"""Criteria beside their targets: three answers, the verdict by interval, and the visits behind, worked by hand."""

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from audit.criteria import criteria_in_force
from audit.measures.criteria import (
    COLUMNS,
    NOT_IN_LOG,
    criteria_cases,
    criteria_definitions,
    criteria_met,
)
from audit.measures.follow_up import check_done, outcome_known
from audit.measures.placement_cases import follow_up_not_met
from audit.measures.position import position_not_verified, position_verified
from audit.measures.process import care_not_met, process_of_care
from audit.records import AuditResults, Cohort, VisitLog
from audit.run import run_audit
from audit.settings import AuditSettings, settings_from
from audit.statistics.summaries import with_proportions

LAST_DAY, SINCE = pd.Timestamp("2026-09-30"), pd.Timestamp("2025-10-14")
AVAILABLE = pd.DataFrame({"indicator": ["process_of_care"], "available": [True], "reason": [""]})


def care(item: str, events: int, n: int, unknown: int = 0, exceptions: int = 0) -> pd.DataFrame:
    """A row of the care given in the period."""
    row = {
        "by": ["overall"],
        "stratum": ["overall"],
        "window": ["period"],
        "item": [item],
        "events": [events],
    }
    row |= {"n": [n], "n_not_met": [n - events], "n_unknown": [unknown], "n_exception": [exceptions]}
    return with_proportions(pd.DataFrame(row))


def judged(table: pd.DataFrame, *local: dict[str, Any]) -> pd.DataFrame:
    """The criteria of one table of care, by their id."""
    tables = {"process_of_care": table, "indicator_availability": AVAILABLE}
    found = criteria_met(tables, criteria_in_force(local), last_day=LAST_DAY, attested_since=SINCE)
    return found.set_index("criterion")


# Counts of pain relief offered, target, verdict. The limits beside each are Wilson's or
# Clopper-Pearson's, reproduced by computation.
@pytest.mark.parametrize(
    ("counts", "target", "verdict"),
    [
        ((60, 60), 1.0, "met"),
        # One miss of 60: exact upper limit 0.9996.
        ((59, 60), 1.0, "not_met"),
        # The same, asked for 97 in 100: 0.911 to 0.9996.
        ((59, 60), 0.97, "cannot_tell"),
        # 55 of 62: Wilson 0.785 to 0.944.
        ((55, 62), 0.95, "not_met"),
        ((55, 62), 0.9, "cannot_tell"),
        ((55, 62), 0.78, "met"),
        # 42 of 60 are 0.70: Wilson 0.575 to 0.801.
        ((42, 60), 0.8, "cannot_tell"),
        ((0, 12), 0.9, "not_met"),
    ],
)
def test_the_interval_decides_and_not_the_point(counts: tuple[int, int], target: float, verdict: str) -> None:
    table = judged(care("pain_options", *counts), {"id": "pain_options", "target": target})
    row = table.loc["pain_options"]
    assert (row["events"], row["n"], row["n_not_met"]) == (*counts, counts[1] - counts[0])
    assert (row["verdict"], row["target"]) == (verdict, target)


def test_too_little_recorded_gives_no_verdict_and_says_so() -> None:
    # 79 of 100 recorded lies below four fifths, 80 does not.
    below = judged(care("pain_options", 79, 79, 21)).loc["pain_options"]
    assert below["verdict"] == "not_recorded"
    assert below["n_not_recorded"] == 21
    assert "bounds" in below["caution"]
    assert judged(care("pain_options", 80, 80, 20)).loc["pain_options", "verdict"] == "met"


def test_exceptions_are_counted_and_are_no_part_of_the_denominator() -> None:
    row = judged(care("pregnancy_excluded", 40, 40, 0, 7)).loc["pregnancy_excluded"]
    assert (row["n"], row["n_exceptions"], row["verdict"]) == (40, 7, "met")


def test_a_criterion_nobody_came_under_has_no_verdict() -> None:
    assert judged(care("resistance_handled", 0, 0)).loc["resistance_handled", "verdict"] == "no_cases"


def test_what_should_be_rare_is_judged_by_its_upper_limit() -> None:
    # 2 of 400: exact 0.0006 to 0.0179; 30 of 400: Wilson 0.053 to 0.105.
    entry = {"id": "failed_insertions_per_visit", "direction": "at_most", "target": 0.02}
    for events, verdict, not_met in (
        (2, "met", 2),
        (30, "not_met", 30),
        (8, "cannot_tell", 8),
        (0, "met", 0),
    ):
        rows = pd.DataFrame(
            {"by": ["overall"], "stratum": ["overall"], "window": ["period"], "unit": ["visit"]}
        )
        rows = with_proportions(rows.assign(events=events, n=400, n_unknown=0))
        tables = {"failed_insertions": rows, "indicator_availability": AVAILABLE}
        found = criteria_met(tables, criteria_in_force([entry]), last_day=LAST_DAY, attested_since=SINCE)
        row = found.set_index("criterion").loc["failed_insertions_per_visit"]
        assert (row["verdict"], row["n_not_met"], row["better"]) == (verdict, not_met, "lower")


def test_without_a_target_a_figure_is_described() -> None:
    rows = pd.DataFrame({"by": ["overall"], "stratum": ["overall"], "window": ["period"], "unit": ["visit"]})
    rows = with_proportions(rows.assign(events=20, n=400, n_unknown=0))
    tables = {"failed_insertions": rows, "indicator_availability": AVAILABLE}
    found = criteria_met(tables, criteria_in_force(), last_day=LAST_DAY, attested_since=SINCE)
    assert found.set_index("criterion").loc["failed_insertions_per_visit", "verdict"] == "described"


def test_what_the_service_states_is_its_verdict_and_an_old_statement_is_asked_again() -> None:
    table = judged(
        care("pain_options", 1, 1),
        {"id": "emergency_drugs", "attested": "yes", "attested_on": "2026-07-06"},
        {"id": "instruments_in_stock", "attested": "no", "attested_on": "2026-07-06"},
        {"id": "referral_path", "attested": "yes", "attested_on": "2025-10-13"},
        {"id": "batch_recorded", "attested": "yes"},
    )
    assert table.loc["emergency_drugs", ["verdict", "method", "caution"]].tolist() == [
        *("met", "stated by the service on 2026-07-06", ""),
    ]
    assert table.loc["instruments_in_stock", "verdict"] == "not_met"
    assert table.loc["referral_path", "caution"] == "Stated more than a year before the freeze: ask again."
    assert table.loc["batch_recorded", "caution"] == "The day of the statement is not given."
    assert table.loc["perforations_reviewed", ["verdict", "caution"]].tolist() == [
        *("not_recorded", "The service has not said yes or no."),
    ]


def test_retired_criteria_and_those_of_a_later_day_do_not_judge_this_period() -> None:
    local = (
        {"id": "pain_options", "retired": True},
        {"id": "thread_advice", "effective_from": "2026-10-01"},
        {"id": "pelvis_assessed", "effective_from": "2026-09-30"},
    )
    assert not {"pain_options", "thread_advice"} & set(judged(care("pain_options", 1, 1), *local).index)
    status = criteria_definitions(criteria_in_force(local), last_day=LAST_DAY).set_index("criterion")[
        "status"
    ]
    names = ["pain_options", "thread_advice", "pelvis_assessed"]
    assert status[names].tolist() == ["retired", "later", "in_force"]
    assert "pelvis_assessed" in judged(care("pelvis_assessed", 1, 1), *local).index


def test_no_criterion_at_all_gives_an_empty_table_with_its_columns() -> None:
    every = [{"id": criterion.id, "retired": True} for criterion in criteria_in_force()]
    table = judged(care("pain_options", 1, 1), *every).reset_index()
    assert table.empty
    assert list(table.columns) == list(COLUMNS)
    none = care_not_met_of([])
    assert criteria_cases([none], criteria_in_force(every), last_day=LAST_DAY).empty


def care_not_met_of(refs: list[str]) -> pd.DataFrame:
    """Visits at which pain relief was not offered."""
    return pd.DataFrame(
        {"figure": "pain_options", "site_ref": "QUAY", "visit_ref": refs, "date": pd.Timestamp("2026-08-01")}
    )


def test_cases_belong_to_the_criterion_of_their_figure_and_of_their_site() -> None:
    local = [{"id": "pain_options", "by": "site_ref", "stratum": "HILL"}]
    missed = [care_not_met_of(["V1", "V2"])]
    found = criteria_cases(missed, criteria_in_force(), last_day=LAST_DAY)
    assert found[["criterion", "visit_ref"]].values.tolist() == [
        ["pain_options", "V1"],
        ["pain_options", "V2"],
    ]
    assert criteria_cases(missed, criteria_in_force(local), last_day=LAST_DAY).empty


INSERTIONS = """
patient_ref | visit_ref | visit_date | site_ref | insertion_outcome | pain_options_discussed | pregnancy_excluded
W1 | V1 | 2026-07-01 | QUAY | placed | yes | yes_test
W2 | V2 | 2026-07-02 | QUAY | placed | no  | yes_test
W3 | V3 | 2026-07-03 | HILL | placed |     | no
W4 | V4 | 2026-07-04 | HILL | failed | no  | no
W5 | V5 | 2026-04-04 | HILL | placed | no  | no
"""
EMERGENCIES = {"V3": "100", "V4": "150"}
FOLLOW_UPS = """
patient_ref | visit_ref | visit_date | site_ref | threads_seen | position_verified_by | device_in_situ
W1 | V6 | 2026-08-01 | QUAY | no | none |
W1 | V7 | 2026-08-09 | QUAY |    | ultrasound_2d | in_situ_confirmed
W2 | V8 | 2026-08-02 | QUAY | no | threads_only |
W5 | V9 | 2026-08-03 | HILL | no | |
"""


def drawn(text: str, **fixed: str) -> list[dict[str, str]]:
    """The rows of a drawn table."""
    head, *lines = ([cell.strip() for cell in line.split("|")] for line in text.strip().splitlines())
    return [dict(zip(head, line, strict=True)) | fixed for line in lines]


def whole_log() -> str:
    """Insertions and follow-ups as one log; the emergencies with their hours, everybody's test for pregnancy."""
    rows = [
        *drawn(INSERTIONS, visit_kind="insertion", indication="contraception"),
        *drawn(FOLLOW_UPS, visit_kind="follow_up", pregnancy="none"),
    ]
    for row in rows:
        if row["visit_ref"] in EMERGENCIES:
            hours = EMERGENCIES[row["visit_ref"]]
            row |= {"indication": "emergency_contraception", "ec_hours_since_upsi": hours}
    names = list(dict.fromkeys(name for row in rows for name in row))
    return "\n".join(
        " | ".join(line) for line in [names, *([row.get(name, "") for name in names] for row in rows)]
    )


LOG = whole_log()


@pytest.fixture
def audited(log_of: Callable[..., VisitLog]) -> Callable[..., AuditResults]:
    """The audit of the drawn log under some settings."""

    def run(**tables: Any) -> AuditResults:
        settings: AuditSettings = settings_from(tables)
        return run_audit(log_of(LOG, settings=settings, data_to="2026-10-14"), settings, period="2026-Q3")

    return run


def row_of(results: AuditResults, criterion: str, window: str = "period") -> pd.Series:
    """The overall row of a criterion."""
    table = results.tables["criteria"]
    found = table[
        (table["criterion"] == criterion) & (table["by"] == "overall") & (table["window"] == window)
    ]
    assert len(found) == 1
    return found.iloc[0]


def test_a_log_is_judged_with_its_exceptions_and_its_blanks(
    audited: Callable[..., AuditResults],
) -> None:
    results = audited()
    pain, pregnancy = row_of(results, "pain_options"), row_of(results, "pregnancy_excluded")
    # V1 yes, V2 and V4 no, V3 blank; V5 is of another quarter.
    assert pain[["events", "n", "n_not_recorded", "n_exceptions"]].tolist() == [1, 3, 1, 0]
    # Both emergencies are exceptions, whatever was recorded.
    assert pregnancy[["events", "n", "n_not_recorded", "n_exceptions"]].tolist() == [2, 2, 0, 2]
    assert row_of(results, "pain_options", "all")["n"] == 4


def test_the_visits_of_the_period_behind_each_not_met_are_listed_and_no_others(
    audited: Callable[..., AuditResults],
) -> None:
    cases = audited().tables["criteria_cases"]
    dated = cases[cases["window"] == "period"]
    found = dated.groupby("criterion")["visit_ref"].agg(list).to_dict()
    assert {name: found[name] for name in ("pain_options", "emergency_placement_in_time")} == {
        "pain_options": ["V2", "V4"],
        "emergency_placement_in_time": ["V4"],
    }


def test_a_column_that_the_log_lacks_leaves_the_criterion_out_and_the_audit_runs(
    audited: Callable[..., AuditResults],
) -> None:
    row = row_of(audited(), "thread_advice")
    assert row["verdict"] == NOT_IN_LOG
    assert row["caution"] == "This log does not record thread_check_advice."
    own = {
        "id": "own",
        "kind": "process",
        "sentence": "Own.",
        "figure": "pain_options",
        "source": "none",
        "effective_from": "2026-01-01",
        "by": "age_band",
        "stratum": "under_20",
    }
    divided = row_of(audited(criteria=[own]), "own")
    assert divided["caution"] == "This audit does not count it by age_band."


def test_one_site_may_have_a_criterion_of_its_own(audited: Callable[..., AuditResults]) -> None:
    entry = {"id": "pain_options", "by": "site_ref", "stratum": "QUAY", "target": 0.5}
    table = audited(criteria=[entry]).tables["criteria"]
    own = table[(table["criterion"] == "pain_options") & (table["window"] == "period")]
    assert own[["stratum", "events", "n"]].values.tolist() == [["QUAY", 1, 2]]
    assert own["version"].iloc[0].startswith("1.")


def test_threads_not_seen_are_met_where_the_device_was_found(audited: Callable[..., AuditResults]) -> None:
    # V6: scanned a week later, and in place. V8 and V9: nothing since.
    row = row_of(audited(), "lost_threads", "all")
    assert row[["events", "n", "n_not_met", "verdict"]].tolist() == [1, 3, 2, "not_met"]


FOLLOWED = """
patient_ref | visit_ref | visit_date | visit_kind | site_ref | insertion_outcome | breastfeeding | threads_seen | position_verified_by | device_in_situ
W1 | P1 | 2026-06-01 | insertion | QUAY | placed | yes | | |
W1 | F1 | 2026-07-01 | follow_up | QUAY | | | yes | threads_only | in_situ_confirmed
W2 | P2 | 2026-06-02 | insertion | QUAY | placed | yes | | |
W3 | P3 | 2026-06-03 | insertion | HILL | placed | no | | |
W3 | F3 | 2026-09-20 | follow_up | HILL | | | no | none |
W4 | P4 | 2026-09-10 | insertion | HILL | placed | no | | |
W5 | P5 | 2025-07-10 | insertion | QUAY | placed | no | | |
W5 | F5 | 2026-06-20 | follow_up | QUAY | | | yes | ultrasound_2d | in_situ_confirmed
W6 | P6 | 2025-07-11 | insertion | QUAY | placed | no | | |
W6 | F6 | 2025-08-11 | follow_up | QUAY | | | no | none |
W6 | G6 | 2025-08-21 | follow_up | QUAY | | | no | none |
W7 | P7 | 2026-02-01 | insertion | QUAY | placed | no | | |
W7 | F7 | 2026-08-01 | follow_up | QUAY | | | | ultrasound_2d | in_situ_confirmed
W8 | P8 | 2026-02-02 | insertion | HILL | placed | no | | |
"""  # noqa: E501


def test_checks_outcomes_positions_and_threads_are_listed_by_the_visit_to_look_up(
    log_of: Callable[..., VisitLog],
) -> None:
    settings = settings_from({})
    results = run_audit(log_of(FOLLOWED, data_to="2026-10-14"), settings, period="2026-Q3")
    cases = results.tables["criteria_cases"]
    found = cases.groupby(["criterion", "window"])["visit_ref"].agg(list).to_dict()
    assert found == {
        # Due in the quarter are the checks of June; of W4 it is not due, of the others it was due before.
        ("check_done", "period"): ["P2", "P3"],
        # W3 does not breastfeed.
        ("check_at_higher_risk", "period"): ["P2"],
        # A year and 30 days after July 2025: W5 was seen late in her year, W6 was not.
        ("outcome_known", "period"): ["P6"],
        # Day 75 of the placements of June.
        ("position_after_first_cycle", "period"): ["P2", "P3"],
        # Day 240 of the placements of February.
        ("position_at_six_months", "period"): ["P8"],
        # Of the whole log, the first contact of each.
        ("lost_threads", "all"): ["F6", "F3"],
    }
    for criterion in ("check_done", "outcome_known"):
        assert row_of(results, criterion)["n_not_met"] == len(found[criterion, "period"])
    assert row_of(results, "lost_threads", "all")["n_not_met"] == 2


def test_a_figure_that_has_no_cases_is_a_wrong_argument(cohort_of: Callable[..., Cohort]) -> None:
    cohort = cohort_of(FOLLOWED, data_to="2026-10-14")
    with pytest.raises(ValueError, match=r"^figure must be among check_done, .*, got 'removal'$"):
        follow_up_not_met(cohort.placements, figure="removal")
    with pytest.raises(ValueError, match=r"^due must be among first_cycle, six_months, got 'a_year'$"):
        position_not_verified(cohort.placements, cohort.follow_ups, due="a_year", window=(0, 365))


def test_the_cases_of_the_whole_log_are_as_many_as_the_measures_count(
    cohort_of: Callable[..., Cohort],
) -> None:
    cohort = cohort_of(FOLLOWED, data_to="2026-10-14")
    for measure in (check_done, outcome_known):
        row = measure(cohort.placements).iloc[0]
        assert len(follow_up_not_met(cohort.placements, figure=measure.__name__)) == row["n"] - row["events"]
    for name, window in (("first_cycle", (21, 75)), ("six_months", (150, 240))):
        told = position_verified(cohort.placements, cohort.follow_ups, windows=[(name, *window)]).iloc[0]
        listed = position_not_verified(cohort.placements, cohort.follow_ups, due=name, window=window)
        assert len(listed) == told["n"] - told["events"] > 0


def test_the_cases_are_as_many_as_the_measure_counts(cohort_of: Callable[..., Cohort]) -> None:
    attempts = cohort_of(LOG, data_to="2026-10-14").attempts
    listed = care_not_met(attempts)["figure"].value_counts()
    counted = process_of_care(attempts).set_index("item")["n_not_met"]
    assert counted.to_dict() == {item: int(listed.get(item, 0)) for item in counted.index}
