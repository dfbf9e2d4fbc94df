"""Parts of expulsion, removal, continuation and pregnancy, and what follows a birth: worked by hand."""

from collections.abc import Callable

import pandas as pd
import pytest

from audit.benchmarks import perforation_strata
from audit.measures.complications import perforation
from audit.measures.continuation import continuation_curve, method_continuation
from audit.measures.displacement import (
    EXPLORATORY,
    FEW_EXPULSIONS,
    displacement_incidence,
    expulsion_sensitivity,
    repeat_expulsion,
    size_mismatch,
)
from audit.measures.effectiveness import ectopic_pregnancy, pregnancy_after_emergency
from audit.measures.expulsion import expulsion_incidence
from audit.measures.postpartum import TOGETHER, perforation_expected, postpartum_balance
from audit.measures.removal import removal_incidence
from audit.measures.removal_purpose import removal_by_purpose
from audit.records import Cohort
from audit.statistics.rates import rate_interval

Derive = Callable[..., Cohort]
YEAR = 365.25


def placements(*told: tuple[str, float, float], **columns: list[object]) -> pd.DataFrame:
    """Placements from (ending, exit day last known, exit day assumed in place), all first unless said."""
    frame = pd.DataFrame(told, columns=["ending", "exit_day_last_known", "exit_day_assumed_in_place"])
    frame = frame.assign(
        placement=range(len(told)),
        patient_ref=range(len(told)),
        placement_kind="first",
        ending_day=frame["exit_day_last_known"].where(frame["ending"] != "none"),
        ending_earliest_day=frame["exit_day_last_known"].where(frame["ending"] != "none"),
        removal_reason=None,
        removal_reason_second=None,
        removal_group=None,
        pregnancy="none",
        indication="contraception",
        device_family="hormonal",
        prior_expulsion=pd.array([False] * len(told), dtype="boolean"),
        size_fit="fits",
        postpartum_band="over_52_weeks_or_no_birth",
    )
    frame = frame.assign(**columns)
    names = ("ending", "exit_day_last_known", "exit_day_assumed_in_place")
    return frame.assign(**{f"{name}_if_left": frame[name] for name in names})


def at(table: pd.DataFrame, days: float, *, rule: str = "last_known", **labels: object) -> pd.Series:
    """The one row at a day under one rule with these labels."""
    chosen = (table["censoring"] == rule) & (table["days"] == days)
    for name, value in labels.items():
        chosen &= table[name] == value
    assert chosen.sum() == 1
    return table[chosen].iloc[0]


def test_a_removal_for_malposition_is_a_displacement_beside_the_partial_expulsions() -> None:
    frame = placements(
        ("expulsion_partial", 10, 10),
        ("removal", 20, 20),
        ("removal", 20, 20),
        ("expulsion_complete", 30, 30),
        ("none", 400, 400),
        removal_reason=[None, "malposition", "pain", None, None],
        removal_reason_second=[None, None, "malposition", None, None],
    )
    table = displacement_incidence(frame, horizons=(30,))
    assert at(table, 30, cause="displacement")["incidence"] == pytest.approx(3 / 5)
    assert at(table, 30, cause="expulsion_partial")["incidence"] == pytest.approx(1 / 5)
    assert at(table, 30, cause="removal_malposition")["incidence"] == pytest.approx(2 / 5)


def test_expulsions_after_an_expulsion_stand_apart_with_women_as_units_of_chance() -> None:
    frame = placements(
        ("expulsion_complete", 10, 10),
        ("none", 40, 40),
        ("none", 40, 40),
        ("none", 40, 40),
        prior_expulsion=pd.array([True, True, False, None], dtype="boolean"),
        placement_kind=["repeat", "repeat", "first", "first"],
        patient_ref=[1, 1, 2, 3],
    )
    table = repeat_expulsion(frame, horizons=(30,))
    assert at(table, 30, stratum="yes")["incidence"] == pytest.approx(1 / 2)
    assert at(table, 30, stratum="no")["incidence"] == 0
    assert at(table, 30, stratum="not recorded")["at_risk"] == 1
    assert at(table, 30, stratum="yes")[["n", "n_women", "poolable"]].tolist() == [2, 1, False]
    # One woman alone has no limits.
    assert pd.isna(at(table, 30, stratum="yes")["ci_lower"])
    with pytest.raises(ValueError, match="got a tally"):
        repeat_expulsion(frame.assign(n=1))


