"""Hazard ratios of the levels of several grouping variables, from tallied spells."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np
import pandas as pd

from audit.statistics.coefficients import joined
from audit.statistics.cox import cox_regression
from audit.statistics.cox_clusters import with_clustered_errors
from audit.statistics.logistic import EVENTS_PER_PARAMETER
from audit.statistics.model_matrix import UNKNOWN, Coding, coding_of, model_matrix
from audit.statistics.risk_sets import spells

COLUMNS = (
    *("by", "stratum", "reference", "events", "n"),
    *("hazard_ratio", "ci_lower", "ci_upper", "p_value", "method", "caution"),
)
NO_EVENT = "No event: the ratio is 0 and has no limits."
TOO_NARROW = "Few events in this group: robust limits can be too narrow."
TOO_FEW = "{} events for {} terms, fewer than {} a term: no model is fitted."


def hazard_ratios_by_level(
    table: pd.DataFrame,
    *,
    references: Mapping[str, str],
    cause: int = 1,
    clusters: str | None = None,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return the cause-specific hazard ratio of each level against its reference, adjusted for each other.

    Parameters
    ----------
    table : DataFrame
        The grouping variables, ``entry``, ``exit``, ``cause`` (0 = censored, else a code) and ``n``.
    references : mapping of variable to reference level
        The variables of the model. Where the level does not occur, the commonest that is known is taken.
    cause : code
        The cause whose hazard is modelled; the others censor.
    clusters : name of a column, optional
        Which spells belong together, for limits and p-values as `with_clustered_errors` makes them; a level with
        fewer than 10 events then carries a caution.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    DataFrame
        One row per level but the reference: ``by`` (variable), ``stratum`` (level), ``reference``, ``events, n``
        of the level, ``hazard_ratio, ci_lower, ci_upper, p_value``, ``method, caution``; levels without an event
        last, their ratio 0 and without limits. With fewer than 10
        events for each term there is one row, of all together, whose figures are nan and whose caution says so.
        No rows in: no rows.

    Raises
    ------
    ValueError
        As `cox_regression`, or if a column is missing.

    Notes
    -----
    A missing value is a level of its own. The ratio is one number for the whole of the time observed.

    References
    ----------
    Cox DR. J R Stat Soc B 1972;34:187-220. Prentice RL et al. Biometrics 1978;34:541-554. Peduzzi P, Concato J,
    Feinstein AR, Holford TR. J Clin Epidemiol 1995;48:1503-1510.

    Examples
    --------
    >>> table = pd.DataFrame({"site": ["a", "a", "b", "b"], "entry": 0.0, "exit": [2.0, 5.0, 3.0, 5.0],
    ...                       "cause": [1, 0, 1, 2], "n": [30, 70, 12, 88]})
    >>> found = hazard_ratios_by_level(table, references={"site": "a"})
    >>> found[["stratum", "events", "hazard_ratio"]].round(3).values.tolist()
    [['b', 12, 0.326]]
    """
    # Checked here too, since with few events no model is fitted that would.
    spells(table["exit"], table["cause"], entry=table["entry"], weights=table["n"])
    event = (table["cause"] == cause).to_numpy() & (table["n"] > 0).to_numpy()
    barren = _barren(table, references, event)
    # A level without an event has the ratio 0, beside which its members weigh nothing in any sum over those at
    # risk: without them the other ratios are the same, and no likelihood rises without end.
    kept = ~np.logical_or.reduce([_in_any(table[name], own) for name, own in barren.items()])
    used, event = table[kept].reset_index(drop=True), event[kept]
    coding = coding_of(used, categorical=_occurring(used, references), weights=used["n"])
    levels = [(name, level, own[0]) for name, own in coding.levels.items() for level in own[1:]]
    events = int(used["n"].to_numpy()[event].sum())
    if events < EVENTS_PER_PARAMETER * max(len(levels), 1):
        return _statement(events, len(levels), int(table["n"].sum())) if len(table) else _nothing()
    without = _without_event(table, barren, coding)
    fitted = _fitted(used, coding, event, clusters, confidence)
    found = pd.concat([_counted(table, levels, cause), fitted], axis=1)[list(COLUMNS)]
    if clusters is not None:
        few = (found["events"] < EVENTS_PER_PARAMETER).tolist()
        found["caution"] = [
            joined(told, TOO_NARROW if less else "") for told, less in zip(found["caution"], few, strict=True)
        ]
    return pd.concat([part for part in (found, without) if len(part)] or [found], ignore_index=True)


