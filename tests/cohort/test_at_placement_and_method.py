"""Time since a birth, risk, size and the use of the method, derived from drawn logs."""

from collections.abc import Callable

import pytest

from audit.records import Cohort

Derive = Callable[..., Cohort]


def test_bands_of_time_since_a_birth_keep_abortions_and_the_unknown_apart(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | births | weeks_since_delivery | placement_timing
        A           | 2025-01-01 | insertion  | placed            | 1      | 0                    | post_placental_10min
        B           | 2025-01-01 | insertion  | placed            | 1      | 6                    | early_postpartum_outpatient
        C           | 2025-01-01 | insertion  | placed            | 1      | 7                    |
        D           | 2025-01-01 | insertion  | placed            | 1      | 52                   | interval
        E           | 2025-01-01 | insertion  | placed            | 1      | 53                   | interval
        F           | 2025-01-01 | insertion  | placed            | 0      |                      | interval
        G           | 2025-01-01 | insertion  | placed            | 1      | 60                   | post_abortion_same_day
        H           | 2025-01-01 | insertion  | placed            | 1      |                      | interval
        I           | 2025-01-01 | insertion  | placed            | 1      |                      | early_postpartum_inpatient
        J           | 2025-01-01 | insertion  | placed            | 1      |                      | early_postpartum_outpatient
        """)  # noqa: E501 - a drawn log
    assert cohort.placements["postpartum_band"].tolist() == [
        "days_0_to_3",
        "days_4_to_weeks_6",
        "weeks_7_to_14",
        "weeks_15_to_52",
        "over_52_weeks_or_no_birth",
        "over_52_weeks_or_no_birth",
        "post_abortion",
        "unknown",
        "days_0_to_3",
        "unknown",
    ]


def test_the_date_of_the_birth_serves_where_no_weeks_are_recorded(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | births | last_delivery_date
        A           | 2025-03-01 | insertion  | placed            | 1      | 2025-01-01
        B           | 2025-03-01 | insertion  | placed            | 1      |
        """)
    # 59 days are 8.4 weeks.
    assert cohort.placements["postpartum_band"].tolist() == ["weeks_7_to_14", "unknown"]
    assert cohort.placements["under_9_months_postpartum"].tolist()[0] is True


def test_perforation_groups_need_births_feeding_and_weeks(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | births | weeks_since_delivery | breastfeeding
        A           | 2025-01-01 | insertion  | placed            | 1      | 36                   | yes
        B           | 2025-01-01 | insertion  | failed            | 1      | 36                   | no
        C           | 2025-01-01 | insertion  | placed            | 1      | 37                   | yes
        D           | 2025-01-01 | insertion  | placed            | 1      | 37                   | no
        E           | 2025-01-01 | insertion  | placed            | 0      |                      |
        F           | 2025-01-01 | insertion  | placed            | 1      | 20                   |
        """)
    assert cohort.attempts["perforation_group"].tolist() == [
        "to_36_weeks_breastfeeding",
        "to_36_weeks_not_breastfeeding",
        "after_36_weeks_breastfeeding",
        "after_36_weeks_not_breastfeeding",
        "no_birth",
        "unknown",
    ]


def test_one_known_reason_is_enough_for_higher_risk_and_a_no_needs_all_three(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | births | weeks_since_delivery | breastfeeding | resistance_met | attempts_same_visit
        A           | 2025-01-01 | insertion  | placed            | 1      | 39                   |               |                |
        B           | 2025-01-01 | insertion  | placed            | 1      | 40                   | no            | mild           | 1
        C           | 2025-01-01 | insertion  | placed            | 0      |                      | no            | firm           | 1
        D           | 2025-01-01 | insertion  | placed            | 0      |                      | no            |                | 2
        E           | 2025-01-01 | insertion  | placed            | 0      |                      | no            |                |
        F           | 2025-01-01 | insertion  | placed            | 1      |                      | no            | none           |
        G           | 2025-01-01 | insertion  | placed            | 1      | 100                  | yes           | unknown        |
        """)  # noqa: E501 - a drawn log
    risk = cohort.placements["higher_risk"]
    known = [None if missing else bool(value) for value, missing in zip(risk, risk.isna(), strict=True)]
    assert known == [True, False, True, True, None, None, True]


