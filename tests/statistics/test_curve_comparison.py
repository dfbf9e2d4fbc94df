"""Log-rank and Peto-Peto tests: worked by hand, against lifelines and statsmodels, by property."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines.statistics import multivariate_logrank_test
from statsmodels.duration.survfunc import survdiff

from audit.statistics.curve_comparison import log_rank, peto_peto

spell = st.integers(1, 8).flatmap(
    lambda exit: st.tuples(
        st.just(exit),
        st.integers(0, 1),
        st.integers(0, exit - 1),
        st.integers(1, 3),
        st.sampled_from(["a", "b", "c"]),
    )
)
spells = st.lists(spell, min_size=2, max_size=30)


def arrays(rows):
    """Return durations, endings, entry, weights and groups."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_four_spells_worked_by_hand():
    # a: events at 1 and 2; b: events at 3 and 4. Expected in a: 2/4 + 1/3; variance 1/4 + 2/9.
    found = log_rank([1, 2, 3, 4], [1, 1, 1, 1], ["a", "a", "b", "b"])
    assert found.groups["expected"].tolist() == pytest.approx([5 / 6, 19 / 6])
    assert found.chi_square == pytest.approx((2 - 5 / 6) ** 2 / (1 / 4 + 2 / 9))
    # Peto-Peto weighs the two times 1 and 3/4: difference 1/2 + 1/2, variance 1/4 + 9/16 * 2/9.
    weighted = peto_peto([1, 2, 3, 4], [1, 1, 1, 1], ["a", "a", "b", "b"])
    assert weighted.chi_square == pytest.approx(1 / (1 / 4 + 1 / 8))
    assert weighted.groups["observed"].tolist() == pytest.approx([1.75, 0.75])


@pytest.mark.parametrize("seed", range(40))
def test_the_test_agrees_with_lifelines_and_statsmodels(seed):
    random = np.random.default_rng(seed)
    size, groups = int(random.integers(20, 120)), int(random.integers(2, 5))
    durations, endings = random.integers(0, 12, size), random.integers(0, 2, size)
    group, weights = random.integers(0, groups, size), random.integers(1, 4, size)
    ours = log_rank(durations, endings, group, weights=weights)
    long = [np.repeat(column, weights) for column in (durations, group, endings)]
    lifelines = multivariate_logrank_test(*long)
    assert ours.chi_square == pytest.approx(lifelines.test_statistic, rel=1e-9)
    assert ours.p_value == pytest.approx(lifelines.p_value, rel=1e-8)
    assert ours.degrees_of_freedom == lifelines.degrees_of_freedom
    statistic, p_value = survdiff(long[0], long[2], long[1])
    assert ours.chi_square == pytest.approx(statistic, rel=1e-9)
    assert ours.p_value == pytest.approx(p_value, rel=1e-8)


@pytest.mark.parametrize("seed", range(20))
def test_the_test_with_late_entry_agrees_with_statsmodels(seed):
    random = np.random.default_rng(seed)
    durations, endings = random.integers(2, 12, 80), random.integers(0, 2, 80)
    entry, group = np.minimum(random.integers(0, 8, 80), durations - 1), random.integers(0, 3, 80)
    statistic, p_value = survdiff(durations, endings, group, entry=entry)
    ours = log_rank(durations, endings, group, entry=entry)
    assert ours.chi_square == pytest.approx(statistic, rel=1e-9)
    assert ours.p_value == pytest.approx(p_value, rel=1e-8)


@pytest.mark.parametrize("seed", range(20))
def test_the_stratified_test_agrees_with_statsmodels(seed):
    random = np.random.default_rng(seed)
    durations, endings = random.integers(1, 12, 120), random.integers(0, 2, 120)
    group, strata = random.integers(0, 3, 120), random.integers(0, 4, 120)
    # statsmodels (0.14, 0.15) fails on strata together with entry.
    statistic, p_value = survdiff(durations, endings, group, strata=strata)
    ours = log_rank(durations, endings, group, strata=strata)
    assert ours.chi_square == pytest.approx(statistic, rel=1e-9)
    assert ours.p_value == pytest.approx(p_value, rel=1e-8)
    assert ours.groups["n"].sum() == 120
    # The weights of Fleming and Harrington with p = 1 are the survival just before, those of Peto and Peto.
    held = np.append(durations, [20, 20, 20, 20]), np.append(endings, [0, 0, 0, 0])
    rows = (*held, np.append(group, [0, 0, 0, 0]))
    layers = np.append(strata, [0, 1, 2, 3])
    statistic, _ = survdiff(*rows, strata=layers, weight_type="fh", fh_p=1)
    assert peto_peto(*rows, strata=layers).chi_square == pytest.approx(statistic, rel=1e-9)


