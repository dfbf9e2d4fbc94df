"""The odds ratio of a two-by-two table and Fisher's exact test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within, require_between_0_and_1, require_choice
from audit.statistics.binomial_tails import TWO_SIDED, two_sided
from audit.statistics.estimates import Estimate, SignificanceTest
from audit.statistics.root_search import crossing

# Exact limits are searched for within exp(-50) to exp(50).
LOG_ODDS_BOUND = 50.0


def odds_ratio(
    events_1: ArrayLike,
    n_1: ArrayLike,
    events_2: ArrayLike,
    n_2: ArrayLike,
    *,
    confidence: float = 0.95,
    method: str = "exact",
) -> Estimate:
    """Return the odds of the event in the first group divided by those in the second, with limits.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts
        Observations with the event and all observations, in either group.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "exact", "mid_p" or "woolf"
        See Notes.

    Returns
    -------
    Estimate
        value is 0 or infinity when the data lie at an edge, nan when the margins leave one table only; a
        limit the data cannot bound is 0 or infinity (with "woolf" both are, once a cell is empty). Empty
        in, empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, or confidence or method is not allowed.

    Notes
    -----
    "exact" and "mid_p" give the maximum likelihood estimate conditional on the margins, with the limits at
    which the exact tail (or the tail counting the observed table half) is the nominal one. "woolf" gives
    the cross-product ratio with limits that are normal on the log scale, as most papers print.

    References
    ----------
    Woolf B. Ann Hum Genet 1955;19:251-253. Cornfield J. Proc Third Berkeley Symp 1956;4:135-148.
    Fagerland MW, Lydersen S, Laake P. Recommended confidence intervals for two independent binomial
    proportions. Stat Methods Med Res 2015;24:224-254.

    Examples
    --------
    >>> result = odds_ratio(7, 34, 1, 34, method="woolf")
    >>> [round(float(x), 2) for x in (result.value, result.ci_lower, result.ci_upper)]
    [8.56, 0.99, 73.9]
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("method", method, ("exact", "mid_p", "woolf"))
    x_1, total_1 = counts_within(events_1, n_1, names=("events_1", "n_1"))
    x_2, total_2 = counts_within(events_2, n_2, names=("events_2", "n_2"))
    tables = np.broadcast_arrays(x_1, total_1, x_2, total_2)
    tail = (1 - confidence) / 2
    if method == "woolf":
        value, lower, upper = _woolf(float(special.ndtri(1 - tail)), *tables)
    else:
        each = zip(*map(np.ravel, tables), strict=True)
        rows = [_conditional_estimate(tail, method, *map(float, row)) for row in each]
        value, lower, upper = np.reshape(rows, (*tables[0].shape, 3)).transpose(-1, *range(tables[0].ndim))
    return Estimate(value[()], lower[()], upper[()], method)


