"""Time under observation: worked by hand, a slow recount, properties, refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.completeness import completeness_index, reverse_kaplan_meier
from audit.statistics.curves import survival_quantile
from audit.statistics.survival import GAP, kaplan_meier

spell = st.integers(0, 8).flatmap(
    lambda exit: st.tuples(
        st.just(exit), st.integers(0, 2), st.integers(0, max(exit - 1, 0)), st.integers(1, 4)
    )
)
spells = st.lists(spell, min_size=1, max_size=25)
seen = st.tuples(st.integers(0, 9), st.integers(0, 1), st.integers(0, 5), st.integers(1, 3))


def arrays(rows):
    """Return the columns of rows."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_five_spells_worked_by_hand():
    # 1 -o            at 1: 5 at risk, 1 end of observation           -> 4/5
    # 2 --x           at 2: 4 watched, 1 has the event and leaves 3
    # 3 ---o          at 3: 3 at risk, 1 end                          -> 4/5 * 2/3
    # 4 ----x         at 4: 2 watched, 1 has the event, the other's
    # 5 ----o               observation ends: 1 at risk               -> 0
    curve = reverse_kaplan_meier([1, 2, 3, 4, 4], [0, 1, 0, 2, 0])
    assert curve["at_risk"].tolist() == [5, 5, 3, 3, 1]
    assert curve["events"].tolist() == [0, 1, 0, 1, 1]
    assert curve["censored"].tolist() == [0, 0, 1, 0, 1]
    assert curve["survival"].tolist() == pytest.approx([1, 4 / 5, 4 / 5, 8 / 15, 0])
    assert survival_quantile(curve).value == 4


@given(spells)
def test_events_moved_half_a_step_earlier_give_the_curve_of_swapped_codes(rows):
    durations, endings, entry, weights = arrays(rows)
    # One step later all of them, so that an event at 0 can move, too.
    later, entry = durations + 1, np.where(entry > 0, entry + 1, 0)
    found = reverse_kaplan_meier(later, endings, entry=entry, weights=weights)
    moved = np.where(endings > 0, later - 0.5, later)
    swapped = kaplan_meier(moved, endings == 0, entry=entry, weights=weights)
    at_ends = found[found["events"] > 0].merge(swapped, on="time", suffixes=("", "_swapped"))
    assert len(at_ends) == (found["events"] > 0).sum()
    known = at_ends["survival"].notna() & at_ends["survival_swapped"].notna()
    np.testing.assert_allclose(at_ends["survival"][known], at_ends["survival_swapped"][known], rtol=1e-12)
    if not entry.any():
        assert known.all()


@given(spells)
def test_a_curve_of_observation_falls_from_1_within_its_limits_or_is_unknown_and_says_so(rows):
    durations, endings, entry, weights = arrays(rows)
    curve = reverse_kaplan_meier(durations, endings, entry=entry, weights=weights)
    known = curve[curve["survival"].notna()]
    assert (known["survival"].diff().dropna() <= 0).all()
    assert known["survival"].between(known["ci_lower"] - 1e-12, known["ci_upper"] + 1e-12).all()
    assert known[["ci_lower", "ci_upper"]].stack().between(0, 1).all()
    assert ((curve["caution"] == GAP) == curve["survival"].isna()).all()
    assert curve["events"].sum() == weights[endings == 0].sum()
    assert curve["censored"].sum() == weights[endings > 0].sum()


@given(spells)
def test_a_tally_and_its_rows_give_the_same_curve_of_observation(rows):
    durations, endings, entry, weights = arrays(rows)
    repeated = [np.repeat(column, weights) for column in (durations, endings, entry)]
    pd.testing.assert_frame_equal(
        reverse_kaplan_meier(durations, endings, entry=entry, weights=weights),
        reverse_kaplan_meier(repeated[0], repeated[1], entry=repeated[2]),
    )


def test_where_all_had_the_event_nothing_is_known_of_how_long_they_would_have_been_observed():
    curve = reverse_kaplan_meier([2, 3], [1, 1])
    assert curve["survival"].tolist() == [1, 1, 1]
    assert np.isnan(survival_quantile(curve).value)


