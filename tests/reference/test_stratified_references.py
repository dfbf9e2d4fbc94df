"""Two groups pooled over strata, against printed worked examples."""

import numpy as np
import pytest

from audit.statistics.stratified import (
    mantel_haenszel_odds_ratio,
    mantel_haenszel_risk_difference,
    mantel_haenszel_risk_ratio,
)
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios

# Rothman KJ, Greenland S, Lash TL. Modern Epidemiology, 3rd ed, 2008, table 15-1: deaths under tolbutamide and
# placebo below and from 55 years. Estimates and 90% limits as printed by the tests of R's metafor package,
# which compare them with the chapter.
TOLBUTAMIDE = ([8, 22], [106, 98], [5, 16], [120, 85])
# The same book, table 15-5: infants with Down syndrome and spermicide use, below and from 35 years.
SPERMICIDE = ([3, 1], [12, 4], [104, 5], [1163, 91])


def rounded(estimate, digits=4):
    return [round(x, digits) for x in (estimate.value, estimate.ci_lower, estimate.ci_upper)]


def test_the_pooled_estimates_of_modern_epidemiology_are_reproduced():
    # The chapter prints .088 for the difference's upper limit.
    assert rounded(mantel_haenszel_risk_difference(*TOLBUTAMIDE, confidence=0.9)) == [0.0349, -0.0176, 0.0874]
    assert rounded(mantel_haenszel_risk_ratio(*TOLBUTAMIDE, confidence=0.9)) == [1.3256, 0.8658, 2.0296]
    assert rounded(mantel_haenszel_odds_ratio(*TOLBUTAMIDE, confidence=0.9)) == [1.4031, 0.8411, 2.3409]


def test_the_tests_of_modern_epidemiology_are_reproduced():
    found = cochran_mantel_haenszel(*TOLBUTAMIDE)
    assert (round(found.statistic, 4), round(found.p_value, 4)) == (1.1914, 0.2750)
    homogeneity = homogeneity_of_odds_ratios(*TOLBUTAMIDE)
    assert (round(homogeneity.statistic, 4), round(homogeneity.p_value, 4)) == (0.3489, 0.5547)


def test_a_pooled_odds_ratio_of_sparse_strata_is_reproduced():
    found = mantel_haenszel_odds_ratio(*SPERMICIDE, confidence=0.9)
    logs = [round(float(np.log(x)), 4) for x in (found.value, found.ci_lower, found.ci_upper)]
    assert logs == [1.3300, 0.3579, 2.3021]


# Admissions of men and women to six departments at Berkeley (Bickel 1975), the example of R's mantelhaen.test:
# X-squared 1.4269, p .2323, common odds ratio .9046968 (.7719074 to 1.0603298), from memory and reproduced.
# Without correction 1.5246, p .2169, likewise.
ADMITTED = ([512, 353, 120, 138, 53, 22], [825, 560, 325, 417, 191, 373])
ADMITTED_WOMEN = ([89, 17, 202, 131, 94, 24], [108, 25, 593, 375, 393, 341])


def test_the_berkeley_admissions_have_the_figures_of_rs_mantelhaen_test():
    counts = (*ADMITTED, *ADMITTED_WOMEN)
    assert rounded(mantel_haenszel_odds_ratio(*counts), 7) == [0.9046968, 0.7719074, 1.0603298]
    corrected = cochran_mantel_haenszel(*counts, method="continuity_corrected")
    assert (round(corrected.statistic, 4), round(corrected.p_value, 4)) == (1.4269, 0.2323)
    plain = cochran_mantel_haenszel(*counts)
    assert (round(plain.statistic, 4), round(plain.p_value, 4)) == (1.5246, 0.2169)


def test_the_berkeley_departments_differ_in_their_odds_ratios():
    # R's own example rejects homogeneity with p = .003 by Woolf's test; Breslow and Day's agrees in substance.
    found = homogeneity_of_odds_ratios(*ADMITTED, *ADMITTED_WOMEN, method="breslow_day")
    assert found.degrees_of_freedom == 5
    assert found.p_value == pytest.approx(0.002, abs=0.001)
