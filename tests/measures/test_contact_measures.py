"""Positions, threads, malposition, infection, removal visits, linkage and the check in higher risk, by hand."""

from collections.abc import Callable

import pandas as pd
import pytest

from audit.measures.completeness_of_follow_up import follow_up_completeness
from audit.measures.follow_up import check_in_higher_risk, follow_up_bounds
from audit.measures.infection import pelvic_infection, pelvic_infection_incidence
from audit.measures.linkage import unlinked_contacts
from audit.measures.position import malposition, position_verified, threads_not_seen
from audit.measures.removal_visits import difficult_removal, removal_on_request
from audit.records import Cohort
from audit.statistics.rates import rate_interval

Derive = Callable[..., Cohort]
YEAR = 365.25
COUNTS = ["events", "n", "n_unknown"]
EMPTY = "patient_ref | visit_date | visit_kind | insertion_outcome"


def counted(table: pd.DataFrame, **labels: object) -> list[int]:
    """Events, denominator and unknown of the one row with these labels."""
    for name, value in labels.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table[COUNTS].iloc[0].tolist()


def test_a_position_counts_as_verified_by_imaging_before_threads_and_only_in_its_window(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | position_verified_by
        Scanned     | 2025-01-01 | insertion  | placed            |                    |
        Scanned     | 2025-01-22 | follow_up  |                   | in_situ_confirmed  | ultrasound_2d
        Scanned     | 2025-01-23 | follow_up  |                   | in_situ_confirmed  | threads_only
        Felt        | 2025-01-01 | insertion  | placed            |                    |
        Felt        | 2025-03-17 | follow_up  |                   | in_situ_confirmed  | threads_only
        TooEarly    | 2025-01-01 | insertion  | placed            |                    |
        TooEarly    | 2025-01-21 | follow_up  |                   | in_situ_confirmed  | ultrasound_2d
        TooLate     | 2025-01-01 | insertion  | placed            |                    |
        TooLate     | 2025-03-18 | follow_up  |                   | in_situ_confirmed  | ultrasound_2d
        NotAtAll    | 2025-01-01 | insertion  | placed            |                    |
        NotAtAll    | 2025-02-01 | follow_up  |                   | in_situ_reported   | none
        Expelled    | 2025-01-01 | insertion  | placed            |                    |
        Expelled    | 2025-03-17 | follow_up  |                   | complete_expulsion | ultrasound_2d
        NotDue      | 2025-12-01 | insertion  | placed            |                    |
        NotDue      | 2025-12-31 | follow_up  |                   | in_situ_confirmed  | ultrasound_2d
        """)
    table = position_verified(cohort.placements, cohort.follow_ups)
    # Day 21 and day 75 belong to the window; day 20 and day 76 do not.
    assert counted(table, due="first_cycle", definition="imaging") == [1, 5, 0]
    assert counted(table, due="first_cycle", definition="threads_only") == [1, 5, 0]
    assert counted(table, due="first_cycle", definition="either") == [2, 5, 0]
    assert counted(table, due="six_months", definition="either") == [0, 5, 0]


def test_threads_not_seen_are_split_by_what_came_first(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind  | insertion_outcome | device_in_situ     | threads_seen | position_verified_by | position_finding | removal_reason_main
        Seen        | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        Seen        | 2025-02-01 | follow_up   |                   | in_situ_confirmed  | yes          |                      |                  |
        Scanned     | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        Scanned     | 2025-02-01 | follow_up   |                   | in_situ_confirmed  | no           | ultrasound_2d        | fundal           |
        Scanned     | 2025-06-01 | follow_up   |                   | complete_expulsion |              |                      |                  |
        SeenLater   | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        SeenLater   | 2025-02-01 | follow_up   |                   |                    | no           |                      |                  |
        SeenLater   | 2025-03-01 | follow_up   |                   | in_situ_confirmed  | yes          |                      |                  |
        Expelled    | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        Expelled    | 2025-02-01 | unscheduled |                   | complete_expulsion | no           | ultrasound_2d        | not_seen         |
        PartlyOut   | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        PartlyOut   | 2025-02-01 | unscheduled |                   | partial_expulsion  | no           | ultrasound_2d        | cervical         |
        Outside     | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        Outside     | 2025-02-01 | unscheduled |                   | not_in_uterus      | no           | xray                 | outside_uterus   |
        Removed     | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        Removed     | 2025-02-01 | follow_up   |                   |                    | no           |                      |                  |
        Removed     | 2025-03-01 | removal     |                   |                    |              |                      |                  | pain
        Open        | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        Open        | 2025-02-01 | follow_up   |                   |                    | no           |                      |                  |
        NotLooked   | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        NotLooked   | 2025-02-01 | follow_up   |                   | in_situ_reported   | not_examined |                      |                  |
        Unseen      | 2025-01-01 | insertion   | placed            |                    |              |                      |                  |
        """)  # noqa: E501 - a drawn log
    table = threads_not_seen(cohort.placements, cohort.follow_ups)
    # A device found in the cervix on the day of its partial expulsion was expelled, not found in the uterus.
    assert counted(table, definition="not_seen") == [7, 8, 1]
    ways = {way: counted(table, definition=way)[:2] for way in table["definition"] if way != "not_seen"}
    assert ways == {
        "in_uterus": [2, 7],
        "expelled": [2, 7],
        "outside_uterus": [1, 7],
        "removed": [1, 7],
        "not_resolved": [1, 7],
    }


