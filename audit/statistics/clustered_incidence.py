"""Cumulative incidence where several spells belong together, with standard errors that allow for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, IntArray, amounts, require_between_0_and_1
from audit.statistics.coefficients import joined
from audit.statistics.competing import incidence_limits
from audit.statistics.design import require_equal_lengths
from audit.statistics.risk_sets import Spells, spells
from audit.statistics.robust import FEW_CLUSTERS

COLUMNS = (
    *("time", "at_risk", "cumulative_events", "n", "n_clusters"),
    *("incidence", "standard_error", "ci_lower", "ci_upper", "method", "caution"),
)
METHOD = "Aalen-Johansen, infinitesimal jackknife by cluster, log(-log) {:g}% limits"
NOT_OBSERVED = "Nobody observed this long."


@dataclass(frozen=True)
class Course:
    """The counts and running sums at each distinct exit, and each spell's place among these.

    `own` and `every` are events of the cause and of any; `before` is the survival just before; `risen` the sum of
    every / (at_risk (at_risk - every)) so far; `incidence` and `pulled` are the cumulative incidence and what
    being at risk until then takes from it.
    """

    time: FloatArray
    place: IntArray
    at_risk: FloatArray
    own: FloatArray
    every: FloatArray
    before: FloatArray
    risen: FloatArray
    incidence: FloatArray
    pulled: FloatArray


def clustered_incidence(
    durations: ArrayLike,
    endings: ArrayLike,
    clusters: ArrayLike,
    *,
    horizons: Sequence[float],
    cause: int = 1,
    at_risk_floor: int = 0,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return the cumulative incidence of a cause at chosen times, with cluster-robust standard errors.

    Parameters
    ----------
    durations : array of times, zero or more
        End of observation of each spell; all are observed from 0.
    endings : array of codes
        0 = censored, else the cause; causes other than `cause` compete.
    clusters : array of labels, one per spell
        Which spells belong together; none may be missing.
    horizons : times, zero or more
        When to read the incidence.
    cause : code
        The cause of interest.
    at_risk_floor : count
        Below this many at risk a row carries a caution.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    DataFrame, one row per horizon
        ``time, at_risk`` (spells observed to that time), ``cumulative_events``, ``n, n_clusters``, ``incidence,
        standard_error, ci_lower, ci_upper`` (0 to 1), ``method, caution``. nan beyond the last time observed
        unless all have ended, standard error and limits also with a single cluster. No spells: no rows.

    Raises
    ------
    ValueError
        As `cumulative_incidence`, or if clusters are missing or of another length.

    Notes
    -----
    The incidence is that of `cumulative_incidence`. Its variance adds up the squares, over clusters, of the
    summed derivatives of the incidence with respect to each spell's weight, times G / (G - 1). Where nobody or
    everybody had the event limits are exact ones in the number of clusters.

    References
    ----------
    Therneau TM, Grambsch PM. Modeling Survival Data. New York: Springer; 2000. Section 7.1 and appendix. Ying Z,
    Wei LJ. The Kaplan-Meier estimate for dependent failure time observations. J Multivariate Anal 1994;50:17-29.

    Examples
    --------
    >>> found = clustered_incidence([1, 2, 3, 4], [1, 0, 1, 0], ["a", "a", "b", "c"], horizons=[3])
    >>> found[["at_risk", "incidence", "standard_error"]].round(3).values.tolist()
    [[2.0, 0.625, 0.338]]
    """
    require_between_0_and_1("confidence", confidence)
    observed = spells(durations, endings, entry=None, weights=None)
    labels, _ = pd.factorize(np.asarray(clusters))
    require_equal_lengths(durations=observed.exit.size, clusters=labels.size)
    # In an order of their own, so that rounding is the same in whatever order rows are given.
    order = np.lexsort((observed.endings, observed.exit))
    observed = spells(observed.exit[order], observed.endings[order], entry=None, weights=None)
    labels = labels[order]
    if (labels < 0).any():
        raise ValueError(f"clusters must not be missing, got {int((labels < 0).sum())} that are")
    times = np.atleast_1d(amounts("horizons", horizons))
    if not labels.size:
        return pd.DataFrame(columns=list(COLUMNS))
    course = _course(observed, cause)
    rows = [_at(course, observed, labels, float(time), cause) for time in times]
    return _with_limits(pd.DataFrame(rows), labels, at_risk_floor, confidence)


