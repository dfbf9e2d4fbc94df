"""Quantiles of a curve with a standard error, from the slope of the curve about them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from audit.statistics.arguments import require_between_0_and_1
from audit.statistics.curves import LEVEL_TOLERANCE, at_times, survival_quantile


@dataclass(frozen=True)
class QuantileWithError:
    """The time by which a proportion has had the event, in the curve's unit, with its standard error."""

    proportion: float
    value: float
    standard_error: float
    ci_lower: float
    ci_upper: float


def quantile_with_error(
    curve: pd.DataFrame, proportion: float = 0.5, *, about: float = 0.05, confidence: float = 0.95
) -> QuantileWithError:
    """Return the time by which a proportion has had the event, with its standard error and normal limits.

    Parameters
    ----------
    curve : DataFrame
        From `kaplan_meier`.
    proportion : float, between 0 and 1
        0.5 gives the median.
    about : float, between 0 and 1
        How far above and below the level 1 - proportion the slope of the curve is taken.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    QuantileWithError
        value as in `survival_quantile`; standard_error; ci_lower (held at 0 or more) and ci_upper. value is nan
        where the curve never comes down that far; the other three are nan where it has come to 0 by then, or
        does not run from `about` above the level to `about` below it.

    Raises
    ------
    ValueError
        If a number is not between 0 and 1.

    Notes
    -----
    The error of the curve at the quantile is divided by its slope there: by how much it falls, over how long,
    from the last event at which survival is at least 1 - proportion + about to the first at which it is at most
    1 - proportion - about. The limits of `survival_quantile` need no slope and are to be preferred where the
    curve's own limits reach the level; these give an upper limit where those do not.

    References
    ----------
    Collett D. Modelling Survival Data in Medical Research. Chapman and Hall/CRC. Section on the estimated median
    and percentiles of survival times.

    Examples
    --------
    >>> from audit.statistics.survival import kaplan_meier
    >>> found = quantile_with_error(kaplan_meier(range(1, 41), [1] * 40))
    >>> found.value, round(found.standard_error, 3)
    (20.5, 3.162)
    """
    for name, number in (("proportion", proportion), ("about", about), ("confidence", confidence)):
        require_between_0_and_1(name, number)
    value = float(survival_quantile(curve, proportion).value)
    if np.isnan(value):
        return QuantileWithError(proportion, *[np.nan] * 4)
    error = float(at_times(curve, value)["standard_error"].iloc[0])
    standard_error = error / _slope(curve, 1 - proportion, about)
    half_width = float(special.ndtri((1 + confidence) / 2)) * standard_error
    lower, upper = np.maximum([value - half_width, value + half_width], 0.0).tolist()
    return QuantileWithError(proportion, value, standard_error, lower, upper)


def _slope(curve: pd.DataFrame, level: float, about: float) -> float:
    """Return how fast the curve falls about the level, nan where it does not run far enough."""
    # Time 0 stands for the time before the first event.
    steps = curve[(curve["events"] > 0) | (curve["time"] == 0)]
    time, survival = steps["time"].to_numpy(np.float64), steps["survival"].to_numpy(np.float64)
    above = np.flatnonzero(survival >= level + about - LEVEL_TOLERANCE)
    below = np.flatnonzero(survival <= level - about + LEVEL_TOLERANCE)
    if not above.size or not below.size:
        return np.nan
    before, after = above[-1], below[0]
    return float((survival[before] - survival[after]) / (time[after] - time[before]))