def test_a_second_device_after_an_expulsion_in_this_log_is_found_by_itself(cohort_of: Derive) -> None:
    frame = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        A           | 2025-01-01 | insertion  | placed            |
        A           | 2025-02-01 | follow_up  |                   | complete_expulsion
        A           | 2025-03-01 | insertion  | placed            |
        A           | 2025-03-11 | follow_up  |                   | complete_expulsion
        """).placements
    assert at(repeat_expulsion(frame, horizons=(10,)), 10, stratum="yes")["incidence"] == 1


def test_an_expulsion_is_read_on_the_day_it_was_found_and_on_the_last_day_before_it() -> None:
    frame = placements(
        ("expulsion_complete", 100, 100),
        ("none", 50, 200),
        ("none", 200, 200),
        ending_earliest_day=[20, None, None],
    )
    table = expulsion_sensitivity(frame, horizons=(60, 100))
    assert at(table, 60, reading="latest")["incidence"] == 0
    # Of two still observed on day 100, or of three on day 20.
    assert at(table, 100, reading="latest")["incidence"] == pytest.approx(1 / 2)
    assert at(table, 60, reading="earliest")["incidence"] == pytest.approx(1 / 3)
    found = expulsion_incidence(frame, horizons=(60, 100))
    assert at(table, 100, reading="latest")["incidence"] == at(found, 100, cause="expulsion")["incidence"]


def test_a_device_put_right_ends_its_spell_and_goes_on_in_a_row_of_its_own(cohort_of: Derive) -> None:
    frame = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | removal_reason_main
        PutRight    | 2025-01-01 | insertion  | placed            |                    |
        PutRight    | 2025-02-01 | follow_up  |                   | partial_expulsion  |
        PutRight    | 2025-03-02 | follow_up  |                   | in_situ_confirmed  |
        PutRight    | 2025-05-01 | removal    |                   |                    | pain
        TakenOut    | 2025-01-01 | insertion  | placed            |                    |
        TakenOut    | 2025-02-01 | removal    |                   | partial_expulsion  | partial_expulsion
        TakenOut    | 2025-03-02 | follow_up  |                   | in_situ_confirmed  |
        Again       | 2025-01-01 | insertion  | placed            |                    |
        Again       | 2025-02-01 | follow_up  |                   | partial_expulsion  |
        Again       | 2025-03-02 | follow_up  |                   | in_situ_confirmed  |
        Again       | 2025-04-01 | follow_up  |                   | complete_expulsion |
        """).placements
    assert frame["ending"].tolist() == ["expulsion_partial"] * 3
    assert frame["ending_if_left"].tolist() == ["removal", "expulsion_partial", "expulsion_complete"]
    assert frame["exit_day_last_known_if_left"].tolist() == [120, 31, 90]
    table = expulsion_sensitivity(frame, horizons=(42, 100))
    assert at(table, 42, reading="put_right_goes_on")["incidence"] == pytest.approx(1 / 3)
    # Of the two left on day 90 one was expelled then.
    assert at(table, 100, reading="put_right_goes_on")["incidence"] == pytest.approx(1 / 3 + 2 / 3 * 1 / 2)


def test_size_is_exploratory_and_too_few_expulsions_are_said_so() -> None:
    frame = placements(
        *([("expulsion_complete", 10, 10)] * 5),
        ("expulsion_complete", 10, 10),
        ("none", 400, 400),
        size_fit=["fits"] * 5 + ["too_short", "too_short"],
    )
    table = size_mismatch(frame, horizons=(365,), at_risk_floor=0)
    assert at(table, 365, stratum="too_short")["incidence"] == pytest.approx(1 / 2)
    assert at(table, 365, stratum="too_short")["caution"] == f"{EXPLORATORY} {FEW_EXPULSIONS}"
    assert table["caution"].str.startswith(EXPLORATORY).all()
    few = size_mismatch(frame, horizons=(10,), fewest_expulsions=6)
    assert at(few, 10, stratum="fits")["caution"].count(FEW_EXPULSIONS) == 1


REMOVED = placements(
    ("removal", 10, 10),
    ("removal", 20, 20),
    ("removal", 30, 30),
    ("removal", 40, 40),
    ("removal", 50, 50),
    ("none", 400, 400),
    removal_reason=[
        "bleeding",
        "malposition",
        "hormonal_effects",
        "wish_pregnancy",
        "wish_other_method",
        None,
    ],
    removal_reason_second=[None, "pain", None, None, None, None],
    removal_group=[
        "bleeding_or_pain",
        "malposition",
        "hormonal_effects",
        "wish_pregnancy",
        "replacement",
        None,
    ],
    device_family=["copper", "copper", "hormonal", "hormonal", "hormonal", "hormonal"],
)


def test_a_second_reason_counts_for_bleeding_or_pain() -> None:
    table = removal_by_purpose(REMOVED, horizons=(100,))
    # Six placed; the first two for bleeding, and for pain as second reason.
    assert at(table, 100, cause="bleeding_or_pain")["incidence"] == pytest.approx(2 / 6)


def test_hormonal_effects_are_of_hormonal_devices_alone() -> None:
    row = at(removal_by_purpose(REMOVED, horizons=(100,)), 100, cause="hormonal_effects")
    assert row["incidence"] == pytest.approx(1 / 4)