@given(spells, st.sampled_from([log_rank, peto_peto]))
def test_a_stratum_of_one_group_tells_nothing(rows, test):
    durations, endings, entry, weights, groups = arrays(rows)
    found = test(durations, endings, groups, entry=entry, weights=weights, strata=groups)
    assert np.isnan(found.chi_square)
    np.testing.assert_allclose(found.groups["observed"], found.groups["expected"])


@given(spells, st.sampled_from([log_rank, peto_peto]), st.randoms(use_true_random=False))
def test_order_labels_and_tallying_change_nothing(rows, test, random):
    durations, endings, entry, weights, groups = arrays(rows)
    plain = test(durations, endings, groups, entry=entry, weights=weights)
    order = list(range(len(rows)))
    random.shuffle(order)
    repeated = np.repeat(order, weights[order])
    relabelled = np.array([{"a": "z", "b": "y", "c": "x"}[group] for group in groups])
    other = test(durations[repeated], endings[repeated], relabelled[repeated], entry=entry[repeated])
    assert other.chi_square == pytest.approx(plain.chi_square, rel=1e-7, abs=1e-9, nan_ok=True)
    assert other.degrees_of_freedom == plain.degrees_of_freedom
    assert sorted(other.groups["n"]) == sorted(plain.groups["n"])


@given(spells, st.sampled_from([log_rank, peto_peto]))
def test_observed_and_expected_events_add_up(rows, test):
    durations, endings, entry, weights, groups = arrays(rows)
    found = test(durations, endings, groups, entry=entry, weights=weights)
    assert found.groups["observed"].sum() == pytest.approx(found.groups["expected"].sum())
    assert found.groups["n"].sum() == weights.sum()
    if test is log_rank:
        assert found.groups["observed"].sum() == weights[endings == 1].sum()
    assert np.isnan(found.chi_square) or found.chi_square >= -1e-9
    assert np.isnan(found.p_value) == np.isnan(found.chi_square)


def test_two_copies_of_one_group_do_not_differ():
    found = log_rank([1, 2, 5, 1, 2, 5], [1, 0, 1, 1, 0, 1], [0, 0, 0, 1, 1, 1])
    assert found.chi_square == pytest.approx(0, abs=1e-12)
    assert found.p_value == pytest.approx(1)


@pytest.mark.parametrize(
    ("durations", "endings", "groups"),
    [
        ([1, 2], [0, 0], ["a", "b"]),
        ([1, 2], [1, 1], ["a", "a"]),
        ([], [], []),
        # b is gone before a's only event.
        ([5, 2], [1, 0], ["a", "b"]),
    ],
)
def test_where_no_test_can_be_made_the_figures_are_nan(durations, endings, groups):
    for test in (log_rank, peto_peto):
        found = test(durations, endings, groups)
        assert np.isnan([found.chi_square, found.p_value]).all()
        assert found.degrees_of_freedom == 0
        assert len(found.groups) == len(set(groups))


def test_a_group_gone_before_the_first_event_costs_no_degree_of_freedom():
    found = log_rank([5, 6, 7, 7, 2], [1, 1, 1, 0, 0], ["a", "a", "b", "b", "c"])
    without = log_rank([5, 6, 7, 7], [1, 1, 1, 0], ["a", "a", "b", "b"])
    assert found.chi_square == pytest.approx(without.chi_square)
    assert found.degrees_of_freedom == 1
    assert found.groups.iloc[2].tolist() == ["c", 1, 0, 0]


@pytest.mark.parametrize(
    ("endings", "groups", "message"),
    [
        ([1, 0], ["a"], "groups must be as long as durations, got 1 and 2"),
        ([1, 0], ["a", None], "groups must not be missing, got 1 that are"),
        ([2, 0], ["a", "b"], "endings must be 0"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(endings, groups, message):
    with pytest.raises(ValueError, match=message):
        log_rank([3, 4], endings, groups)


def test_a_wrong_stratum_is_refused_by_name():
    with pytest.raises(ValueError, match="strata must be as long as durations, got 1 and 2"):
        log_rank([3, 4], [1, 0], ["a", "b"], strata=["x"])
    with pytest.raises(ValueError, match="strata must not be missing, got 1 that are"):
        log_rank([3, 4], [1, 0], ["a", "b"], strata=["x", None])
