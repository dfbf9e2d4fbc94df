"""Where a rising function crosses zero, for many functions at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from audit.statistics.arguments import FloatArray


def crossing(
    function: Callable[[FloatArray], FloatArray], lower: FloatArray, upper: FloatArray, *, steps: int = 90
) -> FloatArray:
    """Return the points between lower and upper where an elementwise rising function passes zero.

    Halving needs no derivative and cannot leave the interval; 90 halvings of [0, 1] reach 1e-27.
    """
    low, high = np.array(lower, dtype=np.float64), np.array(upper, dtype=np.float64)
    for _ in range(steps):
        middle = (low + high) / 2
        above = function(middle) > 0
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return (low + high) / 2
