"""Standard errors of proportional hazards regression where several spells belong together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray, require_between_0_and_1, require_choice
from audit.statistics.coefficients import exponential, joined
from audit.statistics.cox import TIES, CoxFit
from audit.statistics.design import require_equal_lengths
from audit.statistics.partial_likelihood import tied_events
from audit.statistics.risk_patterns import risk_patterns, sums_at_risk, sums_of_events
from audit.statistics.risk_sets import BoolArray, Spells, spells
from audit.statistics.robust import FEW_CLUSTERS

METHOD = (
    "Cox proportional hazards, {} ties, cluster-robust standard errors (Lin and Wei), normal {:g}% limits"
)


def with_clustered_errors(
    fit: CoxFit,
    columns: pd.DataFrame,
    durations: ArrayLike,
    events: ArrayLike,
    *,
    clusters: ArrayLike,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    ties: str = "efron",
    confidence: float = 0.95,
) -> CoxFit:
    """Return the same fit with cluster-robust standard errors, limits, p-values and covariance.

    Parameters
    ----------
    fit : CoxFit
        From `cox_regression` on the same rows, with the same `ties`.
    columns, durations, events, entry, weights
        As they were fitted.
    clusters : array of labels, one per row
        Which spells belong together. Where the label is missing each spell of the row stands alone.
    ties : "efron" or "breslow"
        As it was fitted.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    CoxFit
        Coefficients, likelihoods and tests are those of `fit`; the tests still take spells as independent.
        Everything robust is nan for a term that was not estimated, for all terms where one is infinite, and with
        a single cluster.

    Raises
    ------
    ValueError
        If the columns are not the terms of the fit, lengths differ, or as `cox_regression`.

    Notes
    -----
    The sum over clusters of the squares of the cluster's score residuals times the inverse information, without
    a factor for small samples. With tied events by Efron's method an event's residual is the mean over the turns
    that it may have among those it is tied with.

    References
    ----------
    Lin DY, Wei LJ. The robust inference for the Cox proportional hazards model. J Am Stat Assoc
    1989;84:1074-1078. Therneau TM, Grambsch PM. Modeling Survival Data. New York: Springer; 2000. Section 7.2.

    Examples
    --------
    >>> from audit.statistics.cox import cox_regression
    >>> columns = pd.DataFrame({"treated": [0.0, 1.0] * 4})
    >>> times, events = [2, 5, 3, 8, 7, 9, 4, 6], [1, 1, 1, 0, 1, 1, 0, 1]
    >>> fit = cox_regression(columns, times, events)
    >>> robust = with_clustered_errors(fit, columns, times, events, clusters=[1, 1, 2, 2, 3, 3, 4, 4])
    >>> robust.coefficients["standard_error"].round(4).tolist()
    [0.5997]
    """
    require_choice("ties", ties, TIES)
    require_between_0_and_1("confidence", confidence)
    if list(columns.columns) != fit.coefficients["term"].tolist():
        raise ValueError(f"columns must be the terms of the fit, in order, got {list(columns.columns)}")
    observed = spells(durations, events, entry=entry, weights=weights)
    used = np.ones(len(columns), bool) if weights is None else np.asarray(weights, dtype=np.float64) > 0
    labels, _ = pd.factorize(np.asarray(clusters, dtype=object))
    require_equal_lengths(columns=len(columns), durations=np.size(durations), clusters=labels.size)
    coefficient = fit.coefficients["coefficient"].to_numpy(np.float64)
    kept, number = ~np.isnan(coefficient), _number(labels[used], observed)
    covariance = np.full((coefficient.size, coefficient.size), np.nan)
    if number > 1 and np.isfinite(coefficient[kept]).all() and kept.any():
        values = columns.to_numpy(np.float64)[used][:, kept]
        residuals = _score_residuals(observed, values, coefficient[kept], ties)
        influence = residuals @ fit.covariance.to_numpy(np.float64)[np.ix_(kept, kept)]
        covariance[np.ix_(kept, kept)] = _summed_squares(influence, labels[used], observed.weights)
    return replace(
        fit,
        coefficients=_with_errors(fit.coefficients, covariance, confidence),
        covariance=pd.DataFrame(covariance, index=fit.covariance.index, columns=fit.covariance.columns),
        method=METHOD.format(ties.capitalize(), 100 * confidence),
        caution=joined(fit.caution, _caution(number)),
    )


def _number(labels: IntArray, observed: Spells) -> int:
    """Return the number of clusters, a spell that stands alone being one."""
    return len(np.unique(labels[labels >= 0])) + int(observed.weights[labels < 0].sum())


def _score_residuals(observed: Spells, values: FloatArray, beta: FloatArray, ties: str) -> FloatArray:
    """Return each spell's share in the slope of the partial log-likelihood: its covariates less those at risk."""
    predictor = (values - values.mean(axis=0)) @ beta
    hazard = np.exp(predictor - predictor.max())
    z = values - values.mean(axis=0)
    sets = risk_patterns(observed, z)
    own = np.exp((sets.patterns @ beta) - predictor.max())[:, None]
    turns = tied_events(sets.deaths, ties)
    risk, died = (
        sums(sets, np.hstack([own, own * sets.patterns])) for sums in (sums_at_risk, sums_of_events)
    )
    rest = 1 / (risk[turns.place, 0] - turns.share * died[turns.place, 0])
    mean = (risk[turns.place, 1:] - turns.share[:, None] * died[turns.place, 1:]) * rest[:, None]
    parts = np.column_stack([rest, rest[:, None] * mean])
    whole, taken, middle = (
        _at_times(turns.place, part, sets.deaths.size)
        for part in (parts, turns.share[:, None] * parts, mean / sets.deaths[turns.place][:, None])
    )
    passed = _passed(observed, whole)
    residuals: FloatArray = hazard[:, None] * (passed[:, 1:] - z * passed[:, :1])
    event = observed.endings == 1
    place = np.searchsorted(np.unique(observed.exit[event]), observed.exit[event])
    back = hazard[event, None] * (z[event] * taken[place, :1] - taken[place, 1:])
    residuals[event] += z[event] - middle[place] + back
    return residuals


