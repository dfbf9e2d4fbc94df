"""Which rows are attempts, who owns them and how they ended; each log worked by hand."""

from collections.abc import Callable

import pandas as pd

from audit.records import Cohort

Derive = Callable[..., Cohort]


def told(cohort: Cohort, *columns: str) -> list[tuple[object, ...]]:
    """These columns of the attempts, a missing value as None."""
    rows = cohort.attempts[list(columns)].astype(object)
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in rows.to_numpy()]


def rules(cohort: Cohort) -> list[str]:
    """The rules that found something, in order."""
    return cohort.findings["rule"].tolist()


def test_it_is_an_attempt_once_an_instrument_passed_the_os(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | procedure_started
        W1          | 2026-07-01 | insertion  | placed               |
        W2          | 2026-07-01 | insertion  | placed               | yes
        W3          | 2026-07-01 | insertion  | failed               |
        W4          | 2026-07-01 | insertion  | failed               | yes
        W5          | 2026-07-01 | insertion  | stopped_on_request   |
        W6          | 2026-07-01 | insertion  | deferred_not_started | yes
        W7          | 2026-07-01 | insertion  | unknown              | yes
        W8          | 2026-07-01 | insertion  |                      | yes
        W9          | 2026-07-01 | insertion  |                      |
        W10         | 2026-07-01 | insertion  | failed               | no
        W11         | 2026-07-01 | insertion  | stopped_on_request   | no
        W12         | 2026-07-01 | insertion  | deferred_not_started |
        W13         | 2026-07-01 | insertion  | deferred_not_started | no
        W14         | 2026-07-01 | insertion  |                      | no
        """)
    assert cohort.attempts["outcome"].tolist() == (
        ["placed"] * 2 + ["failed"] * 4 + ["unknown"] * 3 + ["deferred"] * 5
    )
    assert len(cohort.placements) == 2


def test_a_device_placed_is_an_attempt_even_where_the_start_is_denied(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | procedure_started
        W1          | 2026-07-01 | insertion  | placed            | no
        """)
    assert told(cohort, "outcome") == [("placed",)]


def test_a_woman_who_asks_to_stop_counts_as_failed_and_is_marked(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2026-07-01 | insertion  | stopped_on_request
        W2          | 2026-07-01 | insertion  | failed
        W3          | 2026-07-01 | insertion  | placed
        """)
    assert told(cohort, "outcome", "stopped_on_request") == [
        ("failed", True),
        ("failed", False),
        ("placed", False),
    ]


def test_a_device_out_before_the_end_of_the_procedure_is_a_failed_attempt_and_no_placement(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | failure_reason
        W1          | 2026-07-01 | insertion  | failed            | expelled_at_once
        """)
    assert told(cohort, "outcome", "failure_reason", "placement") == [("failed", "expelled_at_once", -1)]
    assert cohort.placements.empty


def test_a_log_without_insertion_outcome_lists_devices_fitted(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | device_in_situ
        W1          | 2026-07-01 | insertion  |
        W1          | 2026-08-01 | follow_up  | complete_expulsion
        """)
    assert told(cohort, "outcome") == [("placed",)]
    assert cohort.placements["ending_day"].tolist() == [31]


def test_a_take_over_counts_one_failure_and_one_placement(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref
        W1          | 2026-07-01 | insertion  | placed            | C1            | C2
        """)
    assert told(cohort, "clinician_ref", "outcome", "taken_over", "placement") == [
        ("C1", "failed", True, -1),
        ("C2", "placed", False, 0),
    ]
    # Per visit she left with a device; per woman too. Each counts once, on the first attempt.
    assert told(cohort, "visit_outcome", "first_visit_outcome") == [("placed", "placed"), (None, None)]


def test_a_second_row_of_another_clinician_is_a_take_over_and_never_a_duplicate(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref
        W1          | 2026-07-01 | insertion  | placed            | C1
        W1          | 2026-07-01 | insertion  | placed            | C2
        """)
    assert told(cohort, "clinician_ref", "outcome", "taken_over") == [
        ("C1", "failed", True),
        ("C2", "placed", False),
    ]
    assert rules(cohort) == ["take_over"]
    assert len(cohort.placements) == 1


def test_a_take_over_told_by_both_the_column_and_a_second_row_happened_once(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref
        W1          | 2026-07-01 | insertion  | failed            | C1            | C2
        W1          | 2026-07-01 | insertion  | placed            | C2            |
        """)
    assert told(cohort, "clinician_ref", "outcome") == [("C1", "failed"), ("C2", "placed")]