def test_malposition_is_counted_among_those_scanned_routine_and_led_by_symptoms_apart(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind  | insertion_outcome | device_in_situ    | threads_seen | position_verified_by | position_finding
        A           | 2025-01-01 | insertion   | placed            |                   |              |                      |
        A           | 2025-02-01 | follow_up   |                   | in_situ_confirmed | yes          | ultrasound_2d        | fundal
        B           | 2025-01-01 | insertion   | placed            |                   |              |                      |
        B           | 2025-02-01 | follow_up   |                   | in_situ_confirmed | yes          | ultrasound_3d        | fundal
        B           | 2025-03-01 | follow_up   |                   | in_situ_confirmed | yes          | ultrasound_3d        | rotated
        B           | 2025-04-01 | follow_up   |                   | in_situ_confirmed | yes          | ultrasound_3d        | embedded
        C           | 2025-01-01 | insertion   | placed            |                   |              |                      |
        C           | 2025-02-01 | follow_up   |                   | in_situ_confirmed | no           | ultrasound_2d        | low_in_cavity
        D           | 2025-01-01 | insertion   | placed            |                   |              |                      |
        D           | 2025-02-01 | unscheduled |                   | in_situ_confirmed | yes          | ultrasound_2d        | fundal
        E           | 2025-01-01 | insertion   | placed            |                   |              |                      |
        E           | 2025-02-01 | follow_up   |                   | in_situ_confirmed | yes          | ultrasound_2d        | not_assessed
        F           | 2025-01-01 | insertion   | placed            |                   |              |                      |
        F           | 2025-02-01 | follow_up   |                   | in_situ_confirmed | yes          | threads_only         | low_in_cavity
        """)  # noqa: E501 - a drawn log
    table = malposition(cohort.placements, cohort.follow_ups)
    # The worst of B's three scans counts; C's scan was made because the threads were not seen.
    assert counted(table, scanned="routine", definition="malposition") == [1, 2, 1]
    assert counted(table, scanned="routine", definition="embedded") == [1, 2, 1]
    assert counted(table, scanned="routine", definition="rotated") == [0, 2, 1]
    assert counted(table, scanned="symptom_led", definition="malposition") == [1, 2, 0]
    assert counted(table, scanned="symptom_led", definition="low_in_cavity") == [1, 2, 0]


INFECTED = """
    patient_ref | visit_date | visit_kind  | insertion_outcome | device_in_situ     | pid_diagnosed     | removal_reason_main
    Early       | 2025-01-01 | insertion   | placed            |                    |                   |
    Early       | 2025-01-21 | unscheduled |                   | in_situ_confirmed  | confirmed         |
    Early       | 2025-06-01 | unscheduled |                   | in_situ_confirmed  | confirmed         |
    Later       | 2025-01-01 | insertion   | placed            |                    |                   |
    Later       | 2025-01-22 | unscheduled |                   |                    | suspected_treated |
    AfterEnd    | 2025-01-01 | insertion   | placed            |                    |                   |
    AfterEnd    | 2025-01-11 | removal     |                   |                    |                   | pain
    AfterEnd    | 2025-02-11 | follow_up   |                   |                    | confirmed         |
    Never       | 2025-01-01 | insertion   | placed            |                    |                   |
    Never       | 2025-01-31 | follow_up   |                   | in_situ_confirmed  | no                |
    """  # noqa: E501 - a drawn log


def test_the_first_infection_with_the_device_in_place_counts_in_its_band(cohort_of: Derive) -> None:
    cohort = cohort_of(INFECTED)
    table = pelvic_infection(cohort.placements, cohort.follow_ups)
    table = table[(table["censoring"] == "last_known") & (table["definition"] == "suspected_or_confirmed")]
    table = table.set_index("band")
    # Day 20 belongs to the first band, day 21 to the second; the one after the removal belongs to neither.
    assert table["events"].to_dict() == {"0 to 20": 1, "over 20": 1, "all": 2}
    # Watched to the infection on days 20 and 21, to the removal on day 10, and to the last contact on day 30.
    assert table.at["0 to 20", "person_years"] == pytest.approx((20 + 20 + 10 + 20) / YEAR)
    assert table.at["over 20", "person_years"] == pytest.approx((1 + 10) / YEAR)
    assert (table.at["all", "ci_lower"], table.at["all", "ci_upper"]) == pytest.approx(
        rate_interval(2, 81 / YEAR)
    )


def test_confirmed_infections_are_a_view_of_their_own(cohort_of: Derive) -> None:
    cohort = cohort_of(INFECTED)
    table = pelvic_infection(cohort.placements, cohort.follow_ups)
    chosen = (table["definition"] == "confirmed") & (table["band"] == "all")
    assert table.loc[chosen, "events"].tolist() == [1, 1]


def test_the_incidence_of_infection_lets_the_end_of_the_device_compete(cohort_of: Derive) -> None:
    cohort = cohort_of(INFECTED)
    row = pelvic_infection_incidence(cohort.placements, cohort.follow_ups, horizons=(25,)).iloc[0]
    # One of four came out on day 10; of the three left one was infected on day 20, one of two on day 21.
    assert row["incidence"] == pytest.approx(3 / 4 * 1 / 3 + 2 / 4 * 1 / 2)


def test_difficult_removals_are_counted_over_all_attempted_and_a_blank_is_not_a_no(cohort_of: Derive) -> None:
    told = cohort_of("""
        patient_ref | visit_date | visit_kind | contact_result | device_in_situ    | removal_difficult
        A           | 2025-01-01 | removal    | reached        | removed_here      | no
        B           | 2025-01-01 | removal    | reached        | removed_here      | ultrasound_guided
        C           | 2025-01-01 | removal    | reached        | in_situ_confirmed | failed
        D           | 2025-01-01 | removal    | reached        | removed_here      |
        E           | 2025-01-01 | removal    | not_reached    |                   |
        F           | 2025-01-01 | follow_up  | reached        | removed_elsewhere | hysteroscopic_or_theatre
        G           | 2025-01-01 | follow_up  | reached        | in_situ_confirmed |
        """).follow_ups
    table = difficult_removal(told)
    assert counted(table, definition="difficult") == [3, 4, 1]
    assert counted(table, definition="failed") == [1, 4, 1]
    assert counted(table, definition="incomplete") == [0, 4, 1]


def test_a_removal_she_asked_for_is_in_time_up_to_the_limit_and_unknown_without_a_wait(
    cohort_of: Derive,
) -> None:
    told = cohort_of("""
        patient_ref | visit_date | visit_kind | removal_reason_main     | removal_delay_days
        A           | 2025-01-01 | removal    | bleeding                | 0
        B           | 2025-01-01 | removal    | wish_pregnancy          | 14
        C           | 2025-01-01 | removal    | pain                    | 15
        D           | 2025-01-01 | removal    | partner_or_social       |
        E           | 2025-01-01 | removal    | planned_end_of_duration |
        F           | 2025-01-01 | removal    | planned_end_of_duration | 40
        """).follow_ups
    row = removal_on_request(told).iloc[0]
    # E asked for nothing as far as the log shows; F's wait says that she did.
    assert row[COUNTS].tolist() == [2, 4, 1]
    # The waits are 0, 14, 15 and 40 days: the middle of the second and the third.
    assert row["median"] == 14.5
    assert removal_on_request(told, limit_days=15)["events"].tolist() == [3]


def test_contacts_without_a_placement_are_counted_over_all(cohort_of: Derive) -> None:
    told = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | site_ref | device_in_situ
        A           | 2025-01-01 | insertion  | placed            | S1       |
        A           | 2025-02-01 | follow_up  |                   | S1       | in_situ_confirmed
        B           | 2025-02-01 | removal    |                   | S2       | removed_here
        C           | 2025-02-01 | follow_up  |                   | S2       | in_situ_confirmed
        C           | 2025-03-01 | insertion  | placed            | S2       |
        """).follow_ups
    assert counted(unlinked_contacts(told)) == [2, 3, 0]
    assert unlinked_contacts(told, by="site_ref")["events"].tolist() == [0, 2]


