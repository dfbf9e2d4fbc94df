"""Event rates over exposure: limits, ratios, and observed against expected."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import (
    FloatArray,
    amounts,
    counts,
    require_between_0_and_1,
    require_choice,
)
from audit.statistics.binomial_tails import TWO_SIDED, binomial_distribution, two_sided
from audit.statistics.estimates import Estimate, SignificanceTest
from audit.statistics.proportions import proportion_interval
from audit.statistics.root_search import crossing

Limits = tuple[FloatArray, FloatArray]
# Public Health England's technical guide to its indicators takes exact limits below this count.
BYAR_FROM = 10


def rate_interval(
    events: ArrayLike, exposure: ArrayLike, *, confidence: float = 0.95, method: str = "garwood"
) -> Limits:
    """Return the lower and upper confidence limits of the rate events / exposure.

    Parameters
    ----------
    events : array of counts
        Events seen.
    exposure : array of amounts, zero or more
        Time (or any other amount) in which they were seen; the rate has its unit.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "garwood", "mid_p" or "byar"
        Exact; exact with the observed count counted half; Byar's approximation from 10 events on, below that
        exact.

    Returns
    -------
    (lower, upper) : two arrays, events per unit of exposure
        Shape of the arguments broadcast together; empty in, empty out. The lower limit is exactly 0 with no
        events. Both are nan where exposure = 0, since nothing was observed.

    Raises
    ------
    ValueError
        If events is not a whole number, exposure is negative, or confidence or method is not allowed.

    References
    ----------
    Garwood F. Fiducial limits for the Poisson distribution. Biometrika 1936;28:437-442. Ulm K. Am J
    Epidemiol 1990;131:373-375. Breslow NE, Day NE. Statistical Methods in Cancer Research II. Lyon: IARC;
    1987. p. 69 (Byar).

    Examples
    --------
    >>> lower, upper = rate_interval(14, 400)
    >>> round(float(lower), 6), round(float(upper), 6)
    (0.019135, 0.058724)
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("method", method, METHODS)
    x, time = np.broadcast_arrays(counts("events", events), amounts("exposure", exposure))
    lower, upper = METHODS[method](x, (1 - confidence) / 2)
    observed_time = np.where(time > 0, time, np.nan)
    return (np.where(x == 0, 0.0, lower) / observed_time)[()], (upper / observed_time)[()]


def _garwood(x: FloatArray, tail: float) -> Limits:
    """Return the means at which the observed count's exact tail is the nominal one."""
    return special.gammaincinv(np.maximum(x, 1), tail), special.gammainccinv(x + 1, tail)


def _mid_p(x: FloatArray, tail: float) -> Limits:
    """Return the means at which the exact tail, the observed count counted half, is the nominal one."""
    ceiling = special.gammainccinv(x + 1, tail)
    lower = crossing(lambda mean: _mid_upper_tail(x, mean) - tail, np.zeros_like(x), ceiling)
    upper = crossing(lambda mean: _mid_upper_tail(x, mean) - (1 - tail), np.zeros_like(x), ceiling)
    return lower, upper


def _mid_upper_tail(x: FloatArray, mean: FloatArray) -> FloatArray:
    """Return P(X > x) + P(X = x) / 2 for a Poisson count."""
    at_least = np.where(x > 0, special.gammainc(np.maximum(x, 1), mean), 1.0)
    tail: FloatArray = (at_least + special.gammainc(x + 1, mean)) / 2
    return tail


def _byar(x: FloatArray, tail: float) -> Limits:
    """Return Byar's approximate limits of a Poisson mean, the exact ones for a small count."""
    z, safe = special.ndtri(1 - tail), np.maximum(x, BYAR_FROM)
    lower = safe * (1 - 1 / (9 * safe) - z / (3 * np.sqrt(safe))) ** 3
    upper = (safe + 1) * (1 - 1 / (9 * (safe + 1)) + z / (3 * np.sqrt(safe + 1))) ** 3
    exact = _garwood(x, tail)
    return np.where(x < BYAR_FROM, exact[0], np.maximum(lower, 0)), np.where(x < BYAR_FROM, exact[1], upper)


