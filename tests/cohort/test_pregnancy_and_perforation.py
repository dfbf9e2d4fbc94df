"""Pregnancies by conception and perforations by attempt, each counted once; each log worked by hand."""

from collections.abc import Callable

import pandas as pd

from audit.records import Cohort

Derive = Callable[..., Cohort]


def spells(cohort: Cohort, *more: str) -> list[tuple[object, ...]]:
    """Ending and its day, and these columns, of each placement; a missing value as None."""
    rows = cohort.placements[["ending", "ending_day", *more]].astype(object)
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in rows.to_numpy()]


def perforations(cohort: Cohort) -> list[str]:
    """What counts against each attempt."""
    return cohort.attempts["perforation"].tolist()


def test_a_pregnancy_is_dated_at_conception_or_else_at_detection(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | pregnancy    | pregnancy_conception_est
        W1          | 2025-01-01 | insertion  | placed            |                   |              |
        W1          | 2025-03-01 | follow_up  |                   | in_situ_confirmed | intrauterine | 2025-01-31
        W2          | 2025-01-01 | insertion  | placed            |                   |              |
        W2          | 2025-03-01 | follow_up  |                   | in_situ_confirmed | ectopic      |
        """)  # noqa: E501 - a drawn log
    assert spells(cohort, "pregnancy") == [("pregnancy", 30, "intrauterine"), ("pregnancy", 59, "ectopic")]


def test_a_conception_before_placement_is_a_finding_and_the_spell_goes_on(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | pregnancy    | pregnancy_conception_est
        W1          | 2025-01-01 | insertion  | placed            |                   |              |
        W1          | 2025-01-31 | follow_up  |                   | in_situ_confirmed | intrauterine | 2024-12-20
        """)  # noqa: E501 - a drawn log
    assert spells(cohort, "pregnancy", "last_known_day") == [("none", None, "none", 30)]
    assert cohort.findings[["rule", "row"]].to_numpy().tolist() == [["conception_before_placement", 3]]


def test_a_conception_estimated_after_the_visit_is_dated_at_the_visit(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy    | pregnancy_conception_est
        W1          | 2025-01-01 | insertion  | placed            |              |
        W1          | 2025-01-31 | follow_up  |                   | intrauterine | 2025-03-01
        """)
    assert spells(cohort, "pregnancy") == [("pregnancy", 30, "intrauterine")]


def test_a_pregnancy_conceived_between_two_devices_is_a_failure_of_neither(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy    | pregnancy_conception_est
        W1          | 2025-01-01 | insertion  | placed            |              |
        W1          | 2025-01-31 | removal    |                   |              |
        W1          | 2025-03-01 | insertion  | placed            |              |
        W1          | 2025-03-10 | follow_up  |                   | intrauterine | 2025-02-20
        """)
    assert spells(cohort, "pregnancy") == [("removal", 30, "none"), ("none", None, "none")]
    assert cohort.findings["rule"].tolist() == ["conception_before_placement"]


def test_a_device_left_in_through_an_earlier_conception_can_be_replaced_on_a_later_day(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy    | pregnancy_conception_est
        W1          | 2025-01-01 | insertion  | placed            |              |
        W1          | 2025-01-31 | follow_up  |                   | intrauterine | 2024-12-20
        W1          | 2025-03-01 | removal    |                   |              |
        W1          | 2025-03-01 | insertion  | placed            |              |
        """)
    assert spells(cohort, "placement_kind") == [("removal", 59, "first"), ("none", None, "replacement")]


def test_a_conception_after_an_unnoticed_expulsion_ends_as_expulsion_and_counts_among_pregnancies(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy    | pregnancy_conception_est | device_status_at_conception
        W1          | 2025-01-01 | insertion  | placed            |              |                          |
        W1          | 2025-03-01 | follow_up  |                   | intrauterine | 2025-01-31               | expelled_unnoticed
        """)  # noqa: E501 - a drawn log
    assert spells(cohort, "pregnancy") == [("expulsion_complete", 59, "intrauterine")]


