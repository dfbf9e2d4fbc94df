"""What ends a spell and when: one ending, the earliest, by precedence on one day; each log worked by hand."""

from collections.abc import Callable

import pandas as pd

from audit.records import Cohort

Derive = Callable[..., Cohort]


def spells(cohort: Cohort, *more: str) -> list[tuple[object, ...]]:
    """Ending and its day, and these columns, of each placement; a missing value as None."""
    rows = cohort.placements[["ending", "ending_day", *more]].astype(object)
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in rows.to_numpy()]


def rules(cohort: Cohort) -> list[str]:
    """The rules that found something, in order."""
    return cohort.findings["rule"].tolist()


# 1 January is day 0 of a placement that day, 31 January day 30, 1 March 2025 day 59.


def test_a_spell_nobody_ended_runs_on(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | in_situ_confirmed
        """)
    assert spells(cohort, "removal_reason", "ending_earliest_day") == [("none", None, None, None)]


def test_an_expulsion_is_dated_when_found_or_on_the_day_the_woman_reports(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | event_date_reported
        W1          | 2025-01-01 | insertion  | placed            |                    |
        W1          | 2025-03-01 | follow_up  |                   | complete_expulsion |
        W2          | 2025-01-01 | insertion  | placed            |                    |
        W2          | 2025-03-01 | follow_up  |                   | complete_expulsion | 2025-01-31
        """)
    assert spells(cohort) == [("expulsion_complete", 59), ("expulsion_complete", 30)]


def test_a_partial_expulsion_is_dated_at_detection_whether_removed_that_day_later_or_never(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | removal_reason_main
        W1          | 2025-01-01 | insertion  | placed            |                   |
        W1          | 2025-01-31 | follow_up  |                   | partial_expulsion |
        W2          | 2025-01-01 | insertion  | placed            |                   |
        W2          | 2025-01-31 | removal    |                   | partial_expulsion | partial_expulsion
        W3          | 2025-01-01 | insertion  | placed            |                   |
        W3          | 2025-01-31 | follow_up  |                   | partial_expulsion |
        W3          | 2025-03-01 | removal    |                   |                   | partial_expulsion
        """)
    assert spells(cohort, "removal_reason") == [("expulsion_partial", 30, None)] * 3


def test_events_on_day_0_are_endings_on_day_0(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind  | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion   | placed            |
        W1          | 2025-01-01 | unscheduled |                   | complete_expulsion
        W2          | 2025-01-01 | insertion   | placed            |
        W2          | 2025-01-01 | removal     |                   |
        """)
    assert spells(cohort, "exit_day_last_known", "exit_day_assumed_in_place") == [
        ("expulsion_complete", 0, 0, 0),
        ("removal", 0, 0, 0),
    ]


def test_the_earliest_event_ends_the_spell_and_what_is_told_later_is_a_finding(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | removal    |                   |
        W1          | 2025-03-01 | follow_up  |                   | complete_expulsion
        """)
    assert spells(cohort) == [("removal", 30)]
    assert cohort.findings[["rule", "row"]].to_numpy().tolist() == [["event_after_end", 4]]


def test_on_one_day_perforation_comes_before_pregnancy_before_expulsion_before_removal(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | pregnancy    | perforation_confirmed
        W1          | 2025-01-01 | insertion  | placed            |                    |              |
        W1          | 2025-01-31 | removal    |                   | complete_expulsion | intrauterine | complete_extrauterine
        W2          | 2025-01-01 | insertion  | placed            |                    |              |
        W2          | 2025-01-31 | removal    |                   | complete_expulsion | intrauterine |
        W3          | 2025-01-01 | insertion  | placed            |                    |              |
        W3          | 2025-01-31 | removal    |                   | complete_expulsion |              |
        W4          | 2025-01-01 | insertion  | placed            |                    |              |
        W4          | 2025-01-31 | removal    |                   |                    |              |
        W5          | 2025-01-01 | insertion  | placed            |                    |              |
        W5          | 2025-01-31 | follow_up  |                   | complete_expulsion |              |
        W5          | 2025-01-31 | follow_up  |                   | partial_expulsion  |              |
        """)  # noqa: E501 - a drawn log
    assert [ending for ending, _ in spells(cohort)] == [
        "perforation",
        "pregnancy",
        "expulsion_complete",
        "removal",
        "expulsion_complete",
    ]


def test_a_removal_for_partial_expulsion_pregnancy_or_perforation_takes_that_ending(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | removal    |                   | partial_expulsion
        W2          | 2025-01-01 | insertion  | placed            |
        W2          | 2025-01-31 | removal    |                   | pregnancy
        W3          | 2025-01-01 | insertion  | placed            |
        W3          | 2025-01-31 | removal    |                   | perforation
        """)
    assert spells(cohort, "removal_reason") == [
        ("expulsion_partial", 30, None),
        ("pregnancy", 30, None),
        ("perforation", 30, None),
    ]


def test_malposition_stays_a_reason_for_removal_and_reasons_fall_into_groups(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | removal    |                   | malposition
        W2          | 2025-01-01 | insertion  | placed            |
        W2          | 2025-01-31 | removal    |                   | pain
        W3          | 2025-01-01 | insertion  | placed            |
        W3          | 2025-01-31 | removal    |                   | bleeding
        W4          | 2025-01-01 | insertion  | placed            |
        W4          | 2025-01-31 | removal    |                   |
        """)
    assert spells(cohort, "removal_reason", "removal_group") == [
        ("removal", 30, "malposition", "malposition"),
        ("removal", 30, "pain", "bleeding_or_pain"),
        ("removal", 30, "bleeding", "bleeding_or_pain"),
        ("removal", 30, "unknown", "unknown"),
    ]


