"""What a difference and its limits say against a margin, and how many observations would settle it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, amounts, counts_within, require_between_0_and_1

_Z95 = float(special.ndtri(0.975))
# The posterior of the second proportion is cut into this many equal slices; more change nothing to 5 digits.
_SLICES = 2000


def exceedance(
    value: ArrayLike, ci_lower: ArrayLike, ci_upper: ArrayLike, *, margin: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return how likely a true difference lies above a margin, and below its negative.

    Parameters
    ----------
    value, ci_lower, ci_upper : arrays
        A difference with 95% limits.
    margin : array, not below 0
        The difference too small to matter.

    Returns
    -------
    (above, below) : two arrays, 0 to 1
        nan where a number is missing; empty in, empty out.

    Raises
    ------
    ValueError
        If margin is negative.

    Notes
    -----
    Normal approximation: the standard error is a limit's distance from the value over 1.96, that of the upper
    limit for a margin above the value and of the lower limit for one below, so that asymmetry is kept. With a
    flat prior it is the posterior probability.

    References
    ----------
    Burton PR, Gurrin LC, Campbell MJ. J Epidemiol Community Health 1998;52:318-323.

    Examples
    --------
    >>> above, below = exceedance(0.02, -0.01, 0.05, margin=0.01)
    >>> round(float(above), 3), round(float(below), 3)
    (0.743, 0.025)
    """
    edge = amounts("margin", margin)
    middle, lower, upper = (np.asarray(number, dtype=np.float64) for number in (value, ci_lower, ci_upper))
    return _beyond(middle, lower, upper, edge), _beyond(-middle, -upper, -lower, edge)


def _beyond(value: FloatArray, lower: FloatArray, upper: FloatArray, edge: FloatArray) -> FloatArray:
    """Return the normal probability above an edge."""
    distance = np.where(edge >= value, upper - value, value - lower)
    known = np.where(distance > 0, distance, np.nan)
    return np.asarray(special.ndtr((value - edge) / known * _Z95))[()]


def exceedance_of_proportions(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike, *, margin: float
) -> tuple[FloatArray, FloatArray]:
    """Return how likely one proportion exceeds another by a margin, and falls short of it by one.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts
        Events and observations of two independent groups.
    margin : float, 0 to 1
        The difference too small to matter.

    Returns
    -------
    (above, below) : two arrays, 0 to 1
        Empty in, empty out. Without observations a group's proportion is anything.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n or margin is out of range.

    Notes
    -----
    Each proportion has the beta posterior of Jeffreys' prior, events + 1/2 and non-events + 1/2. The
    probability is that of the first beyond each of many equally likely values of the second, averaged. It
    stays right where nothing was seen, which a normal approximation does not.

    References
    ----------
    Brown LD, Cai TT, DasGupta A. Interval estimation for a binomial proportion. Stat Sci 2001;16:101-133.

    Examples
    --------
    >>> above, below = exceedance_of_proportions(6, 48, 25, 592, margin=0.02)
    >>> round(float(above), 2), round(float(below), 2)
    (0.95, 0.0)
    """
    if not 0 <= margin <= 1:
        raise ValueError(f"margin must lie between 0 and 1, got {margin}")
    x_1, total_1 = counts_within(events_1, n_1, names=("events_1", "n_1"))
    x_2, total_2 = counts_within(events_2, n_2, names=("events_2", "n_2"))
    middles = (np.arange(_SLICES) + 0.5) / _SLICES
    a_1, b_1, a_2, b_2 = (
        np.asarray(number)[..., None] + 0.5 for number in (x_1, total_1 - x_1, x_2, total_2 - x_2)
    )
    other = special.betaincinv(a_2, b_2, middles)
    above = special.betainc(b_1, a_1, np.maximum(1 - other - margin, 0))
    below = special.betainc(a_1, b_1, np.maximum(other - margin, 0))
    return np.asarray(above.mean(axis=-1))[()], np.asarray(below.mean(axis=-1))[()]


