"""How long and how completely individuals were observed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, amounts, require_between_0_and_1, require_choice
from audit.statistics.risk_sets import observation_ends, risk_sets, spells
from audit.statistics.survival import COLUMNS, TRANSFORMS, gaps, survival_figures


def reverse_kaplan_meier(
    durations: ArrayLike,
    endings: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    confidence: float = 0.95,
    transform: str = "log_log",
) -> pd.DataFrame:
    """Return the curve of the time observed: the proportion who would still be observed but for their event.

    Parameters
    ----------
    durations, entry, weights, confidence, transform
        As in `kaplan_meier`.
    endings : array of counts
        0 = observation ended without an event, any other code = event.

    Returns
    -------
    DataFrame, as `kaplan_meier`
        In this curve ``events`` are the ends of observation and ``censored`` are the events, and at_risk are
        those observed at that time and without an event at it. `survival_quantile` of it gives the median time
        observed, with limits; `at_times` the proportion observed for a given time. Empty in, empty frame out.

    Raises
    ------
    ValueError
        As `kaplan_meier`.

    Notes
    -----
    The mean or median of all times would be short only because events are frequent; that of those without
    event would be long because they are the ones who last. Here an event hides how long the individual would
    have been observed, as a censoring hides the time of an event in an ordinary curve. At one time events come
    first here, too, as they do in the ordinary curve; merely swapping the codes would put them last.

    References
    ----------
    Schemper M, Smith TL. Control Clin Trials 1996;17:343-346. Altman DG, De Stavola BL, Love SB, Stepniewska
    KA. Br J Cancer 1995;72:511-518.

    Examples
    --------
    >>> from audit.statistics.curves import survival_quantile
    >>> curve = reverse_kaplan_meier([1, 2, 3, 4, 4], [0, 1, 0, 1, 0])
    >>> curve[["time", "at_risk", "events", "censored", "survival"]].round(3)
       time  at_risk  events  censored  survival
    0   0.0        5       0         0     1.000
    1   1.0        5       1         0     0.800
    2   2.0        3       0         1     0.800
    3   3.0        3       1         0     0.533
    4   4.0        1       1         1     0.000
    >>> float(survival_quantile(curve).value)
    4.0
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("transform", transform, TRANSFORMS)
    observed = spells(durations, endings, entry=entry, weights=weights)
    codes = np.unique(observed.endings[observed.endings > 0])
    sets = observation_ends(risk_sets(observed, codes=codes))
    counted = (sets.time, sets.at_risk, sets.entered, sets.events[:, 0], sets.censored)
    figures = survival_figures(sets, confidence=confidence, transform=transform)
    return pd.DataFrame(dict(zip(COLUMNS[:5], counted, strict=True)) | figures | {"caution": gaps(sets)})


@dataclass(frozen=True)
class Completeness:
    """How much of the time, and how many of the individuals, that could be observed were.

    `index` is observed_time / potential_time, `share` is complete / n; both are nan where they would be 0 / 0.
    """

    n: int
    complete: int
    share: float
    observed_time: float
    potential_time: float
    index: float


def completeness_index(
    durations: ArrayLike, endings: ArrayLike, potential: ArrayLike, *, weights: ArrayLike | None = None
) -> Completeness:
    """Return the time observed over the time that could have been observed (completeness index C).

    Parameters
    ----------
    durations, endings, weights
        As in `reverse_kaplan_meier`; durations are counted from the start of each individual's observation.
    potential : array of times, zero or more
        How long each individual could have been observed: from the same start until the closing date. None may
        be shorter than its duration.

    Returns
    -------
    Completeness
        n: individuals; complete: those with an event or observed until closing; share: complete / n (the
        "percentage method"); observed_time, potential_time: sums in the unit of durations; index: 0 to 1. With
        nobody in, or no time that could be observed, share or index is nan.

    Raises
    ------
    ValueError
        If times are negative, missing or infinite, a duration exceeds its potential, an ending or a weight is
        not a whole number of zero or more, or lengths differ.

    Notes
    -----
    After an event nothing more is to be observed: the potential time of those with an event is the time
    observed. To credit them with their time to closing on both sides would make the index larger by their
    number alone. The share treats somebody lost a day before closing like somebody lost on the first day, and
    rates complete what the index does not. No limits are given: both describe these individuals.

    References
    ----------
    Clark TG, Altman DG, De Stavola BL. Lancet 2002;359:1309-1310.

    Examples
    --------
    >>> found = completeness_index([10, 4, 5], [0, 1, 0], [10, 12, 11])
    >>> (found.complete, found.observed_time, found.potential_time, found.index)
    (2, 19.0, 25.0, 0.76)
    """
    observed = spells(durations, endings, entry=None, weights=weights)
    possible = _potential_times(durations, potential, weights)
    over = observed.exit > possible
    if over.any():
        found = f"{observed.exit[over][0]:g} of {possible[over][0]:g}"
        raise ValueError(f"durations must not exceed potential, got {over.sum()} that do, first {found}")
    ended = observed.endings > 0
    complete = int(observed.weights[ended | (observed.exit == possible)].sum())
    n = int(observed.weights.sum())
    observed_time = float(observed.weights @ observed.exit)
    potential_time = float(observed.weights @ np.where(ended, observed.exit, possible))
    return Completeness(
        n,
        complete,
        complete / n if n else np.nan,
        observed_time,
        potential_time,
        observed_time / potential_time if potential_time else np.nan,
    )


def _potential_times(durations: ArrayLike, potential: ArrayLike, weights: ArrayLike | None) -> FloatArray:
    """Return the potential times of the rows that weigh anything, checked."""
    times = np.atleast_1d(amounts("potential", potential))
    if times.size != np.size(durations):
        raise ValueError(f"potential must be as long as durations, got {times.size} and {np.size(durations)}")
    return times if weights is None else times[np.atleast_1d(np.asarray(weights)) > 0]
