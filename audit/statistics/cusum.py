"""Cumulative sums over cases in order: log-likelihood ratios with a limit, and observed less expected."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from audit.statistics.arguments import FloatArray, require_choice
from audit.statistics.case_weights import indicators

BoolArray = NDArray[np.bool_]
_FIRST_LOOK = 256
RESTART, STOP = "restart", "stop"


def cusum(weights: ArrayLike, *, limit: float, after_signal: str = RESTART) -> pd.DataFrame:
    """Return the cumulative sum of weights, never below 0, and the cases at which it reaches the limit.

    Parameters
    ----------
    weights : array
        One per case, in order; nan for a case that says nothing, at which the sum stays as it is.
    limit : float, above 0
        The sum at or above which there is a signal.
    after_signal : "restart" or "stop"
        Whether the case after a signal begins again from 0, or nothing is summed after it.

    Returns
    -------
    DataFrame
        Per case: ``case`` (from 1), ``weight``, ``cusum`` (at a signal the sum that gave it; nan after it
        where the sum stops), ``signal``, ``run`` (1 until and with the first signal, then 2, ...). No cases in,
        no rows out.

    Raises
    ------
    ValueError
        If a weight is infinite, or limit or after_signal is out of range.

    Notes
    -----
    S(t) = max(0, S(t-1) + w(t)). Within a run this is the running total less its lowest value so far, counting 0.

    References
    ----------
    Page ES. Continuous inspection schemes. Biometrika 1954;41:100-115.

    Examples
    --------
    >>> cusum([0.7, -0.1, 0.7, 0.7], limit=1.2)[["cusum", "signal", "run"]].round(1).values.tolist()
    [[0.7, False, 1], [0.6, False, 1], [1.3, True, 1], [0.7, False, 2]]
    """
    require_choice("after_signal", after_signal, (RESTART, STOP))
    require_limit(limit)
    given = np.asarray(weights, dtype=np.float64)
    if np.isinf(given).any():
        raise ValueError(f"weights must be finite, got {given[np.isinf(given)][0]}")
    counted = np.nan_to_num(given)
    sums, signal = np.full(given.size, np.nan), np.zeros(given.size, dtype=bool)
    run = np.zeros(given.size, dtype=np.int64)
    start, number = 0, 1
    while start < given.size:
        own, reached = _one_run(counted[start:], limit)
        end = start + own.size
        sums[start:end], signal[end - 1], run[start:] = own, reached, number
        start, number = (end, number + 1) if after_signal == RESTART else (given.size, number)
    case = np.arange(1, given.size + 1)
    return pd.DataFrame({"case": case, "weight": given, "cusum": sums, "signal": signal, "run": run})


def observed_minus_expected(events: ArrayLike, expected: ArrayLike) -> FloatArray:
    """Return the running total of events seen less those expected.

    Parameters
    ----------
    events : array of 0 and 1
        Cases in order.
    expected : array, 0 to 1, or one number for all
        The probability of the event in each; nan where not known, at which the total stays as it is.

    Returns
    -------
    array
        One per case: above 0 where more happened than was to be expected. No cases in, none out.

    Raises
    ------
    ValueError
        If an event is not 0 or 1, or an expectation is not from 0 to 1.

    Notes
    -----
    It has no limit: its steps add up by chance too. The display with the sign turned, which rises with every
    case that goes well, is known as variable life-adjusted display.

    References
    ----------
    Lovegrove J, Valencia O, Treasure T, Sherlaw-Johnson C, Gallivan S. Monitoring the results of cardiac surgery
    by variable life-adjusted display. Lancet 1997;350:1128-1130.

    Examples
    --------
    >>> observed_minus_expected([0, 1, 0], 0.1).round(2).tolist()
    [-0.1, 0.8, 0.7]
    """
    happened, chance = np.broadcast_arrays(indicators(events), np.asarray(expected, dtype=np.float64))
    wrong = (chance < 0) | (chance > 1)
    if wrong.any():
        raise ValueError(f"expected must lie from 0 to 1, got {chance[wrong].flat[0]}")
    total: FloatArray = np.cumsum(np.nan_to_num(happened - chance))
    return total


def kept_of_many(n: int, *, most: int, always: ArrayLike = ()) -> BoolArray:
    """Return which of n cases in order to keep, so that a drawing of sums stays small.

    Parameters
    ----------
    n : count
        Cases.
    most : count, at least 1
        Up to so many all are kept; of more every second, third, ...
    always : array of places, from 0
        Cases kept besides; the last one always is.

    Returns
    -------
    array of bool
        One per case.

    Raises
    ------
    ValueError
        If most is below 1.

    Examples
    --------
    >>> np.flatnonzero(kept_of_many(10, most=4, always=[3])).tolist()
    [2, 3, 5, 8, 9]
    """
    if most < 1:
        raise ValueError(f"most must be 1 or more, got {most}")
    every = -(-n // most) or 1
    kept: BoolArray = np.arange(1, n + 1) % every == 0
    kept[np.asarray(always, dtype=np.int64)] = True
    kept[-1:] = True
    return kept


def require_limit(limit: float) -> None:
    """Refuse a limit that is not finite and above 0."""
    if not 0 < limit < np.inf:
        raise ValueError(f"limit must be finite and above 0, got {limit}")


def _one_run(weights: FloatArray, limit: float) -> tuple[FloatArray, bool]:
    """Return the sums until and with the first that reaches the limit, and whether one does."""
    seen = _FIRST_LOOK
    while True:
        total = np.cumsum(weights[:seen])
        sums = total - np.minimum(np.minimum.accumulate(total), 0.0)
        reached = np.flatnonzero(sums >= limit)
        if reached.size or seen >= weights.size:
            break
        # Signals lie close together or far apart: to sum all that is left after each would take long.
        seen *= 4
    end = int(reached[0]) + 1 if reached.size else sums.size
    return sums[:end], bool(reached.size)
