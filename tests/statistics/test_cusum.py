"""Sums over cases in order: against a plain loop, by their properties, and what they refuse."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.case_weights import (
    at_odds_ratio,
    cusum_weights,
    learning_weights,
    moved_to_level,
    odds_ratio_between,
)
from audit.statistics.cusum import cusum, kept_of_many, observed_minus_expected


def plain_cusum(weights, limit, after_signal):
    """The recursion, case by case."""
    total, run, rows, stopped = 0.0, 1, [], False
    for weight in weights:
        if stopped:
            rows.append((np.nan, False, run))
            continue
        total = max(0.0, total + (0.0 if np.isnan(weight) else weight))
        reached = total >= limit
        rows.append((total, reached, run))
        if reached:
            total, run, stopped = 0.0, run + (after_signal == "restart"), after_signal == "stop"
    return rows


@pytest.mark.parametrize("after_signal", ["restart", "stop"])
def test_the_sums_are_those_of_a_plain_loop_on_300_random_sets(after_signal):
    rng = np.random.default_rng(2026)
    signals = 0
    for _ in range(300):
        n = int(rng.integers(0, 120))
        expected = rng.uniform(0.02, 0.4, n)
        weights = cusum_weights(rng.random(n) < 1.6 * expected, expected, odds_ratio=2.0)
        weights[rng.random(n) < 0.05] = np.nan
        limit = float(rng.uniform(0.4, 2.5))
        found = cusum(weights, limit=limit, after_signal=after_signal)
        plain = plain_cusum(weights, limit, after_signal)
        assert found["cusum"].to_numpy() == pytest.approx([row[0] for row in plain], abs=1e-9, nan_ok=True)
        assert found["signal"].tolist() == [row[1] for row in plain]
        assert found["run"].tolist() == [row[2] for row in plain]
        signals += int(found["signal"].sum())
    assert signals > 100


@pytest.mark.parametrize(("limit", "signals"), [(2.0, 20), (4.5, 1), (40.0, 0)])
def test_a_long_series_is_summed_like_a_short_one(limit, signals):
    rng = np.random.default_rng(11)
    weights = cusum_weights(rng.random(6000) < 0.07, 0.05, odds_ratio=2.0)
    found = cusum(weights, limit=limit)
    plain = plain_cusum(weights, limit, "restart")
    assert found["cusum"].to_numpy() == pytest.approx([row[0] for row in plain], abs=1e-9)
    assert found["signal"].tolist() == [row[1] for row in plain]
    assert found["run"].tolist() == [row[2] for row in plain]
    assert found["signal"].sum() >= signals
    assert (found["signal"].sum() == 0) == (signals == 0)


def test_a_sum_goes_on_where_nothing_is_known_of_a_case():
    found = cusum([0.5, np.nan, 0.5], limit=2.0)
    assert found["cusum"].tolist() == [0.5, 0.5, 1.0]


def test_after_a_signal_the_next_case_begins_from_0_or_nothing_is_summed():
    assert cusum([1.0, 1.0, 1.0], limit=2.0)["cusum"].tolist() == [1.0, 2.0, 1.0]
    stopped = cusum([1.0, 1.0, 1.0], limit=2.0, after_signal="stop")
    assert stopped["cusum"].tolist()[:2] == [1.0, 2.0]
    assert stopped["cusum"].isna().tolist() == [False, False, True]


def test_no_cases_give_no_rows():
    assert cusum([], limit=1.0).empty
    assert cusum_weights([], 0.1, odds_ratio=2.0).size == 0
    assert observed_minus_expected([], []).size == 0
    assert kept_of_many(0, most=5).size == 0


def test_all_failures_signal_as_often_as_the_weight_allows():
    # Each adds log 2, so every third reaches 2.
    weights = cusum_weights(np.ones(9), 0.05, odds_ratio=odds_ratio_between(0.05, 0.10))
    assert cusum(weights, limit=2.0)["signal"].tolist() == [False, False, True] * 3
    assert (
        cusum(learning_weights(np.ones(9), acceptable=0.1, unacceptable=0.2), limit=1.0)["cusum"].eq(0).all()
    )


outcomes = st.lists(st.tuples(st.booleans(), st.floats(0.01, 0.6)), min_size=1, max_size=60)


@given(told=outcomes, odds_ratio=st.floats(1.2, 4.0), limit=st.floats(0.5, 4.0))
def test_a_sum_is_never_below_0_and_rises_with_an_event_only(told, odds_ratio, limit):
    events, expected = (np.array(part, dtype=float) for part in zip(*told, strict=True))
    found = cusum(cusum_weights(events, expected, odds_ratio=odds_ratio), limit=limit)
    sums = found["cusum"].to_numpy()
    assert (sums >= 0).all()
    before = np.where(found["signal"].shift(fill_value=False), 0.0, found["cusum"].shift(fill_value=0.0))
    assert (sums > before).tolist() == (events == 1).tolist()
    assert (sums >= limit).tolist() == found["signal"].tolist()


@given(p=st.floats(0.01, 0.4), odds_ratio=st.floats(1.1, 5.0))
def test_a_case_weighs_nothing_on_average_in_the_mean_of_its_likelihood(p, odds_ratio):
    # The expectation of the likelihood ratio itself, where all is well, is 1.
    event, other = np.exp(cusum_weights([1, 0], p, odds_ratio=odds_ratio))
    assert p * event + (1 - p) * other == pytest.approx(1.0)


@given(told=outcomes)
def test_a_learning_weight_is_a_monitoring_weight_with_its_sign_turned(told):
    events = [float(event) for event, _ in told]
    learning = learning_weights(events, acceptable=0.05, unacceptable=0.15)
    monitoring = cusum_weights(events, 0.05, odds_ratio=odds_ratio_between(0.05, 0.15))
    assert learning == pytest.approx(-monitoring)


@given(told=outcomes)
def test_a_running_total_ends_at_all_seen_less_all_expected(told):
    events, expected = (np.array(part, dtype=float) for part in zip(*told, strict=True))
    assert observed_minus_expected(events, expected)[-1] == pytest.approx(events.sum() - expected.sum())


@given(told=st.lists(st.floats(0.01, 0.6), min_size=1, max_size=30), level=st.floats(0.02, 0.6))
def test_probabilities_moved_to_a_level_average_it_and_keep_their_odds_ratios(told, level):
    moved = moved_to_level(told, level, reference=told)
    assert moved.mean() == pytest.approx(level, rel=1e-6)
    odds, old = moved / (1 - moved), np.array(told) / (1 - np.array(told))
    assert odds / odds[0] == pytest.approx(old / old[0], rel=1e-6)


def test_counted_probabilities_weigh_as_often_as_they_occur():
    twice = moved_to_level([0.1], 0.2, reference=[0.1, 0.1, 0.4])
    assert twice == pytest.approx(moved_to_level([0.1], 0.2, reference=[0.1, 0.4], counted=[2, 1]))


def test_missing_expectations_are_passed_on_and_left_out():
    assert np.isnan(cusum_weights([1, 0], [np.nan, 0.1], odds_ratio=2.0)).tolist() == [True, False]
    assert np.isnan(moved_to_level([0.1, np.nan], 0.2, reference=[0.1, np.nan])).tolist() == [False, True]
    assert np.isnan(moved_to_level([0.1], 0.2, reference=[np.nan])).all()
    assert observed_minus_expected([1, 1], [np.nan, 0.25]).tolist() == [0.0, 0.75]
    assert np.isnan(at_odds_ratio([np.nan], 2.0)).all()


@given(n=st.integers(1, 3000), most=st.integers(1, 300))
def test_so_many_are_kept_and_always_the_last(n, most):
    kept = kept_of_many(n, most=most)
    assert kept[-1]
    assert kept.sum() <= most + 1
    assert n > most or kept.all()


REFUSED = [
    (lambda: odds_ratio_between(0.2, 0.1), "acceptable must lie below unacceptable, got 0.2 and 0.1"),
    (lambda: odds_ratio_between(0.1, 0.1), "acceptable must lie below unacceptable, got 0.1 and 0.1"),
    (lambda: odds_ratio_between(0.0, 0.1), "acceptable must lie between 0 and 1, got 0.0"),
    (lambda: odds_ratio_between(0.1, 1.0), "unacceptable must lie between 0 and 1, got 1.0"),
    (lambda: cusum_weights([1], 0.0, odds_ratio=2.0), "expected must lie between 0 and 1, got 0.0"),
    (lambda: cusum_weights([1], 1.0, odds_ratio=2.0), "expected must lie between 0 and 1, got 1.0"),
    (lambda: cusum_weights([2], 0.1, odds_ratio=2.0), "events must be 0 or 1, got 2.0"),
    (lambda: cusum_weights([np.nan], 0.1, odds_ratio=2.0), "events must be 0 or 1, got nan"),
    (
        lambda: cusum_weights([1], 0.1, odds_ratio=1),
        "odds_ratio must not be 1, which no case can speak for, got 1",
    ),
    (lambda: cusum_weights([1], 0.1, odds_ratio=0), "odds_ratio must be finite and above 0, got 0"),
    (lambda: moved_to_level([0.1], 1.0, reference=[0.1]), "level must lie between 0 and 1, got 1.0"),
    (lambda: cusum([1.0], limit=0.0), "limit must be finite and above 0, got 0.0"),
    (lambda: cusum([np.inf], limit=1.0), "weights must be finite, got inf"),
    (
        lambda: cusum([1.0], limit=1.0, after_signal="go"),
        "after_signal must be one of restart, stop, got 'go'",
    ),
    (lambda: observed_minus_expected([1], [1.2]), "expected must lie from 0 to 1, got 1.2"),
    (lambda: kept_of_many(3, most=0), "most must be 1 or more, got 0"),
]


@pytest.mark.parametrize(("call", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_what_is_out_of_range_is_refused_by_name(call, message):
    with pytest.raises(ValueError) as refusal:  # noqa: PT011 - the whole message is compared
        call()
    assert str(refusal.value) == message