def _nothing() -> pd.DataFrame:
    """Return the result of no rows."""
    return pd.DataFrame(columns=list(COLUMNS))


def _coded(values: pd.Series) -> pd.Series:
    """Return the levels as text, missing ones as unknown."""
    return values.astype(object).where(values.notna(), UNKNOWN).astype(str)


def _in_any(values: pd.Series, levels: Sequence[str]) -> np.ndarray:
    """Return whether each value is one of these levels."""
    return _coded(values).isin(list(levels)).to_numpy(dtype=bool)


def _barren(table: pd.DataFrame, names: Collection[str], event: np.ndarray) -> dict[str, list[str]]:
    """Return the levels of each variable that hold no event."""
    coded = {name: _coded(table[name]) for name in names}
    return {name: sorted(set(values) - set(values[event])) for name, values in coded.items()}


def _without_event(table: pd.DataFrame, barren: Mapping[str, Sequence[str]], coding: Coding) -> pd.DataFrame:
    """Return the rows of the levels that hold no event."""
    rows = [
        dict.fromkeys(COLUMNS, np.nan)
        | {
            "by": name,
            "stratum": level,
            "reference": coding.levels[name][0],
            "events": 0,
            "hazard_ratio": 0.0,
        }
        | {
            "n": int(table.loc[_in_any(table[name], [level]), "n"].sum()),
            "method": "none",
            "caution": NO_EVENT,
        }
        for name, levels in barren.items()
        for level in levels
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _occurring(table: pd.DataFrame, references: Mapping[str, str]) -> dict[str, str | None]:
    """Return the reference levels, None for one that nobody has."""
    there = table[table["n"] > 0]
    return {name: level if (there[name] == level).any() else None for name, level in references.items()}


def _statement(events: int, terms: int, n: int) -> pd.DataFrame:
    """Return the one row that says why there is no model."""
    row = dict.fromkeys(COLUMNS, np.nan) | {
        "by": "overall",
        "stratum": "overall",
        "reference": "",
        "events": events,
        "n": n,
        "method": "none",
        "caution": TOO_FEW.format(events, terms, EVENTS_PER_PARAMETER),
    }
    return pd.DataFrame([row])


def _counted(table: pd.DataFrame, levels: list[tuple[str, str, str]], cause: int) -> pd.DataFrame:
    """Return the levels with their events and numbers, those left out of the model included."""
    found = pd.DataFrame(levels, columns=["by", "stratum", "reference"], dtype=object)
    coded = {name: _coded(table[name]).to_numpy() for name in dict.fromkeys(found["by"])}
    members = [coded[name] == level for name, level, _ in levels]
    numbers, event = table["n"].to_numpy(), (table["cause"] == cause).to_numpy()
    found["events"] = [int(numbers[own & event].sum()) for own in members]
    found["n"] = [int(numbers[own].sum()) for own in members]
    return found


def _fitted(
    used: pd.DataFrame, coding: Coding, event: np.ndarray, clusters: str | None, confidence: float
) -> pd.DataFrame:
    """Return the figures of a fitted model, a row per term."""
    columns, events = model_matrix(used, coding), event.astype(np.int64)
    times, entry, n = used["exit"], used["entry"], used["n"]
    fit = cox_regression(columns, times, events, entry=entry, weights=n, confidence=confidence)
    if clusters is not None:
        labels = used[clusters]
        fit = with_clustered_errors(
            fit, columns, times, events, clusters=labels, entry=entry, weights=n, confidence=confidence
        )
    figures = fit.coefficients[["hazard_ratio", "ci_lower", "ci_upper", "p_value"]]
    return figures.assign(method=f"cause-specific {fit.method}", caution=fit.caution)
