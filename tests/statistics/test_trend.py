"""The trend over ordered groups: against statsmodels, by property, at the edges."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.contingency_tables import Table

from audit.statistics.trend import cochran_armitage
from audit.statistics.two_groups import chi_square_2x2

groups = st.lists(
    st.integers(1, 80).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=2, max_size=6
)


def arrays(pairs):
    events, n = np.array(pairs).T
    assume(0 < events.sum() < n.sum())
    return events, n


@given(groups)
def test_the_trend_is_statsmodels_with_divisor_n_for_n_minus_1(pairs):
    events, n = arrays(pairs)
    found = cochran_armitage(events, n)
    table = Table(np.column_stack([n - events, events]), shift_zeros=False)
    theirs = table.test_ordinal_association(row_scores=np.arange(n.size), col_scores=np.array([0, 1]))
    total = n.sum()
    assert found.chi_square == pytest.approx(theirs.zscore**2 * total / (total - 1), rel=1e-9, abs=1e-12)
    assert np.sign(found.z) == pytest.approx(np.sign(round(theirs.zscore, 12)), abs=0) or abs(found.z) < 1e-9


def test_500_random_trends_with_any_scores_agree_with_statsmodels():
    random = np.random.default_rng(9)
    compared = 0
    for _ in range(500):
        n = random.integers(1, 90, random.integers(2, 7))
        events, scores = random.binomial(n, random.uniform(0.02, 0.6)), random.normal(0, 5, n.size)
        total = n.sum()
        if 0 < events.sum() < total:
            found = cochran_armitage(events, n, scores=scores)
            table = Table(np.column_stack([n - events, events]), shift_zeros=False)
            theirs = table.test_ordinal_association(row_scores=scores, col_scores=np.array([0, 1]))
            assert found.z == pytest.approx(theirs.zscore * np.sqrt(total / (total - 1)), rel=1e-9, abs=1e-9)
            compared += 1
    assert compared > 450


@given(groups)
def test_trend_and_departure_add_up_to_pearsons_homogeneity(pairs):
    events, n = arrays(pairs)
    found = cochran_armitage(events, n)
    expected = stats.chi2_contingency(np.column_stack([events, n - events]), correction=False)
    assert found.homogeneity_chi_square == pytest.approx(expected.statistic, rel=1e-9, abs=1e-12)
    assert found.homogeneity_p_value == pytest.approx(expected.pvalue, rel=1e-9)
    assert found.chi_square + found.departure_chi_square == pytest.approx(expected.statistic, abs=1e-9)
    assert found.departure_degrees == n.size - 2
    if n.size > 2:
        departure = stats.chi2.sf(found.departure_chi_square, n.size - 2)
        assert found.departure_p_value == pytest.approx(departure, rel=1e-9)


@given(groups, st.floats(-50, 50), st.floats(0.1, 20))
def test_the_origin_and_unit_of_the_scores_do_not_matter(pairs, origin, unit):
    events, n = arrays(pairs)
    plain = cochran_armitage(events, n)
    moved = cochran_armitage(events, n, scores=origin + unit * np.arange(n.size))
    assert moved.z == pytest.approx(plain.z, rel=1e-6, abs=1e-6)
    assert moved.slope * unit == pytest.approx(plain.slope, rel=1e-6, abs=1e-9)


@given(groups)
def test_turning_the_scores_round_turns_the_sign(pairs):
    events, n = arrays(pairs)
    plain, turned = cochran_armitage(events, n), cochran_armitage(events[::-1], n[::-1])
    assert turned.z == pytest.approx(-plain.z, abs=1e-9)


def test_a_rise_of_a_tenth_per_score_is_called_rising():
    found = cochran_armitage([10, 20, 30], [100, 100, 100], scores=[1, 2, 3])
    assert found.slope == pytest.approx(0.1)
    assert found.direction == "rising"
    assert found.z > 0
    assert found.departure_chi_square == pytest.approx(0, abs=1e-12)
    assert cochran_armitage([30, 20, 10], [100, 100, 100]).direction == "falling"
    assert cochran_armitage([10, 20, 10], [100, 100, 100]).direction == "none"


def test_two_groups_give_pearsons_chi_square_and_no_departure_test():
    found = cochran_armitage([7, 1], [34, 34])
    assert found.chi_square == pytest.approx(chi_square_2x2(7, 34, 1, 34).statistic)
    assert np.isnan(found.departure_p_value)
    assert found.departure_degrees == 0


def test_an_empty_group_is_left_out():
    with_gap = cochran_armitage([3, 0, 9], [30, 0, 30], scores=[0, 1, 2])
    without = cochran_armitage([3, 9], [30, 30], scores=[0, 2])
    assert with_gap.z == without.z
    assert with_gap.homogeneity_degrees == 1


@pytest.mark.parametrize(
    ("events", "n"), [([0, 0, 0], [5, 5, 5]), ([5, 5], [5, 5]), ([2, 0], [5, 0]), ([], []), ([0, 0], [0, 0])]
)
def test_where_no_test_can_be_made_the_figures_are_nan(events, n):
    found = cochran_armitage(events, n)
    assert found.direction == "none"
    figures = [found.z, found.chi_square, found.p_value, found.homogeneity_p_value, found.departure_p_value]
    assert np.isnan(figures).all()
    assert found.homogeneity_degrees == max(np.count_nonzero(n) - 1, 0)
    assert found.departure_degrees == max(np.count_nonzero(n) - 2, 0)


@pytest.mark.parametrize(
    ("events", "n", "scores", "message"),
    [
        ([1, 9], [5, 5], None, "events must not exceed n, got 9 of 5"),
        ([1, 2], [5, 5], [1], "scores must be finite, one per group"),
        ([1, 2], [5, 5], [1, np.nan], "scores must be finite, one per group"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(events, n, scores, message):
    with pytest.raises(ValueError, match=message):
        cochran_armitage(events, n, scores=scores)
