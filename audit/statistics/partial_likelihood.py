"""The partial likelihood of proportional hazards, its slope and its information, from counts of tied events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from audit.statistics.arguments import FloatArray, IntArray
from audit.statistics.newton import Point
from audit.statistics.risk_patterns import (
    RiskPatterns,
    sums_at_risk,
    sums_of_events,
    weights_at_risk,
    weights_of_events,
)


@dataclass(frozen=True)
class TiedEvents:
    """For each single event, the place of its time and the share of the tied events taken off before it."""

    place: IntArray
    start: IntArray
    share: FloatArray


def partial_likelihood(sets: RiskPatterns, *, ties: str) -> Callable[[FloatArray], Point]:
    """Return the partial log-likelihood as a function of the coefficients, ties by "efron" or "breslow"."""
    turns = tied_events(sets.deaths, ties)

    def of_coefficients(beta: FloatArray) -> Point:
        return _evaluated(sets, turns, beta)

    return of_coefficients


def tied_events(deaths: IntArray, method: str) -> TiedEvents:
    """Return the single events of each time in turn."""
    start = np.append(0, np.cumsum(deaths)[:-1]).astype(np.int64)[: deaths.size]
    place = np.repeat(np.arange(deaths.size), deaths)
    turn = np.arange(place.size) - start[place]
    share = turn / deaths[place] if method == "efron" else np.zeros(place.size)
    return TiedEvents(place, start, share)


def _evaluated(sets: RiskPatterns, ties: TiedEvents, beta: FloatArray) -> Point:
    """Return the partial log-likelihood with its slope and information."""
    z, predictor = sets.patterns, sets.patterns @ beta
    size, terms = sets.deaths.size, beta.size
    # The likelihood does not change with the level of the predictor, which may be beyond a float.
    predictor = predictor - predictor.max(initial=-np.inf)
    hazard = np.exp(predictor)[:, None]
    values = np.hstack([hazard, hazard * z])
    risk, died = sums_at_risk(sets, values), sums_of_events(sets, values)
    total = risk[:, 0]
    if (total <= 0).any():
        return Point(-np.inf, np.full(terms, np.nan), np.full((terms, terms), np.nan))
    # Relative to the whole risk set, which may be beyond a float once squared.
    risk, died = risk / total[:, None], died / total[:, None]
    rest = 1 - ties.share * died[ties.place, 0]
    if (rest <= 0).any():
        return Point(-np.inf, np.full(terms, np.nan), np.full((terms, terms), np.nan))
    sums = _sums_over_ties(ties, rest, size)
    observed = sums_of_events(sets, np.column_stack([predictor, z])).sum(axis=0)
    value = observed[0] - sets.deaths @ np.log(total) - np.log(rest).sum()
    r, d = risk[:, 1:], died[:, 1:]
    score = observed[1:] - (sums[0] @ r - sums[1] @ d)
    # Weighed over the times first, then squared over the patterns: the other way round takes far longer.
    weight = weights_at_risk(sets, sums[0] / total) - weights_of_events(sets, sums[1] / total)
    second = (z * (weight * hazard[:, 0])[:, None]).T @ z
    cross = (r * sums[3][:, None]).T @ d
    products = (r * sums[2][:, None]).T @ r - cross - cross.T + (d * sums[4][:, None]).T @ d
    return Point(float(value), score, second - products)


def _sums_over_ties(ties: TiedEvents, rest: FloatArray, size: int) -> FloatArray:
    """Return at each time the sums of share^k / rest for k = 0, 1 and of share^k / rest^2 for k = 0, 1, 2."""
    inverse, share = 1 / rest, ties.share
    terms = (inverse, share * inverse, inverse**2, share * inverse**2, (share * inverse) ** 2)
    return np.array(
        [np.bincount(ties.place, weights=term, minlength=size) for term in terms], dtype=np.float64
    )
