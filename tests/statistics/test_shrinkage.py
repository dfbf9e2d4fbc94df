"""The beta-binomial model and what it makes of single units: against scipy, by property, at the edges."""

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from audit.statistics.beta_binomial import NO_SPREAD, NOTHING, TOO_MUCH_SPREAD, beta_binomial
from audit.statistics.shrinkage import posterior_tail, shrunken_proportions, shrunken_tail

unit = st.integers(0, 60).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
units = st.lists(unit, min_size=1, max_size=12)


def drawn(random, size, a, b, most=150):
    n = random.integers(5, most, size)
    return random.binomial(n, random.beta(a, b, size)), n


def minus_log_likelihood(logs, x, n):
    with np.errstate(over="ignore", under="ignore"):
        a, b = np.exp(logs)
    return -stats.betabinom.logpmf(x, n, a, b).sum()


def test_60_random_sets_reach_the_maximum_that_a_general_search_finds():
    random = np.random.default_rng(50)
    with_spread = 0
    for _ in range(60):
        x, n = drawn(random, random.integers(4, 30), random.uniform(0.5, 6), random.uniform(2, 40))
        fit = beta_binomial(x, n)
        if fit.caution == NO_SPREAD:
            # The plain binomial likelihood is then at least what any beta-binomial reaches.
            pooled = stats.binom.logpmf(x, n, fit.mean).sum()
            assert fit.log_likelihood == pytest.approx(pooled, rel=1e-9)
        with np.errstate(all="ignore"):
            best = optimize.minimize(minus_log_likelihood, [0.5, 2.5], args=(x, n), method="Nelder-Mead")
        # scipy's log probabilities are rounded to a few 1e-6 where both parameters are in the millions.
        assert fit.log_likelihood >= -best.fun - 1e-5
        if np.isfinite(fit.prior_observations):
            with_spread += 1
            a, b = fit.prior_events, fit.prior_observations - fit.prior_events
            assert fit.log_likelihood == pytest.approx(stats.betabinom.logpmf(x, n, a, b).sum(), rel=1e-9)
    assert with_spread > 40


def test_one_large_unit_does_not_hide_that_the_small_ones_differ():
    # From no spread on the likelihood falls first and peaks further on, at -8.6248.
    x, n = [0, 100, 1], [90, 1632, 17]
    fit = beta_binomial(x, n)
    best = optimize.minimize(minus_log_likelihood, [0.0, 2.0], args=(x, n), method="Nelder-Mead")
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-7)
    assert fit.log_likelihood > stats.binom.logpmf(x, n, 101 / 1739).sum() + 1
    assert 0 < fit.intraclass_correlation < 1


def test_the_score_vanishes_at_the_maximum():
    random = np.random.default_rng(51)
    for _ in range(20):
        x, n = drawn(random, 15, 2, 12)
        fit = beta_binomial(x, n)
        assume_spread = np.isfinite(fit.prior_observations)
        if assume_spread:
            at = np.log([fit.prior_events, fit.prior_observations - fit.prior_events])
            slope = optimize.approx_fprime(at, minus_log_likelihood, 1e-6, x, n)
            assert np.abs(slope).max() < 1e-3


def test_many_units_recover_the_distribution_they_were_drawn_from():
    random = np.random.default_rng(52)
    x, n = drawn(random, 4000, 3, 37)
    for method in ("maximum_likelihood", "moments"):
        fit = beta_binomial(x, n, method=method)
        assert fit.mean == pytest.approx(3 / 40, rel=0.03)
        assert fit.prior_observations == pytest.approx(40, rel=0.15)
        assert fit.caution == ""


@settings(max_examples=25)
@given(units)
def test_a_shrunken_proportion_lies_between_its_own_and_the_mean(pairs):
    x, n = np.array(pairs).T
    assume(n.sum() > 0)
    fit = beta_binomial(x, n)
    table = shrunken_proportions(x, n, fit)
    own = table["proportion"].fillna(fit.mean)
    lower, upper = np.minimum(own, fit.mean), np.maximum(own, fit.mean)
    assert table["shrunken_proportion"].between(lower - 1e-12, upper + 1e-12).all()
    assert table["weight"].between(0, 1).all()
    assert (table["ci_lower"] < table["ci_upper"]).all()
    wider = shrunken_proportions(x, n, fit, confidence=0.99)
    assert (wider["ci_lower"] <= table["ci_lower"]).all()
    assert (wider["ci_upper"] >= table["ci_upper"]).all()


