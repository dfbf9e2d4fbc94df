"""Firth's penalised logistic regression: finite estimates whatever the data."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, require_between_0_and_1
from audit.statistics.coefficients import (
    Estimates,
    coefficient_table,
    covariance_table,
    estimates,
    exponential,
    joined,
)
from audit.statistics.design import Design, caution_about, design_of, to_original_scale
from audit.statistics.estimates import SignificanceTest
from audit.statistics.logistic_likelihood import (
    LogisticFit,
    Outcomes,
    by_pattern,
    intercept_for,
    likelihood,
    numbers_of,
    of_somebody,
)
from audit.statistics.newton import Maximum, Point, maximise
from audit.statistics.profiles import straight_root

METHOD = "Firth's penalised logistic regression, profile {:g}% limits, penalised likelihood-ratio p-values"

# Steps of the linear predictor, which the penalised likelihood follows less well than the plain one.
LARGEST_MOVE = 5.0
# The information is not that of the penalty, so that the last steps shrink by a share each, not by squares.
MOST_STEPS = 1000


@dataclass(frozen=True)
class _Profile:
    """One coefficient on its own scale, `weights` @ parameters, and the best way to move it by 1, `tangent`."""

    outcomes: Outcomes
    values: FloatArray
    best: Maximum
    weights: FloatArray
    tangent: FloatArray


def firth_regression(
    columns: pd.DataFrame, events: ArrayLike, n: ArrayLike | None = None, *, confidence: float = 0.95
) -> LogisticFit:
    """Return Firth's penalised logistic regression of events on columns.

    Parameters
    ----------
    columns : DataFrame of finite numbers
        One row per covariate pattern (or observation), one column per term; an intercept is added.
    events : array of counts
        Observations with the event in each row.
    n : array of counts, optional
        All observations in each row; 1 by default. Rows of nobody are left out.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    LogisticFit
        standard_error is from the information at the maximum; limits are those at which twice the fall of the
        profile penalised log-likelihood is the chi-square quantile; p_value is of the penalised
        likelihood-ratio test. Constant and dependent columns are nan. With nobody all is nan.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, a column has gaps, lengths differ, or confidence is
        out of range.

    Notes
    -----
    The likelihood is multiplied by the root of the determinant of its information (Jeffreys' prior), which
    takes away most of the bias of few events and keeps estimates finite when a term tells the events
    completely. Tests and profiles keep the penalty of all terms. The intercept is penalised too, so that
    predictions need `prediction_intercept`.

    References
    ----------
    Firth D. Biometrika 1993;80:27-38. Heinze G, Schemper M. A solution to the problem of separation in
    logistic regression. Stat Med 2002;21:2409-2419. Puhr R, Heinze G, Nold M, Lusa L, Geroldinger A. Firth's
    logistic regression with rare events: accurate effect estimates and predictions? Stat Med
    2017;36:2302-2317.

    Examples
    --------
    >>> fit = firth_regression(pd.DataFrame({"treated": [0.0, 1.0]}), [4, 0], [20, 20])
    >>> fit.coefficients[["odds_ratio", "ci_lower", "ci_upper"]].round(3).values.tolist()[1]
    [0.089, 0.001, 0.933]
    """
    require_between_0_and_1("confidence", confidence)
    given = numbers_of(columns, events, n)
    design, outcomes = by_pattern(design_of(columns, given.n, intercept=True), of_somebody(given))
    return penalised_fit(design, outcomes, confidence=confidence)


def penalised_fit(design: Design, outcomes: Outcomes, *, confidence: float, reason: str = "") -> LogisticFit:
    """Return the penalised fit of a checked design, with the reason for it as part of the caution."""
    every_way = np.eye(design.values.shape[1])
    best = _maximise(outcomes, design.values, np.zeros(len(every_way)), every_way)
    fitted = estimates(design, _with_plain_information(outcomes, design.values, best))
    table = _with_profiles(design, outcomes, best, fitted, confidence)
    null = _maximise(outcomes, design.values, np.zeros(len(every_way)), every_way[:, :1])
    # The determinant of the information of the columns as given, not of the standardised ones.
    shift = float(np.log(design.scale[design.kept]).sum())
    degrees = max(design.values.shape[1] - 1, 0)
    statistic = max(2 * (best.point.value - null.point.value), 0.0)
    p_value = float(special.chdtrc(degrees, statistic)) if degrees else np.nan
    offset = design.values[:, 1:] @ best.parameters[1:] if best.parameters.size else np.zeros(0)
    centring = design.centre[design.kept][1:] @ fitted.coefficients[1:]
    nobody = "" if outcomes.n.size else "Nobody to fit on."
    return LogisticFit(
        coefficients=table,
        covariance=covariance_table(design, fitted.covariance),
        log_likelihood=best.point.value + shift,
        null_log_likelihood=null.point.value + shift,
        likelihood_ratio=SignificanceTest(statistic, degrees, p_value, "penalised likelihood ratio"),
        events=int(outcomes.events.sum()),
        n=int(outcomes.n.sum()),
        prediction_intercept=intercept_for(outcomes, offset) - float(centring),
        estimator="firth",
        method=METHOD.format(100 * confidence),
        caution=nobody or joined(reason, caution_about(design), _lost(best)),
    )


def _lost(best: Maximum) -> str:
    """Return what to say when no maximum was found."""
    return "The fit did not converge: no estimates." if best.state != "found" else ""


def _penalised(outcomes: Outcomes, values: FloatArray, beta: FloatArray) -> Point:
    """Return the penalised log-likelihood with its slope, and the information of the augmented data.

    The penalty acts like half an event and half a non-event, leverage of them, added to each pattern. Steps by
    the plain information would overshoot by as much, and turn in circles with one observation in a group.
    """
    predictor = values @ beta
    plain = likelihood(outcomes, values, predictor)
    sign, log_determinant = np.linalg.slogdet(plain.information)
    if sign <= 0:
        return Point(-np.inf, plain.score, plain.information)
    p, q = special.expit(predictor), special.expit(-predictor)
    leverage = outcomes.n * p * q * (values * np.linalg.solve(plain.information, values.T).T).sum(axis=1)
    return Point(
        plain.value + float(log_determinant) / 2,
        plain.score + values.T @ (leverage * (q - p) / 2),
        plain.information + (values * (leverage * p * q)[:, None]).T @ values,
    )


def _with_plain_information(outcomes: Outcomes, values: FloatArray, best: Maximum) -> Maximum:
    """Return the maximum with the information that standard errors come from."""
    plain = likelihood(outcomes, values, values @ best.parameters)
    return replace(best, point=replace(best.point, information=plain.information))


def _maximise(
    outcomes: Outcomes,
    values: FloatArray,
    origin: FloatArray,
    ways: FloatArray,
    *,
    precision: float = 1e-10,
) -> Maximum:
    """Return the penalised maximum among the parameters origin + ways @ (the parameters returned)."""

    def evaluate(parameters: FloatArray) -> Point:
        point = _penalised(outcomes, values, origin + ways @ parameters)
        return Point(point.value, ways.T @ point.score, ways.T @ point.information @ ways)

    start = np.zeros(ways.shape[1])
    return maximise(
        evaluate, start, values @ ways, precision=precision, largest_move=LARGEST_MOVE, most_steps=MOST_STEPS
    )


def _with_profiles(
    design: Design, outcomes: Outcomes, best: Maximum, fitted: Estimates, confidence: float
) -> pd.DataFrame:
    """Return the table of coefficients with profile limits and likelihood-ratio p-values."""
    table = coefficient_table(design, fitted, ratio="odds_ratio", confidence=confidence)
    if best.state != "found":
        return table
    quantile = float(special.ndtri((1 + confidence) / 2))
    errors = np.sqrt(np.diag(fitted.covariance))
    for column, row in enumerate(np.flatnonzero(design.kept)):
        profile = _profile(outcomes, design.values, best, to_original_scale(design)[column])
        for name, side in (("ci_lower", -1.0), ("ci_upper", 1.0)):
            limit = _limit(profile, side, quantile, quantile * errors[column])
            table.loc[row, name] = exponential(np.array(limit))
        table.loc[row, "p_value"] = special.chdtrc(1, _fall(profile, 0.0))
    return table


def _profile(outcomes: Outcomes, values: FloatArray, best: Maximum, weights: FloatArray) -> _Profile:
    """Return the coefficient with the way in which the other terms follow it, to first order."""
    way = np.linalg.solve(best.point.information, weights)
    return _Profile(outcomes, values, best, weights, way / (weights @ way))


def _fall(profile: _Profile, place: float) -> float:
    """Return twice the fall of the profile log-likelihood from its maximum to a value of the coefficient."""
    top = profile.best.parameters
    origin = top + profile.tangent * (place - profile.weights @ top)
    # All ways that leave the coefficient as it is.
    ways = np.linalg.qr(profile.weights[:, None], mode="complete")[0][:, 1:]
    # The value is flat at its maximum, so that its error is the square of this precision.
    there = _maximise(profile.outcomes, profile.values, origin, ways, precision=1e-6)
    return max(2 * (profile.best.point.value - there.point.value), 0.0)


def _limit(profile: _Profile, side: float, quantile: float, reach: float) -> float:
    """Return where the root of twice the fall reaches the quantile on one side."""
    centre = float(profile.weights @ profile.best.parameters)

    def excess(distance: float) -> float:
        return float(np.sqrt(_fall(profile, centre + side * distance))) - quantile

    near, far = (0.0, -quantile), (reach, excess(reach))
    for _ in range(60):
        if far[1] > 0:
            return centre + side * straight_root(excess, near, far)
        near, far = far, (2 * far[0], excess(2 * far[0]))
    return side * np.inf
