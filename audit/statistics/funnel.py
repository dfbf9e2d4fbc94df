"""Stepped exact limits around a target proportion, and what a given number of observations can detect."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray, counts, proportions, require_between_0_and_1
from audit.statistics.binomial_tails import probability_at_least, probability_at_most


def funnel_limits(n: ArrayLike, target: ArrayLike, *, tail_probability: float) -> pd.DataFrame:
    """Return the counts that are as rare as the tail probability when the target holds.

    Parameters
    ----------
    n : array of counts
        Observations behind each point.
    target : array, 0 to 1
        The proportion points are compared with, one for all or one each.
    tail_probability : float, between 0 and 1
        One-sided, such as 0.025 or 0.001.

    Returns
    -------
    DataFrame, one row per n
        n, target; lower_count: the largest count with P(X <= count) <= tail_probability; upper_count: the
        smallest count with P(X >= count) <= tail_probability; lower_proportion, upper_proportion: these
        divided by n. nan where no count of 0 to n is that rare. Empty in, empty frame out.

    Raises
    ------
    ValueError
        If n is not a whole number, or target or tail_probability is out of range.

    Notes
    -----
    The limit is itself a count that signals, so a point at or beyond it, and only such a point, has a tail
    of at most `tail_probability` in `binomial_tail`: the mark on a drawing and its verdict cannot disagree.
    Limits interpolated between counts lack this: a point just outside them can have a tail well above
    the nominal one.

    References
    ----------
    Spiegelhalter DJ. Funnel plots for comparing institutional performance. Stat Med 2005;24:1185-1202.
    Seaton SE, Manktelow BN. The probability of being identified as an outlier with commonly used funnel
    plot control limits for the standardised mortality ratio. BMC Med Res Methodol 2012;12:98.

    Examples
    --------
    >>> funnel_limits([20, 100], 0.05, tail_probability=0.025)[["n", "lower_count", "upper_count"]]
         n  lower_count  upper_count
    0   20          NaN          4.0
    1  100          0.0         11.0
    """
    require_between_0_and_1("tail_probability", tail_probability)
    given = np.atleast_1d(counts("n", n)), np.atleast_1d(proportions("target", target))
    total, level = np.broadcast_arrays(*given)
    upper = _smallest_rare_count(total, level, tail_probability)
    # A low count of events is a high count of non-events.
    lower = total - _smallest_rare_count(total, level, tail_probability, low=True)
    divisor = np.where(total > 0, total, np.nan)
    columns = {"n": total.astype(np.int64), "target": level, "lower_count": lower, "upper_count": upper}
    return pd.DataFrame(columns | {"lower_proportion": lower / divisor, "upper_proportion": upper / divisor})


def ordinary_counts(n: ArrayLike, target: ArrayLike, *, tail_probability: float) -> pd.DataFrame:
    """Return the counts between the limits: those that are not as rare as the tail probability.

    Parameters
    ----------
    n, target, tail_probability
        As in `funnel_limits`.

    Returns
    -------
    DataFrame, one row per n
        n, target; least and most: the smallest and the largest count that lies within both limits. Empty in, empty
        frame out.

    Raises
    ------
    ValueError
        As `funnel_limits`.

    Examples
    --------
    >>> ordinary_counts([20, 100], 0.05, tail_probability=0.025)[["n", "least", "most"]].values.tolist()
    [[20, 0, 3], [100, 1, 10]]
    """
    limits = funnel_limits(n, target, tail_probability=tail_probability)
    least = limits["lower_count"].fillna(-1) + 1
    most = limits["upper_count"].fillna(limits["n"] + 1) - 1
    return limits[["n", "target"]].assign(least=least.astype(np.int64), most=most.astype(np.int64))


def numbers_to(most: int) -> IntArray:
    """Return 1, 2, ... up to and with the most: the numbers of observations over which limits are drawn.

    Parameters
    ----------
    most : count
        The last number.

    Returns
    -------
    array of whole numbers
        Empty where the most is 0.

    Examples
    --------
    >>> numbers_to(3).tolist()
    [1, 2, 3]
    """
    return np.arange(1, most + 1, dtype=np.int64)


def _smallest_rare_count(
    n: FloatArray, target: FloatArray, tail_probability: float, *, low: bool = False
) -> FloatArray:
    """Return the smallest count (of non-events if low) whose tail is at most tail_probability, else nan."""
    not_rare, rare = np.zeros_like(n), n + 1
    for _ in range(int(np.ceil(np.log2(n.max(initial=0) + 1))) + 1):
        middle = np.floor((not_rare + rare) / 2)
        # The same functions that give the verdict, so that rounding cannot part the two.
        tail = probability_at_most(n - middle, n, target) if low else probability_at_least(middle, n, target)
        is_rare = tail <= tail_probability
        rare = np.where(is_rare, middle, rare)
        not_rare = np.where(is_rare, not_rare, middle)
    return np.where(rare <= n, rare, np.nan)


def smallest_detectable_proportion(
    n: ArrayLike, target: ArrayLike, *, tail_probability: float, power: float = 0.8
) -> FloatArray:
    """Return the smallest true proportion that the exact upper limit would signal with the given power.

    Parameters
    ----------
    n : array of counts
        Observations behind each point.
    target : array, 0 to 1
        The proportion points are compared with.
    tail_probability : float, between 0 and 1
        One-sided tail of the signalling rule, as in `funnel_limits`.
    power : float, between 0 and 1
        Probability of a signal.

    Returns
    -------
    array, 0 to 1
        nan where no count of 0 to n would signal, so that nothing can be detected; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    With upper limit c, P(X >= c) = power is solved for the true proportion; the solution is a beta quantile.

    References
    ----------
    Abramowitz M, Stegun IA. Handbook of Mathematical Functions. Washington: National Bureau of Standards;
    1964. Formula 26.5.24.

    Examples
    --------
    >>> smallest_detectable_proportion([50, 200], 0.05, tail_probability=0.025).round(3).tolist()
    [0.176, 0.101]
    """
    require_between_0_and_1("power", power)
    limits = funnel_limits(n, target, tail_probability=tail_probability)
    total, count = limits["n"].to_numpy(np.float64), limits["upper_count"].to_numpy(np.float64)
    safe_count = np.where(np.isnan(count), 1.0, count)
    solved = special.betaincinv(safe_count, np.maximum(total - safe_count + 1, 1), power)
    shape = np.broadcast_shapes(np.shape(n), np.shape(target))
    return np.where(np.isnan(count), np.nan, solved).reshape(shape)[()]
