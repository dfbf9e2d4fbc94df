"""Both censoring rules, checks done, outcomes known and devices overdue; each log worked by hand."""

from collections.abc import Callable

import pandas as pd

from audit.records import Cohort, VisitLog
from audit.settings import AuditSettings, Windows

Derive = Callable[..., Cohort]


def placed(cohort: Cohort, *columns: str) -> list[tuple[object, ...]]:
    """These columns of the placements, a missing value as None."""
    rows = cohort.placements[list(columns)].astype(object)
    return [tuple(None if pd.isna(cell) else cell for cell in row) for row in rows.to_numpy()]


EXITS = ("exit_day_last_known", "exit_day_assumed_in_place")
# All are placed on 1 January 2025; 1 July is day 181, and 151 without the reporting lag of 30 days.


def test_a_woman_never_contacted_is_known_on_day_0_and_assumed_in_place_up_to_the_lag(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | placed
        """,
        data_to="2025-07-01",
    )
    assert placed(cohort, "days_to_data_to", "last_known_day", *EXITS) == [(181, 0, 0, 151)]


def test_a_contact_that_shows_the_device_extends_what_is_known_and_an_unknown_status_does_not(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind     | insertion_outcome | device_in_situ    | contact_result
        W1          | 2025-01-01 | insertion      | placed            |                   |
        W1          | 2025-01-31 | follow_up      |                   | in_situ_confirmed |
        W1          | 2025-03-01 | remote_contact |                   | unknown           | reached
        W2          | 2025-01-01 | insertion      | placed            |                   |
        W2          | 2025-01-31 | remote_contact |                   | in_situ_reported  |
        W2          | 2025-03-01 | remote_contact |                   |                   | not_reached
        """,
        data_to="2025-07-01",
    )
    assert placed(cohort, *EXITS) == [(30, 151), (30, 151)]
    assert cohort.follow_ups["status_known"].tolist() == [True, False, True, False]


def test_what_is_assumed_never_ends_before_what_is_known(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-06-20 | follow_up  |                   | in_situ_confirmed
        W2          | 2025-06-20 | insertion  | placed            |
        """,
        data_to="2025-07-01",
    )
    # 20 June is day 170, within the lag; W2's 11 days are all within the lag.
    assert placed(cohort, *EXITS) == [(170, 170), (0, 0)]


def test_moving_away_and_refusal_end_observation_without_an_ending_under_both_rules(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind     | insertion_outcome | contact_result | device_in_situ
        W1          | 2025-01-01 | insertion      | placed            |                |
        W1          | 2025-01-31 | follow_up      |                   | reached        | in_situ_confirmed
        W1          | 2025-03-01 | remote_contact |                   | moved_away     |
        W2          | 2025-01-01 | insertion      | placed            |                |
        W2          | 2025-03-01 | remote_contact |                   | declined       |
        W3          | 2025-01-01 | insertion      | placed            |                |
        W3          | 2025-03-01 | remote_contact |                   | moved_away     | in_situ_reported
        """,
        data_to="2025-07-01",
    )
    # Known only up to the last day seen; assumed only up to the day she left (day 59).
    assert placed(cohort, "ending", "left_day", *EXITS) == [
        ("none", 59, 30, 59),
        ("none", 59, 0, 59),
        ("none", 59, 59, 59),
    ]


def test_a_woman_seen_again_after_she_had_moved_is_followed_again(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind     | insertion_outcome | contact_result | device_in_situ
        W1          | 2025-01-01 | insertion      | placed            |                |
        W1          | 2025-01-31 | remote_contact |                   | moved_away     |
        W1          | 2025-03-01 | follow_up      |                   | reached        | in_situ_confirmed
        """,
        data_to="2025-07-01",
    )
    assert placed(cohort, "left_day", *EXITS) == [(None, 59, 151)]


def test_an_ending_ends_observation_on_its_day_under_both_rules(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind     | insertion_outcome | contact_result | device_in_situ
        W1          | 2025-01-01 | insertion      | placed            |                |
        W1          | 2025-03-01 | follow_up      |                   |                | complete_expulsion
        W2          | 2025-01-01 | insertion      | placed            |                |
        W2          | 2025-03-01 | remote_contact |                   | died           |
        """,
        data_to="2025-07-01",
    )
    assert placed(cohort, *EXITS) == [(59, 59), (59, 59)]


