"""The difference of two estimates of any kind, each with its own limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.estimates import Estimate


def difference_from_limits(
    value_1: ArrayLike,
    lower_1: ArrayLike,
    upper_1: ArrayLike,
    value_2: ArrayLike,
    lower_2: ArrayLike,
    upper_2: ArrayLike,
) -> Estimate:
    """Return value_1 - value_2 with limits made from the limits of both.

    Parameters
    ----------
    value_1, lower_1, upper_1 : arrays
        The first estimate and its limits.
    value_2, lower_2, upper_2 : arrays
        The second, independent of the first, with limits of the same confidence.

    Returns
    -------
    Estimate
        Shape of the arguments broadcast together; nan where any of the six is missing.

    Raises
    ------
    ValueError
        If an estimate lies outside its limits by more than the rounding of a printed figure (1%).

    Notes
    -----
    The distances from each estimate to its limits are squared and added, side by side, which carries over the
    asymmetry of both. With Wilson limits it is Newcombe's method 10. Printed limits are rounded, and so is the
    result.

    References
    ----------
    Zou GY, Donner A. Construction of confidence limits about effect measures: a general approach. Stat Med
    2008;27:1693-1702. Newcombe RG. Stat Med 1998;17:873-890.

    Examples
    --------
    >>> from audit.statistics.proportions import proportion_interval
    >>> (l1, u1), (l2, u2) = proportion_interval(56, 70), proportion_interval(48, 80)
    >>> result = difference_from_limits(0.8, l1, u1, 0.6, l2, u2)
    >>> [round(float(x), 4) for x in (result.ci_lower, result.ci_upper)]
    [0.0524, 0.3339]
    """
    first = [np.asarray(value, dtype=np.float64) for value in (value_1, lower_1, upper_1)]
    second = [np.asarray(value, dtype=np.float64) for value in (value_2, lower_2, upper_2)]
    for name, (value, lower, upper) in (("value_1", first), ("value_2", second)):
        slack = 0.01 * np.maximum(np.abs(upper), np.abs(lower))
        if np.any(value < lower - slack) or np.any(value > upper + slack):
            raise ValueError(f"{name} must lie within its limits, got {value} outside {lower} to {upper}")
    difference = first[0] - second[0]
    below = np.hypot(first[0] - first[1], second[2] - second[0])
    above = np.hypot(first[2] - first[0], second[0] - second[1])
    missing = np.isnan(difference + below + above)
    return Estimate(
        np.where(missing, np.nan, difference)[()],
        np.where(missing, np.nan, difference - below)[()],
        np.where(missing, np.nan, difference + above)[()],
        "square-and-add from both sides' limits",
    )
