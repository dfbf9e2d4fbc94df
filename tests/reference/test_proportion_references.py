"""Proportions, tables and trends against printed worked examples.

Values to full precision were computed in R 4.2.2 (base, epitools 0.5-10.1) and statsmodels 0.15 / scipy 1.17
from the counts of the sources named; printed values are marked where they are known from a second source or
from memory and reproduced by computation.
"""

import numpy as np
import pytest

from audit.statistics.binomial_tails import binomial_tail
from audit.statistics.odds import fisher_exact, odds_ratio
from audit.statistics.proportions import proportion_interval
from audit.statistics.trend import cochran_armitage
from audit.statistics.two_groups import chi_square_2x2, chi_square_2x2_yates, difference_interval, risk_ratio

EXACT = {"rel": 1e-8, "abs": 1e-12}

# Newcombe RG. Stat Med 1998;17:857-872, table I. The Wilson row is quoted by several public test files, the
# other rows are printed values from memory; all reproduced.
NEWCOMBE_1998A = [
    ("wilson", 81, 263, 0.255288519878, 0.366209576983, (0.2553, 0.3662)),
    ("wilson", 15, 148, 0.0623863995307, 0.160487241723, (0.0624, 0.1605)),
    ("wilson", 0, 20, 0.0, 0.161125158053, (0.0, 0.1611)),
    ("wilson", 1, 29, 0.00611321429276, 0.171755218793, (0.0061, 0.1718)),
    ("clopper_pearson", 81, 263, 0.252736745585, 0.367621922601, (0.2527, 0.3676)),
    ("clopper_pearson", 15, 148, 0.0578440100834, 0.161650490349, (0.0578, 0.1617)),
    ("clopper_pearson", 0, 20, 0.0, 0.168433470983, (0.0, 0.1684)),
    ("clopper_pearson", 1, 29, 0.00087264688358, 0.177644295489, (0.0009, 0.1776)),
    ("mid_p", 81, 263, 0.254402104946, 0.365773474258, (0.2544, 0.3658)),
    ("mid_p", 15, 148, 0.0600636026655, 0.158121733051, (0.0601, 0.1581)),
    ("mid_p", 0, 20, 0.0, 0.139108340668, (0.0, 0.1391)),
    ("mid_p", 1, 29, 0.00172477011471, 0.158537383681, (0.0017, 0.1585)),
    ("jeffreys", 81, 263, 0.254521934991, 0.365647499174, None),
    ("jeffreys", 15, 148, 0.0604485170093, 0.157643143479, None),
    ("jeffreys", 0, 20, 0.0, 0.116638982905, None),
    ("jeffreys", 1, 29, 0.00374617364906, 0.150077686002, None),
    ("agresti_coull", 81, 263, 0.25522066519, 0.366277431671, None),
]


@pytest.mark.parametrize(("method", "x", "n", "lower", "upper", "printed"), NEWCOMBE_1998A)
def test_a_proportions_limits_are_those_of_newcombe_1998(method, x, n, lower, upper, printed):
    found = proportion_interval(x, n, method=method)
    assert found == (pytest.approx(lower, **EXACT), pytest.approx(upper, **EXACT))
    if printed:
        assert tuple(np.round(found, 4)) == printed


def test_none_in_300_is_below_one_percent_as_the_rule_of_three_has_it():
    # Computed in R: one-sided 95% limit, near 3 / 300, and the two-sided one.
    _, one_sided = proportion_interval(0, 300, confidence=0.9, method="clopper_pearson")
    _, two_sided = proportion_interval(0, 300, method="clopper_pearson")
    assert one_sided == pytest.approx(0.00993608194, rel=1e-9)
    assert one_sided == pytest.approx(3 / 300, rel=0.01)
    assert two_sided == pytest.approx(0.0122209747, rel=1e-8)


# Newcombe RG. Stat Med 1998;17:873-890, method 10, rows a to d, as quoted in public test files.
NEWCOMBE_1998B = [
    ((56, 70, 48, 80), 0.0524314724024, 0.333872654037, (0.0524, 0.3339)),
    ((9, 10, 3, 10), 0.170522723935, 0.809017973535, (0.1705, 0.8090)),
    ((6, 7, 2, 7), 0.0582279274823, 0.806249637524, (0.0582, 0.8062)),
    ((5, 56, 0, 29), -0.0381371479035, 0.192560013855, (-0.0381, 0.1926)),
]


@pytest.mark.parametrize(("counts", "lower", "upper", "printed"), NEWCOMBE_1998B)
def test_a_differences_limits_are_those_of_newcombe_1998(counts, lower, upper, printed):
    found = difference_interval(*counts)
    assert (found.ci_lower, found.ci_upper) == (pytest.approx(lower, **EXACT), pytest.approx(upper, **EXACT))
    assert (round(float(found.ci_lower), 4), round(float(found.ci_upper), 4)) == printed


# Fagerland MW, Lydersen S, Laake P. Stat Methods Med Res 2015;24:224-254: 7 of 34 against 1 of 34, as quoted
# in statsmodels' tests.
TABLE = (7, 34, 1, 34)


def test_the_difference_of_the_fagerland_table_has_its_newcombe_limits():
    found = difference_interval(*TABLE)
    assert found.ci_lower == pytest.approx(0.0189214438858, **EXACT)
    assert found.ci_upper == pytest.approx(0.340368687033, **EXACT)


