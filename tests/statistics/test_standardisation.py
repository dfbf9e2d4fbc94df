"""Standardised rates: worked by hand, against statsmodels' weights-free case, by property, at the edges."""

import re

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from audit.statistics.expected import observed_expected
from audit.statistics.rates import rate_interval
from audit.statistics.standardisation import (
    METHODS,
    directly_standardised_rate,
    indirectly_standardised_rate,
)

stratum = st.tuples(st.integers(0, 40), st.floats(1, 500), st.floats(0, 10))
populations = st.lists(stratum, min_size=1, max_size=6)
methods = st.sampled_from(METHODS)


def columns(rows):
    events, exposure, standard = (np.array(column) for column in zip(*rows, strict=True))
    assume(standard.sum() > 0.01)
    return events, exposure, standard


def figures(estimate):
    return np.array([estimate.value, estimate.ci_lower, estimate.ci_upper], dtype=float)


def test_a_directly_standardised_rate_weights_the_strata_rates():
    # Rates 3/100 and 9/50; a standard of one part to three: (.03 + 3 x .18) / 4.
    found = directly_standardised_rate([3, 9], [100, 50], [10, 30])
    assert found.value == pytest.approx((0.03 + 3 * 0.18) / 4)
    assert found.method == "fay_feuer"


def test_the_variance_is_that_of_weighted_poisson_counts():
    found = directly_standardised_rate([3, 9], [100, 50], [10, 30], method="normal")
    variance = 3 * (0.25 / 100) ** 2 + 9 * (0.75 / 50) ** 2
    assert found.ci_upper - found.value == pytest.approx(1.959963984540054 * variance**0.5)


@given(populations, methods)
def test_limits_hold_the_rate_and_only_shares_of_the_standard_matter(rows, method):
    events, exposure, standard = columns(rows)
    found = directly_standardised_rate(events, exposure, standard, method=method)
    scaled = directly_standardised_rate(events, exposure, standard * 7, method=method)
    assert figures(scaled) == pytest.approx(figures(found), rel=1e-9, nan_ok=True)
    assert 0 <= found.ci_lower <= found.value * (1 + 1e-12)
    assert found.value <= found.ci_upper * (1 + 1e-12) or np.isnan(found.ci_upper)


@given(populations, methods)
def test_the_order_of_the_strata_changes_nothing(rows, method):
    events, exposure, standard = columns(rows)
    found = directly_standardised_rate(events, exposure, standard, method=method)
    turned = directly_standardised_rate(events[::-1], exposure[::-1], standard[::-1], method=method)
    assert figures(turned) == pytest.approx(figures(found), rel=1e-9, nan_ok=True)


@given(st.integers(1, 300), st.floats(0.5, 900))
def test_one_stratum_has_the_exact_limits_of_its_rate(events, exposure):
    exact = rate_interval(events, exposure)
    for method in ("fay_feuer", "dobson"):
        found = directly_standardised_rate([events], [exposure], [3.0], method=method)
        assert (found.ci_lower, found.ci_upper) == pytest.approx(exact, rel=1e-8)


@given(populations)
def test_a_standard_of_the_same_composition_gives_the_crude_rate(rows):
    events, exposure, _ = columns(rows)
    found = directly_standardised_rate(events, exposure, exposure)
    assert found.value == pytest.approx(events.sum() / exposure.sum(), abs=1e-12)
    exact = rate_interval(events.sum(), exposure.sum())
    assert (found.ci_lower, found.ci_upper) == pytest.approx(exact, rel=1e-8)


@pytest.mark.parametrize("method", METHODS)
def test_a_stratum_of_the_standard_without_exposure_leaves_the_rate_unknown(method):
    found = directly_standardised_rate([[0, 0], [1, 2]], [[10, 0], [10, 20]], [1, 1], method=method)
    assert np.isnan([found.value[0], found.ci_lower[0], found.ci_upper[0]]).all()
    assert found.value[1] == pytest.approx(0.1)
    # A stratum the standard does not hold may be empty, or have events that do not count.
    for rows in ([4, 0], [10, 0]), ([4, 90], [10, 20]):
        alone = directly_standardised_rate(*rows, [1, 0], method=method)
        assert figures(alone) == pytest.approx(
            figures(directly_standardised_rate([4], [10], [1], method=method))
        )


def test_no_event_has_an_upper_limit_by_the_gamma_method_only():
    found = directly_standardised_rate([0, 0], [10, 5], [1, 1])
    assert (found.value, found.ci_lower) == (0, 0)
    # One exponential unit in the stratum that weighs most: 1/2 / 5 times 3.689.
    assert found.ci_upper == pytest.approx(0.1 * 3.688879454113936)
    for method in ("dobson", "normal"):
        other = directly_standardised_rate([0, 0], [10, 5], [1, 1], method=method)
        assert (other.value, other.ci_lower) == (0, 0)
        assert np.isnan(other.ci_upper)


