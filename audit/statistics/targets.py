"""A proportion judged against the level it should reach, by its interval and never by the point alone."""

from __future__ import annotations

import numpy as np
import pandas as pd

from audit.statistics.arguments import FloatArray

REACHED, MISSED, CANNOT_TELL = "met", "not_met", "cannot_tell"
DESCRIBED, NOT_RECORDED, NOTHING = "described", "not_recorded", "no_cases"
# Near an edge, or with few, Wilson's limits are too narrow on one side.
_NEAR_EDGE, _FEW = 5, 30


def against_targets(table: pd.DataFrame, *, recorded_floor: float = 0.8) -> np.ndarray:
    """Return what can be said of each proportion beside its target.

    Parameters
    ----------
    table : DataFrame
        ``events, n`` (outcome known), ``n_unknown``, ``ci_lower, ci_upper, exact_lower, exact_upper`` (0 to 1),
        ``target`` (0 to 1, nan where none is set) and ``at_most`` (the target is a level not to exceed).
    recorded_floor : float, 0 to 1
        Smallest share known at which anything is said.

    Returns
    -------
    array of text
        ``no_cases`` where there is nobody; ``not_recorded`` where a smaller share is known; ``described`` without a
        target; ``met`` where the interval lies wholly at the target or beyond, or everyone seen is as wanted;
        ``not_met`` where it lies wholly short of it; else ``cannot_tell``.

    Notes
    -----
    The limits are exact (Clopper-Pearson) where either count is 5 or fewer or n is below 30, and Wilson's
    elsewhere. Short of everyone, the upper limit may lie below a target of 1 with a single miss: a target of all is
    missed by one.

    Examples
    --------
    >>> table = pd.DataFrame({"events": [55, 62], "n": 62, "n_unknown": 0, "target": [0.95, 1.0], "at_most": False,
    ...     "ci_lower": [0.785, 0.942], "ci_upper": [0.944, 1.0], "exact_lower": [0.781, 0.942],
    ...     "exact_upper": [0.953, 1.0]})
    >>> against_targets(table).tolist()
    ['not_met', 'met']
    """
    events, n, unknown = (table[name].to_numpy(np.float64) for name in ("events", "n", "n_unknown"))
    target, at_most = table["target"].to_numpy(np.float64), table["at_most"].to_numpy(bool)
    lower, upper = leading_limits(table)
    everyone = np.where(at_most, events == 0, events == n)
    reached = np.where(at_most, upper <= target, lower >= target) | everyone
    missed = np.where(at_most, lower > target, upper < target)
    chosen: np.ndarray = np.select(
        [
            n + unknown == 0,
            (n == 0) | (n < recorded_floor * (n + unknown)),
            np.isnan(target),
            reached,
            missed,
        ],
        [NOTHING, NOT_RECORDED, DESCRIBED, REACHED, MISSED],
        CANNOT_TELL,
    ).astype(object)
    return chosen


def leading_limits(table: pd.DataFrame) -> tuple[FloatArray, FloatArray]:
    """Return the limits that are shown for each proportion: exact near an edge or with few, else Wilson's.

    Parameters
    ----------
    table : DataFrame
        ``events, n, ci_lower, ci_upper, exact_lower, exact_upper``.

    Returns
    -------
    tuple of arrays
        Lower and upper limits, nan with nobody.

    Examples
    --------
    >>> table = pd.DataFrame({"events": [4, 20], "n": [240, 40], "ci_lower": 0.1, "ci_upper": 0.2,
    ...     "exact_lower": 0.3, "exact_upper": 0.4})
    >>> leading_limits(table)[0].tolist()
    [0.3, 0.1]
    """
    events, n = table["events"].to_numpy(np.float64), table["n"].to_numpy(np.float64)
    exact = (np.minimum(events, n - events) <= _NEAR_EDGE) | (n < _FEW)
    lower = np.where(exact, table["exact_lower"], table["ci_lower"]).astype(np.float64)
    upper = np.where(exact, table["exact_upper"], table["ci_upper"]).astype(np.float64)
    return lower, upper
