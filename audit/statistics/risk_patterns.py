"""Who is at risk at each event time, counted by covariate pattern, and sums over them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from audit.statistics.arguments import FloatArray, IntArray
from audit.statistics.design import distinct_rows
from audit.statistics.risk_sets import BoolArray, Spells

# Cells of a table of times by patterns that is kept whole: 40 MB.
LARGEST_TABLE = 5_000_000


@dataclass(frozen=True)
class Places:
    """Counts `n` of a covariate `pattern`, each at the place of an event time."""

    time: IntArray
    pattern: IntArray
    n: FloatArray


@dataclass(frozen=True)
class RiskPatterns:
    """Events and people at risk at each distinct event time by covariate pattern.

    People are at risk up to the last event time before or at their exit (`leaving`), and not at those up to
    and with their entry (`entering`). `at_risk` is the table of times by patterns, None where it would be
    too large.
    """

    patterns: FloatArray
    deaths: IntArray
    events: Places
    leaving: Places
    entering: Places
    at_risk: FloatArray | None


def risk_patterns(observed: Spells, columns: FloatArray) -> RiskPatterns:
    """Return the counts of checked spells whose event is ending 1 and whose covariates are rows of columns."""
    pattern, patterns = distinct_rows(columns)
    happened = observed.endings == 1
    times = np.unique(observed.exit[happened])
    late = observed.entry > 0
    # Place -1: before the first event time, so at risk at none.
    last = np.searchsorted(times, observed.exit, side="right") - 1
    events = _places(last[happened], pattern[happened], observed.weights[happened])
    leaving = _places(last, pattern, observed.weights)
    missed = np.searchsorted(times, observed.entry[late], side="right") - 1
    entering = _places(missed, pattern[late], observed.weights[late])
    deaths = np.bincount(events.time, weights=events.n, minlength=times.size).astype(np.int64)
    at_risk = None
    if times.size * len(patterns) <= LARGEST_TABLE:
        at_risk = _accumulated(leaving, entering, times.size, len(patterns))
    return RiskPatterns(patterns, deaths, events, leaving, entering, at_risk)


def of_columns(sets: RiskPatterns, kept: BoolArray) -> RiskPatterns:
    """Return the counts with some columns of the patterns left out."""
    return replace(sets, patterns=sets.patterns[:, kept])


def sums_at_risk(sets: RiskPatterns, values: FloatArray) -> FloatArray:
    """Return at each event time the sum over those at risk of the values of their patterns."""
    if sets.at_risk is not None:
        table: FloatArray = sets.at_risk @ values
        return table
    size = sets.deaths.size
    change = _summed(sets.leaving, values, size) - _summed(sets.entering, values, size)
    return np.cumsum(change[::-1], axis=0)[::-1]


def sums_of_events(sets: RiskPatterns, values: FloatArray) -> FloatArray:
    """Return at each event time the sum over its events of the values of their patterns."""
    return _summed(sets.events, values, sets.deaths.size)


def weights_at_risk(sets: RiskPatterns, weights: FloatArray) -> FloatArray:
    """Return for each pattern the sum over event times of a weight of the time and the number then at risk."""
    if sets.at_risk is not None:
        numbers: FloatArray = weights @ sets.at_risk
        return numbers
    so_far = np.cumsum(weights)
    return _weighed(sets, sets.leaving, so_far) - _weighed(sets, sets.entering, so_far)


def weights_of_events(sets: RiskPatterns, weights: FloatArray) -> FloatArray:
    """Return for each pattern the sum over its events of a weight of their time."""
    return _weighed(sets, sets.events, weights)


def _weighed(sets: RiskPatterns, places: Places, weights: FloatArray) -> FloatArray:
    """Return the counts times the weights of their times, added up for each pattern."""
    weighed = places.n * weights[places.time]
    return np.bincount(places.pattern, weights=weighed, minlength=len(sets.patterns)).astype(np.float64)


def _places(time: IntArray, pattern: IntArray, n: IntArray) -> Places:
    """Return the counts with equal places added up, those before the first event time left out."""
    kept = time >= 0
    width = int(pattern.max(initial=0)) + 1
    keys = time[kept] * width + pattern[kept]
    distinct, own = np.unique(keys, return_inverse=True)
    numbers = np.bincount(own, weights=n[kept]).astype(np.float64)
    own_time, own_pattern = np.divmod(distinct, width)
    return Places(own_time, own_pattern, numbers)


def _accumulated(leaving: Places, entering: Places, times: int, patterns: int) -> FloatArray:
    """Return the table of people at risk: those who leave later, less those who enter later."""
    change = np.zeros((times, patterns))
    change[leaving.time, leaving.pattern] += leaving.n
    change[entering.time, entering.pattern] -= entering.n
    return np.ascontiguousarray(np.cumsum(change[::-1], axis=0)[::-1])


def _summed(places: Places, values: FloatArray, times: int) -> FloatArray:
    """Return the values of the patterns times their counts, added up at each time."""
    own = values[places.pattern] * places.n[:, None]
    columns = [np.bincount(places.time, weights=column, minlength=times) for column in own.T]
    return np.column_stack(columns) if columns else np.zeros((times, 0))
