"""Expulsion, removal, continuation, rates and pregnancy, worked by hand."""

from collections.abc import Callable

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.measures.continuation import continuation_curve, continuation_summary, continuation_tests
from audit.measures.effectiveness import pregnancy
from audit.measures.expulsion import expulsion_incidence
from audit.measures.person_time import observed_against_earlier, person_time_rates
from audit.measures.removal import ending_incidence, removal_incidence
from audit.records import Cohort
from audit.schema.derived import ENDINGS, REMOVAL_GROUPS
from audit.statistics.rates import rate_interval

Derive = Callable[..., Cohort]
YEAR = 365.25


def placements(*told: tuple[str, float, float], **columns: list[object]) -> pd.DataFrame:
    """Placements from (ending, exit day last known, exit day assumed in place), all first unless said."""
    frame = pd.DataFrame(told, columns=["ending", "exit_day_last_known", "exit_day_assumed_in_place"])
    frame = frame.assign(
        placement_kind="first",
        removal_group=None,
        pregnancy="none",
        indication="contraception",
        device_class="lng_52",
    )
    return frame.assign(**columns)


def at(table: pd.DataFrame, cause: str | None, days: float, *, rule: str = "last_known") -> pd.Series:
    """The row of a cause at a day under one rule."""
    chosen = (table["censoring"] == rule) & (table["days"] == days)
    if cause is not None:
        chosen &= table["cause"] == cause
    assert chosen.sum() == 1
    return table[chosen].iloc[0]


THREE = placements(("removal", 10, 10), ("expulsion_complete", 20, 20), ("none", 30, 40))


def test_cumulative_incidence_lets_other_endings_compete_and_one_minus_kaplan_meier_does_not() -> None:
    row = at(expulsion_incidence(THREE, horizons=(20,)), "expulsion", 20)
    # One of three left by removal on day 10; of the two still in, one was expelled on day 20.
    assert row["incidence"] == pytest.approx(2 / 3 * 1 / 2)
    assert row["one_minus_km"] == pytest.approx(1 / 2)
    assert row["survival"] == pytest.approx(1 / 3)
    assert row[["at_risk", "events", "cumulative_events"]].tolist() == [2, 1, 1]


def test_complete_and_partial_expulsions_add_up_to_both() -> None:
    frame = placements(
        ("expulsion_complete", 10, 10),
        ("expulsion_partial", 20, 20),
        ("removal", 25, 25),
        ("none", 30, 30),
    )
    table = expulsion_incidence(frame, horizons=(30,))
    complete, partial, both = (
        at(table, f"expulsion{kind}", 30)["incidence"] for kind in ("_complete", "_partial", "")
    )
    assert complete == pytest.approx(1 / 4)
    # Three quarters still in on day 20, when one of three is partly expelled.
    assert partial == pytest.approx(3 / 4 * 1 / 3)
    assert both == pytest.approx(complete + partial)


def test_an_expulsion_on_day_0_counts_on_day_0() -> None:
    frame = placements(("expulsion_complete", 0, 0), ("none", 10, 10), ("none", 0, 10))
    row = at(expulsion_incidence(frame, horizons=(5,)), "expulsion", 0)
    # Even a woman never seen again was at risk on the day of her placement.
    assert row[["at_risk", "events"]].tolist() == [3, 1]
    assert row["incidence"] == pytest.approx(1 / 3)


def test_both_censoring_rules_are_in_the_table() -> None:
    frame = placements(("expulsion_complete", 20, 20), ("none", 0, 100), ("none", 30, 100))
    table = expulsion_incidence(frame, horizons=(20,))
    # Never contacted: not at risk on day 20 under the one rule, at risk under the other.
    assert at(table, "expulsion", 20)["incidence"] == pytest.approx(1 / 2)
    assert at(table, "expulsion", 20, rule="assumed_in_place")["incidence"] == pytest.approx(1 / 3)


def test_replacements_and_repeats_stay_out_of_the_primary_figure() -> None:
    kinds = {"placement_kind": ["first", "replacement", "repeat"]}
    assert (
        at(expulsion_incidence(placements(*([("none", 9, 9)] * 3), **kinds)), "expulsion", 0)["at_risk"] == 1
    )


