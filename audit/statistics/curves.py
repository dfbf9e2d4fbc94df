"""What is read off a curve: its value at given times, its quantiles, and the area under it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray, amounts, require_between_0_and_1
from audit.statistics.estimates import Estimate
from audit.statistics.survival import greenwood_sum

FIGURES = ("survival", "incidence", "standard_error", "ci_lower", "ci_upper")
# Survival values closer than this are one level, as in R's quantile.survfit.
LEVEL_TOLERANCE = 1.5e-8


def at_times(curve: pd.DataFrame, times: ArrayLike) -> pd.DataFrame:
    """Return the curve's figures at given times.

    Parameters
    ----------
    curve : DataFrame
        From `kaplan_meier`, or one cause of `cumulative_incidence`.
    times : array of times, zero or more
        In the curve's unit, in any order.

    Returns
    -------
    DataFrame, one row per time, in the order given
        time; at_risk: individuals at risk at that time; cumulative_events: events up to and including it;
        survival, (incidence,) standard_error, ci_lower, ci_upper: figures of the last row at or before the
        time, as the curve steps at its times. They are nan where nobody is at risk any more or again, since
        then nothing is known, unless survival had come to 0 and everything is. No times or an empty curve:
        all figures nan, counts 0.

    Raises
    ------
    ValueError
        If a time is negative, missing or infinite.

    References
    ----------
    Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481.

    Examples
    --------
    >>> from audit.statistics.survival import kaplan_meier
    >>> at_times(kaplan_meier([2, 3, 5], [1, 0, 0]), [2.5, 9])[["time", "at_risk", "survival"]].round(3)
       time  at_risk  survival
    0   2.5        2     0.667
    1   9.0        0       NaN
    """
    wanted = np.atleast_1d(amounts("times", times))
    time, at_risk, events = (
        curve["time"].to_numpy(np.float64),
        curve["at_risk"].to_numpy(np.int64),
        curve["events"].to_numpy(np.int64),
    )
    figures = {name: curve[name].to_numpy(np.float64) for name in FIGURES if name in curve}
    return pd.DataFrame(read_at(wanted, time, at_risk, events, figures))


def read_at(
    wanted: FloatArray,
    time: FloatArray,
    at_risk: IntArray,
    events: IntArray,
    figures: Mapping[str, FloatArray],
) -> dict[str, np.ndarray]:
    """Return the columns of `at_times` for a curve given as arrays."""
    # One row more at either end, so that every lookup has a place to land.
    risk = np.append(at_risk, 0)[np.searchsorted(time, wanted, side="left")]
    place = np.searchsorted(time, wanted, side="right")
    values = {name: np.append(np.nan, figure)[place] for name, figure in figures.items()}
    known = (risk > 0) | (values["survival"] == 0)
    read = {name: np.where(known, value, np.nan) for name, value in values.items()}
    return {
        "time": wanted,
        "at_risk": risk,
        "cumulative_events": np.append(0, np.cumsum(events))[place],
    } | read


def survival_quantile(curve: pd.DataFrame, proportion: float = 0.5) -> Estimate:
    """Return the time by which a proportion has had the event, with reflected limits.

    Parameters
    ----------
    curve : DataFrame
        From `kaplan_meier`.
    proportion : float, between 0 and 1
        0.5 gives the median: the first time at which survival is 1 - proportion or less.

    Returns
    -------
    Estimate
        Times in the curve's unit, method "reflected"; nan where the curve (or its limit) never comes down
        that far, so that the time has not been reached.

    Raises
    ------
    ValueError
        If proportion is not between 0 and 1.

    Notes
    -----
    The limits are the times at which the curve's own limits cross the level. Where a curve lies exactly at
    the level for a while, the middle of that while is given, which ends at the last time observed if the
    curve never falls below; both as in R's survival package. Limits before the first event are left out.

    References
    ----------
    Brookmeyer R, Crowley J. A confidence interval for the median survival time. Biometrics 1982;38:29-41.
    Therneau TM. survival: Survival Analysis. R package; quantile.survfit.

    Examples
    --------
    >>> from audit.statistics.survival import kaplan_meier
    >>> float(survival_quantile(kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1])).value)
    2.5
    """
    require_between_0_and_1("proportion", proportion)
    begun = (curve["events"].cumsum() > 0).to_numpy()
    time = curve["time"].to_numpy(np.float64)
    value, lower, upper = (
        np.array(_first_time_at(1 - proportion, time[begun], curve[name].to_numpy(np.float64)[begun]))[()]
        for name in ("survival", "ci_lower", "ci_upper")
    )
    return Estimate(value, lower, upper, "reflected")


def _first_time_at(level: float, time: FloatArray, values: FloatArray) -> float:
    """Return when values first come down to a level, the middle of the time they lie exactly on it."""
    reached = values <= level + LEVEL_TOLERANCE
    if not reached.any():
        return np.nan
    first = int(np.argmax(reached))
    if values[first] < level - LEVEL_TOLERANCE:
        return float(time[first])
    below = values < level - LEVEL_TOLERANCE
    end = time[int(np.argmax(below))] if below.any() else time[-1]
    return float(time[first] + end) / 2


@dataclass(frozen=True)
class RestrictedMean:
    """The mean time without event up to a horizon, in the curve's unit."""

    horizon: float
    value: float
    standard_error: float
    ci_lower: float
    ci_upper: float