def _course(observed: Spells, cause: int) -> Course:
    """Return the counts and running sums at each distinct exit."""
    time, place = np.unique(observed.exit, return_inverse=True)
    left = np.bincount(place).astype(np.float64)
    at_risk = np.cumsum(left[::-1])[::-1]
    own, every = (
        np.bincount(place, weights=happened).astype(np.float64)
        for happened in (observed.endings == cause, observed.endings > 0)
    )
    before = np.append(1.0, np.cumprod(1 - every / at_risk)[:-1])
    staying = at_risk - every
    # Where all end at once nothing comes after that a weight could move.
    risen = np.cumsum(np.where(staying > 0, every / (at_risk * np.maximum(staying, 1)), 0.0))
    steps = before * own / at_risk
    pulled = np.cumsum(steps * (np.append(0.0, risen[:-1]) - 1 / at_risk))
    return Course(time, place, at_risk, own, every, before, risen, np.cumsum(steps), pulled)


def _derivatives(course: Course, observed: Spells, last: int, cause: int) -> FloatArray:
    """Return how the incidence at a place changes with the weight of each spell."""
    place = course.place
    staying = np.maximum(course.at_risk - course.every, 1)
    survivors = course.risen[place] - (observed.endings > 0) / staying[place]
    later = course.incidence[last] - course.incidence[place]
    happened = (observed.endings == cause) * course.before[place] / course.at_risk[place]
    gone = place <= last
    change: FloatArray = course.pulled[np.minimum(place, last)] + gone * (survivors * later + happened)
    return change


def _at(course: Course, observed: Spells, labels: IntArray, time: float, cause: int) -> dict[str, object]:
    """Return the figures at one time."""
    last = int(np.searchsorted(course.time, time, side="right")) - 1
    clusters = int(labels.max()) + 1
    incidence, error = 0.0, 0.0
    if last >= 0:
        incidence = float(course.incidence[last])
        together = np.bincount(labels, weights=_derivatives(course, observed, last, cause))
        error = float(np.sqrt(np.sort(together**2).sum() * clusters / max(clusters - 1, 1)))
    over = time > course.time[-1] and course.at_risk[-1] > course.every[-1]
    return {
        "time": time,
        "at_risk": int((observed.exit >= time).sum()),
        "cumulative_events": int(((observed.endings == cause) & (observed.exit <= time)).sum()),
        "n": labels.size,
        "n_clusters": clusters,
        "incidence": np.nan if over else incidence,
        "standard_error": np.nan if over or clusters < 2 else error,
    }


def _with_limits(table: pd.DataFrame, labels: IntArray, floor: int, confidence: float) -> pd.DataFrame:
    """Return the figures with limits, method and caution."""
    value, error = table["incidence"].to_numpy(np.float64), table["standard_error"].to_numpy(np.float64)
    known = np.full(len(table), float(labels.max() + 1))
    lower, upper = incidence_limits(value, error, known, confidence)
    gap, clusters = np.isnan(error), int(labels.max()) + 1
    few_clusters = f"Only {clusters} clusters: limits can be too narrow." if clusters < FEW_CLUSTERS else ""
    few = f"Fewer than {floor} still under observation."
    cautions = [
        NOT_OBSERVED if np.isnan(own) else joined(few if there < floor else "", few_clusters)
        for own, there in zip(value, table["at_risk"], strict=True)
    ]
    return table.assign(
        ci_lower=np.where(gap, np.nan, lower),
        ci_upper=np.where(gap, np.nan, upper),
        method=METHOD.format(100 * confidence),
        caution=cautions,
    )[list(COLUMNS)]