def test_a_conception_after_the_day_an_unnoticed_expulsion_is_put_at_counts_too(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy | pregnancy_conception_est | device_status_at_conception | event_date_reported
        W1          | 2025-01-01 | insertion  | placed            |           |                          |                             |
        W1          | 2025-03-01 | follow_up  |                   | ectopic   | 2025-02-10               | expelled_unnoticed          | 2025-01-31
        """)  # noqa: E501 - a drawn log
    assert spells(cohort, "pregnancy") == [("expulsion_complete", 30, "ectopic")]


def test_a_pregnancy_after_the_device_was_taken_out_does_not_count(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy    | device_status_at_conception
        W1          | 2025-01-01 | insertion  | placed            |              |
        W1          | 2025-01-31 | removal    |                   |              |
        W1          | 2025-06-01 | follow_up  |                   | intrauterine | removed
        W2          | 2025-01-01 | insertion  | placed            |              |
        W2          | 2025-01-31 | removal    |                   |              |
        W2          | 2025-06-01 | follow_up  |                   | intrauterine |
        W3          | 2025-01-01 | insertion  | placed            |              |
        W3          | 2025-06-01 | follow_up  |                   | intrauterine | removed
        """)
    # Of W3's removal nothing else is known.
    assert spells(cohort, "pregnancy") == [("removal", 30, "none")] * 2 + [("none", None, "none")]


def test_a_perforation_found_late_ends_the_spell_at_detection_and_counts_against_its_attempt_once(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | perforation_suspected | perforation_confirmed
        W1          | 2025-01-01 | insertion  | placed            | no                    |
        W1          | 2025-01-31 | follow_up  |                   |                       | complete_extrauterine
        W1          | 2025-03-01 | follow_up  |                   |                       | complete_extrauterine
        """)
    assert spells(cohort, "perforation") == [("perforation", 30, "complete")]
    assert perforations(cohort) == ["complete"]


def test_a_confirmed_perforation_is_not_undone_by_a_later_visit_that_finds_none(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | perforation_confirmed
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | partial_embedded
        W1          | 2025-03-01 | follow_up  |                   | no
        W2          | 2025-01-01 | insertion  | failed            |
        W2          | 2025-01-31 | follow_up  |                   | partial_embedded
        W2          | 2025-03-01 | follow_up  |                   | no
        """)
    assert spells(cohort, "perforation") == [("perforation", 30, "partial")]
    assert perforations(cohort) == ["partial", "partial"]


def test_a_perforation_confirmed_at_the_insertion_ends_the_spell_on_day_0(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | perforation_confirmed
        W1          | 2025-01-01 | insertion  | placed            | complete_extrauterine
        """)
    assert spells(cohort, "perforation") == [("perforation", 0, "complete")]
    assert perforations(cohort) == ["complete"]


def test_a_suspicion_that_is_ruled_out_is_none_and_an_unresolved_one_stays(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | perforation_suspected | perforation_confirmed | failure_reason
        W1          | 2025-01-01 | insertion  | placed            | sound                 |                       |
        W1          | 2025-01-31 | follow_up  |                   |                       | no                    |
        W2          | 2025-01-01 | insertion  | placed            | device                |                       |
        W3          | 2025-01-01 | insertion  | failed            |                       |                       | perforation_suspected
        W3          | 2025-01-31 | follow_up  |                   |                       | no                    |
        W4          | 2025-01-01 | insertion  | failed            | no                    |                       | perforation_suspected
        W5          | 2025-01-01 | insertion  | placed            |                       |                       |
        W6          | 2025-01-01 | insertion  | placed            | no                    |                       |
        """)  # noqa: E501 - a drawn log
    assert perforations(cohort) == ["none", "suspected", "none", "suspected", "unknown", "none"]


