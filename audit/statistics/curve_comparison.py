"""Tests that several groups have the same curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray
from audit.statistics.risk_sets import Spells, risk_sets, spells
from audit.statistics.survival import require_single_event, surviving


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
) -> CurveTest:
    """Return the log-rank test that all groups have the same curve.

    Parameters
    ----------
    durations, endings, entry, weights
        As in `kaplan_meier`.
    groups : array of labels
        The group of each row; none may be missing.

    Returns
    -------
    CurveTest
        groups: frame with group, n, observed and expected events, one row per group in sorted order;
        chi_square; degrees_of_freedom: groups with an expected event, less one; p_value. The last is nan, as
        is chi_square, where no test can be made: no events, or fewer than two groups ever at risk together.

    Raises
    ------
    ValueError
        As `kaplan_meier`, and if a group is missing or groups has another length.

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
    return _weighted_test(durations, endings, groups, entry, weights, method="log_rank")


def peto_peto(
    durations: ArrayLike,
    endings: ArrayLike,
    groups: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
) -> CurveTest:
    """Return the Peto-Peto test that all groups have the same curve, which gives early events more weight.

    Parameters, result, refusals and references are those of `log_rank`. Each time weighs as much as the joint
    survival before it (rho = 1 in R's survdiff); observed and expected events in the frame are weighted too.

    Examples
    --------
    >>> round(peto_peto([1, 2, 3, 4], [1, 1, 1, 1], ["a", "a", "b", "b"]).chi_square, 3)
    2.667
    """
    return _weighted_test(durations, endings, groups, entry, weights, method="peto_peto")


def _weighted_test(
    durations: ArrayLike,
    endings: ArrayLike,
    groups: ArrayLike,
    entry: ArrayLike | None,
    weights: ArrayLike | None,
    *,
    method: str,
) -> CurveTest:
    """Return the test with the weights of the method."""
    labels, places = _group_places(groups)
    if places.size != np.size(durations):
        raise ValueError(f"groups must be as long as durations, got {places.size} and {np.size(durations)}")
    # Weighing a row by 0 leaves it out, so each group is the whole data with the others weighed 0.
    numbers = np.ones(places.shape) if weights is None else np.asarray(weights)
    parts = [
        spells(durations, endings, entry=entry, weights=np.where(places == place, numbers, 0))
        for place in range(labels.size)
    ]
    for part in parts:
        require_single_event(part)
    at_risk, events = _counts_by_group(parts)
    observed, expected, chi_square, degrees = _compare(at_risk, events, method)
    table = {"group": labels, "n": [part.weights.sum() for part in parts]}
    frame = pd.DataFrame(table | {"observed": observed, "expected": expected})
    p_value = float(special.chdtrc(degrees, chi_square)) if degrees else np.nan
    return CurveTest(frame, chi_square, degrees, p_value, method)


def _group_places(groups: ArrayLike) -> tuple[np.ndarray, IntArray]:
    """Return the sorted labels and each row's place among them."""
    places, labels = pd.factorize(np.asarray(groups), sort=True)
    if (places < 0).any():
        raise ValueError(f"groups must not be missing, got {(places < 0).sum()} that are")
    return np.asarray(labels), places.astype(np.int64)


def _counts_by_group(parts: list[Spells]) -> tuple[FloatArray, FloatArray]:
    """Return those at risk and the events, a row per distinct event time and a column per group."""
    event_times = [part.exit[part.endings == 1] for part in parts]
    times = np.unique(np.concatenate([np.zeros(0), *event_times]))
    at_risk, events = np.zeros((times.size, len(parts))), np.zeros((times.size, len(parts)))
    for column, part in enumerate(parts):
        sets = risk_sets(part, codes=np.array([1]))
        at_risk[:, column] = np.append(sets.at_risk, 0)[np.searchsorted(sets.time, times)]
        own = np.searchsorted(times, sets.time[sets.events[:, 0] > 0])
        events[own, column] = sets.events[sets.events[:, 0] > 0, 0]
    return at_risk, events


def _compare(
    at_risk: FloatArray, events: FloatArray, method: str
) -> tuple[FloatArray, FloatArray, float, int]:
    """Return weighted observed and expected events per group, the chi-square and its degrees of freedom."""
    n, d = at_risk.sum(axis=1), events.sum(axis=1)
    weight = np.ones(n.shape)
    if method == "peto_peto":
        joint = surviving(n.astype(np.int64), d.astype(np.int64))
        weight = np.append(1.0, joint[:-1])[: n.size]
    share = at_risk / np.maximum(n, 1)[:, None]
    observed, expected = weight @ events, (weight * d) @ share
    spread = weight**2 * d * (n - d) / np.maximum(n - 1, 1)
    variance = np.diag(spread @ share) - (share * spread[:, None]).T @ share
    # One group's difference follows from the others'; a group never at risk with an event tells nothing.
    used = np.flatnonzero(expected > 0)[:-1]
    variance = variance[np.ix_(used, used)]
    if not used.size or np.linalg.matrix_rank(variance) < used.size:
        return observed, expected, np.nan, 0
    difference = (observed - expected)[used]
    return observed, expected, float(difference @ np.linalg.solve(variance, difference)), int(used.size)
