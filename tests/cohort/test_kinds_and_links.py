"""First, replacement and repeat placements, and which device a contact belongs to; each log worked by hand."""

from collections.abc import Callable

import pandas as pd

from audit.cohort import derive_cohort
from audit.records import Cohort, VisitLog
from audit.schema.derived import ATTEMPTS, FOLLOW_UPS, PLACEMENTS

Derive = Callable[..., Cohort]


def placed(cohort: Cohort, *columns: str) -> list[tuple[object, ...]]:
    """These columns of the placements, a missing value as None."""
    rows = cohort.placements[list(columns)].astype(object)
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in rows.to_numpy()]


def test_a_replacement_in_one_row_ends_the_old_device_and_starts_the_new(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion               | placed            |
        W1          | 2025-03-01 | removal_and_replacement | placed            | planned_end_of_duration
        """)
    assert placed(cohort, "placement_kind", "ending", "ending_day", "replaced_at_once", "removal_group") == [
        ("first", "removal", 59, True, "replacement"),
        ("replacement", "none", None, False, None),
    ]


def test_a_removal_row_and_an_insertion_row_on_one_day_are_a_replacement_in_either_order(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-03-01 | removal    |                   | planned_end_of_duration
        W1          | 2025-03-01 | insertion  | placed            |
        W2          | 2025-01-01 | insertion  | placed            |
        W2          | 2025-03-01 | insertion  | placed            |
        W2          | 2025-03-01 | removal    |                   | planned_end_of_duration
        """)
    one = [("first", "removal", 59, True), ("replacement", "none", None, False)]
    assert placed(cohort, "placement_kind", "ending", "ending_day", "replaced_at_once") == one * 2


def test_a_replacement_for_another_reason_keeps_that_reason_as_the_cause(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion               | placed            |
        W1          | 2025-03-01 | removal_and_replacement | placed            | malposition
        """)
    assert placed(cohort, "removal_group", "replaced_at_once") == [("malposition", True), (None, False)]


def test_a_replacement_that_failed_leaves_a_removal_without_a_new_device(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome
        W1          | 2025-01-01 | insertion               | placed
        W1          | 2025-03-01 | removal_and_replacement | failed
        """)
    assert placed(cohort, "ending", "ending_day", "replaced_at_once") == [("removal", 59, False)]
    assert cohort.attempts["outcome"].tolist() == ["placed", "failed"]


def test_a_replacement_noted_at_the_removal_counts_though_its_own_row_is_missing(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | replacement_at_once
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-03-01 | removal    |                   | yes
        W2          | 2025-01-01 | insertion  | placed            |
        W2          | 2025-03-01 | removal    |                   | no
        W3          | 2025-01-01 | insertion  | placed            |
        W3          | 2025-03-01 | removal    |                   |
        """)
    assert placed(cohort, "replaced_at_once") == [(True,), (False,), (False,)]


def test_an_expulsion_and_a_new_placement_is_a_repeat_with_an_earlier_expulsion(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | prior_expulsion
        W1          | 2025-01-01 | insertion  | placed            |                    | no
        W1          | 2025-01-31 | follow_up  |                   | complete_expulsion |
        W1          | 2025-03-01 | insertion  | placed            |                    | no
        W2          | 2025-01-01 | insertion  | placed            |                    | yes
        W3          | 2025-01-01 | insertion  | placed            |                    |
        """)
    assert placed(cohort, "placement_kind", "prior_expulsion") == [
        ("first", False),
        ("repeat", True),
        ("first", True),
        ("first", None),
    ]


def test_a_removal_and_a_later_placement_is_a_repeat(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | placed
        W1          | 2025-03-01 | removal    |
        W1          | 2025-03-02 | insertion  | placed
        """)
    assert placed(cohort, "placement_kind", "replaced_at_once") == [("first", False), ("repeat", False)]


def test_a_new_device_on_the_day_an_expulsion_is_found_is_a_repeat_and_not_a_replacement_at_removal(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-03-01 | follow_up  |                   | complete_expulsion
        W1          | 2025-03-01 | insertion  | placed            |
        """)
    assert placed(cohort, "placement_kind", "ending", "ending_day", "replaced_at_once") == [
        ("first", "expulsion_complete", 59, False),
        ("repeat", "none", None, False),
    ]


