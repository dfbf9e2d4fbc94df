"""What a fitted logistic regression expects of each row and of each group."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray
from audit.statistics.design import require_equal_lengths
from audit.statistics.logistic_likelihood import LogisticFit, numbers_of


def predicted_probabilities(fit: LogisticFit, columns: pd.DataFrame) -> FloatArray:
    """Return the probability of the event that a fitted model gives each row.

    Parameters
    ----------
    fit : LogisticFit
        From `logistic_regression` or `firth_regression`.
    columns : DataFrame of finite numbers
        The terms of the model, in any order.

    Returns
    -------
    array, 0 to 1
        One per row. Terms that were not estimated count nothing. nan where a coefficient is infinite or was
        not found. Empty in, empty out.

    Raises
    ------
    ValueError
        If the columns are not the terms of the fit.

    Notes
    -----
    The intercept is `prediction_intercept`: over the data fitted, the probabilities add up to the events seen,
    after Firth's regression too (FLIC). After no events at all every probability is 0.

    References
    ----------
    Puhr R, Heinze G, Nold M, Lusa L, Geroldinger A. Stat Med 2017;36:2302-2317.

    Examples
    --------
    >>> from audit.statistics.logistic import logistic_regression
    >>> columns = pd.DataFrame({"treated": [0.0, 1.0]})
    >>> predicted_probabilities(logistic_regression(columns, [30, 15], [100, 100]), columns).round(3).tolist()
    [0.3, 0.15]
    """
    terms = fit.coefficients["term"].tolist()[1:]
    if sorted(map(str, columns.columns)) != sorted(terms):
        raise ValueError(
            f"columns must be the terms of the fit ({', '.join(terms)}), got {list(columns.columns)}"
        )
    coefficients = fit.coefficients["coefficient"].to_numpy(np.float64)[1:]
    # Where a coefficient is infinite or was not found the intercept is nan, and so is every probability.
    used = np.where(np.isfinite(coefficients), coefficients, 0.0)
    predictor = fit.prediction_intercept + columns[terms].to_numpy(np.float64) @ used
    probabilities: FloatArray = special.expit(predictor)
    return probabilities


def expected_counts(
    fit: LogisticFit,
    columns: pd.DataFrame,
    events: ArrayLike,
    n: ArrayLike | None = None,
    *,
    groups: ArrayLike,
) -> pd.DataFrame:
    """Return for each group the events seen and those that the model expects of such a mixture.

    Parameters
    ----------
    fit : LogisticFit
        The model of the comparison.
    columns, events, n
        As in `logistic_regression`, for the rows to be compared.
    groups : array of labels
        The group of each row; none may be missing.

    Returns
    -------
    DataFrame
        group, n, events, expected, one row per group in sorted order; for `observed_expected`. Empty in, no
        rows out.

    Raises
    ------
    ValueError
        As `predicted_probabilities` and `logistic_regression`, or if a group is missing.

    References
    ----------
    Breslow NE, Day NE. Statistical Methods in Cancer Research II. Lyon: IARC; 1987. Chapter 2.

    Examples
    --------
    >>> from audit.statistics.logistic import logistic_regression
    >>> columns = pd.DataFrame({"treated": [0.0, 1.0]})
    >>> fit = logistic_regression(columns, [30, 15], [100, 100])
    >>> expected_counts(fit, columns, [9, 1], [20, 10], groups=["a", "b"]).round(3).values.tolist()
    [['a', 20, 9, 6.0], ['b', 10, 1, 1.5]]
    """
    given = numbers_of(columns, events, n)
    labels = pd.Series(np.asarray(groups))
    require_equal_lengths(columns=len(columns), groups=labels.size)
    if labels.isna().any():
        raise ValueError(f"groups must not be missing, got {labels.isna().sum()} that are")
    expected = given.n * predicted_probabilities(fit, columns)
    table = pd.DataFrame(
        {
            "group": labels,
            "n": given.n.astype(np.int64),
            "events": given.events.astype(np.int64),
            "expected": expected,
        }
    )
    # skipna would turn an expectation that is unknown into one of 0.
    return (
        table.groupby("group")
        .agg(
            n=("n", "sum"), events=("events", "sum"), expected=("expected", lambda own: own.sum(skipna=False))
        )
        .reset_index()
    )
