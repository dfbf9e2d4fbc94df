"""Multiplicity and shrinkage over many units, against printed and computed examples."""

import numpy as np
import pytest

from audit.statistics.beta_binomial import beta_binomial
from audit.statistics.multiplicity import adjusted_p_values
from audit.statistics.shrinkage import posterior_tail, shrunken_proportions, shrunken_tail

# Benjamini Y, Hochberg Y. J R Stat Soc B 1995;57:289-300: fifteen p-values of a trial of thrombolysis, quoted by
# public test files. The paper rejects exactly the four smallest at .05; Bonferroni's procedure three.
P_VALUES = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240]
P_VALUES += [0.4262, 0.5719, 0.6528, 0.7590, 1.0000]
# Computed with R's p.adjust.
ADJUSTED = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571428571, 0.0638571428571, 0.0645, 0.0765, 0.486]
ADJUSTED += [0.581181818, 0.714875, 0.753230769, 0.813214286, 1.0]


def test_four_of_fifteen_hypotheses_are_rejected_as_in_benjamini_and_hochberg_1995():
    found = adjusted_p_values(P_VALUES)
    assert found["adjusted_p_value"].tolist() == pytest.approx(ADJUSTED, rel=1e-8)
    assert found["rejected"].tolist() == [True] * 4 + [False] * 11
    assert adjusted_p_values(P_VALUES, level=0.1)["rejected"].sum() == 9
    assert adjusted_p_values(P_VALUES, method="bonferroni")["rejected"].sum() == 3
    assert adjusted_p_values(P_VALUES, method="holm")["rejected"].sum() == 3


# Twelve invented units; every value computed in R 4.2.2 by maximising the likelihood with optim. No printed
# source.
EVENTS = [2, 9, 4, 1, 15, 3, 0, 7, 6, 5, 22, 1]
OBSERVATIONS = [60, 80, 120, 25, 110, 95, 18, 70, 150, 40, 140, 12]
SHRUNKEN = [0.0526504848, 0.1004450161, 0.0456016412, 0.0647891584, 0.1197850614, 0.0466060361]
SHRUNKEN += [0.0560354962, 0.0917448065, 0.0488519442, 0.1006558537, 0.1382553771, 0.0797153511]
ABOVE_A_TENTH = [0.0302132013, 0.4748188675, 0.0036921227, 0.120572972, 0.7680417279, 0.0074852951]
ABOVE_A_TENTH += [0.0802439924, 0.3500225067, 0.0034164748, 0.4694379078, 0.9443420217, 0.2551134777]


def test_the_beta_binomial_fit_of_twelve_units_is_rs():
    fit = beta_binomial(EVENTS, OBSERVATIONS)
    assert fit.prior_events == pytest.approx(3.49819845, rel=1e-5)
    assert fit.prior_observations - fit.prior_events == pytest.approx(40.93006026, rel=1e-5)
    assert fit.mean == pytest.approx(0.0787381399674, rel=1e-5)
    assert fit.intraclass_correlation == pytest.approx(0.0220127301, rel=1e-5)
    assert fit.log_likelihood == pytest.approx(-29.3488564617, rel=1e-10)


def test_the_shrunken_proportions_and_tails_of_twelve_units_are_rs():
    fit = beta_binomial(EVENTS, OBSERVATIONS)
    table = shrunken_proportions(EVENTS, OBSERVATIONS, fit)
    assert table["shrunken_proportion"].tolist() == pytest.approx(SHRUNKEN, rel=1e-5)
    tail = shrunken_tail(EVENTS, OBSERVATIONS, fit, threshold=0.1)
    assert tail.tolist() == pytest.approx(ABOVE_A_TENTH, rel=1e-5)


def test_kleinmans_moments_of_twelve_units_are_rs():
    # Kleinman JC. J Am Stat Assoc 1973;68:46-54, with the numbers of observations as weights.
    fit = beta_binomial(EVENTS, OBSERVATIONS, method="moments")
    assert fit.mean == pytest.approx(0.0815217391304, rel=1e-10)
    assert fit.intraclass_correlation == pytest.approx(0.0258718445527, rel=1e-8)
    assert fit.prior_observations == pytest.approx(37.6520566, rel=1e-8)
    assert np.isnan(fit.log_likelihood)


def test_posterior_tails_of_3_in_40_are_those_of_the_beta_distribution():
    # Computed with R's pbeta.
    uniform = {"prior_events": 1, "prior_observations": 2}
    assert posterior_tail(3, 40, threshold=0.05) == pytest.approx(0.782831383517, rel=1e-10)
    assert posterior_tail(3, 40, threshold=0.05, **uniform) == pytest.approx(0.852594501311, rel=1e-10)
    assert posterior_tail(3, 40, threshold=0.10, **uniform) == pytest.approx(0.403098400218, rel=1e-10)