def test_a_device_expelled_and_replaced_the_same_day_keeps_its_own_cause(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion               | placed            |
        W1          | 2025-03-01 | removal_and_replacement | placed            | partial_expulsion
        """)
    assert placed(cohort, "placement_kind", "ending", "prior_expulsion") == [
        ("first", "expulsion_partial", None),
        ("replacement", "none", True),
    ]


def test_a_device_placed_elsewhere_counts_for_workload_only(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | removal    |                   |
        W2          | 2025-01-01 | follow_up  |                   | in_situ_confirmed
        W3          | 2025-01-01 | follow_up  |                   |
        """)
    assert cohort.placements.empty
    assert cohort.follow_ups["placement"].tolist() == [-1, -1, -1]
    # Nothing is known of a device from W3's visit, so there is nothing to note.
    assert cohort.findings[["rule", "row"]].to_numpy().tolist() == [
        ["placed_elsewhere", 2],
        ["placed_elsewhere", 3],
    ]


def test_the_replacement_of_a_device_placed_elsewhere_is_a_replacement_and_the_next_placement_a_first(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome
        W1          | 2025-01-01 | removal_and_replacement | placed
        W1          | 2025-03-01 | removal                 |
        W1          | 2025-06-01 | insertion               | placed
        """)
    assert placed(cohort, "placement_kind") == [("replacement",), ("first",)]


def test_a_removal_row_before_the_insertion_row_of_the_day_takes_out_a_device_placed_elsewhere(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | replacement_at_once
        Before      | 2025-01-01 | removal    |                   |
        Before      | 2025-01-01 | insertion  | placed            |
        Said        | 2025-01-01 | insertion  | placed            |
        Said        | 2025-01-01 | removal    |                   | yes
        After       | 2025-01-01 | insertion  | placed            |
        After       | 2025-01-01 | removal    |                   |
        """)
    assert placed(cohort, "placement_kind", "ending", "ending_day") == [
        ("replacement", "none", None),
        ("replacement", "none", None),
        ("first", "removal", 0),
    ]


def test_a_contact_belongs_to_the_device_in_place_that_day(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion               | placed            |
        W1          | 2025-01-31 | follow_up               |                   | in_situ_confirmed
        W1          | 2025-03-01 | removal_and_replacement | placed            |
        W1          | 2025-03-31 | follow_up               |                   | in_situ_reported
        """)
    assert cohort.follow_ups[["placement", "day"]].to_numpy().tolist() == [[0, 30], [0, 59], [1, 30]]
    assert placed(cohort, "last_known_day") == [(30,), (30,)]


def test_women_do_not_share_devices_however_their_rows_are_ordered(cohort_of: Derive) -> None:
    text = """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W2          | 2025-01-31 | follow_up  |                   | complete_expulsion
        W1          | 2025-01-01 | insertion  | placed            |
        W2          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-03-01 | follow_up  |                   | in_situ_confirmed
        """
    heading, *rows = text.strip().splitlines()
    turned = "\n".join([heading, *reversed(rows)])
    for drawn in (text, turned):
        found = {
            row[0]: row[1:] for row in placed(cohort_of(drawn), "ending", "ending_day", "last_known_day")
        }
        assert found == {"none": (None, 59), "expulsion_complete": (30, 0)}


def test_a_pre_assessment_is_neither_attempt_nor_contact(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind     | insertion_outcome
        W1          | 2025-01-01 | pre_assessment |
        W1          | 2025-01-02 | insertion      | placed
        """)
    assert len(cohort.attempts) == 1
    assert cohort.follow_ups.empty


def test_an_empty_log_gives_empty_tables_with_every_column(cohort_of: Derive) -> None:
    cohort = cohort_of("patient_ref | visit_date | visit_kind | insertion_outcome")
    for frame, table in (
        (cohort.attempts, ATTEMPTS),
        (cohort.placements, PLACEMENTS),
        (cohort.follow_ups, FOLLOW_UPS),
    ):
        assert frame.empty
        assert tuple(frame.columns) == table.names
    assert cohort.findings.empty
    assert pd.isna(cohort.data_to)


def test_the_tables_hold_the_columns_of_the_schema_in_its_order(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | in_situ_confirmed
        """)
    assert tuple(cohort.attempts.columns) == ATTEMPTS.names
    assert tuple(cohort.placements.columns) == PLACEMENTS.names
    assert tuple(cohort.follow_ups.columns) == FOLLOW_UPS.names


def test_the_visits_are_left_as_they_were(log_of: Callable[..., VisitLog]) -> None:
    log = log_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-01-31 | follow_up  |                   | in_situ_confirmed
        """)
    before = log.visits.copy(deep=True)
    derive_cohort(log)
    pd.testing.assert_frame_equal(log.visits, before)