def _at_times(place: IntArray, parts: FloatArray, size: int) -> FloatArray:
    """Return what the single events of each time add up to."""
    added: FloatArray = np.column_stack(
        [np.bincount(place, weights=part, minlength=size) for part in parts.T]
    )
    return added


def _passed(observed: Spells, whole: FloatArray) -> FloatArray:
    """Return the sums over the event times at which each spell was at risk."""
    times = np.unique(observed.exit[observed.endings == 1])
    so_far = np.vstack([np.zeros(whole.shape[1]), np.cumsum(whole, axis=0)])
    until = np.searchsorted(times, observed.exit, side="right")
    # An entry of 0 counts as before 0.
    since = np.where(observed.entry > 0, np.searchsorted(times, observed.entry, side="right"), 0)
    passed: FloatArray = so_far[until] - so_far[since]
    return passed


def _summed_squares(influence: FloatArray, labels: IntArray, weights: IntArray) -> FloatArray:
    """Return the squares of what clusters add up to, a spell that stands alone being one."""
    together = np.zeros((labels.max(initial=-1) + 1, influence.shape[1]))
    shared: BoolArray = labels >= 0
    np.add.at(together, labels[shared], influence[shared] * weights[shared, None])
    alone = influence[~shared]
    squares: FloatArray = together.T @ together + (alone * weights[~shared, None]).T @ alone
    return squares


def _with_errors(coefficients: pd.DataFrame, covariance: FloatArray, confidence: float) -> pd.DataFrame:
    """Return the table of coefficients with errors from a covariance, and Wald limits and p-values."""
    value = coefficients["coefficient"].to_numpy(np.float64)
    error = np.sqrt(np.diag(covariance))
    centre = np.where(np.isfinite(value), value, np.nan)
    half_width = special.ndtri((1 + confidence) / 2) * error
    return coefficients.assign(
        standard_error=error,
        ci_lower=exponential(centre - half_width),
        ci_upper=exponential(centre + half_width),
        p_value=2 * special.ndtr(-np.abs(centre) / np.where(error > 0, error, np.nan)),
    )


def _caution(clusters: int) -> str:
    """Return what the reader of robust limits must know."""
    if clusters < 2:
        return "Fewer than two clusters: no robust limits."
    return "" if clusters >= FEW_CLUSTERS else f"Only {clusters} clusters: robust limits can be too narrow."
