"""Two groups compared: against statsmodels and scipy, by property, at the edges."""

from math import comb, fsum

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep

from audit.statistics.odds import fisher_exact, odds_ratio
from audit.statistics.two_groups import (
    chi_square_2x2,
    chi_square_2x2_yates,
    difference_interval,
    risk_ratio,
)


def group(largest):
    return st.integers(1, largest).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


tables = st.tuples(group(200), group(200)).map(lambda groups: groups[0] + groups[1])
small_tables = st.tuples(group(30), group(30)).map(lambda groups: groups[0] + groups[1])
INNER_TABLES = [(7, 34, 1, 34), (56, 70, 48, 80), (13, 258, 6, 226), (1, 317, 3, 321), (40, 48, 32, 50)]


@pytest.mark.parametrize("table", INNER_TABLES)
def test_the_limits_agree_with_statsmodels(table):
    for compare, method, ours in [
        ("diff", "newcomb", difference_interval(*table)),
        ("ratio", "log", risk_ratio(*table, method="katz")),
        ("odds-ratio", "logit", odds_ratio(*table, method="woolf")),
    ]:
        theirs = confint_proportions_2indep(*table, compare=compare, method=method)
        assert (ours.ci_lower, ours.ci_upper) == pytest.approx(theirs, rel=1e-9)
    for correction, method in [(True, "miettinen_nurminen"), (False, "koopman")]:
        ours = risk_ratio(*table, method=method)
        theirs = confint_proportions_2indep(*table, compare="ratio", method="score", correction=correction)
        assert (ours.ci_lower, ours.ci_upper) == pytest.approx(theirs, rel=1e-7)


