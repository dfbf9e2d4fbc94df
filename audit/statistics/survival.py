"""Kaplan-Meier curves and what is read off them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray, require_between_0_and_1, require_choice
from audit.statistics.risk_sets import RiskSets, Spells, known_so_far, risk_sets, spells

Limits = tuple[FloatArray, FloatArray]
COLUMNS = (
    "time",
    "at_risk",
    "entered",
    "events",
    "censored",
    "survival",
    "standard_error",
    "ci_lower",
    "ci_upper",
    "caution",
)
GAP = "Nobody was under observation for a while: the curve is unknown from here on."


def kaplan_meier(
    durations: ArrayLike,
    endings: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    confidence: float = 0.95,
    transform: str = "log_log",
) -> pd.DataFrame:
    """Return the Kaplan-Meier curve with Greenwood's standard errors and limits.

    Parameters
    ----------
    durations : array of times, zero or more
        When observation of each individual ended, counted from time 0.
    endings : array of 0 and 1
        0 = censored, 1 = event.
    entry : array of times, optional
        When observation of each individual began. Missing or 0: from time 0, and at risk for an event at
        time 0. Positive: at risk only for events after that time, and the duration must be longer.
    weights : array of counts, optional
        How many individuals each row stands for; 1 by default. A tally and its rows give the same curve.
    confidence : float, between 0 and 1
        Two-sided pointwise coverage aimed at.
    transform : "log_log", "log" or "plain"
        Scale on which the limits are normal.

    Returns
    -------
    DataFrame, one row for time 0 and each time with an event, a censoring or an entry
        time: unit of durations; at_risk: individuals at risk at that time; entered: observed from that time
        (those of time 0 are at risk in its row, those of later times from the next row on); events, censored:
        counts, events before censorings at one time; survival: proportion without event up to and including
        that time, 0 to 1; standard_error; ci_lower, ci_upper: 0 to 1; caution: text, mostly empty. Empty in,
        empty frame with these columns out.

        From the first time at which nobody is or stays at risk although others enter later or then,
        survival, standard_error and limits are nan, and the caution says why: the data say nothing about
        the curve from there on.
        standard_error is nan, too, where survival is 0, as Greenwood's formula is undefined.

    Raises
    ------
    ValueError
        If times are negative, missing or infinite, an ending is not 0 or 1, a weight is not a whole number,
        a positive entry does not lie before its duration, or lengths differ.

    Notes
    -----
    Before the first event no standard error exists, and survival has ci_upper 1 and as ci_lower the exact
    binomial lower limit for no event among the least number at risk so far. Where survival is 0, ci_lower is
    0 and ci_upper is the upper limit of the time before (survival cannot have risen since), or the exact one
    if there is no time before. "log_log" keeps its coverage in small samples; "plain" does not.

    References
    ----------
    Kaplan EL, Meier P. J Am Stat Assoc 1958;53:457-481. Greenwood M. The natural duration of cancer. London:
    HMSO; 1926. Borgan O, Liestol K. A note on confidence intervals and bands for the survival function based
    on transformations. Scand J Stat 1990;17:35-41. Lynden-Bell D. Mon Not R Astron Soc 1971;155:95-118
    (delayed entry).

    Examples
    --------
    >>> kaplan_meier([2, 3, 3, 5], [1, 0, 1, 1])[["time", "at_risk", "events", "survival"]]
       time  at_risk  events  survival
    0   0.0        4       0      1.00
    1   2.0        4       1      0.75
    2   3.0        3       1      0.50
    3   5.0        1       1      0.00
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("transform", transform, TRANSFORMS)
    observed = spells(durations, endings, entry=entry, weights=weights)
    require_single_event(observed)
    sets = risk_sets(observed, codes=np.array([1]))
    counted = (sets.time, sets.at_risk, sets.entered, sets.events[:, 0], sets.censored)
    figures = survival_figures(sets, confidence=confidence, transform=transform)
    return pd.DataFrame(dict(zip(COLUMNS[:5], counted, strict=True)) | figures | {"caution": gaps(sets)})


