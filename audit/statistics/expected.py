"""Observed against expected events, with the expectation built from stratum rates."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, amounts, counts, counts_within, require_choice
from audit.statistics.binomial_tails import TWO_SIDED, two_sided
from audit.statistics.estimates import Estimate, SignificanceTest
from audit.statistics.rates import rate_interval


def observed_expected(
    observed: ArrayLike, expected: ArrayLike, *, confidence: float = 0.95, method: str = "garwood"
) -> Estimate:
    """Return observed / expected events with limits.

    Parameters
    ----------
    observed : array of counts
        Events seen.
    expected : array of amounts
        Events expected, taken as known without error.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "garwood", "mid_p" or "byar"
        As in `rate_interval`.

    Returns
    -------
    Estimate
        Shape of the arguments broadcast together; all nan where expected = 0; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    The observed count is taken as Poisson. Where the expectation rests on few observations the limits are
    too narrow, since they hold it fixed.

    References
    ----------
    Breslow NE, Day NE. Statistical Methods in Cancer Research II: The Design and Analysis of Cohort Studies.
    Lyon: IARC; 1987. Chapter 2.

    Examples
    --------
    >>> result = observed_expected(137, 24.19893)
    >>> [round(float(x), 3) for x in (result.value, result.ci_lower, result.ci_upper)]
    [5.661, 4.753, 6.693]
    """
    seen, due = counts("observed", observed), amounts("expected", expected)
    lower, upper = rate_interval(seen, due, confidence=confidence, method=method)
    return Estimate((seen / np.where(due > 0, due, np.nan))[()], lower, upper, method)


def shares_with_one_of_all(events: ArrayLike, n: ArrayLike) -> FloatArray:
    """Return the share of events in each group as if it held one observation more, at the share of all groups.

    Parameters
    ----------
    events, n : array of counts
        Per group.

    Returns
    -------
    array, 0 to 1
        Strictly between 0 and 1 unless none or all of everybody had the event; the share of all for a group of
        nobody; all nan where there is nobody at all.

    Raises
    ------
    ValueError
        If a count is not a whole number or events exceed n.

    Notes
    -----
    A share of exactly 0 or 1 from a small group would make one more event impossible, or certain.

    References
    ----------
    Good IJ. The Estimation of Probabilities. Cambridge: MIT Press; 1965. Chapter 4.

    Examples
    --------
    >>> shares_with_one_of_all([0, 5], [9, 91]).round(4).tolist()
    [0.005, 0.0549]
    """
    part, whole = counts_within(events, n, names=("events", "n"))
    total = whole.sum()
    level = part.sum() / total if total else np.nan
    shares: FloatArray = (part + level) / (whole + 1)
    return shares


def observed_expected_test(
    observed: int, expected: float, *, method: str = "minimum_likelihood"
) -> SignificanceTest:
    """Return the exact two-sided test that the events expected are the true mean.

    Parameters
    ----------
    observed : count
        Events seen.
    expected : amount
        Events expected, taken as known without error.
    method : "minimum_likelihood", "doubled" or "mid_p"
        Adds all counts no more likely than the one seen, as R does; or doubles the smaller tail, which agrees
        with the exact limits of `observed_expected`; or doubles it with the count seen counted half, which
        agrees with the mid-P limits.

    Returns
    -------
    SignificanceTest
        p_value only; statistic and degrees_of_freedom are None. nan where expected = 0.

    Raises
    ------
    ValueError
        If observed is not a whole number, expected is negative or method is not allowed.

    Notes
    -----
    The observed count is taken as Poisson. Counts further than 40 standard deviations above the mean, and above
    the count seen, are left out of the sums; together they weigh less than 1e-200.

    References
    ----------
    Fay MP. Two-sided exact tests and matching confidence intervals for discrete data. R Journal 2010;2:53-58.

    Examples
    --------
    >>> round(observed_expected_test(11, 6.57666).p_value, 6)
    0.111868
    """
    require_choice("method", method, TWO_SIDED)
    seen, mean = int(counts("observed", observed)), float(amounts("expected", expected))
    if mean == 0:
        return SignificanceTest(None, None, np.nan, method)
    x = np.arange(int(max(seen, mean) + 40 * np.sqrt(max(seen, mean))) + 100)
    probabilities = np.exp(special.xlogy(x, mean) - mean - special.gammaln(x + 1))
    return SignificanceTest(None, None, two_sided(probabilities, seen, method), method)


def indirect_expected(rates: ArrayLike, denominators: ArrayLike) -> FloatArray:
    """Return the events expected if every stratum had the comparison's rate.

    Parameters
    ----------
    rates : array of amounts, one per stratum
        The comparison's rate or proportion in each stratum. nan is allowed where every denominator is 0.
    denominators : array of amounts, one per stratum, or one row per group and one column per stratum
        The group's own exposure or number in each stratum.

    Returns
    -------
    float, or array with one value per group
        Expected events. nan when a group has a stratum whose rate is unknown: nothing can be expected there.
        0 with no strata.

    Raises
    ------
    ValueError
        If the numbers of strata differ or a value is negative.

    References
    ----------
    Breslow NE, Day NE. Statistical Methods in Cancer Research II: The Design and Analysis of Cohort Studies.
    Lyon: IARC; 1987. Chapter 2.

    Examples
    --------
    >>> indirect_expected([0.1, 0.02], [[10, 50], [40, 0]]).tolist()
    [2.0, 4.0]
    """
    rate = np.asarray(rates, dtype=np.float64)
    own = amounts("denominators", denominators)
    amounts("rates", rate[~np.isnan(rate)])
    if own.shape[-1:] != rate.shape:
        raise ValueError(f"denominators must have one column per rate ({rate.size}), got shape {own.shape}")
    used = np.where(own > 0, own * rate, 0.0)
    expected: FloatArray = used.sum(axis=-1)
    return expected