@pytest.mark.parametrize(
    ("method", "lower", "upper"),
    [
        # Printed .91 to 54.
        ("katz", 0.909605511842, 53.8695064641),
        # Printed 1.21 to 43 for the score interval: the printed digits are those of the variance with N / (N
        # - 1).
        ("miettinen_nurminen", 1.20856797509, 43.0329722387),
        # statsmodels 0.15, confint_proportions_2indep(method="score", compare="ratio", correction=False).
        ("koopman", 1.2208528535148115, 42.57571760976041),
    ],
)
def test_the_ratio_of_the_fagerland_table_has_its_limits(method, lower, upper):
    found = risk_ratio(*TABLE, method=method)
    assert (found.value, found.ci_lower, found.ci_upper) == (
        pytest.approx(7, **EXACT),
        pytest.approx(lower, **EXACT),
        pytest.approx(upper, **EXACT),
    )


def test_a_second_ratio_has_its_katz_limits():
    found = risk_ratio(56, 70, 48, 80, method="katz")
    assert found.value == pytest.approx(4 / 3)
    assert (found.ci_lower, found.ci_upper) == (
        pytest.approx(1.07662642276, **EXACT),
        pytest.approx(1.65124851127, **EXACT),
    )


@pytest.mark.parametrize(
    ("method", "value", "lower", "upper"),
    [
        # Printed .99 to 74; .97 to 397; 1.19 to 200. R's fisher.test stops its search at about 1e-4 and
        # prints 8.32845 (.973248 to 396.188); these values are solved to full precision.
        ("woolf", 8.55555555556, 0.990490281654, 73.9003019212),
        ("exact", 8.32934371755, 0.97327363288, 396.994002170),
        ("mid_p", 8.32934371755, 1.18858679, 199.61664574),
    ],
)
def test_the_odds_ratio_of_the_fagerland_table_has_its_limits(method, value, lower, upper):
    found = odds_ratio(*TABLE, method=method)
    assert found.value == pytest.approx(value, rel=1e-8)
    assert found.ci_lower == pytest.approx(lower, rel=1e-8)
    assert found.ci_upper == pytest.approx(upper, rel=1e-8)


def test_the_tests_of_the_fagerland_table_have_their_p_values():
    assert fisher_exact(*TABLE).p_value == pytest.approx(0.0544001304951, **EXACT)
    assert fisher_exact(*TABLE, method="mid_p").p_value == pytest.approx(0.0296562584304, **EXACT)
    # With groups of one size the law is symmetric, and doubling a tail is adding the other.
    assert fisher_exact(*TABLE, method="doubled").p_value == pytest.approx(0.0544001304951, **EXACT)
    assert chi_square_2x2(*TABLE).statistic == pytest.approx(5.1, **EXACT)
    assert chi_square_2x2(*TABLE).p_value == pytest.approx(0.0239258434806, **EXACT)
    assert chi_square_2x2_yates(*TABLE).statistic == pytest.approx(3.54166666667, **EXACT)


# Fleiss JL. Statistical Methods for Rates and Proportions, 2nd ed, 1981, p. 139; the example of R's
# prop.trend.test. Printed 8.2249 and .004132 (from memory, reproduced).
SMOKERS, OF = [83, 90, 129, 70], [86, 93, 136, 82]


def test_the_trend_of_fleiss_1981_is_reproduced():
    found = cochran_armitage(SMOKERS, OF, scores=[1, 2, 3, 4])
    assert found.chi_square == pytest.approx(8.2249222852, **EXACT)
    assert found.p_value == pytest.approx(0.00413189747764, **EXACT)
    assert found.z == pytest.approx(-2.86791253095, **EXACT)
    assert found.direction == "falling"
    # With divisor N - 1, the linear-by-linear form of statsmodels.
    total = sum(OF)
    assert found.chi_square * (total - 1) / total == pytest.approx(8.20420459682, **EXACT)
    assert found.homogeneity_chi_square == pytest.approx(12.6004112971, **EXACT)
    assert found.homogeneity_degrees == 3
    assert found.homogeneity_p_value == pytest.approx(0.00558547666, rel=1e-8)


def test_a_trend_with_one_group_apart_is_reproduced():
    found = cochran_armitage(SMOKERS, OF, scores=[0, 0, 0, 1])
    assert found.chi_square == pytest.approx(12.1731462207, **EXACT)


def test_the_trend_of_armitages_carriers_is_reproduced():
    # Armitage P. Statistical Methods in Medical Research: tonsil size and carriers. Printed 7.19 of 7.88
    # (from memory, reproduced).
    found = cochran_armitage([19, 29, 24], [516, 589, 293])
    assert found.chi_square == pytest.approx(7.1927495836875, **EXACT)
    assert found.p_value == pytest.approx(0.00731987314, rel=1e-8)
    assert found.homogeneity_chi_square == pytest.approx(7.88484279104, **EXACT)
    assert found.departure_chi_square == pytest.approx(0.692093207, rel=1e-8)
    assert found.departure_degrees == 1


@pytest.mark.parametrize(
    ("target", "n", "tail_probability", "interpolated"),
    [
        (0.05, 100, 0.975, 0.0919073440239),
        (0.05, 100, 0.025, 0.00612293143607),
        (0.05, 500, 0.999, 0.0815992395723),
        (0.10, 200, 0.001, 0.0378515074021),
        (0.10, 200, 0.999, 0.168567263853),
    ],
)
def test_the_binomial_tails_give_spiegelhalters_interpolated_limits(
    target, n, tail_probability, interpolated
):
    # Spiegelhalter DJ. Stat Med 2005;24:1185-1202: r the least count with F(r) >= p, moved back by
    # (F(r) - p) / (F(r) - F(r - 1)). Formula from memory; values computed in R with pbinom.
    below = binomial_tail(np.arange(n + 1), n, target, tail="lower")
    r = int(np.argmax(below >= tail_probability))
    moved = (below[r] - tail_probability) / (below[r] - below[r - 1])
    assert (r - moved) / n == pytest.approx(interpolated, rel=1e-8)
