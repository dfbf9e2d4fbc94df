"""Actuarial life tables over intervals of time, with several causes of ending."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, IntArray, counts
from audit.statistics.competing import incidence_error, incidence_of
from audit.statistics.person_time import edges_of_bands
from audit.statistics.risk_sets import Spells, spells, tally
from audit.statistics.survival import greenwood_sum, surviving

COLUMNS = (
    *("cause", "start", "stop", "at_start", "entered", "withdrawn", "events", "exposed"),
    *("survival", "survival_standard_error", "cause_specific", "cause_specific_standard_error"),
    *("exposed_to_cause", "cause_deleted", "cause_deleted_standard_error", "caution"),
)
EMPTY = "Too few were under observation in this or an earlier interval: nothing is known from here on."
EMPTY_FOR_CAUSE = (
    "All had ended by other causes: what this cause alone would have done is unknown from here on."
)


@dataclass(frozen=True)
class Exposed:
    """Who was there in each interval: at its start, in all, and events by cause (a column each)."""

    at_start: IntArray
    exposed: FloatArray
    events: IntArray


def life_table(
    durations: ArrayLike,
    endings: ArrayLike,
    *,
    cuts: Sequence[float],
    causes: Mapping[str, int],
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
) -> pd.DataFrame:
    """Return the actuarial life table of individual times, one row per cause and interval.

    Parameters
    ----------
    durations, endings, entry, weights
        As in `cumulative_incidence`: endings are 0 = censored, else a code.
    cuts : times, rising, more than 0
        Ends of the intervals (0, c1], (c1, c2], ...; what happens after the last is left out.
    causes : mapping of name to code
        The causes, all codes seen among them.

    Returns
    -------
    DataFrame
        As `life_table_from_counts`.

    Raises
    ------
    ValueError
        As `cumulative_incidence`, if cuts do not rise from above 0, or an ending is not among the causes.

    Notes
    -----
    An event at the end of an interval belongs to it (one at time 0 to the first); observation that ends
    without an event at the end of an interval lasted for the whole of it and counts as withdrawn in the next.
    An entry at the end of an interval joins at the start of the next.

    Examples
    --------
    >>> table = life_table([1, 2, 5, 8, 12], [1, 0, 2, 1, 0], cuts=[6, 12], causes={"first": 1, "second": 2})
    >>> table[["cause", "stop", "at_start", "withdrawn", "events", "exposed", "survival"]].round(3)
        cause  stop  at_start  withdrawn  events  exposed  survival
    0   first   6.0         5          1       1      4.5     0.556
    1   first  12.0         2          0       1      2.0     0.278
    2  second   6.0         5          1       1      4.5     0.556
    3  second  12.0         2          0       0      2.0     0.278
    """
    edges = edges_of_bands(cuts)[:-1]
    observed = spells(durations, endings, entry=entry, weights=weights)
    unnamed = np.setdiff1d(observed.endings[observed.endings > 0], list(causes.values()))
    if unnamed.size:
        raise ValueError(f"causes must name every ending seen, got {dict(causes)} without {unnamed[0]}")
    return life_table_from_counts(_counted(observed, edges, causes), causes=list(causes))


def _counted(observed: Spells, edges: FloatArray, causes: Mapping[str, int]) -> pd.DataFrame:
    """Return what happens in each interval."""
    size = edges.size - 1
    event = observed.endings > 0
    # One place more takes what lies beyond the table.
    ends = np.minimum(np.searchsorted(edges[1:], observed.exit, side="left"), size)
    leaves = np.minimum(np.searchsorted(edges[1:], observed.exit, side="right"), size)
    enters = np.minimum(np.searchsorted(edges[1:], observed.entry, side="right"), size)
    at_edge = np.isin(observed.entry, edges)
    happened = {
        "joined": (enters, at_edge),
        "entered": (enters, ~at_edge),
        "withdrawn": (leaves, ~event),
    } | {name: (ends, observed.endings == code) for name, code in causes.items()}
    columns = {
        name: tally(places, observed.weights * which, size + 1)[:size]
        for name, (places, which) in happened.items()
    }
    return pd.DataFrame({"start": edges[:-1], "stop": edges[1:]} | columns)


def life_table_from_counts(table: pd.DataFrame, *, causes: Sequence[str]) -> pd.DataFrame:
    """Return the actuarial life table of counted intervals, one row per cause and interval.

    Parameters
    ----------
    table : DataFrame
        One row per interval, in order: ``start, stop``; ``joined`` (whose observation begins at its start; in
        most tables all in the first row); ``entered`` (whose observation begins within it); ``withdrawn`` (whose
        observation ends within it without an event); and the number of events by each cause.
    causes : names of columns
        The causes, which exclude each other.

    Returns
    -------
    DataFrame, for each cause one row per interval
        cause, start, stop; at_start: number observed at its start; entered, withdrawn; events: by this cause;
        exposed: at_start, and half of those entered less half of those withdrawn; survival: proportion without
        event of any cause at its end; cause_specific: proportion ended by this cause by then, all causes acting;
        exposed_to_cause: exposed less half of those ended by other causes; cause_deleted: proportion that would
        have ended by this cause, did no other act; each proportion 0 to 1 with its standard_error; caution.
        No intervals or no causes: no rows.

        From the first interval in which nobody was exposed while survival was above 0, or somebody after it was
        0, or fewer were exposed than had the event (as when most enter within the interval), the figures are
        nan, and cause_deleted also from that before which the other causes had ended everybody; the caution
        says so. A standard error of survival or cause_deleted is nan where survival, or 1 -
        cause_deleted, is 0.

    Raises
    ------
    ValueError
        If a column is missing, a count is not a whole number of zero or more, or more leave than were there.

    Notes
    -----
    Those who enter or withdraw within an interval are taken to be there for half of it. The probability of an
    event in the interval is events / exposed; survival is the product of its complements. cause_specific adds
    up survival at the start times events / exposed, so that the causes and survival sum to 1; cause_deleted is 1
    less the product of the complements of events / exposed_to_cause, so that other causes count as withdrawals.
    The standard errors are Greenwood's, and for cause_specific that of `cumulative_incidence`, with the exposed
    in place of those at risk.

    **Two literatures use the same two words in opposite senses.** To demographers, and in the reports that
    follow Potter, Tietze and Lewit, a *net* rate is what happened with all causes acting (cause_specific here),
    and a *gross* rate what would have happened had there been one cause only (cause_deleted here). In the theory
    of competing risks after Chiang, the probability with all causes acting is called *crude*, and *net* is that
    of a single cause acting alone. The columns avoid all three words. No data can tell whether causes are
    independent (Tsiatis), on which every cause_deleted figure rests.

    References
    ----------
    Berkson J, Gage RP. Proc Staff Meet Mayo Clin 1950;25:270-286. Potter RG. Demography 1966;3:297-304. Tietze C,
    Lewit S. Stud Fam Plann 1973;4:35-42. Chiang CL. Introduction to Stochastic Processes in Biostatistics. New
    York: Wiley; 1968. Chapter 11. Tsiatis A. Proc Natl Acad Sci USA 1975;72:20-22. Farley TMM, Ali MM, Slaymaker
    E. Stat Med 2001;20:3601-3610.

    Examples
    --------
    >>> counted = pd.DataFrame({"start": [0, 6], "stop": [6, 12], "joined": [100, 0], "entered": 0,
    ...                         "withdrawn": [10, 8], "first": [5, 3], "second": [10, 6]})
    >>> found = life_table_from_counts(counted, causes=["first", "second"])
    >>> found[["cause", "stop", "survival", "cause_specific", "cause_deleted"]].round(3)
        cause  stop  survival  cause_specific  cause_deleted
    0   first     6     0.842           0.053          0.056
    1   first    12     0.735           0.088          0.097
    2  second     6     0.842           0.105          0.108
    3  second    12     0.735           0.176          0.185
    """
    there = _exposed(table, causes)
    tables = [_of_cause(table, there, name, column) for column, name in enumerate(causes)]
    if not tables:
        return pd.DataFrame(columns=list(COLUMNS))
    return pd.DataFrame({name: np.concatenate([own[name] for own in tables]) for name in COLUMNS})


def _exposed(table: pd.DataFrame, causes: Sequence[str]) -> Exposed:
    """Return who was there in each interval, refusing counts that cannot be."""
    missing = [
        n for n in ("start", "stop", "joined", "entered", "withdrawn", *causes) if n not in table.columns
    ]
    if missing:
        raise ValueError(f"table must have the columns of counts and causes, got none named {missing[0]}")
    joined, entered, withdrawn = (
        counts(name, table[name]).astype(np.int64) for name in ("joined", "entered", "withdrawn")
    )
    events = np.zeros((len(table), len(causes)), dtype=np.int64)
    for column, name in enumerate(causes):
        events[:, column] = counts(name, table[name]).astype(np.int64)
    leaving = withdrawn + events.sum(axis=1)
    at_end = np.cumsum(joined + entered - leaving)
    if (at_end < 0).any():
        row = int(np.argmax(at_end < 0))
        raise ValueError(
            f"no more may leave than are there, got {-at_end[row]} too many in interval {row + 1}"
        )
    at_start = at_end - entered + leaving
    return Exposed(at_start, at_start + (entered - withdrawn) / 2, events)


def _of_cause(table: pd.DataFrame, there: Exposed, name: str, column: int) -> dict[str, np.ndarray]:
    """Return the columns of one cause."""
    own, every = there.events[:, column], there.events.sum(axis=1)
    to_cause = there.exposed - (every - own) / 2
    # Where events exceed the exposed the figures are not shown; until then nothing may break.
    for_all, for_own = np.maximum(there.exposed, every), np.maximum(to_cause, own)
    survival, alone = surviving(for_all, every), surviving(for_own, own)
    known, known_alone = _known(there.exposed, every, survival), _known(to_cause, own, alone)
    return {
        "cause": np.full(own.size, name, dtype=object),
        **{limit: table[limit].to_numpy() for limit in ("start", "stop")},
        **{change: table[change].to_numpy(np.int64) for change in ("entered", "withdrawn")},
        "at_start": there.at_start,
        "events": own,
        "exposed": there.exposed,
        "survival": np.where(known, survival, np.nan),
        "survival_standard_error": np.where(known, _error(for_all, every, survival), np.nan),
        "cause_specific": np.where(known, incidence_of(for_all, every, own), np.nan),
        "cause_specific_standard_error": np.where(known, incidence_error(for_all, every, own), np.nan),
        "exposed_to_cause": to_cause,
        "cause_deleted": np.where(known & known_alone, 1 - alone, np.nan),
        "cause_deleted_standard_error": np.where(known & known_alone, _error(for_own, own, alone), np.nan),
        "caution": np.select([~known, ~known_alone], [EMPTY, EMPTY_FOR_CAUSE], "").astype(object),
    }


def _known(exposed: FloatArray, events: IntArray, survival: FloatArray) -> np.ndarray:
    """Return whether the figures at the end of each interval are known."""
    before = np.append(1.0, survival[:-1])[: survival.size]
    broken = (events > exposed) | np.where(exposed > 0, before == 0, before > 0)
    return ~np.logical_or.accumulate(broken)


def _error(exposed: FloatArray, events: IntArray, remaining: FloatArray) -> FloatArray:
    """Return Greenwood's standard error, nan where nobody remains."""
    return np.where(remaining > 0, remaining * np.sqrt(greenwood_sum(exposed, events)), np.nan)
