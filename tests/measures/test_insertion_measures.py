"""Failed insertions, their reasons, emergency placements and caseload, worked by hand."""

from collections.abc import Callable

import pandas as pd
import pytest

from audit.measures.access import emergency_placement_in_time
from audit.measures.caseload import caseload
from audit.measures.insertion import (
    UNITS,
    WAYS,
    failed_insertions,
    failure_reasons,
    first_pass_success,
    fitted_in_the_end,
)
from audit.period import period_from
from audit.records import Cohort
from audit.statistics.proportions import proportion_interval

Derive = Callable[..., Cohort]

LOG = """
    patient_ref | visit_date | visit_kind | insertion_outcome    | clinician_ref | completed_by_ref | failure_reason | vaginal_births | caesarean_births
    TakenOver   | 2025-01-01 | insertion  | placed               | C1            | C2               | pain           | 0              | 0
    LaterPlaced | 2025-01-01 | insertion  | failed               | C1            |                  | pain           | 1              | 0
    LaterPlaced | 2025-02-01 | insertion  | placed               | C1            |                  |                | 1              | 0
    NeverPlaced | 2025-01-01 | insertion  | failed               | C1            |                  |                | 0              | 0
    Unsaid      | 2025-01-01 | insertion  |                      | C1            |                  |                | 0              | 0
    Deferred    | 2025-01-01 | insertion  | deferred_not_started | C1            |                  |                | 0              | 0
    Young       | 2025-12-01 | insertion  | placed               | C1            |                  |                |                |
    """  # noqa: E501 - a drawn log


@pytest.mark.parametrize(
    ("unit", "events", "n", "unknown", "deferred", "not_yet_due"),
    [
        # C1 failed with TakenOver, LaterPlaced once and NeverPlaced; C2, LaterPlaced's second and Young worked.
        ("operator_attempt", 3, 6, 1, 1, 0),
        # TakenOver left with a device: visits failed of LaterPlaced and NeverPlaced.
        ("visit", 2, 5, 1, 1, 0),
        # Each woman's first visit: LaterPlaced's second does not count.
        ("woman_first_attempt", 2, 4, 1, 0, 0),
        # LaterPlaced had a device within 90 days; Young's 90 days are not over.
        ("woman_90_days", 1, 3, 1, 0, 1),
    ],
)
def test_each_unit_of_a_failed_insertion_has_its_own_numerator_and_denominator(
    cohort_of: Derive, unit: str, events: int, n: int, unknown: int, deferred: int, not_yet_due: int
) -> None:
    row = failed_insertions(cohort_of(LOG, data_to="2026-01-01").attempts, unit=unit).iloc[0]
    names = ["unit", "events", "n", "n_unknown", "n_deferred", "n_not_yet_due"]
    assert row[names].tolist() == [unit, events, n, unknown, deferred, not_yet_due]
    assert row["proportion"] == pytest.approx(events / n)


def test_each_woman_was_fitted_at_the_first_visit_later_or_not_within_90_days(cohort_of: Derive) -> None:
    table = fitted_in_the_end(cohort_of(LOG, data_to="2026-01-01").attempts)
    # TakenOver left her first visit with a device, LaterPlaced her second, NeverPlaced none. Unsaid's visit has no
    # outcome, Young's 90 days are not over, and Deferred's insertion was never begun.
    assert table[["definition", "events", "n", "n_unknown", "n_not_yet_due"]].to_numpy().tolist() == [
        ["first_visit", 1, 3, 1, 1],
        ["later", 1, 3, 1, 1],
        ["not_fitted", 1, 3, 1, 1],
    ]
    by_birth = fitted_in_the_end(cohort_of(LOG, data_to="2026-01-01").attempts, by="cervical_parity")
    told = by_birth[by_birth["stratum"] == "yes"].set_index("definition")
    assert told.loc[list(WAYS), ["events", "n"]].to_numpy().tolist() == [[0, 1], [1, 1], [0, 1]]


def test_those_never_fitted_are_those_of_the_episode_figure(cohort_of: Derive) -> None:
    attempts = cohort_of(LOG, data_to="2026-01-01").attempts
    never = fitted_in_the_end(attempts).set_index("definition").loc["not_fitted"]
    episode = failed_insertions(attempts, unit="woman_90_days").iloc[0]
    same = ["events", "n", "n_unknown", "n_not_yet_due"]
    assert never[same].tolist() == episode[same].tolist()
    empty = fitted_in_the_end(attempts.head(0))
    assert empty[["events", "n", "n_unknown"]].to_numpy().tolist() == [[0, 0, 0]] * 3


