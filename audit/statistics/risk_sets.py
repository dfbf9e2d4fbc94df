"""Who is under observation at each time: the counts every curve and test of times is made from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from audit.statistics.arguments import FloatArray, IntArray, counts

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Spells:
    """Checked times under observation: entry, exit, ending (0 = censored), and how many each stands for."""

    entry: FloatArray
    exit: FloatArray
    endings: IntArray
    weights: IntArray


@dataclass(frozen=True)
class RiskSets:
    """Counts at each distinct time: 0, every exit and every positive entry, in order.

    `events` has one column per ending code asked for. `defined` is False from the first time that the
    observation before it, or the events at it, left nobody while others were still to enter.
    """

    time: FloatArray
    at_risk: IntArray
    entered: IntArray
    events: IntArray
    censored: IntArray
    defined: BoolArray


def spells(
    durations: ArrayLike, endings: ArrayLike, *, entry: ArrayLike | None, weights: ArrayLike | None
) -> Spells:
    """Return the checked arguments of a curve, rows of weight 0 left out."""
    exits = _times("durations", durations)
    codes = counts("endings", endings).astype(np.int64)
    entries = np.zeros_like(exits) if entry is None else _times("entry", entry, missing=0.0)
    numbers = np.ones(exits.shape) if weights is None else counts("weights", weights)
    lengths = {"durations": exits.size, "endings": codes.size, "entry": entries.size, "weights": numbers.size}
    if len(set(lengths.values())) > 1:
        raise ValueError(f"durations, endings, entry and weights must be equally long, got {lengths}")
    late = (entries > 0) & (entries >= exits)
    if late.any():
        raise ValueError(f"a positive entry must lie before its duration, got {late.sum()} that do not")
    kept = numbers > 0
    return Spells(entries[kept], exits[kept], codes[kept], numbers[kept].astype(np.int64))


def _times(name: str, values: ArrayLike, *, missing: float | None = None) -> FloatArray:
    """Return times as floats, refusing negative, infinite and (unless replaced) missing ones."""
    times = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if missing is not None:
        times = np.where(np.isnan(times), missing, times)
    wrong = ~((times >= 0) & np.isfinite(times))
    if wrong.any():
        raise ValueError(
            f"{name} must be finite and zero or more, got {wrong.sum()} that are not, first {times[wrong][0]}"
        )
    return times


def risk_sets(observed: Spells, *, codes: IntArray) -> RiskSets:
    """Return the counts at each distinct time, events counted for each of the ending codes."""
    late = observed.entry > 0
    time = _distinct_times(observed.exit, observed.entry[late])
    leaves, enters = np.searchsorted(time, observed.exit), np.searchsorted(time, observed.entry)
    left = tally(leaves, observed.weights, time.size)
    entered = tally(enters, observed.weights, time.size)
    entered_late = tally(enters[late], observed.weights[late], time.size)
    # At risk at t: exit at t or later and entry before t, where an entry of 0 counts as before 0.
    at_risk = np.cumsum(left[::-1])[::-1] - np.cumsum(entered_late[::-1])[::-1]
    events = np.zeros((time.size, codes.size), dtype=np.int64)
    for column, code in enumerate(codes):
        events[:, column] = tally(leaves, observed.weights * (observed.endings == code), time.size)
    censored = tally(leaves, observed.weights * (observed.endings == 0), time.size)
    defined = _defined(at_risk, events.sum(axis=1), entered_late)
    return RiskSets(time, at_risk, entered, events, censored, defined)


def single_cause(sets: RiskSets, column: int) -> RiskSets:
    """Return the same observation with one cause as the event and the other causes as censorings."""
    own = sets.events[:, [column]]
    censored = sets.censored + sets.events.sum(axis=1) - own[:, 0]
    entered_late = np.where(sets.time > 0, sets.entered, 0)
    return replace(
        sets, events=own, censored=censored, defined=_defined(sets.at_risk, own[:, 0], entered_late)
    )


def observation_ends(sets: RiskSets) -> RiskSets:
    """Return the same observation with its end as the event and every event as a censoring.

    Events stay ahead of censorings at one time, so those with an event then are no longer at risk.
    """
    ended, had_event = sets.censored, sets.events.sum(axis=1)
    at_risk = sets.at_risk - had_event
    used_up = (ended > 0) & (ended == at_risk) & _still_to_enter(np.where(sets.time > 0, sets.entered, 0))
    return replace(
        sets,
        at_risk=at_risk,
        events=ended[:, None],
        censored=had_event,
        defined=~np.logical_or.accumulate((sets.at_risk == 0) | used_up),
    )


def _distinct_times(exits: FloatArray, entries: FloatArray) -> FloatArray:
    """Return 0 and all times at which the risk set changes, none when nobody was observed."""
    return np.unique(np.concatenate([[0.0], exits, entries])) if exits.size else np.zeros(0)


def tally(places: IntArray, weights: IntArray, size: int) -> IntArray:
    """Return the sum of weights at each place."""
    # Float sums of whole numbers are exact up to 2**53.
    return np.bincount(places, weights=weights, minlength=size).astype(np.int64)


def _defined(at_risk: IntArray, events: IntArray, entered_late: IntArray) -> BoolArray:
    """Return whether the data still say anything about the curve at each time."""
    broken = (at_risk == 0) | ((events == at_risk) & _still_to_enter(entered_late))
    return ~np.logical_or.accumulate(broken)


def _still_to_enter(entered_late: IntArray) -> BoolArray:
    """Return whether anybody enters at each time or later."""
    waiting: BoolArray = np.cumsum(entered_late[::-1])[::-1] > 0
    return waiting


def known_so_far(sets: RiskSets) -> FloatArray:
    """Return at each time how many are known up to then: still at risk, or with an event already.

    The least such number up to each time, so that late entrants, whose early time was not seen, add nothing.
    """
    events = sets.events.sum(axis=1)
    return np.minimum.accumulate(sets.at_risk + np.cumsum(events) - events).astype(np.float64)
