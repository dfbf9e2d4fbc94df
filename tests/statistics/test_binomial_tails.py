"""Exact tails, alone and over strata, and the stepped funnel limits made from them."""

from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from audit.statistics.binomial_tails import (
    binomial_distribution,
    binomial_tail,
    standardised_tail,
    two_sided,
)
from audit.statistics.funnel import funnel_limits, numbers_to, smallest_detectable_proportion

tail_probabilities = st.sampled_from([0.025, 0.001, 0.1, 0.00135])
targets = st.floats(0.001, 0.6)
sizes = st.integers(1, 600)


def test_the_tails_agree_with_scipys_binomial():
    x, n, p = np.meshgrid(np.arange(0, 41), [40, 200, 3000], [0.0, 0.003, 0.05, 0.5, 1.0])
    np.testing.assert_allclose(
        binomial_tail(x, n, p, tail="upper"), stats.binom.sf(x - 1, n, p), rtol=1e-11, atol=1e-300
    )
    np.testing.assert_allclose(
        binomial_tail(x, n, p, tail="lower"), stats.binom.cdf(x, n, p), rtol=1e-11, atol=1e-300
    )


def test_two_tosses_have_tails_of_quarters():
    assert binomial_tail([0, 1, 2], 2, 0.5, tail="upper").tolist() == pytest.approx([1, 0.75, 0.25])
    assert binomial_tail([0, 1, 2], 2, 0.5, tail="lower").tolist() == pytest.approx([0.25, 0.75, 1])
    assert binomial_tail(0, 0, 0.5, tail="upper") == 1
    assert binomial_tail(0, 0, 0.5, tail="lower") == 1


@given(sizes.flatmap(lambda n: st.tuples(st.integers(0, n - 1), st.just(n))), targets)
def test_the_two_tails_leave_nothing_out(pair, target):
    x, n = pair
    above = binomial_tail(x + 1, n, target, tail="upper")
    assert above + binomial_tail(x, n, target, tail="lower") == pytest.approx(1, abs=1e-12)


def enumerated_tail(observed, n, proportions):
    """Return P(X >= observed) by going through every possible set of counts, in fractions."""
    total = Fraction(0)
    for counts in product(*(range(size + 1) for size in n)):
        if sum(counts) >= observed:
            weight = Fraction(1)
            for count, size, p in zip(counts, n, proportions, strict=True):
                choose = Fraction(int(stats.binom.pmf(count, size, 0.5) * 2**size + 0.5))
                weight *= choose * p**count * (1 - p) ** (size - count)
            total += weight
    return total


def test_the_standardised_tail_is_the_one_of_every_combination_added_up():
    n, proportions = [3, 2, 4], [Fraction(1, 10), Fraction(1, 3), Fraction(1, 20)]
    for observed in range(10):
        upper = standardised_tail(observed, n, [float(p) for p in proportions], tail="upper")
        assert upper == pytest.approx(float(enumerated_tail(observed, n, proportions)), rel=1e-12)
        if observed < 9:
            lower = standardised_tail(observed, n, [float(p) for p in proportions], tail="lower")
            rest = 1 - enumerated_tail(observed + 1, n, proportions)
            assert lower == pytest.approx(float(rest), rel=1e-12)


@given(sizes, targets, st.data())
def test_strata_with_one_proportion_are_one_binomial(n, target, data):
    first = data.draw(st.integers(0, n))
    observed = data.draw(st.integers(0, n))
    for tail in ("upper", "lower"):
        pooled = binomial_tail(observed, n, target, tail=tail)
        split = standardised_tail(observed, [first, n - first], [target, target], tail=tail)
        assert split == pytest.approx(pooled, rel=1e-9, abs=1e-14)


