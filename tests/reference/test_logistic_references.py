"""Logistic regression, Firth's and robust errors against textbooks and R.

Data, copied from public sources: ``birthwt.csv`` from R's package MASS (Hosmer and Lemeshow 1989, appendix 1);
``cuse.csv`` from G. Rodriguez, Princeton, lecture notes on generalised linear models (Fiji Fertility Survey 1975);
``sex2.csv`` from R's package logistf (Foxman et al. 1997, as in Heinze and Schemper 2002). Values to full
precision were computed in R 4.2.2 (glm; brglm2 0.9; sandwich written out) unless a printed source is named.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from audit.statistics.discrimination import c_statistic
from audit.statistics.firth import firth_regression
from audit.statistics.logistic import logistic_regression
from audit.statistics.model_matrix import coding_of, model_matrix
from audit.statistics.robust import with_robust_errors

DATA = Path(__file__).parent / "data"
EXACT = {"rel": 1e-8}

BIRTHWT = pd.read_csv(DATA / "birthwt.csv")
CUSE = pd.read_csv(DATA / "cuse.csv")
SEX2 = pd.read_csv(DATA / "sex2.csv")


def coded(table, categorical, numeric=()):
    return model_matrix(table, coding_of(table, categorical=categorical, numeric=numeric))


def by_term(fit, column):
    return dict(zip(fit.coefficients["term"], fit.coefficients[column], strict=True))


def hosmer_lemeshow():
    columns = coded(BIRTHWT, {"race": "1"}, ["age", "lwt", "ftv"])
    return logistic_regression(columns, BIRTHWT["low"])


# Hosmer DW, Lemeshow S. Applied Logistic Regression, 2nd ed., table 2.2, as worked through by the statistical
# consulting group of the University of California, Los Angeles (chapter 2): coefficient, standard error, printed.
TABLE_2_2 = [
    ("intercept", 1.29536574878, 1.2953, 1.0714, 1e-4),
    ("age", -0.0238229738, -0.0238, 0.0337, 5e-5),
    ("lwt", -0.0142446112, -0.0142, 0.00654, 5e-5),
    ("race: 2", 1.0038978235, 1.0039, 0.4979, 5e-5),
    ("race: 3", 0.4331084281, 0.4331, 0.3622, 5e-5),
    ("ftv", -0.0493083177, -0.0493, 0.1672, 5e-5),
]


@pytest.mark.parametrize(("term", "full", "printed", "error", "digit"), TABLE_2_2)
def test_hosmer_and_lemeshows_table_2_2_is_reproduced(term, full, printed, error, digit):
    fit = hosmer_lemeshow()
    assert by_term(fit, "coefficient")[term] == pytest.approx(full, **EXACT)
    assert by_term(fit, "coefficient")[term] == pytest.approx(printed, abs=digit)
    assert by_term(fit, "standard_error")[term] == pytest.approx(error, abs=6e-5)


def test_hosmer_and_lemeshows_likelihoods_are_reproduced():
    fit = hosmer_lemeshow()
    assert fit.log_likelihood == pytest.approx(-111.286453203, **EXACT)
    assert -2 * fit.log_likelihood == pytest.approx(222.573, abs=5e-4)
    assert fit.likelihood_ratio.statistic == pytest.approx(12.0991, abs=5e-5)
    assert fit.likelihood_ratio.degrees_of_freedom == 5
    assert (fit.estimator, fit.caution) == ("maximum_likelihood", "")


def rodriguez(numeric=()):
    columns = coded(CUSE, {"age": "1"}, numeric)
    return logistic_regression(columns, CUSE["u"], CUSE["u"] + CUSE["n"])


# Rodriguez G, Princeton, lecture notes on generalised linear models, chapter 3, age alone and with wanting no more.
AGE_ALONE = [("intercept", -1.5072, 0.1303), ("age: 2", 0.4607, 0.1727), ("age: 3", 1.0483, 0.1544)]
AGE_AND_WISH = [
    ("intercept", -1.6939, 0.1352, -1.6939334306),
    ("age: 2", 0.3678, 0.1754, 0.3678306496),
    ("age: 3", 0.8078, 0.1598, 0.8077887904),
    ("age: 4", 1.0226, 0.2039, 1.0226184595),
    ("nomore", 0.8241, 0.1171, 0.8240920197),
]


@pytest.mark.parametrize(("term", "coefficient", "error"), [*AGE_ALONE, ("age: 4", 1.4246, 0.1940)])
def test_rodriguezs_model_of_age_is_reproduced(term, coefficient, error):
    fit = rodriguez()
    assert round(by_term(fit, "coefficient")[term], 4) == coefficient
    assert round(by_term(fit, "standard_error")[term], 4) == error


@pytest.mark.parametrize(("term", "coefficient", "error", "full"), AGE_AND_WISH)
def test_rodriguezs_additive_model_is_reproduced(term, coefficient, error, full):
    fit = rodriguez(["nomore"])
    assert by_term(fit, "coefficient")[term] == pytest.approx(full, **EXACT)
    assert round(by_term(fit, "coefficient")[term], 4) == coefficient
    assert round(by_term(fit, "standard_error")[term], 4) == error


def test_rodriguezs_deviances_are_reproduced():
    users, all_women = CUSE["u"], CUSE["u"] + CUSE["n"]
    share = users / all_women
    saturated = float((users * np.log(share) + CUSE["n"] * np.log(1 - share)).sum())
    wish = rodriguez(["nomore"])
    assert 2 * (saturated - rodriguez().log_likelihood) == pytest.approx(66.482, abs=5e-4)
    assert 2 * (saturated - wish.log_likelihood) == pytest.approx(16.7888118619, **EXACT)
    assert 2 * (saturated - wish.null_log_likelihood) == pytest.approx(145.673367398, **EXACT)


# Heinze G, Schemper M. Stat Med 2002;21:2409-2419, data of their R package logistf; computed in R by brglm2 and
# agreeing with the output of logistf (from memory, reproduced by computation: -1.10598, 2.26887, 3.09601).
FIRTH = [
    ("intercept", 0.120254049134, 0.485541505923),
    ("age", -1.10598133138, 0.423660128709),
    ("oc", -0.0688167270621, 0.443793445906),
    ("vic", 2.26887465224, 0.548415958971),
    ("vicl", -2.1114081853, 0.543082354901),
    ("vis", -0.788316951396, 0.417367565775),
    ("dia", 3.09601182738, 1.67500841361),
]
# Profile limits, and the chi-square and p-value of the penalised likelihood-ratio test.
PROFILES = [
    ("age", -1.97378838, -0.30742514, 7.5077, 0.00614),
    ("vic", 1.27302157, 3.43543273, 22.93, None),
    ("dia", 0.77456817, 8.03029352, 7.897, 0.00495),
]


def heinze_schemper():
    return firth_regression(SEX2.drop(columns="case"), SEX2["case"])


@pytest.mark.parametrize(("term", "coefficient", "error"), FIRTH)
def test_heinze_and_schempers_coefficients_are_reproduced(term, coefficient, error):
    fit = heinze_schemper()
    assert by_term(fit, "coefficient")[term] == pytest.approx(coefficient, **EXACT)
    assert by_term(fit, "standard_error")[term] == pytest.approx(error, **EXACT)


@pytest.mark.parametrize(("term", "lower", "upper", "chi_square", "p_value"), PROFILES)
def test_heinze_and_schempers_profiles_are_reproduced(term, lower, upper, chi_square, p_value):
    fit = heinze_schemper()
    assert np.log(by_term(fit, "ci_lower")[term]) == pytest.approx(lower, abs=1e-8)
    assert np.log(by_term(fit, "ci_upper")[term]) == pytest.approx(upper, abs=1e-8)
    found = by_term(fit, "p_value")[term]
    assert stats.chi2.isf(found, 1) == pytest.approx(chi_square, abs=5e-3)
    assert p_value is None or round(found, 5) == p_value


def test_heinze_and_schempers_penalised_likelihood_is_reproduced():
    fit = heinze_schemper()
    assert fit.log_likelihood == pytest.approx(-132.539379533, **EXACT)
    assert fit.likelihood_ratio.statistic == pytest.approx(49.09, abs=5e-3)
    assert fit.likelihood_ratio.degrees_of_freedom == 6


def test_grouping_heinze_and_schempers_rows_changes_nothing():
    terms = [name for name in SEX2 if name != "case"]
    grouped = SEX2.groupby(terms, as_index=False)["case"].agg(["sum", "size"])
    fit = firth_regression(grouped[terms], grouped["sum"], grouped["size"])
    assert len(grouped) < len(SEX2)
    for column in ("coefficient", "standard_error", "ci_lower", "ci_upper", "p_value"):
        expected = heinze_schemper().coefficients[column]
        assert fit.coefficients[column].to_numpy() == pytest.approx(expected.to_numpy(), rel=1e-7)


# Standard errors of low ~ lwt + race in the data of Hosmer and Lemeshow, sandwich written out in R 4.2.2.
ROBUST = {
    None: (0.845166607614, 0.00643935977, 0.488052163302, 0.356673703126),
    "hc0": (0.83136635899, 0.00633477070, 0.50017469534, 0.35281763725),
    "hc1": (0.84030603924, 0.00640288847, 0.50555307251, 0.35661148436),
    "cluster": (0.963748306486, 0.007499340556, 0.398756376155, 0.381565256481),
}


@pytest.mark.parametrize("method", ROBUST)
def test_model_and_robust_standard_errors_are_those_of_r(method):
    columns = coded(BIRTHWT, {"race": "1"}, ["lwt"])
    fit = logistic_regression(columns, BIRTHWT["low"])
    if method is not None:
        fit = with_robust_errors(fit, columns, BIRTHWT["low"], clusters=BIRTHWT["age"], method=method)
    found = by_term(fit, "standard_error")
    order = ("intercept", "lwt", "race: 2", "race: 3")
    # R's glm stops at a change of deviance of 1e-8 with the weights of the step before, hence the seven digits;
    # statsmodels run to 1e-14 agrees with ours to 1e-9 (in the tests of `with_robust_errors`).
    assert [found[term] for term in order] == pytest.approx(ROBUST[method], rel=2e-7)


def test_the_caution_counts_the_clusters():
    columns = coded(BIRTHWT, {"race": "1"}, ["lwt"])
    fit = logistic_regression(columns, BIRTHWT["low"])
    robust = with_robust_errors(fit, columns, BIRTHWT["low"], clusters=BIRTHWT["age"])
    assert robust.caution == "Only 24 clusters: robust limits can be too narrow."
    assert "G/(G-1)*(n-1)/(n-k), 95% limits by Student's t" in robust.method


def test_hanley_and_mcneils_area_under_the_curve_is_reproduced():
    # Hanley JA, McNeil BJ. Radiology 1982;143:29-36, tables I and II: 58 normal and 51 abnormal images rated
    # 1 to 5; area 0.893, standard error 0.032. Printed values from memory, reproduced by computation.
    normal, abnormal = np.array([33, 6, 6, 11, 2]), np.array([3, 2, 2, 11, 33])
    area, error = c_statistic([0.1, 0.3, 0.5, 0.7, 0.9], abnormal, normal + abnormal, method="hanley_mcneil")
    assert round(float(area.value), 3) == 0.893
    assert round(error, 3) == 0.032