def restricted_mean(curve: pd.DataFrame, horizon: float, *, confidence: float = 0.95) -> RestrictedMean:
    """Return the mean time without event up to a horizon: the area under the curve.

    Parameters
    ----------
    curve : DataFrame
        From `kaplan_meier`.
    horizon : time, more than 0
        Where the area ends, in the curve's unit.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    RestrictedMean
        value, standard_error, ci_lower, ci_upper, the limits held within 0 and horizon. All nan where the
        curve is not known up to the horizon (nobody at risk there, and survival not 0) or is empty. The
        limits are nan where standard_error is 0, since nothing varied: no event up to the horizon, or all
        events at one time.

    Raises
    ------
    ValueError
        If horizon or confidence is out of range.

    Notes
    -----
    The variance is the Greenwood-type sum over event times of (area from that time to the horizon) squared
    times d / (n (n - d)); the limits are normal.

    References
    ----------
    Klein JP, Moeschberger ML. Survival Analysis. 2nd ed. New York: Springer; 2003. Section 4.5. Royston P,
    Parmar MKB. Stat Med 2011;30:2409-2421.

    Examples
    --------
    >>> from audit.statistics.survival import kaplan_meier
    >>> restricted_mean(kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1]), 2).value
    1.75
    """
    require_between_0_and_1("confidence", confidence)
    if not (horizon > 0 and np.isfinite(horizon)):
        raise ValueError(f"horizon must be finite and more than 0, got {horizon}")
    if np.isnan(at_times(curve, horizon)["survival"].to_numpy()).any():
        return RestrictedMean(horizon, np.nan, np.nan, np.nan, np.nan)
    before = curve[curve["time"] <= horizon]
    time, survival = before["time"].to_numpy(np.float64), before["survival"].to_numpy(np.float64)
    area_from = np.cumsum((np.diff(time, append=horizon) * survival)[::-1])[::-1]
    at_risk, events = before["at_risk"].to_numpy(np.int64), before["events"].to_numpy(np.int64)
    steps = np.diff(greenwood_sum(at_risk, events), prepend=0.0)
    value, standard_error = float(area_from[0]), float(np.sqrt((area_from**2 * steps).sum()))
    half_width = float(special.ndtri((1 + confidence) / 2)) * (standard_error or np.nan)
    lower, upper = np.clip([value - half_width, value + half_width], 0.0, horizon).tolist()
    return RestrictedMean(horizon, value, standard_error, lower, upper)
