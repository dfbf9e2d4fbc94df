"""The difference of two estimates from their limits: by hand, what is missing, and what does not fit."""

import re

import numpy as np
import pytest

from audit.statistics.differences import difference_from_limits

nan = np.nan


def test_distances_are_squared_and_added_side_by_side():
    # Below: 3 of the first and 4 of the second above; above: 5 of the first and 12 of the second below.
    found = difference_from_limits(20, 17, 25, 15, 3, 19)
    assert (found.value, found.ci_lower, found.ci_upper) == (5, 0, 18)
    assert found.method == "square-and-add from both sides' limits"


@pytest.mark.parametrize("place", range(6))
def test_without_any_one_of_the_six_nothing_is_given(place):
    six = [nan if number == place else value for number, value in enumerate((20, 17, 25, 15, 3, 19))]
    found = difference_from_limits(*six)
    assert np.isnan([found.value, found.ci_lower, found.ci_upper]).all()


def test_a_gap_in_one_row_leaves_the_others():
    found = difference_from_limits([20, nan], [17, 1], [25, 2], 15, 3, 19)
    assert found.value.tolist() == pytest.approx([5, nan], nan_ok=True)
    assert found.ci_lower.tolist() == pytest.approx([0, nan], nan_ok=True)
    assert found.ci_upper.tolist() == pytest.approx([18, nan], nan_ok=True)


@pytest.mark.parametrize("value", [9.9, 20.2])
def test_an_estimate_may_lie_outside_its_limits_by_the_rounding_of_print(value):
    # 1% of the larger limit is 0.2.
    assert difference_from_limits(value, 10, 20, 0, 0, 0).value == value


@pytest.mark.parametrize("value", [9.7, 20.3])
def test_an_estimate_outside_its_limits_is_refused(value):
    outside = f"must lie within its limits, got {value} outside 10.0 to 20.0"
    with pytest.raises(ValueError, match=f"^value_1 {re.escape(outside)}$"):
        difference_from_limits(value, 10, 20, 0, 0, 0)
    with pytest.raises(ValueError, match=f"^value_2 {re.escape(outside)}$"):
        difference_from_limits(0, 0, 0, value, 10, 20)


@pytest.mark.parametrize("value", [-20.2, -9.8])
def test_limits_below_0_are_rounded_by_their_size_too(value):
    assert difference_from_limits(value, -20, -10, 0, 0, 0).value == value
