"""Life tables: worked by hand, against curves on fine intervals, by property, edges, refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines.utils import survival_table_from_events

from audit.statistics.competing import cumulative_incidence, incidence_at_times
from audit.statistics.life_tables import COLUMNS, EMPTY, EMPTY_FOR_CAUSE, life_table, life_table_from_counts
from audit.statistics.survival import kaplan_meier

CAUSES = {"first": 1, "second": 2}
PROPORTIONS = ["survival", "cause_specific", "cause_deleted"]
spell = st.integers(0, 20).flatmap(
    lambda exit: st.tuples(
        st.just(exit), st.integers(0, 2), st.integers(0, max(exit - 1, 0)), st.integers(1, 4)
    )
)
spells = st.lists(spell, min_size=1, max_size=25)
cut_lists = st.lists(st.integers(1, 22), unique=True, min_size=1, max_size=5).map(sorted)


def arrays(rows):
    """Return durations, endings, entry and weights."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def of(table, cause):
    return table[table["cause"] == cause].reset_index(drop=True)


def test_two_intervals_worked_by_hand():
    # 10 begin. (0, 6]: 2 end by the first cause, 1 by the second, 2 withdraw  -> 9 exposed, 8.5 to the first.
    # 5 go on. (6, 12]: 1 ends by the second cause, 2 withdraw                 -> 4 exposed, 3.5 to the first.
    durations = [1, 6, 3, 2, 5, 7, 8, 9, 13, 14]
    endings = [1, 1, 2, 0, 0, 2, 0, 0, 0, 1]
    table = life_table(durations, endings, cuts=[6, 12], causes=CAUSES)
    first, second = of(table, "first"), of(table, "second")
    assert first["at_start"].tolist() == [10, 5]
    assert first["withdrawn"].tolist() == [2, 2]
    assert (first["events"].tolist(), second["events"].tolist()) == ([2, 0], [1, 1])
    assert first["exposed"].tolist() == [9, 4]
    assert first["exposed_to_cause"].tolist() == [8.5, 3.5]
    assert first["survival"].tolist() == pytest.approx([6 / 9, 6 / 9 * 3 / 4])
    assert first["cause_specific"].tolist() == pytest.approx([2 / 9, 2 / 9])
    assert second["cause_specific"].tolist() == pytest.approx([1 / 9, 1 / 9 + 6 / 9 * 1 / 4])
    assert first["cause_deleted"].tolist() == pytest.approx([2 / 8.5, 2 / 8.5])
    assert second["cause_deleted"].tolist() == pytest.approx([1 / 8, 1 - 7 / 8 * 3 / 4])
    # Greenwood: S sqrt(3 / (9 * 6)) and S sqrt(3 / (9 * 6) + 1 / (4 * 3)); 2 / 9 of 9 for the first cause.
    errors = [6 / 9 * (1 / 18) ** 0.5, 1 / 2 * (1 / 18 + 1 / 12) ** 0.5]
    assert first["survival_standard_error"].tolist() == pytest.approx(errors)
    assert first["cause_specific_standard_error"][0] == pytest.approx((2 / 9 * 7 / 9 / 9) ** 0.5)
    assert first["cause_deleted_standard_error"][0] == pytest.approx(6.5 / 8.5 * (2 / (8.5 * 6.5)) ** 0.5)
    assert first["caution"].tolist() == ["", ""]


def test_times_at_the_ends_of_intervals_go_where_they_were_observed():
    # At 6: an event belongs to (0, 6]; an end of observation and an entry belong to (6, 12]; at 0 all to (0, 6].
    table = of(
        life_table([6, 6, 9, 0, 0], [1, 0, 0, 1, 0], cuts=[6, 12], causes={"x": 1}, entry=[0, 0, 6, 0, 0]),
        "x",
    )
    assert table["events"].tolist() == [2, 0]
    assert table["withdrawn"].tolist() == [1, 2]
    assert table["at_start"].tolist() == [4, 2]
    assert table["entered"].tolist() == [0, 0]
    within = of(life_table([9, 12], [0, 1], cuts=[6, 12], causes={"x": 1}, entry=[0, 7]), "x")
    assert within["entered"].tolist() == [0, 1]
    assert within["exposed"].tolist() == [1, 1]


def test_what_lies_beyond_the_table_is_left_out():
    table = of(life_table([20, 30, 5], [1, 0, 1], cuts=[6, 12], causes={"x": 1}, entry=[0, 15, 0]), "x")
    assert table["at_start"].tolist() == [2, 1]
    assert table["events"].tolist() == [1, 0]
    assert table["withdrawn"].tolist() == [0, 0]