def test_the_check_is_counted_by_each_reason_for_a_higher_risk() -> None:
    frame = pd.DataFrame(
        {
            "check_done": pd.array([True, False, True, None], dtype="boolean"),
            "higher_risk": pd.array([True, True, None, True], dtype="boolean"),
            "breastfeeding": pd.array([True, False, None, True], dtype="boolean"),
            "under_9_months_postpartum": pd.array([True, True, None, True], dtype="boolean"),
            "difficult_insertion": pd.array([None, None, None, None], dtype="boolean"),
        }
    )
    table = check_in_higher_risk(frame)
    assert counted(table, by="higher_risk", stratum="yes") == [1, 2, 0]
    assert counted(table, by="higher_risk", stratum="not recorded") == [1, 1, 0]
    assert counted(table, by="breastfeeding", stratum="yes") == [1, 1, 0]
    assert counted(table, by="difficult_insertion", stratum="not recorded") == [2, 3, 0]
    assert table.loc[table["by"] == "breastfeeding", "n_not_due"].tolist() == [0, 1, 0]


def year(*told: tuple[str, float, float, bool | None]) -> pd.DataFrame:
    """Placements from (ending, exit day last known, exit day assumed in place, outcome of the year known)."""
    columns = ["ending", "exit_day_last_known", "exit_day_assumed_in_place", "outcome_known"]
    frame = pd.DataFrame(told, columns=columns).assign(placement_kind="first")
    frame["ending_day"] = frame["exit_day_last_known"].where(frame["ending"] != "none")
    return frame.astype({"outcome_known": "boolean"})