def _woolf(
    z: float, x_1: FloatArray, n_1: FloatArray, x_2: FloatArray, n_2: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the cross-product ratio with its limits on the log scale."""
    cells = np.stack([x_1, n_1 - x_1, x_2, n_2 - x_2])
    filled = (cells > 0).all(axis=0)
    a, b, c, d = np.where(filled, cells, 1.0)
    half_width = z * np.sqrt(1 / a + 1 / b + 1 / c + 1 / d)
    with np.errstate(divide="ignore", invalid="ignore"):
        value = cells[0] * cells[3] / (cells[1] * cells[2])
    lower, upper = a * d / (b * c) * np.exp(-half_width), a * d / (b * c) * np.exp(half_width)
    return value, np.where(filled, lower, 0.0), np.where(filled, upper, np.inf)


@dataclass(frozen=True)
class _Margins:
    """The counts the first cell can take given the margins, and their log weights at odds ratio 1."""

    support: FloatArray
    log_weights: FloatArray


def _margins(x_1: float, n_1: float, x_2: float, n_2: float) -> _Margins:
    """Return the possible first cells of a table with these margins."""
    events = x_1 + x_2
    support = np.arange(max(0.0, events - n_2), min(n_1, events) + 1)
    return _Margins(support, _log_choose(n_1, support) + _log_choose(n_2, events - support))


def _log_choose(n: float, k: FloatArray) -> FloatArray:
    """Return the log of n choose k."""
    logs: FloatArray = special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)
    return logs


def _probabilities(margins: _Margins, log_odds: float) -> FloatArray:
    """Return the probabilities of the possible first cells under a log odds ratio."""
    logs = margins.log_weights + margins.support * log_odds
    weights = np.exp(logs - logs.max())
    probabilities: FloatArray = weights / weights.sum()
    return probabilities


def _conditional_estimate(
    tail: float, method: str, x_1: float, n_1: float, x_2: float, n_2: float
) -> tuple[float, float, float]:
    """Return the conditional estimate and its exact or mid-P limits for one table."""
    margins = _margins(x_1, n_1, x_2, n_2)
    at_bottom, at_top = x_1 == margins.support[0], x_1 == margins.support[-1]
    own_share = 0.5 if method == "mid_p" else 1.0

    def upper_tail(log_odds: float) -> float:
        p = _probabilities(margins, log_odds)
        return float(p[margins.support > x_1].sum() + own_share * p[margins.support == x_1].sum() - tail)

    def lower_tail(log_odds: float) -> float:
        p = _probabilities(margins, log_odds)
        return float(tail - p[margins.support < x_1].sum() - own_share * p[margins.support == x_1].sum())

    def mean_above(log_odds: float) -> float:
        return float((_probabilities(margins, log_odds) * margins.support).sum() - x_1)

    lower = 0.0 if at_bottom else _odds_where_crossing(upper_tail)
    upper = np.inf if at_top else _odds_where_crossing(lower_tail)
    if at_bottom or at_top:
        return (np.nan if at_bottom and at_top else 0.0 if at_bottom else np.inf), lower, upper
    return _odds_where_crossing(mean_above), lower, upper


def _odds_where_crossing(function: Callable[[float], float]) -> float:
    """Return the odds ratio at which a function rising in the log odds ratio crosses zero."""
    bound = np.array(LOG_ODDS_BOUND)
    return float(np.exp(crossing(lambda log_odds: np.asarray(function(float(log_odds))), -bound, bound)))


def fisher_exact(
    events_1: int, n_1: int, events_2: int, n_2: int, *, method: str = "minimum_likelihood"
) -> SignificanceTest:
    """Return Fisher's exact two-sided test of two proportions.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : counts
        Observations with the event and all observations, in either group.
    method : "minimum_likelihood", "doubled" or "mid_p"
        See Notes.

    Returns
    -------
    SignificanceTest
        p_value only; statistic and degrees_of_freedom are None. The p-value is 1 when the margins leave one
        table only, as with no events at all.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, or method is not allowed.

    Notes
    -----
    An exact test has several two-sided versions. "minimum_likelihood" adds the probabilities of all tables
    no more likely than the one seen, as R does. "doubled" doubles the smaller tail and agrees with the exact
    limits of `odds_ratio`: below 0.05 where they exclude 1. "mid_p" doubles it with the observed table counted
    half and agrees with the mid-P limits.

    References
    ----------
    Fisher RA. J R Stat Soc 1935;98:39-82. Hirji KF, Tan SJ, Elashoff RM. A quasi-exact test for comparing
    two binomial proportions. Stat Med 1991;10:1137-1153.

    Examples
    --------
    >>> round(fisher_exact(7, 34, 1, 34).p_value, 4)
    0.0544
    """
    require_choice("method", method, TWO_SIDED)
    x_1, total_1 = counts_within(events_1, n_1, names=("events_1", "n_1"))
    x_2, total_2 = counts_within(events_2, n_2, names=("events_2", "n_2"))
    margins = _margins(float(x_1), float(total_1), float(x_2), float(total_2))
    p = _probabilities(margins, 0.0)
    return SignificanceTest(None, None, two_sided(p, int(x_1 - margins.support[0]), method), method)
