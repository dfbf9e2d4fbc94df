"""Gray's test: worked by hand, against the log-rank test, by property, its size under the null, refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.curve_comparison import log_rank
from audit.statistics.gray_test import gray_test

spell = st.tuples(st.integers(0, 8), st.integers(0, 3), st.integers(1, 3), st.sampled_from(["a", "b", "c"]))
spells = st.lists(spell, min_size=2, max_size=30)


def arrays(rows):
    """Return durations, endings, weights and groups."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_expected_events_worked_by_hand():
    # a  x1 x1 x2        at 1, 2: h = R = Y in both groups: a expects 3/6 and then 2/5 of one event each.
    # b        x2 x1 o   at 5: in a nobody is left; b expects the whole event.
    found = gray_test([1, 2, 3, 4, 5, 6], [1, 1, 2, 2, 1, 0], ["a", "a", "a", "b", "b", "b"], cause=1)
    assert found.groups["observed"].tolist() == [2, 1]
    assert found.groups["expected"].tolist() == pytest.approx([3 / 6 + 2 / 5, 3 / 6 + 3 / 5 + 1])


def test_those_ended_by_another_cause_keep_their_share_of_the_expected_events():
    # a  x2 o o     at 2: S = 2/3 in a, so its 2 at risk stand for h = 3 who were not censored by then.
    # b     x1 o    R = 3 in a and 2 in b: a expects 3/5, not the 2/4 of a log-rank test.
    durations, endings, groups = [1, 3, 3, 2, 3], [2, 0, 0, 1, 0], ["a", "a", "a", "b", "b"]
    found = gray_test(durations, endings, groups, cause=1)
    assert found.groups["expected"].tolist() == pytest.approx([3 / 5, 2 / 5])
    plain = log_rank(durations, [0, 0, 0, 1, 0], groups)
    assert plain.groups["expected"].tolist() == pytest.approx([2 / 4, 2 / 4])


@pytest.mark.parametrize("seed", range(20))
def test_without_another_cause_the_score_is_that_of_the_log_rank_test(seed):
    random = np.random.default_rng(seed)
    size = int(random.integers(20, 120))
    durations, endings = random.integers(0, 12, size), random.integers(0, 2, size)
    groups = random.integers(0, 3, size)
    ours, plain = gray_test(durations, endings, groups, cause=1), log_rank(durations, endings, groups)
    np.testing.assert_allclose(ours.groups["observed"], plain.groups["observed"], rtol=1e-9)
    np.testing.assert_allclose(ours.groups["expected"], plain.groups["expected"], rtol=1e-9)


@given(spells, st.randoms(use_true_random=False))
def test_order_labels_and_tallying_change_nothing(rows, random):
    durations, endings, weights, groups = arrays(rows)
    plain = gray_test(durations, endings, groups, cause=1, weights=weights)
    order = list(range(len(rows)))
    random.shuffle(order)
    repeated = np.repeat(order, weights[order])
    renamed = np.array([0, 7, 2, 3])[endings]
    other = gray_test(durations[repeated], renamed[repeated], groups[repeated], cause=7)
    assert other.chi_square == pytest.approx(plain.chi_square, rel=1e-6, abs=1e-8, nan_ok=True)
    assert other.degrees_of_freedom == plain.degrees_of_freedom
    assert other.groups["n"].tolist() == plain.groups["n"].tolist()


@given(spells)
def test_observed_and_expected_events_add_up_and_the_test_is_defined_or_nan(rows):
    durations, endings, weights, groups = arrays(rows)
    found = gray_test(durations, endings, groups, cause=1, weights=weights)
    assert found.groups["observed"].sum() == weights[endings == 1].sum()
    assert found.groups["expected"].sum() == pytest.approx(found.groups["observed"].sum())
    assert np.isnan(found.chi_square) == np.isnan(found.p_value) == (found.degrees_of_freedom == 0)
    assert np.isnan(found.p_value) or 0 <= found.p_value <= 1


