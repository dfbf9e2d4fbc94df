"""The beta-binomial model: how much the true proportions of many units differ, beyond chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within, require_choice
from audit.statistics.root_search import crossing

METHODS = ("maximum_likelihood", "moments")
# The log of the prior observations beyond which nothing is left to tell the model from one proportion for all.
LOG_MOST = 14.0
LEAST_GAIN = 1e-6
FEW_UNITS = 10
NOTHING = "Nothing observed."
NO_SPREAD = "The units differ no more than by chance: each is given the proportion of all."
TOO_MUCH_SPREAD = "The units differ so much that none says anything about another."


@dataclass(frozen=True)
class BetaBinomial:
    """How the true proportions of units are spread, as estimated from all of them.

    `mean` is the average true proportion; `intraclass_correlation` 0 where units do not differ and 1 where each
    has the event always or never; `prior_events` and `prior_observations` say how many events in how many
    observations the other units are worth to each (0 and 0 at a correlation of 1, infinite at 0);
    `log_likelihood` is nan for "moments"; `caution` is empty or a sentence.
    """

    mean: float
    intraclass_correlation: float
    prior_events: float
    prior_observations: float
    log_likelihood: float
    n_units: int
    method: str
    caution: str


def beta_binomial(events: ArrayLike, n: ArrayLike, *, method: str = "maximum_likelihood") -> BetaBinomial:
    """Return the beta distribution from which the units' true proportions seem to be drawn.

    Parameters
    ----------
    events : array of counts, one per unit
        Observations with the event.
    n : array of counts, one per unit
        All observations; units with none are left out.
    method : "maximum_likelihood" or "moments"
        The second is Kleinman's, with the numbers of observations as weights.

    Returns
    -------
    BetaBinomial
        mean nan and "Nothing observed." without any observation. Where the units differ no more than chance
        allows, as with no event at all or a single unit, the correlation is 0 and a caution says so.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, the lengths differ or method is not allowed.

    Notes
    -----
    All peaks of the likelihood profiled over the mean are found, and the highest is taken if it is higher than at
    a correlation of 0 (and, where each unit has the event always or never, of 1). The binomial coefficients are
    part of the log likelihood.

    References
    ----------
    Skellam JG. J R Stat Soc B 1948;10:257-261. Kleinman JC. Proportions with extraneous variance. J Am Stat
    Assoc 1973;68:46-54.

    Examples
    --------
    >>> fit = beta_binomial([2, 9, 4, 22], [60, 80, 120, 140])
    >>> round(fit.mean, 4), round(fit.prior_observations, 1)
    (0.0862, 32.9)
    """
    require_choice("method", method, METHODS)
    x, total = counts_within(np.atleast_1d(events), np.atleast_1d(n), names=("events", "n"))
    if x.ndim != 1:
        raise ValueError(f"events and n must have one value per unit, got shape {x.shape}")
    x, total = x[total > 0], total[total > 0]
    if not x.size:
        return BetaBinomial(np.nan, np.nan, np.nan, np.nan, np.nan, 0, method, NOTHING)
    pooled = float(x.sum() / total.sum())
    if pooled in (0.0, 1.0):
        return _fit(x, total, pooled, np.inf, method)
    if method == "moments":
        return _fit(x, total, pooled, _size_by_moments(x, total, pooled), method)
    return _most_likely(x, total, pooled)


def _most_likely(x: FloatArray, n: FloatArray, pooled: float) -> BetaBinomial:
    """Return the best of the models at the edges and at the peaks of the profile likelihood between them."""
    fits = [_fit(x, n, pooled, np.inf, METHODS[0])]
    if ((x == 0) | (x == n)).all():
        fits.append(_fit(x, n, float((x == n).mean()), 0.0, METHODS[0]))
    sizes = np.exp(_peaks(x, n))
    means = _best_means(x, n, sizes)
    fits.extend(
        _fit(x, n, float(mean), float(size), METHODS[0]) for mean, size in zip(means, sizes, strict=True)
    )
    best = max(fits, key=lambda fit: fit.log_likelihood)
    # A gain that is all rounding is no reason to believe in a spread.
    return best if best.log_likelihood > fits[0].log_likelihood + LEAST_GAIN else fits[0]


def _peaks(x: FloatArray, n: FloatArray) -> FloatArray:
    """Return the logs of the prior observations at which the profile likelihood has a peak.

    Units of very different size can give more than one, so a single search from either end will not do.
    """
    grid = np.linspace(-LOG_MOST, LOG_MOST, 65)
    rising = _size_scores(x, n, np.exp(grid)) > 0
    tops = np.flatnonzero(rising[:-1] & ~rising[1:])
    return crossing(lambda log: -_size_scores(x, n, np.exp(log)), grid[tops], grid[tops + 1], steps=40)


def _fit(x: FloatArray, n: FloatArray, mean: float, size: float, method: str) -> BetaBinomial:
    """Return the model with this mean and this many prior observations."""
    few = f"Only {x.size} units: how much they differ is itself uncertain." if x.size < FEW_UNITS else ""
    caution = NO_SPREAD if size == np.inf else TOO_MUCH_SPREAD if size == 0 else few
    events = mean * size if size < np.inf else np.inf
    correlation = 0.0 if size == np.inf else 1 / (1 + size)
    likelihood = _log_likelihood(x, n, mean, size) if method == "maximum_likelihood" else np.nan
    return BetaBinomial(mean, correlation, events, size, likelihood, x.size, method, caution)


def _size_by_moments(x: FloatArray, n: FloatArray, mean: float) -> float:
    """Return the prior observations at which the weighted spread is the one seen."""
    spread, within = float((n * (x / n - mean) ** 2).sum()), mean * (1 - mean) * (x.size - 1)
    between = mean * (1 - mean) * (n.sum() - (n**2).sum() / n.sum() - (x.size - 1))
    correlation = (spread - within) / between if between > 0 else 0.0
    return float(1 / min(correlation, 1.0) - 1) if correlation > 0 else np.inf


def _digamma_steps(start: FloatArray, steps: FloatArray) -> FloatArray:
    """Return 1 / start + 1 / (start + 1) + ..., as many terms as steps says."""
    difference: FloatArray = special.digamma(start + steps) - special.digamma(start)
    return difference


def _best_means(x: FloatArray, n: FloatArray, sizes: FloatArray) -> FloatArray:
    """Return the mean at which the likelihood is highest, for each number of prior observations."""

    def falling(means: FloatArray) -> FloatArray:
        events, others = (means * sizes)[:, np.newaxis], ((1 - means) * sizes)[:, np.newaxis]
        slope: FloatArray = (_digamma_steps(others, n - x) - _digamma_steps(events, x)).sum(axis=1)
        return slope

    edge = np.full(sizes.shape, 1e-12)
    return crossing(falling, edge, 1 - edge, steps=40)


def _size_scores(x: FloatArray, n: FloatArray, sizes: FloatArray) -> FloatArray:
    """Return the slopes of the log likelihood in the prior observations, at the best mean for each."""
    means = _best_means(x, n, sizes)[:, np.newaxis]
    events, others = means * sizes[:, np.newaxis], (1 - means) * sizes[:, np.newaxis]
    gain = means * _digamma_steps(events, x) + (1 - means) * _digamma_steps(others, n - x)
    slope: FloatArray = (gain - _digamma_steps(events + others, n)).sum(axis=1)
    return slope


def _log_likelihood(x: FloatArray, n: FloatArray, mean: float, size: float) -> float:
    """Return the log probability of the counts, at the edges that of what is left of the model there."""
    choose = special.gammaln(n + 1) - special.gammaln(x + 1) - special.gammaln(n - x + 1)
    if size == np.inf:
        return float((choose + special.xlogy(x, mean) + special.xlog1py(n - x, -mean)).sum())
    if size == 0:
        full = float((x == n).sum())
        return float(special.xlogy(full, mean) + special.xlog1py(x.size - full, -mean))
    a, b = mean * size, (1 - mean) * size
    return float((choose + special.betaln(a + x, b + n - x) - special.betaln(a, b)).sum())
