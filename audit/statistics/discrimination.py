"""How well predicted probabilities tell who has the event."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import (
    FloatArray,
    counts,
    counts_within,
    proportions,
    require_between_0_and_1,
    require_choice,
)
from audit.statistics.design import require_equal_lengths
from audit.statistics.estimates import Estimate
from audit.statistics.logistic_likelihood import Outcomes


@dataclass(frozen=True)
class Predictions:
    """Predicted probabilities with the events among n, rows of nobody left out."""

    predicted: FloatArray
    outcomes: Outcomes


def c_statistic(
    predicted: ArrayLike,
    events: ArrayLike,
    n: ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    method: str = "delong",
) -> tuple[Estimate, float]:
    """Return the chance that somebody with the event was given the higher probability, and its standard error.

    Parameters
    ----------
    predicted : array, 0 to 1
        The probability given to each row.
    events : array of counts
        Observations with the event in each row.
    n : array of counts, optional
        All observations in each row; 1 by default.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "delong" or "hanley_mcneil"
        Of the standard error.

    Returns
    -------
    (Estimate, float)
        The c-statistic (area under the ROC curve, equal probabilities counting half), with limits that are
        normal on the logit scale; and the standard error. All nan without events or with nothing else; limits
        are nan at 0 and 1, where the standard error is 0 and says nothing.

    Raises
    ------
    ValueError
        If a probability is not from 0 to 1, a count is not a whole number, events exceed n, lengths differ, or
        confidence or method is not allowed.

    Notes
    -----
    Over the data a model was fitted to the c-statistic is too high. "delong" is distribution-free;
    "hanley_mcneil" assumes exponential scores and needs only the c-statistic and the numbers.

    References
    ----------
    Hanley JA, McNeil BJ. Radiology 1982;143:29-36. DeLong ER, DeLong DM, Clarke-Pearson DL. Biometrics
    1988;44:837-845.

    Examples
    --------
    >>> area, error = c_statistic([0.1, 0.2, 0.3], [1, 2, 4], [10, 10, 10])
    >>> round(float(area.value), 3), round(error, 3)
    (0.686, 0.112)
    """
    require_choice("method", method, ("delong", "hanley_mcneil"))
    require_between_0_and_1("confidence", confidence)
    given = predictions_of(predicted, events, n)
    cases, others = given.outcomes.events, given.outcomes.n - given.outcomes.events
    if not (cases.sum() > 0 and others.sum() > 0):
        nan = np.array(np.nan)
        return Estimate(nan, nan, nan, method), np.nan
    below_case, above_other = (
        _shares_below(given.predicted, others),
        1 - _shares_below(given.predicted, cases),
    )
    area = float(cases @ below_case / cases.sum())
    if method == "delong":
        error = _delong_error(area, (cases, below_case), (others, above_other))
    else:
        error = _hanley_mcneil_error(area, float(cases.sum()), float(others.sum()))
    lower, upper = _logit_limits(area, error, float(special.ndtri((1 + confidence) / 2)))
    return Estimate(np.array(area), np.array(lower), np.array(upper), f"{method}, logit limits"), error


def brier_score(predicted: ArrayLike, events: ArrayLike, n: ArrayLike | None = None) -> float:
    """Return the mean squared difference between predicted probability and outcome (1 with the event, else 0).

    Parameters
    ----------
    predicted, events, n
        As in `c_statistic`.

    Returns
    -------
    float, 0 to 1
        0 for perfect foresight; nan with nobody.

    Raises
    ------
    ValueError
        As `c_statistic`.

    References
    ----------
    Brier GW. Mon Weather Rev 1950;78:1-3.

    Examples
    --------
    >>> round(brier_score([0.1, 0.2, 0.3], [1, 2, 4], [10, 10, 10]), 4)
    0.1667
    """
    given = predictions_of(predicted, events, n)
    events_, n_ = given.outcomes.events, given.outcomes.n
    squares = events_ @ (1 - given.predicted) ** 2 + (n_ - events_) @ given.predicted**2
    return float(squares / n_.sum()) if n_.sum() else np.nan


def predictions_of(predicted: ArrayLike, events: ArrayLike, n: ArrayLike | None) -> Predictions:
    """Return the checked predictions of the rows with anybody."""
    given = np.atleast_1d(proportions("predicted", predicted))
    total = np.ones(np.shape(events)) if n is None else counts("n", n)
    events_, n_ = map(np.atleast_1d, counts_within(events, total, names=("events", "n")))
    require_equal_lengths(predicted=given.size, events=events_.size, n=n_.size)
    kept = n_ > 0
    return Predictions(given[kept], Outcomes(events_[kept], n_[kept]))


def _shares_below(predicted: FloatArray, others: FloatArray) -> FloatArray:
    """Return for each probability the share of the others below it, equal ones counted half."""
    _, place = np.unique(predicted, return_inverse=True)
    size = np.bincount(place, weights=others)
    below: FloatArray = ((np.cumsum(size) - size / 2) / size.sum())[place]
    return below


def _delong_error(
    area: float, cases: tuple[FloatArray, FloatArray], others: tuple[FloatArray, FloatArray]
) -> float:
    """Return the standard error from the spread of the shares, nan where there is one of either."""
    variance = 0.0
    for number, share in (cases, others):
        size = number.sum()
        if size < 2:
            return np.nan
        variance += float(number @ (share - area) ** 2 / (size - 1) / size)
    return float(np.sqrt(variance))


def _hanley_mcneil_error(area: float, cases: float, others: float) -> float:
    """Return the standard error under exponential scores."""
    both_cases, both_others = area / (2 - area), 2 * area**2 / (1 + area)
    own = area * (1 - area)
    spread = own + (cases - 1) * (both_cases - area**2) + (others - 1) * (both_others - area**2)
    return float(np.sqrt(max(spread, 0.0) / (cases * others)))


def _logit_limits(area: float, error: float, z: float) -> tuple[float, float]:
    """Return limits that are normal on the logit scale, nan at the edges."""
    if not 0 < area < 1:
        return np.nan, np.nan
    centre, half_width = float(special.logit(area)), z * error / (area * (1 - area))
    return float(special.expit(centre - half_width)), float(special.expit(centre + half_width))