def test_a_plan_met_and_an_early_wish_of_hers_are_apart_and_a_replacement_is_neither() -> None:
    table = removal_by_purpose(REMOVED, horizons=(100,), early_days=45)
    assert at(table, 100, cause="planned")["incidence"] == pytest.approx(1 / 6)
    # Bleeding, hormonal effects and the wish for a pregnancy; malposition is a finding, not a wish.
    assert at(table, 45, cause="early_request")["incidence"] == pytest.approx(3 / 6)
    assert set(table.loc[table["cause"] == "early_request", "days"]) == {45}
    # The replacement of day 50 is no wish of hers to stop.
    later = removal_by_purpose(REMOVED, horizons=(100,), early_days=60)
    assert at(later, 60, cause="early_request")["incidence"] == pytest.approx(3 / 6)


def test_a_main_reason_agrees_with_the_group_of_all_removals() -> None:
    first = REMOVED.assign(removal_reason_second=None)
    one = at(removal_by_purpose(first, horizons=(100,)), 100, cause="bleeding_or_pain")
    other = at(removal_incidence(first, horizons=(100,)), 100, cause="bleeding_or_pain")
    assert one["incidence"] == pytest.approx(other["incidence"])


def test_the_method_goes_on_where_the_device_does_not(cohort_of: Derive) -> None:
    frame = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | device_in_situ    | removal_reason_main
        A           | 2025-01-01 | insertion               | placed            |                   |
        A           | 2025-01-31 | removal_and_replacement | placed            |                   | planned_end_of_duration
        A           | 2025-12-31 | follow_up               |                   | in_situ_confirmed |
        B           | 2025-01-01 | insertion               | placed            |                   |
        B           | 2025-01-31 | removal                 |                   |                   | pain
        C           | 2025-01-01 | insertion               | placed            |                   |
        C           | 2025-12-31 | follow_up               |                   | in_situ_confirmed |
        """).placements  # noqa: E501 - a drawn log
    assert at(continuation_curve(frame, horizons=(182,)), 182)["survival"] == pytest.approx(1 / 3)
    row = at(method_continuation(frame, horizons=(182,)), 182)
    assert row["survival"] == pytest.approx(2 / 3)
    assert row[["at_risk", "cumulative_events"]].tolist() == [2, 1]


def test_ectopic_pregnancies_are_counted_per_woman_year_and_of_all_pregnancies() -> None:
    frame = placements(
        ("pregnancy", 100, 100),
        ("pregnancy", 200, 200),
        ("expulsion_complete", 50, 50),
        ("none", 500, 500),
        pregnancy=["ectopic", "location_unknown", "ectopic", "none"],
        indication=["contraception", "unknown", "contraception", "heavy_bleeding"],
    )
    row = ectopic_pregnancy(frame).set_index("censoring").loc["last_known"]
    assert row[["events", "n_pregnancies", "n_place_unknown"]].tolist() == [2, 3, 1]
    assert row["person_years"] == pytest.approx(350 / YEAR)
    assert (row["ci_lower"], row["ci_upper"]) == pytest.approx(rate_interval(2, 350 / YEAR))


def test_a_pregnancy_of_the_emergency_cycle_counts_and_silence_is_unknown(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | indication              | pregnancy    | pregnancy_conception_est
        Before      | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        Before      | 2025-02-10 | follow_up  |                   |                         | intrauterine | 2025-01-08
        Within      | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        Within      | 2025-03-10 | follow_up  |                   |                         | ectopic      | 2025-02-07
        Later       | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        Later       | 2025-05-10 | follow_up  |                   |                         | intrauterine | 2025-03-10
        FoundEarly  | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        FoundEarly  | 2025-01-31 | follow_up  |                   |                         | intrauterine |
        FoundLate   | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        FoundLate   | 2025-04-10 | follow_up  |                   |                         | intrauterine |
        Negative    | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        Negative    | 2025-01-31 | follow_up  |                   |                         | none         |
        TooSoon     | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        TooSoon     | 2025-01-30 | follow_up  |                   |                         | none         |
        Silent      | 2025-01-10 | insertion  | placed            | emergency_contraception |              |
        Routine     | 2025-01-10 | insertion  | placed            | contraception           |              |
        Routine     | 2025-02-10 | follow_up  |                   |                         | intrauterine | 2025-01-08
        """)  # noqa: E501 - a drawn log
    row = pregnancy_after_emergency(cohort.placements, cohort.follow_ups).iloc[0]
    # Day 28 still belongs to the cycle; a test excludes a pregnancy from day 21 on.
    assert row[["events", "n", "n_unknown"]].tolist() == [3, 5, 3]