def gaps(sets: RiskSets) -> np.ndarray:
    """Return the caution of each time: empty, or that the curve is unknown from there on."""
    return np.where(sets.defined, "", GAP).astype(object)


def survival_figures(
    sets: RiskSets, *, confidence: float = 0.95, transform: str = "log_log"
) -> dict[str, FloatArray]:
    """Return survival, standard_error, ci_lower and ci_upper for the one cause of these risk sets."""
    events = sets.events[:, 0]
    survival = surviving(sets.at_risk, events)
    standard_error = survival * np.sqrt(greenwood_sum(sets.at_risk, events))
    lower, upper = _limits(sets, survival, standard_error, confidence, transform)
    standard_error = np.where(survival > 0, standard_error, np.nan)
    figures = zip(COLUMNS[5:9], (survival, standard_error, lower, upper), strict=True)
    return {name: np.where(sets.defined, figure, np.nan) for name, figure in figures}


def require_single_event(observed: Spells) -> None:
    """Refuse ending codes other than 0 and 1."""
    wrong = observed.endings[observed.endings > 1]
    if wrong.size:
        raise ValueError(f"endings must be 0 (censored) or 1 (event), got {wrong[0]}")


def surviving(at_risk: IntArray | FloatArray, events: IntArray | FloatArray) -> FloatArray:
    """Return the product-limit estimate from counts at ordered times."""
    return np.cumprod(1.0 - events / np.maximum(at_risk, 1), dtype=np.float64)


def greenwood_sum(at_risk: IntArray | FloatArray, events: IntArray | FloatArray) -> FloatArray:
    """Return the running sum of d / (n (n - d)); times at which all had the event add nothing."""
    at_risk_after = (at_risk - events).astype(np.float64)
    safe = np.where(at_risk_after > 0, at_risk * at_risk_after, 1.0)
    total: FloatArray = np.cumsum(np.where(at_risk_after > 0, events / safe, 0.0))
    return total


def _limits(
    sets: RiskSets, survival: FloatArray, standard_error: FloatArray, confidence: float, transform: str
) -> Limits:
    """Return the limits, with the exact ones before the first event and after the last possible one."""
    z, tail = float(special.ndtri((1 + confidence) / 2)), (1 - confidence) / 2
    inside = (survival > 0) & (survival < 1)
    lower, upper = TRANSFORMS[transform](np.where(inside, survival, 0.5), z * standard_error)
    known = known_so_far(sets)
    exact_lower = np.where(known > 0, tail ** (1 / np.maximum(known, 1)), 0.0)
    lower = np.where(inside, np.clip(lower, 0, 1), np.where(survival == 0, 0.0, exact_lower))
    upper = np.where(inside, np.clip(upper, 0, 1), np.where(survival == 0, 1 - exact_lower, 1.0))
    # Only where all are gone at the first event is there no upper limit before to carry on.
    ended = (survival == 0) & (np.append(1.0, survival[:-1]) < 1)
    return lower, _carried(upper, ended)


def _carried(values: FloatArray, where: np.ndarray) -> FloatArray:
    """Return values with those marked replaced by the last unmarked one before them."""
    places = np.maximum.accumulate(np.where(where, 0, np.arange(values.size)))
    return values[places]


def _log_log(survival: FloatArray, half_width: FloatArray) -> Limits:
    """Return limits that are normal for log(-log(survival))."""
    exponent = np.exp(half_width / (survival * np.abs(np.log(survival))))
    return survival**exponent, survival ** (1 / exponent)


def _log(survival: FloatArray, half_width: FloatArray) -> Limits:
    """Return limits that are normal for log(survival)."""
    factor = np.exp(half_width / survival)
    return survival / factor, survival * factor


def _plain(survival: FloatArray, half_width: FloatArray) -> Limits:
    """Return limits that are normal for survival itself."""
    return survival - half_width, survival + half_width


TRANSFORMS: dict[str, Callable[[FloatArray, FloatArray], Limits]] = {
    "log_log": _log_log,
    "log": _log,
    "plain": _plain,
}
