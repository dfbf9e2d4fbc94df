"""The difference of restricted means: by hand, from R's means, by simulation, refusals."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter
from lifelines.utils import restricted_mean_survival_time
from scipy import stats

from audit.statistics.curves import restricted_mean
from audit.statistics.restricted_means import difference_of_restricted_means, restricted_mean_columns
from audit.statistics.survival import kaplan_meier

nan = np.nan
GEHAN = pd.read_csv(Path(__file__).parents[1] / "reference" / "data" / "gehan.csv")


def remission(group):
    rows = GEHAN[GEHAN["group"] == group]
    return kaplan_meier(rows["weeks"], rows["relapse"])


def test_without_censoring_it_is_the_difference_of_two_means():
    first, second = np.array([2, 4, 9, 12]), np.array([1, 1, 3, 6, 8])
    found = difference_of_restricted_means(
        kaplan_meier(first, np.ones(4)), kaplan_meier(second, np.ones(5)), 8
    )
    held = [np.minimum(first, 8), np.minimum(second, 8)]
    assert found.value == pytest.approx(held[0].mean() - held[1].mean())
    error = np.sqrt(held[0].var() / 4 + held[1].var() / 5)
    assert found.standard_error == pytest.approx(error)
    assert found.p_value == pytest.approx(2 * stats.norm.sf(abs(found.value) / error))
    assert (found.ci_lower, found.ci_upper) == pytest.approx(
        stats.norm.interval(0.95, loc=found.value, scale=error)
    )


# Freireich 1963, Gehan 1965: means and errors of both groups by R's survfit, print(rmean = tau); no printed
# difference. R's survRM2 takes the same variances.
@pytest.mark.parametrize(
    ("horizon", "treated", "control"),
    [
        (20, (16.1165266106443, 1.25156019601), (8.42857142857, 1.2680826825)),
        (23, (17.909243697479, 1.55318997825), (8.66666666667, 1.37739004126)),
    ],
)
def test_the_difference_of_the_mean_remissions_follows_from_rs_means(horizon, treated, control):
    found = difference_of_restricted_means(remission("treated"), remission("control"), horizon)
    assert found.value == pytest.approx(treated[0] - control[0], rel=1e-8)
    error = np.hypot(treated[1], control[1])
    assert found.standard_error == pytest.approx(error, rel=1e-8)
    assert found.p_value == pytest.approx(2 * stats.norm.sf(found.value / error), rel=1e-6)
    turned = difference_of_restricted_means(remission("control"), remission("treated"), horizon)
    assert (turned.value, turned.p_value) == (-found.value, found.p_value)
    assert turned.ci_lower == -found.ci_upper


@pytest.mark.parametrize("seed", range(20))
def test_the_difference_agrees_with_lifelines(seed):
    random = np.random.default_rng(seed)
    rows = [(random.integers(1, 12, 60), random.integers(0, 2, 60)) for _ in range(2)]
    curves = [kaplan_meier(*row) for row in rows]
    means = [restricted_mean_survival_time(KaplanMeierFitter().fit(*row), t=9.5) for row in rows]
    found = difference_of_restricted_means(*curves, 9.5)
    assert found.value == pytest.approx(means[0] - means[1], rel=1e-9, abs=1e-12)


def test_where_nothing_varied_there_are_no_limits():
    none = kaplan_meier([9, 9], [0, 0])
    found = difference_of_restricted_means(none, none, 5)
    assert (found.value, found.standard_error) == (0, 0)
    assert np.isnan([found.ci_lower, found.ci_upper, found.p_value]).all()
    at_once = kaplan_meier([3, 3], [1, 1])
    found = difference_of_restricted_means(none, at_once, 5)
    assert found.value == 2
    assert np.isnan([found.ci_lower, found.ci_upper, found.p_value]).all()
    alone = restricted_mean(none, 5)
    assert (alone.value, alone.standard_error) == (5, 0)
    assert np.isnan([alone.ci_lower, alone.ci_upper]).all()


@pytest.mark.parametrize(
    "unknown",
    [
        kaplan_meier([], []),
        kaplan_meier([2, 4], [1, 0]),
        kaplan_meier([2, 2, 9], [1, 0, 1], entry=[0, 0, 4]),
    ],
    ids=["nobody", "too short", "gap"],
)
def test_where_a_curve_is_not_known_up_to_the_horizon_all_is_nan(unknown):
    known = kaplan_meier([2, 9], [1, 0])
    for pair in ((known, unknown), (unknown, known)):
        found = difference_of_restricted_means(*pair, 6)
        figures = [found.value, found.standard_error, found.ci_lower, found.ci_upper, found.p_value]
        assert np.isnan(figures).all()


@pytest.mark.slow
def test_the_limits_hold_the_true_difference_as_often_as_they_say():
    random = np.random.default_rng(7)
    # Means up to 10 of exponential times of mean 10 and 20, with censoring at uniform times.
    true = 20 * (1 - np.exp(-0.5)) - 10 * (1 - np.exp(-1))
    held = 0
    for _ in range(2000):
        curves = []
        for mean in (20, 10):
            times, censored = random.exponential(mean, 200), random.uniform(5, 40, 200)
            curves.append(kaplan_meier(np.minimum(times, censored), times <= censored))
        found = difference_of_restricted_means(*curves, 10)
        held += found.ci_lower <= true <= found.ci_upper
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(
    ("horizon", "confidence", "message"),
    [
        (0, 0.95, "horizon must be finite and more than 0, got 0"),
        (nan, 0.95, "horizon must be finite and more than 0, got nan"),
        (3, 1.0, "confidence must lie between 0 and 1, got 1"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(horizon, confidence, message):
    curve = kaplan_meier([3, 4], [1, 1])
    with pytest.raises(ValueError, match=message):
        difference_of_restricted_means(curve, curve, horizon, confidence=confidence)


# Rows stand for several; one of group a is observed late. By hand up to day 4: a falls to 5/6 at 2 and to 5/8 at 3;
# b falls to 1/2 at 1.
TALLY = pd.DataFrame(
    {
        "group": ["a", "a", "a", "a", "b", "b", "c"],
        "entry": [0.0, 0.0, 2.0, 0.0, 0.0, 0.0, 0.0],
        "exit": [2.0, 3.0, 9.0, 4.0, 1.0, 5.0, 3.0],
        "event": [1, 1, 0, 1, 1, 1, 0],
        "n": [1, 2, 3, 3, 2, 2, 5],
    }
)


def test_the_columns_are_by_hand_and_those_of_the_difference():
    row = restricted_mean_columns(TALLY, group="a", reference="b", horizon=4)
    curves = [
        kaplan_meier(own["exit"], own["event"], entry=own["entry"], weights=own["n"])
        for own in (TALLY[TALLY["group"] == "a"], TALLY[TALLY["group"] == "b"])
    ]
    found = difference_of_restricted_means(*curves, 4)
    assert found.horizon == 4
    assert row == {
        "events": 6,
        "n": 9,
        "at_risk": 6,
        "mean": pytest.approx(2 + 5 / 6 + 5 / 8),
        "reference_events": 2,
        "reference_n": 4,
        "reference_at_risk": 2,
        "reference_mean": pytest.approx(1 + 3 / 2),
        "difference": found.value,
        "difference_lower": found.ci_lower,
        "difference_upper": found.ci_upper,
        "p_value": found.p_value,
        "method": "difference of restricted means (Kaplan-Meier), normal 95% limits",
        "caution": "",
    }
    assert found.value == pytest.approx(2 + 5 / 6 + 5 / 8 - 2.5)


def test_the_columns_take_the_confidence_and_say_it():
    wide = restricted_mean_columns(TALLY, group="a", reference="b", horizon=4)
    narrow = restricted_mean_columns(TALLY, group="a", reference="b", horizon=4, confidence=0.8)
    assert narrow["method"].endswith("normal 80% limits")
    ratio = (narrow["difference_upper"] - narrow["difference"]) / (
        wide["difference_upper"] - wide["difference"]
    )
    assert ratio == pytest.approx(stats.norm.ppf(0.9) / stats.norm.ppf(0.975))


def test_the_columns_say_where_few_or_nobody_lasted():
    few = "Fewer than 3 still under observation at the end of that time."
    for pair in (("a", "b"), ("b", "a")):
        row = restricted_mean_columns(TALLY, group=pair[0], reference=pair[1], horizon=4, at_risk_floor=3)
        assert row["caution"] == few
        enough = restricted_mean_columns(TALLY, group=pair[0], reference=pair[1], horizon=4, at_risk_floor=2)
        assert enough["caution"] == ""
    row = restricted_mean_columns(TALLY, group="a", reference="c", horizon=4, at_risk_floor=3)
    assert np.isnan(row["difference"])
    assert row["caution"].startswith("In one of the groups nobody was observed to the end of that time")
    # Nobody in the other group is left at 6, where its curve is known to be 0.
    assert restricted_mean_columns(TALLY, group="a", reference="b", horizon=6)["caution"] == ""


def test_somebody_who_comes_at_the_horizon_is_not_among_those_at_risk_there():
    row = restricted_mean_columns(TALLY, group="a", reference="b", horizon=2)
    assert (row["at_risk"], row["events"]) == (6, 1)


@pytest.mark.parametrize("pair", [("a", "x"), ("x", "a")])
def test_a_group_without_spells_is_not_compared(pair):
    assert restricted_mean_columns(TALLY, group=pair[0], reference=pair[1], horizon=4) == {}