@given(spells)
def test_on_intervals_of_one_time_without_withdrawal_the_table_is_the_curve(rows):
    durations, endings, _, weights = arrays(rows)
    # Ends of observation are moved past the table, entries to its start, so that halves play no part.
    later = np.where(endings == 0, 40, durations)
    table = life_table(later, endings, cuts=range(1, 22), causes=CAUSES, weights=weights)
    # The table counts events at time 0 among those of (0, 1].
    moved = np.maximum(later, 1)
    curves = cumulative_incidence(moved, endings, weights=weights, causes=[1, 2])
    for code, name in ((1, "first"), (2, "second")):
        read = incidence_at_times(curves, np.arange(1, 22))
        read = read[read["cause"] == code].reset_index(drop=True)
        known = read["incidence"].notna()
        ours = of(table, name)
        np.testing.assert_allclose(ours["survival"][known], read["survival"][known], atol=1e-12)
        np.testing.assert_allclose(ours["cause_specific"][known], read["incidence"][known], atol=1e-12)
        np.testing.assert_allclose(
            ours["cause_specific_standard_error"][known], read["standard_error"][known], atol=1e-9
        )


@pytest.mark.parametrize("seed", range(20))
def test_the_counts_agree_with_those_of_lifelines(seed):
    random = np.random.default_rng(seed)
    durations, endings = random.uniform(0.1, 11.9, 80), random.integers(0, 2, 80)
    ours = of(life_table(durations, endings, cuts=[3, 6, 9, 12], causes={"x": 1}), "x")
    theirs = survival_table_from_events(durations, endings, collapse=True, intervals=[0, 3, 6, 9, 12])
    assert ours["events"].tolist() == theirs["observed"].tolist()
    assert ours["withdrawn"].tolist() == theirs["censored"].tolist()
    assert ours["at_start"].tolist() == theirs["at_risk"].tolist()


@given(spells, cut_lists)
def test_proportions_are_proportions_and_add_up(rows, cuts):
    durations, endings, entry, weights = arrays(rows)
    table = life_table(durations, endings, cuts=cuts, causes=CAUSES, entry=entry, weights=weights)
    known = table["survival"].notna()
    assert known.eq(table["caution"] != EMPTY).all()
    for name in PROPORTIONS:
        shown = table[name].dropna()
        assert shown.between(-1e-12, 1 + 1e-12).all()
    total = of(table, "first")["cause_specific"] + of(table, "second")["cause_specific"]
    np.testing.assert_allclose((total + of(table, "first")["survival"]).dropna(), 1, rtol=0, atol=1e-12)
    # What a cause would have done alone is at least what it did among others.
    both = table.dropna(subset=["cause_deleted", "cause_specific"])
    assert (both["cause_deleted"] >= both["cause_specific"] - 1e-12).all()
    errors = table[[f"{name}_standard_error" for name in PROPORTIONS]].stack()
    assert (errors >= 0).all()


@given(spells, cut_lists)
def test_everybody_is_accounted_for(rows, cuts):
    durations, endings, entry, weights = arrays(rows)
    table = life_table(durations, endings, cuts=cuts, causes=CAUSES, entry=entry, weights=weights)
    first, second = of(table, "first"), of(table, "second")
    assert first["events"].sum() == weights[(endings == 1) & (durations <= cuts[-1])].sum()
    assert second["events"].sum() == weights[(endings == 2) & (durations <= cuts[-1])].sum()
    assert first["withdrawn"].sum() == weights[(endings == 0) & (durations < cuts[-1])].sum()
    for row in first.itertuples():
        there = ((entry == 0) | (entry <= row.start)) & (
            (durations > row.start) | ((durations == row.start) & ((endings == 0) | (row.start == 0)))
        )
        assert row.at_start == weights[there].sum()


@given(spells, cut_lists)
def test_a_tally_and_its_rows_give_the_same_table(rows, cuts):
    durations, endings, entry, weights = arrays(rows)
    repeated = [np.repeat(column, weights) for column in (durations, endings, entry)]
    pd.testing.assert_frame_equal(
        life_table(durations, endings, cuts=cuts, causes=CAUSES, entry=entry, weights=weights),
        life_table(repeated[0], repeated[1], cuts=cuts, causes=CAUSES, entry=repeated[2]),
    )


