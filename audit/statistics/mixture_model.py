"""A logistic model of how often the event is to be expected in each covariate pattern, and how good it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within
from audit.statistics.calibration import calibration_line
from audit.statistics.discrimination import c_statistic
from audit.statistics.logistic import EVENTS_PER_PARAMETER, logistic_regression
from audit.statistics.logistic_likelihood import LogisticFit, Outcomes, intercept_for
from audit.statistics.model_matrix import Coding, coding_of, model_matrix
from audit.statistics.predicted import predicted_probabilities

TERM_COLUMNS = (
    *("by", "stratum", "reference", "events", "n"),
    *("odds_ratio", "ci_lower", "ci_upper", "p_value", "method", "caution"),
)


@dataclass(frozen=True)
class MixtureModel:
    """A fitted model of events by covariate pattern.

    `parameters` counts the estimated terms other than the intercept; `enough` says whether the rarer outcome
    was seen at least 10 times for each of them, and there is at least one.
    """

    coding: Coding
    fit: LogisticFit
    parameters: int
    enough: bool


def mixture_model(patterns: pd.DataFrame, *, references: Mapping[str, str]) -> MixtureModel:
    """Return the logistic model of events on the grouping variables of a table of covariate patterns.

    Parameters
    ----------
    patterns : DataFrame
        The grouping variables, ``events`` and ``n``; patterns may occur more than once.
    references : mapping of variable to reference level
        The variables of the model. Where the level does not occur, the commonest that is known is taken.

    Returns
    -------
    MixtureModel
        ``enough`` is False for an empty table and where no variable varies.

    Raises
    ------
    ValueError
        If a column is missing or a count is none.

    Notes
    -----
    A missing value is a level of its own, so that nobody is left out. Separation gives Firth's estimates.

    References
    ----------
    Peduzzi P, Concato J, Kemper E, Holford TR, Feinstein AR. J Clin Epidemiol 1996;49:1373-1379.

    Examples
    --------
    >>> patterns = pd.DataFrame({"site": ["a", "b"], "events": [30, 15], "n": [100, 100]})
    >>> model = mixture_model(patterns, references={"site": "a"})
    >>> model.parameters, model.enough, model.fit.coefficients["odds_ratio"].round(3).tolist()[1]
    (1, True, 0.412)
    """
    counts_within(patterns["events"], patterns["n"], names=("events", "n"))
    seen = patterns[patterns["n"] > 0]
    chosen = {name: level if (seen[name] == level).any() else None for name, level in references.items()}
    coding = coding_of(seen, categorical=chosen, weights=seen["n"])
    fit = logistic_regression(model_matrix(seen, coding), seen["events"], seen["n"])
    parameters = int(fit.coefficients["coefficient"].iloc[1:].notna().sum())
    rarer = min(fit.events, fit.n - fit.events)
    return MixtureModel(coding, fit, parameters, 0 < EVENTS_PER_PARAMETER * parameters <= rarer)


def expected_proportions(model: MixtureModel, patterns: pd.DataFrame) -> FloatArray:
    """Return the proportion to be expected in each pattern, so that all add up to the events of this table.

    Parameters
    ----------
    model : MixtureModel
        Fitted to these patterns or to more.
    patterns : DataFrame
        The variables of the model, ``events`` and ``n``.

    Returns
    -------
    array, 0 to 1
        One per pattern; all nan where nobody is there. Empty in, empty out.

    Raises
    ------
    ValueError
        If a pattern holds a level that the model does not know.

    Notes
    -----
    The odds ratios are the model's; its intercept is moved to fit these patterns (calibration in the large).

    References
    ----------
    Steyerberg EW et al. Validation and updating of predictive logistic regression models. Stat Med
    2004;23:2567-2586.

    Examples
    --------
    >>> patterns = pd.DataFrame({"site": ["a", "b"], "events": [30, 15], "n": [100, 100]})
    >>> model = mixture_model(patterns, references={"site": "a"})
    >>> expected_proportions(model, patterns.assign(events=[15, 6])).round(4).tolist()
    [0.1448, 0.0652]
    """
    if not len(patterns):
        return np.zeros(0)
    predicted = predicted_probabilities(model.fit, model_matrix(patterns, model.coding))
    outcomes = Outcomes(patterns["events"].to_numpy(np.float64), patterns["n"].to_numpy(np.float64))
    offset = special.logit(predicted)
    moved: FloatArray = special.expit(offset + intercept_for(outcomes, offset))
    return moved


def model_terms(model: MixtureModel, patterns: pd.DataFrame) -> pd.DataFrame:
    """Return the odds ratio of each level against the reference level of its variable.

    Parameters
    ----------
    model : MixtureModel
        From `mixture_model`.
    patterns : DataFrame
        The table it was fitted to.

    Returns
    -------
    DataFrame
        ``by`` (variable), ``stratum`` (level), ``reference``, ``events, n`` of the level, ``odds_ratio,
        ci_lower, ci_upper, p_value``, ``method, caution``; no rows where the model holds no term.

    Examples
    --------
    >>> patterns = pd.DataFrame({"site": ["a", "b"], "events": [30, 15], "n": [100, 100]})
    >>> terms = model_terms(mixture_model(patterns, references={"site": "a"}), patterns)
    >>> terms[["by", "stratum", "reference", "events", "n"]].values.tolist()
    [['site', 'b', 'a', 15, 100]]
    """
    levels = [(name, level, own[0]) for name, own in model.coding.levels.items() for level in own[1:]]
    figures = model.fit.coefficients.iloc[1:].reset_index(drop=True)
    table = pd.DataFrame(levels, columns=["by", "stratum", "reference"]).astype(object)
    for count in ("events", "n"):
        table[count] = [int(patterns.loc[patterns[name] == level, count].sum()) for name, level, _ in levels]
    for figure in ("odds_ratio", "ci_lower", "ci_upper", "p_value"):
        table[figure] = figures[figure]
    return table.assign(method=model.fit.method, caution=model.fit.caution)[list(TERM_COLUMNS)]


def model_quality(model: MixtureModel, patterns: pd.DataFrame) -> dict[str, object]:
    """Return how well a model tells who has the event and how well its probabilities agree with events.

    Parameters
    ----------
    model : MixtureModel
        From `mixture_model`.
    patterns : DataFrame
        The table it was fitted to.

    Returns
    -------
    dict
        ``events, n, parameters, intercept`` (log odds with every variable at its reference); ``c_statistic,
        c_lower, c_upper``; ``calibration_slope, slope_lower, slope_upper`` over the data fitted;
        ``expected_slope`` (the slope to be expected in new data); ``method, caution``. nan where a figure does
        not exist.

    Notes
    -----
    Over the data fitted the c-statistic is too high and the slope of a maximum likelihood fit is 1. The
    expected slope is (chi-square - parameters) / chi-square of the test of all terms, cut at 0.

    References
    ----------
    Van Houwelingen JC, Le Cessie S. Predictive value of statistical models. Stat Med 1990;9:1303-1325. DeLong
    ER, DeLong DM, Clarke-Pearson DL. Biometrics 1988;44:837-845.

    Examples
    --------
    >>> patterns = pd.DataFrame({"site": ["a", "b"], "events": [30, 15], "n": [100, 100]})
    >>> quality = model_quality(mixture_model(patterns, references={"site": "a"}), patterns)
    >>> [round(quality[name], 3) for name in ("c_statistic", "calibration_slope", "expected_slope")]
    [0.608, 1.0, 0.847]
    """
    fit, seen = model.fit, patterns[patterns["n"] > 0]
    predicted = predicted_probabilities(fit, model_matrix(seen, model.coding))
    area, _ = c_statistic(np.nan_to_num(predicted), seen["events"], seen["n"])
    slopes = dict.fromkeys(("calibration_slope", "slope_lower", "slope_upper"), np.nan)
    if model.parameters and ((predicted > 0) & (predicted < 1)).all():
        line = calibration_line(predicted, seen["events"], seen["n"])
        slopes = dict(zip(slopes, (line.slope, line.slope_lower, line.slope_upper), strict=True))
    chi_square = fit.likelihood_ratio.statistic or np.nan
    expected = max((chi_square - model.parameters) / chi_square, 0.0) if chi_square > 0 else np.nan
    return {
        "events": fit.events,
        "n": fit.n,
        "parameters": model.parameters,
        "intercept": fit.prediction_intercept,
        "c_statistic": float(area.value),
        "c_lower": float(area.ci_lower),
        "c_upper": float(area.ci_upper),
        **slopes,
        "expected_slope": expected,
        "method": fit.method,
        "caution": fit.caution,
    }