def test_a_perforation_found_after_a_failed_attempt_counts_against_that_attempt(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | perforation_confirmed
        W1          | 2025-01-01 | insertion  | failed               |
        W1          | 2025-01-20 | insertion  | deferred_not_started |
        W1          | 2025-01-31 | follow_up  |                      | complete_extrauterine
        """)
    assert cohort.placements.empty
    # A deferral touched nothing, so it cannot have perforated.
    assert perforations(cohort) == ["complete", "unknown"]


def test_a_perforation_found_after_a_failed_attempt_is_not_that_of_a_device_long_out(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | perforation_confirmed
        Removed     | 2025-01-01 | insertion               | placed            |
        Removed     | 2025-01-31 | removal                 |                   |
        Removed     | 2025-03-01 | insertion               | failed            |
        Removed     | 2025-03-10 | follow_up               |                   | complete_extrauterine
        Exchanged   | 2025-01-01 | insertion               | placed            |
        Exchanged   | 2025-03-01 | removal_and_replacement | failed            |
        Exchanged   | 2025-03-10 | follow_up               |                   | complete_extrauterine
        Still       | 2025-01-01 | insertion               | placed            |
        Still       | 2025-03-01 | insertion               | failed            |
        Still       | 2025-03-10 | follow_up               |                   | complete_extrauterine
        """)
    assert perforations(cohort) == ["unknown", "complete", "unknown", "complete", "complete", "unknown"]
    assert spells(cohort, "perforation") == [
        ("removal", 30, "unknown"),
        ("removal", 59, "unknown"),
        ("perforation", 68, "complete"),
    ]


def test_a_perforation_confirmed_at_a_failed_attempt_is_not_undone_by_a_later_visit(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | perforation_confirmed
        W1          | 2025-01-01 | insertion  | failed            | complete_extrauterine
        W1          | 2025-01-31 | follow_up  |                   | no
        """)
    assert perforations(cohort) == ["complete"]


def test_a_removal_for_perforation_and_a_failed_insertion_on_one_day_tell_of_the_old_device(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-03-01 | removal    |                   | perforation
        W1          | 2025-03-01 | insertion  | failed            |
        """)
    assert perforations(cohort) == ["extent_unknown", "unknown"]


def test_a_removal_for_perforation_leaves_its_extent_unknown(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | removal    |                   | perforation
        """)
    assert spells(cohort, "perforation") == [("perforation", 30, "extent_unknown")]


def test_a_perforation_found_at_a_replacement_counts_once_against_the_device_taken_out(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | perforation_confirmed | perforation_suspected
        W1          | 2025-01-01 | insertion               | placed            |                       |
        W1          | 2025-03-01 | removal_and_replacement | placed            | partial_embedded      |
        """)  # noqa: E501 - a drawn log
    assert perforations(cohort) == ["partial", "unknown"]
    assert spells(cohort, "perforation") == [("perforation", 59, "partial"), ("none", None, "unknown")]


def test_a_perforation_of_a_device_placed_elsewhere_counts_against_no_attempt_here(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | perforation_confirmed
        W1          | 2025-03-01 | removal_and_replacement | placed            | partial_embedded
        W2          | 2025-03-01 | removal_and_replacement | failed            | partial_embedded
        """)
    assert perforations(cohort) == ["unknown", "unknown"]
    assert spells(cohort) == [("none", None)]


def test_a_perforation_suspected_and_confirmed_at_a_replacement_counts_once_against_the_new_attempt(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | perforation_confirmed | perforation_suspected
        W1          | 2025-01-01 | insertion               | placed            |                       |
        W1          | 2025-03-01 | removal_and_replacement | failed            | complete_extrauterine | sound
        """)  # noqa: E501 - a drawn log
    assert perforations(cohort) == ["unknown", "complete"]
    assert spells(cohort) == [("removal", 59)]


def test_the_perforation_of_a_take_over_counts_once_and_the_unrecorded_stays_unknown(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref | perforation_suspected
        W1          | 2025-01-01 | insertion  | failed            | C1            | C2               | sound
        W2          | 2025-01-01 | insertion  | failed            | C1            | C2               |
        W3          | 2025-01-01 | insertion  | failed            | C1            | C2               | no
        """)  # noqa: E501 - a drawn log
    assert perforations(cohort) == ["suspected", "none", "unknown", "unknown", "none", "none"]
