"""Confidence limits for a proportion, and bounds for one whose outcomes are partly unknown."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import (
    FloatArray,
    counts,
    counts_within,
    require_between_0_and_1,
    require_choice,
)
from audit.statistics.binomial_tails import probability_at_least
from audit.statistics.root_search import crossing

Limits = tuple[FloatArray, FloatArray]


def proportion_interval(
    events: ArrayLike, n: ArrayLike, *, confidence: float = 0.95, method: str = "wilson"
) -> Limits:
    """Return the lower and upper confidence limits of the proportion events / n.

    Parameters
    ----------
    events : array of counts, 0 to n
        Observations with the event.
    n : array of counts
        Observations whose outcome is known.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "wilson", "clopper_pearson", "mid_p", "jeffreys" or "agresti_coull"
        See Notes.

    Returns
    -------
    (lower, upper) : two arrays, 0 to 1
        Shape of the arguments broadcast together; empty in, empty out. Both are nan where n = 0, since
        nothing was observed. At 0 of n the lower limit is exactly 0, at n of n the upper exactly 1.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceeds n, or confidence or method is not allowed.

    Notes
    -----
    "wilson" (score) covers on average what it says and is the default. "clopper_pearson" (exact) never
    covers less, at the price of width. "mid_p" lies between. "jeffreys" is the equal-tailed posterior
    under a Beta(1/2, 1/2) prior, with 0 and 1 as the limits at the edges. "agresti_coull" is the score
    interval's simple form. The normal approximation is not offered: at n = 20 its coverage falls
    to 0.1 for a rare event.

    References
    ----------
    Wilson EB. J Am Stat Assoc 1927;22:209-212. Clopper CJ, Pearson ES. Biometrika 1934;26:404-413.
    Agresti A, Coull BA. Am Stat 1998;52:119-126. Newcombe RG. Two-sided confidence intervals for the
    single proportion: comparison of seven methods. Stat Med 1998;17:857-872. Brown LD, Cai TT,
    DasGupta A. Interval estimation for a binomial proportion. Stat Sci 2001;16:101-133.

    Examples
    --------
    >>> lower, upper = proportion_interval([81, 0], [263, 20])
    >>> lower.round(4).tolist(), upper.round(4).tolist()
    ([0.2553, 0.0], [0.3662, 0.1611])
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("method", method, METHODS)
    x, total = counts_within(events, n, names=("events", "n"))
    safe_total = np.where(total > 0, total, 1.0)
    lower, upper = METHODS[method](x, safe_total, (1 - confidence) / 2)
    edged = np.where(x == 0, 0.0, np.clip(lower, 0, 1)), np.where(x == total, 1.0, np.clip(upper, 0, 1))
    return np.where(total > 0, edged[0], np.nan)[()], np.where(total > 0, edged[1], np.nan)[()]


def _wilson(x: FloatArray, n: FloatArray, tail: float) -> Limits:
    """Return the score limits."""
    z = special.ndtri(1 - tail)
    half_width = z * np.sqrt(x * (n - x) / n + z**2 / 4)
    return (x + z**2 / 2 - half_width) / (n + z**2), (x + z**2 / 2 + half_width) / (n + z**2)


def _clopper_pearson(x: FloatArray, n: FloatArray, tail: float) -> Limits:
    """Return the limits at which the observed count's exact tail is the nominal one."""
    # At the edges a beta parameter would be 0; the value put there is replaced by 0 or 1 afterwards.
    lower = special.betaincinv(np.maximum(x, 1), n - x + 1, tail)
    upper = special.betaincinv(x + 1, np.maximum(n - x, 1), 1 - tail)
    return lower, upper


def _mid_p(x: FloatArray, n: FloatArray, tail: float) -> Limits:
    """Return the limits at which the exact tail, the observed count counted half, is the nominal one."""
    zeros, ones = np.zeros_like(x), np.ones_like(x)
    lower = crossing(lambda p: _mid_upper_tail(x, n, p) - tail, zeros, ones)
    upper = 1 - crossing(lambda p: _mid_upper_tail(n - x, n, p) - tail, zeros, ones)
    return lower, upper


def _mid_upper_tail(x: FloatArray, n: FloatArray, p: FloatArray) -> FloatArray:
    """Return P(X > x) + P(X = x) / 2."""
    return (probability_at_least(x, n, p) + probability_at_least(x + 1, n, p)) / 2


def _jeffreys(x: FloatArray, n: FloatArray, tail: float) -> Limits:
    """Return the equal-tailed posterior limits under a Beta(1/2, 1/2) prior."""
    return special.betaincinv(x + 0.5, n - x + 0.5, tail), special.betaincinv(x + 0.5, n - x + 0.5, 1 - tail)


def _agresti_coull(x: FloatArray, n: FloatArray, tail: float) -> Limits:
    """Return the normal limits after adding z squared pseudo-observations, half of them events."""
    z = special.ndtri(1 - tail)
    centre = (x + z**2 / 2) / (n + z**2)
    half_width = z * np.sqrt(centre * (1 - centre) / (n + z**2))
    return centre - half_width, centre + half_width


METHODS: dict[str, Callable[[FloatArray, FloatArray, float], Limits]] = {
    "wilson": _wilson,
    "clopper_pearson": _clopper_pearson,
    "mid_p": _mid_p,
    "jeffreys": _jeffreys,
    "agresti_coull": _agresti_coull,
}


def bounds_for_unknowns(events: ArrayLike, n: ArrayLike, n_unknown: ArrayLike) -> Limits:
    """Return the least and greatest proportion that the unknown outcomes leave possible.

    Parameters
    ----------
    events : array of counts, 0 to n
        Observations known to have the event.
    n : array of counts
        Observations whose outcome is known.
    n_unknown : array of counts
        Observations whose outcome is not known.

    Returns
    -------
    (least, greatest) : two arrays, 0 to 1
        events / (n + n_unknown) and (events + n_unknown) / (n + n_unknown); nan where there is no
        observation at all; empty in, empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number or events exceeds n.

    Notes
    -----
    Bounds, not a confidence interval: they say what missing outcomes could do, not what chance could.

    References
    ----------
    Manski CF. Partial Identification of Probability Distributions. New York: Springer; 2003. Chapter 1.

    Examples
    --------
    >>> least, greatest = bounds_for_unknowns(3, 10, 5)
    >>> round(float(least), 3), round(float(greatest), 3)
    (0.2, 0.533)
    """
    x, known = counts_within(events, n, names=("events", "n"))
    unknown = counts("n_unknown", n_unknown)
    total = np.where(known + unknown > 0, known + unknown, np.nan)
    return (x / total)[()], ((x + unknown) / total)[()]
