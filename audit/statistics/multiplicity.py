"""P-values of many tests at once, adjusted for their number."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, proportions, require_between_0_and_1, require_choice

METHODS = ("benjamini_hochberg", "holm", "bonferroni")


def adjusted_p_values(
    p_values: ArrayLike, *, level: float = 0.05, method: str = "benjamini_hochberg"
) -> pd.DataFrame:
    """Return each p-value with its adjusted value and whether its hypothesis is rejected.

    Parameters
    ----------
    p_values : array, 0 to 1
        One per test, in any order; nan where no test could be made.
    level : float, between 0 and 1
        The false discovery rate ("benjamini_hochberg") or the chance of any false rejection (the others) that
        is to be held.
    method : "benjamini_hochberg", "holm" or "bonferroni"
        See Notes.

    Returns
    -------
    DataFrame, one row per test in the order given
        ``p_value, adjusted_p_value`` (0 to 1), ``rejected`` (adjusted value at most the level), ``method``. A nan
        stays nan, is not rejected and does not count among the tests. Empty in, empty frame out.

    Raises
    ------
    ValueError
        If a p-value lies outside 0 to 1, or level or method is not allowed.

    Notes
    -----
    "benjamini_hochberg" holds the expected share of false ones among the rejected, for independent tests and
    for those that depend positively on each other; it suits a screen of many units of which some are to be
    looked at. "holm" holds the chance of even one false rejection whatever the dependence and rejects all that
    "bonferroni" does, and sometimes more.

    References
    ----------
    Benjamini Y, Hochberg Y. Controlling the false discovery rate: a practical and powerful approach to multiple
    testing. J R Stat Soc B 1995;57:289-300. Holm S. A simple sequentially rejective multiple test procedure.
    Scand J Stat 1979;6:65-70.

    Examples
    --------
    >>> adjusted_p_values([0.01, 0.2, 0.02])["adjusted_p_value"].round(3).tolist()
    [0.03, 0.2, 0.03]
    """
    require_between_0_and_1("level", level)
    require_choice("method", method, METHODS)
    given = np.atleast_1d(np.asarray(p_values, dtype=np.float64))
    made = ~np.isnan(given)
    tested = proportions("p_values", given[made])
    adjusted = np.full(given.shape, np.nan)
    adjusted[made] = _adjusted(tested, method)
    # One rounding step of slack, so that a value that equals the level in exact arithmetic is rejected.
    rejected = made & (np.nan_to_num(adjusted, nan=1.0) <= level * (1 + 1e-12))
    return pd.DataFrame(
        {"p_value": given, "adjusted_p_value": adjusted, "rejected": rejected, "method": method}
    )


def _adjusted(p_values: FloatArray, method: str) -> FloatArray:
    """Return the adjusted values in the order given."""
    n = p_values.size
    if method == "bonferroni":
        return np.minimum(p_values * n, 1.0)
    order = np.argsort(p_values)
    rank = np.arange(1, n + 1)
    if method == "holm":
        in_order = np.maximum.accumulate(p_values[order] * (n - rank + 1))
    else:
        in_order = np.minimum.accumulate((p_values[order] * n / rank)[::-1])[::-1]
    adjusted = np.empty(n)
    adjusted[order] = np.minimum(in_order, 1.0)
    return adjusted