def test_fewer_than_ten_at_risk_set_a_caution_and_stay_in_the_table() -> None:
    frame = placements(*([("none", 50, 50)] * 9), *([("expulsion_complete", 20, 20)] * 2))
    table = expulsion_incidence(frame, horizons=(20, 30))
    assert at(table, "expulsion", 20)["caution"] == ""
    assert at(table, "expulsion", 30)["caution"] != ""
    assert at(table, "expulsion", 30)["incidence"] == pytest.approx(2 / 11)


def test_removals_are_counted_together_and_by_group_of_reasons() -> None:
    frame = placements(
        ("removal", 10, 10),
        ("removal", 20, 20),
        ("removal", 20, 20),
        ("none", 30, 30),
        removal_group=["bleeding_or_pain", "wish_pregnancy", None, None],
    )
    table = removal_incidence(frame, horizons=(30,))
    assert list(dict.fromkeys(table["cause"])) == [
        "removal",
        "bleeding_or_pain",
        "wish_pregnancy",
        "unknown",
    ]
    found = {cause: at(table, cause, 30)["incidence"] for cause in dict.fromkeys(table["cause"])}
    assert found == pytest.approx(
        {"removal": 3 / 4, "bleeding_or_pain": 1 / 4, "wish_pregnancy": 1 / 4, "unknown": 1 / 4}
    )


drawn = st.lists(
    st.tuples(st.sampled_from(ENDINGS), st.sampled_from((0.0, 5.0, 5.0, 9.0, 60.0))), min_size=1, max_size=25
)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(told=drawn)
def test_the_incidences_of_all_endings_and_survival_make_up_the_whole(told: list[tuple[str, float]]) -> None:
    frame = placements(*((ending, day, day) for ending, day in told))
    table = ending_incidence(frame, horizons=(5, 9))
    # Every cause is read on the same days: the horizons that somebody reached.
    for day in (0.0, 5.0, 9.0):
        rows = table[(table["days"] == day) & (table["censoring"] == "last_known")]
        if rows["incidence"].notna().all():
            assert rows["incidence"].sum() + rows["survival"].iloc[0] == pytest.approx(1)
            assert rows["survival"].nunique() == 1


@settings(max_examples=25, deadline=None, derandomize=True)
@given(told=drawn)
def test_the_reasons_add_up_to_all_removals(told: list[tuple[str, float]]) -> None:
    groups = [REMOVAL_GROUPS[i % 3] if ending == "removal" else None for i, (ending, _) in enumerate(told)]
    frame = placements(*((ending, day, day) for ending, day in told), removal_group=groups)
    table = removal_incidence(frame, horizons=(5,))
    rows = table[(table["days"] == 5) & (table["censoring"] == "last_known")].set_index("cause")["incidence"]
    if rows.notna().all():
        assert rows.drop("removal").sum() == pytest.approx(rows["removal"])


def test_continuation_ends_with_any_ending_of_the_device_and_death_censors() -> None:
    frame = placements(
        ("removal", 10, 10), ("death", 20, 20), ("expulsion_partial", 30, 30), ("none", 40, 40)
    )
    table = continuation_curve(frame, horizons=(20, 30))
    assert at(table, None, 20)["survival"] == pytest.approx(3 / 4)
    # Of the two still followed on day 30 one ended.
    assert at(table, None, 30)["survival"] == pytest.approx(3 / 4 * 1 / 2)
    # For the chance of an expulsion a death competes: 3/4 in on day 20, a third of them died.
    assert at(expulsion_incidence(frame, horizons=(30,)), "expulsion", 30)["incidence"] == pytest.approx(
        3 / 4 * 2 / 3 * 1 / 2
    )


def test_an_unrecorded_ending_ends_continuation_and_competes() -> None:
    frame = placements(("unrecorded", 10, 10), ("none", 40, 40))
    assert at(continuation_curve(frame, horizons=(10,)), None, 10)["survival"] == pytest.approx(1 / 2)
    assert at(ending_incidence(frame, horizons=(10,)), "unrecorded", 10)["incidence"] == pytest.approx(1 / 2)


