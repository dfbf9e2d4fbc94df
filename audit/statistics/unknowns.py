"""What unknown outcomes would have to be like for a proportion to come out at a chosen value."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, counts, counts_within, proportions


def share_of_unknowns_to_reach(
    target: ArrayLike, events: ArrayLike, n: ArrayLike, n_unknown: ArrayLike
) -> FloatArray:
    """Return the share of the unknown that must have the event for the whole proportion to equal a target.

    Parameters
    ----------
    target : array of proportions, 0 to 1
        The proportion among all, known and unknown together, that is asked about; nan where none is.
    events : array of counts, 0 to n
        Observations known to have the event.
    n : array of counts
        Observations whose outcome is known.
    n_unknown : array of counts
        Observations whose outcome is not known.

    Returns
    -------
    array
        (target (n + n_unknown) - events) / n_unknown. Between 0 and 1 the target can be reached; below 0 it is
        exceeded already though no unknown had the event; above 1 it stays out of reach though all had. nan where
        nothing is unknown or there is no target; empty in, empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceeds n, or a target lies outside 0 to 1.

    Notes
    -----
    The tipping point of a sensitivity analysis: it turns "what could the missing have done" round into "what would
    the missing have to be like", which someone who knows them can judge.

    References
    ----------
    Yan X, Lee S, Li N. J Biopharm Stat 2009;19:1085-1098 (tipping-point analysis of a binary outcome).

    Examples
    --------
    >>> share_of_unknowns_to_reach([0.1, 0.02, 0.9], 6, 80, 20).round(3).tolist()
    [0.2, -0.2, 4.2]
    """
    goal = np.asarray(target, dtype=np.float64)
    proportions("target", goal[~np.isnan(goal)])
    x, known = counts_within(events, n, names=("events", "n"))
    unknown = counts("n_unknown", n_unknown)
    share: FloatArray = (goal * (known + unknown) - x) / np.where(unknown > 0, unknown, np.nan)
    return share[()]
