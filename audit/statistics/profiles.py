"""Limits from the profile likelihood, for terms whose estimate is infinite and has no standard error."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy import special

from audit.statistics.arguments import FloatArray
from audit.statistics.coefficients import exponential
from audit.statistics.design import Design
from audit.statistics.newton import Maximum, Point, maximise

Likelihood = Callable[[FloatArray], Point]


def with_profile_limits(
    table: pd.DataFrame,
    design: Design,
    likelihood: Likelihood,
    best: Maximum,
    patterns: FloatArray,
    *,
    confidence: float,
) -> pd.DataFrame:
    """Return a table of coefficients with the finite limit and the p-value of each infinite term filled in.

    The limit is where twice the fall of the profile log-likelihood from its supremum is the chi-square quantile;
    the p-value is that of the likelihood ratio. The intercept of centred columns has no profile of its own.
    """
    filled = table.copy()
    quantile = float(special.ndtri((1 + confidence) / 2))
    for column, row in enumerate(np.flatnonzero(design.kept)):
        coefficient = float(table["coefficient"].to_numpy()[row])
        if not np.isinf(coefficient) or (design.intercept and row == 0):
            continue
        side = -np.sign(coefficient)
        fall = _fall_of(likelihood, best, patterns, column)
        limit = _limit(fall, float(best.parameters[column]), side, quantile) / design.scale[row]
        filled.loc[row, "ci_upper" if side > 0 else "ci_lower"] = exponential(np.array(limit))
        filled.loc[row, "p_value"] = special.chdtrc(1, fall(0.0))
    return filled


def straight_root(
    rising: Callable[[float], float], near: tuple[float, float], far: tuple[float, float]
) -> float:
    """Return the root of a nearly straight rising function between two points of it (Illinois rule)."""
    (low, at_low), (high, at_high), last, middle = near, far, 0, far[0]
    for _ in range(100):
        middle = high - at_high * (high - low) / (at_high - at_low)
        at_middle = rising(middle)
        if np.isnan(at_middle):
            return np.nan
        if abs(at_middle) < 1e-10:
            break
        # An end kept twice counts half, or the line would creep up to the root from one side.
        if at_middle > 0:
            high, at_high, at_low, last = middle, at_middle, at_low / (2 if last > 0 else 1), 1
        else:
            low, at_low, at_high, last = middle, at_middle, at_high / (2 if last < 0 else 1), -1
    return middle


def _fall_of(
    likelihood: Likelihood, best: Maximum, patterns: FloatArray, column: int
) -> Callable[[float], float]:
    """Return twice the fall of the profile log-likelihood as a function of one coefficient."""
    others = np.delete(np.arange(best.parameters.size), column)

    def fall(place: float) -> float:
        def along(parameters: FloatArray) -> Point:
            point = likelihood(np.insert(parameters, column, place))
            return Point(point.value, point.score[others], point.information[np.ix_(others, others)])

        there = maximise(along, np.zeros(others.size), patterns[:, others])
        if there.state == "lost":
            return np.nan
        return max(2 * (best.point.value - there.point.value), 0.0)

    return fall


def _limit(fall: Callable[[float], float], start: float, side: float, quantile: float) -> float:
    """Return where the root of the fall reaches the quantile, going one way from where it is almost nothing."""

    def excess(distance: float) -> float:
        return float(np.sqrt(fall(start + side * distance))) - quantile

    near, far = (0.0, -quantile), (1.0, excess(1.0))
    for _ in range(30):
        if np.isnan(far[1]):
            return np.nan
        if far[1] > 0:
            return start + side * straight_root(excess, near, far)
        near, far = far, (2 * far[0], excess(2 * far[0]))
    return side * np.inf
