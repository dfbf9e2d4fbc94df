"""Proportions of many units, each drawn towards what all units share, by as much as its numbers are few.

One method is offered, the beta-binomial model with its two parameters estimated from all units (empirical
Bayes). The James-Stein estimator rests on equal variances and normal errors and is left out: units differ in
size and events are few.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import (
    FloatArray,
    amounts,
    counts_within,
    proportions,
    require_between_0_and_1,
)
from audit.statistics.beta_binomial import BetaBinomial


def shrunken_proportions(
    events: ArrayLike, n: ArrayLike, model: BetaBinomial, *, confidence: float = 0.95
) -> pd.DataFrame:
    """Return each unit's proportion drawn towards the mean of all, with limits.

    Parameters
    ----------
    events : array of counts, one per unit
        Observations with the event.
    n : array of counts, one per unit
        All observations, 0 allowed.
    model : BetaBinomial
        From `beta_binomial`, fitted as a rule to the same units.
    confidence : float, between 0 and 1
        Posterior probability between the limits.

    Returns
    -------
    DataFrame, one row per unit
        ``events, n, proportion`` (nan where n = 0), ``shrunken_proportion``, ``ci_lower, ci_upper`` (equal
        tails), ``weight`` (0 to 1, the unit's own share in the shrunken proportion). All but the first three are
        nan when the model is of nothing. Empty in, empty frame out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n or confidence is out of range.

    Notes
    -----
    The posterior is a beta distribution with the prior's events and observations added to the unit's own. Where
    the model knows no spread every unit has the weight 0 and the same limits, those of the proportion of all
    given; where it knows nothing but spread (a correlation of 1) each keeps its own proportion. To both half an
    event and half a non-event are added for the limits. The model's parameters are taken as known, so limits
    from few units are too narrow.

    References
    ----------
    Efron B, Morris C. Stein's paradox in statistics. Sci Am 1977;236(5):119-127. Spiegelhalter DJ, Abrams KR,
    Myles JP. Bayesian Approaches to Evaluation. Chichester: Wiley; 2004. Chapter 3.

    Examples
    --------
    >>> from audit.statistics.beta_binomial import beta_binomial
    >>> events, n = [2, 9, 4, 22], [60, 80, 120, 140]
    >>> shrunken_proportions(events, n, beta_binomial(events, n))["shrunken_proportion"].round(4).tolist()
    [0.0521, 0.1048, 0.0447, 0.1436]
    """
    require_between_0_and_1("confidence", confidence)
    x, total = counts_within(np.atleast_1d(events), np.atleast_1d(n), names=("events", "n"))
    a, b = _posterior(x, total, model)
    weight = _own_weight(total, model)
    own = x / np.where(total > 0, total, np.nan)
    tail = (1 - confidence) / 2
    return pd.DataFrame(
        {
            "events": x.astype(np.int64),
            "n": total.astype(np.int64),
            "proportion": own,
            "shrunken_proportion": model.mean * (1 - weight) + np.where(total > 0, own, 0.0) * weight,
            "ci_lower": special.betaincinv(a, b, tail),
            "ci_upper": special.betaincinv(a, b, 1 - tail),
            "weight": weight,
        }
    )


def shrunken_tail(
    events: ArrayLike, n: ArrayLike, model: BetaBinomial, *, threshold: ArrayLike
) -> FloatArray:
    """Return the posterior probability that each unit's true proportion exceeds a threshold.

    Parameters
    ----------
    events, n, model
        As in `shrunken_proportions`.
    threshold : array, 0 to 1
        One for all or one per unit.

    Returns
    -------
    array of probabilities, one per unit
        nan when the model is of nothing; empty in, empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n or the threshold lies outside 0 to 1.

    Notes
    -----
    The posterior is that of `shrunken_proportions`.

    References
    ----------
    Spiegelhalter DJ, Abrams KR, Myles JP. Bayesian Approaches to Evaluation. Chichester: Wiley; 2004. Chapter 3.

    Examples
    --------
    >>> from audit.statistics.beta_binomial import beta_binomial
    >>> events, n = [2, 9, 4, 22], [60, 80, 120, 140]
    >>> shrunken_tail(events, n, beta_binomial(events, n), threshold=0.1).round(3).tolist()
    [0.035, 0.535, 0.004, 0.96]
    """
    x, total = counts_within(np.atleast_1d(events), np.atleast_1d(n), names=("events", "n"))
    limit = proportions("threshold", threshold)
    tail: FloatArray = special.betaincc(*_posterior(x, total, model), limit)
    return tail


def posterior_tail(
    events: ArrayLike,
    n: ArrayLike,
    *,
    threshold: ArrayLike,
    prior_events: float = 0.5,
    prior_observations: float = 1.0,
) -> FloatArray:
    """Return the posterior probability that a true proportion exceeds a threshold, whatever other units show.

    Parameters
    ----------
    events : array of counts, 0 to n
        Observations with the event.
    n : array of counts
        All observations; with none the answer is the prior's.
    threshold : array, 0 to 1
        What the proportion is compared with.
    prior_events, prior_observations : amounts, the first above 0 and below the second
        The prior, as events in so many observations: 0.5 in 1 is Jeffreys's, 1 in 2 the uniform one.

    Returns
    -------
    array of probabilities
        Shape of the arguments broadcast together; empty in, empty out.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n or an amount is out of range.

    References
    ----------
    Brown LD, Cai TT, DasGupta A. Interval estimation for a binomial proportion. Stat Sci 2001;16:101-133.

    Examples
    --------
    >>> round(float(posterior_tail(3, 40, threshold=0.05)), 4)
    0.7828
    """
    x, total = counts_within(events, n, names=("events", "n"))
    limit = proportions("threshold", threshold)
    a, observations = float(amounts("prior_events", prior_events)), float(prior_observations)
    if not 0 < a < observations < np.inf:
        raise ValueError(f"prior_events must lie between 0 and prior_observations ({observations}), got {a}")
    tail: FloatArray = special.betaincc(a + x, observations - a + total - x, limit)
    return tail


def _own_weight(n: FloatArray, model: BetaBinomial) -> FloatArray:
    """Return the share of a unit's own proportion in its shrunken one."""
    size = model.prior_observations
    if size == np.inf:
        return np.zeros(n.shape)
    weight: FloatArray = n / np.where(n + size == 0, 1.0, n + size)
    return weight


def _posterior(x: FloatArray, n: FloatArray, model: BetaBinomial) -> tuple[FloatArray, FloatArray]:
    """Return the two parameters of each unit's posterior beta distribution."""
    if model.prior_observations == np.inf:
        return np.full(x.shape, x.sum() + 0.5), np.full(x.shape, n.sum() - x.sum() + 0.5)
    if model.prior_observations == 0:
        return x + 0.5, n - x + 0.5
    return model.prior_events + x, model.prior_observations - model.prior_events + n - x
