"""A weighted sum of independent estimates, with limits made from the limits of each."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import amounts
from audit.statistics.estimates import Estimate


def weighted_mean_from_limits(
    values: ArrayLike, ci_lower: ArrayLike, ci_upper: ArrayLike, weights: ArrayLike
) -> Estimate:
    """Return the weighted mean of estimates with limits.

    Parameters
    ----------
    values, ci_lower, ci_upper : arrays, one per estimate
        Independent estimates with limits of the same confidence.
    weights : array of amounts, one per estimate
        In any unit: only shares matter.

    Returns
    -------
    Estimate
        One number; nan where a number of an estimate with weight is missing.

    Raises
    ------
    ValueError
        If a weight is negative, the lengths differ or no weight is above 0.

    Notes
    -----
    The distances to each estimate's limits, times its weight, are squared and added, side by side, which keeps
    their asymmetry. With directly standardised rates it is the alternative to Fay and Feuer's limits where only
    the strata's limits are printed.

    References
    ----------
    Zou GY, Huang W, Zhang X. A note on confidence interval estimation for a linear function of binomial
    proportions. Comput Stat Data Anal 2009;53:1080-1085.

    Examples
    --------
    >>> result = weighted_mean_from_limits([0.1, 0.02], [0.08, 0.01], [0.13, 0.04], [3, 1])
    >>> [round(float(x), 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [0.08, 0.0648, 0.103]
    """
    share = amounts("weights", weights)
    value, lower, upper = (np.asarray(number, dtype=np.float64) for number in (values, ci_lower, ci_upper))
    if not share.shape == value.shape == lower.shape == upper.shape:
        raise ValueError(f"weights must have one value per estimate ({value.size}), got {share.size}")
    if not share.sum() > 0:
        raise ValueError(f"weights must hold something, got {share.tolist()}")
    share = share / share.sum()
    kept = share > 0
    mean = (share * value)[kept].sum()
    below = np.sqrt(((share * (value - lower))[kept] ** 2).sum())
    above = np.sqrt(((share * (upper - value))[kept] ** 2).sum())
    return Estimate(mean, mean - below, mean + above, "square-and-add from each estimate's limits")
