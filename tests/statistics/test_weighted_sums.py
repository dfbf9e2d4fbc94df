"""The weighted mean of estimates from their limits."""

import numpy as np
import pytest

from audit.statistics.differences import difference_from_limits
from audit.statistics.proportions import proportion_interval
from audit.statistics.standardisation import directly_standardised_rate
from audit.statistics.weighted_sums import weighted_mean_from_limits


def test_with_symmetric_limits_it_is_the_normal_interval_of_a_stratified_mean():
    # Standard errors 0.02 and 0.01, shares 0.75 and 0.25: variance 0.5625 * 0.0004 + 0.0625 * 0.0001.
    z = 1.959963984540054
    value, error = np.array([0.1, 0.3]), np.array([0.02, 0.01])
    result = weighted_mean_from_limits(value, value - z * error, value + z * error, [3, 1])
    reach = z * np.sqrt(0.5625 * 0.0004 + 0.0625 * 0.0001)
    assert (result.ci_lower, result.ci_upper) == pytest.approx((0.15 - reach, 0.15 + reach))


def test_two_equal_weights_are_half_the_difference_of_one_and_the_negative_of_the_other():
    # a + b is a - (-b), whose square-and-add limits are Newcombe's: Stat Med 1998;17:873-890.
    (l_1, u_1), (l_2, u_2) = proportion_interval(56, 70), proportion_interval(48, 80)
    mean = weighted_mean_from_limits([0.8, 0.6], [l_1, l_2], [u_1, u_2], [1, 1])
    whole = difference_from_limits(0.8, l_1, u_1, -0.6, -u_2, -l_2)
    assert (2 * mean.ci_lower, 2 * mean.ci_upper) == pytest.approx((whole.ci_lower, whole.ci_upper))


def test_it_agrees_with_direct_standardisation_where_counts_are_large():
    events, n, mix = np.array([500, 900]), np.array([10000, 30000]), [2, 5]
    lower, upper = proportion_interval(events, n)
    ours = weighted_mean_from_limits(events / n, lower, upper, mix)
    theirs = directly_standardised_rate(events, n, mix)
    assert ours.value == pytest.approx(theirs.value)
    assert (ours.ci_lower, ours.ci_upper) == pytest.approx((theirs.ci_lower, theirs.ci_upper), rel=0.01)


def test_what_has_no_weight_need_not_be_known():
    result = weighted_mean_from_limits([0.1, np.nan], [0.05, np.nan], [0.2, np.nan], [4, 0])
    assert (result.value, result.ci_lower, result.ci_upper) == (0.1, 0.05, 0.2)
    assert np.isnan(weighted_mean_from_limits([0.1, np.nan], [0.05, np.nan], [0.2, np.nan], [4, 1]).value)


@pytest.mark.parametrize(
    ("weights", "message"),
    [([1], "one value per estimate"), ([0, 0], "hold something"), ([1, -1], "weights must be")],
)
def test_weights_that_do_not_fit_are_refused(weights, message):
    with pytest.raises(ValueError, match=message):
        weighted_mean_from_limits([0.1, 0.2], [0, 0], [1, 1], weights)


def test_small_weights_and_whole_numbers_are_taken_and_the_method_is_said():
    result = weighted_mean_from_limits([1, 3], [0, 3], [2, 3], [0.2, 0.3])
    assert (result.value, result.ci_lower, result.ci_upper) == pytest.approx((2.2, 1.8, 2.6))
    assert result.method == "square-and-add from each estimate's limits"