def test_a_stratum_counts_its_own_attempts_and_a_blank_is_the_stratum_unknown(cohort_of: Derive) -> None:
    table = failed_insertions(cohort_of(LOG, data_to="2026-01-01").attempts, by="cervical_parity")
    assert table[["stratum", "events", "n", "n_unknown"]].to_numpy().tolist() == [
        ["yes", 1, 2, 0],
        ["no", 1, 2, 1],
        ["unknown", 0, 1, 0],
    ]


def test_limits_are_wilson_with_exact_ones_and_the_bounds_of_the_unknown_beside_them() -> None:
    tally = pd.DataFrame({"visit_outcome": ["failed", "placed", "unknown"], "n": [2, 18, 5]})
    row = failed_insertions(tally).iloc[0]
    wilson, exact = proportion_interval(2, 20), proportion_interval(2, 20, method="clopper_pearson")
    assert (row["ci_lower"], row["ci_upper"]) == pytest.approx(wilson)
    assert (row["exact_lower"], row["exact_upper"]) == pytest.approx(exact)
    # None of the 5 unknown failed, or all of them did.
    assert (row["bound_lower"], row["bound_upper"]) == pytest.approx((2 / 25, 7 / 25))
    assert row["caution"] == ""


@pytest.mark.parametrize(
    ("unknown", "caution"),
    [(4, ""), (6, "Too much is not recorded: only the bounds can be used.")],
)
def test_below_the_floor_recorded_only_the_bounds_can_be_used(unknown: int, caution: str) -> None:
    # 20 of 24 is above four fifths, 20 of 26 below.
    tally = pd.DataFrame({"visit_outcome": ["failed", "placed", "unknown"], "n": [2, 18, unknown]})
    assert failed_insertions(tally, recorded_floor=0.8)["caution"].item() == caution


def test_nothing_seen_says_that_the_upper_limit_is_what_is_still_possible() -> None:
    row = failed_insertions(pd.DataFrame({"visit_outcome": ["placed"], "n": [10]})).iloc[0]
    # Two-sided exact: 1 - 0.025^(1/10), not 3/n.
    assert row["exact_upper"] == pytest.approx(1 - 0.025 ** (1 / 10))
    assert row["caution"] == "None seen: the exact upper limit is what is still possible."


@pytest.mark.parametrize("unit", UNITS)
def test_no_attempt_gives_a_row_of_zeros_overall_and_no_stratum(cohort_of: Derive, unit: str) -> None:
    empty = cohort_of("patient_ref | visit_date | visit_kind | insertion_outcome").attempts
    row = failed_insertions(empty, unit=unit).iloc[0]
    assert row[["events", "n", "n_unknown"]].tolist() == [0, 0, 0]
    assert pd.isna(row["proportion"])
    assert row["caution"] == "Nothing to count."
    assert failed_insertions(empty, unit=unit, by="parity_group").empty


def test_all_unknown_gives_no_proportion_and_the_widest_bounds() -> None:
    row = failed_insertions(pd.DataFrame({"visit_outcome": ["unknown"] * 3})).iloc[0]
    assert row[["events", "n", "n_unknown"]].tolist() == [0, 0, 3]
    assert (row["bound_lower"], row["bound_upper"]) == (0, 1)
    assert row["caution"] == "Not recorded for anyone."


def test_a_unit_that_does_not_exist_is_refused() -> None:
    with pytest.raises(
        ValueError,
        match=r"^unit must be one of operator_attempt, visit, woman_first_attempt, woman_90_days, got 'week'$",
    ):
        failed_insertions(pd.DataFrame({"visit_outcome": []}), unit="week")


def test_reasons_are_shares_of_failed_attempts_and_an_unrecorded_one_is_a_row(cohort_of: Derive) -> None:
    table = failure_reasons(cohort_of(LOG, data_to="2026-01-01").attempts)
    assert table[["cause", "events", "n"]].to_numpy().tolist() == [["pain", 2, 3], ["unknown", 1, 3]]
    assert table["proportion"].tolist() == pytest.approx([2 / 3, 1 / 3])


def test_no_failure_gives_no_reasons() -> None:
    assert failure_reasons(pd.DataFrame({"outcome": ["placed"], "failure_reason": [None]})).empty


