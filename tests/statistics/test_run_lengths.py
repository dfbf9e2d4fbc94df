"""Run lengths: against exact enumeration, against simulated charts, and the recovery of what is promised."""

from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.statistics.case_weights import at_odds_ratio, cusum_weights, learning_weights
from audit.statistics.cusum import cusum
from audit.statistics.run_lengths import (
    Increments,
    average_run_length,
    cusum_increments,
    learning_increments,
    limit_for,
    signal_probability,
)


def enumerated(increments, n, limit):
    """The chance of a signal within n cases, over every sum that can be reached, without a lattice."""
    share, done = {0.0: 1.0}, 0.0
    for _ in range(n):
        after = defaultdict(float)
        for total, chance in share.items():
            for size, own in zip(increments.sizes, increments.chances, strict=True):
                reached = max(0.0, total + size)
                if reached >= limit:
                    done += chance * own
                else:
                    after[round(reached, 9)] += chance * own
        share = after
    return done


@pytest.mark.parametrize("p", [0.02, 0.05, 0.10, 0.20])
@pytest.mark.parametrize("limit", [1.3, 2.1, 2.95])
def test_the_chain_agrees_with_every_path_enumerated(p, limit):
    monitoring = cusum_increments([0.05], odds_ratio=2.0, true_odds_ratio=p / (1 - p) * 19)
    learning = learning_increments(p, acceptable=0.05, unacceptable=0.12)
    for increments in (monitoring, learning):
        for n in (5, 40, 60):
            found = float(signal_probability(increments, n, limit=limit))
            assert found == pytest.approx(enumerated(increments, n, limit), abs=2e-4)


def signalled(weights, limit):
    """The case of the first signal of each row of weights; one more than there are where none signals."""
    total, first = np.zeros(len(weights)), np.full(len(weights), weights.shape[1] + 1)
    for case in range(weights.shape[1]):
        total = np.maximum(total + weights[:, case], 0.0)
        first = np.where((total >= limit) & (first > case + 1), case + 1, first)
    return first


def test_the_fast_loop_of_these_tests_is_the_chart():
    rng = np.random.default_rng(1)
    weights = cusum_weights(rng.random((40, 80)) < 0.12, 0.05, odds_ratio=2.0)
    for row, first in zip(weights, signalled(weights, 2.0), strict=True):
        crossed = np.flatnonzero(cusum(row, limit=2.0)["signal"])
        assert first == (crossed[0] + 1 if crossed.size else 81)


MIXTURE = np.random.default_rng(5).beta(1.5, 18, 60)


@pytest.mark.parametrize(("true_odds_ratio", "least"), [(1.0, 0.0), (2.0, 0.5), (3.0, 0.85)])
def test_the_promised_false_alarm_and_power_are_recovered_in_simulated_clinics(true_odds_ratio, least):
    well = cusum_increments(MIXTURE, odds_ratio=2.0)
    limit = limit_for(well, probability=0.05, within=100)
    rng = np.random.default_rng(20260925)
    expected = rng.choice(MIXTURE, (20_000, 100))
    events = rng.random(expected.shape) < at_odds_ratio(expected, true_odds_ratio)
    first = signalled(cusum_weights(events, expected, odds_ratio=2.0), limit)
    true = cusum_increments(MIXTURE, odds_ratio=2.0, true_odds_ratio=true_odds_ratio)
    for n in (20, 60, 100):
        promised = float(signal_probability(true, n, limit=limit))
        error = np.sqrt(promised * (1 - promised) / len(first))
        assert abs((first <= n).mean() - promised) < 4 * error + 0.002
    found = (first <= 100).mean()
    assert found >= least
    if true_odds_ratio == 1:
        assert 0.035 < found < 0.054


@pytest.mark.parametrize(("p", "passes"), [(0.15, False), (0.05, True)])
def test_learners_pass_as_often_as_promised(p, passes):
    levels = {"acceptable": 0.05, "unacceptable": 0.15}
    limit = limit_for(learning_increments(0.15, **levels), probability=0.05, within=100)
    events = np.random.default_rng(7).random((20_000, 100)) < p
    found = (signalled(learning_weights(events, **levels), limit) <= 100).mean()
    promised = float(signal_probability(learning_increments(p, **levels), 100, limit=limit))
    assert found == pytest.approx(promised, abs=0.012)
    assert (found > 0.7) if passes else (found <= 0.055)


