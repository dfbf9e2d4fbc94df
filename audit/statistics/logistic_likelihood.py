"""What every logistic regression shares: checked outcomes, the likelihood, and the form of a fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within
from audit.statistics.design import Design, distinct_rows, require_equal_lengths
from audit.statistics.estimates import SignificanceTest
from audit.statistics.newton import Point
from audit.statistics.root_search import crossing


@dataclass(frozen=True)
class Outcomes:
    """Events among n in each covariate pattern; patterns of nobody are left out."""

    events: FloatArray
    n: FloatArray


@dataclass(frozen=True)
class LogisticFit:
    """A fitted logistic regression.

    `coefficients` has one row per term, the intercept first: term, coefficient, standard_error, odds_ratio,
    ci_lower, ci_upper (limits of the odds ratio) and p_value; nan where a term was not estimated (`caution`
    says which and why). `covariance` is that of the coefficients, a row and a column per term.
    `log_likelihood` and `null_log_likelihood` (intercept alone) are penalised where `estimator` is "firth",
    and leave out the binomial coefficients, so that counts and single rows give the same.
    `likelihood_ratio` tests all terms but the intercept together. `prediction_intercept` makes the predicted
    events add up to those observed.
    """

    coefficients: pd.DataFrame
    covariance: pd.DataFrame
    log_likelihood: float
    null_log_likelihood: float
    likelihood_ratio: SignificanceTest
    events: int
    n: int
    prediction_intercept: float
    estimator: str
    method: str
    caution: str


def numbers_of(columns: pd.DataFrame, events: ArrayLike, n: ArrayLike | None) -> Outcomes:
    """Return events and n (1 by default) as checked arrays, one value per row of the columns."""
    total = np.ones(np.shape(events)) if n is None else n
    events_, total_ = counts_within(events, total, names=("events", "n"))
    require_equal_lengths(columns=len(columns), events=events_.size, n=total_.size)
    return Outcomes(np.atleast_1d(events_), np.atleast_1d(total_))


def of_somebody(outcomes: Outcomes) -> Outcomes:
    """Return the outcomes of the patterns that anybody has."""
    return Outcomes(outcomes.events[outcomes.n > 0], outcomes.n[outcomes.n > 0])


def by_pattern(design: Design, outcomes: Outcomes) -> tuple[Design, Outcomes]:
    """Return the design and outcomes with equal rows added up, which changes nothing but the work."""
    pattern, values = distinct_rows(design.values)
    events, n = (
        np.bincount(pattern, weights=own, minlength=len(values)).astype(np.float64)
        for own in (outcomes.events, outcomes.n)
    )
    return replace(design, values=values), Outcomes(events, n)


def likelihood(outcomes: Outcomes, values: FloatArray, predictor: FloatArray) -> Point:
    """Return the log-likelihood, its slope and information at a linear predictor."""
    events, others = outcomes.events, outcomes.n - outcomes.events
    p, q = special.expit(predictor), special.expit(-predictor)
    value = 0.0 - (events @ np.logaddexp(0, -predictor) + others @ np.logaddexp(0, predictor))
    # Written with q, since 1 - p would lose all digits of a p near 1.
    score = values.T @ (events * q - others * p)
    weighted = values * (outcomes.n * p * q)[:, None]
    return Point(float(value), score, weighted.T @ values)


def null_log_likelihood(outcomes: Outcomes) -> float:
    """Return the log-likelihood of one probability for all."""
    events, n = outcomes.events.sum(), outcomes.n.sum()
    return float(
        special.xlogy(events, events / max(n, 1)) + special.xlogy(n - events, (n - events) / max(n, 1))
    )


def intercept_for(outcomes: Outcomes, offset: FloatArray) -> float:
    """Return the intercept beside which the expected events add up to those observed, infinite at an edge."""
    events, n = outcomes.events.sum(), outcomes.n.sum()
    if n == 0 or not np.isfinite(offset).all():
        return np.nan
    if events in (0, n):
        return -np.inf if events == 0 else np.inf
    level = special.logit(events / n)

    def surplus(intercept: FloatArray) -> FloatArray:
        return np.asarray(outcomes.n @ special.expit(offset + intercept) - events)

    # Between the intercepts that would do if everybody had the largest, or the smallest, offset.
    return float(crossing(surplus, level - offset.max(), level - offset.min()))