def test_fine_intervals_come_close_to_the_product_limit_curve():
    random = np.random.default_rng(3)
    durations, endings = random.exponential(300, 400), random.integers(0, 2, 400)
    table = of(life_table(durations, endings, cuts=range(1, 366), causes={"x": 1}), "x")
    curve = kaplan_meier(durations, endings)
    at_year = curve[curve["time"] <= 365].iloc[-1]
    assert table["survival"].iloc[-1] == pytest.approx(at_year["survival"], abs=2e-3)
    assert table["survival_standard_error"].iloc[-1] == pytest.approx(at_year["standard_error"], rel=0.02)


def test_after_an_interval_with_nobody_there_nothing_is_known():
    table = of(life_table([3, 15, 16], [0, 1, 0], cuts=[6, 12, 18], causes={"x": 1}, entry=[0, 13, 13]), "x")
    assert table["survival"].tolist() == pytest.approx([1, np.nan, np.nan], nan_ok=True)
    assert table["caution"].tolist() == ["", EMPTY, EMPTY]
    assert table.loc[1:, PROPORTIONS].isna().all(axis=None)


def test_where_more_have_the_event_than_are_exposed_nothing_is_known():
    # Three enter within (0, 6], which makes 1.5 exposed, and two of them have the event there.
    crowded = of(life_table([3, 4, 20], [1, 1, 0], cuts=[6, 12], causes={"x": 1}, entry=[1, 1, 1]), "x")
    assert crowded["exposed"].tolist() == [1.5, 1]
    assert crowded[PROPORTIONS].isna().all(axis=None)
    assert crowded["caution"].tolist() == [EMPTY, EMPTY]
    # With one more from the start 2.5 are exposed.
    enough = of(life_table([3, 4, 20, 20], [1, 1, 0, 0], cuts=[6], causes={"x": 1}, entry=[1, 1, 1, 0]), "x")
    assert enough["survival"].tolist() == pytest.approx([1 - 2 / 2.5])


def test_where_all_end_by_another_cause_this_cause_alone_is_unknown_from_there_on():
    table = life_table([2, 3, 3], [1, 2, 2], cuts=[6, 12], causes=CAUSES)
    first = of(table, "first")
    assert first["survival"].tolist() == [0, 0]
    assert first["cause_specific"].tolist() == pytest.approx([1 / 3, 1 / 3])
    assert first["cause_deleted"].tolist() == pytest.approx([1 / 2, np.nan], nan_ok=True)
    assert first["caution"].tolist() == ["", EMPTY_FOR_CAUSE]
    assert np.isnan(first["survival_standard_error"]).all()


def test_nobody_no_event_or_no_cause_gives_a_defined_table():
    nobody = life_table([], [], cuts=[6], causes={"x": 1})
    assert nobody["survival"].isna().all()
    assert nobody["caution"].tolist() == [EMPTY]
    quiet = life_table([20, 20], [0, 0], cuts=[6], causes={"x": 1})
    assert quiet[["survival", "cause_specific", "cause_deleted"]].to_numpy().tolist() == [[1, 0, 0]]
    assert quiet["survival_standard_error"].tolist() == [0]
    without = life_table([3], [0], cuts=[6], causes={})
    assert without.empty
    assert tuple(without.columns) == tuple(nobody.columns) == COLUMNS


COUNTED = pd.DataFrame({"start": [0], "stop": [6], "joined": [5], "entered": [0], "withdrawn": [2], "x": [1]})


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (
            COUNTED.drop(columns="entered"),
            "must have the columns of counts and causes, got none named entered",
        ),
        (COUNTED.drop(columns="x"), "got none named x"),
        (COUNTED.assign(x=-1), "x must be whole numbers of zero or more, got -1"),
        (COUNTED.assign(withdrawn=1.5), "withdrawn must be whole numbers of zero or more, got 1.5"),
        (COUNTED.assign(joined=np.nan), "joined must be whole numbers of zero or more, got nan"),
        (COUNTED.assign(x=4), "no more may leave than are there, got 1 too many in interval 1"),
    ],
)
def test_counts_that_cannot_be_are_refused(table, message):
    with pytest.raises(ValueError, match=message):
        life_table_from_counts(table, causes=["x"])


def test_wrong_times_cuts_and_causes_are_refused():
    with pytest.raises(ValueError, match=r"causes must name every ending seen, got \{'x': 1\} without 2"):
        life_table([3], [2], cuts=[6], causes={"x": 1})
    with pytest.raises(ValueError, match="cuts must rise from above 0, got"):
        life_table([3], [1], cuts=[6, 6], causes={"x": 1})
    with pytest.raises(ValueError, match="a positive entry must lie before its duration, got 1 that do not"):
        life_table([3], [1], cuts=[6], causes={"x": 1}, entry=[3])
