"""The difference between the restricted means of two curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from audit.statistics.curves import restricted_mean


@dataclass(frozen=True)
class RestrictedMeanDifference:
    """The mean time without event up to a horizon in one group less that in another, in the curves' unit."""

    horizon: float
    value: float
    standard_error: float
    ci_lower: float
    ci_upper: float
    p_value: float


def difference_of_restricted_means(
    first: pd.DataFrame, second: pd.DataFrame, horizon: float, *, confidence: float = 0.95
) -> RestrictedMeanDifference:
    """Return the restricted mean of the first curve less that of the second: the area between them.

    Parameters
    ----------
    first, second : DataFrame
        From `kaplan_meier`, of individuals none of whom is in both.
    horizon : time, more than 0
        Where the areas end, in the curves' unit.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    RestrictedMeanDifference
        value (more than 0 where the first group stays longer without event), standard_error, ci_lower,
        ci_upper, p_value of no difference. All nan where one of the curves is not known up to the horizon, or
        is empty. Limits and p_value are nan where standard_error is 0, since then neither group shows any
        variation to judge the value by: no event up to the horizon, or all events at one time.

    Raises
    ------
    ValueError
        If horizon or confidence is out of range.

    Notes
    -----
    The variance is the sum of those of the two means; limits and p-value (two-sided) are normal. Unlike a
    ratio of hazards, the difference needs no assumption on how the two curves run.

    References
    ----------
    Royston P, Parmar MKB. BMC Med Res Methodol 2013;13:152. Uno H, Claggett B, Tian L, et al. J Clin Oncol
    2014;32:2380-2385.

    Examples
    --------
    >>> from audit.statistics.survival import kaplan_meier
    >>> first, second = kaplan_meier([3, 4, 5, 6], [1, 1, 0, 0]), kaplan_meier([1, 2, 3, 4], [1, 1, 1, 0])
    >>> found = difference_of_restricted_means(first, second, 4)
    >>> round(found.value, 3), round(found.standard_error, 3), round(found.p_value, 3)
    (1.25, 0.599, 0.037)
    """
    means = [restricted_mean(curve, horizon, confidence=confidence) for curve in (first, second)]
    value = means[0].value - means[1].value
    standard_error = float(np.hypot(means[0].standard_error, means[1].standard_error))
    judged = standard_error if standard_error > 0 else np.nan
    half_width = float(special.ndtri((1 + confidence) / 2)) * judged
    p_value = float(2 * special.ndtr(-abs(value) / judged))
    return RestrictedMeanDifference(
        horizon, value, standard_error, value - half_width, value + half_width, p_value
    )