def test_expulsion_and_perforation_stand_side_by_side_in_each_band_and_never_together() -> None:
    frame = placements(
        ("expulsion_complete", 10, 10),
        ("none", 400, 400),
        ("none", 400, 400),
        postpartum_band=["days_0_to_3", "days_0_to_3", "unknown"],
    )
    tally = pd.DataFrame(
        {
            "outcome": "placed",
            "perforation": ["none", "partial", "none"],
            "postpartum_band": ["days_0_to_3", "weeks_7_to_14", "weeks_7_to_14"],
            "n": [2, 1, 99],
        }
    )
    table = postpartum_balance(frame, perforation(tally, by="postpartum_band"), horizons=(182,))
    row = at(table, 182, outcome="expulsion", stratum="days_0_to_3")
    assert row[["events", "n"]].tolist() == [1, 2]
    assert row["estimate"] == pytest.approx(1 / 2)
    perforated = table[table["outcome"] == "perforation"].set_index("stratum")
    assert perforated.loc["weeks_7_to_14", ["events", "n"]].tolist() == [1, 100]
    assert perforated.at["weeks_7_to_14", "estimate"] == pytest.approx(1 / 100)
    assert "overall" not in set(table["stratum"])


def windowed(*told: tuple[str, int, int]) -> pd.DataFrame:
    """Confirmed perforations by group as `perforation` gives them, from (group, events, attempts)."""
    frame = pd.DataFrame(told, columns=["stratum", "events", "n"])
    return frame.assign(by="perforation_group", definition="confirmed", window="all", n_unknown=0)


def test_perforations_are_set_against_the_published_rate_of_each_group() -> None:
    table = perforation_expected(
        windowed(
            ("to_36_weeks_breastfeeding", 2, 500),
            ("after_36_weeks_not_breastfeeding", 0, 1000),
            ("no_birth", 1, 9),
        ),
        perforation_strata(),
    ).set_index("stratum")
    assert table.at["to_36_weeks_breastfeeding", "expected"] == pytest.approx(500 * 0.0056)
    whole = table.loc[TOGETHER]
    assert whole[["events", "n"]].tolist() == [2, 1500]
    assert whole["expected"] == pytest.approx(500 * 0.0056 + 1000 * 0.0007)
    assert (whole["ratio_lower"], whole["ratio_upper"]) == pytest.approx(rate_interval(2, 3.5))
    # There is no published rate for women without a birth.
    assert pd.isna(table.at["no_birth", "ratio"])
    assert "left out" in table.at["no_birth", "caution"]


def test_the_published_cohort_has_about_as_many_perforations_as_its_own_rates_expect() -> None:
    # Insertions and perforations of Medsafe's table 1 (Prescriber Update 2014;35(3):41-42). The bulletin prints
    # rates per 1,000 to one decimal; the counts are worked out from them, so rounding may take a ratio 3% off.
    table = perforation_expected(
        windowed(
            ("to_36_weeks_breastfeeding", 34, 6047),
            ("to_36_weeks_not_breastfeeding", 10, 5927),
            ("after_36_weeks_breastfeeding", 1, 608),
            ("after_36_weeks_not_breastfeeding", 31, 41910),
        ),
        perforation_strata(),
    ).set_index("stratum")
    assert table.at[TOGETHER, "n"] == 54492
    assert table.at[TOGETHER, "ratio"] == pytest.approx(1, abs=0.03)


def test_nobody_placed_gives_empty_tables(cohort_of: Derive) -> None:
    cohort = cohort_of("patient_ref | visit_date | visit_kind | insertion_outcome")
    nobody, told = cohort.placements, cohort.follow_ups
    for measure in (
        displacement_incidence,
        repeat_expulsion,
        expulsion_sensitivity,
        size_mismatch,
        removal_by_purpose,
        method_continuation,
        ectopic_pregnancy,
    ):
        assert measure(nobody).empty
    by_band = perforation(cohort.attempts, by="postpartum_band")
    assert postpartum_balance(nobody, by_band).empty
    by_group = perforation(cohort.attempts, by="perforation_group").assign(window="all")
    assert perforation_expected(by_group, perforation_strata()).empty
    row = pregnancy_after_emergency(nobody, told).iloc[0]
    assert row["n"] == 0
    assert row["caution"] == "Nothing to count."


def test_of_women_never_seen_again_nothing_is_known_under_the_one_rule_and_all_stay_under_the_other() -> None:
    lost = placements(("none", 0, 400), ("none", 0, 400))
    for measure in (displacement_incidence, repeat_expulsion, removal_by_purpose):
        table = measure(lost)
        unknown = table[table["censoring"] == "last_known"]
        assert unknown["incidence"].isna().all()
        assert unknown["caution"].str.contains("Nobody observed this long").all()
        year = table[(table["censoring"] == "assumed_in_place") & (table["days"] <= 365)]
        assert year["incidence"].eq(0).all()