LOST = year(
    ("expulsion_complete", 100, 100, True),
    ("removal", 200, 200, True),
    ("none", 400, 400, True),
    ("none", 0, 400, False),
    ("none", 0, 400, False),
    ("removal", 10, 10, None),
)


def bound(cause: str, table: pd.DataFrame) -> pd.Series:
    """The row of one cause."""
    return table[table["cause"] == cause].iloc[0]


def test_the_unknown_leave_a_best_and_a_worst_reading_and_both_rules_stand_beside() -> None:
    row = bound("expulsion", follow_up_bounds(LOST, figures_to_reach={"expulsion": 0.4}))
    # Three known, two unknown; the placement that is not old enough takes no part.
    assert row[COUNTS].tolist() == [1, 3, 2]
    assert row[["known_only", "best", "worst"]].tolist() == pytest.approx([1 / 3, 1 / 5, 3 / 5])
    # Never seen again: not at risk on day 100 under the one rule, at risk under the other.
    assert row[["last_known", "assumed_in_place"]].tolist() == pytest.approx([1 / 3, 1 / 5])
    # Two of five would be 40%: one of the two unknown would do.
    assert row["share_to_reach"] == pytest.approx(1 / 2)


def test_without_a_figure_to_reach_there_is_no_tipping_point_and_any_ending_is_a_reading_too() -> None:
    table = follow_up_bounds(LOST)
    assert table["share_to_reach"].isna().all()
    assert bound("any", table)[["known_only", "best", "worst"]].tolist() == pytest.approx(
        [2 / 3, 2 / 5, 4 / 5]
    )
    assert bound("any", table)["last_known"] == pytest.approx(2 / 3)


