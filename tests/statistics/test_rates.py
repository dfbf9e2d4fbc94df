"""Rates, rate ratios and observed against expected: tails, properties, edges."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.rates import confint_poisson
from statsmodels.stats.rates import test_poisson_2indep as poisson_test_of_two

from audit.statistics.expected import indirect_expected, observed_expected, observed_expected_test
from audit.statistics.rates import METHODS, rate_interval, rate_ratio, rate_ratio_test

events = st.integers(0, 400)
exposures = st.floats(0.1, 5000)
methods = st.sampled_from(sorted(METHODS))


@given(events, exposures, st.floats(0.5, 0.999))
def test_the_exact_limits_have_the_nominal_tails(x, exposure, confidence):
    lower, upper = rate_interval(x, exposure, confidence=confidence)
    tail = (1 - confidence) / 2
    assert stats.poisson.cdf(x, upper * exposure) == pytest.approx(tail, rel=1e-8)
    if x:
        assert stats.poisson.sf(x - 1, lower * exposure) == pytest.approx(tail, rel=1e-8)
    else:
        assert lower == 0


@given(events, exposures, st.floats(0.5, 0.999))
def test_the_mid_p_limits_have_the_nominal_mid_tails(x, exposure, confidence):
    lower, upper = rate_interval(x, exposure, confidence=confidence, method="mid_p")
    tail = (1 - confidence) / 2
    mean = upper * exposure
    assert stats.poisson.cdf(x, mean) - stats.poisson.pmf(x, mean) / 2 == pytest.approx(tail, rel=1e-7)
    if x:
        mean = lower * exposure
        assert stats.poisson.sf(x, mean) + stats.poisson.pmf(x, mean) / 2 == pytest.approx(tail, rel=1e-7)


@given(events, exposures, methods)
def test_limits_hold_the_rate_and_scale_with_the_exposure(x, exposure, method):
    lower, upper = rate_interval(x, exposure, method=method)
    assert 0 <= lower <= x / exposure <= upper
    halved = rate_interval(x, exposure * 2, method=method)
    assert halved == (pytest.approx(lower / 2), pytest.approx(upper / 2))


def test_byars_approximation_is_close_to_the_exact_limits_from_five_events():
    # Breslow and Day 1987 call it accurate even for small counts.
    x = np.arange(5, 200)
    assert np.abs(rate_interval(x, 1, method="byar")[1] / rate_interval(x, 1)[1] - 1).max() < 0.002
    assert np.abs(rate_interval(x, 1, method="byar")[0] / rate_interval(x, 1)[0] - 1).max() < 0.02


def test_byars_limits_give_way_to_the_exact_ones_below_ten_events():
    below, from_ten = np.arange(10), np.array([10, 11, 300])
    for side in (0, 1):
        exact = rate_interval(below, 2.0)[side]
        assert rate_interval(below, 2.0, method="byar")[side].tolist() == exact.tolist()
        assert (rate_interval(from_ten, 2.0, method="byar")[side] != rate_interval(from_ten, 2.0)[side]).all()


def test_500_random_rates_agree_with_statsmodels():
    random = np.random.default_rng(5)
    x, time = random.poisson(random.gamma(1, 20, 500)), random.uniform(0.1, 300, 500)
    for confidence in (0.95, 0.998):
        theirs = confint_poisson(x, time, method="exact-c", alpha=1 - confidence)
        for found, expected in zip(rate_interval(x, time, confidence=confidence), theirs, strict=True):
            np.testing.assert_allclose(found, np.nan_to_num(expected), rtol=1e-9, atol=1e-12)


def test_500_random_pairs_of_rates_agree_with_statsmodels_exact_conditional_test():
    random = np.random.default_rng(6)
    for _ in range(500):
        x_1, x_2 = random.poisson(random.gamma(1, 12, 2))
        time_1, time_2 = random.uniform(0.5, 40, 2)
        # statsmodels divides by the second count.
        if x_2:
            theirs = poisson_test_of_two(x_1, time_1, x_2, time_2, method="exact-cond")
            ours = rate_ratio_test(x_1, time_1, x_2, time_2)
            assert ours.p_value == pytest.approx(theirs.pvalue, rel=1e-9)


def test_no_exposure_has_no_rate_and_no_event_a_lower_limit_of_0():
    for method in METHODS:
        lower, upper = rate_interval([0, 0, 2], [0, 5, 0], method=method)
        assert np.isnan([lower[0], upper[0], lower[2], upper[2]]).all()
        assert lower[1] == 0
        assert upper[1] > 0
    lower, upper = rate_interval([], [])
    assert lower.shape == upper.shape == (0,)
    assert isinstance(rate_interval(1, 5)[0], float)


@given(events, exposures, events, exposures, st.sampled_from(["exact", "mid_p"]))
def test_a_rate_ratio_holds_its_estimate_and_inverts_with_the_groups(x_1, time_1, x_2, time_2, method):
    found = rate_ratio(x_1, time_1, x_2, time_2, method=method)
    assume(x_1 and x_2)
    assert 0 < found.ci_lower <= found.value <= found.ci_upper < np.inf
    swapped = rate_ratio(x_2, time_2, x_1, time_1, method=method)
    assert found.ci_lower * swapped.ci_upper == pytest.approx(1, rel=1e-8)


def test_rate_ratios_without_events_are_bounded_on_one_side():
    found = rate_ratio([0, 3, 0, 1], [5, 5, 5, 0], [3, 0, 0, 1], 5)
    assert found.value.tolist() == pytest.approx([0, np.inf, np.nan, np.nan], nan_ok=True)
    assert found.ci_lower[:3].tolist() == [0, pytest.approx(0.413, abs=1e-3), 0]
    assert found.ci_upper[:3].tolist() == [pytest.approx(1 / 0.413, rel=1e-2), np.inf, np.inf]
    assert np.isnan([found.ci_lower[3], found.ci_upper[3]]).all()


def test_a_single_event_bounds_a_rate_ratio_on_its_own_side():
    found = rate_ratio([1, 0], [5, 10], [0, 1], [10, 5])
    assert found.ci_lower.tolist() == pytest.approx([2 * 0.025 / 0.975, 0])
    assert found.ci_upper.tolist() == pytest.approx([np.inf, 0.975 / 0.025 / 2])


@given(st.integers(0, 60), exposures, st.integers(0, 60), exposures)
def test_the_rate_test_agrees_with_scipys_binomial_test(x_1, time_1, x_2, time_2):
    assume(x_1 + x_2)
    expected = stats.binomtest(x_1, x_1 + x_2, time_1 / (time_1 + time_2)).pvalue
    assert rate_ratio_test(x_1, time_1, x_2, time_2).p_value == pytest.approx(expected, rel=1e-7)


@given(st.integers(0, 60), exposures, st.integers(0, 60), exposures)
def test_the_mid_p_rate_test_agrees_with_the_mid_p_limits(x_1, time_1, x_2, time_2):
    p_value = rate_ratio_test(x_1, time_1, x_2, time_2, method="mid_p").p_value
    assume(abs(p_value - 0.05) > 1e-6)
    found = rate_ratio(x_1, time_1, x_2, time_2, method="mid_p")
    assert bool(found.ci_lower <= 1 <= found.ci_upper) == (p_value > 0.05)


@given(st.integers(0, 60), exposures, st.integers(0, 60), exposures)
def test_the_doubled_rate_test_agrees_with_the_exact_limits(x_1, time_1, x_2, time_2):
    p_value = rate_ratio_test(x_1, time_1, x_2, time_2, method="doubled").p_value
    assume(abs(p_value - 0.05) > 1e-6)
    found = rate_ratio(x_1, time_1, x_2, time_2)
    assert bool(found.ci_lower <= 1 <= found.ci_upper) == (p_value > 0.05)


@given(events, st.floats(0.01, 400))
def test_a_test_of_the_expected_number_agrees_with_its_limits(x, expected):
    for method, limits in [("doubled", "garwood"), ("mid_p", "mid_p")]:
        p_value = observed_expected_test(x, expected, method=method).p_value
        assume(abs(p_value - 0.05) > 1e-6)
        found = observed_expected(x, expected, method=limits)
        assert bool(found.ci_lower <= 1 <= found.ci_upper) == (p_value > 0.05)


@given(st.integers(0, 60), st.floats(0.01, 60))
def test_the_likelihood_test_of_the_expected_number_adds_scipys_probabilities(x, expected):
    counts = np.arange(400)
    p = stats.poisson.pmf(counts, expected)
    own = stats.poisson.pmf(x, expected)
    assume(not np.any((np.abs(p / own - 1) < 1e-5) & (counts != x)))
    assert observed_expected_test(x, expected).p_value == pytest.approx(p[p <= own].sum(), rel=1e-9)


def test_the_likelihood_test_of_a_large_number_reaches_far_into_the_other_tail():
    counts = np.arange(8000)
    p = stats.poisson.pmf(counts, 4000.0)
    expected = p[p <= p[3900]].sum()
    assert observed_expected_test(3900, 4000.0).p_value == pytest.approx(expected, rel=1e-9)


def test_a_fraction_of_an_event_expected_is_something_expected():
    found = observed_expected(2, 0.5)
    assert found.value == 4
    assert (found.ci_lower, found.ci_upper) == rate_interval(2, 0.5)


def test_a_test_against_nothing_expected_cannot_be_made():
    assert np.isnan(observed_expected_test(3, 0).p_value)
    assert observed_expected_test(0, 1e-9).p_value == pytest.approx(1)


def test_a_rate_test_without_events_finds_nothing_and_without_exposure_is_nan():
    assert rate_ratio_test(0, 5, 0, 7).p_value == 1
    assert np.isnan(rate_ratio_test(1, 0, 2, 7).p_value)


def test_expected_events_are_rates_times_own_denominators():
    assert indirect_expected([0.1, 0.02], [10, 50]) == pytest.approx(2)
    assert indirect_expected([0.1, 0.02], [[10, 50], [0, 0]]).tolist() == pytest.approx([2, 0])
    assert indirect_expected([], []) == 0


def test_an_unknown_rate_spoils_only_groups_that_need_it():
    found = indirect_expected([0.1, np.nan], [[10, 0], [10, 1]])
    assert found[0] == pytest.approx(1)
    assert np.isnan(found[1])


def test_observed_over_expected_is_a_rate_over_the_expected():
    found = observed_expected([4, 0, 2], [2.0, 1.5, 0.0])
    assert found.value[:2].tolist() == [2, 0]
    assert (found.ci_lower[0], found.ci_upper[0]) == rate_interval(4, 2.0)
    assert np.isnan([found.value[2], found.ci_lower[2], found.ci_upper[2]]).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: rate_interval(1.5, 2), "events must be whole numbers of zero or more, got 1.5"),
        (lambda: rate_interval(1, -2), "exposure must be finite and zero or more, got -2"),
        (lambda: rate_interval(1, np.nan), "exposure must be finite and zero or more, got nan"),
        (lambda: rate_interval(1, 2, method="wald"), "method must be one of garwood, mid_p, byar"),
        (lambda: rate_interval(1, 2, confidence=95), "confidence must lie between 0 and 1, got 95"),
        (lambda: rate_ratio(1, 2, 1, 2, method="wald"), "method must be one of exact, mid_p"),
        (lambda: rate_ratio_test(1, 2, 1, 2, method="exact"), "method must be one of minimum_likelihood"),
        (lambda: observed_expected_test(1, 2, method="exact"), "method must be one of minimum_likelihood"),
        (lambda: observed_expected_test(1.5, 2), "observed must be whole numbers of zero or more, got 1.5"),
        (lambda: observed_expected_test(1, -2), "expected must be finite and zero or more, got -2"),
        (lambda: indirect_expected([0.1], [1, 2]), r"one column per rate \(1\), got shape \(2,\)"),
        (lambda: indirect_expected([-0.1], [1]), "rates must be finite and zero or more, got -0.1"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_observed_over_expected_takes_the_confidence_and_says_the_method():
    found = observed_expected(4, 2.0, confidence=0.8)
    assert (found.ci_lower, found.ci_upper) == pytest.approx(
        (stats.chi2.ppf(0.1, 8) / 4, stats.chi2.ppf(0.9, 10) / 4)
    )
    assert found.method == "garwood"
    assert observed_expected(4, 2.0, method="byar").method == "byar"
    assert observed_expected_test(4, 2.0, method="mid_p").method == "mid_p"
    assert observed_expected_test(4, 0, method="doubled").method == "doubled"
    assert indirect_expected([1, 0], [3, 7]) == 3


@pytest.mark.parametrize("times", [(0.0, 8.0), (8.0, 0.0), (0.0, 0.0)])
def test_two_rates_are_not_compared_without_time_in_both(times):
    events = [2 if time else 0 for time in times]
    assert np.isnan(rate_ratio_test(events[0], times[0], events[1], times[1]).p_value)
    assert np.isnan(rate_ratio(events[0], times[0], events[1], times[1]).value)