def test_a_take_over_that_fails_too_counts_two_failures_and_one_failed_visit(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref
        W1          | 2026-07-01 | insertion  | failed            | C1            | C2
        """)
    assert told(cohort, "clinician_ref", "outcome", "visit_outcome") == [
        ("C1", "failed", "failed"),
        ("C2", "failed", None),
    ]


def test_a_clinician_who_completes_the_own_attempt_takes_over_from_nobody(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref
        W1          | 2026-07-01 | insertion  | placed            | C1            | C1
        """)
    assert told(cohort, "clinician_ref", "outcome", "taken_over") == [("C1", "placed", False)]


def test_a_second_row_of_the_same_clinician_is_counted_once_with_the_outcome_that_is_known(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | visit_ref
        W1          | 2026-07-01 | insertion  |                   | C1            | V1
        W1          | 2026-07-01 | insertion  | placed            | C1            | V2
        """)
    assert told(cohort, "clinician_ref", "outcome", "visit_ref") == [("C1", "placed", "V1")]
    assert rules(cohort) == ["second_row_same_attempt"]


def test_a_deferral_and_an_attempt_on_one_day_are_not_a_take_over(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | clinician_ref
        W1          | 2026-07-01 | insertion  | deferred_not_started | C1
        W1          | 2026-07-01 | insertion  | placed               | C2
        """)
    assert told(cohort, "clinician_ref", "outcome", "visit_outcome", "taken_over") == [
        ("C1", "deferred", "deferred", False),
        ("C2", "placed", "placed", False),
    ]
    assert rules(cohort) == []


def test_an_attempt_is_supervised_where_the_log_says_so_or_a_trainee_is_not_said_to_be_alone(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | supervised | training_status
        W1          | 2026-07-01 | insertion  | placed            | C1            | yes        | in_training
        W2          | 2026-07-01 | insertion  | placed            | C1            | yes        |
        W3          | 2026-07-01 | insertion  | placed            | C1            |            | in_training
        W4          | 2026-07-01 | insertion  | placed            | C1            | no         | in_training
        W5          | 2026-07-01 | insertion  | placed            | C1            |            | certified
        W6          | 2026-07-01 | insertion  | placed            | C1            |            |
        """)
    assert cohort.attempts["practice"].tolist() == ["supervised"] * 3 + ["independent"] * 3
    assert cohort.attempts["clinician_ref"].tolist() == ["C1"] * 6


def test_who_takes_over_from_a_trainee_works_independently(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref | supervised
        W1          | 2026-07-01 | insertion  | placed            | T1            | C2               | yes
        """)
    assert told(cohort, "clinician_ref", "practice", "outcome") == [
        ("T1", "supervised", "failed"),
        ("C2", "independent", "placed"),
    ]


def test_an_episode_is_judged_by_the_best_result_within_90_days_of_its_first_attempt(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | failed
        W1          | 2025-04-01 | insertion  | placed
        W2          | 2025-01-01 | insertion  | failed
        W2          | 2025-04-02 | insertion  | placed
        W3          | 2025-01-01 | insertion  | failed
        W3          | 2025-02-01 | insertion  | failed
        """,
        data_to="2026-01-01",
    )
    # 1 April is day 90 and belongs to the episode of 1 January; 2 April opens one of its own.
    assert told(cohort, "patient_ref", "episode_outcome") == [
        (0, "placed"),
        (0, None),
        (1, "not_placed"),
        (1, "placed"),
        (2, "not_placed"),
        (2, None),
    ]


def test_an_episode_younger_than_90_days_is_not_yet_due_even_when_placed(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | failed
        W2          | 2025-01-02 | insertion  | placed
        W3          | 2025-01-02 | insertion  | failed
        """,
        data_to="2025-04-01",
    )
    # 90 days after 1 January is 1 April, the freeze.
    assert told(cohort, "episode_outcome") == [("not_placed",), ("not_yet_due",), ("not_yet_due",)]


def test_an_episode_with_an_unknown_attempt_and_no_placement_is_unknown(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | failed
        W1          | 2025-02-01 | insertion  | unknown
        W2          | 2025-01-01 | insertion  | unknown
        W2          | 2025-02-01 | insertion  | failed
        W3          | 2025-01-01 | insertion  | unknown
        W3          | 2025-02-01 | insertion  | placed
        """,
        data_to="2026-01-01",
    )
    assert cohort.attempts["episode_outcome"].dropna().tolist() == ["unknown", "unknown", "placed"]


def test_a_placement_closes_the_episode_and_the_next_attempt_opens_another(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-20 | follow_up  |                   | complete_expulsion
        W1          | 2025-02-01 | insertion  | failed            |
        """,
        data_to="2026-01-01",
    )
    assert told(cohort, "episode_outcome") == [("placed",), ("not_placed",)]


