"""Nelson-Aalen estimates of the cumulative hazard."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, require_between_0_and_1
from audit.statistics.risk_sets import RiskSets, known_so_far, risk_sets, spells
from audit.statistics.survival import gaps, require_single_event

COLUMNS = (
    "time",
    "at_risk",
    "entered",
    "events",
    "censored",
    "cumulative_hazard",
    "standard_error",
    "ci_lower",
    "ci_upper",
    "caution",
)


def nelson_aalen(
    durations: ArrayLike,
    endings: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return the Nelson-Aalen curve of the cumulative hazard with its standard errors and limits.

    Parameters
    ----------
    durations, endings, entry, weights
        As in `kaplan_meier`.
    confidence : float, between 0 and 1
        Two-sided pointwise coverage aimed at.

    Returns
    -------
    DataFrame, one row for time 0 and each time with an event, a censoring or an entry
        time, at_risk, entered, events, censored: as in `kaplan_meier`; cumulative_hazard: sum of events / at_risk
        up to and including that time, 0 or more; standard_error; ci_lower, ci_upper; caution: text, mostly
        empty. Empty in, empty frame with these columns out.

        The four figures are nan, with a caution, from where the curve of `kaplan_meier` is unknown.

    Raises
    ------
    ValueError
        As `kaplan_meier`.

    Notes
    -----
    The slope of the curve is the rate of events among those at risk. Its variance is the sum of
    events / at_risk^2; the limits are normal for its logarithm. Before the first event ci_lower is 0, and
    ci_upper is minus the logarithm of the exact binomial lower limit of survival.

    References
    ----------
    Nelson W. Technometrics 1972;14:945-966. Aalen OO. Ann Stat 1978;6:701-726. Klein JP, Moeschberger ML.
    Survival Analysis. 2nd ed. New York: Springer; 2003. Sections 4.2 and 4.3.

    Examples
    --------
    >>> nelson_aalen([2, 3, 3, 5], [1, 0, 1, 1])[["time", "at_risk", "cumulative_hazard"]].round(3)
       time  at_risk  cumulative_hazard
    0   0.0        4              0.000
    1   2.0        4              0.250
    2   3.0        3              0.583
    3   5.0        1              1.583
    """
    require_between_0_and_1("confidence", confidence)
    observed = spells(durations, endings, entry=entry, weights=weights)
    require_single_event(observed)
    sets = risk_sets(observed, codes=np.array([1]))
    counted = (sets.time, sets.at_risk, sets.entered, sets.events[:, 0], sets.censored)
    figures = [np.where(sets.defined, figure, np.nan) for figure in _figures(sets, confidence)]
    return pd.DataFrame(dict(zip(COLUMNS, (*counted, *figures, gaps(sets)), strict=True)))


def _figures(sets: RiskSets, confidence: float) -> tuple[FloatArray, ...]:
    """Return cumulative hazard, standard error and limits at each time."""
    events, at_risk = sets.events[:, 0], np.maximum(sets.at_risk, 1).astype(np.float64)
    hazard, error = np.cumsum(events / at_risk), np.sqrt(np.cumsum(events / at_risk**2))
    known = known_so_far(sets)
    z, tail = float(special.ndtri((1 + confidence) / 2)), (1 - confidence) / 2
    begun = hazard > 0
    factor = np.exp(z * error / np.where(begun, hazard, 1.0))
    # Nobody known so far leaves everything possible.
    possible = np.where(known > 0, -np.log(tail) / np.maximum(known, 1), np.inf)
    return hazard, error, hazard / factor, np.where(begun, hazard * factor, possible)