def test_strata_without_events_or_without_doubt_add_nothing():
    assert standardised_tail(3, [3, 5], [1.0, 0.0], tail="upper") == pytest.approx(1)
    assert standardised_tail(2, [3, 5], [1.0, 0.0], tail="lower") == pytest.approx(0)
    assert standardised_tail(0, [], [], tail="upper") == 1


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: binomial_tail(1, 2, 1.5, tail="upper"), "proportion must lie from 0 to 1, got 1.5"),
        (lambda: binomial_tail(3, 2, 0.5, tail="upper"), "events must not exceed n, got 3 of 2"),
        (lambda: binomial_tail(1, 2, 0.5, tail="two"), "tail must be one of upper, lower, got 'two'"),
        (lambda: standardised_tail(1, [2, 3], [0.5], tail="upper"), "one value per stratum, got 2 and 1"),
        (
            lambda: standardised_tail(9, [2, 3], [0.5, 0.5], tail="upper"),
            "must not exceed sum of n, got 9 of 5",
        ),
        (
            lambda: funnel_limits(5, 0.5, tail_probability=1),
            "tail_probability must lie between 0 and 1, got 1",
        ),
        (
            lambda: smallest_detectable_proportion(5, 0.5, tail_probability=0.025, power=1),
            "power must lie between 0 and 1, got 1",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@given(sizes, targets, tail_probabilities, st.data())
def test_a_point_is_beyond_its_limit_exactly_when_its_tail_is_that_rare(n, target, tail_probability, data):
    x = data.draw(st.integers(0, n))
    limits = funnel_limits(n, target, tail_probability=tail_probability).iloc[0]
    # A comparison with nan is False: where no count is rare enough nothing is beyond.
    assert bool(x >= limits["upper_count"]) == bool(
        binomial_tail(x, n, target, tail="upper") <= tail_probability
    )
    assert bool(x <= limits["lower_count"]) == bool(
        binomial_tail(x, n, target, tail="lower") <= tail_probability
    )


def test_the_limits_are_found_by_counting_up_at_every_size():
    for target, tail_probability in product([0.03, 0.05, 0.3], [0.025, 0.001]):
        limits = funnel_limits(np.arange(1, 200), target, tail_probability=tail_probability)
        for n, lower, upper in limits[["n", "lower_count", "upper_count"]].itertuples(index=False):
            x = np.arange(n + 1)
            rare_above = x[stats.binom.sf(x - 1, n, target) <= tail_probability]
            rare_below = x[stats.binom.cdf(x, n, target) <= tail_probability]
            assert upper == (rare_above.min() if rare_above.size else pytest.approx(np.nan, nan_ok=True))
            assert lower == (rare_below.max() if rare_below.size else pytest.approx(np.nan, nan_ok=True))


@pytest.mark.parametrize(
    ("target", "tail_probability", "size"),
    [(0.05, 0.025, 72), (0.05, 0.001, 135), (0.03, 0.025, 122), (0.03, 0.001, 227)],
)
def test_no_event_at_all_is_a_low_signal_only_from_a_certain_size_on(target, tail_probability, size):
    # (1 - target) ** size falls to the tail probability.
    limits = funnel_limits([size - 1, size], target, tail_probability=tail_probability)
    assert np.isnan(limits["lower_count"].iloc[0])
    assert limits["lower_count"].iloc[1] == 0


def test_limits_have_one_row_per_size_and_their_proportions():
    limits = funnel_limits([0, 1, 100], [0.05, 0.5, 0.05], tail_probability=0.025)
    assert limits.columns.tolist() == [
        "n",
        "target",
        "lower_count",
        "upper_count",
        "lower_proportion",
        "upper_proportion",
    ]
    assert np.isnan(limits.iloc[:2, 2:].to_numpy()).all()
    assert limits.iloc[2].tolist() == pytest.approx([100, 0.05, 0, 11, 0, 0.11])
    large = funnel_limits(500, 0.1, tail_probability=0.001).iloc[0]
    assert large["lower_proportion"] == large["lower_count"] / 500 > 0
    assert large["upper_proportion"] == large["upper_count"] / 500
    one = funnel_limits(1, 0.01, tail_probability=0.025).iloc[0]
    assert (one["upper_count"], one["upper_proportion"]) == (1, 1)
    assert funnel_limits([], 0.05, tail_probability=0.025).empty


def test_the_exact_rule_alarms_no_more_often_than_it_says():
    for n, target in product([10, 20, 30, 50, 100, 400], [0.03, 0.05, 0.08]):
        upper = funnel_limits(n, target, tail_probability=0.025)["upper_count"].iloc[0]
        assert np.isnan(upper) or stats.binom.sf(upper - 1, n, target) <= 0.025


@pytest.mark.parametrize(
    ("n", "true", "tail_probability", "power"),
    [(50, 0.1, 0.025, 0.23), (100, 0.1, 0.025, 0.42), (200, 0.1, 0.025, 0.79), (100, 0.15, 0.001, 0.653)],
)
def test_the_power_of_the_rule_at_a_target_of_5_percent_is_known(n, true, tail_probability, power):
    # Enumerated apart from the package with scipy's binomial.
    upper = funnel_limits(n, 0.05, tail_probability=tail_probability)["upper_count"].iloc[0]
    assert binomial_tail(upper, n, true, tail="upper") == pytest.approx(power, abs=0.005)


@given(sizes, targets, tail_probabilities, st.floats(0.1, 0.99))
def test_the_smallest_detectable_proportion_signals_with_exactly_the_power(
    n, target, tail_probability, power
):
    found = smallest_detectable_proportion(n, target, tail_probability=tail_probability, power=power)
    upper = funnel_limits(n, target, tail_probability=tail_probability)["upper_count"].iloc[0]
    if np.isnan(upper):
        assert np.isnan(found)
    else:
        assert binomial_tail(upper, n, found, tail="upper") == pytest.approx(power, rel=1e-9)


def test_what_can_be_detected_keeps_the_shape_of_the_sizes():
    assert smallest_detectable_proportion(100, 0.05, tail_probability=0.025).shape == ()
    found = smallest_detectable_proportion([1, 50, 5000], 0.05, tail_probability=0.001)
    assert np.isnan(found[0])
    assert found[1] > found[2] > 0.05


@pytest.mark.parametrize(("observed", "tail"), [(4100, "upper"), (3900, "lower"), (4500, "upper")])
def test_a_total_of_many_observations_has_the_tail_of_one_binomial(observed: int, tail: str) -> None:
    # Strata with one proportion add up to one binomial; most of their terms are left out.
    found = standardised_tail(observed, [50_000, 30_000], [0.05, 0.05], tail=tail)
    whole = stats.binom(80_000, 0.05)
    expected = whole.sf(observed - 1) if tail == "upper" else whole.cdf(observed)
    assert found == pytest.approx(expected, rel=1e-9)


def test_three_tosses_have_the_distribution_of_pascals_triangle() -> None:
    assert binomial_distribution(3, 0.5).tolist() == pytest.approx([1 / 8, 3 / 8, 3 / 8, 1 / 8])
    assert binomial_distribution(3, 1.0).tolist() == [0, 0, 0, 1]


@pytest.mark.parametrize("method", ["minimum_likelihood", "doubled", "mid_p"])
def test_rounding_leads_no_probability_above_1(method: str) -> None:
    # The middle of each of these is the likeliest outcome; some sums are one rounding above 1.
    distributions = [binomial_distribution(n, 0.5) for n in range(2, 80, 2)]
    assert max(float(each.sum()) for each in distributions) > 1
    found = [two_sided(each, len(each) // 2, method) for each in distributions]
    assert max(found) <= 1
    assert min(found) > 1 - 1e-9
    thirds = [binomial_distribution(n, 1 / 3) for n in range(1, 80)]
    assert max(standardised_tail(0, [n], [1 / 3], tail="upper") for n in range(1, 80)) <= 1
    assert max(float(each.sum()) for each in thirds) > 1


def test_limits_are_drawn_over_all_numbers_up_to_the_most() -> None:
    assert numbers_to(4).tolist() == [1, 2, 3, 4]
    assert numbers_to(0).tolist() == []
    assert numbers_to(4).dtype == np.int64


def test_what_can_be_detected_has_one_value_per_target_too() -> None:
    found = smallest_detectable_proportion(100, [0.05, 0.1], tail_probability=0.025)
    assert found.shape == (2,)
    assert found[0] == smallest_detectable_proportion(100, 0.05, tail_probability=0.025)
    with np.errstate(all="raise"):
        assert np.isnan(smallest_detectable_proportion([3], 0.5, tail_probability=0.025)).all()
