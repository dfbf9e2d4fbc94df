"""Cox's proportional hazards regression from tallied spells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, IntArray, require_between_0_and_1, require_choice
from audit.statistics.coefficients import (
    coefficient_table,
    covariance_table,
    estimates,
    joined,
)
from audit.statistics.design import (
    Design,
    caution_about,
    design_of,
    independent,
    narrowed,
    require_equal_lengths,
)
from audit.statistics.estimates import SignificanceTest
from audit.statistics.newton import Maximum, Point, maximise
from audit.statistics.risk_patterns import RiskPatterns, risk_patterns, sums_at_risk, sums_of_events
from audit.statistics.risk_sets import Spells, spells
from audit.statistics.survival import require_single_event

METHOD = "Cox proportional hazards, {} ties, Wald {:g}% limits"
TIES = ("efron", "breslow")


@dataclass(frozen=True)
class CoxFit:
    """A fitted proportional hazards regression.

    `coefficients` has one row per term: term, coefficient, standard_error, hazard_ratio, ci_lower, ci_upper
    (limits of the hazard ratio) and p_value; nan where a term was not estimated (`caution` says which and
    why). `covariance` is that of the coefficients. `likelihood_ratio` and `score` test all estimated terms
    together.
    """

    coefficients: pd.DataFrame
    covariance: pd.DataFrame
    log_likelihood: float
    null_log_likelihood: float
    likelihood_ratio: SignificanceTest
    score: SignificanceTest
    events: int
    n: int
    method: str
    caution: str


@dataclass(frozen=True)
class _Ties:
    """For each single event, the place of its time and the share of the tied events taken off before it."""

    place: IntArray
    start: IntArray
    share: FloatArray


def cox_regression(
    columns: pd.DataFrame,
    durations: ArrayLike,
    events: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    weights: ArrayLike | None = None,
    ties: str = "efron",
    confidence: float = 0.95,
) -> CoxFit:
    """Return the proportional hazards regression of times to an event on columns.

    Parameters
    ----------
    columns : DataFrame of finite numbers
        One row per spell or tallied group of equal spells, one column per term, as `model_matrix` makes them.
    durations : array of times, zero or more
        End of observation.
    events : array of 0 and 1
        1 where the event ended it. For one of several causes, the other causes are 0: the hazard ratio is then
        that of the cause-specific hazard.
    entry : array of times, optional
        Start of observation; 0 or missing means observed from the origin. Nobody is at risk at the time of entry.
    weights : array of counts, optional
        How many spells each row stands for; 1 by default.
    ties : "efron" or "breslow"
        How events at one time share the risk set.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    CoxFit
        Equal to the fit of the single spells. Columns that do not vary among those at risk, or that the ones
        before tell, are nan and named in the caution. A term without a finite estimate (a group without
        events) is infinite, with no standard error and the one limit that holds; the tests stay valid. Without
        events all is nan.

    Raises
    ------
    ValueError
        If an argument is out of range, a column has gaps, or lengths differ.

    Notes
    -----
    Newton's method with step-halving on standardised columns. Times enter as counts by covariate pattern at
    each distinct event time, so that the work depends on these and not on the number of spells. The score
    test of two groups with "breslow" and no ties is the log-rank test.

    References
    ----------
    Cox DR. J R Stat Soc B 1972;34:187-220. Efron B. J Am Stat Assoc 1977;72:557-565. Breslow N. Biometrics
    1974;30:89-99. Therneau TM, Grambsch PM. Modeling Survival Data. New York: Springer; 2000.

    Examples
    --------
    >>> columns = pd.DataFrame({"treated": [0.0, 0.0, 1.0, 1.0]})
    >>> fit = cox_regression(columns, [2, 5, 3, 5], [1, 0, 1, 0], weights=[30, 70, 12, 88])
    >>> fit.coefficients[["hazard_ratio", "ci_lower", "ci_upper"]].round(3).values.tolist()
    [[0.326, 0.167, 0.638]]
    """
    require_choice("ties", ties, TIES)
    require_between_0_and_1("confidence", confidence)
    observed, used = _observed(columns, durations, events, entry, weights)
    require_single_event(observed)
    design = design_of(used, observed.weights.astype(np.float64), intercept=False)
    sets = risk_patterns(observed, design.values)
    tied = _ties(sets.deaths, ties)
    # What varies, but never among those at risk together, shows in the information only.
    at_zero = _evaluated(sets, tied, np.zeros(design.values.shape[1])).information
    kept = independent(at_zero / max(int(sets.deaths.sum()), 1))
    design, sets = narrowed(design, kept), _narrowed(sets, kept)
    null = _evaluated(sets, tied, np.zeros(int(kept.sum())))
    best = maximise(lambda beta: _evaluated(sets, tied, beta), np.zeros(int(kept.sum())), sets.patterns)
    return _fit(
        design, observed, (null, best), METHOD.format(ties.capitalize(), 100 * confidence), confidence
    )


def _observed(
    columns: pd.DataFrame,
    durations: ArrayLike,
    events: ArrayLike,
    entry: ArrayLike | None,
    weights: ArrayLike | None,
) -> tuple[Spells, pd.DataFrame]:
    """Return the checked spells and the columns of those that stand for somebody."""
    observed = spells(durations, events, entry=entry, weights=weights)
    require_equal_lengths(columns=len(columns), durations=np.size(durations))
    if weights is None:
        return observed, columns
    return observed, columns[np.asarray(weights, dtype=np.float64) > 0]


def _narrowed(sets: RiskPatterns, kept: np.ndarray) -> RiskPatterns:
    """Return the counts with some columns of the patterns left out."""
    return RiskPatterns(
        sets.patterns[:, kept], sets.deaths, sets.events, sets.leaving, sets.entering, sets.at_risk
    )


def _ties(deaths: IntArray, method: str) -> _Ties:
    """Return the single events of each time in turn."""
    start = np.append(0, np.cumsum(deaths)[:-1]).astype(np.int64)[: deaths.size]
    place = np.repeat(np.arange(deaths.size), deaths)
    turn = np.arange(place.size) - start[place]
    share = turn / deaths[place] if method == "efron" else np.zeros(place.size)
    return _Ties(place, start, share)


def _evaluated(sets: RiskPatterns, ties: _Ties, beta: FloatArray) -> Point:
    """Return the partial log-likelihood with its slope and information."""
    z, predictor = sets.patterns, sets.patterns @ beta
    size, terms = sets.deaths.size, beta.size
    # The likelihood does not change with the level of the predictor, which may be beyond a float.
    predictor = predictor - predictor.max(initial=-np.inf) if predictor.size else predictor
    hazard = np.exp(predictor)[:, None]
    squares = (z[:, :, None] * z[:, None, :]).reshape(len(z), terms * terms)
    values = np.hstack([hazard, hazard * z, hazard * squares])
    risk, died = sums_at_risk(sets, values), sums_of_events(sets, values)
    rest = risk[ties.place, 0] - ties.share * died[ties.place, 0]
    if (rest <= 0).any():
        return Point(-np.inf, np.full(terms, np.nan), np.full((terms, terms), np.nan))
    sums = _sums_over_ties(ties, rest, size)
    observed = sums_of_events(sets, np.column_stack([predictor, z])).sum(axis=0)
    r, d = risk[:, 1 : 1 + terms], died[:, 1 : 1 + terms]
    score = observed[1:] - (sums[0] @ r - sums[1] @ d)
    second = (sums[0] @ risk[:, 1 + terms :] - sums[1] @ died[:, 1 + terms :]).reshape(terms, terms)
    cross = (r * sums[3][:, None]).T @ d
    products = (r * sums[2][:, None]).T @ r - cross - cross.T + (d * sums[4][:, None]).T @ d
    return Point(float(observed[0] - np.log(rest).sum()), score, second - products)


def _sums_over_ties(ties: _Ties, rest: FloatArray, size: int) -> FloatArray:
    """Return at each time the sums of share^k / rest for k = 0, 1 and of share^k / rest^2 for k = 0, 1, 2."""
    inverse, share = 1 / rest, ties.share
    terms = (inverse, share * inverse, inverse**2, share * inverse**2, (share * inverse) ** 2)
    return np.array(
        [np.bincount(ties.place, weights=term, minlength=size) for term in terms], dtype=np.float64
    )


def _fit(
    design: Design, observed: Spells, climb: tuple[Point, Maximum], method: str, confidence: float
) -> CoxFit:
    """Return the fit of a design from its null and its maximum."""
    null, best = climb
    fitted, events = estimates(design, best), int(observed.weights[observed.endings == 1].sum())
    table = coefficient_table(design, fitted, ratio="hazard_ratio", confidence=confidence)
    score = float(null.score @ np.linalg.solve(null.information, null.score))
    return CoxFit(
        coefficients=table,
        covariance=covariance_table(design, fitted.covariance),
        log_likelihood=best.point.value,
        null_log_likelihood=null.value,
        likelihood_ratio=_test(2 * (best.point.value - null.value), null.score.size, "likelihood ratio"),
        score=_test(score, null.score.size, "score"),
        events=events,
        n=int(observed.weights.sum()),
        method=method,
        caution=_caution(design, table, best.state) if events else "No events: nothing can be estimated.",
    )


def _test(statistic: float, degrees: int, method: str) -> SignificanceTest:
    """Return the chi-square test of all terms together, nan without any."""
    if not degrees:
        return SignificanceTest(np.nan, 0, np.nan, method)
    chi_square = max(statistic, 0.0)
    return SignificanceTest(chi_square, degrees, float(special.chdtrc(degrees, chi_square)), method)


def _caution(design: Design, table: pd.DataFrame, state: str) -> str:
    """Return what the reader of the coefficients must know."""
    trouble = {"found": "", "lost": "The fit did not converge: no estimates."}.get(state)
    if trouble is None:
        coefficient = table["coefficient"].to_numpy(np.float64)
        loose = table.loc[design.kept & ~np.isfinite(coefficient), "term"]
        trouble = f"The likelihood rises without end: no finite estimate for {', '.join(loose)}."
    return joined(trouble, caution_about(design))
