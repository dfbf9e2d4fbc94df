"""Two groups compared over strata: is there a difference in any, and is it the same in all."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, require_choice
from audit.statistics.estimates import SignificanceTest
from audit.statistics.stratified import Strata, informative_strata, mantel_haenszel_odds_ratio


def cochran_mantel_haenszel(
    events_1: ArrayLike,
    n_1: ArrayLike,
    events_2: ArrayLike,
    n_2: ArrayLike,
    *,
    method: str = "uncorrected",
) -> SignificanceTest:
    """Return the test that two groups do not differ in any stratum.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts, one per stratum
        Observations with the event and all observations, in either group.
    method : "uncorrected" or "continuity_corrected"
        The second takes up to 1/2 off the summed distance, as R's mantelhaen.test does by default.

    Returns
    -------
    SignificanceTest
        statistic on 1 degree of freedom and two-sided p_value; both nan where no stratum carries information.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, the lengths differ or method is not allowed.

    Notes
    -----
    The events of the first group are compared with their expectation and hypergeometric variance given each
    stratum's margins, summed over strata. One stratum gives Pearson's chi-square times (N - 1) / N.

    References
    ----------
    Cochran WG. Biometrics 1954;10:417-451. Mantel N, Haenszel W. J Natl Cancer Inst 1959;22:719-748.

    Examples
    --------
    >>> result = cochran_mantel_haenszel([8, 22], [106, 98], [5, 16], [120, 85])
    >>> round(result.statistic, 4), round(result.p_value, 4)
    (1.1914, 0.275)
    """
    require_choice("method", method, ("uncorrected", "continuity_corrected"))
    strata = informative_strata(events_1, n_1, events_2, n_2)
    name = f"cochran_mantel_haenszel_{method}"
    if not strata.x_1.size:
        return SignificanceTest(np.nan, 1, np.nan, name)
    share, events, total = strata.n_1 / strata.total, strata.events, strata.total
    variance = share * (1 - share) * events * (total - events) / (total - 1)
    distance = abs(float((strata.x_1 - share * events).sum()))
    correction = 0.5 if method == "continuity_corrected" else 0.0
    statistic = max(distance - correction, 0.0) ** 2 / float(variance.sum())
    return SignificanceTest(statistic, 1, float(special.chdtrc(1, statistic)), name)


def homogeneity_of_odds_ratios(
    events_1: ArrayLike,
    n_1: ArrayLike,
    events_2: ArrayLike,
    n_2: ArrayLike,
    *,
    method: str = "tarone",
) -> SignificanceTest:
    """Return the test that the odds ratio is the same in all strata.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts, one per stratum
        Observations with the event and all observations, in either group.
    method : "tarone" or "breslow_day"
        Breslow and Day's statistic with or without Tarone's correction, without which it is slightly too
        large.

    Returns
    -------
    SignificanceTest
        statistic, degrees_of_freedom (informative strata less one, never below 0) and p_value; statistic and
        p-value are nan with fewer than two informative strata or where the pooled odds ratio is 0 or infinite.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, the lengths differ or method is not allowed.

    Notes
    -----
    Each stratum's first cell is compared with its expectation under the Mantel-Haenszel odds ratio. The test is
    for few strata with many observations; with small strata it finds little.

    References
    ----------
    Breslow NE, Day NE. Statistical Methods in Cancer Research I. Lyon: IARC; 1980. p. 142. Tarone RE. On
    heterogeneity tests based on efficient scores. Biometrika 1985;72:91-95.

    Examples
    --------
    >>> result = homogeneity_of_odds_ratios([8, 22], [106, 98], [5, 16], [120, 85])
    >>> round(result.statistic, 4), round(result.p_value, 4)
    (0.3489, 0.5547)
    """
    require_choice("method", method, ("tarone", "breslow_day"))
    strata = informative_strata(events_1, n_1, events_2, n_2)
    degrees = max(strata.x_1.size - 1, 0)
    pooled = mantel_haenszel_odds_ratio(events_1, n_1, events_2, n_2).value
    if degrees == 0 or not 0 < pooled < np.inf:
        return SignificanceTest(np.nan, degrees, np.nan, method)
    expected = _expected_first_cell(strata, pooled)
    cells = (expected, strata.n_1 - expected, strata.events - expected, strata.n_2 - strata.events + expected)
    variance = 1 / np.sum([1 / cell for cell in cells], axis=0)
    distance = strata.x_1 - expected
    statistic = float((distance**2 / variance).sum())
    if method == "tarone":
        statistic = max(statistic - float(distance.sum()) ** 2 / float(variance.sum()), 0.0)
    return SignificanceTest(statistic, degrees, float(special.chdtrc(degrees, statistic)), method)


def _expected_first_cell(strata: Strata, odds_ratio: float) -> FloatArray:
    """Return the first cell that gives each stratum the odds ratio and leaves its margins as they are."""
    squared, constant = 1 - odds_ratio, -odds_ratio * strata.n_1 * strata.events
    linear = strata.n_2 - strata.events + odds_ratio * (strata.n_1 + strata.events)
    root = np.sqrt(linear**2 - 4 * squared * constant)
    # The form of the quadratic's root that does not subtract nearly equal numbers.
    cell: FloatArray = np.where(
        linear >= 0, -2 * constant / np.maximum(linear + root, 1e-300), (root - linear) / (2 * squared or 1.0)
    )
    return cell
