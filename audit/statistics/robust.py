"""Standard errors of a logistic regression that do not rely on independent rows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, require_between_0_and_1, require_choice
from audit.statistics.coefficients import Estimates, coefficient_table, covariance_table, joined
from audit.statistics.design import Design, design_of, require_equal_lengths, to_original_scale
from audit.statistics.logistic_likelihood import LogisticFit, Outcomes, numbers_of, of_somebody

# Below this, cluster-robust limits cover visibly less than they say (Cameron and Miller 2015).
FEW_CLUSTERS = 30
WORDS = {
    "hc0": "sandwich standard errors (HC0), normal {:g}% limits",
    "hc1": "sandwich standard errors (HC1, factor n/(n-k)), normal {:g}% limits",
    "cluster": (
        "cluster-robust standard errors, factor G/(G-1)*(n-1)/(n-k), {:g}% limits by Student's t with G-1 "
        "degrees of freedom"
    ),
}


def with_robust_errors(
    fit: LogisticFit,
    columns: pd.DataFrame,
    events: ArrayLike,
    n: ArrayLike | None = None,
    *,
    clusters: ArrayLike | None = None,
    method: str = "cluster",
    confidence: float = 0.95,
) -> LogisticFit:
    """Return the same fit with robust standard errors, limits, p-values and covariance.

    Parameters
    ----------
    fit : LogisticFit
        From `logistic_regression` on the same rows.
    columns, events, n
        As they were fitted.
    clusters : array of labels, one per row
        Which rows belong together, for "cluster"; none may be missing.
    method : "cluster", "hc1" or "hc0"
        See Notes.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    LogisticFit
        Coefficients, likelihoods and the test of all terms are those of `fit`; that test still takes rows as
        independent. Everything robust is nan for a term without a finite estimate, and with a single cluster.

    Raises
    ------
    ValueError
        If the columns are not the terms of the fit, clusters are missing or of another length, or an argument
        is not allowed.

    Notes
    -----
    The sandwich is bread * meat * bread with the inverse information as bread. The meat adds up products of
    scores: of single observations for "hc0", times n/(n-k) for "hc1", or of whole clusters, times
    G/(G-1)*(n-1)/(n-k), for "cluster", with n observations, k estimated terms and G clusters. Limits are
    Student's t with G-1 degrees of freedom for "cluster" and normal for the others. A row counts as n single
    observations in "hc0" and "hc1" and lies in one cluster. Around a Firth fit the scores are the plain ones.

    References
    ----------
    Huber PJ. Proc Fifth Berkeley Symp 1967;1:221-233. White H. Econometrica 1980;48:817-838. Liang KY,
    Zeger SL. Biometrika 1986;73:13-22. Cameron AC, Miller DL. A practitioner's guide to cluster-robust
    inference. J Hum Resour 2015;50:317-372.

    Examples
    --------
    >>> from audit.statistics.logistic import logistic_regression
    >>> columns = pd.DataFrame({"treated": [0.0, 1.0] * 30})
    >>> events = [row % 7 < 3 for row in range(60)]
    >>> fit = logistic_regression(columns, events)
    >>> robust = with_robust_errors(fit, columns, events, clusters=[row // 2 for row in range(60)])
    >>> robust.coefficients["standard_error"].round(4).tolist()
    [0.3754, 0.4142]
    """
    require_choice("method", method, tuple(WORDS))
    require_between_0_and_1("confidence", confidence)
    given = numbers_of(columns, events, n)
    design, outcomes = design_of(columns, given.n, intercept=True), of_somebody(given)
    if list(design.terms) != fit.coefficients["term"].tolist():
        raise ValueError(f"columns must be the terms of the fit, in order, got {list(design.terms[1:])}")
    labels = _clusters(clusters, given, method)
    number = len(np.unique(labels))
    coefficients = fit.coefficients["coefficient"].to_numpy(np.float64)[design.kept]
    covariance = _sandwich(design, outcomes, coefficients, labels, method)
    return replace(
        fit,
        coefficients=coefficient_table(
            design,
            Estimates(coefficients, covariance),
            ratio="odds_ratio",
            confidence=confidence,
            degrees_of_freedom=number - 1 if method == "cluster" else None,
        ),
        covariance=covariance_table(design, covariance),
        method=f"{fit.method.split(',')[0]}, {WORDS[method].format(100 * confidence)}",
        caution=joined(fit.caution, _caution(fit, number, method)),
    )


def _clusters(clusters: ArrayLike | None, given: Outcomes, method: str) -> np.ndarray:
    """Return the number of each row's cluster, rows of nobody left out; nothing where none is needed."""
    if method != "cluster":
        return np.zeros(0, dtype=np.int64)
    if clusters is None:
        raise ValueError('clusters must be given for method "cluster", got None')
    codes, _ = pd.factorize(np.asarray(clusters))
    require_equal_lengths(columns=given.n.size, clusters=codes.size)
    if (codes < 0).any():
        raise ValueError(f"clusters must not be missing, got {(codes < 0).sum()} that are")
    labels: np.ndarray = codes[given.n > 0]
    return labels


def _sandwich(
    design: Design, outcomes: Outcomes, coefficients: FloatArray, labels: np.ndarray, method: str
) -> FloatArray:
    """Return the robust covariance of the kept terms, nan where it does not exist."""
    missing = np.full((coefficients.size, coefficients.size), np.nan)
    clusters, n, terms = len(np.unique(labels)), outcomes.n.sum(), coefficients.size
    no_factor = (method == "cluster" and clusters < 2) or (method != "hc0" and n <= terms)
    if no_factor or not coefficients.size or not np.isfinite(coefficients).all():
        return missing
    back = to_original_scale(design)
    probability = special.expit(design.values @ np.linalg.solve(back, coefficients))
    spread = outcomes.n * probability * (1 - probability)
    bread = np.linalg.inv((design.values * spread[:, None]).T @ design.values)
    # A product with itself, so that rounding cannot make a variance negative.
    influence = _scores(design, outcomes, probability, labels) @ bread @ back.T
    covariance: FloatArray = _factor(method, clusters, n, terms) * influence.T @ influence
    return covariance


def _factor(method: str, clusters: int, n: float, terms: int) -> float:
    """Return what the method multiplies the sandwich with."""
    if method == "hc0":
        return 1.0
    return n / (n - terms) if method == "hc1" else clusters / (clusters - 1) * (n - 1) / (n - terms)


def _scores(design: Design, outcomes: Outcomes, probability: FloatArray, labels: np.ndarray) -> FloatArray:
    """Return the scores of clusters where there are labels, else roots of the sum of squares in each row."""
    events, others = outcomes.events, outcomes.n - outcomes.events
    if not labels.size:
        squares = events * (1 - probability) ** 2 + others * probability**2
        singly: FloatArray = design.values * np.sqrt(squares)[:, None]
        return singly
    together = np.zeros((labels.max() + 1, design.values.shape[1]))
    np.add.at(together, labels, design.values * (events - outcomes.n * probability)[:, None])
    return together


def _caution(fit: LogisticFit, clusters: int, method: str) -> str:
    """Return what the reader of robust limits must know."""
    penalised = "Robust limits around a penalised fit are approximate." if fit.estimator == "firth" else ""
    if method != "cluster" or clusters >= FEW_CLUSTERS:
        return penalised
    if clusters < 2:
        return "Fewer than two clusters: no robust limits."
    return joined(penalised, f"Only {clusters} clusters: robust limits can be too narrow.")
