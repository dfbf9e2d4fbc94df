"""Comparisons as columns: the same numbers as the methods they rest on, and none where nothing can be compared."""

import pytest

from audit.statistics.contrasts import CONTRAST_COLUMNS, trend_columns, two_group_columns


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