def test_all_unknown_leaves_everything_possible() -> None:
    row = bound("removal", follow_up_bounds(year(("none", 0, 400, False), ("none", 0, 400, False))))
    assert row[COUNTS].tolist() == [0, 0, 2]
    assert row[["best", "worst"]].tolist() == [0, 1]
    assert pd.isna(row["known_only"])
    assert row["caution"] == "Not recorded for anyone."


def test_no_placement_and_no_contact_give_empty_tables_or_rows_without_a_figure(cohort_of: Derive) -> None:
    cohort = cohort_of(EMPTY)
    placements, told = cohort.placements, cohort.follow_ups
    assert pelvic_infection(placements, told).empty
    assert pelvic_infection_incidence(placements, told).empty
    assert check_in_higher_risk(placements).empty
    for table in (
        position_verified(placements, told),
        threads_not_seen(placements, told),
        malposition(placements, told),
        difficult_removal(told),
        removal_on_request(told),
        unlinked_contacts(told),
        follow_up_bounds(placements),
    ):
        assert table["n"].eq(0).all()
        assert table["caution"].eq("Nothing to count.").all()


def test_nothing_recorded_is_unknown_and_never_no(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | position_verified_by | removal_reason_main
        A           | 2025-01-01 | insertion  | placed            |                   |                      |
        A           | 2025-02-01 | follow_up  |                   | in_situ_confirmed | ultrasound_2d        |
        A           | 2025-12-31 | removal    |                   |                   |                      | pain
        """)  # noqa: E501 - a drawn log
    placements, told = cohort.placements, cohort.follow_ups
    assert counted(threads_not_seen(placements, told), definition="not_seen") == [0, 0, 1]
    assert counted(malposition(placements, told), scanned="routine", definition="malposition") == [0, 0, 1]
    assert counted(difficult_removal(told), definition="difficult") == [0, 0, 1]
    assert counted(removal_on_request(told)) == [0, 0, 1]
    assert pd.isna(removal_on_request(told)["median"].item())


def test_the_time_followed_is_what_was_seen_of_what_could_be_seen() -> None:
    frame = pd.DataFrame(
        {
            "ending": ["removal", "none", "none", "none"],
            "exit_day_last_known": [100.0, 300.0, 50.0, 0.0],
            "days_to_data_to": [400.0, 300.0, 200.0, 150.0],
            "placement_kind": "first",
        }
    )
    row = follow_up_completeness(frame).iloc[0]
    # One ended and one was seen on the day of the freeze; after a removal there is nothing more to see.
    assert row[["n", "n_complete", "observed_days", "potential_days"]].tolist() == [4, 2, 450, 750]
    assert row["completeness"] == pytest.approx(450 / 750)
    # Lost on day 0 (one of four) and on day 50 (one of three): 3/4, then 3/4 x 2/3, which is a half until day 300.
    assert row["median_days"] == pytest.approx((50 + 300) / 2)


def test_groups_are_followed_apart_and_a_site_not_recorded_is_one_of_them() -> None:
    frame = pd.DataFrame(
        {
            "ending": "none",
            "exit_day_last_known": [100.0, 0.0],
            "days_to_data_to": [100.0, 100.0],
            "placement_kind": "first",
            "site_ref": pd.Categorical(["S1", None]),
        }
    )
    table = follow_up_completeness(frame, by="site_ref")
    assert table[["stratum", "completeness"]].to_numpy().tolist() == [["S1", 1.0], ["not recorded", 0.0]]


def test_a_device_placed_on_the_day_of_the_freeze_leaves_nothing_to_follow() -> None:
    frame = pd.DataFrame(
        {
            "ending": ["none"],
            "exit_day_last_known": [0.0],
            "days_to_data_to": [0.0],
            "placement_kind": "first",
        }
    )
    row = follow_up_completeness(frame).iloc[0]
    assert row[["n", "n_complete"]].tolist() == [1, 1]
    assert pd.isna(row["completeness"])
    assert follow_up_completeness(frame.iloc[:0]).empty
