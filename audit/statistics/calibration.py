"""How well predicted probabilities agree with the events seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, require_between_0_and_1
from audit.statistics.discrimination import predictions_of
from audit.statistics.logistic import logistic_regression
from audit.statistics.logistic_likelihood import Outcomes, intercept_for, likelihood
from audit.statistics.proportions import proportion_interval


@dataclass(frozen=True)
class CalibrationLine:
    """The intercept and slope that would turn the predicted log odds into those seen.

    `intercept` (slope held at 1) is 0 and `slope` is 1 for predictions that agree; limits are Wald's. nan where
    `caution` says why.
    """

    intercept: float
    intercept_lower: float
    intercept_upper: float
    slope: float
    slope_lower: float
    slope_upper: float
    method: str
    caution: str


def calibration_table(
    predicted: ArrayLike,
    events: ArrayLike,
    n: ArrayLike | None = None,
    *,
    groups: int = 10,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return events seen and expected in groups of rising predicted probability, tenths by default.

    Parameters
    ----------
    predicted, events, n
        As in `c_statistic`.
    groups : count, 1 or more
        How many groups of about equal size.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    DataFrame
        group (1 lowest), predicted_lowest, predicted_mean, predicted_highest, n, events, expected, proportion,
        ci_lower, ci_upper (Wilson). Equal probabilities stay together, so that groups can be unequal in size and
        some can be absent. No rows with nobody.

    Raises
    ------
    ValueError
        As `c_statistic`, or if groups is below 1.

    Notes
    -----
    A probability belongs to the group in which the middle of its ranks lies.

    References
    ----------
    Hosmer DW, Lemeshow S. Applied Logistic Regression. 2nd ed. New York: Wiley; 2000. Section 5.2.2.

    Examples
    --------
    >>> table = calibration_table([0.1, 0.2, 0.3], [1, 2, 4], [10, 10, 10], groups=3)
    >>> table[["group", "n", "events", "expected"]].values.tolist()
    [[1.0, 10.0, 1.0, 1.0], [2.0, 10.0, 2.0, 2.0], [3.0, 10.0, 4.0, 3.0]]
    """
    if not (groups >= 1 and groups == int(groups)):
        raise ValueError(f"groups must be a whole number of 1 or more, got {groups}")
    given = predictions_of(predicted, events, n)
    levels, place = np.unique(given.predicted, return_inverse=True)
    size = np.bincount(place, weights=given.outcomes.n)
    middle = (np.cumsum(size) - size / 2) / max(size.sum(), 1)
    rows = pd.DataFrame(
        {
            "group": np.minimum(np.floor(middle * groups).astype(np.int64) + 1, groups),
            "predicted": levels,
            "n": size.astype(np.int64),
            "events": np.bincount(place, weights=given.outcomes.events).astype(np.int64),
            "expected": levels * size,
        }
    )
    return _with_limits(rows, confidence)


def calibration_line(
    predicted: ArrayLike, events: ArrayLike, n: ArrayLike | None = None, *, confidence: float = 0.95
) -> CalibrationLine:
    """Return the calibration intercept and slope of predicted probabilities.

    Parameters
    ----------
    predicted : array, between 0 and 1
        The probability given to each row; 0 and 1 have no log odds and are refused.
    events, n
        As in `c_statistic`.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    CalibrationLine
        intercept: of the regression with the predicted log odds as offset (above 0: more events than
        predicted). slope: of the regression on the predicted log odds (below 1: predictions too extreme). A
        figure that does not exist is nan, with a caution: no events, nothing else, one probability for all,
        or separation.

    Raises
    ------
    ValueError
        As `c_statistic`, and if a probability is 0 or 1.

    Notes
    -----
    Over the data of a maximum likelihood fit the intercept is 0 and the slope 1 by construction.

    References
    ----------
    Cox DR. Two further applications of a model for binary regression. Biometrika 1958;45:562-565. Miller ME,
    Langefeld CD, Tierney WM, Hui SL, McDonald CJ. Med Decis Making 1993;13:49-58. Van Calster B et al.
    Calibration: the Achilles heel of predictive analytics. BMC Med 2019;17:230.

    Examples
    --------
    >>> line = calibration_line([0.1, 0.2, 0.3], [1, 2, 4], [10, 10, 10])
    >>> round(line.intercept, 3), round(line.slope, 3)
    (0.206, 1.373)
    """
    require_between_0_and_1("confidence", confidence)
    given = predictions_of(predicted, events, n)
    edge = (given.predicted <= 0) | (given.predicted >= 1)
    if edge.any():
        raise ValueError(f"predicted must lie between 0 and 1, got {given.predicted[edge][0]}")
    predictor = special.logit(given.predicted)
    intercept, error = _intercept(given.outcomes, predictor)
    slope, slope_error, caution = _slope(given.outcomes, predictor)
    z = float(special.ndtri((1 + confidence) / 2))
    return CalibrationLine(
        intercept=intercept,
        intercept_lower=intercept - z * error,
        intercept_upper=intercept + z * error,
        slope=slope,
        slope_lower=slope - z * slope_error,
        slope_upper=slope + z * slope_error,
        method=f"logistic recalibration, Wald {100 * confidence:g}% limits",
        caution=caution,
    )


def _with_limits(rows: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """Return the groups added up, with the proportion seen and its limits."""
    table = rows.groupby("group").agg(
        predicted_lowest=("predicted", "min"),
        predicted_highest=("predicted", "max"),
        n=("n", "sum"),
        events=("events", "sum"),
        expected=("expected", "sum"),
    )
    table = table.reset_index()
    table.insert(2, "predicted_mean", table["expected"] / table["n"])
    lower, upper = proportion_interval(table["events"], table["n"], confidence=confidence)
    return table.assign(proportion=table["events"] / table["n"], ci_lower=lower, ci_upper=upper)


def _intercept(outcomes: Outcomes, predictor: FloatArray) -> tuple[float, float]:
    """Return the intercept beside the predictor as an offset, and its standard error."""
    intercept = intercept_for(outcomes, predictor)
    if not np.isfinite(intercept):
        return np.nan, np.nan
    point = likelihood(outcomes, np.ones((predictor.size, 1)), predictor + intercept)
    return intercept, float(1 / np.sqrt(point.information[0, 0]))


def _slope(outcomes: Outcomes, predictor: FloatArray) -> tuple[float, float, str]:
    """Return the slope on the predictor, its standard error, and why there is none."""
    columns = pd.DataFrame({"predicted log odds": predictor})
    fit = logistic_regression(columns, outcomes.events, outcomes.n, method="maximum_likelihood")
    slope, error = (float(fit.coefficients[name].to_numpy()[1]) for name in ("coefficient", "standard_error"))
    return (slope if np.isfinite(slope) else np.nan), error, fit.caution