def test_500_random_tables_agree_with_statsmodels():
    random = np.random.default_rng(4)
    n_1, n_2 = random.integers(2, 400, 500), random.integers(2, 400, 500)
    x_1, x_2 = (
        random.binomial(n_1, random.uniform(0, 1, 500)),
        random.binomial(n_2, random.uniform(0, 1, 500)),
    )
    # Where a cell is empty statsmodels has no logarithm to work with.
    inner = (x_1 > 0) & (x_1 < n_1) & (x_2 > 0) & (x_2 < n_2)
    assert inner.sum() > 450
    tables_of_counts = [counts[inner] for counts in (x_1, n_1, x_2, n_2)]
    for compare, method, ours in [
        ("diff", "newcomb", difference_interval(*tables_of_counts)),
        ("ratio", "log", risk_ratio(*tables_of_counts, method="katz")),
        ("odds-ratio", "logit", odds_ratio(*tables_of_counts, method="woolf")),
    ]:
        each = zip(*tables_of_counts, strict=True)
        theirs = np.array([confint_proportions_2indep(*row, compare=compare, method=method) for row in each])
        np.testing.assert_allclose(ours.ci_lower, theirs[:, 0], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(ours.ci_upper, theirs[:, 1], rtol=1e-9, atol=1e-12)
    for correction, method in [(True, "miettinen_nurminen"), (False, "koopman")]:
        ours = risk_ratio(*tables_of_counts, method=method)
        for place in range(0, inner.sum(), 10):
            row = [counts[place] for counts in tables_of_counts]
            theirs = confint_proportions_2indep(*row, compare="ratio", method="score", correction=correction)
            found = ours.ci_lower[place], ours.ci_upper[place]
            # statsmodels stops its own search at about 1e-8.
            assert found == pytest.approx(theirs, rel=1e-6)


@given(tables)
def test_a_difference_holds_its_estimate_and_changes_sign_with_the_groups(table):
    x_1, n_1, x_2, n_2 = table
    found, swapped = difference_interval(*table), difference_interval(x_2, n_2, x_1, n_1)
    assert -1 - 1e-12 <= found.ci_lower <= found.value <= found.ci_upper <= 1 + 1e-12
    assert found.value == -swapped.value
    assert found.ci_lower == pytest.approx(-swapped.ci_upper, abs=1e-12)


@given(tables, st.sampled_from(["koopman", "miettinen_nurminen", "katz"]))
def test_a_ratio_holds_its_estimate_and_inverts_with_the_groups(table, method):
    x_1, n_1, x_2, n_2 = table
    found, swapped = risk_ratio(*table, method=method), risk_ratio(x_2, n_2, x_1, n_1, method=method)
    assert 0 <= found.ci_lower < found.ci_upper
    if x_1 + x_2:
        assert found.ci_lower <= found.value * (1 + 1e-9)
        assert found.value <= found.ci_upper * (1 + 1e-9)
    assume(found.ci_lower > 0 and np.isfinite(found.ci_upper))
    assert found.ci_lower * swapped.ci_upper == pytest.approx(1, rel=1e-6)


@given(small_tables)
def test_score_limits_are_where_pearsons_statistic_reaches_its_quantile(table):
    # Koopman 1984 defines the limits by the chi-square of observed against fitted counts under a given ratio.
    x_1, n_1, x_2, n_2 = table
    found = risk_ratio(*table)
    for ratio in (float(found.ci_lower), float(found.ci_upper)):
        if 0 < ratio < np.inf:
            roots = np.roots([(n_1 + n_2) * ratio, -(ratio * (n_1 + x_2) + x_1 + n_2), x_1 + x_2])
            q_2 = roots.real.min()
            q_1 = ratio * q_2
            if min(q_1, q_2) > 1e-6 and max(q_1, q_2) < 1 - 1e-6:
                pearson = (x_1 - n_1 * q_1) ** 2 / (n_1 * q_1 * (1 - q_1)) + (x_2 - n_2 * q_2) ** 2 / (
                    n_2 * q_2 * (1 - q_2)
                )
                assert pearson == pytest.approx(3.841458820694124, rel=1e-6)


def law(table, odds):
    """Return the possible first cells and their probabilities, by whole-number binomial coefficients.

    scipy's own noncentral hypergeometric ends the interpreter on tables whose margins leave one choice.
    """
    x_1, n_1, x_2, n_2 = table
    cells = range(max(0, x_1 + x_2 - n_2), min(n_1, x_1 + x_2) + 1)
    weights = [comb(n_1, cell) * comb(n_2, x_1 + x_2 - cell) * odds**cell for cell in cells]
    return np.array(cells), np.array(weights) / fsum(weights)


@given(small_tables)
def test_exact_odds_limits_have_the_nominal_tails(table):
    x_1 = table[0]
    for method, own in [("exact", 1.0), ("mid_p", 0.5)]:
        found = odds_ratio(*table, method=method)
        if found.ci_lower > 0:
            cells, p = law(table, float(found.ci_lower))
            assert p[cells > x_1].sum() + own * p[cells == x_1].sum() == pytest.approx(0.025, rel=1e-8)
        if np.isfinite(found.ci_upper):
            cells, p = law(table, float(found.ci_upper))
            assert p[cells < x_1].sum() + own * p[cells == x_1].sum() == pytest.approx(0.025, rel=1e-8)
        if 0 < found.value < np.inf:
            cells, p = law(table, float(found.value))
            assert (p * cells).sum() == pytest.approx(x_1, rel=1e-8)


@settings(max_examples=60)
@given(small_tables)
def test_fishers_test_agrees_with_scipy(table):
    x_1, n_1, x_2, n_2 = table
    expected = stats.fisher_exact([[x_1, n_1 - x_1], [x_2, n_2 - x_2]]).pvalue
    assert fisher_exact(*table).p_value == pytest.approx(expected, rel=1e-9)


def test_500_random_tables_have_scipys_exact_and_chi_square_tests():
    random = np.random.default_rng(7)
    for _ in range(500):
        n_1, n_2 = random.integers(1, 120, 2)
        x_1, x_2 = random.binomial([n_1, n_2], random.uniform(0, 1))
        cells = np.array([[x_1, n_1 - x_1], [x_2, n_2 - x_2]])
        exact = stats.fisher_exact(cells).pvalue
        assert fisher_exact(x_1, n_1, x_2, n_2).p_value == pytest.approx(exact, rel=1e-9)
        if (cells.sum(axis=0) > 0).all():
            theirs = stats.chi2_contingency(cells, correction=False)
            assert chi_square_2x2(x_1, n_1, x_2, n_2).p_value == pytest.approx(theirs.pvalue, rel=1e-9)


def test_the_conditional_odds_ratio_agrees_with_scipy():
    # scipy's own searches stop before the last digits.
    random = np.random.default_rng(8)
    for _ in range(60):
        n_1, n_2 = random.integers(8, 60, 2)
        x_1, x_2 = random.binomial([n_1, n_2], random.uniform(0.2, 0.8))
        if 0 < x_1 < n_1 and 0 < x_2 < n_2:
            theirs = stats.contingency.odds_ratio([[x_1, n_1 - x_1], [x_2, n_2 - x_2]])
            ours, limits = odds_ratio(x_1, n_1, x_2, n_2), theirs.confidence_interval(0.95)
            assert ours.value == pytest.approx(theirs.statistic, rel=1e-7)
            assert (ours.ci_lower, ours.ci_upper) == pytest.approx((limits.low, limits.high), rel=1e-6)


@given(small_tables)
def test_the_mid_p_test_agrees_with_the_mid_p_limits(table):
    p_value = fisher_exact(*table, method="mid_p").p_value
    assume(abs(p_value - 0.05) > 1e-6)
    found = odds_ratio(*table, method="mid_p")
    assert bool(found.ci_lower <= 1 <= found.ci_upper) == (p_value > 0.05)


@given(small_tables)
def test_the_doubled_test_agrees_with_the_exact_limits(table):
    p_value = fisher_exact(*table, method="doubled").p_value
    assume(abs(p_value - 0.05) > 1e-6)
    found = odds_ratio(*table)
    assert bool(found.ci_lower <= 1 <= found.ci_upper) == (p_value > 0.05)


@settings(max_examples=60)
@given(small_tables)
def test_the_doubled_test_is_twice_scipys_smaller_tail(table):
    x_1, n_1, x_2, n_2 = table
    cells = [[x_1, n_1 - x_1], [x_2, n_2 - x_2]]
    tails = [stats.fisher_exact(cells, alternative=side).pvalue for side in ("less", "greater")]
    expected = min(1, 2 * min(tails))
    assert fisher_exact(*table, method="doubled").p_value == pytest.approx(expected, rel=1e-9)


@given(tables)
def test_chi_square_tests_agree_with_scipy(table):
    x_1, n_1, x_2, n_2 = table
    cells = np.array([[x_1, n_1 - x_1], [x_2, n_2 - x_2]])
    assume((cells.sum(axis=0) > 0).all())
    for ours, correction in [(chi_square_2x2, False), (chi_square_2x2_yates, True)]:
        theirs = stats.chi2_contingency(cells, correction=correction)
        assert ours(*table).statistic == pytest.approx(theirs.statistic, rel=1e-9, abs=1e-12)
        assert ours(*table).p_value == pytest.approx(theirs.pvalue, rel=1e-9)
        assert ours(*table).degrees_of_freedom == 1


def test_a_comparison_with_an_empty_group_is_nan():
    for found in (
        difference_interval(0, 0, 1, 5),
        risk_ratio(0, 0, 1, 5),
        risk_ratio(1, 5, 0, 0, method="katz"),
    ):
        assert np.isnan([found.value, found.ci_lower, found.ci_upper]).all()


def test_a_test_without_events_cannot_be_made():
    for found in (chi_square_2x2(0, 5, 0, 7), chi_square_2x2_yates(5, 5, 7, 7), chi_square_2x2(0, 0, 1, 7)):
        assert np.isnan([found.statistic, found.p_value]).all()
        assert found.degrees_of_freedom == 1
    assert fisher_exact(0, 5, 0, 7).p_value == 1
    assert fisher_exact(0, 5, 0, 7).statistic is None


def test_ratios_without_events_in_a_group_are_bounded_on_one_side():
    found = risk_ratio([0, 3, 0], [20, 20, 20], [3, 0, 0], 20)
    assert found.value.tolist() == pytest.approx([0, np.inf, np.nan], nan_ok=True)
    assert found.ci_lower[0] == 0
    assert 1 < found.ci_upper[0] < 2
    assert 0.5 < found.ci_lower[1] < 1
    assert found.ci_upper[1] == np.inf
    assert (found.ci_lower[2], found.ci_upper[2]) == (0, np.inf)
    katz = risk_ratio([0, 3], [20, 20], [3, 0], 20, method="katz")
    assert katz.ci_lower.tolist() == [0, 0]
    assert katz.ci_upper.tolist() == [np.inf, np.inf]
    one_full = risk_ratio(5, 5, 3, 6, method="katz")
    spread = 1.959963984540054 * (1 / 3 - 1 / 6) ** 0.5
    assert (one_full.ci_lower, one_full.ci_upper) == pytest.approx((2 * np.exp(-spread), 2 * np.exp(spread)))
    full = risk_ratio(5, 5, 3, 3, method="katz")
    assert (full.value, full.ci_lower, full.ci_upper) == (1, 0, np.inf)


def test_odds_without_events_in_a_cell_are_bounded_on_one_side():
    for method in ("exact", "mid_p"):
        found = odds_ratio([0, 3, 0, 5], [5, 5, 5, 5], [3, 0, 0, 5], 5, method=method)
        assert found.value.tolist() == pytest.approx([0, np.inf, np.nan, np.nan], nan_ok=True)
        assert found.ci_lower[0] == 0
        assert np.isfinite(found.ci_upper[0])
        assert found.ci_lower[1] > 0
        assert found.ci_upper[1] == np.inf
        assert (found.ci_lower[2], found.ci_upper[2]) == (0, np.inf)
    woolf = odds_ratio([0, 5], 5, [3, 3], 5, method="woolf")
    assert woolf.value.tolist() == [0, np.inf]
    assert woolf.ci_lower.tolist() == [0, 0]
    assert woolf.ci_upper.tolist() == [np.inf, np.inf]


def test_arrays_in_give_arrays_out_and_numbers_numbers():
    table = np.array(INNER_TABLES).T
    for function in (difference_interval, risk_ratio, odds_ratio):
        found = function(*table)
        for place, single in enumerate(INNER_TABLES):
            alone = function(*single)
            assert isinstance(alone.value, float)
            for name in ("value", "ci_lower", "ci_upper"):
                assert getattr(found, name)[place] == pytest.approx(getattr(alone, name), rel=1e-12)
        assert function([], [], [], []).value.shape == (0,)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: difference_interval(1, 5, 7, 6), "events_2 must not exceed n_2, got 7 of 6"),
        (lambda: risk_ratio(1, 5, 1, 6, method="wald"), "method must be one of koopman"),
        (lambda: risk_ratio(1, 5, 1, 6, confidence=2), "confidence must lie between 0 and 1, got 2"),
        (lambda: odds_ratio(9, 5, 1, 6), "events_1 must not exceed n_1, got 9 of 5"),
        (lambda: odds_ratio(1, 5, 1, 6, method="wald"), "method must be one of exact, mid_p, woolf"),
        (
            lambda: fisher_exact(1, 5, 1, 6, method="one_sided"),
            "method must be one of minimum_likelihood, doubled, mid_p",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_woolfs_ratio_is_the_cross_product_and_an_empty_cell_is_its_own_tables_affair():
    found = odds_ratio([56, 0, 9], [70, 5, 20], [48, 3, 4], [80, 5, 30], method="woolf")
    assert found.value.tolist() == pytest.approx([56 * 32 / (14 * 48), 0, 9 * 26 / (11 * 4)])
    for place, cells in ((0, (56, 14, 48, 32)), (2, (9, 11, 4, 26))):
        reach = np.exp(stats.norm.ppf(0.975) * np.sqrt(sum(1 / cell for cell in cells)))
        assert found.ci_lower[place] == pytest.approx(found.value[place] / reach)
        assert found.ci_upper[place] == pytest.approx(found.value[place] * reach)
    assert (found.ci_lower[1], found.ci_upper[1]) == (0, np.inf)


@pytest.mark.parametrize(
    ("test", "method"), [(chi_square_2x2, "pearson"), (chi_square_2x2_yates, "pearson_yates")]
)
def test_a_test_that_cannot_be_made_says_which_it_would_have_been(test, method):
    made, not_made = test(2, 9, 1, 8), test(0, 9, 0, 8)
    assert np.isnan([not_made.statistic, not_made.p_value]).all()
    assert (not_made.degrees_of_freedom, not_made.method, made.method) == (1, method, method)


@pytest.mark.parametrize("method", ["exact", "mid_p", "woolf"])
def test_a_table_of_tables_keeps_its_shape(method):
    x_1, x_2 = np.arange(1, 7).reshape(2, 3), np.arange(2, 8).reshape(2, 3)
    found = odds_ratio(x_1, 9, x_2, 11, method=method)
    for place in np.ndindex(2, 3):
        own = odds_ratio(x_1[place], 9, x_2[place], 11, method=method)
        assert [found.value[place], found.ci_lower[place], found.ci_upper[place]] == pytest.approx(
            [own.value, own.ci_lower, own.ci_upper]
        )
