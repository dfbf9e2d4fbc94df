"""Limits of a proportion: edges, coverage by enumeration, properties, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from audit.statistics.proportions import METHODS, bounds_for_unknowns, proportion_interval

# Fractions from 0.5% to 30% in steps of 0.1%.
GRID = np.linspace(0.005, 0.3, 296)

count_pairs = st.integers(0, 3000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
methods = st.sampled_from(sorted(METHODS))


def coverage(n, proportions, method):
    """Return the exact probability that the interval holds each true proportion."""
    x = np.arange(n + 1)
    lower, upper = proportion_interval(x, n, method=method)
    held = (lower <= proportions[:, None]) & (proportions[:, None] <= upper)
    return (stats.binom.pmf(x, n, proportions[:, None]) * held).sum(axis=1)


@pytest.mark.parametrize(
    ("n", "mean", "least"),
    [
        (20, 0.9547, 0.852),
        (50, 0.9529, 0.895),
        (100, 0.9518, 0.910),
        (200, 0.9514, 0.920),
        (500, 0.9505, 0.932),
    ],
)
def test_wilson_covers_95_percent_on_average(n, mean, least):
    # Enumerated once apart from the package, with scipy's binomial; compare Newcombe 1998 and Brown 2001.
    found = coverage(n, GRID, "wilson")
    assert found.mean() == pytest.approx(mean, abs=1e-4)
    assert found.min() == pytest.approx(least, abs=6e-4)


@pytest.mark.parametrize(("n", "least"), [(20, 0.9604), (50, 0.95), (100, 0.9514), (200, 0.95)])
def test_clopper_pearson_never_covers_less_than_95_percent(n, least):
    assert coverage(n, GRID, "clopper_pearson").min() >= least - 5e-5


def test_clopper_pearson_covers_more_than_it_says_on_average():
    assert coverage(50, GRID, "clopper_pearson").mean() == pytest.approx(0.9722, abs=1e-4)


def test_wilson_misses_a_rare_event_on_one_side_only():
    # At n = 100 and 1%: the upper limit is never too low, the lower limit is above 1% from 4 events on.
    lower, upper = proportion_interval(np.arange(101), 100)
    probability = stats.binom.pmf(np.arange(101), 100, 0.01)
    assert probability[lower > 0.01].sum() == pytest.approx(0.0794, abs=1e-4)
    assert probability[upper < 0.01].sum() == 0


@pytest.mark.parametrize("method", sorted(METHODS))
def test_the_edges_are_exactly_0_and_1(method):
    lower, upper = proportion_interval([0, 7, 0, 1], [7, 7, 1, 1], method=method)
    assert lower[0] == 0.0
    assert lower[2] == 0.0
    assert upper[1] == 1.0
    assert upper[3] == 1.0
    assert (upper[[0, 2]] < 1).all() or method == "agresti_coull"
    assert (lower[[1, 3]] > 0).all() or method == "agresti_coull"


@pytest.mark.parametrize("method", sorted(METHODS))
def test_nothing_observed_has_no_limits(method):
    lower, upper = proportion_interval([0, 3], [0, 9], method=method)
    assert np.isnan([lower[0], upper[0]]).all()
    assert not np.isnan([lower[1], upper[1]]).any()


def test_the_exact_limit_for_no_event_is_the_closed_form():
    _, upper = proportion_interval(0, 300, method="clopper_pearson")
    assert upper == pytest.approx(1 - 0.025 ** (1 / 300), rel=1e-12)


def test_shapes_are_broadcast_and_kept():
    lower, upper = proportion_interval([[1], [2]], [5, 6, 7])
    assert lower.shape == upper.shape == (2, 3)
    lower, upper = proportion_interval([], [])
    assert lower.shape == upper.shape == (0,)
    lower, upper = proportion_interval(1, 5)
    assert isinstance(lower, float)
    assert isinstance(upper, float)


@pytest.mark.parametrize(
    ("method", "other"),
    [
        ("wilson", "wilson"),
        ("clopper_pearson", "beta"),
        ("jeffreys", "jeffreys"),
        ("agresti_coull", "agresti_coull"),
    ],
)
def test_the_limits_agree_with_statsmodels(method, other):
    random = np.random.default_rng(1)
    n = random.integers(1, 2000, 500)
    x = random.binomial(n, random.uniform(0, 1, 500))
    inner = (x > 0) & (x < n)
    for confidence in (0.95, 0.998):
        lower, upper = proportion_interval(x, n, confidence=confidence, method=method)
        expected = proportion_confint(x, n, alpha=1 - confidence, method=other)
        # At the edges statsmodels keeps the rounding error or the posterior limit where we state 0 or 1.
        np.testing.assert_allclose(lower[inner], expected[0][inner], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(upper[inner], expected[1][inner], rtol=1e-9, atol=1e-12)


@given(count_pairs, methods, st.floats(0.5, 0.999))
def test_limits_hold_the_estimate_and_mirror_for_the_complement(pair, method, confidence):
    x, n = pair
    lower, upper = proportion_interval(x, n, confidence=confidence, method=method)
    if n == 0:
        assert np.isnan([lower, upper]).all()
        return
    assert 0 <= lower <= x / n <= upper <= 1
    mirrored = proportion_interval(n - x, n, confidence=confidence, method=method)
    assert (1 - mirrored[1], 1 - mirrored[0]) == (
        pytest.approx(lower, abs=1e-9),
        pytest.approx(upper, abs=1e-9),
    )


@given(count_pairs, methods, st.floats(0.5, 0.99))
def test_more_confidence_is_never_narrower(pair, method, confidence):
    narrow = proportion_interval(*pair, confidence=confidence, method=method)
    wide = proportion_interval(*pair, confidence=confidence + 0.009, method=method)
    if pair[1]:
        assert wide[0] <= narrow[0]
        assert wide[1] >= narrow[1]


@given(count_pairs.filter(lambda pair: pair[1] > 0))
def test_mid_p_limits_lie_within_the_exact_ones(pair):
    exact = proportion_interval(*pair, method="clopper_pearson")
    mid_p = proportion_interval(*pair, method="mid_p")
    assert exact[0] - 1e-12 <= mid_p[0]
    assert mid_p[1] <= exact[1] + 1e-12


def test_unknown_outcomes_bound_the_proportion():
    least, greatest = bounds_for_unknowns([3, 0, 0], [10, 4, 0], [5, 0, 0])
    assert least.tolist()[:2] == [3 / 15, 0]
    assert greatest.tolist()[:2] == [8 / 15, 0]
    assert np.isnan([least[2], greatest[2]]).all()


@given(count_pairs, st.integers(0, 50), st.data())
def test_whatever_the_unknowns_turn_out_to_be_the_bounds_hold_it(pair, n_unknown, data):
    x, n = pair
    turned_out = data.draw(st.integers(0, n_unknown))
    if n + n_unknown:
        least, greatest = bounds_for_unknowns(x, n, n_unknown)
        assert least <= (x + turned_out) / (n + n_unknown) <= greatest


@pytest.mark.parametrize(
    ("events", "n", "options", "message"),
    [
        (1, 5, {"confidence": 1.2}, "confidence must lie between 0 and 1, got 1.2"),
        (1, 5, {"confidence": 0}, "confidence must lie between 0 and 1, got 0"),
        (1, 5, {"method": "wald"}, "method must be one of wilson, .* got 'wald'"),
        (6, 5, {}, "events must not exceed n, got 6 of 5"),
        (-1, 5, {}, "events must be whole numbers of zero or more, got -1"),
        (1.5, 5, {}, "events must be whole numbers of zero or more, got 1.5"),
        (1, np.nan, {}, "n must be whole numbers of zero or more, got nan"),
        (1, np.inf, {}, "n must be whole numbers of zero or more, got inf"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(events, n, options, message):
    with pytest.raises(ValueError, match=message):
        proportion_interval(events, n, **options)
