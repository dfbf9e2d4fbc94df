"""The beta-binomial model: how much the true proportions of many units differ, beyond chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within, require_choice
from audit.statistics.root_search import crossing

METHODS = ("maximum_likelihood", "moments")
# Prior observations beyond this many leave nothing to tell the model from one proportion for all.
LOG_MOST = 16.0
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
    The likelihood is highest at a correlation of 0 when Tarone's score for overdispersion is not positive;
    otherwise the correlation is where the score, profiled over the mean, passes 0. The binomial coefficients
    are part of the log likelihood.

    References
    ----------
    Skellam JG. J R Stat Soc B 1948;10:257-261. Kleinman JC. Proportions with extraneous variance. J Am Stat
    Assoc 1973;68:46-54. Tarone RE. Testing the goodness of fit of the binomial distribution. Biometrika
    1979;66:585-590.

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
    if _overdispersion_score(x, total, pooled) <= 0:
        return _fit(x, total, pooled, np.inf, method)
    if ((x == 0) | (x == total)).all():
        return _fit(x, total, float((x == total).mean()), 0.0, method)
    if method == "moments":
        return _fit(x, total, pooled, _size_by_moments(x, total, pooled), method)
    log_size = np.array(-LOG_MOST)
    log_size = crossing(lambda log: -_size_score(x, total, float(np.exp(log))), log_size, -log_size, steps=45)
    size = float(np.exp(log_size)) if log_size < LOG_MOST - 1 else np.inf
    return _fit(x, total, _mean_given(x, total, size) if size < np.inf else pooled, size, method)


def _fit(x: FloatArray, n: FloatArray, mean: float, size: float, method: str) -> BetaBinomial:
    """Return the model with this mean and this many prior observations."""
    few = f"Only {x.size} units: how much they differ is itself uncertain." if x.size < FEW_UNITS else ""
    caution = NO_SPREAD if size == np.inf else TOO_MUCH_SPREAD if size == 0 else few
    events = mean * size if size < np.inf else np.inf
    correlation = 0.0 if size == np.inf else 1 / (1 + size)
    likelihood = _log_likelihood(x, n, mean, size) if method == "maximum_likelihood" else np.nan
    return BetaBinomial(mean, correlation, events, size, likelihood, x.size, method, caution)


def _overdispersion_score(x: FloatArray, n: FloatArray, mean: float) -> float:
    """Return the slope of the log likelihood in the correlation at 0; positive if units differ too much."""
    if mean in (0.0, 1.0):
        return 0.0
    pairs = x * (x - 1) / mean + (n - x) * (n - x - 1) / (1 - mean) - n * (n - 1)
    return float(pairs.sum()) / 2


def _size_by_moments(x: FloatArray, n: FloatArray, mean: float) -> float:
    """Return the prior observations at which the weighted spread is the one seen."""
    spread, within = float((n * (x / n - mean) ** 2).sum()), mean * (1 - mean) * (x.size - 1)
    between = mean * (1 - mean) * (n.sum() - (n**2).sum() / n.sum() - (x.size - 1))
    correlation = (spread - within) / between if between > 0 else 0.0
    return float(1 / min(correlation, 1.0) - 1) if correlation > 0 else np.inf


def _digamma_steps(start: FloatArray | float, steps: FloatArray) -> FloatArray:
    """Return 1 / start + 1 / (start + 1) + ..., as many terms as steps says."""
    difference: FloatArray = special.digamma(start + steps) - special.digamma(start)
    return difference


def _mean_given(x: FloatArray, n: FloatArray, size: float) -> float:
    """Return the mean at which the likelihood with this many prior observations is highest."""

    def falling(mean: FloatArray) -> FloatArray:
        events, others = mean * size, (1 - mean) * size
        return np.asarray((_digamma_steps(others, n - x) - _digamma_steps(events, x)).sum())

    edge = np.array(1e-12)
    return float(crossing(falling, edge, 1 - edge, steps=40))


def _size_score(x: FloatArray, n: FloatArray, size: float) -> FloatArray:
    """Return the slope of the log likelihood in the prior observations, at the best mean for them."""
    mean = _mean_given(x, n, size)
    gain = mean * _digamma_steps(mean * size, x) + (1 - mean) * _digamma_steps((1 - mean) * size, n - x)
    return np.asarray((gain - _digamma_steps(size, n)).sum())


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
