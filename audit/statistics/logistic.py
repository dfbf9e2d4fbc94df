"""Logistic regression from counts: maximum likelihood where the data can bear it, Firth's where they cannot."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, require_between_0_and_1, require_choice
from audit.statistics.coefficients import coefficient_table, covariance_table, estimates, joined
from audit.statistics.design import Design, caution_about, design_of, to_original_scale
from audit.statistics.estimates import SignificanceTest
from audit.statistics.firth import penalised_fit
from audit.statistics.logistic_likelihood import (
    LogisticFit,
    Outcomes,
    by_pattern,
    intercept_for,
    likelihood,
    null_log_likelihood,
    numbers_of,
    of_somebody,
)
from audit.statistics.newton import Maximum, Point, maximise
from audit.statistics.profiles import Likelihood, with_profile_limits

METHOD = "logistic regression, maximum likelihood, Wald {:g}% limits"
EVENTS_PER_PARAMETER = 10
ESTIMATORS = ("automatic", "maximum_likelihood", "firth")


def logistic_regression(
    columns: pd.DataFrame,
    events: ArrayLike,
    n: ArrayLike | None = None,
    *,
    method: str = "automatic",
    confidence: float = 0.95,
) -> LogisticFit:
    """Return the logistic regression of events on columns.

    Parameters
    ----------
    columns : DataFrame of finite numbers
        One row per covariate pattern (or observation), one column per term, as `model_matrix` makes them; an
        intercept is added.
    events : array of counts
        Observations with the event in each row.
    n : array of counts, optional
        All observations in each row; 1 by default. Rows of nobody are left out.
    method : "automatic", "maximum_likelihood" or "firth"
        See Notes.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    LogisticFit
        `estimator`, `method` and `caution` say what was fitted and why. Constant columns, and columns that
        the ones before them tell, are nan and named in the caution. With nobody all is nan.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, a column has gaps, lengths differ, or confidence or
        method is not allowed.

    Notes
    -----
    "automatic" is maximum likelihood unless the rarer outcome (events or no events) is seen fewer than 10
    times per estimated term other than the intercept, or some combination of terms tells the events
    completely (separation); then it is Firth's regression with profile limits. "maximum_likelihood" under
    separation gives the infinite estimates their sign, no standard error, and the finite limit and p-value of
    the profile likelihood.

    References
    ----------
    Hosmer DW, Lemeshow S. Applied Logistic Regression. 2nd ed. New York: Wiley; 2000. Peduzzi P, Concato J,
    Kemper E, Holford TR, Feinstein AR. J Clin Epidemiol 1996;49:1373-1379. Albert A, Anderson JA. On the
    existence of maximum likelihood estimates in logistic regression models. Biometrika 1984;71:1-10.

    Examples
    --------
    >>> fit = logistic_regression(pd.DataFrame({"treated": [0.0, 1.0]}), [30, 15], [100, 100])
    >>> fit.coefficients[["odds_ratio", "ci_lower", "ci_upper"]].round(3).values.tolist()[1]
    [0.412, 0.205, 0.826]
    """
    require_choice("method", method, ESTIMATORS)
    require_between_0_and_1("confidence", confidence)
    given = numbers_of(columns, events, n)
    design, outcomes = by_pattern(design_of(columns, given.n, intercept=True), of_somebody(given))
    few = _too_few_events(design, outcomes) if method == "automatic" else ""
    if method == "firth" or few:
        return penalised_fit(design, outcomes, confidence=confidence, reason=few)
    best = maximise(_likelihood_of(design, outcomes), np.zeros(design.values.shape[1]), design.values)
    if method == "automatic" and best.state != "found":
        return penalised_fit(design, outcomes, confidence=confidence, reason=_no_maximum(design, best))
    return _unpenalised_fit(design, outcomes, best, confidence)


def _likelihood_of(design: Design, outcomes: Outcomes) -> Likelihood:
    """Return the log-likelihood as a function of the coefficients of the standardised columns."""

    def of_coefficients(beta: FloatArray) -> Point:
        return likelihood(outcomes, design.values, design.values @ beta)

    return of_coefficients


def _too_few_events(design: Design, outcomes: Outcomes) -> str:
    """Return why there are too few events for maximum likelihood, nothing if there are enough."""
    events, n = outcomes.events.sum(), outcomes.n.sum()
    rarer, parameters = int(min(events, n - events)), max(int(design.kept.sum()) - 1, 0)
    if rarer >= EVENTS_PER_PARAMETER * parameters:
        return ""
    what = "events" if events <= n - events else "without the event"
    return (
        f"Firth's penalised likelihood, since {rarer} {what} for {parameters} terms are fewer than "
        f"{EVENTS_PER_PARAMETER} a term."
    )


def _no_maximum(design: Design, best: Maximum) -> str:
    """Return why maximum likelihood gave no finite estimates."""
    if best.state == "lost":
        return "Firth's penalised likelihood, since maximum likelihood did not converge."
    return f"Firth's penalised likelihood, since separation by {_culprits(design, best)} leaves no finite estimate."


def _culprits(design: Design, best: Maximum) -> str:
    """Return the terms whose coefficients rise or fall without end."""
    moved = np.abs(to_original_scale(design) @ best.direction)
    moved *= np.abs(design.values).max(axis=0, initial=0.0) * design.scale[design.kept]
    terms = np.array(design.terms)[design.kept]
    named = terms[1:][moved[1:] > 1e-3]
    return ", ".join(named) if named.size else "the intercept (all have one outcome)"


def _unpenalised_fit(design: Design, outcomes: Outcomes, best: Maximum, confidence: float) -> LogisticFit:
    """Return the fit by maximum likelihood."""
    fitted = estimates(design, best)
    null, degrees = null_log_likelihood(outcomes), max(int(design.kept.sum()) - 1, 0)
    statistic = max(2 * (best.point.value - null), 0.0)
    trouble = {
        "found": "",
        "endless": (
            f"Separation by {_culprits(design, best)} leaves no finite estimate; limits are of the profile "
            "likelihood."
        ),
        "lost": "The fit did not converge: no estimates.",
    }[best.state]
    # An infinite coefficient predicts nothing that could be added up.
    slopes = np.where(np.isfinite(fitted.coefficients[1:]), fitted.coefficients[1:], np.nan)
    offset = design.values[:, 1:] @ (slopes * design.scale[design.kept][1:])
    centring = float(design.centre[design.kept][1:] @ slopes)
    table = coefficient_table(design, fitted, ratio="odds_ratio", confidence=confidence)
    if best.state == "endless":
        own = _likelihood_of(design, outcomes)
        table = with_profile_limits(table, design, own, best, design.values, confidence=confidence)
    return LogisticFit(
        coefficients=table,
        covariance=covariance_table(design, fitted.covariance),
        log_likelihood=best.point.value,
        null_log_likelihood=null,
        likelihood_ratio=SignificanceTest(
            statistic,
            degrees,
            float(special.chdtrc(degrees, statistic)) if degrees else np.nan,
            "likelihood ratio",
        ),
        events=int(outcomes.events.sum()),
        n=int(outcomes.n.sum()),
        prediction_intercept=intercept_for(outcomes, offset) - centring,
        estimator="maximum_likelihood",
        method=METHOD.format(100 * confidence),
        caution=joined(trouble, caution_about(design)) if outcomes.n.size else "Nobody to fit on.",
    )
