"""Cumulative incidence of one ending among several that exclude each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray, require_between_0_and_1
from audit.statistics.curves import at_times
from audit.statistics.risk_sets import RiskSets, known_so_far, risk_sets, spells
from audit.statistics.survival import gaps, greenwood_sum, surviving

COLUMNS = (
    "cause",
    "time",
    "at_risk",
    "events",
    "survival",
    "incidence",
    "standard_error",
    "ci_lower",
    "ci_upper",
    "caution",
)
Numbers = IntArray | FloatArray
# An incidence this close to 1 is 1: the running sum's last digits are rounding.
ROUNDING = 1e-12


def cumulative_incidence(
    durations: ArrayLike,
    endings: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    confidence: float = 0.95,
    causes: Sequence[int] | None = None,
) -> pd.DataFrame:
    """Return the cumulative incidence of each cause, the other causes competing (Aalen-Johansen).

    Parameters
    ----------
    durations : array of times, zero or more
        When observation of each individual ended, counted from time 0.
    endings : array of counts
        0 = censored, 1, 2, ... = ended by that cause.
    entry : array of times, optional
        When observation of each individual began. Missing or 0: from time 0, and at risk for an event at
        time 0. Positive: at risk only for events after that time, and the duration must be longer.
    weights : array of counts, optional
        How many individuals each row stands for; 1 by default. A tally and its rows give the same curves.
    confidence : float, between 0 and 1
        Two-sided pointwise coverage aimed at.
    causes : codes, optional
        Causes to return; by default those seen. Name them all to get a curve for a cause with no event yet.

    Returns
    -------
    DataFrame, for each cause one row for time 0 and each time with an event, a censoring or an entry
        cause: code; time: unit of durations; at_risk: individuals at risk at that time; events: those of this
        cause; survival: proportion without any event up to and including that time; incidence: proportion
        with this cause; standard_error; ci_lower, ci_upper: 0 to 1; caution: text, mostly empty. The
        incidences of all causes and survival add up to 1. Empty in (or no cause), empty frame with these
        columns out.

        From the first time at which nobody is or stays at risk although others enter later or then, the five
        figures are nan, and the caution says why: the data say nothing about the curves from there on.

    Raises
    ------
    ValueError
        As `kaplan_meier`, and if an ending is not among the causes named.

    Notes
    -----
    One minus the Kaplan-Meier curve of a cause with the others censored is a different, larger number: what
    the incidence would be were the other causes abolished.

    The variance is the Greenwood-type one of the multi-state estimate. With
    S = survival before a time, n at risk, q_k = d_k / n, q all causes together, the multinomial variation
    at each time gives:
    var(F_k) grows by q_k^2 var(S) + 2 q_k cov(S, F_k) + S^2 q_k (1 - q_k) / n, and
    cov(S, F_k) becomes (1 - q) (cov(S, F_k) + q_k var(S)) - S^2 q_k (1 - q) / n.
    Without censoring or late entry it is F (1 - F) / n; with one cause it is Greenwood's. Gray's estimate
    (R's cmprsk) differs by about 1%. R's survfit prints the infinitesimal jackknife for several causes, which
    is the same number unless individuals enter late.

    Limits are normal for log(-log(incidence)), as R's survfit does. Before a cause's first event ci_lower
    is 0 and ci_upper the exact binomial limit for no event among those known so far (at risk, or ended by
    another cause). Where the incidence is 1, ci_upper is 1 and ci_lower the exact limit for all known.

    References
    ----------
    Aalen OO, Johansen S. Scand J Stat 1978;5:141-150. Andersen PK, Borgan O, Gill RD, Keiding N. Statistical
    Models Based on Counting Processes. New York: Springer; 1993. Section IV.4. Allignol A, Schumacher M,
    Beyersmann J. A note on variance estimation of the Aalen-Johansen estimator of the cumulative incidence
    function in competing risks, with a view towards left-truncated data. Biom J 2010;52:126-137. Putter H,
    Fiocco M, Geskus RB. Tutorial in biostatistics: competing risks and multi-state models. Stat Med
    2007;26:2389-2430.

    Examples
    --------
    >>> curves = cumulative_incidence([1, 2, 2, 4], [1, 2, 0, 1])
    >>> curves.loc[curves["cause"] == 1, ["time", "at_risk", "survival", "incidence"]].round(3)
       time  at_risk  survival  incidence
    0   0.0        4      1.00       0.00
    1   1.0        4      0.75       0.25
    2   2.0        3      0.50       0.25
    3   4.0        1      0.00       0.75
    """
    require_between_0_and_1("confidence", confidence)
    observed = spells(durations, endings, entry=entry, weights=weights)
    seen = np.unique(observed.endings[observed.endings > 0])
    wanted = seen if causes is None else _cause_codes(causes, seen)
    sets = risk_sets(observed, codes=wanted)
    curves = [
        pd.DataFrame(
            {"cause": int(code), "time": sets.time, "at_risk": sets.at_risk, "events": sets.events[:, column]}
            | incidence_figures(sets, column, confidence=confidence)
            | {"caution": gaps(sets)}
        )
        for column, code in enumerate(wanted)
    ]
    return pd.concat(curves, ignore_index=True) if curves else _no_curves()


def _cause_codes(causes: Sequence[int], seen: IntArray) -> IntArray:
    """Return the codes asked for, refusing codes below 1, repeated ones and a list that lacks one seen."""
    codes = np.asarray(causes, dtype=np.int64)
    if (codes < 1).any() or np.unique(codes).size < codes.size:
        raise ValueError(f"causes must be distinct codes of 1 or more, got {list(causes)}")
    missing = np.setdiff1d(seen, codes)
    if missing.size:
        raise ValueError(f"causes must name every ending seen, got {list(causes)} without {missing[0]}")
    return codes


def _no_curves() -> pd.DataFrame:
    """Return the empty frame."""
    whole = {"cause", "at_risk", "events"}
    figures = {name: np.zeros(0, np.int64 if name in whole else np.float64) for name in COLUMNS[:-1]}
    return pd.DataFrame(figures | {"caution": np.zeros(0, object)})


def incidence_figures(sets: RiskSets, column: int, *, confidence: float = 0.95) -> dict[str, FloatArray]:
    """Return survival, incidence, standard_error, ci_lower and ci_upper for one cause of these risk sets."""
    every, own = sets.events.sum(axis=1), sets.events[:, column]
    survival = surviving(sets.at_risk, every)
    incidence = incidence_of(sets.at_risk, every, own)
    standard_error = incidence_error(sets.at_risk, every, own)
    lower, upper = incidence_limits(incidence, standard_error, known_so_far(sets), confidence)
    figures = zip(COLUMNS[4:9], (survival, incidence, standard_error, lower, upper), strict=True)
    return {name: np.where(sets.defined, figure, np.nan) for name, figure in figures}


def incidence_of(at_risk: Numbers, every: Numbers, own: Numbers) -> FloatArray:
    """Return the running sum of survival before each time times the share with the own cause."""
    total: FloatArray = np.cumsum(_survival_before(at_risk, every) * own / np.maximum(at_risk, 1))
    return total


def _survival_before(at_risk: Numbers, every: Numbers) -> FloatArray:
    """Return the proportion without an event of any cause just before each time."""
    return np.append(1.0, surviving(at_risk, every)[:-1])[: every.size]


def incidence_error(at_risk: Numbers, every: Numbers, own: Numbers) -> FloatArray:
    """Return the standard error of the incidence at each time.

    The recursion of `cumulative_incidence` in closed form: var(S) = S^2 g with Greenwood's sum g, and
    cov(S, F_k) = S c, where c grows by q_k S (g - 1/n).
    """
    at_least_one = np.maximum(at_risk, 1).astype(np.float64)
    share, survival_before = own / at_least_one, _survival_before(at_risk, every)
    greenwood = greenwood_sum(at_risk, every)
    greenwood_before = np.append(0.0, greenwood[:-1])[: greenwood.size]
    growth = share * survival_before * (greenwood_before - 1 / at_least_one)
    covariance_before = survival_before * (np.cumsum(growth) - growth)
    variance_before = survival_before**2 * greenwood_before
    noise = survival_before**2 * share * (1 - share) / at_least_one
    variance = np.cumsum(share**2 * variance_before + 2 * share * covariance_before + noise)
    # Where everybody had the cause the terms cancel to a rounding error on either side of 0.
    error: FloatArray = np.sqrt(np.maximum(variance, 0.0))
    return error


def incidence_limits(
    incidence: FloatArray, standard_error: FloatArray, known: FloatArray, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Return limits for log(-log(incidence)), exact ones where it is 0 or 1."""
    z, tail = float(special.ndtri((1 + confidence) / 2)), (1 - confidence) / 2
    none, all_of_them = incidence <= 0, incidence >= 1 - ROUNDING
    inside = ~(none | all_of_them)
    safe = np.where(inside, incidence, 0.5)
    exponent = np.exp(np.where(inside, z * standard_error, 0.0) / (safe * np.abs(np.log(safe))))
    exact = np.where(known > 0, tail ** (1 / np.maximum(known, 1)), 0.0)
    lower = np.where(none, 0.0, np.where(all_of_them, exact, safe**exponent))
    upper = np.where(none, 1 - exact, np.where(all_of_them, 1.0, safe ** (1 / exponent)))
    return lower, upper


def incidence_at_times(curves: pd.DataFrame, times: ArrayLike) -> pd.DataFrame:
    """Return the figures of every cause at given times.

    Parameters
    ----------
    curves : DataFrame
        From `cumulative_incidence`.
    times : array of times, zero or more
        In the curves' unit.

    Returns
    -------
    DataFrame, one row per cause and time
        cause, then the columns of `at_times`; an empty frame with these columns if there is no cause.

    Raises
    ------
    ValueError
        If a time is negative, missing or infinite.

    References
    ----------
    As `cumulative_incidence`.

    Examples
    --------
    >>> curves = cumulative_incidence([1, 2, 2, 4], [1, 2, 0, 1])
    >>> incidence_at_times(curves, 2)[["cause", "time", "incidence"]]
       cause  time  incidence
    0      1   2.0       0.25
    1      2   2.0       0.25
    """
    read = []
    for code, curve in curves.groupby("cause", sort=False):
        figures = at_times(curve, times)
        figures.insert(0, "cause", code)
        read.append(figures)
    if read:
        return pd.concat(read, ignore_index=True)
    nothing = at_times(curves, [])
    nothing.insert(0, "cause", np.zeros(0, np.int64))
    return nothing
