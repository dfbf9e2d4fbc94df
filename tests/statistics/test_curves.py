"""Reading a curve: values at times, quantiles, restricted means."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.utils import restricted_mean_survival_time

from audit.statistics.competing import cumulative_incidence, incidence_at_times
from audit.statistics.curves import at_times, restricted_mean, survival_quantile
from audit.statistics.survival import kaplan_meier

rows = st.lists(st.tuples(st.integers(1, 9), st.integers(0, 1)), min_size=1, max_size=30)
CURVE = kaplan_meier([2, 4, 4, 7], [1, 1, 0, 0])


def test_a_curve_steps_at_its_times_and_is_unknown_beyond_its_last():
    found = at_times(CURVE, [0, 1.9, 2, 3, 4, 7, 7.1])
    assert found["survival"].tolist() == pytest.approx([1, 1, 0.75, 0.75, 0.5, 0.5, np.nan], nan_ok=True)
    assert found["at_risk"].tolist() == [4, 4, 4, 3, 3, 1, 0]
    assert found["cumulative_events"].tolist() == [0, 0, 1, 1, 2, 2, 2]
    assert found["ci_lower"].iloc[:2].tolist() == pytest.approx([0.025**0.25] * 2)
    assert found.iloc[-1][["standard_error", "ci_lower", "ci_upper"]].isna().all()


def test_times_come_back_in_the_order_asked_for():
    assert at_times(CURVE, [4, 2])["survival"].tolist() == pytest.approx([0.5, 0.75])
    assert at_times(CURVE, 4)["time"].tolist() == [4]
    assert at_times(CURVE, []).empty


def test_a_curve_that_came_down_to_0_stays_there():
    found = at_times(kaplan_meier([2, 4], [1, 1]), [3, 4, 400])
    assert found["survival"].tolist() == [0.5, 0, 0]
    assert found["ci_lower"].iloc[-1] == 0


def test_within_a_gap_of_observation_nothing_is_known():
    found = at_times(kaplan_meier([5, 5, 9], [1, 0, 1], entry=[0, 0, 7]), [5, 6, 7, 8])
    assert found["survival"].tolist() == pytest.approx([0.5, np.nan, np.nan, np.nan], nan_ok=True)
    assert found["at_risk"].tolist() == [2, 0, 0, 1]
    late = kaplan_meier([5, 9], [1, 0], entry=[2, 3])
    assert at_times(late, [0, 1, 4])["survival"].isna().all()


def test_nobody_observed_has_no_figures_at_any_time():
    found = at_times(kaplan_meier([], []), [1, 2])
    assert found["survival"].isna().all()
    assert found["at_risk"].tolist() == [0, 0]


def test_every_cause_is_read_at_every_time():
    curves = cumulative_incidence([1, 2, 2, 4], [1, 2, 0, 1], causes=[1, 2, 3])
    found = incidence_at_times(curves, [0.5, 2])
    assert found["cause"].tolist() == [1, 1, 2, 2, 3, 3]
    assert found["incidence"].tolist() == pytest.approx([0, 0.25, 0, 0.25, 0, 0])
    assert found["cumulative_events"].tolist() == [0, 1, 0, 1, 0, 0]
    empty = incidence_at_times(cumulative_incidence([], []), [1])
    assert empty.empty
    assert empty.columns.tolist() == found.columns.tolist()


@given(rows, st.floats(0.05, 0.95))
def test_a_quantile_is_where_the_curve_crosses(pairs, proportion):
    durations, endings = np.array(pairs).T
    curve = kaplan_meier(durations, endings)
    found = float(survival_quantile(curve, proportion).value)
    survival = curve["survival"].to_numpy()
    if np.isnan(found):
        assert survival.min() > 1 - proportion
    else:
        # Up to the tolerance for values on the level itself.
        assert at_times(curve, found)["survival"].iloc[0] <= 1 - proportion + 2e-8
        before = curve.loc[curve["time"] < found, "survival"]
        assert (before >= 1 - proportion - 2e-8).all()


@given(rows, st.floats(0.05, 0.95))
def test_a_quantiles_limits_enclose_it(pairs, proportion):
    durations, endings = np.array(pairs).T
    found = survival_quantile(kaplan_meier(durations, endings), proportion)
    if not np.isnan(found.value):
        assert found.ci_lower <= found.value
        assert np.isnan(found.ci_upper) or found.value <= found.ci_upper
    else:
        assert np.isnan(found.ci_upper)


def test_limits_before_the_first_event_do_not_count_as_reached():
    # With one at risk and censored at 1 the exact limit before the event is far below a half.
    found = survival_quantile(kaplan_meier([1, 1, 8, 9, 9], [0, 0, 1, 1, 0]))
    assert found.value == 9
    assert found.ci_lower >= 8


@pytest.mark.parametrize("seed", range(20))
def test_the_restricted_mean_agrees_with_lifelines(seed):
    random = np.random.default_rng(seed)
    durations, endings = random.integers(1, 12, 60), random.integers(0, 2, 60)
    curve = kaplan_meier(durations, endings)
    fitted = KaplanMeierFitter().fit(durations, endings)
    for horizon in (1, 4.5, 10):
        expected = restricted_mean_survival_time(fitted, t=horizon)
        assert restricted_mean(curve, horizon).value == pytest.approx(expected, rel=1e-9)


def test_without_censoring_the_restricted_mean_is_a_mean_with_its_error():
    durations = np.array([1, 2, 2, 5, 9, 30])
    found = restricted_mean(kaplan_meier(durations, np.ones(6)), 10)
    held = np.minimum(durations, 10)
    assert found.value == pytest.approx(held.mean())
    assert found.standard_error == pytest.approx(held.std() / np.sqrt(6))
    assert found.ci_upper - found.value == pytest.approx(1.959963984540054 * found.standard_error)
    assert 0 <= found.ci_lower <= found.value <= found.ci_upper <= 10


def test_a_restricted_mean_beyond_what_is_known_is_nan():
    assert np.isnan(restricted_mean(CURVE, 8).value)
    assert restricted_mean(CURVE, 7).value == pytest.approx(2 + 2 * 0.75 + 3 * 0.5)
    assert restricted_mean(kaplan_meier([2, 4], [1, 1]), 100).value == pytest.approx(3)
    assert np.isnan(restricted_mean(kaplan_meier([], []), 1).value)
    gap = kaplan_meier([5, 5, 9], [1, 0, 1], entry=[0, 0, 7])
    assert np.isnan(restricted_mean(gap, 8).standard_error)
    assert restricted_mean(gap, 4).value == 4


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: at_times(CURVE, [-1]), "times must be finite and zero or more, got -1"),
        (lambda: survival_quantile(CURVE, 1.5), "proportion must lie between 0 and 1, got 1.5"),
        (lambda: restricted_mean(CURVE, 0), "horizon must be finite and more than 0, got 0"),
        (lambda: restricted_mean(CURVE, np.inf), "horizon must be finite and more than 0, got inf"),
        (lambda: restricted_mean(CURVE, 3, confidence=0), "confidence must lie between 0 and 1, got 0"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_a_mean_beyond_what_was_observed_keeps_its_horizon_and_is_unknown():
    found = restricted_mean(CURVE, 8)
    assert found.horizon == 8
    assert np.isnan([found.value, found.standard_error, found.ci_lower, found.ci_upper]).all()


def test_limits_of_a_mean_stay_between_0_and_the_horizon():
    # Nine of ten end at once, the last one lasts: mean 0.1 + 0.9 of nearly nothing.
    found = restricted_mean(kaplan_meier([*[0.1] * 9, 9], [1] * 9 + [0]), 9)
    assert (found.horizon, found.ci_lower) == (9, 0)
    assert found.value == pytest.approx(0.1 + 0.1 * 8.9)
    late = restricted_mean(kaplan_meier([0.1, *[9] * 9], [1] + [0] * 9), 9)
    assert late.ci_upper == 9
    assert late.value == pytest.approx(0.1 + 0.9 * 8.9)
    assert survival_quantile(CURVE).method == "reflected"
