"""Tests that several groups have the same curve."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray
from audit.statistics.risk_sets import Spells, risk_sets, spells
from audit.statistics.survival import require_single_event, surviving

# Observed events, expected events, and the covariance of their differences.
Scores = tuple[FloatArray, FloatArray, FloatArray]
# A chi-square this far below 0 is a rounding error; further below, the variance is no variance.
ROUNDING = 1e-9


@dataclass(frozen=True)
class CurveTest:
    """Observed and expected events per group, and the chi-square that compares them."""

    groups: pd.DataFrame
    chi_square: float
    degrees_of_freedom: int
    p_value: float
    method: str


def log_rank(
    durations: ArrayLike,
    endings: ArrayLike,
    groups: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    strata: ArrayLike | None = None,
) -> CurveTest:
    """Return the log-rank test that all groups have the same curve.

    Parameters
    ----------
    durations, endings, entry, weights
        As in `kaplan_meier`.
    groups : array of labels
        The group of each row; none may be missing.
    strata : array of labels, optional
        The stratum of each row; none may be missing. Groups are compared within each stratum, and observed
        events, expected events and variances added up over the strata.

    Returns
    -------
    CurveTest
        groups: frame with group, n, observed and expected events, one row per group in sorted order;
        chi_square; degrees_of_freedom: groups with an expected event, less one; p_value. The last is nan, as
        is chi_square, where no test can be made: no events, or fewer than two groups ever at risk together.

    Raises
    ------
    ValueError
        As `kaplan_meier`, and if a group or stratum is missing or groups or strata have another length.

    Notes
    -----
    Ties are treated by the hypergeometric variance.

    References
    ----------
    Mantel N. Cancer Chemother Rep 1966;50:163-170. Peto R, Peto J. J R Stat Soc A 1972;135:185-207.
    Harrington DP, Fleming TR. A class of rank test procedures for censored survival data. Biometrika
    1982;69:553-566.

    Examples
    --------
    >>> result = log_rank([1, 2, 3, 4], [1, 1, 1, 1], ["a", "a", "b", "b"])
    >>> result.groups.round(3)
      group  n  observed  expected
    0     a  2       2.0     0.833
    1     b  2       2.0     3.167
    >>> round(result.chi_square, 3)
    2.882
    """
    require_single_event(spells(durations, endings, entry=entry, weights=weights))
    return compare_within_strata(
        durations,
        endings,
        groups,
        entry=entry,
        weights=weights,
        strata=strata,
        codes=np.array([1]),
        scores=_log_rank_scores,
        method="log_rank",
    )


def peto_peto(
    durations: ArrayLike,
    endings: ArrayLike,
    groups: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    strata: ArrayLike | None = None,
) -> CurveTest:
    """Return the Peto-Peto test that all groups have the same curve, which gives early events more weight.

    Parameters, result, refusals and references are those of `log_rank`. Each time weighs as much as the joint
    survival of its stratum before it (rho = 1 in R's survdiff); observed and expected events in the frame are
    weighted too.

    Examples
    --------
    >>> round(peto_peto([1, 2, 3, 4], [1, 1, 1, 1], ["a", "a", "b", "b"]).chi_square, 3)
    2.667
    """
    require_single_event(spells(durations, endings, entry=entry, weights=weights))
    return compare_within_strata(
        durations,
        endings,
        groups,
        entry=entry,
        weights=weights,
        strata=strata,
        codes=np.array([1]),
        scores=_peto_peto_scores,
        method="peto_peto",
    )


def compare_within_strata(
    durations: ArrayLike,
    endings: ArrayLike,
    groups: ArrayLike,
    *,
    entry: ArrayLike | None,
    weights: ArrayLike | None,
    strata: ArrayLike | None,
    codes: IntArray,
    scores: Callable[[FloatArray, FloatArray], Scores],
    method: str,
) -> CurveTest:
    """Return the chi-square test on scores made within each stratum and added up.

    `scores` makes observed events, expected events and the covariance of their differences from those at risk
    (times by groups) and the events (times by groups by codes).
    """
    labels, places = _labelled("groups", groups, size=np.size(durations))
    layers, layer = _labelled("strata", np.zeros(places.size) if strata is None else strata, size=places.size)
    numbers = np.ones(places.shape) if weights is None else np.asarray(weights)
    n, observed, expected = (np.zeros(labels.size) for _ in range(3))
    variance = np.zeros((labels.size, labels.size))
    for own in range(layers.size):
        # Weighing a row by 0 leaves it out, so each part is the whole data with the others weighed 0.
        parts = [
            spells(
                durations, endings, entry=entry, weights=np.where((places == k) & (layer == own), numbers, 0)
            )
            for k in range(labels.size)
        ]
        made = scores(*_counts_by_group(parts, codes=codes))
        n, observed, expected, variance = (
            n + np.array([part.weights.sum() for part in parts]),
            observed + made[0],
            expected + made[1],
            variance + made[2],
        )
    return _chi_square_test(labels, n.astype(np.int64), observed, expected, variance, method=method)


def _labelled(name: str, values: ArrayLike, *, size: int) -> tuple[np.ndarray, IntArray]:
    """Return the sorted labels and each row's place among them, refusing missing ones and another length."""
    places, labels = pd.factorize(np.asarray(values), sort=True)
    if places.size != size:
        raise ValueError(f"{name} must be as long as durations, got {places.size} and {size}")
    if (places < 0).any():
        raise ValueError(f"{name} must not be missing, got {(places < 0).sum()} that are")
    return np.asarray(labels), places.astype(np.int64)


def _counts_by_group(parts: list[Spells], *, codes: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return those at risk (distinct event times by groups) and the events (the same by ending codes)."""
    event_times = [part.exit[np.isin(part.endings, codes)] for part in parts]
    times = np.unique(np.concatenate([np.zeros(0), *event_times]))
    at_risk, events = np.zeros((times.size, len(parts))), np.zeros((times.size, len(parts), codes.size))
    for column, part in enumerate(parts):
        sets = risk_sets(part, codes=codes)
        at_risk[:, column] = np.append(sets.at_risk, 0)[np.searchsorted(sets.time, times)]
        with_event = sets.events.sum(axis=1) > 0
        events[np.searchsorted(times, sets.time[with_event]), column] = sets.events[with_event]
    return at_risk, events


def _log_rank_scores(at_risk: FloatArray, events: FloatArray) -> Scores:
    """Return observed and expected events per group, and the covariance of their differences."""
    return _weighted_scores(at_risk, events[:, :, 0], np.ones(at_risk.shape[0]))


def _peto_peto_scores(at_risk: FloatArray, events: FloatArray) -> Scores:
    """Return the same with each time weighed by the joint survival before it."""
    joint = surviving(at_risk.sum(axis=1), events.sum(axis=(1, 2)))
    return _weighted_scores(at_risk, events[:, :, 0], np.append(1.0, joint[:-1])[: joint.size])


def _weighted_scores(at_risk: FloatArray, events: FloatArray, weight: FloatArray) -> Scores:
    """Return weighted observed and expected events per group, and the covariance of their differences."""
    n, d = at_risk.sum(axis=1), events.sum(axis=1)
    share = at_risk / np.maximum(n, 1)[:, None]
    spread = weight**2 * d * (n - d) / np.maximum(n - 1, 1)
    variance = np.diag(spread @ share) - (share * spread[:, None]).T @ share
    return weight @ events, (weight * d) @ share, variance


def _chi_square_test(
    labels: np.ndarray,
    n: IntArray,
    observed: FloatArray,
    expected: FloatArray,
    variance: FloatArray,
    *,
    method: str,
) -> CurveTest:
    """Return the chi-square test that observed and expected events differ by chance in every group."""
    frame = pd.DataFrame({"group": labels, "n": n, "observed": observed, "expected": expected})
    # One group's difference follows from the others'; a group never at risk with an event tells nothing.
    used = np.flatnonzero(expected > 0)[:-1]
    within = variance[np.ix_(used, used)]
    if not used.size or not np.isfinite(within).all() or np.linalg.matrix_rank(within) < used.size:
        return CurveTest(frame, np.nan, 0, np.nan, method)
    difference = (observed - expected)[used]
    chi_square = float(difference @ np.linalg.solve(within, difference))
    if chi_square < -ROUNDING:
        return CurveTest(frame, np.nan, 0, np.nan, method)
    return CurveTest(frame, chi_square, int(used.size), float(special.chdtrc(used.size, chi_square)), method)