def test_an_emergency_placement_is_in_time_by_hours_or_by_ovulation_and_unknown_is_not_met(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | indication              | ec_hours_since_upsi | ec_days_after_ovulation | ec_basis
        Hours       | 2025-01-01 | insertion  | placed               | emergency_contraception | 120                 |                         |
        Late        | 2025-01-01 | insertion  | placed               | emergency_contraception | 121                 |                         | outside_window
        Ovulation   | 2025-01-01 | insertion  | failed               | emergency_contraception | 150                 | 5                       |
        SixDays     | 2025-01-01 | insertion  | placed               | emergency_contraception | 150                 | 6                       |
        Basis       | 2025-01-01 | insertion  | placed               | emergency_contraception |                     |                         | within_5d_of_ovulation
        Unsaid      | 2025-01-01 | insertion  |                      | emergency_contraception |                     |                         |
        Deferred    | 2025-01-01 | insertion  | deferred_not_started | emergency_contraception | 24                  |                         |
        Other       | 2025-01-01 | insertion  | placed               | contraception           | 24                  |                         |
        """)  # noqa: E501 - a drawn log
    row = emergency_placement_in_time(cohort.attempts).iloc[0]
    # In time: Hours, and by ovulation Ovulation and Basis; of the six begun.
    assert row[["events", "n", "n_by_ovulation"]].tolist() == [3, 6, 2]
    # Unsaid shows nothing; four of the six were placed; one was put off.
    assert row[["n_not_shown", "n_placed", "n_deferred"]].tolist() == [1, 4, 1]
    assert row["proportion"] == pytest.approx(3 / 6)


def test_the_emergency_window_is_a_setting(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | indication              | ec_hours_since_upsi
        W1          | 2025-01-01 | insertion  | placed            | emergency_contraception | 100
        """)
    assert emergency_placement_in_time(cohort.attempts, hours=96)["events"].item() == 0
    assert emergency_placement_in_time(cohort.attempts, hours=100)["events"].item() == 1


def test_no_emergency_gives_a_row_of_zeros(cohort_of: Derive) -> None:
    row = emergency_placement_in_time(cohort_of(LOG).attempts).iloc[0]
    assert (row["events"], row["n"], row["caution"]) == (0, 0, "Nothing to count.")


def test_the_caseload_counts_everything_dated_in_the_period(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome    | device_in_situ
        W1          | 2025-01-01 | insertion               | placed               |
        W1          | 2025-04-01 | removal_and_replacement | placed               |
        W2          | 2025-04-02 | insertion               | failed               |
        W2          | 2025-04-03 | insertion               | placed               |
        W2          | 2025-05-01 | follow_up               |                      | complete_expulsion
        W2          | 2025-06-01 | insertion               | placed               |
        W3          | 2025-06-02 | insertion               | deferred_not_started |
        W4          | 2025-06-03 | insertion               |                      |
        W5          | 2025-06-04 | removal                 |                      |
        W6          | 2025-07-01 | insertion               | placed               |
        """)
    tables = (cohort.attempts, cohort.placements, cohort.follow_ups)
    quarter = caseload(*tables, period=period_from("2025-Q2")).set_index("item")["n"]
    assert quarter.to_dict() == {
        "women": 3,
        "attempts": 5,
        "placed": 3,
        "failed": 1,
        "outcome_unknown": 1,
        "deferred": 1,
        "first_placements": 1,
        "replacements": 1,
        "repeat_placements": 1,
        "contacts": 3,
        "removal_visits": 2,
        "contacts_placed_elsewhere": 1,
    }
    assert caseload(*tables).set_index("item")["n"]["attempts"] == 7


def test_a_first_pass_counts_only_where_the_device_was_placed_and_the_passes_are_recorded() -> None:
    attempts = pd.DataFrame(
        {
            "outcome": ["placed", "placed", "placed", "failed", "failed", "unknown", "deferred"],
            "attempts_same_visit": [1, 2, None, 1, None, 1, None],
        }
    )
    table = first_pass_success(attempts)
    # Placed at once: 1. Known: 1 and 2 passes, and both failures. Not known: the third placement.
    assert table[["events", "n", "n_unknown"]].to_numpy().tolist() == [[1, 4, 1]]
    assert table["proportion"].iloc[0] == pytest.approx(1 / 4)


def test_first_passes_never_recorded_leave_only_the_bounds() -> None:
    attempts = pd.DataFrame({"outcome": ["placed"] * 5, "attempts_same_visit": [None] * 5})
    table = first_pass_success(attempts)
    assert table[["events", "n", "n_unknown"]].to_numpy().tolist() == [[0, 0, 5]]
    assert table["caution"].iloc[0] == "Not recorded for anyone."
    assert table[["bound_lower", "bound_upper"]].to_numpy().tolist() == [[0, 1]]


def test_first_passes_of_nobody_give_one_row_of_zeros() -> None:
    attempts = pd.DataFrame(
        {"outcome": pd.Series(dtype=object), "attempts_same_visit": pd.Series(dtype="float64")}
    )
    assert first_pass_success(attempts)[["events", "n", "n_unknown"]].to_numpy().tolist() == [[0, 0, 0]]
