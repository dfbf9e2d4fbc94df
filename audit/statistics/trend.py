"""A trend of proportions over ordered groups."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within


@dataclass(frozen=True)
class TrendTest:
    """A chi-square for proportions over ordered groups, split into trend and departure from it."""

    slope: float
    direction: str
    z: float
    chi_square: float
    p_value: float
    homogeneity_chi_square: float
    homogeneity_degrees: int
    homogeneity_p_value: float
    departure_chi_square: float
    departure_degrees: int
    departure_p_value: float


def cochran_armitage(events: ArrayLike, n: ArrayLike, *, scores: ArrayLike | None = None) -> TrendTest:
    """Return the test for a linear trend of proportions over groups with scores.

    Parameters
    ----------
    events : array of counts, one per group
        Observations with the event.
    n : array of counts, one per group
        All observations; groups with none are left out.
    scores : array of numbers, one per group, optional
        Where each group lies on the scale; 0, 1, 2, ... by default. The result does not depend on the scale's
        origin or unit.

    Returns
    -------
    TrendTest
        slope: change of the proportion per unit of score; direction: "rising", "falling" or "none"; z (its
        sign is the slope's), chi_square = z squared on 1 degree, two-sided p_value; homogeneity: all groups
        alike; departure: what the trend leaves unexplained. Where no test can be made (nobody or everybody
        has the event, or fewer than two scores are left) slope is 0 or nan, direction "none" and the
        statistics and p-values are nan, and so is the departure's p-value with two groups.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, or the lengths differ.

    Notes
    -----
    The variance is the binomial one under no trend, with divisor N (as in R's prop.trend.test), not N - 1.

    References
    ----------
    Cochran WG. Biometrics 1954;10:417-451. Armitage P. Tests for linear trends in proportions and
    frequencies. Biometrics 1955;11:375-386. Fleiss JL. Statistical Methods for Rates and Proportions. 2nd
    ed. New York: Wiley; 1981. p. 139.

    Examples
    --------
    >>> result = cochran_armitage([83, 90, 129, 70], [86, 93, 136, 82], scores=[1, 2, 3, 4])
    >>> round(result.chi_square, 4), result.direction
    (8.2249, 'falling')
    """
    x, total = counts_within(np.atleast_1d(events), np.atleast_1d(n), names=("events", "n"))
    places = np.arange(x.size, dtype=np.float64) if scores is None else np.asarray(scores, dtype=np.float64)
    if places.shape != x.shape or not np.isfinite(places).all():
        raise ValueError(f"scores must be finite, one per group ({x.size} groups), got {places.tolist()}")
    kept = total > 0
    return _trend(x[kept], total[kept], places[kept])


def _trend(x: FloatArray, n: FloatArray, scores: FloatArray) -> TrendTest:
    """Return the test for groups that all hold observations."""
    pooled = x.sum() / n.sum() if x.size else np.nan
    centred = scores - (n * scores).sum() / n.sum() if x.size else scores
    spread, variance = float((n * centred**2).sum()), float(pooled * (1 - pooled))
    degrees = max(x.size - 1, 0)
    slope = float((centred * x).sum() / spread) if spread > 0 else np.nan
    if not (spread > 0 and variance > 0):
        nan = np.nan
        return TrendTest(slope, "none", nan, nan, nan, nan, degrees, nan, nan, max(degrees - 1, 0), nan)
    z = slope * np.sqrt(spread / variance)
    homogeneity = float((n * (x / n - pooled) ** 2).sum() / variance)
    departure = max(homogeneity - z**2, 0.0)
    return TrendTest(
        slope=slope,
        direction="rising" if slope > 0 else "falling" if slope < 0 else "none",
        z=float(z),
        chi_square=float(z**2),
        p_value=float(special.chdtrc(1, z**2)),
        homogeneity_chi_square=homogeneity,
        homogeneity_degrees=degrees,
        homogeneity_p_value=float(special.chdtrc(degrees, homogeneity)),
        departure_chi_square=departure,
        departure_degrees=degrees - 1,
        departure_p_value=float(special.chdtrc(degrees - 1, departure)) if degrees > 1 else np.nan,
    )
