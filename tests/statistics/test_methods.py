"""Every result says by which method it was reached, where a figure exists and where none does."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from audit.statistics.beta_binomial import beta_binomial
from audit.statistics.cox import cox_regression
from audit.statistics.curve_comparison import log_rank, peto_peto
from audit.statistics.expected import observed_expected, observed_expected_test
from audit.statistics.firth import firth_regression
from audit.statistics.gray_test import gray_test
from audit.statistics.logistic import logistic_regression
from audit.statistics.odds import fisher_exact, odds_ratio
from audit.statistics.rates import rate_ratio, rate_ratio_test
from audit.statistics.standardisation import directly_standardised_rate, indirectly_standardised_rate
from audit.statistics.stratified import (
    mantel_haenszel_odds_ratio,
    mantel_haenszel_risk_difference,
    mantel_haenszel_risk_ratio,
)
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios
from audit.statistics.two_groups import difference_interval, risk_ratio

FOUR = (2, 9, 1, 8)
STRATA: list[list[int]] = [[2, 3], [9, 9], [1, 4], [8, 8]]
NOBODY: list[list[int]] = [[], [], [], []]
COLUMNS = pd.DataFrame({"x": [0.0, 0, 0, 0, 1, 1, 1, 1]})
TWO_COLUMNS = COLUMNS.assign(z=[0.0, 1, 2, 3, 0, 1, 2, 4])
OUTCOMES = [0, 1, 0, 1, 1, 1, 0, 1]
SPELLS = ([1, 2, 3, 4], [1, 1, 0, 1], ["a", "b", "a", "b"])


def same(function: Callable[..., Any], *arguments: Any, methods: tuple[str, ...]) -> list[Any]:
    """The cases of a function that gives back the word of the method it was asked for."""
    return [
        pytest.param(
            lambda m=method: function(*arguments, method=m), method, id=f"{function.__name__}-{method}"
        )
        for method in methods
    ]


CASES = [
    *same(rate_ratio, 3, 9.0, 1, 8.0, methods=("exact", "mid_p")),
    *same(rate_ratio_test, 3, 9.0, 1, 8.0, methods=("minimum_likelihood", "doubled", "mid_p")),
    *same(rate_ratio_test, 0, 0.0, 0, 8.0, methods=("minimum_likelihood", "doubled", "mid_p")),
    *same(fisher_exact, *FOUR, methods=("minimum_likelihood", "doubled", "mid_p")),
    *same(odds_ratio, *FOUR, methods=("exact", "mid_p", "woolf")),
    *same(risk_ratio, *FOUR, methods=("koopman", "miettinen_nurminen", "katz")),
    *same(observed_expected, 3, 2.0, methods=("garwood", "mid_p", "byar")),
    *same(observed_expected_test, 3, 2.0, methods=("minimum_likelihood", "doubled", "mid_p")),
    *same(directly_standardised_rate, [3], [9.0], [1], methods=("fay_feuer", "dobson", "normal")),
    *same(indirectly_standardised_rate, [3], [9.0], [1], [8.0], methods=("garwood", "mid_p", "byar")),
    *(
        (lambda four=four, m=m: cochran_mantel_haenszel(*four, method=m), f"cochran_mantel_haenszel_{m}")
        for four in (STRATA, NOBODY)
        for m in ("uncorrected", "continuity_corrected")
    ),
    *same(homogeneity_of_odds_ratios, *STRATA, methods=("tarone", "breslow_day")),
    *same(homogeneity_of_odds_ratios, *NOBODY, methods=("tarone", "breslow_day")),
    *same(beta_binomial, [1, 5, 0], [9, 9, 9], methods=("maximum_likelihood", "moments")),
    *same(beta_binomial, [], [], methods=("maximum_likelihood", "moments")),
    (lambda: difference_interval(*FOUR), "newcombe"),
    *(
        (lambda four=four: mantel_haenszel_odds_ratio(*four), "mantel_haenszel_robins_breslow_greenland")
        for four in (STRATA, NOBODY)
    ),
    *(
        (lambda four=four: mantel_haenszel_risk_ratio(*four), "mantel_haenszel_greenland_robins")
        for four in (STRATA, NOBODY)
    ),
    *(
        (lambda four=four: mantel_haenszel_risk_difference(*four), "mantel_haenszel_sato")
        for four in (STRATA, NOBODY)
    ),
    *((lambda spells=spells: log_rank(*spells), "log_rank") for spells in (SPELLS, ([], [], []))),
    *((lambda spells=spells: peto_peto(*spells), "peto_peto") for spells in (SPELLS, ([], [], []))),
    *((lambda spells=spells: gray_test(*spells, cause=1), "gray") for spells in (SPELLS, ([], [], []))),
    (
        lambda: cox_regression(COLUMNS, range(1, 9), OUTCOMES),
        "Cox proportional hazards, Efron ties, Wald 95% limits",
    ),
    (
        lambda: cox_regression(COLUMNS, range(1, 9), OUTCOMES, ties="breslow", confidence=0.9),
        "Cox proportional hazards, Breslow ties, Wald 90% limits",
    ),
    *(
        (lambda columns=columns: cox_regression(columns, range(1, 9), OUTCOMES).score, "score")
        for columns in (COLUMNS, COLUMNS[[]])
    ),
    *(
        (
            lambda columns=columns: cox_regression(columns, range(1, 9), OUTCOMES).likelihood_ratio,
            "likelihood ratio",
        )
        for columns in (COLUMNS, COLUMNS[[]])
    ),
    (
        lambda: logistic_regression(COLUMNS, OUTCOMES, method="maximum_likelihood", confidence=0.9),
        "logistic regression, maximum likelihood, Wald 90% limits",
    ),
    (
        lambda: firth_regression(COLUMNS, OUTCOMES, confidence=0.9),
        "Firth's penalised logistic regression, profile 90% limits, penalised likelihood-ratio p-values",
    ),
]


@pytest.mark.parametrize(("call", "method"), CASES)
def test_a_result_says_its_method(call: Callable[[], Any], method: str) -> None:
    assert call().method == method


def test_a_model_without_terms_has_a_test_of_nothing() -> None:
    fit = cox_regression(COLUMNS[[]], range(1, 9), OUTCOMES)
    for test in (fit.score, fit.likelihood_ratio):
        assert np.isnan([test.statistic, test.p_value]).all()
        assert test.degrees_of_freedom == 0
    assert len(fit.coefficients) == 0


@pytest.mark.parametrize(
    ("made", "degrees"),
    [
        (lambda: cochran_mantel_haenszel(*STRATA), 1),
        (lambda: homogeneity_of_odds_ratios(*STRATA), 1),
        (lambda: cox_regression(COLUMNS, range(1, 9), OUTCOMES).score, 1),
        (lambda: log_rank(*SPELLS), 1),
        (lambda: gray_test(*SPELLS, cause=1), 1),
    ],
    ids=["pooled", "alike", "score", "log-rank", "gray"],
)
def test_a_test_of_two_groups_has_one_degree_of_freedom(made: Callable[[], Any], degrees: int) -> None:
    test = made()
    statistic = test.chi_square if hasattr(test, "chi_square") else test.statistic
    assert test.degrees_of_freedom == degrees
    assert test.p_value == pytest.approx(stats.chi2.sf(statistic, degrees))


@pytest.mark.parametrize(
    "fitted",
    [
        lambda: cox_regression(TWO_COLUMNS, [3, 1, 4, 1, 5, 9, 2, 6], [1] * 8),
        lambda: logistic_regression(TWO_COLUMNS, OUTCOMES, method="maximum_likelihood"),
        lambda: firth_regression(TWO_COLUMNS, OUTCOMES),
    ],
    ids=["cox", "logistic", "penalised"],
)
def test_the_standard_errors_are_the_roots_of_the_covariance_and_tests_name_themselves(
    fitted: Callable[[], Any],
) -> None:
    fit = fitted()
    assert np.isfinite(fit.covariance.to_numpy()).all()
    assert fit.coefficients["standard_error"].to_numpy() == pytest.approx(np.sqrt(np.diag(fit.covariance)))
    assert (
        fit.covariance.columns.tolist() == fit.covariance.index.tolist() == fit.coefficients["term"].tolist()
    )
    assert fit.likelihood_ratio.degrees_of_freedom == 2
    assert fit.likelihood_ratio.method.endswith("likelihood ratio")
