"""The difference between the restricted means of two curves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from audit.statistics.curves import restricted_mean
from audit.statistics.survival import kaplan_meier

COLUMNS = (
    *("events", "n", "at_risk", "mean", "reference_events", "reference_n", "reference_at_risk"),
    *("reference_mean", "difference", "difference_lower", "difference_upper", "p_value", "method", "caution"),
)
METHOD = "difference of restricted means (Kaplan-Meier), normal {:g}% limits"
UNKNOWN_CURVE = (
    "In one of the groups nobody was observed to the end of that time: no difference can be given."
)


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


def restricted_mean_columns(
    table: pd.DataFrame,
    *,
    group: str,
    reference: str,
    horizon: float,
    at_risk_floor: int = 0,
    confidence: float = 0.95,
) -> dict[str, object]:
    """Return the restricted means of two groups of tallied spells and their difference as one row of figures.

    Parameters
    ----------
    table : DataFrame
        ``group``, ``entry``, ``exit``, ``event`` (0 or 1) and ``n``.
    group, reference : labels
        The two groups; the difference is the first less the second.
    horizon, confidence
        As in `difference_of_restricted_means`.
    at_risk_floor : count
        With fewer than this many observed to the horizon in a group the row carries a caution.

    Returns
    -------
    dict
        ``events`` up to the horizon, ``n, at_risk`` at the horizon, and ``mean`` (in the unit of ``exit``) of the
        group and, with ``reference_`` before, of the reference; ``difference, difference_lower,
        difference_upper, p_value`` (nan where a curve is not known so far); ``method, caution``. Empty where a
        group has no spells.

    Raises
    ------
    ValueError
        As `kaplan_meier`, or if horizon or confidence is out of range.

    References
    ----------
    Royston P, Parmar MKB. BMC Med Res Methodol 2013;13:152.

    Examples
    --------
    >>> table = pd.DataFrame({"group": list("aaaabbbb"), "entry": 0.0, "exit": [3, 4, 5, 6, 1, 2, 3, 4],
    ...                       "event": [1, 1, 0, 0, 1, 1, 1, 0], "n": 1})
    >>> row = restricted_mean_columns(table, group="a", reference="b", horizon=4)
    >>> row["mean"], row["difference"], row["at_risk"]
    (3.75, 1.25, 3)
    """
    sides = [table[table["group"].astype(str) == name] for name in (group, reference)]
    if not all(len(side) for side in sides):
        return {}
    curves = [
        kaplan_meier(side["exit"], side["event"], entry=side["entry"], weights=side["n"]) for side in sides
    ]
    found = difference_of_restricted_means(curves[0], curves[1], horizon, confidence=confidence)
    counted = [_counted(side, horizon) for side in sides]
    row: dict[str, object] = {}
    for prefix, numbers, curve in zip(("", "reference_"), counted, curves, strict=True):
        mean = float(restricted_mean(curve, horizon).value)
        row |= {f"{prefix}{name}": value for name, value in (*numbers.items(), ("mean", mean))}
    few = f"Fewer than {at_risk_floor} still under observation at the end of that time."
    short = any(numbers["at_risk"] < at_risk_floor for numbers in counted)
    return row | {
        "difference": found.value,
        "difference_lower": found.ci_lower,
        "difference_upper": found.ci_upper,
        "p_value": found.p_value,
        "method": METHOD.format(100 * confidence),
        "caution": UNKNOWN_CURVE if np.isnan(found.value) else few if short else "",
    }


def _counted(side: pd.DataFrame, horizon: float) -> dict[str, int]:
    """Return a group's events up to the horizon, its number and how many are observed to the horizon."""
    happened = (side["event"] == 1) & (side["exit"] <= horizon)
    lasting = (side["exit"] >= horizon) & (side["entry"] < horizon)
    return {
        "events": int(side.loc[happened, "n"].sum()),
        "n": int(side["n"].sum()),
        "at_risk": int(side.loc[lasting, "n"].sum()),
    }