def test_a_replacement_at_once_ends_the_device(cohort_of: Derive) -> None:
    frame = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome | removal_reason_main
        W1          | 2025-01-01 | insertion               | placed            |
        W1          | 2025-01-31 | removal_and_replacement | placed            | planned_end_of_duration
        """).placements
    assert at(continuation_curve(frame, horizons=(30,)), None, 30)["survival"] == 0
    assert at(removal_incidence(frame, horizons=(30,)), "replacement", 30)["incidence"] == 1


def test_the_summary_counts_devices_endings_and_the_median() -> None:
    frame = placements(("removal", 10, 10), ("removal", 20, 20), ("removal", 30, 30), ("none", 40, 40))
    row = continuation_summary(frame).iloc[0]
    # Exactly half are left from day 20 to day 30: the middle of the two, as in R's survival package.
    assert row[["n", "events", "median_days"]].tolist() == [4, 3, 25]
    # Without the fourth a third is left on day 20, two thirds before it.
    assert continuation_summary(frame.iloc[:3])["median_days"].tolist() == [20, 20]


def test_the_test_of_two_classes_leaves_out_the_unknown_class() -> None:
    frame = placements(
        ("removal", 10, 10),
        ("none", 20, 20),
        ("removal", 30, 30),
        ("removal", 5, 5),
        device_class=["lng_52", "lng_52", "copper_t_380", "unknown"],
    )
    row = continuation_tests(frame).iloc[0]
    # Day 10: one of three, of whom lng 2, so 2/3 expected and 2/9 the variance; day 30: only copper is left.
    assert row["statistic"] == pytest.approx((1 - 2 / 3) ** 2 / (2 / 9))
    assert row[["groups", "n", "degrees_of_freedom"]].tolist() == [2, 3, 1]


def test_no_placement_gives_empty_curves(cohort_of: Derive) -> None:
    empty = cohort_of("patient_ref | visit_date | visit_kind | insertion_outcome").placements
    for measure in (
        expulsion_incidence,
        removal_incidence,
        ending_incidence,
        continuation_curve,
        continuation_summary,
        continuation_tests,
        person_time_rates,
        pregnancy,
    ):
        assert measure(empty).empty


def band(table: pd.DataFrame, name: str, cause: str | None = None) -> pd.Series:
    """The row of a band under the rule last_known."""
    chosen = (table["band"] == name) & (table["censoring"] == "last_known")
    if cause is not None:
        chosen &= table["cause"] == cause
    assert chosen.sum() == 1
    return table[chosen].iloc[0]


def test_rates_split_woman_time_and_endings_by_time_since_placement() -> None:
    frame = placements(
        ("expulsion_complete", 42, 42),
        ("expulsion_partial", 43, 43),
        ("removal", 100, 100),
        ("none", 400, 400),
    )
    table = person_time_rates(frame, bands=(42, 365))
    first, second = band(table, "0 to 42", "expulsion"), band(table, "43 to 365", "expulsion")
    whole = band(table, "all", "expulsion")
    # Day 42 belongs to the first band, day 43 to the second.
    assert first[["events", "person_years"]].tolist() == pytest.approx([1, 4 * 42 / YEAR])
    assert second[["events", "person_years"]].tolist() == pytest.approx([1, (1 + 58 + 323) / YEAR])
    assert whole[["events", "person_years"]].tolist() == pytest.approx([2, (42 + 43 + 100 + 400) / YEAR])
    assert whole["rate"] == pytest.approx(2 / (585 / YEAR))
    assert (whole["ci_lower"], whole["ci_upper"]) == pytest.approx(rate_interval(2, 585 / YEAR))
    assert band(table, "all", "removal")["events"] == 1


def test_woman_time_under_observation_differs_between_the_rules() -> None:
    table = person_time_rates(placements(("none", 0, 365.0)), bands=(42,))
    whole = table[(table["band"] == "all") & (table["cause"] == "expulsion")].set_index("censoring")
    assert whole["person_years"].tolist() == pytest.approx([0, 365 / YEAR])
    assert whole.at["last_known", "caution"] == "No time under observation."
    assert whole.at["assumed_in_place", "caution"] == "None seen: the upper limit is what is still possible."


def rates(*told: tuple[str, int, float]) -> pd.DataFrame:
    """Rates as `person_time_rates` returns them, from (band, events, woman-years)."""
    frame = pd.DataFrame(told, columns=["band", "events", "person_years"])
    frame = frame.assign(by="overall", stratum="overall", placement_kind="first", censoring="last_known")
    return frame.assign(
        cause="expulsion", rate=frame["events"] / frame["person_years"].where(frame["person_years"] > 0)
    )


def test_a_period_is_set_against_its_own_earlier_rates_band_by_band() -> None:
    earlier = rates(("0 to 42", 4, 2.0), ("over 42", 1, 10.0), ("all", 5, 12.0))
    now = rates(("0 to 42", 3, 1.0), ("over 42", 1, 5.0), ("all", 4, 6.0))
    row = observed_against_earlier(now, earlier).iloc[0]
    # 1 woman-year at 2 and 5 at 0.1; the crude rate would have expected 2.5 as well, but for other reasons.
    assert row[["events", "expected"]].tolist() == pytest.approx([4, 1.0 * 2 + 5.0 * 0.1])
    assert row["ratio"] == pytest.approx(4 / 2.5)
    assert (row["ratio_lower"], row["ratio_upper"]) == pytest.approx(rate_interval(4, 2.5))
    assert row["caution"] == ""


def test_many_new_placements_do_not_make_a_period_look_worse() -> None:
    earlier = rates(("0 to 42", 4, 2.0), ("over 42", 1, 10.0), ("all", 5, 12.0))
    now = rates(("0 to 42", 8, 4.0), ("over 42", 0, 0.0), ("all", 8, 4.0))
    assert observed_against_earlier(now, earlier)["ratio"].item() == pytest.approx(1)


def test_time_in_a_band_never_observed_before_is_left_out_on_both_sides_and_said_so() -> None:
    earlier = rates(("0 to 42", 4, 2.0), ("over 42", 0, 0.0), ("all", 4, 2.0))
    now = rates(("0 to 42", 2, 1.0), ("over 42", 5, 5.0), ("all", 7, 6.0))
    row = observed_against_earlier(now, earlier).iloc[0]
    # Nothing is known of what to expect after day 42, which is not the same as expecting none.
    assert row[["events", "expected", "ratio"]].tolist() == pytest.approx([2, 2, 1])
    assert row["caution"] != ""


def test_nothing_earlier_gives_no_rows() -> None:
    assert observed_against_earlier(rates(("all", 1, 1.0)), pd.DataFrame()).empty


def test_pregnancies_are_counted_per_woman_year_with_those_after_an_unnoticed_expulsion_in_all() -> None:
    frame = placements(
        ("pregnancy", 100, 100),
        ("pregnancy", 400, 400),
        ("expulsion_complete", 50, 50),
        ("none", 500, 500),
        ("none", 500, 500),
        pregnancy=["ectopic", "intrauterine", "intrauterine", "none", "none"],
        indication=["contraception", "unknown", "emergency_contraception", "contraception", "heavy_bleeding"],
    )
    table = pregnancy(frame)
    first, later, whole = band(table, "0 to 365"), band(table, "over 365"), band(table, "all")
    assert [row["events"] for row in (first, later, whole)] == [1, 1, 3]
    assert whole[["n_after_unnoticed_expulsion", "n_ectopic"]].tolist() == [1, 1]
    # The device placed for bleeding adds neither pregnancies nor woman-time.
    assert first["person_years"] == pytest.approx((100 + 365 + 50 + 365) / YEAR)
    assert whole["person_years"] == pytest.approx((100 + 400 + 50 + 500) / YEAR)
    assert whole["rate"] == pytest.approx(3 / (1050 / YEAR))


def test_a_pregnancy_found_with_a_perforation_is_counted_though_the_spell_ended_otherwise() -> None:
    table = pregnancy(placements(("perforation", 100, 100), pregnancy=["intrauterine"]))
    assert band(table, "0 to 365")["events"] == 0
    assert band(table, "all")["events"] == 1


def test_pregnancies_by_class_stay_in_their_class() -> None:
    frame = placements(
        ("pregnancy", 100, 100),
        ("expulsion_complete", 50, 50),
        pregnancy=["ectopic", "intrauterine"],
        device_class=["lng_52", "copper_t_380"],
    )
    table = pregnancy(frame, by="device_class")
    whole = table[(table["band"] == "all") & (table["censoring"] == "last_known")].set_index("stratum")
    assert whole.loc[
        ["copper_t_380", "lng_52"], ["events", "n_after_unnoticed_expulsion", "n_ectopic"]
    ].to_numpy().tolist() == [
        [1, 1, 0],
        [1, 0, 1],
    ]
