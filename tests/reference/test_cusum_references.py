"""Cumulative sums against published values.

Steiner SH, Cook RJ, Farewell VT, Treasure T. Monitoring surgical performance using risk-adjusted cumulative sum
charts. Biostatistics 2000;1:441-452: weights printed for Parsonnet scores 0 and 50 with logit(p) = -3.68 + 0.077
score. Biau DJ, Porcher R. Stat Med 2010;29:1900-1909: weights of the learning-curve CUSUM, whose formula a protocol
repeats with 0.40 and 0.15 for oocyte retrieval. Reynolds MR, Stoumbos ZG. J Qual Technol 1999;31:87-108: the
Bernoulli CUSUM on a lattice, its run lengths reproduced by a chain in a separate program and by simulation.
"""

import numpy as np
import pytest

from audit.statistics.case_weights import cusum_weights, learning_weights, odds_ratio_between
from audit.statistics.cusum import cusum
from audit.statistics.run_lengths import (
    Increments,
    average_run_length,
    cusum_increments,
    learning_increments,
    signal_probability,
)

PARSONNET = (0.0, 50.0)
EXPECTED = [1 / (1 + np.exp(3.68 - 0.077 * score)) for score in PARSONNET]
BERNOULLI = odds_ratio_between(0.05, 0.10)


@pytest.mark.parametrize(
    ("odds_ratio", "printed", "full"),
    [
        # Printed to two or three digits: score 0 survives, score 0 dies, score 50 survives, score 50 dies.
        (
            2.0,
            (-0.024, 0.669, -0.433, 0.26),
            (-0.0243046626185, 0.668842517941, -0.433338309794, 0.259808870766),
        ),
        (
            0.5,
            (0.012, -0.681, 0.316, -0.377),
            (0.0123775003908, -0.680769680169, 0.316354520287, -0.376792660273),
        ),
    ],
)
def test_the_weights_are_those_printed_for_two_parsonnet_scores(
    odds_ratio: float, printed: tuple[float, ...], full: tuple[float, ...]
) -> None:
    found = cusum_weights([0, 1, 0, 1], np.repeat(EXPECTED, 2), odds_ratio=odds_ratio)
    assert found == pytest.approx(printed, abs=6e-4)
    assert found == pytest.approx(full, rel=1e-11)


def test_a_bernoulli_cusum_goes_step_by_step_as_computed_by_hand() -> None:
    events = [0, 0, 1, 0, 0, 0, 1, 1, 0, 0, 0, 1, 0, 1, 1]
    weights = cusum_weights(events, 0.05, odds_ratio=BERNOULLI)
    assert weights[[2, 0]] == pytest.approx([np.log(2), np.log(0.90 / 0.95)], rel=1e-12)
    sums = cusum(weights, limit=10.0)["cusum"]
    by_hand = [
        *(
            0.0,
            0.0,
            0.69314718056,
            0.63907995929,
            0.585012738019,
            0.530945516749,
            1.22409269731,
            1.91723987787,
        ),
        *(
            1.8631726566,
            1.80910543533,
            1.75503821406,
            2.44818539462,
            2.39411817335,
            3.08726535391,
            3.78041253447,
        ),
    ]
    assert sums.to_numpy() == pytest.approx(by_hand, abs=1e-10)


@pytest.mark.parametrize(
    ("limit", "in_control", "out_of_control"),
    [
        (20, 81.9856418004, 28.0616166692),
        (30, 205.820404359, 48.7574208874),
        (50, 828.823775427, 94.1791628143),
    ],
)
def test_run_lengths_of_the_lattice_chart_are_those_of_its_own_chain(
    limit: float, in_control: float, out_of_control: float
) -> None:
    # An event adds 13 and any other case takes 1 away: 1 / 0.0723584, to the next whole number but one.
    found = [
        average_run_length(Increments(np.array([13.0, -1.0]), np.array([p, 1 - p])), limit=limit)
        for p in (0.05, 0.10)
    ]
    assert found == pytest.approx([in_control, out_of_control], rel=1e-6)


def test_run_lengths_in_the_form_of_likelihood_ratios_agree_with_fine_lattices() -> None:
    def lengths(limit: float) -> list[float]:
        chains = (cusum_increments([0.05], odds_ratio=BERNOULLI, true_odds_ratio=r) for r in (1.0, BERNOULLI))
        return [average_run_length(chain, limit=limit) for chain in chains]

    # Simulated elsewhere: 380.9 (standard error 1.1) and 66.93 (0.17).
    assert lengths(2.0) == pytest.approx([381.31, 66.95], rel=0.002)
    assert 1307 <= lengths(3.0)[0] <= 1315
    assert lengths(3.0)[1] == pytest.approx(112.2, rel=0.002)


@pytest.mark.parametrize(
    ("acceptable", "unacceptable", "success", "failure"),
    [(0.10, 0.25, 0.182321556794, -0.916290731874), (0.40, 0.55, 0.287682072452, -0.318453731119)],
)
def test_the_weights_of_a_learning_curve_are_those_of_the_formula(
    acceptable: float, unacceptable: float, success: float, failure: float
) -> None:
    found = learning_weights([0, 1], acceptable=acceptable, unacceptable=unacceptable)
    assert found == pytest.approx([success, failure], rel=1e-11)


def test_a_learning_curve_signals_at_case_18() -> None:
    events = [1, 0, 1, 0, 0, 1, 0, 0, 0, 0, 1, *[0] * 15]
    sums = cusum(
        learning_weights(events, acceptable=0.10, unacceptable=0.25), limit=1.25, after_signal="stop"
    )
    assert sums.loc[sums["signal"], "case"].tolist() == [18]
    assert sums["cusum"].iloc[16:18].tolist() == pytest.approx([1.09392934076, 1.27625089756])
    assert sums["cusum"].iloc[18:].isna().all()


@pytest.mark.parametrize(
    ("limit", "unready", "ready"),
    [(1.0, 0.9614, 0.99996), (1.25, 0.8922, 0.9996), (1.5, 0.6794, 0.9956), (2.0, 0.4561, 0.9793)],
)
def test_the_chance_of_passing_within_50_cases(limit: float, unready: float, ready: float) -> None:
    # So 1.25, a limit in use, passes nine of ten whose failures are unacceptable.
    found = [
        float(signal_probability(learning_increments(p, acceptable=0.10, unacceptable=0.25), 50, limit=limit))
        for p in (0.25, 0.10)
    ]
    assert found == pytest.approx([unready, ready], abs=1e-4)