def test_a_length_is_judged_against_the_range_of_the_device(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | sound_length_mm | device_min_sound_mm | device_max_sound_mm
        A           | 2025-01-01 | insertion  | placed            | 60              | 60                  | 100
        B           | 2025-01-01 | insertion  | placed            | 59              | 60                  | 100
        C           | 2025-01-01 | insertion  | placed            | 101             | 60                  | 100
        D           | 2025-01-01 | insertion  | placed            |                 | 60                  | 100
        E           | 2025-01-01 | insertion  | placed            | 70              |                     |
        F           | 2025-01-01 | insertion  | placed            | 70              | 60                  |
        """)  # noqa: E501 - a drawn log
    assert cohort.placements["size_fit"].tolist() == [
        "fits",
        "too_short",
        "too_long",
        "not_assessable",
        "not_assessable",
        "fits",
    ]


# First placement on 1 January; the freeze is the last day of the log, 31 December.
METHOD = """
    patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ | removal_reason_main
    {rows}
    Z           | 2025-12-31 | pre_assessment | | |
    """


@pytest.mark.parametrize(
    ("rows", "ending", "exit_day"),
    [
        # A new device 30 days after the removal of day 59 goes on; nothing ends it.
        (
            """A | 2025-01-01 | insertion | placed | |
    A | 2025-03-01 | removal | | | bleeding
    A | 2025-03-31 | insertion | placed | |
    A | 2025-06-30 | follow_up | | in_situ_confirmed |""",
            "none",
            180,
        ),
        # One day later it is a gap: the method ended on day 59.
        (
            """A | 2025-01-01 | insertion | placed | |
    A | 2025-03-01 | removal | | | bleeding
    A | 2025-04-01 | insertion | placed | |""",
            "removal",
            59,
        ),
        # A replacement at once, then an expulsion: the method ends with the second device.
        (
            """A | 2025-01-01 | insertion | placed | |
    A | 2025-03-01 | removal_and_replacement | placed | | planned_end_of_duration
    A | 2025-05-01 | follow_up | | complete_expulsion |""",
            "expulsion_complete",
            120,
        ),
        # A removal within 30 days of the freeze may still be followed by a new device.
        (
            """A | 2025-01-01 | insertion | placed | |
    A | 2025-12-10 | removal | | | bleeding""",
            "none",
            343,
        ),
        # Nothing says how the first device ended: the second was there the same day, so the method went on.
        (
            """A | 2025-01-01 | insertion | placed | |
    A | 2025-03-01 | insertion | placed | |
    A | 2025-05-01 | removal | | | pain""",
            "removal",
            120,
        ),
    ],
)
def test_a_new_device_within_thirty_days_continues_the_method(
    cohort_of: Derive, rows: str, ending: str, exit_day: float
) -> None:
    first = cohort_of(METHOD.format(rows=rows)).placements.iloc[0]
    assert first["method_ending"] == ending
    assert first["method_exit_day_last_known"] == exit_day


def test_only_the_first_placement_of_a_woman_heads_a_use_of_the_method(cohort_of: Derive) -> None:
    placements = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | removal_reason_main
        A           | 2025-01-01 | insertion               | placed            |
        A           | 2025-03-01 | removal_and_replacement | placed            | planned_end_of_duration
        B           | 2025-01-01 | insertion               | placed            |
        B           | 2025-02-01 | removal                 |                   | pain
        B           | 2025-08-01 | insertion               | placed            |
        C           | 2025-01-01 | removal_and_replacement | placed            | planned_end_of_duration
        """).placements
    heads = placements["method_ending"].notna()
    assert heads.tolist() == [True, False, True, False, False]
    assert placements["method_exit_day_last_known"].notna().tolist() == heads.tolist()


def test_another_woman_does_not_continue_the_method(cohort_of: Derive) -> None:
    placements = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | removal_reason_main
        A           | 2025-01-01 | insertion  | placed            |
        A           | 2025-02-01 | removal    |                   | pain
        B           | 2025-02-01 | insertion  | placed            |
        B           | 2025-12-31 | removal    |                   | pain
        """).placements
    assert placements["method_ending"].tolist() == ["removal", "none"]


def test_an_estimated_conception_counts_from_the_placement_and_a_missing_one_stays_missing(
    cohort_of: Derive,
) -> None:
    told = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | pregnancy    | pregnancy_conception_est
        A           | 2025-01-11 | insertion  | placed            |              |
        A           | 2025-02-11 | follow_up  |                   | intrauterine | 2025-01-01
        B           | 2025-01-11 | insertion  | placed            |              |
        B           | 2025-02-11 | follow_up  |                   | intrauterine |
        """).follow_ups
    assert told["conception_day"].isna().tolist() == [False, True]
    assert told["conception_day"].tolist()[0] == -10
