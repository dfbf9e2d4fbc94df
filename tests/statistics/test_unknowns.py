"""How the unknown would have to be for a proportion to come out at a chosen value."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.proportions import bounds_for_unknowns
from audit.statistics.unknowns import share_of_unknowns_to_reach


def test_ten_in_a_hundred_needs_four_of_the_twenty_unknown_where_six_were_seen() -> None:
    assert share_of_unknowns_to_reach(0.1, 6, 80, 20) == pytest.approx(4 / 20)


def test_a_target_exceeded_already_is_below_0_and_one_out_of_reach_above_1() -> None:
    assert share_of_unknowns_to_reach([0.05, 0.5], 6, 80, 20).tolist() == pytest.approx([-1 / 20, 44 / 20])


def test_without_unknowns_or_without_a_target_there_is_nothing_to_say() -> None:
    assert np.isnan(share_of_unknowns_to_reach([0.1, np.nan], 6, [80, 80], [0, 20])).all()
    assert share_of_unknowns_to_reach([], [], [], []).shape == (0,)


@given(n=st.integers(0, 200), unknown=st.integers(1, 200), data=st.data())
def test_the_bounds_are_reached_by_none_and_by_all_of_the_unknown(
    n: int, unknown: int, data: st.DataObject
) -> None:
    events = data.draw(st.integers(0, n))
    least, greatest = bounds_for_unknowns(events, n, unknown)
    assert share_of_unknowns_to_reach(least, events, n, unknown) == pytest.approx(0, abs=1e-9)
    assert share_of_unknowns_to_reach(greatest, events, n, unknown) == pytest.approx(1)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((1.2, 1, 2, 3), "target must lie from 0 to 1, got 1.2"),
        ((0.5, 3, 2, 3), "events must not exceed n, got 3 of 2"),
        ((0.5, 1, 2, -1), "n_unknown must be whole numbers of zero or more, got -1.0"),
    ],
)
def test_what_cannot_be_is_refused(arguments: tuple[float, float, float, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        share_of_unknowns_to_reach(*arguments)
