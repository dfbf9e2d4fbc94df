"""Actuarial rates of every cause read at chosen months, for several groups of tallied spells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from audit.statistics.arguments import require_between_0_and_1
from audit.statistics.competing import incidence_limits
from audit.statistics.life_tables import life_table

DAYS_A_MONTH = 365.25 / 12
COLUMNS = (
    *("group", "cause", "months", "events", "at_start", "exposed", "survival", "survival_standard_error"),
    *("cause_specific", "cause_specific_standard_error", "cause_specific_lower", "cause_specific_upper"),
    *("cause_deleted", "cause_deleted_standard_error", "cause_deleted_lower", "cause_deleted_upper"),
    *("method", "caution"),
)
METHOD = "actuarial life table by months of 30.4375 days, log(-log) {:g}% limits"


def life_table_rates(
    table: pd.DataFrame,
    *,
    causes: Mapping[str, int],
    months: Sequence[int] = (12, 24, 36),
    at_risk_floor: int = 0,
    confidence: float = 0.95,
) -> pd.DataFrame:
    """Return each cause's actuarial rates at the end of chosen months, for each group.

    Parameters
    ----------
    table : DataFrame
        ``group``, ``exit`` (days), ``cause`` (0 = withdrawn, else a code) and ``n``; all observed from day 0.
    causes : mapping of name to code
        The causes, all codes seen among them.
    months : whole numbers, 1 or more
        When to read the tables, whose intervals are single months.
    at_risk_floor : count
        With fewer exposed than this in the month before a reading the row carries a caution.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    DataFrame
        ``group, cause, months``; ``events`` by this cause so far; ``at_start`` of the last month and ``exposed``
        in it; ``survival`` (no event of any cause) and ``cause_specific`` (all causes acting), ``cause_deleted``
        (this cause alone) with standard errors and limits (0 to 1); ``method, caution``. Figures are nan where
        the caution says so. No rows in, or no causes: no rows
        out.

    Raises
    ------
    ValueError
        As `life_table`, or if months are not whole numbers of 1 or more.

    Notes
    -----
    `life_table` says what the two proportions mean, and which literature calls which of them net and gross.

    References
    ----------
    Potter RG. Demography 1966;3:297-304. Tietze C, Lewit S. Stud Fam Plann 1973;4:35-42.

    Examples
    --------
    >>> table = pd.DataFrame({"group": "all", "exit": [20, 200, 300, 400], "cause": [1, 2, 0, 0],
    ...                       "n": [5, 10, 5, 80]})
    >>> found = life_table_rates(table, causes={"first": 1, "second": 2}, months=[12])
    >>> found[["cause", "events", "cause_specific", "cause_deleted"]].round(3).values.tolist()
    [['first', 5, 0.05, 0.05], ['second', 10, 0.1, 0.105]]
    """
    require_between_0_and_1("confidence", confidence)
    if not all(month >= 1 and month == int(month) for month in months):
        raise ValueError(f"months must be whole numbers of 1 or more, got {list(months)}")
    cuts = [DAYS_A_MONTH * month for month in range(1, int(max(months, default=0)) + 1)]
    parts: list[pd.DataFrame] = []
    if not causes:
        return pd.DataFrame(columns=list(COLUMNS))
    for name, own in table.groupby("group", sort=False):
        whole = life_table(own["exit"], own["cause"], cuts=cuts, causes=causes, weights=own["n"])
        whole = _with_known(whole)
        whole["events"] = whole.groupby("cause")["events"].cumsum()
        whole["months"] = np.rint(whole["stop"] / DAYS_A_MONTH).astype(np.int64)
        parts.append(whole[whole["months"].isin(list(months))].assign(group=name))
    if not parts:
        return pd.DataFrame(columns=list(COLUMNS))
    return _with_limits(pd.concat(parts, ignore_index=True), at_risk_floor, confidence)


def _with_known(whole: pd.DataFrame) -> pd.DataFrame:
    """Return the intervals with how many are known so far, in all and for each cause alone.

    Those exposed and those who had the event before, the least such number up to each interval: exact limits rest
    on it, so that what was known of a month is not forgotten in the next.
    """
    cause, every = whole["cause"], whole.groupby("stop")["events"].transform("sum")
    known = {
        f"known_of_{name}": (whole[exposed] + events.groupby(cause).cumsum() - events).groupby(cause).cummin()
        for name, exposed, events in (
            ("cause_specific", "exposed", every),
            ("cause_deleted", "exposed_to_cause", whole["events"]),
        )
    }
    return whole.assign(**known)


def _with_limits(table: pd.DataFrame, floor: int, confidence: float) -> pd.DataFrame:
    """Return the readings with limits, method and caution."""
    wider = table.copy()
    for name in ("cause_specific", "cause_deleted"):
        value = table[name].to_numpy(np.float64)
        error = table[f"{name}_standard_error"].to_numpy(np.float64)
        gap = np.isnan(value) | np.isnan(error)
        lower, upper = incidence_limits(value, error, table[f"known_of_{name}"].to_numpy(), confidence)
        wider[f"{name}_lower"], wider[f"{name}_upper"] = np.where(gap, np.nan, [lower, upper])
    few = (table["exposed"] < floor) & (table["caution"] == "")
    caution = table["caution"].mask(few, f"Fewer than {floor} still under observation.")
    return wider.assign(method=METHOD.format(100 * confidence), caution=caution)[list(COLUMNS)]
