"""Chances beyond a margin, differences that can be detected, and observations that would settle a comparison."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from audit.statistics.differences import difference_from_limits
from audit.statistics.margins import (
    detectable_difference,
    exceedance,
    exceedance_of_proportions,
    observations_to_settle,
)
from audit.statistics.power import power_two_proportions
from audit.statistics.proportions import proportion_interval


def by_integration(x_1: int, n_1: int, x_2: int, n_2: int, margin: float) -> float:
    """P(p1 > p2 + margin) under Jeffreys posteriors, by adaptive quadrature of scipy."""
    one, two = stats.beta(x_1 + 0.5, n_1 - x_1 + 0.5), stats.beta(x_2 + 0.5, n_2 - x_2 + 0.5)
    # In the quantile of the second the integrand has no pole at the edges.
    value, _ = integrate.quad(lambda u: one.sf(two.ppf(u) + margin), 0, 1, limit=200)
    return float(value)


@pytest.mark.parametrize(
    ("x_1", "n_1", "x_2", "n_2", "margin"),
    [
        (6, 48, 25, 592, 0.02),
        (0, 240, 61, 43000, 0.001),
        (56, 70, 48, 80, 0.0),
        (9, 10, 3, 10, 0.1),
        (5, 56, 0, 29, 0.05),
        # The margin leads beyond 1 and below 0 for much of the second group's posterior.
        (9, 10, 8, 10, 0.4),
        (1, 10, 2, 10, 0.4),
    ],
)
def test_beta_posteriors_agree_with_adaptive_quadrature(x_1, n_1, x_2, n_2, margin):
    above, below = exceedance_of_proportions(x_1, n_1, x_2, n_2, margin=margin)
    assert above == pytest.approx(by_integration(x_1, n_1, x_2, n_2, margin), abs=2e-5)
    # What is beyond below is the same question with the groups exchanged.
    assert below == pytest.approx(by_integration(x_2, n_2, x_1, n_1, margin), abs=2e-5)


def test_a_group_against_itself_is_as_likely_above_as_below_and_the_two_make_one():
    above, below = exceedance_of_proportions(45, 1177, 45, 1177, margin=0.0)
    assert (above, below) == (pytest.approx(0.5, abs=1e-5), pytest.approx(0.5, abs=1e-5))
    above, below = exceedance_of_proportions([3, 9], [60, 80], [1, 30], [40, 90], margin=0.0)
    assert above + below == pytest.approx([1, 1], abs=1e-5)


def test_normal_chances_are_those_of_the_limits_themselves():
    # At a limit the chance beyond is 2.5%, at the value 50%.
    above, _ = exceedance(0.03, 0.01, 0.07, margin=0.07)
    assert above == pytest.approx(0.025)
    above, _ = exceedance(0.03, 0.01, 0.07, margin=0.03)
    assert above == pytest.approx(0.5)
    # Below the value it is the lower limit's distance that counts.
    above, _ = exceedance(0.03, 0.01, 0.07, margin=0.01)
    assert above == pytest.approx(0.975)
    _, below = exceedance(-0.03, -0.07, 0.02, margin=0.07)
    assert below == pytest.approx(0.025)


def test_chances_below_take_the_distances_the_other_way_round():
    # Below the value -0.03 lies 0.04 to the lower limit, above it 0.05 to the upper.
    _, below = exceedance(-0.03, -0.07, 0.02, margin=0.03)
    assert below == pytest.approx(0.5)
    _, below = exceedance(-0.03, -0.07, 0.02, margin=0.0)
    assert below == pytest.approx(stats.norm.cdf(0.03 / 0.05 * 1.959964), abs=1e-6)
    _, below = exceedance(0.01, -0.03, 0.09, margin=0.02)
    assert below == pytest.approx(stats.norm.sf(0.03 / 0.04 * 1.959964), abs=1e-6)


def test_limits_on_the_value_itself_give_no_chance_and_whole_numbers_are_taken():
    assert np.isnan(exceedance(0.1, 0.1, 0.1, margin=0.2)).all()
    above, below = exceedance(0, -1, 1, margin=0)
    assert (above, below) == (0.5, 0.5)
    assert detectable_difference(-1, 1) == pytest.approx((1.959964 + 0.841621) / 1.959964, rel=1e-6)


def test_the_margins_may_be_0_or_1():
    above, below = exceedance_of_proportions(3, 9, 1, 8, margin=1)
    assert (above, below) == (0, 0)
    assert exceedance_of_proportions(3, 9, 1, 8, margin=0)[0] > 0.5


@pytest.mark.parametrize(
    ("own", "other", "margin", "expected"),
    [
        # Apart by 0.3; theirs reach 0.1, ours 0.3 towards them: 0.09 = 0.01 + 0.09 s, s = 8/9.
        ((0.5, 0.2, 0.6), (0.2, 0.1, 0.3), np.nan, 100 * 9 / 8),
        # The other way round our upper limit counts: 0.09 = 0.01 + 0.16 s, s = 1/2.
        ((0.2, 0.1, 0.6), (0.5, 0.4, 0.9), np.nan, 200.0),
        # Within 0.1 at a difference of 0: 0.01 = 0.0036 + 0.04 s below, 0.01 = 0.0064 + 0.01 s above; s = 0.16.
        ((0.3, 0.1, 0.4), (0.3, 0.22, 0.36), 0.1, 625.0),
        # A difference as large as the margin lies within it at no number of observations.
        ((0.5, 0.3, 0.7), (0.25, 0.25, 0.25), 0.25, 100 * (0.2 / 0.25) ** 2),
        # No room is left where theirs alone fill it.
        ((0.5, 0.4, 0.6), (0.25, 0.0, 0.5), np.nan, np.inf),
    ],
)
def test_the_number_that_settles_is_worked_by_hand(own, other, margin, expected):
    assert observations_to_settle(100, own, other, margin=margin) == pytest.approx(expected)


def test_nothing_is_known_of_the_number_without_observations_or_without_any_one_limit():
    own, other = (0.5, 0.2, 0.6), (0.2, 0.1, 0.3)
    assert np.isnan(observations_to_settle(0, own, other, margin=0.02))
    assert observations_to_settle(1, own, other, margin=0) == pytest.approx(9 / 8)
    for place in range(3):
        gap = [np.nan if number == place else value for number, value in enumerate(own)]
        assert np.isnan(observations_to_settle(100, gap, other, margin=0.02))
        gap = [np.nan if number == place else value for number, value in enumerate(other)]
        assert np.isnan(observations_to_settle(100, own, gap, margin=0.02))
    infinite = (0.2, -np.inf, np.inf)
    assert observations_to_settle(100, own, infinite, margin=0.02) == np.inf
    assert observations_to_settle(100, infinite, own, margin=0.02) == np.inf
    # A side without any doubt is settled at once.
    assert observations_to_settle(100, (1, 1, 1), (0, 0, 0), margin=0.1) == 0


def test_a_missing_limit_gives_no_chance_and_no_difference():
    assert np.isnan(exceedance(0.1, np.nan, np.nan, margin=0.02)).all()
    assert np.isnan(detectable_difference(np.nan, np.nan))
    missing = (0.1, np.nan, np.nan)
    assert np.isnan(observations_to_settle(100, (0.1, 0.05, 0.2), missing, margin=0.02))
    assert exceedance([], [], [], margin=0.1)[0].shape == (0,)
    assert exceedance_of_proportions([], [], [], [], margin=0.1)[0].shape == (0,)


def test_the_difference_detectable_has_that_power_by_the_usual_formula():
    # R's power.prop.test(n = 435, p1 = .1, p2 = .05) has power 0.80; at equal proportions near 0.075 the limits
    # of a difference are as wide as that comparison's.
    half = 1.959964 * np.sqrt(2 * 0.075 * 0.925 / 435)
    found = float(detectable_difference(-half, half))
    power = power_two_proportions(435, 435, proportion_1=0.075 - found / 2, proportion_2=0.075 + found / 2)
    assert power == pytest.approx(0.80, abs=0.01)


@given(
    st.integers(1, 60),
    st.integers(61, 400),
    st.integers(1, 900),
    st.integers(901, 9000),
    st.floats(0.005, 0.2),
)
def test_as_many_observations_as_it_asks_for_settle_the_comparison(x, n, x_2, n_2, margin):
    own = (x / n, *proportion_interval(x, n))
    other = (x_2 / n_2, *proportion_interval(x_2, n_2))
    needed = float(observations_to_settle(n, own, other, margin=margin))
    if not np.isfinite(needed):
        return
    shrunk = np.sqrt(n / needed)
    ours = (own[0], own[0] - (own[0] - own[1]) * shrunk, own[0] + (own[2] - own[0]) * shrunk)
    limits = difference_from_limits(*ours, *other)
    slack = 1e-9
    settled_apart = limits.ci_lower >= -slack or limits.ci_upper <= slack
    settled_within = max(-limits.ci_lower, limits.ci_upper) <= margin + slack
    assert settled_apart or settled_within
    # One observation in ten fewer would have left it open.
    fewer = np.sqrt(n / (needed * 0.9))
    ours = (own[0], own[0] - (own[0] - own[1]) * fewer, own[0] + (own[2] - own[0]) * fewer)
    limits = difference_from_limits(*ours, *other)
    assert limits.ci_lower < 0 < limits.ci_upper
    assert max(-limits.ci_lower, limits.ci_upper) > margin


def test_no_number_settles_what_the_other_side_leaves_open():
    assert np.isinf(observations_to_settle(1000, (0.10, 0.09, 0.11), (0.11, 0.02, 0.30), margin=0.02))
    assert np.isinf(observations_to_settle(1000, (0.10, 0.09, 0.11), (0.10, 0.10, 0.10), margin=np.nan))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: exceedance(0, -1, 1, margin=-0.1), "margin must be finite and zero or more, got -0.1"),
        (
            lambda: exceedance_of_proportions(1, 2, 1, 2, margin=2.0),
            "margin must lie between 0 and 1, got 2.0",
        ),
        (lambda: exceedance_of_proportions(3, 2, 1, 2, margin=0.1), "events_1"),
        (lambda: detectable_difference(0, 1, power=1.2), "power must lie between 0 and 1, got 1.2"),
        (
            lambda: observations_to_settle(9, (0, 0, 0), (0, 0, 0), margin=-1.0),
            "margin must not be below 0, got -1.0",
        ),
    ],
)
def test_an_argument_out_of_range_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
