"""The maximum of a log-likelihood by Newton's steps, or the news that it has none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from audit.statistics.arguments import FloatArray

MOST_STEPS = 100
MOST_HALVINGS = 40
# All distances are changes of the linear predictor.
SMALL_MOVE = 1e-10
# A likelihood that no longer rises though steps stay this long is suspected to have no maximum ...
LONG_MOVE = 0.1
SMALL_GAIN = 1e-7
# ... and convicted if this much further along the same way it has hardly changed.
FAR = 30.0
SMALL_CHANGE = 1e-4
# Rises smaller than this share of the value are not told from rounding.
ROUNDING = 1e-9
# Steps of such a length come from information that is nothing but rounding.
FAR_BEYOND = 1e100


@dataclass(frozen=True)
class Point:
    """The log-likelihood, its slope and its information (less the second derivative) at some parameters."""

    value: float
    score: FloatArray
    information: FloatArray


@dataclass(frozen=True)
class Maximum:
    """Where the climb ended: `state` is "found", "endless" or "lost"; `direction` of an endless rise, else 0."""

    parameters: FloatArray
    point: Point
    state: str
    direction: FloatArray


def maximise(
    evaluate: Callable[[FloatArray], Point],
    start: FloatArray,
    design: FloatArray,
    *,
    precision: float = SMALL_MOVE,
    largest_move: float = np.inf,
    most_steps: int = MOST_STEPS,
) -> Maximum:
    """Return the maximum of a log-likelihood whose parameters act through design @ parameters."""
    here, point = start, evaluate(start)
    still = direction = np.zeros_like(start)
    for _ in range(most_steps):
        step = _solved(point.information, point.score)
        if step is None:
            # A single step can lead so far out on a level that no information is left there.
            far_out = direction.any() and _endless(evaluate, here, direction, point.value)
            return Maximum(here, point, "endless" if far_out else "lost", direction if far_out else still)
        move = float(np.abs(design @ step).max(initial=0.0))
        if move <= precision:
            return Maximum(here + step, point, "found", still)
        direction = step / move
        promised = float(point.score @ step)
        risen = _highest(evaluate, here, direction * min(move, largest_move), point.value)
        if risen is None:
            # What the step promises is then less than rounding lets us see.
            level = promised < ROUNDING * (1 + abs(point.value))
            return Maximum(here, point, "found" if level else "lost", still)
        gain = risen[1].value - point.value
        here, point = risen
        if move > LONG_MOVE and gain < SMALL_GAIN and _endless(evaluate, here, direction, point.value):
            return Maximum(here, point, "endless", direction)
    return Maximum(here, point, "lost", still)


def _solved(information: FloatArray, score: FloatArray) -> FloatArray | None:
    """Return Newton's step, or None where the information has no inverse."""
    if not (np.isfinite(information).all() and np.isfinite(score).all()):
        return None
    try:
        root = np.linalg.cholesky(information)
    except np.linalg.LinAlgError:
        return None
    with np.errstate(over="ignore", invalid="ignore"):
        step: FloatArray = np.linalg.solve(root.T, np.linalg.solve(root, score))
    return step if (np.abs(step) < FAR_BEYOND).all() else None


def _highest(
    evaluate: Callable[[FloatArray], Point], here: FloatArray, step: FloatArray, value: float
) -> tuple[FloatArray, Point] | None:
    """Return the first of step, step / 2, step / 4 ... that does not fall, None if all do."""
    # Rounding may make the last steps fall by a hair.
    floor = value - 1e-12 * (1 + abs(value))
    for halving in range(MOST_HALVINGS):
        there = here + step / 2**halving
        point = evaluate(there)
        if point.value >= floor:
            return there, point
    return None


def _endless(
    evaluate: Callable[[FloatArray], Point], here: FloatArray, direction: FloatArray, value: float
) -> bool:
    """Return whether a concave log-likelihood is level a long way on, and so has no maximum worth the name."""
    return abs(evaluate(here + FAR * direction).value - value) < SMALL_CHANGE
