"""Two groups pooled over strata: against statsmodels, by property, at the edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.contingency_tables import StratifiedTable

from audit.statistics.stratified import (
    NO_SPREAD,
    NO_STRATUM,
    ONE_SIDED,
    mantel_haenszel_odds_ratio,
    mantel_haenszel_risk_difference,
    mantel_haenszel_risk_ratio,
)
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios
from audit.statistics.two_groups import chi_square_2x2

ESTIMATES = [mantel_haenszel_odds_ratio, mantel_haenszel_risk_ratio, mantel_haenszel_risk_difference]
TESTS = [cochran_mantel_haenszel, homogeneity_of_odds_ratios]

groups = st.integers(0, 40).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
strata = st.lists(st.tuples(groups, groups).map(lambda pair: pair[0] + pair[1]), min_size=1, max_size=6)


def columns(rows):
    return [list(column) for column in zip(*rows, strict=True)]


def random_strata(random):
    """Return two to eight strata with a common odds ratio, every cell filled in most."""
    size = random.integers(2, 9)
    n_1, n_2 = random.integers(4, 120, size), random.integers(4, 120, size)
    log_odds = random.normal(-1, 0.7, size)
    shares = [1 / (1 + np.exp(-(log_odds + shift))) for shift in (random.normal(0, 0.8), 0)]
    return random.binomial(n_1, shares[0]), n_1, random.binomial(n_2, shares[1]), n_2


def test_500_random_sets_of_strata_agree_with_statsmodels():
    random = np.random.default_rng(20)
    compared = 0
    for _ in range(500):
        x_1, n_1, x_2, n_2 = random_strata(random)
        # statsmodels gives up where a stratum's margin is empty; ours leaves such strata out.
        events = x_1 + x_2
        if (events == 0).any() or (events == n_1 + n_2).any() or not (x_1.sum() and x_2.sum()):
            continue
        theirs = StratifiedTable(np.array([[x_1, n_1 - x_1], [x_2, n_2 - x_2]]))
        odds = mantel_haenszel_odds_ratio(x_1, n_1, x_2, n_2)
        assert odds.value == pytest.approx(theirs.oddsratio_pooled, rel=1e-9)
        assert (odds.ci_lower, odds.ci_upper) == pytest.approx(theirs.oddsratio_pooled_confint(), rel=1e-9)
        risk = mantel_haenszel_risk_ratio(x_1, n_1, x_2, n_2)
        assert risk.value == pytest.approx(theirs.riskratio_pooled, rel=1e-9)
        for method, corrected in [("uncorrected", False), ("continuity_corrected", True)]:
            ours = cochran_mantel_haenszel(x_1, n_1, x_2, n_2, method=method)
            distance = abs((x_1 - n_1 * events / (n_1 + n_2)).sum())
            if distance > 0.5:
                expected = theirs.test_null_odds(correction=corrected)
                assert ours.statistic == pytest.approx(expected.statistic, rel=1e-9)
                assert ours.p_value == pytest.approx(expected.pvalue, rel=1e-9)
        for method, adjusted in [("breslow_day", False), ("tarone", True)]:
            ours = homogeneity_of_odds_ratios(x_1, n_1, x_2, n_2, method=method)
            expected = theirs.test_equal_odds(adjust=adjusted)
            assert ours.statistic == pytest.approx(expected.statistic, rel=1e-8, abs=1e-10)
            assert ours.degrees_of_freedom == n_1.size - 1
        compared += 1
    assert compared > 450


def test_greenland_and_robins_and_satos_variances_match_resampled_strata():
    # No library at hand gives these two standard errors, so they are held to the spread of the estimates
    # over 20,000 drawings of the same strata: within 2%.
    random = np.random.default_rng(21)
    n_1, n_2 = np.array([60, 90, 150]), np.array([80, 70, 120])
    p_1, p_2 = np.array([0.3, 0.2, 0.45]), np.array([0.2, 0.12, 0.3])
    x_1, x_2 = random.binomial(n_1, p_1, (20_000, 3)), random.binomial(n_2, p_2, (20_000, 3))
    total = n_1 + n_2
    above, below = (x_1 * n_2 / total).sum(axis=1), (x_2 * n_1 / total).sum(axis=1)
    drawn = {"ratio": np.log(above / below).std(), "difference": None}
    drawn["difference"] = ((above - below) / (n_1 * n_2 / total).sum()).std()
    seen_1, seen_2 = (n_1 * p_1).round(), (n_2 * p_2).round()
    ratio = mantel_haenszel_risk_ratio(seen_1, n_1, seen_2, n_2)
    difference = mantel_haenszel_risk_difference(seen_1, n_1, seen_2, n_2)
    z = 1.959963984540054
    assert np.log(ratio.ci_upper / ratio.value) / z == pytest.approx(drawn["ratio"], rel=0.02)
    assert (difference.ci_upper - difference.value) / z == pytest.approx(drawn["difference"], rel=0.02)


def test_homogeneity_holds_where_events_outnumber_a_group_at_a_small_odds_ratio():
    # 12 events and more against groups of 5 and 6: the quadratic for the expected cell has its other form.
    x_1, n_1, x_2, n_2 = np.array([[8, 10], [40, 60], [4, 5], [5, 6]])
    theirs = StratifiedTable(np.array([[x_1, n_1 - x_1], [x_2, n_2 - x_2]]))
    for method, adjusted in [("breslow_day", False), ("tarone", True)]:
        ours = homogeneity_of_odds_ratios(x_1, n_1, x_2, n_2, method=method)
        expected = theirs.test_equal_odds(adjust=adjusted)
        assert ours.statistic == pytest.approx(expected.statistic, rel=1e-9)
        assert ours.p_value == pytest.approx(expected.pvalue, rel=1e-9)


@given(strata)
def test_estimates_are_finite_or_say_why_not(rows):
    for function in ESTIMATES:
        found = function(*columns(rows))
        figures = np.array([found.value, found.ci_lower, found.ci_upper])
        assert np.isfinite(figures).all() or found.caution
        assert found.n_strata == len(rows)
        assert found.n_strata_used <= found.n_strata
        if np.isfinite(figures).all():
            assert found.ci_lower <= found.value <= found.ci_upper


@given(strata, st.randoms(use_true_random=False))
def test_the_order_of_the_strata_changes_nothing(rows, random):
    shuffled = rows[:]
    random.shuffle(shuffled)
    for function in ESTIMATES:
        found, again = function(*columns(rows)), function(*columns(shuffled))
        assert again.value == pytest.approx(found.value, rel=1e-9, abs=1e-12, nan_ok=True)
        assert again.ci_upper == pytest.approx(found.ci_upper, rel=1e-9, abs=1e-12, nan_ok=True)
    for function in TESTS:
        found, again = function(*columns(rows)), function(*columns(shuffled))
        assert again.statistic == pytest.approx(found.statistic, rel=1e-6, abs=1e-8, nan_ok=True)


@given(strata)
def test_exchanging_the_groups_inverts_ratios_and_turns_the_difference(rows):
    x_1, n_1, x_2, n_2 = columns(rows)
    for function in (mantel_haenszel_odds_ratio, mantel_haenszel_risk_ratio):
        found, swapped = function(x_1, n_1, x_2, n_2), function(x_2, n_2, x_1, n_1)
        if np.isfinite([found.value, found.ci_upper]).all() and found.value > 0:
            assert swapped.value == pytest.approx(1 / found.value, rel=1e-9)
            assert swapped.ci_lower == pytest.approx(1 / found.ci_upper, rel=1e-9)
    difference = mantel_haenszel_risk_difference(x_1, n_1, x_2, n_2)
    swapped = mantel_haenszel_risk_difference(x_2, n_2, x_1, n_1)
    assert swapped.value == pytest.approx(-difference.value, abs=1e-12, nan_ok=True)
    assert swapped.ci_lower == pytest.approx(-difference.ci_upper, abs=1e-9, nan_ok=True)


@given(strata, st.integers(0, 9))
def test_strata_without_information_change_nothing_and_are_counted(rows, n):
    full = [*rows, (0, n, 0, 0), (0, 0, 0, n)]
    for function in ESTIMATES:
        found, padded = function(*columns(rows)), function(*columns(full))
        assert padded.value == pytest.approx(found.value, nan_ok=True)
        assert padded.n_strata_used == found.n_strata_used
        left_out = padded.n_strata - padded.n_strata_used
        assert padded.caution in (
            found.caution,
            f"{left_out} of {padded.n_strata} strata carry no information and are left out.",
        )
        assert padded.caution
    for function in TESTS:
        assert function(*columns(full)).statistic == pytest.approx(
            function(*columns(rows)).statistic, nan_ok=True
        )


def test_one_stratum_gives_the_plain_figures():
    odds = mantel_haenszel_odds_ratio(7, 34, 1, 34)
    assert odds.value == pytest.approx(7 * 33 / 27)
    assert (odds.caution, odds.n_strata, odds.n_strata_used) == ("", 1, 1)
    assert mantel_haenszel_risk_ratio(7, 34, 1, 34).value == pytest.approx(7)
    assert mantel_haenszel_risk_difference(7, 34, 1, 34).value == pytest.approx(6 / 34)
    pearson = chi_square_2x2(7, 34, 1, 34).statistic
    assert cochran_mantel_haenszel(7, 34, 1, 34).statistic == pytest.approx(pearson * 67 / 68)
    homogeneity = homogeneity_of_odds_ratios(7, 34, 1, 34)
    assert homogeneity.degrees_of_freedom == 0
    assert np.isnan(homogeneity.p_value)


def test_nothing_to_pool_is_nan_with_a_caution():
    for rows in ([], [(0, 5, 0, 7)], [(0, 0, 3, 4)]):
        counts = columns(rows) if rows else [[], [], [], []]
        odds, risk = mantel_haenszel_odds_ratio(*counts), mantel_haenszel_risk_ratio(*counts)
        for found in (odds, risk):
            assert np.isnan(found.value)
            assert (found.ci_lower, found.ci_upper, found.caution) == (0, np.inf, NO_STRATUM)
        for test in TESTS:
            assert np.isnan(test(*counts).p_value)
    assert np.isnan(mantel_haenszel_risk_difference([], [], [], []).ci_lower)
    # Two groups without an event differ by nothing, but no width can be given to that.
    none = mantel_haenszel_risk_difference(0, 5, 0, 7)
    assert (none.value, none.ci_lower, none.ci_upper, none.caution) == (0, -1, 1, NO_SPREAD)


def test_events_on_one_side_only_bound_nothing_and_say_so():
    for function, swapped_value in [(mantel_haenszel_odds_ratio, 0.0), (mantel_haenszel_risk_ratio, 0.0)]:
        found = function([3, 1], [9, 9], [0, 0], [9, 9])
        assert (found.value, found.ci_lower, found.ci_upper) == (np.inf, 0, np.inf)
        assert found.caution == ONE_SIDED
        assert function([0, 0], [9, 9], [3, 1], [9, 9]).value == swapped_value
    for counts in ([3, 1], [9, 9], [0, 0], [9, 9]), ([0, 0], [9, 9], [3, 1], [9, 9]):
        assert np.isnan(homogeneity_of_odds_ratios(*counts).p_value)
    everybody = mantel_haenszel_risk_ratio([5, 4], [5, 4], [6, 3], [6, 3])
    assert (everybody.value, everybody.caution) == (1, NO_SPREAD)
    against = mantel_haenszel_risk_difference([5, 4], [5, 4], [0, 0], [6, 3])
    assert (against.value, against.caution) == (1, NO_SPREAD)


def test_a_correction_larger_than_the_distance_leaves_nothing():
    assert cochran_mantel_haenszel(3, 10, 3, 10, method="continuity_corrected").statistic == 0


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: mantel_haenszel_odds_ratio([1, 2], [5, 5], [1], [5]),
            "all counts must have one value per stratum",
        ),
        (
            lambda: mantel_haenszel_risk_ratio([9], [5], [1], [5]),
            "events_1 must not exceed n_1, got 9 of 5",
        ),
        (
            lambda: mantel_haenszel_risk_difference([1], [5], [1.5], [5]),
            "events_2 must be whole numbers of zero or more, got 1.5",
        ),
        (
            lambda: mantel_haenszel_risk_difference([1], [5], [1], [5], confidence=95),
            "confidence must lie between 0 and 1, got 95",
        ),
        (
            lambda: mantel_haenszel_odds_ratio([1], [5], [1], [5], confidence=0),
            "confidence must lie between 0 and 1, got 0",
        ),
        (
            lambda: cochran_mantel_haenszel([1], [5], [1], [5], method="exact"),
            "method must be one of uncorrected, continuity_corrected, got 'exact'",
        ),
        (
            lambda: homogeneity_of_odds_ratios([1], [5], [1], [5], method="woolf"),
            "method must be one of tarone, breslow_day, got 'woolf'",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_satos_variance_of_one_stratum_is_his_formula_worked_by_hand():
    # 3 of 4 against 1 of 8, N = 12: difference 5/8, weight 32/12. Sato's P is (16 - 192 + 64) / 144, his Q is
    # (3 * 7 + 1 * 1) / 24; the variance is (5/8 P + Q) / weight^2.
    found = mantel_haenszel_risk_difference([3], [4], [1], [8], confidence=0.5)
    variance = (5 / 8 * (16 - 192 + 64) / 144 + 22 / 24) / (32 / 12) ** 2
    assert found.value == pytest.approx(5 / 8)
    assert found.ci_lower == pytest.approx(5 / 8 - stats.norm.ppf(0.75) * np.sqrt(variance))
    assert found.ci_upper == pytest.approx(5 / 8 + stats.norm.ppf(0.75) * np.sqrt(variance))
    assert found.caution == ""


def test_limits_of_a_difference_stay_within_1_and_say_when_there_are_none():
    near = mantel_haenszel_risk_difference([2, 1], [2, 2], [0, 0], [3, 3])
    assert near.ci_lower > -1
    assert near.ci_upper == 1
    turned = mantel_haenszel_risk_difference([0, 0], [3, 3], [2, 1], [2, 2])
    assert (turned.ci_lower, turned.ci_upper) == (-1, pytest.approx(-near.ci_lower))
    for sizes in ([5, 7], [9, 31]), ([1, 59], [13, 17]), ([3, 3], [3, 3]):
        # Everybody against nobody has no spread, whatever the sizes.
        whole = mantel_haenszel_risk_difference(sizes[0], sizes[0], [0, 0], sizes[1])
        assert (whole.value, whole.ci_lower, whole.ci_upper) == (1, -1, 1)
        assert whole.caution == (
            "Either everybody or nobody has the event in each group: the normal limits have no width."
        )
    none = mantel_haenszel_risk_difference([1], [2], [0], [0])
    assert np.isnan([none.value, none.ci_lower, none.ci_upper]).all()
    assert none.caution == mantel_haenszel_risk_ratio([1], [2], [0], [0]).caution != ""
