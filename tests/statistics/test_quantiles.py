"""Quantiles with distribution-free limits: tabled ranks, another library, properties and refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, quantile_test

from audit.statistics.quantiles import QUANTILE_METHOD, quantile_interval, quantiles_by_group, with_quantiles


# Ranks of the 95% limits of a median, as tabled in Gardner MJ, Altman DG, Statistics with Confidence (London: BMJ,
# 1989) and Conover 1999; from memory, reproduced by computation.
@pytest.mark.parametrize(
    ("n", "lower", "upper"),
    [
        (6, 1, 6),
        (7, 1, 7),
        (9, 2, 8),
        (10, 2, 9),
        (15, 4, 12),
        (20, 6, 15),
        (25, 8, 18),
        (30, 10, 21),
        (50, 18, 33),
    ],
)
def test_the_limits_of_a_median_stand_at_the_tabled_ranks(n: int, lower: int, upper: int) -> None:
    result = quantile_interval(np.arange(1, n + 1), probability=0.5)
    assert (result.ci_lower, result.ci_upper) == (lower, upper)
    assert result.value == (n + 1) / 2


@pytest.mark.parametrize("n", [1, 2, 5, 17, 140, 3001])
def test_the_limits_stand_where_a_count_of_all_ranks_puts_them(n: int) -> None:
    sample = np.arange(1.0, n + 1)
    for probability in (0.1, 0.5, 0.9):
        at_most = binom.cdf(np.arange(n + 1), n, probability)
        lower, upper = (at_most <= 0.025).sum(), (at_most < 0.975).sum() + 1
        found = quantile_interval(sample, probability=probability)
        assert found.ci_lower == (lower if lower >= 1 else -np.inf)
        assert found.ci_upper == (upper if upper <= n else np.inf)


def test_five_observations_bound_a_median_on_neither_side() -> None:
    # The smallest has a tail of 1/32, more than 1 in 40.
    result = quantile_interval([1, 2, 3, 4, 5], probability=0.5)
    assert (result.value, result.ci_lower, result.ci_upper) == (3, -np.inf, np.inf)


def test_a_90th_centile_has_an_upper_limit_from_36_observations_on() -> None:
    # 0.9^35 is 0.02503 and 0.9^36 is 0.02253: one side may miss 0.025.
    assert quantile_interval(np.arange(35), probability=0.9).ci_upper == np.inf
    assert quantile_interval(np.arange(36), probability=0.9).ci_upper == 35


def test_estimate_and_limits_agree_with_numpy_and_scipy_on_tied_and_untied_samples() -> None:
    rng = np.random.default_rng(11)
    for _ in range(300):
        n, p = int(rng.integers(1, 150)), float(rng.choice([0.1, 0.25, 0.5, 0.75, 0.9]))
        confidence = float(rng.choice([0.9, 0.95, 0.99]))
        sample = rng.integers(0, 11, n) if rng.random() < 0.5 else rng.gamma(1.3, 20, n)
        own = quantile_interval(sample, probability=p, confidence=confidence)
        other = quantile_test(sample, q=0, p=p).confidence_interval(confidence)
        assert own.value == pytest.approx(np.quantile(sample, p), abs=1e-9)
        assert own.ci_lower == (-np.inf if np.isnan(other.low) else other.low)
        assert own.ci_upper == (np.inf if np.isnan(other.high) else other.high)


@given(
    st.lists(st.tuples(st.integers(0, 10), st.integers(0, 6)), min_size=1, max_size=12),
    st.sampled_from([0.1, 0.25, 0.5, 0.9]),
)
def test_weights_are_the_same_as_rows(pairs: list[tuple[int, int]], p: float) -> None:
    values, weights = [value for value, _ in pairs], [weight for _, weight in pairs]
    counted, rows = (
        quantile_interval(values, probability=p, weights=weights),
        quantile_interval(np.repeat(values, weights), probability=p),
    )
    np.testing.assert_equal(
        [counted.value, counted.ci_lower, counted.ci_upper], [rows.value, rows.ci_lower, rows.ci_upper]
    )
    assert not rows.ci_lower > rows.value
    assert not rows.value > rows.ci_upper


def test_limits_cover_as_often_as_they_say() -> None:
    rng = np.random.default_rng(5)
    true = 20 * np.log(10)
    hits = 0
    for _ in range(1000):
        result = quantile_interval(rng.exponential(20, 80), probability=0.9)
        hits += bool(result.ci_lower <= true <= result.ci_upper)
    # Exact limits cover at least 95%; three standard errors of 1,000 runs are 0.02.
    assert hits / 1000 > 0.95 - 0.02


def test_nothing_observed_gives_no_number() -> None:
    empty = quantile_interval([], probability=0.5)
    assert np.isnan([empty.value, empty.ci_lower, empty.ci_upper]).all()
    assert np.isnan(quantile_interval([3], probability=0.5, weights=[0]).value)
    assert quantiles_by_group(
        pd.DataFrame({"group": [], "value": [], "n": []}), probabilities={"median": 0.5}
    ).empty


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"probability": 1.0}, "probability must lie between 0 and 1, got 1.0"),
        ({"probability": 0.5, "confidence": 95}, "confidence must lie between 0 and 1, got 95"),
        ({"probability": 0.5, "weights": [1]}, r"weights must have one count per value \(2\), got 1"),
        ({"probability": 0.5, "weights": [1, 0.5]}, "weights must be whole numbers of zero or more, got 0.5"),
    ],
)
def test_a_wrong_argument_is_refused(arguments: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        quantile_interval([1, 2], **arguments)  # type: ignore[arg-type]


def test_a_value_that_is_missing_is_refused() -> None:
    with pytest.raises(ValueError, match="values must be finite, got nan"):
        quantile_interval([1, np.nan], probability=0.5)


@pytest.mark.parametrize(
    ("n", "unknown", "caution"),
    [
        (7, 0, ""),
        (7, 3, "So much is not recorded that those recorded may not stand for all."),
        (5, 0, "Too few for a limit on every side."),
        (0, 4, "Not recorded for anyone."),
        (0, 0, "Nothing to count."),
    ],
)
def test_a_table_of_quantiles_says_what_weakens_it(n: int, unknown: int, caution: str) -> None:
    table = pd.DataFrame({"stratum": ["a"], "n": [n], "n_unknown": [unknown]})
    values = pd.DataFrame({"stratum": "a", "value": np.arange(float(n)), "n": 1})
    row = with_quantiles(table, values, probabilities={"median": 0.5}, recorded_floor=0.8).iloc[0]
    assert row["caution"] == caution
    assert pd.isna(row["median"]) == (n == 0)


def test_a_tail_that_is_exactly_as_rare_as_asked_for_is_rare_enough() -> None:
    # Two observations lie on either side of the median with probability exactly 1/2.
    result = quantile_interval([1, 2], probability=0.5, confidence=0.5)
    assert (result.ci_lower, result.ci_upper) == (1, 2)


def test_each_group_has_its_own_quantiles_by_count_and_by_the_confidence_asked_for() -> None:
    table = pd.DataFrame(
        {"group": list("bbaa"), "value": [4.0, 1.0, 7.0, 9.0], "n": [3, 8, 20, 10]}, index=[9, 8, 7, 6]
    )
    found = quantiles_by_group(table, probabilities={"median": 0.5, "high": 0.9}, confidence=0.8)
    assert list(found.columns) == [
        *("group", "n", "median", "median_lower", "median_upper", "high", "high_lower", "high_upper")
    ]
    assert found[["group", "n"]].to_numpy().tolist() == [["b", 11], ["a", 30]]
    rows = {"b": [1] * 8 + [4] * 3, "a": [7] * 20 + [9] * 10}
    for row in found.to_dict("records"):
        for name, probability in (("median", 0.5), ("high", 0.9)):
            own = quantile_interval(rows[row["group"]], probability=probability, confidence=0.8)
            assert [row[name], row[f"{name}_lower"], row[f"{name}_upper"]] == [
                own.value,
                own.ci_lower,
                own.ci_upper,
            ]
    assert found["high_upper"].tolist() == [np.inf, 9.0]


def test_the_method_is_said_and_a_weakness_only_of_the_row_that_has_it() -> None:
    assert quantile_interval([1, 2], probability=0.5).method == QUANTILE_METHOD
    assert quantile_interval([], probability=0.5).method == QUANTILE_METHOD
    # 8 of 10 known is exactly the floor; the second stratum is too small for limits.
    table = pd.DataFrame({"stratum": ["a", "b"], "n": [8, 2], "n_unknown": [2, 0]})
    values = pd.DataFrame({"stratum": ["b", "a"], "value": [1.0, 2.0], "n": [2, 8]})
    found = with_quantiles(table, values, probabilities={"median": 0.5}, recorded_floor=0.8)
    assert found["caution"].tolist() == ["", "Too few for a limit on every side."]
    assert found["median"].tolist() == [2, 1]
    assert set(found["method"]) == {QUANTILE_METHOD}
    unasked = with_quantiles(table.assign(n_unknown=90), values, probabilities={"median": 0.5})
    assert unasked["caution"].tolist()[0] == ""