def test_a_deferral_belongs_to_no_episode(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | deferred_not_started
        W1          | 2025-02-01 | insertion  | placed
        """,
        data_to="2026-01-01",
    )
    assert told(cohort, "outcome", "episode_outcome", "first_visit_outcome") == [
        ("deferred", None, None),
        ("placed", "placed", "placed"),
    ]


def test_the_first_visit_of_a_woman_counts_once_whatever_follows(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | failed
        W1          | 2025-02-01 | insertion  | placed
        """)
    assert told(cohort, "visit_outcome", "first_visit_outcome") == [("failed", "failed"), ("placed", None)]


def test_a_blank_is_not_grade_0_and_grade_4_alone_is_no_faint(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | vasovagal_grade | vasovagal_reaction | syncope
        W1          | 2026-07-01 | insertion  | placed            |                 |                    |
        W2          | 2026-07-01 | insertion  | placed            | 0               |                    |
        W3          | 2026-07-01 | insertion  | placed            | 1               |                    |
        W4          | 2026-07-01 | insertion  | placed            | 2               |                    |
        W5          | 2026-07-01 | insertion  | placed            | 3               |                    |
        W6          | 2026-07-01 | insertion  | placed            | 4               |                    |
        W7          | 2026-07-01 | insertion  | placed            | 4               |                    | yes
        W8          | 2026-07-01 | insertion  | placed            | 4               |                    | no
        W9          | 2026-07-01 | insertion  | placed            | 3               |                    | no
        W10         | 2026-07-01 | insertion  | placed            |                 | yes                |
        W11         | 2026-07-01 | insertion  | placed            |                 | no                 |
        W12         | 2026-07-01 | insertion  | placed            |                 |                    | yes
        W13         | 2026-07-01 | insertion  | placed            |                 |                    | no
        """)
    yes, no, unknown = True, False, None
    assert told(cohort, "vasovagal_any", "vasovagal_grade_2_plus", "syncope") == [
        (unknown, unknown, unknown),
        (no, no, no),
        (yes, no, no),
        (yes, yes, no),
        (yes, yes, yes),
        (yes, yes, unknown),
        (yes, yes, yes),
        (yes, yes, no),
        (yes, yes, yes),
        (yes, unknown, unknown),
        (no, unknown, unknown),
        (yes, yes, yes),
        (unknown, unknown, no),
    ]


def test_the_reaction_of_a_day_counts_once_and_is_the_worst_noted(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | vasovagal_grade
        W1          | 2026-07-01 | insertion  | failed            | C1            |
        W1          | 2026-07-01 | insertion  | placed            | C2            | 2
        W2          | 2026-07-01 | insertion  | failed            | C1            | 3
        W2          | 2026-07-01 | insertion  | placed            | C2            | 0
        """)
    assert told(cohort, "vasovagal_any", "syncope", "vasovagal_grade") == [
        (True, False, 2),
        (None, None, None),
        (True, True, 3),
        (None, None, None),
    ]


def test_a_second_row_without_a_clinician_is_no_take_over(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref
        W1          | 2026-07-01 | insertion  | failed            | C1
        W1          | 2026-07-01 | insertion  | placed            |
        """)
    assert told(cohort, "clinician_ref", "outcome", "taken_over") == [("C1", "placed", False)]
    assert rules(cohort) == ["second_row_same_attempt"]


def test_the_visit_is_named_by_its_code_or_by_its_line(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | visit_ref
        W1          | 2026-07-01 | insertion  | placed            | V7
        W2          | 2026-07-01 | insertion  | placed            |
        """)
    assert told(cohort, "visit_ref") == [("V7",), ("line 3",)]


def test_a_hormonal_device_for_an_emergency_is_a_finding(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | indication              | device_class
        W1          | 2026-07-01 | insertion  | placed            | emergency_contraception | lng_52
        W2          | 2026-07-01 | insertion  | placed            | emergency_contraception | copper_t_380
        W3          | 2026-07-01 | insertion  | failed            | emergency_contraception | lng_52
        """)
    assert cohort.findings[["rule", "row"]].to_numpy().tolist() == [["emergency_without_copper", 2]]


def test_two_rows_of_one_attempt_say_the_worst_of_each_event_and_the_surest_outcome(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind|insertion_outcome |clinician_ref|vasovagal_grade|perforation_suspected
        W1          | 2026-07-01 | insertion  |stopped_on_request|C1           |               |no
        W1          | 2026-07-01 | insertion  |unknown           |C1           |3              |sound
        W1          | 2026-07-01 | insertion  |placed            |C1           |1              |
        """)
    assert told(cohort, "outcome", "stopped_on_request", "vasovagal_grade", "syncope", "perforation") == [
        ("placed", False, 3.0, True, "suspected")
    ]
