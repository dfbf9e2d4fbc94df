"""Comparisons as columns: the same numbers as the methods they rest on, and none where nothing can be compared."""

import pytest
from scipy import stats

from audit.statistics.contrasts import (
    ADJUSTED_COLUMNS,
    CONTRAST_COLUMNS,
    stratified_columns,
    trend_columns,
    two_group_columns,
)
from audit.statistics.stratified import mantel_haenszel_risk_difference, mantel_haenszel_risk_ratio
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios


def test_two_groups_come_back_as_in_the_worked_comparison() -> None:
    # 9 of 120 against 4 of 280: ratio 5.25 (1.65 to 16.7), difference 6.1 points (1.9 to 12.3), p 0.0035; the
    # limits by hand from Katz's and Newcombe's formulas, p from R's fisher.test, from memory, reproduced.
    row = two_group_columns(9, 120, 4, 280)
    assert row["ratio"] == pytest.approx(5.25)
    assert (row["ratio_lower"], row["ratio_upper"]) == pytest.approx((1.65, 16.7), abs=0.05)
    assert row["difference"] == pytest.approx(0.075 - 4 / 280)
    assert (row["difference_lower"], row["difference_upper"]) == pytest.approx((0.019, 0.123), abs=0.0006)
    assert row["p_value"] == pytest.approx(0.0035, abs=0.00005)
    assert set(row) <= set(CONTRAST_COLUMNS)


def test_a_group_without_events_takes_limits_that_stay_finite_on_one_side() -> None:
    row = two_group_columns(0, 20, 5, 20)
    assert row["ratio"] == 0
    assert "koopman" in str(row["method"])
    assert float(row["ratio_upper"]) < 1.2  # type: ignore[arg-type]


@pytest.mark.parametrize("four", [(0, 0, 3, 10), (3, 10, 0, 0)])
def test_an_empty_group_is_not_compared(four: tuple[int, int, int, int]) -> None:
    assert two_group_columns(*four) == {}


def test_a_trend_adds_up_its_groups() -> None:
    columns, direction = trend_columns([1, 2, 6], [10, 10, 10], [0, 1, 2])
    assert (columns["events"], columns["n"], direction) == (9, 30, "rising")
    # By hand: pooled 0.3; sum of (score - 1) x = 5; variance 0.3 * 0.7 * 20 = 4.2; 25 / 4.2.
    assert columns["chi_square"] == pytest.approx(25 / 4.2)
    assert columns["p_value"] == pytest.approx(stats.chi2.sf(25 / 4.2, 1))
    assert list(columns) == ["events", "n", "chi_square", "p_value"]


def test_a_trend_takes_the_groups_where_their_scores_lie() -> None:
    # Scores 0, 1, 4 have the mean 5/3. Sum of (score - 5/3) x = -5/3 - 4/3 + 14 = 11; sum of squares by ten
    # observations each 10 * 26/3 = 260/3; variance 0.3 * 0.7 * 260/3 = 18.2; 121 / 18.2.
    columns, _ = trend_columns([1, 2, 6], [10, 10, 10], [0, 1, 4])
    assert columns["chi_square"] == pytest.approx(121 / 18.2)


@pytest.mark.parametrize(
    ("four", "method"),
    [
        ((1, 20, 5, 20), "katz"),
        ((5, 20, 1, 20), "katz"),
        ((0, 20, 5, 20), "koopman"),
        ((5, 20, 0, 20), "koopman"),
    ],
)
def test_only_a_group_without_events_changes_the_method(four: tuple[int, int, int, int], method: str) -> None:
    row = two_group_columns(*four)
    assert row["method"] == f"risk ratio {method}; difference newcombe; Fisher, minimum likelihood"
    assert (row["events"], row["n"], row["reference_events"], row["reference_n"]) == four


# Rothman, Greenland, Lash, Modern Epidemiology, chapter 15: deaths under tolbutamide and placebo, two age groups.
TOLBUTAMIDE = ([8, 22], [106, 98], [5, 16], [120, 85])


def test_a_stratified_comparison_is_its_four_methods_side_by_side() -> None:
    columns = stratified_columns(*TOLBUTAMIDE)
    ratio, difference = (
        mantel_haenszel_risk_ratio(*TOLBUTAMIDE),
        mantel_haenszel_risk_difference(*TOLBUTAMIDE),
    )
    test, alike = cochran_mantel_haenszel(*TOLBUTAMIDE), homogeneity_of_odds_ratios(*TOLBUTAMIDE)
    assert tuple(columns) == ADJUSTED_COLUMNS
    assert columns == {
        "events": 30,
        "n": 204,
        "reference_events": 21,
        "reference_n": 205,
        "n_strata": 2,
        "n_strata_used": 2,
        "ratio": ratio.value,
        "ratio_lower": ratio.ci_lower,
        "ratio_upper": ratio.ci_upper,
        "difference": difference.value,
        "difference_lower": difference.ci_lower,
        "difference_upper": difference.ci_upper,
        "chi_square": test.statistic,
        "p_value": test.p_value,
        "homogeneity_chi_square": alike.statistic,
        "homogeneity_degrees": 1,
        "homogeneity_p_value": alike.p_value,
        "method": "Mantel-Haenszel risk ratio (Greenland-Robins) and difference (Sato); Cochran-Mantel-Haenszel "
        "test; Tarone's test that odds ratios are alike",
        "caution": "",
    }
    # The book's 1.33, .035 and .275, and the homogeneity test's .555, to the digits of the reference tests.
    printed = [float(columns[name]) for name in ("ratio", "difference", "p_value", "homogeneity_p_value")]  # type: ignore[arg-type]
    assert [round(number, 4) for number in printed] == [1.3256, 0.0349, 0.275, 0.5547]


def test_a_stratum_of_one_group_is_counted_and_left_out() -> None:
    columns = stratified_columns([8, 22, 3], [106, 98, 7], [5, 16, 0], [120, 85, 0])
    assert (columns["n_strata"], columns["n_strata_used"], columns["n"]) == (3, 2, 211)
    assert columns["ratio"] == stratified_columns(*TOLBUTAMIDE)["ratio"]
    four = [8, 22, 3], [106, 98, 7], [5, 16, 0], [120, 85, 0]
    assert columns["caution"] == mantel_haenszel_risk_difference(*four).caution != ""


def test_a_ratio_without_bound_says_so_where_the_difference_has_nothing_to_say() -> None:
    four = [2, 3], [10, 10], [0, 0], [10, 10]
    assert mantel_haenszel_risk_difference(*four).caution == ""
    assert stratified_columns(*four)["caution"] == mantel_haenszel_risk_ratio(*four).caution != ""