def test_the_gamma_limits_cover_at_least_what_they_say_over_20000_drawings():
    random = np.random.default_rng(30)
    exposure, standard, rates = np.array([50, 20, 8]), np.array([1, 1, 2]), np.array([0.05, 0.2, 0.4])
    drawn = random.poisson(rates * exposure, (20_000, 3))
    truth = (standard / standard.sum() * rates).sum()
    found = directly_standardised_rate(drawn, np.broadcast_to(exposure, drawn.shape), standard)
    covered = ((found.ci_lower <= truth) & (truth <= found.ci_upper)).mean()
    assert 0.95 <= covered <= 0.995


def test_an_indirectly_standardised_rate_is_the_ratio_times_the_references_rate():
    # Expected .02 x 100 + .06 x 50 = 5; 12 seen; reference 100 / 3000.
    found = indirectly_standardised_rate([3, 9], [100, 50], [40, 60], [2000, 1000])
    assert found.value == pytest.approx(12 / 5 / 30)
    ratio = observed_expected(12, 5.0)
    assert (found.ci_lower, found.ci_upper) == pytest.approx((ratio.ci_lower / 30, ratio.ci_upper / 30))


@given(populations)
def test_the_reference_itself_has_its_own_rate(rows):
    events, exposure, _ = columns(rows)
    assume(events.sum() > 0)
    found = indirectly_standardised_rate(events, exposure, events, exposure)
    assert found.value == pytest.approx(events.sum() / exposure.sum())


def test_several_populations_give_one_rate_each():
    found = indirectly_standardised_rate([[3, 9], [0, 0]], [[100, 50], [0, 10]], [40, 60], [2000, 1000])
    assert found.value.tolist() == pytest.approx([12 / 5 / 30, 0])
    direct = directly_standardised_rate([[3, 9], [0, 1]], [[100, 50], [4, 10]], [1, 1])
    assert direct.value.tolist() == pytest.approx([0.105, 0.05])


def test_a_rate_against_an_unknown_or_empty_reference_is_nan():
    unknown = indirectly_standardised_rate([1, 1], [10, 10], [4, 0], [20, 0])
    empty = indirectly_standardised_rate([1], [10], [0], [0])
    nothing_expected = indirectly_standardised_rate([1], [10], [0], [20])
    for found in (unknown, empty, nothing_expected):
        assert np.isnan(figures(found)).all()
    not_needed = indirectly_standardised_rate([1, 0], [10, 0], [4, 0], [20, 0])
    assert not_needed.value == pytest.approx(1 / 2 * 0.2)
    assert np.isnan(figures(indirectly_standardised_rate([], [], [], []))).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: directly_standardised_rate([1, 2], [5, 5], [1]),
            r"events must have one column per stratum of standard \(1\), got shape \(2,\)",
        ),
        (
            lambda: directly_standardised_rate([1, 2], [5, 5], [0, 0]),
            r"standard must hold something in some stratum, got \[0.0, 0.0\]",
        ),
        (lambda: directly_standardised_rate([], [], []), "standard must hold something in some stratum"),
        (
            lambda: directly_standardised_rate([1, 2], [5, 0], [1, 1]),
            "events must be 0 where exposure is 0, got 2",
        ),
        (
            lambda: directly_standardised_rate([1.5], [5], [1]),
            "events must be whole numbers of zero or more, got 1.5",
        ),
        (
            lambda: directly_standardised_rate([1], [5], [-1]),
            "standard must be finite and zero or more, got -1",
        ),
        (
            lambda: directly_standardised_rate([1], [5], [1], method="byar"),
            "method must be one of fay_feuer, dobson, normal, got 'byar'",
        ),
        (
            lambda: directly_standardised_rate([1], [5], [1], confidence=1),
            "confidence must lie between 0 and 1, got 1",
        ),
        (
            lambda: indirectly_standardised_rate([1], [5], [1, 2], [5]),
            "reference_events and reference_exposure must have one value per stratum",
        ),
        (
            lambda: indirectly_standardised_rate([1, 2], [5, 5], [1], [5]),
            r"denominators must have one column per rate \(1\)",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_events_need_exposure_and_a_single_unit_is_some():
    assert directly_standardised_rate([1, 1], [1, 2], [1, 1]).value == pytest.approx(0.75)
    for events in (1, 3):
        with pytest.raises(ValueError, match=f"^events must be 0 where exposure is 0, got {events}$"):
            directly_standardised_rate([1, events], [1, 0], [1, 1])
    message = "reference_events and reference_exposure must have one value per stratum, got (2,) and (1,)"
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        indirectly_standardised_rate([1, 3], [1, 2], [1, 2], [3])


@pytest.mark.parametrize("method", ["fay_feuer", "dobson", "normal"])
def test_each_population_is_standardised_by_itself(method):
    events, exposure, standard = [[3, 9], [14, 2]], [[100, 50], [80, 70]], [1, 2]
    together = directly_standardised_rate(events, exposure, standard, method=method)
    for place in range(2):
        alone = directly_standardised_rate(events[place], exposure[place], standard, method=method)
        assert [together.value[place], together.ci_lower[place], together.ci_upper[place]] == pytest.approx(
            [float(alone.value), float(alone.ci_lower), float(alone.ci_upper)]
        )