def test_the_average_of_simulated_run_lengths_is_that_of_the_chain():
    increments = cusum_increments([0.08, 0.2], odds_ratio=2.5, true_odds_ratio=2.5)
    rng = np.random.default_rng(3)
    expected = rng.choice([0.08, 0.2], (4000, 600))
    events = rng.random(expected.shape) < at_odds_ratio(expected, 2.5)
    first = signalled(cusum_weights(events, expected, odds_ratio=2.5), 2.0)
    assert (first <= 600).all()
    error = first.std() / np.sqrt(len(first))
    assert abs(first.mean() - average_run_length(increments, limit=2.0)) < 4 * error


def test_the_average_is_the_sum_of_the_chances_of_no_signal_yet():
    increments = cusum_increments([0.1], odds_ratio=3.0, true_odds_ratio=3.0)
    left = 1 - signal_probability(increments, np.arange(4000), limit=2.5)
    assert average_run_length(increments, limit=2.5) == pytest.approx(left.sum(), rel=1e-6)


def test_far_beyond_the_steady_part_the_chance_goes_on_rising_to_1():
    increments = cusum_increments([0.05], odds_ratio=2.0)
    chances = signal_probability(increments, [0, 1, 100, 10_000, 1_000_000], limit=2.8)
    assert chances[0] == 0
    assert (np.diff(chances) >= 0).all()
    assert chances[-1] == pytest.approx(1.0)
    assert signal_probability(increments, [], limit=2.8).size == 0


def test_a_chart_that_cannot_rise_never_signals():
    falling = Increments(np.array([-0.5, -0.1]), np.array([0.2, 0.8]))
    assert average_run_length(falling, limit=1.0) == np.inf
    assert float(signal_probability(falling, 500, limit=1.0)) == 0.0
    far = cusum_increments([0.05], odds_ratio=2.0)
    assert average_run_length(far, limit=40.0) == np.inf


@settings(max_examples=15)
@given(p=st.floats(0.02, 0.3), probability=st.floats(0.01, 0.2), within=st.integers(20, 150))
def test_a_limit_keeps_to_its_chance_and_the_next_lower_one_does_not(p, probability, within):
    increments = cusum_increments([p], odds_ratio=2.0)
    limit = limit_for(increments, probability=probability, within=within)
    assert float(signal_probability(increments, within, limit=limit)) <= probability
    lower = round(limit - 0.05, 2)
    if lower > 0:
        assert float(signal_probability(increments, within, limit=lower)) > probability


def test_kinds_that_come_more_often_count_more_and_unknown_ones_not_at_all():
    told = cusum_increments([0.05, 0.05, 0.2, np.nan], odds_ratio=2.0)
    counted = cusum_increments([0.05, 0.2, 0.9], odds_ratio=2.0, counted=[2, 1, 0])
    chances = [average_run_length(found, limit=2.0) for found in (told, counted)]
    # Another number of kinds is another lattice.
    assert chances[0] == pytest.approx(chances[1], rel=1e-3)
    assert told.chances.sum() == pytest.approx(1.0)


WELL = cusum_increments([0.05], odds_ratio=2.0)
REFUSED = [
    (
        lambda: cusum_increments([np.nan], odds_ratio=2.0),
        "expected must hold a probability to count, got none",
    ),
    (lambda: cusum_increments([1.0], odds_ratio=2.0), "expected must lie between 0 and 1, got 1.0"),
    (
        lambda: cusum_increments([0.1], odds_ratio=2.0, counted=-1.0),
        "counted must be finite and zero or more, got -1.0",
    ),
    (
        lambda: learning_increments(0.0, acceptable=0.1, unacceptable=0.2),
        "probability must lie between 0 and 1, got 0.0",
    ),
    (
        lambda: learning_increments(0.1, acceptable=0.2, unacceptable=0.1),
        "acceptable must lie below unacceptable, got 0.2 and 0.1",
    ),
    (lambda: average_run_length(WELL, limit=-1.0), "limit must be finite and above 0, got -1.0"),
    (lambda: signal_probability(WELL, 10, limit=np.inf), "limit must be finite and above 0, got inf"),
    (lambda: signal_probability(WELL, 1.5, limit=1.0), "n must be whole numbers of zero or more, got 1.5"),
    (lambda: limit_for(WELL, probability=0.0, within=100), "probability must lie between 0 and 1, got 0.0"),
    (lambda: limit_for(WELL, probability=0.1, within=0), "within must be a whole number of 1 or more, got 0"),
]


@pytest.mark.parametrize(("call", "message"), REFUSED, ids=[message for _, message in REFUSED])
def test_what_is_out_of_range_is_refused_by_name(call, message):
    with pytest.raises(ValueError) as refusal:  # noqa: PT011 - the whole message is compared
        call()
    assert str(refusal.value) == message
