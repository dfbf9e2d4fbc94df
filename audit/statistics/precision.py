"""How wide a proportion's confidence interval will be, and how many observations make it narrow enough."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import (
    FloatArray,
    counts,
    proportions,
    require_between_0_and_1,
    require_choice,
)
from audit.statistics.proportions import METHODS as INTERVALS


def interval_width(
    n: ArrayLike, *, proportion: ArrayLike, confidence: float = 0.95, method: str = "wilson"
) -> FloatArray:
    """Return how wide a proportion's confidence interval is when the proportion seen is the one planned for.

    Parameters
    ----------
    n : array of counts
        Observations.
    proportion : array, 0 to 1
        The proportion planned for.
    confidence, method
        As in `proportion_interval`, but "mid_p", which needs whole events.

    Returns
    -------
    array, 0 to 1
        Upper minus lower limit; nan where n = 0; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    The events n x proportion need not be whole.

    References
    ----------
    Bland JM. The tyranny of power: is there a better way to calculate sample size? BMJ 2009;339:b3985.

    Examples
    --------
    >>> interval_width([100, 400], proportion=0.05).round(3).tolist()
    [0.09, 0.043]
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("method", method, [name for name in INTERVALS if name != "mid_p"])
    total, share = np.broadcast_arrays(counts("n", n), proportions("proportion", proportion))
    safe = np.where(total > 0, total, 1.0)
    lower, upper = INTERVALS[method](share * safe, safe, (1 - confidence) / 2)
    lower, upper = (
        np.where(share == 0, 0.0, np.maximum(lower, 0)),
        np.where(share == 1, 1.0, np.minimum(upper, 1)),
    )
    return np.where(total > 0, upper - lower, np.nan)[()]


def sample_size_for_width(
    *, proportion: float, width: float, confidence: float = 0.95, method: str = "wilson"
) -> int:
    """Return the observations needed for a confidence interval no wider than wanted.

    Parameters
    ----------
    proportion : float, 0 to 1
        The proportion planned for.
    width : float, between 0 and 1
        Upper minus lower limit.
    confidence, method
        As in `interval_width`.

    Returns
    -------
    int
        The least number of observations.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Bland JM. The tyranny of power: is there a better way to calculate sample size? BMJ 2009;339:b3985.

    Examples
    --------
    >>> sample_size_for_width(proportion=0.05, width=0.06)
    215
    """
    require_between_0_and_1("width", width)
    too_few, enough = 0, 1
    while interval_width(enough, proportion=proportion, confidence=confidence, method=method) > width:
        too_few, enough = enough, 2 * enough
    while enough - too_few > 1:
        middle = (too_few + enough) // 2
        wide = interval_width(middle, proportion=proportion, confidence=confidence, method=method) > width
        too_few, enough = (middle, enough) if wide else (too_few, middle)
    return enough
