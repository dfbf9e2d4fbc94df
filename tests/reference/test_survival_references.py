"""Kaplan-Meier curves, quantiles, log-rank tests and restricted means against textbooks and R.

Values to full precision were computed in R 4.2.2 with survival 3.5-3, unless a printed source is named.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines.datasets import load_lung

from audit.statistics.curve_comparison import log_rank, peto_peto
from audit.statistics.curves import at_times, restricted_mean, survival_quantile
from audit.statistics.hazards import nelson_aalen
from audit.statistics.survival import kaplan_meier

DATA = Path(__file__).parent / "data"
EXACT = {"rel": 1e-8, "abs": 1e-12}

# Collett D. Modelling Survival Data in Medical Research, example 1.1: weeks to discontinuation of an
# intrauterine device in 18 women (data of the World Health Organization 1987, as in R's package collett). The
# survivor table is printed in the book; its digits here are from memory, reproduced by computation.
COLLETT = pd.read_csv(DATA / "iud18.csv")
SURVIVOR_TABLE = [
    # time, at risk, survival, standard error, printed survival, printed standard error
    (10, 18, 0.944444444444, 0.0539902953226, 0.9444, 0.0540),
    (19, 15, 0.881481481481, 0.0789891941390, 0.8815, 0.0790),
    (30, 13, 0.813675213675, 0.0977770012848, 0.8137, 0.0978),
    (36, 12, 0.745868945869, 0.1106701948958, 0.7459, 0.1107),
    (59, 8, 0.652635327635, 0.1303197470249, 0.6526, 0.1303),
    (75, 7, 0.559401709402, 0.1411672788749, 0.5594, 0.1412),
    (93, 6, 0.466168091168, 0.1451991202425, 0.4662, 0.1452),
    (97, 5, 0.372934472934, 0.1429929653774, 0.3729, 0.1430),
    (107, 3, 0.248622981956, 0.1392471955932, 0.2486, 0.1392),
]


def collett_curve(transform="log_log"):
    return kaplan_meier(COLLETT["week"], COLLETT["event"], transform=transform)


def row(curve, time):
    return curve.set_index("time").loc[time]


@pytest.mark.parametrize(("time", "at_risk", "survival", "error", "printed", "printed_error"), SURVIVOR_TABLE)
def test_colletts_survivor_table_is_reproduced(time, at_risk, survival, error, printed, printed_error):
    found = row(collett_curve(), time)
    assert found["at_risk"] == at_risk
    assert found["survival"] == pytest.approx(survival, **EXACT)
    assert found["standard_error"] == pytest.approx(error, **EXACT)
    assert (round(found["survival"], 4), round(found["standard_error"], 4)) == (printed, printed_error)


def test_colletts_curve_is_read_between_its_steps():
    found = at_times(collett_curve(), [26, 52, 104])
    assert found["survival"].tolist() == [
        pytest.approx(0.881481481481),
        pytest.approx(0.745868945869),
        pytest.approx(0.372934472934),
    ]
    assert found["at_risk"].tolist() == [13, 10, 4]


COLLETT_LIMITS = [
    ("plain", 36, 0.528959349711, 0.962778542027),
    ("plain", 93, 0.181583044906, 0.750753137430),
    ("plain", 107, 0.0, 0.521542470267),
    ("log", 93, 0.253171964966, 0.858360005432),
    ("log_log", 10, 0.666390168335, 0.991982923674),
    ("log_log", 36, 0.453598638770, 0.896957023145),
    ("log_log", 93, 0.182984680464, 0.709657870585),
    ("log_log", 107, 0.046759545447, 0.531266263940),
]


@pytest.mark.parametrize(("transform", "time", "lower", "upper"), COLLETT_LIMITS)
def test_the_limits_of_colletts_curve_are_those_of_r(transform, time, lower, upper):
    found = row(collett_curve(transform), time)
    assert (found["ci_lower"], found["ci_upper"]) == (
        pytest.approx(lower, **EXACT),
        pytest.approx(upper, **EXACT),
    )


nan = np.nan
COLLETT_QUANTILES = [
    ("plain", 0.25, 36, 19, 97),
    ("log", 0.25, 36, 19, 107),
    ("log_log", 0.25, 36, 10, 93),
    ("plain", 0.5, 93, 59, nan),
    ("log", 0.5, 93, 59, nan),
    ("log_log", 0.5, 93, 36, nan),
    ("log_log", 0.75, 107, 93, nan),
]


@pytest.mark.parametrize(("transform", "proportion", "value", "lower", "upper"), COLLETT_QUANTILES)
def test_the_quantiles_of_colletts_curve_are_those_of_r(transform, proportion, value, lower, upper):
    found = survival_quantile(collett_curve(transform), proportion)
    expected = [value, lower, upper]
    assert [found.value, found.ci_lower, found.ci_upper] == pytest.approx(expected, nan_ok=True)


# Freireich 1963, Gehan 1965, Cox 1972: weeks of remission of leukaemia. Rodriguez G (Princeton), page on
# Kaplan-Meier, prints survival, standard error and log-log limits by Stata.
GEHAN = pd.read_csv(DATA / "gehan.csv")
RODRIGUEZ = [
    ("treated", 6, 0.857142857143, 0.0763603548321, (0.8571, 0.0764, 0.6197, 0.9516)),
    ("treated", 7, 0.806722689076, 0.0869352851801, (0.8067, 0.0869, 0.5631, 0.9228)),
    ("treated", 10, 0.752941176471, 0.0963496529943, (0.7529, 0.0963, 0.5032, 0.8894)),
    ("treated", 13, 0.690196078431, 0.106814707775, (0.6902, 0.1068, 0.4316, 0.8491)),
    ("treated", 16, 0.627450980392, 0.114053865257, (0.6275, 0.1141, 0.3675, 0.8049)),
    ("treated", 22, 0.53781512605, 0.128233751693, (0.5378, 0.1282, 0.2678, 0.7468)),
    ("treated", 23, 0.448179271709, 0.134591456756, (0.4482, 0.1346, 0.1881, 0.6801)),
    ("control", 8, 8 / 21, None, (0.3810, 0.1060, 0.1831, 0.5778)),
]


def gehan_curve(group, transform="log_log"):
    rows = GEHAN[GEHAN["group"] == group]
    return kaplan_meier(rows["weeks"], rows["relapse"], transform=transform)


@pytest.mark.parametrize(("group", "time", "survival", "error", "printed"), RODRIGUEZ)
def test_the_remission_curves_printed_by_rodriguez_are_reproduced(group, time, survival, error, printed):
    found = row(gehan_curve(group), time)
    assert found["survival"] == pytest.approx(survival, **EXACT)
    assert error is None or found["standard_error"] == pytest.approx(error, **EXACT)
    figures = found[["survival", "standard_error", "ci_lower", "ci_upper"]].astype(float)
    assert tuple(figures.round(4)) == pytest.approx(printed, abs=1e-9)


def test_the_log_limits_that_r_prints_for_the_remissions_are_reproduced():
    found = row(gehan_curve("treated", "log"), 23)
    assert (round(found["ci_lower"], 3), round(found["ci_upper"], 3)) == (0.249, 0.807)


def test_a_curve_at_zero_has_no_standard_error():
    found = row(gehan_curve("control"), 23)
    assert found["survival"] == 0
    assert np.isnan(found["standard_error"])


@pytest.mark.parametrize(
    ("group", "transform", "value", "lower", "upper"),
    [
        ("control", "log_log", 8, 4, 11),
        ("treated", "log_log", 23, 13, nan),
        ("control", "log", 8, 4, 12),
        ("treated", "log", 23, 16, nan),
    ],
)
def test_the_median_remissions_are_those_of_r(group, transform, value, lower, upper):
    found = survival_quantile(gehan_curve(group, transform))
    expected = [value, lower, upper]
    assert [found.value, found.ci_lower, found.ci_upper] == pytest.approx(expected, nan_ok=True)


def test_the_log_rank_test_of_the_remissions_is_reproduced():
    # Rodriguez prints observed 21 and 9, expected 10.75 and 19.25, chi-square 16.79.
    found = log_rank(GEHAN["weeks"], GEHAN["relapse"], GEHAN["group"])
    assert found.groups["group"].tolist() == ["control", "treated"]
    assert found.groups["observed"].tolist() == [21, 9]
    assert found.groups["expected"].tolist() == pytest.approx([10.749499052, 19.250500948], rel=1e-9)
    assert found.chi_square == pytest.approx(16.7929409892, **EXACT)
    assert found.degrees_of_freedom == 1
    assert found.p_value == pytest.approx(4.16880910933e-05, **EXACT)


def test_the_peto_peto_test_of_the_remissions_is_rs_survdiff_with_rho_1():
    found = peto_peto(GEHAN["weeks"], GEHAN["relapse"], GEHAN["group"])
    assert found.chi_square == pytest.approx(14.4571508187, **EXACT)


# R's survfit print(rmean = tau); no printed source.
RESTRICTED_MEANS = [
    ("treated", 20, 16.1165266106443, 1.25156019601),
    ("treated", 21, 16.743977591036, 1.35496604045),
    ("treated", 23, 17.909243697479, 1.55318997825),
    ("treated", 35, 23.287394957983, 2.82746762337),
    ("control", 20, 8.42857142857, 1.2680826825),
    ("control", 23, 8.66666666667, 1.37739004126),
]


@pytest.mark.parametrize(("group", "horizon", "value", "error"), RESTRICTED_MEANS)
def test_the_restricted_mean_remission_is_that_of_r(group, horizon, value, error):
    found = restricted_mean(gehan_curve(group), horizon)
    assert (found.value, found.standard_error) == (
        pytest.approx(value, **EXACT),
        pytest.approx(error, **EXACT),
    )


# The aml data of R's survival package (Miller 1981).
AML_TIMES = [9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161, 5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45]
AML_EVENTS = [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0, 1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1]
AML_GROUPS = ["maintained"] * 11 + ["not"] * 12


def test_the_aml_curve_is_that_of_r():
    curve = kaplan_meier(AML_TIMES[:11], AML_EVENTS[:11])
    found = at_times(curve, [9, 13, 18, 23, 31, 34, 48])
    assert found["survival"].tolist() == pytest.approx(
        [0.9090909091, 0.8181818182, 0.7159090909, 0.6136363636, 0.4909090909, 0.3681818182, 0.1840909091],
        abs=1e-9,
    )
    assert row(curve, 18)["standard_error"] == pytest.approx(0.1396649706, abs=1e-9)
    limits = row(curve, 18)["ci_lower"], row(curve, 18)["ci_upper"]
    assert limits == (pytest.approx(0.35019038591, abs=1e-9), pytest.approx(0.8990239742, abs=1e-9))
    limits = row(curve, 48)["ci_lower"], row(curve, 48)["ci_upper"]
    assert limits == (pytest.approx(0.01173848012, abs=1e-9), pytest.approx(0.5250148427, abs=1e-9))


def test_the_aml_log_rank_test_is_that_of_r():
    found = log_rank(AML_TIMES, AML_EVENTS, AML_GROUPS)
    assert found.chi_square == pytest.approx(3.39638869898, **EXACT)
    assert found.p_value == pytest.approx(0.06533932204, rel=1e-8)


def test_the_lung_curves_by_sex_are_those_of_r():
    # The lung data of R's survival package (North Central Cancer Treatment Group), as shipped with lifelines.
    lung = load_lung()
    expected = {
        1: [(0.6444650015, 0.5584124730, 0.7180135982), (0.3360878346, 0.2527291433, 0.4213021682)],
        2: [(0.8424017056, None, None), (0.5264630302, 0.4035798233, 0.6353162328)],
    }
    for sex, rows in expected.items():
        part = lung[lung["sex"] == sex]
        found = at_times(kaplan_meier(part["time"], part["status"]), [180, 365])
        for (_, figures), (survival, lower, upper) in zip(found.iterrows(), rows, strict=True):
            assert figures["survival"] == pytest.approx(survival, abs=1e-9)
            assert lower is None or figures["ci_lower"] == pytest.approx(lower, abs=1e-9)
            assert upper is None or figures["ci_upper"] == pytest.approx(upper, abs=1e-9)
    found = log_rank(lung["time"], lung["status"], lung["sex"])
    assert found.chi_square == pytest.approx(10.3267419549, **EXACT)


def test_an_event_comes_before_a_censoring_at_the_same_time():
    assert row(kaplan_meier([5, 5], [1, 0]), 5)["survival"] == 0.5


def test_the_curve_of_statsmodels_own_test_is_reproduced():
    # statsmodels, duration/tests/test_survfunc.py; values there from R's survfit.
    curve = kaplan_meier([3, 1, 2, 3, 2, 1, 5, 3], [0, 1, 1, 1, 0, 0, 1, 0])
    assert curve["survival"].tolist()[1:] == pytest.approx([0.875, 0.7291667, 0.5468750, 0], abs=1e-7)


def test_rs_quantiles_at_exact_flats_are_reproduced():
    # survival, tests/quantile.R: where the curve lies on the level, the middle of the flat is the quantile.
    curve = kaplan_meier(range(1, 11), [1] * 10)
    found = [float(survival_quantile(curve, proportion).value) for proportion in (0.05, 0.3, 0.5, 0.85)]
    assert found == [1, 3.5, 5.5, 9]
    ending_flat = kaplan_meier([1, 2, 3, 4], [1, 1, 0, 0])
    assert survival_quantile(ending_flat, 0.5).value == 3
    assert np.isnan(survival_quantile(ending_flat, 0.6).value)


# R's survfit, cumulative hazard and its error; no printed source.
HAZARDS = [
    (10, 0.0555555555556),
    (19, 0.122222222222),
    (30, 0.199145299145),
    (36, 0.282478632479),
    (59, 0.407478632479),
    (75, 0.550335775336),
    (93, 0.717002442002),
    (97, 0.917002442002),
    (107, 1.25033577534),
]


@pytest.mark.parametrize(("time", "hazard"), HAZARDS)
def test_colletts_cumulative_hazard_is_that_of_r(time, hazard):
    found = row(nelson_aalen(COLLETT["week"], COLLETT["event"]), time)
    assert found["cumulative_hazard"] == pytest.approx(hazard, rel=1e-9)


def test_the_error_of_colletts_cumulative_hazard_is_that_of_r():
    curve = nelson_aalen(COLLETT["week"], COLLETT["event"])
    assert row(curve, 10)["standard_error"] == pytest.approx(0.0555555555556, rel=1e-9)
    assert row(curve, 107)["standard_error"] == pytest.approx(0.48509228046, rel=1e-9)
    assert np.exp(-row(curve, 107)["cumulative_hazard"]) == pytest.approx(0.286408611765, rel=1e-9)


def test_colletts_plain_limits_at_the_ends_are_held_between_0_and_1():
    # The book's table of linear limits: .839 to 1.000 at 10 weeks, .000 to .522 at 107 (from memory, reproduced).
    curve = collett_curve("plain")
    for time, printed in ((10, (0.839, 1.0)), (107, (0.0, 0.522))):
        found = row(curve, time)
        assert (round(found["ci_lower"], 3), round(found["ci_upper"], 3)) == printed
