"""Power and sample size of comparisons over time: two event rates, and two curves by the log-rank test.

All tests are two-sided, with `level` their nominal error in both directions together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, amounts, require_between_0_and_1, require_choice
from audit.statistics.power import whole_number

LOG_RANK = ("schoenfeld", "freedman")


def power_two_rates(
    exposure_1: ArrayLike, exposure_2: ArrayLike, *, rate_1: ArrayLike, rate_2: ArrayLike, level: float = 0.05
) -> FloatArray:
    """Return the probability that a test of two rates finds a difference.

    Parameters
    ----------
    exposure_1, exposure_2 : arrays of amounts
        Exposure of either group, in one unit.
    rate_1, rate_2 : arrays, above 0
        True events per unit of exposure.
    level : float, between 0 and 1
        Two-sided error of the test.

    Returns
    -------
    array of probabilities
        Shape of the arguments broadcast together; nan where a group has no exposure; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    The log rate ratio divided by its standard error, 1 / expected events of both groups summed and rooted, is
    taken as normal and the wrong side ignored.

    References
    ----------
    Breslow NE, Day NE. Statistical Methods in Cancer Research II. Lyon: IARC; 1987. Chapter 7.

    Examples
    --------
    >>> round(float(power_two_rates(1000, 1000, rate_1=0.05, rate_2=0.03)), 3)
    0.599
    """
    require_between_0_and_1("level", level)
    first, second = amounts("exposure_1", exposure_1), amounts("exposure_2", exposure_2)
    one, two = _above_0("rate_1", rate_1), _above_0("rate_2", rate_2)
    events_1, events_2 = (
        np.where(time > 0, time, np.nan) * rate for time, rate in ((first, one), (second, two))
    )
    error = np.sqrt(1 / events_1 + 1 / events_2)
    power: FloatArray = special.ndtr(np.abs(np.log(one / two)) / error - special.ndtri(1 - level / 2))
    return power[()]


def exposure_for_two_rates(
    *, rate_1: float, rate_2: float, ratio: float = 1.0, power: float = 0.8, level: float = 0.05
) -> tuple[float, float]:
    """Return the exposure needed in each of two groups to find the difference of their rates.

    Parameters
    ----------
    rate_1, rate_2 : floats, above 0
        True events per unit of exposure.
    ratio : float, above 0
        Exposure of the second group per unit of the first.
    power, level : floats, between 0 and 1
        Probability of finding it, and two-sided error of the test.

    Returns
    -------
    (exposure_1, exposure_2) : two floats
        In the unit of the rates, not rounded.

    Raises
    ------
    ValueError
        If an argument is out of range or the rates are equal.

    Notes
    -----
    The inverse of `power_two_rates`.

    References
    ----------
    Breslow NE, Day NE. Statistical Methods in Cancer Research II. Lyon: IARC; 1987. Chapter 7.

    Examples
    --------
    >>> [round(exposure) for exposure in exposure_for_two_rates(rate_1=0.05, rate_2=0.03)]
    [1604, 1604]
    """
    one, two, share = (
        float(_above_0(name, value))
        for name, value in (("rate_1", rate_1), ("rate_2", rate_2), ("ratio", ratio))
    )
    if one == two:
        raise ValueError(f"rate_2 must differ from rate_1 ({one}), got {two}")
    exposure = _squared_quantiles(power, level) * (1 / one + 1 / (share * two)) / np.log(one / two) ** 2
    return float(exposure), float(exposure * share)


def power_log_rank(
    events: ArrayLike,
    *,
    hazard_ratio: ArrayLike,
    ratio: float = 1.0,
    level: float = 0.05,
    method: str = "schoenfeld",
) -> FloatArray:
    """Return the probability that the log-rank test of two groups finds a difference.

    Parameters
    ----------
    events : array of amounts
        Events in both groups together.
    hazard_ratio : array, above 0
        True hazard of the first group divided by the second's, the same at all times.
    ratio : float, above 0
        Observations of the first group per one of the second.
    level : float, between 0 and 1
        Two-sided error of the test.
    method : "schoenfeld" or "freedman"
        Two approximations; they agree near a ratio of 1. Freedman's asks for more events at equal sizes.

    Returns
    -------
    array of probabilities
        Shape of the arguments broadcast together; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    Only events count: how many observations give them depends on how long they are followed. Competing endings
    are censored, so the hazards are those of one cause.

    References
    ----------
    Schoenfeld D. The asymptotic properties of nonparametric tests for comparing survival distributions.
    Biometrika 1981;68:316-319. Freedman LS. Stat Med 1982;1:121-129.

    Examples
    --------
    >>> round(float(power_log_rank(100, hazard_ratio=0.5)), 3)
    0.934
    """
    require_between_0_and_1("level", level)
    require_choice("method", method, LOG_RANK)
    seen, hazards = amounts("events", events), _above_0("hazard_ratio", hazard_ratio)
    distance = np.sqrt(seen) * _standard_effect(hazards, float(_above_0("ratio", ratio)), method)
    power: FloatArray = special.ndtr(distance - special.ndtri(1 - level / 2))
    return power[()]


def events_for_log_rank(
    *,
    hazard_ratio: float,
    ratio: float = 1.0,
    power: float = 0.8,
    level: float = 0.05,
    method: str = "schoenfeld",
) -> int:
    """Return the events needed in both groups together for the log-rank test to find a difference.

    Parameters
    ----------
    hazard_ratio, ratio, level, method
        As in `power_log_rank`.
    power : float, between 0 and 1
        Probability of finding it.

    Returns
    -------
    int
        Rounded up. Divided by the probability of an event while followed it is the number of observations.

    Raises
    ------
    ValueError
        If an argument is out of range, the hazard ratio is 1 or more than ten million events would be needed.

    References
    ----------
    Schoenfeld D. Biometrika 1981;68:316-319. Freedman LS. Stat Med 1982;1:121-129.

    Examples
    --------
    >>> events_for_log_rank(hazard_ratio=0.5), events_for_log_rank(hazard_ratio=0.5, method="freedman")
    (66, 71)
    """
    require_choice("method", method, LOG_RANK)
    hazards, share = float(_above_0("hazard_ratio", hazard_ratio)), float(_above_0("ratio", ratio))
    if hazards == 1:
        raise ValueError(f"hazard_ratio must differ from 1, got {hazard_ratio}")
    effect = float(_standard_effect(np.asarray(hazards), share, method))
    return whole_number(_squared_quantiles(power, level) / effect**2)


def _standard_effect(hazard_ratio: FloatArray, ratio: float, method: str) -> FloatArray:
    """Return how many standard errors one event adds to the distance, before the root."""
    if method == "freedman":
        return np.asarray(np.sqrt(ratio) * np.abs(hazard_ratio - 1) / (ratio * hazard_ratio + 1))
    return np.asarray(np.abs(np.log(hazard_ratio)) * np.sqrt(ratio) / (1 + ratio))


def _squared_quantiles(power: float, level: float) -> float:
    """Return the squared sum of the quantiles of power and level."""
    require_between_0_and_1("power", power)
    require_between_0_and_1("level", level)
    return float(special.ndtri(1 - level / 2) + special.ndtri(power)) ** 2


def _above_0(name: str, values: ArrayLike) -> FloatArray:
    """Return finite numbers above 0 as floats, refusing anything else."""
    numbers = np.asarray(values, dtype=np.float64)
    wrong = ~((numbers > 0) & np.isfinite(numbers))
    if wrong.any():
        raise ValueError(f"{name} must be finite and above 0, got {numbers[wrong].flat[0]}")
    return numbers
