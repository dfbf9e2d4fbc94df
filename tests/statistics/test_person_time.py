"""Events and exposure in bands of time."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.person_time import person_time

spell = st.integers(0, 500).flatmap(
    lambda exit: st.tuples(
        st.just(exit), st.integers(0, 1), st.integers(0, max(exit - 1, 0)), st.integers(1, 4)
    )
)
spells = st.lists(spell, min_size=1, max_size=25)
cut_lists = st.lists(st.integers(1, 450), unique=True, max_size=5).map(sorted)


def arrays(rows):
    """Return durations, endings, entry and weights."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_three_spells_worked_by_hand():
    # bands          (0, 42]  (42, 182]  (182, infinity)
    # 0----42x          42x
    # 0------------200o  42       140         18o
    #     50--100x                 50x
    found = person_time([42, 200, 100], [1, 0, 1], cuts=[42, 182], entry=[0, 0, 50])
    assert found["start"].tolist() == [0, 42, 182]
    assert found["stop"].tolist() == [42, 182, np.inf]
    assert found["events"].tolist() == [1, 1, 0]
    assert found["exposure"].tolist() == [84, 190, 18]


def test_an_event_at_time_0_falls_into_the_first_band():
    found = person_time([0, 1], [1, 1], cuts=[1])
    assert found["events"].tolist() == [2, 0]
    assert found["exposure"].tolist() == [1, 0]


@given(spells, cut_lists)
def test_the_bands_add_up_to_the_whole(rows, cuts):
    durations, endings, entry, weights = arrays(rows)
    found = person_time(durations, endings, cuts=cuts, entry=entry, weights=weights)
    assert len(found) == len(cuts) + 1
    assert found["exposure"].sum() == pytest.approx(((durations - entry) * weights).sum())
    assert found["events"].sum() == weights[endings == 1].sum()
    pd.testing.assert_series_equal(
        found.iloc[0, 2:], found.iloc[0, 2:].clip(lower=0), check_names=False, check_dtype=False
    )


@given(spells, cut_lists)
def test_each_day_and_event_is_in_the_band_a_slow_count_finds(rows, cuts):
    durations, endings, entry, weights = arrays(rows)
    found = person_time(durations, endings, cuts=cuts, entry=entry, weights=weights)
    for start, stop, events, exposure in found.itertuples(index=False):
        days = [sum(start < day <= stop for day in range(e + 1, x + 1)) for x, _, e, _ in rows]
        assert exposure == np.dot(days, weights)
        within = [(start < x <= stop) or (x == 0 and start == 0) for x in durations]
        assert events == weights[(endings == 1) & np.array(within)].sum()


@given(spells, cut_lists)
def test_a_tally_and_its_rows_give_the_same_bands(rows, cuts):
    durations, endings, entry, weights = arrays(rows)
    repeated = [np.repeat(column, weights) for column in (durations, endings, entry)]
    pd.testing.assert_frame_equal(
        person_time(durations, endings, cuts=cuts, entry=entry, weights=weights),
        person_time(repeated[0], repeated[1], cuts=cuts, entry=repeated[2]),
    )


def test_nobody_observed_gives_bands_of_nothing():
    found = person_time([], [], cuts=[42])
    assert found["events"].tolist() == [0, 0]
    assert found["exposure"].tolist() == [0, 0]
    assert len(person_time([], [])) == 1


@pytest.mark.parametrize("cuts", [[0, 5], [5, 5], [5, 3], [-1], [5, np.inf], [np.nan]])
def test_cuts_that_do_not_rise_from_above_0_are_refused(cuts):
    with pytest.raises(ValueError, match="cuts must rise from above 0, got"):
        person_time([3], [1], cuts=cuts)


def test_endings_other_than_0_and_1_are_refused():
    with pytest.raises(ValueError, match="endings must be 0"):
        person_time([3], [2], cuts=[1])
