"""Two proportions compared: their difference, their ratio, and the chi-square test of a two-by-two table."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within, require_between_0_and_1, require_choice
from audit.statistics.estimates import Estimate, SignificanceTest
from audit.statistics.proportions import proportion_interval
from audit.statistics.root_search import crossing

# The score limits of a ratio are searched for within exp(-30) to exp(30).
LOG_RATIO_BOUND = 30.0


def difference_interval(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike, *, confidence: float = 0.95
) -> Estimate:
    """Return the first proportion minus the second, with Newcombe's limits.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts
        Observations with the event and all observations, in either group.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    Estimate
        value, ci_lower, ci_upper from -1 to 1; method "newcombe". nan where a group has n = 0; empty in,
        empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, or confidence is out of range.

    Notes
    -----
    Newcombe's method 10 squares and adds the distances to the two groups' own Wilson limits. It stays
    within -1 to 1 and is sound with no events in one group, where the normal approximation is not.

    References
    ----------
    Newcombe RG. Interval estimation for the difference between independent proportions: comparison of
    eleven methods. Stat Med 1998;17:873-890.

    Examples
    --------
    >>> result = difference_interval(56, 70, 48, 80)
    >>> [round(float(x), 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [0.2, 0.0524, 0.3339]
    """
    (x_1, total_1), (x_2, total_2) = _two_groups(events_1, n_1, events_2, n_2)
    lower_1, upper_1 = proportion_interval(x_1, total_1, confidence=confidence)
    lower_2, upper_2 = proportion_interval(x_2, total_2, confidence=confidence)
    p_1, p_2 = _divide(x_1, total_1), _divide(x_2, total_2)
    below, above = np.hypot(p_1 - lower_1, upper_2 - p_2), np.hypot(upper_1 - p_1, p_2 - lower_2)
    value = p_1 - p_2
    return Estimate(value[()], (value - below)[()], (value + above)[()], "newcombe")


def risk_ratio(
    events_1: ArrayLike,
    n_1: ArrayLike,
    events_2: ArrayLike,
    n_2: ArrayLike,
    *,
    confidence: float = 0.95,
    method: str = "koopman",
) -> Estimate:
    """Return the first proportion divided by the second, with limits.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts
        Observations with the event and all observations, in either group.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "koopman", "miettinen_nurminen" or "katz"
        See Notes.

    Returns
    -------
    Estimate
        value is 0 with no events in the first group, infinity with none in the second, nan with none in
        both; a limit the data cannot bound is 0 or infinity (with "katz" both are, once a group has no
        events or both have nothing else). All three are nan where a group has n = 0; empty in, empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, or confidence or method is not allowed.

    Notes
    -----
    "koopman" inverts the score test and bounds a ratio on one side even with no events in one group.
    "miettinen_nurminen" does so with the variance times N / (N - 1), which widens small samples' limits.
    "katz" is normal on the log scale and what most papers print.

    References
    ----------
    Koopman PAR. Confidence intervals for the ratio of two binomial proportions. Biometrics
    1984;40:513-517. Miettinen O, Nurminen M. Comparative analysis of two rates. Stat Med 1985;4:213-226.
    Katz D, Baptista J, Azen SP, Pike MC. Biometrics 1978;34:469-474.

    Examples
    --------
    >>> result = risk_ratio(56, 70, 48, 80, method="katz")
    >>> [round(float(x), 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [1.3333, 1.0766, 1.6512]
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("method", method, ("koopman", "miettinen_nurminen", "katz"))
    (x_1, total_1), (x_2, total_2) = _two_groups(events_1, n_1, events_2, n_2)
    z = np.full(x_1.shape, special.ndtri((1 + confidence) / 2))
    if method == "miettinen_nurminen":
        z = z * np.sqrt(1 + 1 / np.maximum(total_1 + total_2 - 1, 1))
    limits = _katz if method == "katz" else _score_limits
    lower, upper = limits(x_1, total_1, x_2, total_2, z)
    lower, upper = np.where(x_1 > 0, lower, 0.0), np.where(x_2 > 0, upper, np.inf)
    observed = (total_1 > 0) & (total_2 > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = _divide(x_1, total_1) / _divide(x_2, total_2)
    return Estimate(
        value[()], np.where(observed, lower, np.nan)[()], np.where(observed, upper, np.nan)[()], method
    )


def _katz(
    x_1: FloatArray, n_1: FloatArray, x_2: FloatArray, n_2: FloatArray, z: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the limits that are normal on the log scale, 0 and infinity where that has no spread."""
    both = (x_1 > 0) & (x_2 > 0) & ((x_1 < n_1) | (x_2 < n_2))
    a, m, b, k = (np.where(both, part, 1.0) for part in (x_1, n_1, x_2, n_2))
    log_ratio, half_width = np.log(a / m / (b / k)), z * np.sqrt(1 / a - 1 / m + 1 / b - 1 / k)
    lower, upper = np.exp(log_ratio - half_width), np.exp(log_ratio + half_width)
    return np.where(both, lower, 0.0), np.where(both, upper, np.inf)


def _score_limits(
    x_1: FloatArray, n_1: FloatArray, x_2: FloatArray, n_2: FloatArray, z: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the ratios at which the score statistic reaches z on either side."""
    bound = np.full(x_1.shape, LOG_RATIO_BOUND)
    groups = (x_1, np.maximum(n_1, 1), x_2, np.maximum(n_2, 1))
    lower = crossing(lambda log_ratio: z - _score(np.exp(log_ratio), *groups), -bound, bound)
    upper = crossing(lambda log_ratio: -z - _score(np.exp(log_ratio), *groups), -bound, bound)
    return np.exp(lower), np.exp(upper)


def _score(
    ratio: FloatArray, x_1: FloatArray, n_1: FloatArray, x_2: FloatArray, n_2: FloatArray
) -> FloatArray:
    """Return the score statistic of a given ratio; it falls as the ratio rises."""
    a, b, c = (n_1 + n_2) * ratio, ratio * (n_1 + x_2) + x_1 + n_2, x_1 + x_2
    # The quadratic's smaller root, in the form that does not subtract nearly equal numbers.
    q_2 = 2 * c / (b + np.sqrt(np.maximum(b**2 - 4 * a * c, 0)))
    q_1 = ratio * q_2
    variance = q_1 * np.maximum(1 - q_1, 0) / n_1 + ratio**2 * q_2 * np.maximum(1 - q_2, 0) / n_2
    distance = x_1 / n_1 - ratio * x_2 / n_2
    statistic: FloatArray = np.where(variance > 0, distance / np.sqrt(np.maximum(variance, 1e-300)), 0.0)
    return statistic


def chi_square_2x2(events_1: int, n_1: int, events_2: int, n_2: int) -> SignificanceTest:
    """Return Pearson's chi-square test of two proportions, without continuity correction.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : counts
        Observations with the event and all observations, in either group.

    Returns
    -------
    SignificanceTest
        statistic, degrees_of_freedom 1, two-sided p_value. Statistic and p-value are nan when a group is
        empty, nobody has the event or everybody has: no test can be made.

    Raises
    ------
    ValueError
        If a count is not a whole number or events exceed n.

    References
    ----------
    Pearson K. Philosophical Magazine 1900;50:157-175. Campbell I. Chi-squared and Fisher-Irwin tests of
    two-by-two tables with small sample recommendations. Stat Med 2007;26:3661-3675.

    Examples
    --------
    >>> round(chi_square_2x2(7, 34, 1, 34).statistic, 3)
    5.1
    """
    return _chi_square(events_1, n_1, events_2, n_2, correction=0.0, method="pearson")


def chi_square_2x2_yates(events_1: int, n_1: int, events_2: int, n_2: int) -> SignificanceTest:
    """Return the chi-square test of two proportions with Yates's continuity correction.

    Parameters, result and refusals are those of `chi_square_2x2`.

    References
    ----------
    Yates F. Contingency tables involving small numbers and the chi-square test. Suppl J R Stat Soc
    1934;1:217-235.

    Examples
    --------
    >>> round(chi_square_2x2_yates(7, 34, 1, 34).statistic, 4)
    3.5417
    """
    return _chi_square(events_1, n_1, events_2, n_2, correction=0.5, method="pearson_yates")


def _chi_square(
    events_1: int, n_1: int, events_2: int, n_2: int, *, correction: float, method: str
) -> SignificanceTest:
    """Return the test after moving each cell towards its expectation by the correction."""
    (x_1, total_1), (x_2, total_2) = _two_groups(events_1, n_1, events_2, n_2)
    total, events = float(total_1 + total_2), float(x_1 + x_2)
    margins = float(total_1) * float(total_2) * events * (total - events)
    if margins == 0:
        return SignificanceTest(np.nan, 1, np.nan, method)
    distance = abs(float(x_1) * float(total_2) - float(x_2) * float(total_1))
    statistic = total * max(distance - correction * total, 0.0) ** 2 / margins
    return SignificanceTest(statistic, 1, float(special.chdtrc(1, statistic)), method)


def _two_groups(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Return both groups' checked counts, broadcast to one shape."""
    x_1, total_1 = counts_within(events_1, n_1, names=("events_1", "n_1"))
    x_2, total_2 = counts_within(events_2, n_2, names=("events_2", "n_2"))
    x_1, total_1, x_2, total_2 = np.broadcast_arrays(x_1, total_1, x_2, total_2)
    return (x_1, total_1), (x_2, total_2)


def _divide(events: FloatArray, n: FloatArray) -> FloatArray:
    """Return events / n, nan where n is 0."""
    quotient: FloatArray = events / np.where(n > 0, n, np.nan)
    return quotient
