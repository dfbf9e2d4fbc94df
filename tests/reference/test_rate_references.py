"""Rates, rate ratios and observed against expected, against printed worked examples.

Values to full precision were computed in R 4.2.2 (base, epitools 0.5-10.1) and scipy 1.17.
"""

import pytest

from audit.statistics.binomial_tails import binomial_tail
from audit.statistics.expected import observed_expected, observed_expected_test
from audit.statistics.rates import rate_interval, rate_ratio, rate_ratio_test

EXACT = {"rel": 1e-8, "abs": 1e-12}

# Garwood F. Biometrika 1936;28:437-442, by the chi-square formula of Ulm K. Am J Epidemiol 1990;131:373-375.
# The epitools manual prints 3.689 for 0 events.
GARWOOD = [
    (0, 0.0, 3.68887945411),
    (1, 0.0253178079843, 5.57164339094),
    (2, 0.242209278544, 7.22468766772),
    (3, 0.618672122896, 8.76727306974),
    (5, 1.62348639012, 11.6683320793),
    (10, 4.79538869613, 18.390356042),
    (20, 12.2165195854, 30.8883779027),
    (50, 37.1109637375, 65.9187666643),
    (100, 81.3639912509, 121.626793792),
]


@pytest.mark.parametrize(("events", "lower", "upper"), GARWOOD)
def test_an_exact_poisson_limit_is_garwoods(events, lower, upper):
    assert rate_interval(events, 1) == (pytest.approx(lower, **EXACT), pytest.approx(upper, **EXACT))


def test_the_wider_exact_limits_of_ten_events_are_reproduced():
    found = rate_interval(10, 1, confidence=0.998)
    assert found == (pytest.approx(2.96052037274, **EXACT), pytest.approx(24.1339711454, **EXACT))


@pytest.mark.parametrize(
    ("events", "lower", "upper"), [(0, 0.0, 2.99573227355), (10, 5.07952184722, 17.8248536966)]
)
def test_a_mid_p_poisson_limit_is_reproduced(events, lower, upper):
    found = rate_interval(events, 1, method="mid_p")
    assert found == (pytest.approx(lower, **EXACT), pytest.approx(upper, **EXACT))


def test_a_rate_of_14_in_400_has_the_limits_a_statistics_package_prints():
    # A statistics package's help page prints .035 (.019135 to .058724).
    found = rate_interval(14, 400)
    assert found == (pytest.approx(0.0191348256908, **EXACT), pytest.approx(0.0587240528046, **EXACT))


# Gu K, Ng HKT, Tang ML, Schucany WR. Biom J 2008;50:283-298, as quoted in statsmodels' tests (which note that
# the paper swaps two columns).
GU = (60, 51477.5, 30, 54308.7)


@pytest.mark.parametrize(
    ("method", "lower", "upper"),
    [("exact", 1.33973572177, 3.38836557362), ("mid_p", 1.36810365519, 3.30729672201)],
)
def test_the_rate_ratio_of_gu_2008_has_its_conditional_limits(method, lower, upper):
    found = rate_ratio(*GU, method=method)
    assert found.value == pytest.approx(2.10999757175, **EXACT)
    assert (found.ci_lower, found.ci_upper) == (pytest.approx(lower, **EXACT), pytest.approx(upper, **EXACT))


def test_the_rate_test_of_gu_2008_has_its_conditional_p_values():
    # Printed one-sided: exact .000428, mid-P .000310.
    one_sided = binomial_tail(60, 90, 51477.5 / (51477.5 + 54308.7), tail="upper")
    assert one_sided == pytest.approx(0.00042805269405, **EXACT)
    assert rate_ratio_test(*GU).p_value == pytest.approx(0.000675182658686, **EXACT)
    assert rate_ratio_test(*GU, method="doubled").p_value == pytest.approx(0.000856105388, rel=1e-8)
    assert rate_ratio_test(*GU, method="mid_p").p_value / 2 == pytest.approx(0.000310132441983, **EXACT)


def test_the_nickel_workers_standardised_ratio_is_reproduced():
    # Welsh nickel workers: Breslow NE, Day NE. Statistical Methods in Cancer Research II, 1987; the example
    # of R's poisson.test.
    found = observed_expected(137, 24.19893)
    assert found.value == pytest.approx(5.66140736, rel=1e-8)
    assert (found.ci_lower, found.ci_upper) == (
        pytest.approx(4.75312480485, **EXACT),
        pytest.approx(6.69270933418, **EXACT),
    )


def test_a_small_standardised_ratio_has_the_limits_r_gives():
    # R's poisson.test(11, 6.57666); no printed source.
    found = observed_expected(11, 6.57666)
    assert (found.value, found.ci_lower, found.ci_upper) == (
        pytest.approx(1.67258152314, **EXACT),
        pytest.approx(0.83494667008, **EXACT),
        pytest.approx(2.99271035956, **EXACT),
    )
    assert observed_expected_test(11, 6.57666).p_value == pytest.approx(0.111867930772, rel=1e-8)


# A published table of intrauterine devices prints events, woman-years and rates per 100 (BMJ Sexual &
# Reproductive Health archive, article with markup number 138852, table 3; the copy read did not show its
# title).
PEARL = [
    (8, 112.8, 7.1, 3.06190795811, 13.9744585285),
    (3, 112.8, 2.7, 0.548468194056, 7.77240520367),
    (1, 112.8, 0.9, 0.0224448652, 4.93940016927),
]


@pytest.mark.parametrize(("events", "years", "printed", "lower", "upper"), PEARL)
def test_a_published_pearl_index_follows_from_its_events(events, years, printed, lower, upper):
    assert round(100 * events / years, 1) == printed
    found = [100 * float(limit) for limit in rate_interval(events, years)]
    assert found == [pytest.approx(lower, rel=2e-8), pytest.approx(upper, rel=1e-8)]


@pytest.mark.parametrize(
    ("events", "years", "printed"), [(5, 95.0, 5.3), (1, 95.0, 1.1), (3, 17.8, 16.9), (2, 17.8, 11.2)]
)
def test_the_other_rates_of_that_table_follow_from_their_events(events, years, printed):
    assert observed_expected(events, years).value * 100 == pytest.approx(printed, abs=0.05)


def test_byars_limits_are_those_of_a_public_health_method():
    # Public Health England's technical guide and R package for indirectly standardised ratios: 895 observed
    # against 835.88 expected, and 91 observed. Computed by that package.
    found = observed_expected(895, 835.8835612, method="byar")
    assert (found.value, found.ci_lower, found.ci_upper) == (
        pytest.approx(1.070723294, rel=1e-8),
        pytest.approx(1.001714771, rel=1e-8),
        pytest.approx(1.143233287, rel=1e-8),
    )
    small = observed_expected(91, 835.8835612, method="byar")
    assert (small.value, small.ci_lower, small.ci_upper) == (
        pytest.approx(0.1088668377, rel=2e-9),
        pytest.approx(0.0876504010, rel=2e-9),
        pytest.approx(0.1336657633, rel=2e-9),
    )


def test_a_handful_of_events_has_exact_limits_beside_byars():
    # The same guide and package: 9 observed, where exact limits take the place of Byar's.
    tiny = observed_expected(9, 835.8835612, method="byar")
    assert (tiny.ci_lower, tiny.ci_upper) == (
        pytest.approx(0.004923380825, rel=2e-9),
        pytest.approx(0.02043921456, rel=2e-9),
    )