def test_a_removal_that_failed_leaves_the_device_in_place(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_difficult | removal_reason_main | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |                   |                     |
        W1          | 2025-01-31 | removal    |                   | failed            |                     |
        W2          | 2025-01-01 | insertion  | placed            |                   |                     |
        W2          | 2025-01-31 | removal    |                   | failed            | wish_pregnancy      |
        W3          | 2025-01-01 | insertion  | placed            |                   |                     |
        W3          | 2025-01-31 | removal    |                   | failed            | wish_pregnancy      | in_situ_confirmed
        W4          | 2025-01-01 | insertion  | placed            |                   |                     |
        W4          | 2025-01-31 | removal    |                   | failed            | wish_pregnancy      |
        W4          | 2025-03-01 | removal    |                   | no                | wish_pregnancy      |
        """)  # noqa: E501 - a drawn log
    # Only W3's visit says that the device was seen.
    assert spells(cohort, "last_known_day") == [
        ("none", None, 0),
        ("none", None, 0),
        ("none", None, 30),
        ("removal", 59, 0),
    ]


def test_a_removal_visit_that_did_not_happen_removes_nothing(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | contact_result | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |                |
        W1          | 2025-01-31 | removal    |                   | not_reached    |
        """)
    assert spells(cohort) == [("none", None)]


def test_a_removal_visit_is_the_day_of_the_removal_whatever_day_is_reported_besides(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main | event_date_reported
        W1          | 2025-01-01 | insertion  | placed            |                     |
        W1          | 2025-03-01 | removal    |                   | bleeding            | 2025-01-31
        """)
    assert spells(cohort) == [("removal", 59)]


def test_a_removal_on_the_day_of_a_placement_is_not_of_a_device_already_out(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | complete_expulsion
        W1          | 2025-03-01 | insertion  | placed            |
        W1          | 2025-03-01 | removal    |                   |
        """)
    assert spells(cohort) == [("expulsion_complete", 30), ("removal", 0)]


def test_a_removal_elsewhere_told_at_a_contact_ends_the_spell_on_the_day_she_reports(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind     | insertion_outcome | device_in_situ    | event_date_reported | removal_reason_main
        W1          | 2025-01-01 | insertion      | placed            |                   |                     |
        W1          | 2025-03-01 | remote_contact |                   | removed_elsewhere | 2025-01-31          | pain
        """)  # noqa: E501 - a drawn log
    assert spells(cohort, "removal_reason") == [("removal", 30, "pain")]


def test_two_placements_with_no_ending_between_leave_an_unrecorded_ending_at_the_second(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | in_situ_confirmed
        W1          | 2025-03-01 | insertion  | placed            |
        """)
    # Ended somewhere between day 30, when it was last seen, and day 59, when the second was placed.
    assert spells(cohort, "ending_earliest_day") == [("unrecorded", 59, 30), ("none", None, None)]
    assert cohort.findings[["rule", "row"]].to_numpy().tolist() == [["unrecorded_ending", 4]]


def test_a_device_found_to_be_gone_with_no_word_how_is_an_unrecorded_ending(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | in_situ_confirmed
        W1          | 2025-03-01 | follow_up  |                   | not_in_uterus
        """)
    assert spells(cohort, "ending_earliest_day") == [("unrecorded", 59, 30)]


def test_a_device_found_to_be_gone_takes_the_ending_that_explains_it_later(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | perforation_confirmed
        W1          | 2025-01-01 | insertion  | placed            |                    |
        W1          | 2025-01-31 | follow_up  |                   | not_in_uterus      |
        W1          | 2025-03-01 | follow_up  |                   |                    | complete_extrauterine
        W2          | 2025-01-01 | insertion  | placed            |                    |
        W2          | 2025-01-31 | follow_up  |                   | not_in_uterus      |
        W2          | 2025-03-01 | follow_up  |                   | complete_expulsion |
        """)
    # A perforation ends the spell when it is found, an expulsion when it is known.
    assert spells(cohort) == [("perforation", 59), ("expulsion_complete", 59)]


def test_an_ending_told_after_the_next_placement_belongs_to_the_device_of_its_date(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | event_date_reported
        W1          | 2025-01-01 | insertion  | placed            |                    |
        W1          | 2025-03-01 | insertion  | placed            |                    |
        W1          | 2025-04-01 | follow_up  |                   | complete_expulsion | 2025-01-31
        """)
    assert spells(cohort) == [("expulsion_complete", 30), ("none", None)]


def test_a_reported_day_before_the_placement_or_after_the_visit_is_not_used(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | event_date_reported
        W1          | 2025-01-01 | insertion  | placed            |                    |
        W1          | 2025-01-31 | follow_up  |                   | complete_expulsion | 2024-12-01
        W2          | 2025-01-01 | insertion  | placed            |                    |
        W2          | 2025-01-31 | follow_up  |                   | complete_expulsion | 2025-03-01
        W3          | 2025-03-01 | insertion  | placed            |                    |
        """)
    assert spells(cohort)[:2] == [("expulsion_complete", 30)] * 2
    assert rules(cohort) == ["reported_date_not_used"] * 2


def test_a_device_noted_in_place_after_it_was_removed_is_a_finding(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | removal    |                   |
        W1          | 2025-03-01 | follow_up  |                   | in_situ_confirmed
        """)
    assert spells(cohort, "last_known_day") == [("removal", 30, 0)]
    assert rules(cohort) == ["in_place_after_end"]


def test_death_ends_the_spell(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind     | insertion_outcome | contact_result | device_in_situ
        W1          | 2025-01-01 | insertion      | placed            |                |
        W1          | 2025-01-31 | remote_contact |                   | died           |
        """)
    assert spells(cohort, "exit_day_last_known", "exit_day_assumed_in_place") == [("death", 30, 30, 30)]