@settings(max_examples=25)
@given(units)
def test_exchanging_events_and_non_events_mirrors_everything(pairs):
    x, n = np.array(pairs).T
    fit, mirrored = beta_binomial(x, n), beta_binomial(n - x, n)
    assert mirrored.mean == pytest.approx(1 - fit.mean, rel=1e-6, abs=1e-9, nan_ok=True)
    assert mirrored.intraclass_correlation == pytest.approx(fit.intraclass_correlation, abs=1e-6, nan_ok=True)


@settings(max_examples=25)
@given(units, st.floats(0.01, 0.99))
def test_the_tail_agrees_with_the_limits(pairs, threshold):
    x, n = np.array(pairs).T
    assume(n.sum() > 0)
    fit = beta_binomial(x, n)
    tail = shrunken_tail(x, n, fit, threshold=threshold)
    table = shrunken_proportions(x, n, fit)
    decided = np.abs(tail - 0.975) > 1e-6
    assert ((tail > 0.975) == (table["ci_lower"].to_numpy() > threshold))[decided].all()


def test_units_that_do_not_differ_are_each_given_the_proportion_of_all():
    for x, n in [([1, 2], [10, 20]), ([0, 0], [5, 9]), ([4, 4], [4, 4]), ([3], [5]), ([0, 1, 0], [1, 1, 1])]:
        for method in ("maximum_likelihood", "moments"):
            fit = beta_binomial(x, n, method=method)
            assert (fit.intraclass_correlation, fit.caution) == (0, NO_SPREAD)
            table = shrunken_proportions(x, n, fit)
            assert table["shrunken_proportion"].tolist() == pytest.approx([sum(x) / sum(n)] * len(x))
            assert table["weight"].eq(0).all()
            # The limits are Jeffreys's for the proportion of all.
            expected = stats.beta(sum(x) + 0.5, sum(n) - sum(x) + 0.5)
            assert table["ci_upper"].tolist() == pytest.approx([expected.ppf(0.975)] * len(x))
            tail = shrunken_tail(x, n, fit, threshold=0.2)
            assert tail.tolist() == pytest.approx([expected.sf(0.2)] * len(x))


def test_units_that_have_the_event_always_or_never_keep_their_own_proportion():
    fit = beta_binomial([0, 5, 6], [5, 5, 6])
    assert (fit.mean, fit.intraclass_correlation, fit.prior_observations) == (pytest.approx(2 / 3), 1, 0)
    assert fit.caution == TOO_MUCH_SPREAD
    assert fit.log_likelihood == pytest.approx(np.log(1 / 3) + 2 * np.log(2 / 3))
    table = shrunken_proportions([0, 5, 0], [5, 5, 0], fit)
    assert table["shrunken_proportion"].tolist() == pytest.approx([0, 1, 2 / 3])
    # The limits are Jeffreys's for the unit alone.
    for place, (x, n) in enumerate([(0, 5), (5, 5), (0, 0)]):
        alone = stats.beta(x + 0.5, n - x + 0.5)
        limits = table.loc[place, ["ci_lower", "ci_upper"]].tolist()
        assert limits == pytest.approx(alone.ppf([0.025, 0.975]).tolist())
    by_moments = beta_binomial([1, 3], [1000, 4], method="moments")
    assert 0 <= by_moments.prior_observations < np.inf


def test_a_unit_without_observations_is_given_the_mean_and_left_out_of_the_fit():
    x, n = [2, 9, 4, 22], [60, 80, 120, 140]
    fit, padded = beta_binomial(x, n), beta_binomial([*x, 0], [*n, 0])
    assert padded == fit
    assert "Only 4 units" in fit.caution
    last = shrunken_proportions([*x, 0], [*n, 0], fit).iloc[-1]
    assert np.isnan(last["proportion"])
    assert (last["shrunken_proportion"], last["weight"]) == (pytest.approx(fit.mean), 0)


def test_a_unit_of_one_observation_is_weighed_like_any_other():
    fit = beta_binomial([2, 9, 4, 22], [60, 80, 120, 140])
    table = shrunken_proportions([1, 0], [1, 1], fit)
    a, size = fit.prior_events, fit.prior_observations
    assert table["shrunken_proportion"].tolist() == pytest.approx([(a + 1) / (size + 1), a / (size + 1)])
    assert table["weight"].tolist() == pytest.approx([1 / (size + 1)] * 2)
    posterior = stats.beta(a + 1, size - a)
    assert table["ci_lower"][0] == pytest.approx(posterior.ppf(0.025))
    assert table["ci_upper"][0] == pytest.approx(posterior.ppf(0.975))


