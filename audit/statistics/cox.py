"""Cox's proportional hazards regression from tallied spells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import require_between_0_and_1, require_choice
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
from audit.statistics.partial_likelihood import partial_likelihood
from audit.statistics.profiles import with_profile_limits
from audit.statistics.risk_patterns import of_columns, risk_patterns
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
        events) is infinite and has no standard error; its finite limit and p-value are of the profile
        likelihood. Without events all is nan.

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
    # What varies, but never among those at risk together, shows in the information only.
    at_zero = partial_likelihood(sets, ties=ties)(np.zeros(design.values.shape[1])).information
    kept = independent(at_zero / max(int(sets.deaths.sum()), 1))
    design, sets = narrowed(design, kept), of_columns(sets, kept)
    likelihood, start = partial_likelihood(sets, ties=ties), np.zeros(int(kept.sum()))
    best = maximise(likelihood, start, sets.patterns)
    table = coefficient_table(design, estimates(design, best), ratio="hazard_ratio", confidence=confidence)
    if best.state == "endless":
        table = with_profile_limits(table, design, likelihood, best, sets.patterns, confidence=confidence)
    method = METHOD.format(ties.capitalize(), 100 * confidence)
    return _fit(design, observed, (likelihood(start), best), table, method)


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


def _fit(
    design: Design, observed: Spells, climb: tuple[Point, Maximum], table: pd.DataFrame, method: str
) -> CoxFit:
    """Return the fit of a design from its null, its maximum and its coefficients."""
    null, best = climb
    events = int(observed.weights[observed.endings == 1].sum())
    score = float(null.score @ np.linalg.solve(null.information, null.score))
    return CoxFit(
        coefficients=table,
        covariance=covariance_table(design, estimates(design, best).covariance),
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
        trouble = (
            f"The likelihood rises without end: no finite estimate for {', '.join(loose)}; limits are of the "
            "profile likelihood."
        )
    return joined(trouble, caution_about(design))
