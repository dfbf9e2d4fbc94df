"""Firth's regression against the penalised likelihood written out and maximised by scipy."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, special

from audit.statistics.firth import firth_regression
from audit.statistics.predicted import predicted_probabilities


def penalised(beta, design, outcomes):
    """Return the penalised log-likelihood of single rows, as Firth (1993) defines it."""
    p = special.expit(design @ beta)
    information = design.T @ np.diag(p * (1 - p)) @ design
    return float(np.sum(special.xlogy(outcomes, p) + special.xlogy(1 - outcomes, 1 - p))) + 0.5 * float(
        np.log(np.linalg.det(information))
    )


def highest(design, outcomes, fixed=None):
    """Return the maximum by a simplex, with one coefficient fixed at a value where asked."""
    free = [place for place in range(design.shape[1]) if fixed is None or place != fixed[0]]

    def fall(values):
        beta = np.zeros(design.shape[1])
        beta[free] = values
        if fixed is not None:
            beta[fixed[0]] = fixed[1]
        return -penalised(beta, design, outcomes)

    options = {"xatol": 1e-10, "fatol": 1e-13, "maxiter": 4000, "maxfev": 4000}
    found = optimize.minimize(fall, np.zeros(len(free)), method="Nelder-Mead", options=options)
    return -found.fun, found.x


@pytest.mark.parametrize("seed", range(4))
def test_estimates_limits_and_p_values_are_those_of_the_penalised_likelihood(seed):
    random = np.random.default_rng(seed)
    columns = pd.DataFrame({"a": random.integers(0, 2, 25).astype(float), "age": random.normal(3, 1, 25)})
    outcomes = (random.random(25) < 0.25 + 0.3 * columns["a"]).to_numpy().astype(float)
    design = np.column_stack([np.ones(25), columns])
    fit = firth_regression(columns, outcomes, confidence=0.9)
    best, beta = highest(design, outcomes)
    assert fit.log_likelihood == pytest.approx(best, rel=1e-9)
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx(beta, abs=2e-5)
    quantile = special.chdtri(1, 0.1)
    for place, row in fit.coefficients.iterrows():
        for limit in (np.log(row["ci_lower"]), np.log(row["ci_upper"])):
            assert 2 * (best - highest(design, outcomes, (place, limit))[0]) == pytest.approx(
                quantile, rel=1e-6
            )
        fall = 2 * (best - highest(design, outcomes, (place, 0.0))[0])
        assert row["p_value"] == pytest.approx(special.chdtrc(1, fall), rel=1e-5, abs=1e-9)


def test_the_overall_test_keeps_the_penalty_of_all_terms():
    columns = pd.DataFrame({"a": [0.0, 0, 1, 1, 2, 2, 2], "b": [0.0, 1, 0, 1, 1, 0, 0]})
    outcomes = np.array([0.0, 0, 1, 0, 1, 1, 0])
    design = np.column_stack([np.ones(7), columns])
    null = optimize.minimize_scalar(lambda b: -penalised(np.array([b, 0, 0]), design, outcomes), tol=1e-12)
    fit = firth_regression(columns, outcomes)
    assert fit.null_log_likelihood == pytest.approx(-null.fun, rel=1e-10)


@settings(max_examples=30)
@given(st.integers(0, 12), st.integers(0, 9), st.integers(1, 12), st.integers(1, 9))
def test_two_groups_have_the_log_odds_with_a_half_added(x_1, x_2, n_1, n_2):
    x_1, x_2 = min(x_1, n_1), min(x_2, n_2)
    fit = firth_regression(pd.DataFrame({"b": [0.0, 1.0]}), [x_1, x_2], [n_1, n_2])
    logs = [np.log((x + 0.5) / (n - x + 0.5)) for x, n in ((x_1, n_1), (x_2, n_2))]
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx([logs[0], logs[1] - logs[0]], abs=1e-8)
    errors = [(n + 1) ** 2 / n / (x + 0.5) / (n - x + 0.5) for x, n in ((x_1, n_1), (x_2, n_2))]
    assert fit.coefficients["standard_error"].to_numpy() == pytest.approx(np.sqrt([errors[0], sum(errors)]))


@settings(max_examples=12)
@given(seed=st.integers(0, 10**6))
def test_everything_is_finite_and_ordered_whatever_the_data(seed):
    random = np.random.default_rng(seed)
    columns = pd.DataFrame({"a": random.integers(0, 2, 8), "b": random.normal(size=8)}, dtype=float)
    n = random.integers(0, 4, 8) + (np.arange(8) == 0)
    events = random.binomial(n, random.choice([0.0, 0.1, 0.5, 1.0]))
    fit = firth_regression(columns, events, n)
    shown = fit.coefficients.dropna()
    assert (shown["ci_lower"] < shown["odds_ratio"]).all()
    assert (shown["odds_ratio"] < shown["ci_upper"]).all()
    assert np.isfinite(shown["ci_upper"]).all()
    assert shown["p_value"].between(0, 1).all()
    assert len(shown) == 3 or "Not estimated" in fit.caution
    assert predicted_probabilities(fit, columns) @ n == pytest.approx(events.sum())


def test_nothing_but_events_and_many_terms_converge():
    # With one outcome only the steps shrink slowly; and a column far from 0 has an intercept far outside the data.
    random = np.random.default_rng(3)
    columns = pd.DataFrame({"a": random.normal(2000, 1e-3, 6), "b": random.normal(0, 1e4, 6), "c": range(6)})
    fit = firth_regression(columns.astype(float), [400, 300, 900, 20, 1, 70], [400, 300, 900, 20, 1, 70])
    assert fit.caution == ""
    assert np.isfinite(fit.coefficients["coefficient"]).all()
    assert fit.coefficients["p_value"].between(0, 1).all()
    assert (fit.coefficients["ci_lower"] < fit.coefficients["ci_upper"]).all()


def test_a_limit_and_a_p_value_agree():
    columns = pd.DataFrame({"b": [0.0, 1.0]})
    fit = firth_regression(columns, [2, 8], [20, 20])
    p_value = float(fit.coefficients["p_value"][1])
    at_p = firth_regression(columns, [2, 8], [20, 20], confidence=1 - p_value)
    assert at_p.coefficients["ci_lower"][1] == pytest.approx(1.0, rel=1e-7)


def test_confidence_is_checked_and_named():
    columns = pd.DataFrame({"b": [0.0, 1.0]})
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, got 0"):
        firth_regression(columns, [1, 2], [5, 5], confidence=0)
    fit = firth_regression(columns, [1, 2], [5, 5], confidence=0.9)
    assert fit.method == (
        "Firth's penalised logistic regression, profile 90% limits, penalised likelihood-ratio p-values"
    )