def test_nothing_observed_gives_nan_and_says_so():
    for x, n in [([], []), ([0, 0], [0, 0])]:
        fit = beta_binomial(x, n)
        assert (fit.caution, fit.n_units) == (NOTHING, 0)
        assert np.isnan(fit.mean)
        table = shrunken_proportions(x, n, fit)
        assert len(table) == len(x)
        assert table["shrunken_proportion"].isna().all()
        assert np.isnan(shrunken_tail(x, n, fit, threshold=0.5)).all()


def test_a_plain_posterior_tail_is_scipys():
    random = np.random.default_rng(53)
    n = random.integers(0, 300, 500)
    x = random.binomial(n, 0.2)
    threshold = random.uniform(0, 1, 500)
    found = posterior_tail(x, n, threshold=threshold, prior_events=2, prior_observations=9)
    np.testing.assert_allclose(found, stats.beta.sf(threshold, 2 + x, 7 + n - x), rtol=1e-9, atol=1e-300)
    assert isinstance(posterior_tail(1, 5, threshold=0.1), float)
    assert posterior_tail([], [], threshold=0.1).shape == (0,)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: beta_binomial([6], [5]), "events must not exceed n, got 6 of 5"),
        (lambda: beta_binomial([[1]], [[5]]), "events and n must have one value per unit"),
        (
            lambda: beta_binomial([1], [5], method="bayes"),
            "method must be one of maximum_likelihood, moments, got 'bayes'",
        ),
        (
            lambda: shrunken_proportions([1], [5], beta_binomial([1], [5]), confidence=95),
            "confidence must lie between 0 and 1, got 95",
        ),
        (
            lambda: shrunken_tail([1], [5], beta_binomial([1], [5]), threshold=1.5),
            "threshold must lie from 0 to 1, got 1.5",
        ),
        (
            lambda: posterior_tail(1, 5, threshold=0.1, prior_events=2),
            r"prior_events must lie between 0 and prior_observations \(1.0\), got 2",
        ),
        (
            lambda: posterior_tail(1, 5, threshold=0.1, prior_events=0),
            r"prior_events must lie between 0 and prior_observations \(1.0\), got 0",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_the_prior_of_a_tail_holds_some_events_and_some_non_events():
    for events, observations, given_words in (
        (0, 1, "(1.0), got 0.0"),
        (1, 1, "(1.0), got 1.0"),
        (2, 1, "(1.0), got 2.0"),
    ):
        message = f"prior_events must lie between 0 and prior_observations {given_words}"
        with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
            posterior_tail(1, 4, threshold=0.1, prior_events=events, prior_observations=observations)
    with pytest.raises(ValueError, match="prior_events must lie between 0 and prior_observations"):
        posterior_tail(1, 4, threshold=0.1, prior_observations=np.inf)
    # 3 events and 7 others on a prior of 1 and 2: a beta distribution of 4 and 9.
    found = posterior_tail(3, 10, threshold=0.25, prior_events=1, prior_observations=3)
    assert found == pytest.approx(stats.beta.sf(0.25, 4, 9))
    # Jeffreys' prior is the usual one.
    assert posterior_tail(3, 10, threshold=0.25) == pytest.approx(stats.beta.sf(0.25, 3.5, 7.5))


def test_a_unit_as_large_as_the_prior_weighs_half_and_the_columns_have_their_names():
    model = replace(
        beta_binomial([1, 9, 4], [20, 30, 25]), mean=0.2, prior_events=2.0, prior_observations=10.0
    )
    found = shrunken_proportions([5, 0], [10, 0], model)
    assert list(found.columns) == [
        *("events", "n", "proportion", "shrunken_proportion", "ci_lower", "ci_upper", "weight")
    ]
    assert found["weight"].tolist() == [0.5, 0]
    assert found["shrunken_proportion"].tolist() == pytest.approx([0.35, 0.2])
    assert found[["events", "n"]].to_numpy().tolist() == [[5, 10], [0, 0]]
    # A prior of nothing leaves a unit without observations without weight.
    alone = shrunken_proportions([5, 0], [10, 0], replace(model, prior_events=0.0, prior_observations=0.0))
    assert alone["weight"].tolist() == [1, 0]