@given(spells, st.floats(0.01, 100))
def test_only_the_order_of_the_times_matters(rows, unit):
    durations, endings, weights, groups = arrays(rows)
    once = gray_test(durations, endings, groups, cause=1, weights=weights)
    scaled = gray_test(durations * unit, endings, groups, cause=1, weights=weights)
    assert scaled.chi_square == pytest.approx(once.chi_square, nan_ok=True)


def test_one_stratum_for_all_changes_nothing_and_strata_of_one_group_tell_nothing():
    durations, endings, groups = [1, 2, 3, 4, 5, 6], [1, 1, 2, 2, 1, 0], ["a", "a", "a", "b", "b", "b"]
    plain = gray_test(durations, endings, groups, cause=1)
    assert gray_test(durations, endings, groups, cause=1, strata=[4] * 6).chi_square == plain.chi_square
    apart = gray_test(durations, endings, groups, cause=1, strata=groups)
    assert np.isnan(apart.chi_square)
    assert apart.groups["n"].tolist() == [3, 3]


def test_two_copies_of_one_group_do_not_differ():
    found = gray_test([1, 2, 5, 1, 2, 5], [1, 2, 1, 1, 2, 1], [0, 0, 0, 1, 1, 1], cause=1)
    assert found.chi_square == pytest.approx(0, abs=1e-12)
    assert found.p_value == pytest.approx(1)


@pytest.mark.parametrize(
    ("durations", "endings", "groups"),
    [
        ([1, 2], [0, 2], ["a", "b"]),
        ([1, 2], [1, 1], ["a", "a"]),
        ([], [], []),
        # b is gone before a's only event.
        ([5, 2], [1, 0], ["a", "b"]),
        # So tied that the correction for ties makes the variance negative.
        ([1, 3, 3, 3], [1, 1, 1, 1], ["a", "a", "b", "b"]),
        # All of a have the event at once; the joint incidence comes to 1 while b's last is still to come.
        ([1, 1, 1, 1, 2, 3, 4, 5], [1] * 8, ["a"] * 4 + ["b"] * 4),
    ],
)
def test_where_no_test_can_be_made_the_figures_are_nan(durations, endings, groups):
    found = gray_test(durations, endings, groups, cause=1)
    assert np.isnan([found.chi_square, found.p_value]).all()
    assert found.degrees_of_freedom == 0
    assert len(found.groups) == len(set(groups))


@pytest.mark.slow
def test_under_the_null_five_in_a_hundred_tests_reject():
    random = np.random.default_rng(11)
    p_values = []
    for _ in range(2000):
        durations = np.ceil(random.exponential(20, 150))
        endings = np.where(durations > 40, 0, random.integers(1, 3, 150))
        held = np.minimum(durations, 40)
        p_values.append(gray_test(held, endings, random.integers(0, 3, 150), cause=1).p_value)
    # Four standard errors of 5% in 2,000, and of the mean of a uniform p-value.
    assert np.mean(np.array(p_values) < 0.05) == pytest.approx(0.05, abs=0.02)
    assert np.mean(p_values) == pytest.approx(0.5, abs=0.026)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"cause": 0}, "cause must be a whole number of 1 or more, got 0"),
        ({"cause": 1.5}, "cause must be a whole number of 1 or more, got 1.5"),
        ({"groups": ["a"]}, "groups must be as long as durations, got 1 and 2"),
        ({"groups": ["a", None]}, "groups must not be missing, got 1 that are"),
        ({"strata": [1]}, "strata must be as long as durations, got 1 and 2"),
        ({"endings": [1, -2]}, "endings must be whole numbers of zero or more, got -2"),
        ({"durations": [-3, 4]}, "durations must be finite and zero or more"),
        ({"weights": [1]}, "must be equally long"),
        ({"weights": [1, 0.5]}, "weights must be whole numbers of zero or more, got 0.5"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(options, message):
    given = {"durations": [3, 4], "endings": [1, 2], "groups": ["a", "b"], "cause": 1} | options
    with pytest.raises(ValueError, match=message):
        gray_test(given.pop("durations"), given.pop("endings"), given.pop("groups"), **given)