def test_the_reporting_lag_is_a_setting(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | placed
        """,
        data_to="2025-07-01",
        settings=AuditSettings(windows=Windows(reporting_lag_days=81)),
    )
    assert placed(cohort, *EXITS) == [(0, 100)]


def test_a_visit_after_the_freeze_is_set_aside_and_changes_nothing(
    log_of: Callable[..., VisitLog], cohort_of: Derive
) -> None:
    text = """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-07-01 | follow_up  |                   | in_situ_confirmed
        W1          | 2025-07-02 | follow_up  |                   | complete_expulsion
        """
    log = log_of(text, data_to="2025-07-01")
    assert log.set_aside[["row", "reason"]].to_numpy().tolist() == [[4, "after_data_to"]]
    # A visit on the day of the freeze is used.
    assert placed(cohort_of(text, data_to="2025-07-01"), "ending", *EXITS) == [("none", 181, 181)]


def test_the_freeze_is_the_latest_visit_unless_a_day_is_named(cohort_of: Derive) -> None:
    text = """
        patient_ref | visit_date | visit_kind     | insertion_outcome
        W1          | 2025-01-01 | insertion      | placed
        W2          | 2025-03-01 | pre_assessment |
        """
    assert cohort_of(text).data_to == pd.Timestamp("2025-03-01")
    assert placed(cohort_of(text), "days_to_data_to") == [(59,)]


def test_a_check_counts_from_day_21_to_day_56_when_the_status_is_known(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind     | insertion_outcome | device_in_situ
        W20         | 2025-01-01 | insertion      | placed            |
        W20         | 2025-01-21 | follow_up      |                   | in_situ_confirmed
        W21         | 2025-01-01 | insertion      | placed            |
        W21         | 2025-01-22 | follow_up      |                   | in_situ_confirmed
        W56         | 2025-01-01 | insertion      | placed            |
        W56         | 2025-02-26 | remote_contact |                   | in_situ_reported
        W57         | 2025-01-01 | insertion      | placed            |
        W57         | 2025-02-27 | follow_up      |                   | in_situ_confirmed
        Silent      | 2025-01-01 | insertion      | placed            |
        Silent      | 2025-01-31 | follow_up      |                   | unknown
        Expelled    | 2025-01-01 | insertion      | placed            |
        Expelled    | 2025-01-31 | follow_up      |                   | complete_expulsion
        """,
        data_to="2025-07-01",
    )
    assert placed(cohort, "check_done") == [(False,), (True,), (True,), (False,), (False,), (True,)]


def test_no_check_is_due_before_the_window_closes_or_when_the_device_was_out_before_it_opened(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        Early       | 2025-01-01 | insertion  | placed            |
        Early       | 2025-01-21 | removal    |                   |
        Just        | 2025-01-01 | insertion  | placed            |
        Just        | 2025-01-22 | removal    |                   |
        Closing     | 2025-05-06 | insertion  | placed            |
        Open        | 2025-05-07 | insertion  | placed            |
        Open        | 2025-06-10 | follow_up  |                   | in_situ_confirmed
        """,
        data_to="2025-07-01",
    )
    # Out on day 20: none due; on day 21: the removal is the check. 6 May is 56 days before the freeze.
    assert placed(cohort, "check_done") == [(None,), (True,), (False,), (None,)]


def test_the_outcome_is_known_by_an_ending_or_the_device_seen_on_day_330_or_later(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind     | insertion_outcome | device_in_situ     | contact_result
        D329        | 2025-01-01 | insertion      | placed            |                    |
        D329        | 2025-11-26 | follow_up      |                   | in_situ_confirmed  |
        D330        | 2025-01-01 | insertion      | placed            |                    |
        D330        | 2025-11-27 | follow_up      |                   | in_situ_confirmed  |
        Expelled    | 2025-01-01 | insertion      | placed            |                    |
        Expelled    | 2025-03-01 | follow_up      |                   | complete_expulsion |
        Moved       | 2025-01-01 | insertion      | placed            |                    |
        Moved       | 2025-12-20 | remote_contact |                   |                    | moved_away
        Refuser     | 2025-01-01 | insertion      | placed            |                    |
        Refuser     | 2025-12-20 | remote_contact |                   |                    | declined
        Unheard     | 2025-01-01 | insertion      | placed            |                    |
        Died        | 2025-01-01 | insertion      | placed            |                    |
        Died        | 2025-03-01 | remote_contact |                   |                    | died
        Again       | 2025-01-01 | insertion      | placed            |                    |
        Again       | 2025-06-01 | insertion      | placed            |                    |
        """,
        data_to="2026-01-31",
    )
    # The freeze is day 395: a year and the 30 days to let reports come in. Again's second is too young.
    assert placed(cohort, "outcome_known") == [
        (False,),
        (True,),
        (True,),
        (False,),
        (False,),
        (False,),
        (True,),
        (False,),
        (None,),
    ]


def test_the_outcome_is_not_due_a_day_before_a_year_and_30_days(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-01-01 | insertion  | placed            |
        W1          | 2025-12-01 | follow_up  |                   | in_situ_confirmed
        """,
        data_to="2026-01-30",
    )
    assert placed(cohort, "outcome_known") == [(None,)]


def test_a_device_is_overdue_once_it_is_older_than_allowed_and_nobody_ended_it(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_licensed_years
        Over        | 2020-01-01 | insertion  | placed            | 5
        Within      | 2021-01-01 | insertion  | placed            | 5
        Removed     | 2020-01-01 | insertion  | placed            | 5
        Removed     | 2025-01-01 | removal    |                   |
        Unsaid      | 2010-01-01 | insertion  | placed            |
        """,
        data_to="2025-07-01",
    )
    assert placed(cohort, "overdue") == [(True,), (False,), (False,), (None,)]