def test_where_none_had_the_event_the_median_observed_is_that_of_the_times():
    assert survival_quantile(reverse_kaplan_meier([1, 2, 7, 8, 9], [0] * 5)).value == 7


def test_after_a_gap_the_time_observed_is_unknown_and_says_why():
    curve = reverse_kaplan_meier([5, 5, 9], [1, 0, 0], entry=[0, 0, 7])
    assert curve["survival"].tolist() == pytest.approx([1, np.nan, np.nan, np.nan], nan_ok=True)
    assert curve["caution"].tolist() == ["", GAP, GAP, GAP]
    # All who are watched have the event as another enters: somebody is watched all the time.
    bridged = reverse_kaplan_meier([5, 9, 9], [1, 0, 1], entry=[0, 5, 5])
    assert bridged["survival"].tolist() == pytest.approx([1, 1, 0])


def test_nobody_gives_an_empty_frame_with_the_columns_of_the_curve():
    curve = reverse_kaplan_meier([], [])
    assert curve.empty
    assert curve.columns.tolist() == kaplan_meier([3], [1]).columns.tolist()


@given(st.lists(seen, min_size=1, max_size=20))
def test_the_completeness_of_rows_is_that_of_their_tally_and_of_a_slow_count(rows):
    durations, endings, missed, weights = arrays(rows)
    found = completeness_index(durations, endings, durations + missed, weights=weights)
    long = [np.repeat(column, weights) for column in (durations, endings, durations + missed)]
    again = completeness_index(*long)
    assert (again.n, again.complete) == (found.n, found.complete)
    expected = sum(n * (exit if ended else exit + late) for exit, ended, late, n in rows)
    assert found.potential_time == again.potential_time == expected
    assert found.observed_time == np.dot(durations, weights)
    assert found.complete == sum(n for _, ended, late, n in rows if ended or late == 0)
    assert np.isnan(found.index) if expected == 0 else 0 <= found.index <= 1


def test_nobody_or_no_time_has_no_completeness():
    nobody = completeness_index([], [], [])
    assert (nobody.n, nobody.complete, nobody.observed_time) == (0, 0, 0)
    assert np.isnan([nobody.share, nobody.index]).all()
    at_once = completeness_index([0], [1], [30])
    assert at_once.share == 1
    assert np.isnan(at_once.index)


@pytest.mark.parametrize(
    ("durations", "endings", "potential", "weights", "message"),
    [
        ([3, 9], [0, 0], [5, 7], None, "durations must not exceed potential, got 1 that do, first 9 of 7"),
        ([3, 4], [0, 0], [5], None, "potential must be as long as durations, got 1 and 2"),
        ([3], [0], [np.nan], None, "potential must be finite and zero or more, got nan"),
        ([-3], [0], [4], None, "durations must be finite and zero or more"),
        ([3], [-1], [4], None, "endings must be whole numbers of zero or more, got -1"),
        ([3], [0], [4], [0.5], "weights must be whole numbers of zero or more, got 0.5"),
        ([3, 4], [0, 1], [5, 5], [1], "must be equally long"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(durations, endings, potential, weights, message):
    with pytest.raises(ValueError, match=message):
        completeness_index(durations, endings, potential, weights=weights)


def test_a_wrong_transform_or_confidence_is_refused_by_name():
    with pytest.raises(ValueError, match="transform must be one of log_log, log, plain, got 'arcsine'"):
        reverse_kaplan_meier([3], [1], transform="arcsine")
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, got 1"):
        reverse_kaplan_meier([3], [1], confidence=1)


def test_rows_that_stand_for_nobody_keep_no_potential_time():
    found = completeness_index([9, 10, 4, 5], [0, 0, 1, 0], [9, 10, 12, 11], weights=[0, 1, 2, 3])
    alone = completeness_index([10, 4, 5], [0, 1, 0], [10, 12, 11], weights=[1, 2, 3])
    assert found == alone
    assert (found.n, found.potential_time) == (6, 10 + 2 * 4 + 3 * 11)
