"""Adjusted p-values: against statsmodels, by property, at the edges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.multitest import multipletests

from audit.statistics.multiplicity import METHODS, adjusted_p_values

THEIRS = {"benjamini_hochberg": "fdr_bh", "holm": "holm", "bonferroni": "bonferroni"}
p_values = st.lists(st.floats(0, 1), min_size=1, max_size=30)
methods = st.sampled_from(METHODS)


# statsmodels' Holm takes a tenth of a second a set.
@pytest.mark.parametrize(("method", "sets"), [("benjamini_hochberg", 500), ("bonferroni", 500), ("holm", 4)])
def test_random_sets_agree_with_statsmodels(method, sets):
    random = np.random.default_rng(40)
    for _ in range(sets):
        given_values = random.uniform(0, 1, random.integers(1, 40)) ** random.integers(1, 6)
        # Rounding makes ties.
        given_values = np.round(given_values, random.integers(1, 9))
        found = adjusted_p_values(given_values, level=0.1, method=method)
        rejected, adjusted, _, _ = multipletests(given_values, alpha=0.1, method=THEIRS[method])
        np.testing.assert_allclose(found["adjusted_p_value"], adjusted, rtol=1e-9, atol=1e-15)
        close = np.abs(adjusted - 0.1) < 1e-12
        assert (found["rejected"].to_numpy() == rejected)[~close].all()


@given(p_values, methods)
def test_adjusting_never_lowers_a_p_value_and_keeps_the_order(values, method):
    found = adjusted_p_values(values, method=method).sort_values("p_value", kind="stable")
    adjusted = found["adjusted_p_value"].to_numpy()
    assert (adjusted >= found["p_value"].to_numpy() * (1 - 1e-12)).all()
    assert (np.diff(adjusted) >= -1e-15).all()
    assert (adjusted <= 1).all()


@given(p_values)
def test_benjamini_and_hochberg_reject_what_holm_does_and_holm_what_bonferroni_does(values):
    rejected = [adjusted_p_values(values, method=method)["rejected"].to_numpy() for method in METHODS]
    assert (rejected[0] >= rejected[1]).all()
    assert (rejected[1] >= rejected[2]).all()


@given(p_values, methods, st.randoms(use_true_random=False))
def test_the_order_of_the_tests_changes_nothing(values, method, random):
    order = list(range(len(values)))
    random.shuffle(order)
    found = adjusted_p_values(values, method=method)["adjusted_p_value"].to_numpy()
    shuffled = adjusted_p_values([values[place] for place in order], method=method)["adjusted_p_value"]
    assert shuffled.tolist() == pytest.approx(found[order].tolist())


def test_a_test_that_could_not_be_made_does_not_count():
    found = adjusted_p_values([0.01, np.nan, 0.04])
    assert found["adjusted_p_value"].tolist() == pytest.approx([0.02, np.nan, 0.04], nan_ok=True)
    assert found["rejected"].tolist() == [True, False, True]
    assert adjusted_p_values([np.nan])["rejected"].tolist() == [False]


def test_one_test_is_left_as_it_is_and_none_give_an_empty_frame():
    for method in METHODS:
        assert adjusted_p_values(0.03, method=method)["adjusted_p_value"].tolist() == [0.03]
        empty = adjusted_p_values([], method=method)
        assert list(empty) == ["p_value", "adjusted_p_value", "rejected", "method"]
        assert len(empty) == 0


def test_a_value_at_the_level_is_rejected():
    # 0.05 x 3 / 3 is a hair above 0.05 in floating point for some orders of arithmetic.
    assert adjusted_p_values([0.05, 0.05, 0.05])["rejected"].all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: adjusted_p_values([0.5, 1.1]), "p_values must lie from 0 to 1, got 1.1"),
        (lambda: adjusted_p_values([-0.1]), "p_values must lie from 0 to 1, got -0.1"),
        (lambda: adjusted_p_values([0.5], level=5), "level must lie between 0 and 1, got 5"),
        (
            lambda: adjusted_p_values([0.5], method="sidak"),
            "method must be one of benjamini_hochberg, holm, bonferroni, got 'sidak'",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()
