"""Curves for several groups at once, from rows or from tallied spells, read at events and at chosen times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from audit.statistics.competing import cumulative_incidence
from audit.statistics.curve_comparison import log_rank
from audit.statistics.curves import at_times, survival_quantile
from audit.statistics.survival import kaplan_meier

SURVIVAL_METHOD = "Kaplan-Meier, Greenwood standard error, log(-log) 95% limits"
INCIDENCE_METHOD = "Aalen-Johansen, Greenwood-type standard error, log(-log) 95% limits"


def survival_by_group(
    spells: pd.DataFrame, *, horizons: Sequence[float] = (), at_risk_floor: int = 0
) -> pd.DataFrame:
    """Return the Kaplan-Meier curve of each group at time 0, at its events and at the horizons.

    Parameters
    ----------
    spells : DataFrame
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
    >>> spells = pd.DataFrame({"group": "a", "entry": 0.0, "exit": [1.0, 2.0], "event": [1, 0], "n": [1, 3]})
    >>> survival_by_group(spells, horizons=[2])[["time", "at_risk", "survival"]].values.tolist()
    [[0.0, 4.0, 1.0], [1.0, 4.0, 0.75], [2.0, 3.0, 0.75]]
    """
    curves = []
    for group, own in _groups(spells):
        curve = kaplan_meier(own["exit"], own["event"], entry=own["entry"], weights=own["n"])
        read = _read(curve, _reading_times(curve, horizons))
        curves.append(read.assign(group=group))
    names = [
        *("group", "time", "at_risk", "events", "cumulative_events", "cumulative_censored"),
        *("survival", "standard_error", "ci_lower", "ci_upper"),
    ]
    whole = _joined(curves, names)
    return whole.assign(method=SURVIVAL_METHOD, caution=_cautions(whole, at_risk_floor))


def incidence_by_group(
    spells: pd.DataFrame,
    *,
    causes: Mapping[str, int],
    horizons: Sequence[float] = (),
    at_risk_floor: int = 0,
) -> pd.DataFrame:
    """Return each cause's cumulative incidence, and one minus its Kaplan-Meier curve, for each group.

    Parameters
    ----------
    spells : DataFrame
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
    >>> spells = pd.DataFrame(
    ...     {"group": "a", "entry": 0.0, "exit": [1.0, 2.0, 3.0], "cause": [1, 2, 1], "n": 1})
    >>> table = incidence_by_group(spells, causes={"first": 1})
    >>> table[["time", "incidence", "one_minus_km"]].round(3).values.tolist()
    [[0.0, 0.0, 0.0], [1.0, 0.333, 0.333], [3.0, 0.667, 1.0]]
    """
    curves = []
    for group, own in _groups(spells):
        codes = sorted({*causes.values(), *own.loc[own["cause"] > 0, "cause"]})
        all_causes = cumulative_incidence(
            own["exit"], own["cause"], entry=own["entry"], weights=own["n"], causes=codes
        )
        for name, code in causes.items():
            curve = all_causes[all_causes["cause"] == code].drop(columns="cause").reset_index(drop=True)
            read = _read(curve, _reading_times(curve, horizons))
            net = kaplan_meier(own["exit"], own["cause"] == code, entry=own["entry"], weights=own["n"])
            curves.append(read.join(_turned(net, read["time"])).assign(group=group, cause=name))
    names = [
        *("group", "cause", "time", "at_risk", "events", "cumulative_events", "survival"),
        *("incidence", "standard_error", "ci_lower", "ci_upper", "one_minus_km", "km_lower", "km_upper"),
    ]
    whole = _joined(curves, names)
    return whole.assign(method=INCIDENCE_METHOD, caution=_cautions(whole, at_risk_floor))


def median_by_group(spells: pd.DataFrame) -> pd.DataFrame:
    """Return each group's number, events and median time, with limits.

    Parameters
    ----------
    spells : DataFrame
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
    >>> spells = pd.DataFrame({"group": "a", "entry": 0.0, "exit": [1.0, 2.0, 5.0], "event": 1, "n": 1})
    >>> median_by_group(spells)[["n", "events", "median"]].values.tolist()
    [[3.0, 3.0, 2.0]]
    """
    rows = []
    for group, own in _groups(spells):
        curve = kaplan_meier(own["exit"], own["event"], entry=own["entry"], weights=own["n"])
        middle = survival_quantile(curve)
        rows.append(
            {
                "group": group,
                "n": int(own["n"].sum()),
                "events": int((own["n"] * own["event"]).sum()),
                "median": float(middle.value),
                "median_lower": float(middle.ci_lower),
                "median_upper": float(middle.ci_upper),
            }
        )
    return pd.DataFrame(rows, columns=["group", "n", "events", "median", "median_lower", "median_upper"])


def compare_groups(spells: pd.DataFrame) -> dict[str, object]:
    """Return the log-rank test over the groups of `spells` as one row of figures.

    Parameters
    ----------
    spells : DataFrame
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
    >>> spells = pd.DataFrame({"group": ["a", "b"], "entry": 0.0, "exit": [1.0, 2.0], "event": 1, "n": 1})
    >>> round(compare_groups(spells)["statistic"], 3)
    1.0
    """
    groups = spells["group"].astype(str)
    test = log_rank(spells["exit"], spells["event"], groups, entry=spells["entry"], weights=spells["n"])
    return {
        "statistic": test.chi_square,
        "degrees_of_freedom": test.degrees_of_freedom,
        "p_value": test.p_value,
        "groups": int(groups.nunique()),
        "n": int(spells["n"].sum()),
        "method": "log-rank, hypergeometric variance",
    }


def _groups(spells: pd.DataFrame) -> list[tuple[str, pd.DataFrame]]:
    """Each group with its rows, in order of appearance."""
    return [(str(name), own) for name, own in spells.groupby("group", sort=False, observed=True)]


def _reading_times(curve: pd.DataFrame, horizons: Sequence[float]) -> np.ndarray:
    """Time 0, the times with an event, and the horizons."""
    return np.unique([0.0, *curve.loc[curve["events"] > 0, "time"], *map(float, horizons)])


def _read(curve: pd.DataFrame, times: np.ndarray) -> pd.DataFrame:
    """The curve at these times, with the events of each time and all that went before."""
    read = at_times(curve, times)
    by_time = curve.set_index("time")
    read["events"] = by_time["events"].reindex(times).fillna(0).astype("int64").to_numpy()
    if "censored" in curve:
        so_far = np.append(0, curve["censored"].cumsum().to_numpy())
        read["cumulative_censored"] = so_far[np.searchsorted(curve["time"].to_numpy(), times, side="right")]
    return read


def _turned(curve: pd.DataFrame, times: pd.Series) -> pd.DataFrame:
    """One minus a survival curve at these times, its limits turned over."""
    read = at_times(curve, times)
    return pd.DataFrame(
        {
            "one_minus_km": 1 - read["survival"],
            "km_lower": 1 - read["ci_upper"],
            "km_upper": 1 - read["ci_lower"],
        }
    )


def _joined(curves: list[pd.DataFrame], names: list[str]) -> pd.DataFrame:
    """The curves one below the other with these columns."""
    if not curves:
        return pd.DataFrame(columns=names)
    return pd.concat(curves, ignore_index=True)[names]


def _cautions(table: pd.DataFrame, floor: int) -> np.ndarray:
    """What the reader of each row must know."""
    if table.empty:
        return np.array([], dtype=object)
    unobserved = table["survival"].isna()
    few = f"Fewer than {floor} still under observation."
    return np.select([unobserved, table["at_risk"] < floor], ["Nobody observed this long.", few], "").astype(
        object
    )