METHODS: dict[str, Callable[[FloatArray, float], Limits]] = {
    "garwood": _garwood,
    "mid_p": _mid_p,
    "byar": _byar,
}


def rate_ratio(
    events_1: ArrayLike,
    exposure_1: ArrayLike,
    events_2: ArrayLike,
    exposure_2: ArrayLike,
    *,
    confidence: float = 0.95,
    method: str = "exact",
) -> Estimate:
    """Return the first rate divided by the second, with limits.

    Parameters
    ----------
    events_1, events_2 : arrays of counts
        Events in either group.
    exposure_1, exposure_2 : arrays of amounts
        Exposure of either group, in one unit.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "exact" or "mid_p"
        Which conditional limits.

    Returns
    -------
    Estimate
        value is 0 with no events in the first group, infinity with none in the second, nan with none in
        both; then a limit is 0 or infinity. All nan where an exposure is 0; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    Given all events, those of the first group are binomial with odds ratio-of-rates times ratio-of-exposures,
    so binomial limits turn into limits of the rate ratio.

    References
    ----------
    Przyborowski J, Wilenski H. Biometrika 1940;31:313-323. Gu K, Ng HKT, Tang ML, Schucany WR. Testing the
    ratio of two Poisson rates. Biom J 2008;50:283-298.

    Examples
    --------
    >>> result = rate_ratio(60, 51477.5, 30, 54308.7)
    >>> [round(float(x), 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [2.11, 1.3397, 3.3884]
    """
    require_choice("method", method, ("exact", "mid_p"))
    x_1, time_1, x_2, time_2 = np.broadcast_arrays(
        counts("events_1", events_1),
        amounts("exposure_1", exposure_1),
        counts("events_2", events_2),
        amounts("exposure_2", exposure_2),
    )
    binomial = "clopper_pearson" if method == "exact" else "mid_p"
    lower, upper = proportion_interval(x_1, x_1 + x_2, confidence=confidence, method=binomial)
    # With no event at all the binomial says nothing: the ratio may be anything.
    some = x_1 + x_2 > 0
    lower, upper = np.where(some, lower, 0.0), np.where(some, upper, 1.0)
    scale = np.where((time_1 > 0) & (time_2 > 0), time_2 / np.where(time_1 > 0, time_1, 1.0), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        value, low, high = x_1 / x_2 * scale, lower / (1 - lower) * scale, upper / (1 - upper) * scale
    return Estimate(value[()], low[()], high[()], method)


def rate_ratio_test(
    events_1: int,
    exposure_1: float,
    events_2: int,
    exposure_2: float,
    *,
    method: str = "minimum_likelihood",
) -> SignificanceTest:
    """Return the exact two-sided test that two rates are equal.

    Parameters
    ----------
    events_1, events_2 : counts
        Events in either group.
    exposure_1, exposure_2 : amounts
        Exposure of either group, in one unit.
    method : "minimum_likelihood", "doubled" or "mid_p"
        Adds all splits of the events no more likely than the one seen; or doubles the smaller tail, which
        agrees with the exact limits of `rate_ratio`; or doubles it with the split seen counted half, which
        agrees with the mid-P limits.

    Returns
    -------
    SignificanceTest
        p_value only; statistic and degrees_of_freedom are None. 1 with no events, nan where an exposure is 0.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Gu K, Ng HKT, Tang ML, Schucany WR. Testing the ratio of two Poisson rates. Biom J 2008;50:283-298.

    Examples
    --------
    >>> round(rate_ratio_test(60, 51477.5, 30, 54308.7).p_value, 6)
    0.000675
    """
    require_choice("method", method, TWO_SIDED)
    x_1, x_2 = int(counts("events_1", events_1)), int(counts("events_2", events_2))
    time_1, time_2 = float(amounts("exposure_1", exposure_1)), float(amounts("exposure_2", exposure_2))
    if not (time_1 > 0 and time_2 > 0):
        return SignificanceTest(None, None, np.nan, method)
    p = binomial_distribution(x_1 + x_2, time_1 / (time_1 + time_2))
    return SignificanceTest(None, None, two_sided(p, x_1, method), method)