def detectable_difference(ci_lower: ArrayLike, ci_upper: ArrayLike, *, power: float = 0.8) -> FloatArray:
    """Return the smallest true difference that figures this precise would show, from its 95% limits.

    Parameters
    ----------
    ci_lower, ci_upper : arrays
        Limits of the difference.
    power : float, between 0 and 1
        The chance of showing it.

    Returns
    -------
    array
        Not below 0; nan where a limit is missing; empty in, empty out.

    Raises
    ------
    ValueError
        If power is out of range.

    Notes
    -----
    (1.96 + z of the power) standard errors, the error being the width of the limits over 3.92, taken to be
    the same at that difference.

    References
    ----------
    Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions. 3rd ed. Hoboken: Wiley; 2003.
    Chapter 4.

    Examples
    --------
    >>> round(float(detectable_difference(-0.0196, 0.0196)), 3)
    0.028
    """
    require_between_0_and_1("power", power)
    width = np.asarray(ci_upper, dtype=np.float64) - np.asarray(ci_lower, dtype=np.float64)
    return np.asarray((_Z95 + special.ndtri(power)) * width / (2 * _Z95))[()]


def observations_to_settle(
    n: ArrayLike,
    own: tuple[ArrayLike, ArrayLike, ArrayLike],
    other: tuple[ArrayLike, ArrayLike, ArrayLike],
    *,
    margin: ArrayLike,
) -> FloatArray:
    """Return how many observations would settle a comparison, should both estimates stay as they are.

    Parameters
    ----------
    n : array of amounts
        Observations so far on our side, or time under observation.
    own, other : value, lower and upper 95% limit of either side
        The other side is taken as it is: no more is to be had there.
    margin : array, not below 0
        The difference too small to matter; nan for none, which leaves only being shown to differ.

    Returns
    -------
    array
        The total in the unit of n at which the interval of the difference leaves out 0 or lies within the
        margin, whichever needs less; not rounded. Infinite where no number would do, because the other side
        is too uncertain; nan where a limit is missing or n is 0; empty in, empty out.

    Raises
    ------
    ValueError
        If n or margin is negative.

    Notes
    -----
    The limits of the difference are those of `difference_from_limits`, with the squared distances of ours
    falling as 1 / n. The answer is as uncertain as the estimates are.

    References
    ----------
    Julious SA. Stat Med 2004;23:1921-1986.

    Examples
    --------
    >>> round(float(observations_to_settle(100, (0.10, 0.04, 0.16), (0.05, 0.05, 0.05), margin=0.02)))
    144
    """
    size = amounts("n", n)
    edge = np.asarray(margin, dtype=np.float64)
    if np.any(edge < 0):
        raise ValueError(f"margin must not be below 0, got {edge}")
    value, below, above = _with_distances(own)
    against, other_below, other_above = _with_distances(other)
    difference = value - against
    differ = np.where(
        difference > 0,
        _share(difference, other_above, below),
        _share(-difference, other_below, above),
    )
    within = np.minimum(
        _share(edge - difference, other_below, above), _share(edge + difference, other_above, below)
    )
    share = np.fmax(differ, np.where(np.abs(difference) < edge, within, 0.0))
    missing = np.isnan(difference + below + above + other_below + other_above) | (size == 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        needed = size / np.maximum(share, 0.0)
    return np.where(missing, np.nan, needed)[()]


def _with_distances(side: tuple[ArrayLike, ArrayLike, ArrayLike]) -> tuple[FloatArray, ...]:
    """Return an estimate and how far its limits lie below and above it."""
    value, lower, upper = (np.asarray(number, dtype=np.float64) for number in side)
    return value, value - lower, upper - value


def _share(room: FloatArray, theirs: FloatArray, ours: FloatArray) -> FloatArray:
    """Return the share of our observations at which both distances together fill the room; 0 where none does."""
    left = np.where(room > 0, room**2 - theirs**2, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(left > 0, left / ours**2, 0.0)
