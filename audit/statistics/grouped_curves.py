"""Curves for several groups at once, from rows or from tallied spells, read at events and at chosen times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from audit.statistics.arguments import FloatArray
from audit.statistics.competing import incidence_figures
from audit.statistics.curve_comparison import log_rank
from audit.statistics.curves import read_at, survival_quantile
from audit.statistics.gray_test import gray_test
from audit.statistics.risk_sets import RiskSets, Spells, risk_sets, single_cause, spells
from audit.statistics.survival import GAP, kaplan_meier, survival_figures

SURVIVAL_METHOD = "Kaplan-Meier, Greenwood standard error, log(-log) 95% limits"
INCIDENCE_METHOD = "Aalen-Johansen, Greenwood-type standard error, log(-log) 95% limits"


def survival_by_group(
    table: pd.DataFrame, *, horizons: Sequence[float] = (), at_risk_floor: int = 0
) -> pd.DataFrame:
    """Return the Kaplan-Meier curve of each group at time 0, at its events and at the horizons.

    Parameters
    ----------
    table : DataFrame
        ``group``, ``entry``, ``exit``, ``event`` (0 or 1) and ``n`` (how many the row stands for).
    horizons : times
        Times to read besides, in the unit of ``exit``.
    at_risk_floor : count
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        ``group, time, at_risk, events, cumulative_events, cumulative_censored, survival, standard_error,
        ci_lower, ci_upper, method, caution``; groups in order of appearance. Figures are nan beyond the last
        time observed. No rows in, no rows out.

    Raises
    ------
    ValueError
        As `kaplan_meier`.

    Examples
    --------
    >>> table = pd.DataFrame({"group": "a", "entry": 0.0, "exit": [1.0, 2.0], "event": [1, 0], "n": [1, 3]})
    >>> survival_by_group(table, horizons=[2])[["time", "at_risk", "survival"]].values.tolist()
    [[0.0, 4.0, 1.0], [1.0, 4.0, 0.75], [2.0, 3.0, 0.75]]
    """
    curves = []
    for group, observed in _groups(table, "event"):
        sets = risk_sets(observed, codes=np.array([1]))
        curve = _read(sets, survival_figures(sets), horizons)
        so_far = np.append(0, np.cumsum(sets.censored))
        curve["cumulative_censored"] = so_far[np.searchsorted(sets.time, curve["time"], side="right")]
        curves.append({"group": group, **curve})
    names = (
        *("group", "time", "at_risk", "events", "cumulative_events", "cumulative_censored"),
        *("survival", "standard_error", "ci_lower", "ci_upper"),
    )
    whole, cautions = _joined(curves, names), _cautions(curves, at_risk_floor)
    return whole.assign(method=SURVIVAL_METHOD, caution=cautions)


def incidence_by_group(
    table: pd.DataFrame,
    *,
    causes: Mapping[str, int],
    horizons: Sequence[float] = (),
    at_risk_floor: int = 0,
) -> pd.DataFrame:
    """Return each cause's cumulative incidence, and one minus its Kaplan-Meier curve, for each group.

    Parameters
    ----------
    table : DataFrame
        ``group``, ``entry``, ``exit``, ``cause`` (0 = censored, else a code) and ``n``.
    causes : mapping of name to code
        The causes to return; the other codes compete.
    horizons, at_risk_floor
        As in `survival_by_group`.

    Returns
    -------
    DataFrame
        ``group, cause`` (name), ``time, at_risk, events, cumulative_events, survival`` (no event of any
        cause), ``incidence, standard_error, ci_lower, ci_upper``, ``one_minus_km, km_lower, km_upper``,
        ``method, caution`` at time 0, at the cause's events and at the horizons.

    Raises
    ------
    ValueError
        As `cumulative_incidence`.

    Examples
    --------
    >>> table = pd.DataFrame(
    ...     {"group": "a", "entry": 0.0, "exit": [1.0, 2.0, 3.0], "cause": [1, 2, 1], "n": 1})
    >>> table = incidence_by_group(table, causes={"first": 1})
    >>> table[["time", "incidence", "one_minus_km"]].round(3).values.tolist()
    [[0.0, 0.0, 0.0], [1.0, 0.333, 0.333], [3.0, 0.667, 1.0]]
    """
    curves = []
    for group, observed in _groups(table, "cause"):
        codes = np.unique([*causes.values(), *observed.endings[observed.endings > 0]])
        sets = risk_sets(observed, codes=codes)
        for name, code in causes.items():
            column = int(np.searchsorted(codes, code))
            alone = single_cause(sets, column)
            curve = _read(alone, incidence_figures(sets, column), horizons)
            net = _read(alone, survival_figures(alone), horizons)
            curves.append({"group": group, "cause": name, **curve, **_turned(net)})
    names = (
        *("group", "cause", "time", "at_risk", "events", "cumulative_events", "survival"),
        *("incidence", "standard_error", "ci_lower", "ci_upper", "one_minus_km", "km_lower", "km_upper"),
    )
    whole, cautions = _joined(curves, names), _cautions(curves, at_risk_floor)
    return whole.assign(method=INCIDENCE_METHOD, caution=cautions)


def median_by_group(table: pd.DataFrame) -> pd.DataFrame:
    """Return each group's number, events and median time, with limits.

    Parameters
    ----------
    table : DataFrame
        As in `survival_by_group`.

    Returns
    -------
    DataFrame
        ``group, n, events, median, median_lower, median_upper``; nan where the curve never falls to a half.

    Raises
    ------
    ValueError
        As `kaplan_meier`.

    Examples
    --------
    >>> table = pd.DataFrame({"group": "a", "entry": 0.0, "exit": [1.0, 2.0, 5.0], "event": 1, "n": 1})
    >>> median_by_group(table)[["n", "events", "median"]].values.tolist()
    [[3.0, 3.0, 2.0]]
    """
    rows = []
    for group, observed in _groups(table, "event"):
        curve = kaplan_meier(observed.exit, observed.endings, entry=observed.entry, weights=observed.weights)
        middle = survival_quantile(curve)
        rows.append(
            {
                "group": group,
                "n": int(observed.weights.sum()),
                "events": int(curve["events"].sum()),
                "median": float(middle.value),
                "median_lower": float(middle.ci_lower),
                "median_upper": float(middle.ci_upper),
            }
        )
    return pd.DataFrame(rows, columns=["group", "n", "events", "median", "median_lower", "median_upper"])


def compare_groups(table: pd.DataFrame) -> dict[str, object]:
    """Return the log-rank test over the groups of `spells` as one row of figures.

    Parameters
    ----------
    table : DataFrame
        As in `survival_by_group`.

    Returns
    -------
    dict
        ``statistic, degrees_of_freedom, p_value, groups, n, method``; statistic and p_value are nan where no
        test can be made.

    Raises
    ------
    ValueError
        As `log_rank`.

    Examples
    --------
    >>> table = pd.DataFrame({"group": ["a", "b"], "entry": 0.0, "exit": [1.0, 2.0], "event": 1, "n": 1})
    >>> round(compare_groups(table)["statistic"], 3)
    1.0
    """
    groups = table["group"].astype(str)
    test = log_rank(table["exit"], table["event"], groups, entry=table["entry"], weights=table["n"])
    return {
        "statistic": test.chi_square,
        "degrees_of_freedom": test.degrees_of_freedom,
        "p_value": test.p_value,
        "groups": int(groups.nunique()),
        "n": int(table["n"].sum()),
        "method": "log-rank, hypergeometric variance",
    }


def compare_incidences(
    table: pd.DataFrame, *, cause: int = 1, strata: str | None = None
) -> dict[str, object]:
    """Return Gray's test of one cause over the groups of `spells` as one row of figures.

    Parameters
    ----------
    table : DataFrame
        As in `incidence_by_group`; every spell is observed from time 0.
    cause : code
        The cause compared.
    strata : column, optional
        Groups are compared within its levels, and the scores added up.

    Returns
    -------
    dict
        ``statistic, degrees_of_freedom, p_value, groups, events, n, method``; statistic and p_value are nan
        where no test can be made.

    Raises
    ------
    ValueError
        As `gray_test`.

    Examples
    --------
    >>> table = pd.DataFrame({"group": list("aaabbb"), "exit": [1, 2, 3, 4, 5, 6], "cause": [1, 1, 2, 2, 1, 0],
    ...                       "n": 1})
    >>> round(compare_incidences(table)["statistic"], 3)
    2.438
    """
    groups = table["group"].astype(str)
    layers = None if strata is None else table[strata].astype(str)
    test = gray_test(table["exit"], table["cause"], groups, cause=cause, weights=table["n"], strata=layers)
    return {
        "statistic": test.chi_square,
        "degrees_of_freedom": test.degrees_of_freedom,
        "p_value": test.p_value,
        "groups": int(groups.nunique()),
        "events": int(table.loc[table["cause"] == cause, "n"].sum()),
        "n": int(table["n"].sum()),
        "method": "Gray, rho 0" if strata is None else "Gray, rho 0, stratified",
    }


def _groups(table: pd.DataFrame, ending: str) -> list[tuple[str, Spells]]:
    """Each group with its checked spells, in order of appearance."""
    codes, names = pd.factorize(table["group"])
    times = [table[name].to_numpy(np.float64) for name in ("exit", ending, "entry", "n")]
    groups = []
    for number, name in enumerate(names):
        exits, endings, entries, weights = (values[codes == number] for values in times)
        groups.append((str(name), spells(exits, endings, entry=entries, weights=weights)))
    return groups


def _read(
    sets: RiskSets, figures: Mapping[str, FloatArray], horizons: Sequence[float]
) -> dict[str, np.ndarray]:
    """The curve at time 0, at its events and at the horizons, with the events of each time and any gap before."""
    events = sets.events[:, 0]
    times = np.unique(np.concatenate([[0.0], sets.time[events > 0], np.asarray(horizons, np.float64)]))
    read = read_at(times, sets.time, sets.at_risk, events, figures)
    before = np.append(0, read["cumulative_events"][:-1])
    gap = np.append(False, ~sets.defined)[np.searchsorted(sets.time, times, side="right")]
    return read | {"events": read["cumulative_events"] - before, "gap": gap}


def _turned(net: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    """One minus a survival curve, its limits turned over."""
    return {
        "one_minus_km": 1 - net["survival"],
        "km_lower": 1 - net["ci_upper"],
        "km_upper": 1 - net["ci_lower"],
    }


def _joined(curves: Sequence[Mapping[str, object]], names: Sequence[str]) -> pd.DataFrame:
    """The curves one below the other with these columns."""
    if not curves:
        return pd.DataFrame(columns=list(names))
    size = [len(np.atleast_1d(np.asarray(curve["time"]))) for curve in curves]
    labels = [name for name in names if isinstance(curves[0][name], str)]
    columns = {
        name: np.repeat([curve[name] for curve in curves], size)
        if name in labels
        else np.concatenate([np.asarray(curve[name]) for curve in curves])
        for name in names
    }
    return pd.DataFrame(columns)


def _cautions(curves: Sequence[Mapping[str, object]], floor: int) -> np.ndarray:
    """What the reader of each row must know."""
    if not curves:
        return np.zeros(0, object)
    gap, survival, at_risk = (
        np.concatenate([np.asarray(curve[name]) for curve in curves])
        for name in ("gap", "survival", "at_risk")
    )
    few = f"Fewer than {floor} still under observation."
    chosen = np.select(
        [gap, np.isnan(survival), at_risk < floor], [GAP, "Nobody observed this long.", few], ""
    )
    return chosen.astype(object)
