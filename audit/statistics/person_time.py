"""Events and time under observation, split into bands of time since the origin."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray
from audit.statistics.risk_sets import spells, tally
from audit.statistics.survival import require_single_event


def person_time(
    durations: ArrayLike,
    endings: ArrayLike,
    *,
    cuts: Sequence[float] = (),
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
) -> pd.DataFrame:
    """Return events and exposure in each band of time since the origin.

    Parameters
    ----------
    durations, endings, entry, weights
        As in `kaplan_meier`: when observation ended and began, and whether with the event (1) or not (0).
    cuts : times, rising, more than 0
        Ends of the bands but the last, which has none. The bands are (0, c1], (c1, c2], ..., (ck, infinity);
        an event at time 0 falls into the first.

    Returns
    -------
    DataFrame, one row per band
        start, stop: of the band, in the unit of durations (the last stop is infinity); events: count;
        exposure: time under observation within the band, in the unit of durations. No rows in: all zero.

    Raises
    ------
    ValueError
        As `kaplan_meier`, and if cuts do not rise from above 0.

    Notes
    -----
    A single rate assumes a hazard that does not change; bands let one that falls with time be seen.

    References
    ----------
    Clayton D, Hills M. Statistical Models in Epidemiology. Oxford: Oxford University Press; 1993. Chapter 6.

    Examples
    --------
    >>> person_time([30, 100, 400], [1, 0, 1], cuts=[42, 365])
       start   stop  events  exposure
    0    0.0   42.0       1     114.0
    1   42.0  365.0       0     381.0
    2  365.0    inf       1      35.0
    """
    edges = edges_of_bands(cuts)
    observed = spells(durations, endings, entry=entry, weights=weights)
    require_single_event(observed)
    start, stop = edges[:-1], edges[1:]
    overlap = np.minimum(observed.exit, stop[:, None]) - np.maximum(observed.entry, start[:, None])
    exposure = np.maximum(overlap, 0.0) @ observed.weights
    places = np.searchsorted(edges[1:-1], observed.exit, side="left")
    events = tally(places, observed.weights * observed.endings, start.size)
    return pd.DataFrame({"start": start, "stop": stop, "events": events, "exposure": exposure})


def edges_of_bands(cuts: Sequence[float]) -> FloatArray:
    """Return the ends of all bands, 0 and infinity included."""
    edges = np.array([0.0, *cuts, np.inf])
    # Finite first: the difference of two infinite ones is a warning.
    if not np.isfinite(edges[:-1]).all() or not (np.diff(edges) > 0).all():
        raise ValueError(f"cuts must rise from above 0, got {list(cuts)}")
    return edges
