"""Tables of counts with their proportion or rate, limits and bounds beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import counts
from audit.statistics.person_time import person_time
from audit.statistics.proportions import bounds_for_unknowns, proportion_interval
from audit.statistics.rates import rate_interval

PROPORTION_METHOD = "Wilson 95% limits; exact (Clopper-Pearson) limits beside them"
RATE_METHOD = "exact Poisson (Garwood) 95% limits"
BOUNDS_ONLY = "Too much is not recorded: only the bounds can be used."
DAYS_PER_YEAR = 365.25


def with_proportions(table: pd.DataFrame, *, recorded_floor: float = 0.0) -> pd.DataFrame:
    """Return a table of counts with proportion, limits and bounds for the unknown.

    Parameters
    ----------
    table : DataFrame
        ``events``, ``n`` (outcome known) and ``n_unknown``, one row per group; other columns are kept.
    recorded_floor : float, 0 to 1
        Where a smaller share of outcomes is known, the caution says that only the bounds can be used.

    Returns
    -------
    DataFrame
        The table with ``proportion, ci_lower, ci_upper`` (Wilson), ``exact_lower, exact_upper``
        (Clopper-Pearson), ``bound_lower, bound_upper`` (none or all of the unknown had the event), all 0 to
        1 and nan where nothing was observed; ``method``; ``caution``, empty where there is none.

    Raises
    ------
    ValueError
        If a count is not a whole number or events exceed n.

    Examples
    --------
    >>> table = pd.DataFrame({"events": [31], "n": [640], "n_unknown": [4]})
    >>> with_proportions(table)[["proportion", "ci_lower", "ci_upper"]].round(4).values.tolist()
    [[0.0484, 0.0343, 0.0679]]
    """
    events, n, unknown = (table[name].to_numpy(np.float64) for name in ("events", "n", "n_unknown"))
    lower, upper = proportion_interval(events, n)
    exact_lower, exact_upper = proportion_interval(events, n, method="clopper_pearson")
    least, greatest = bounds_for_unknowns(events, n, unknown)
    return table.assign(
        proportion=_divided(events, n),
        ci_lower=lower,
        ci_upper=upper,
        exact_lower=exact_lower,
        exact_upper=exact_upper,
        bound_lower=least,
        bound_upper=greatest,
        method=PROPORTION_METHOD,
        caution=_cautions(events, n, unknown, recorded_floor),
    )


def with_rates(table: pd.DataFrame, *, exposure: str = "person_years") -> pd.DataFrame:
    """Return a table of events and person-years (or another exposure) with the rate and its exact limits.

    Parameters
    ----------
    table : DataFrame
        ``events`` and the column of the exposure, one row per group; other columns are kept.
    exposure : str
        The column that holds it: person-years, or another amount in which the events were seen.

    Returns
    -------
    DataFrame
        The table with ``rate, ci_lower, ci_upper`` per 1 unit of exposure (nan without any), ``method``
        and ``caution``.

    Raises
    ------
    ValueError
        If events is not a whole number or person_years is negative.

    Examples
    --------
    >>> table = pd.DataFrame({"events": [14], "person_years": [400.0]})
    >>> with_rates(table)[["rate", "ci_lower", "ci_upper"]].round(5).values.tolist()
    [[0.035, 0.01913, 0.05872]]
    """
    events, amount = table["events"].to_numpy(np.float64), table[exposure].to_numpy(np.float64)
    lower, upper = rate_interval(events, amount)
    empty = "No time under observation." if exposure == "person_years" else "Nothing to count."
    nothing = np.where(events == 0, "None seen: the upper limit is what is still possible.", "")
    return table.assign(
        rate=_divided(events, amount),
        ci_lower=lower,
        ci_upper=upper,
        method=RATE_METHOD,
        caution=np.where(amount > 0, nothing, empty),
    )


def rates_by_group(table: pd.DataFrame, *, causes: Mapping[str, int], cuts: Sequence[float]) -> pd.DataFrame:
    """Return the rate of each cause in each group, by band of time since the origin and over all bands.

    Parameters
    ----------
    table : DataFrame
        ``group``, ``entry``, ``exit`` (days), ``cause`` (0 = censored, else a code) and ``n`` (how many the row
        stands for).
    causes : mapping of name to code
        The causes to return.
    cuts : days, rising
        Ends of the bands but the last.

    Returns
    -------
    DataFrame
        ``group, cause, band`` (such as ``43 to 182``, ``over 365``; ``all`` last), ``events, person_years``, then
        the columns of `with_rates`. No rows in, no rows out.

    Raises
    ------
    ValueError
        As `person_time`, or if a cause is not a whole number of zero or more.

    Examples
    --------
    >>> table = pd.DataFrame({"group": "a", "entry": 0.0, "exit": [30.0, 400.0], "cause": [1, 0], "n": 1})
    >>> rates_by_group(table, causes={"first": 1}, cuts=[42])[["band", "events"]].values.tolist()
    [['0 to 42', 1], ['over 42', 0], ['all', 1]]
    """
    counts("cause", table["cause"])
    rows: list[tuple[object, ...]] = []
    names = [*_band_names(cuts), "all"]
    for group in dict.fromkeys(table["group"]):
        own = table[table["group"] == group]
        for cause, code in causes.items():
            bands = person_time(
                own["exit"], own["cause"] == code, cuts=cuts, entry=own["entry"], weights=own["n"]
            )
            events = bands["events"].to_list()
            years = (bands["exposure"] / DAYS_PER_YEAR).to_list()
            counted = zip(names, [*events, sum(events)], [*years, sum(years)], strict=True)
            rows.extend((group, cause, *band) for band in counted)
    return with_rates(pd.DataFrame(rows, columns=["group", "cause", "band", "events", "person_years"]))


def _band_names(cuts: Sequence[float]) -> list[str]:
    """The bands in words."""
    starts = [0, *(int(cut) + 1 for cut in cuts)]
    closed = [f"{start} to {int(cut)}" for start, cut in zip(starts, cuts, strict=False)]
    return [*closed, f"over {int(cuts[-1])}" if len(cuts) else "0 and over"]


def share_of(part: float, whole: float) -> float:
    """Return part / whole; nan where the whole is 0."""
    return part / whole if whole else np.nan


def shares_of(part: ArrayLike, whole: ArrayLike) -> np.ndarray:
    """Return part / whole element by element; nan where the whole is 0 or less."""
    return _divided(np.asarray(part, np.float64), np.asarray(whole, np.float64))


def share_without(own_part: float, part: float, own_whole: float, whole: float) -> float:
    """Return the share of everyone else: (part - own_part) / (whole - own_whole); nan if there is no one."""
    return share_of(part - own_part, whole - own_whole)


def _divided(part: np.ndarray, whole: np.ndarray) -> np.ndarray:
    """part / whole, nan where the whole is 0."""
    quotient: np.ndarray = part / np.where(whole > 0, whole, np.nan)
    return quotient


def _cautions(events: np.ndarray, n: np.ndarray, unknown: np.ndarray, floor: float) -> np.ndarray:
    """What the reader of each row must know."""
    recorded = _divided(n, n + unknown)
    chosen = np.select(
        [n + unknown == 0, n == 0, recorded < floor, events == 0],
        [
            "Nothing to count.",
            "Not recorded for anyone.",
            BOUNDS_ONLY,
            "None seen: the exact upper limit is what is still possible.",
        ],
        "",
    )
    return chosen.astype(object)
