"""Attempts and placements into counts that add up.

A tally is a small frame of strata, outcome and ``n``. The same statistics run on one tally, on the sum of
many, or on rows (a frame without ``n`` counts each row once), so what can be pooled is.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

OVERALL = "overall"
ALL_KINDS = "all"


def counts(frame: pd.DataFrame) -> pd.Series:
    """How many each row stands for: its ``n``, or 1."""
    if "n" in frame:
        return frame["n"]
    return pd.Series(1, index=frame.index, dtype="int64", name="n")


def tally_outcomes(attempts: pd.DataFrame, *, outcome: str, by: str) -> pd.DataFrame:
    """Counts of an outcome per stratum.

    Parameters
    ----------
    attempts
        Rows with the column `outcome` and, unless `by` is ``overall``, the column `by`; or a tally of them.
    outcome
        The column counted; rows in which it is missing are counted as ``unknown``.
    by
        The column to stratify by.

    Returns
    -------
    DataFrame
        ``stratum, outcome, n``, in the order of the categories of `by`; strata without rows are left out.
    """
    keyed = pd.DataFrame(
        {
            "stratum": _stratum(attempts, by),
            "outcome": _known(attempts[outcome], "unknown").to_numpy(),
            "n": counts(attempts).to_numpy(),
        }
    )
    return _summed(keyed, ["stratum", "outcome"])


def tally_spells(
    placements: pd.DataFrame, *, by: str, censoring: str, ending: str = "ending"
) -> pd.DataFrame:
    """Counts of spells per stratum, entry day, exit day and ending.

    Parameters
    ----------
    placements
        The table of placements, or what `observed_in_period` makes of it (then with ``entry_day``).
    by
        The column to stratify by, or ``overall``.
    censoring
        ``last_known`` or ``assumed_in_place``: which exit day counts.
    ending
        The column that names the ending; ``none`` is a censored spell.

    Returns
    -------
    DataFrame
        ``stratum, censoring, entry_day, exit_day, ending, n`` in order. Spells without a day of observation
        after a delayed entry are left out; spells from placement on stay, with day 0 as their first.
    """
    entry = placements["entry_day"] if "entry_day" in placements else pd.Series(0.0, index=placements.index)
    exit_day = placements[f"exit_day_{censoring}"]
    keyed = pd.DataFrame(
        {
            "stratum": _stratum(placements, by),
            "censoring": censoring,
            "entry_day": entry.to_numpy(),
            "exit_day": exit_day.to_numpy(),
            "ending": placements[ending].astype(object).to_numpy(),
            "n": counts(placements).to_numpy(),
        }
    )
    observed = (keyed["entry_day"] == 0) | (keyed["exit_day"] > keyed["entry_day"])
    return _summed(keyed[observed], ["stratum", "censoring", "entry_day", "exit_day", "ending"])


def count_outcomes(
    tally: pd.DataFrame,
    *,
    events: Sequence[str],
    others: Sequence[str],
    by: str,
    apart: Sequence[str] = (),
) -> pd.DataFrame:
    """Events and denominators per stratum from a tally of outcomes.

    Parameters
    ----------
    tally
        ``stratum, outcome, n``, as `tally_outcomes` makes it.
    events, others
        Outcomes that count as the event, and known outcomes that do not: together the denominator.
    by
        What the strata are; ``overall`` gives a row even when there is nothing to count.
    apart
        Outcomes counted in columns of their own, ``n_`` and the name; every other outcome is unknown.

    Returns
    -------
    DataFrame
        ``by, stratum, events, n, n_unknown`` and the columns apart, one row per stratum in order.
    """
    strata = list(dict.fromkeys(tally["stratum"])) or ([OVERALL] if by == OVERALL else [])
    wide = tally.pivot_table(index="stratum", columns="outcome", values="n", aggfunc="sum", observed=True)
    wide = wide.reindex(index=strata).fillna(0)

    def total(names: Sequence[str]) -> pd.Series:
        return wide[[name for name in names if name in wide]].sum(axis=1).astype("int64")

    known = total(events).add(total(others))
    unknown = [name for name in wide.columns if name not in (*events, *others, *apart)]
    table = pd.DataFrame({"events": total(events), "n": known, "n_unknown": total(unknown)})
    for name in apart:
        table[f"n_{name}"] = total([name])
    table.insert(0, "stratum", strata)
    table.insert(0, "by", by)
    return table.reset_index(drop=True)


def coded_spells(
    placements: pd.DataFrame,
    *,
    by: str,
    censoring: str,
    codes: Mapping[str, int],
    placement_kind: str = "first",
    ending: str = "ending",
) -> pd.DataFrame:
    """Spells in the form that curves take, their endings as codes.

    Parameters
    ----------
    placements, by, censoring, ending
        As in `tally_spells`.
    codes
        The code of each ending; endings it does not name are censored (0).
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.

    Returns
    -------
    DataFrame
        ``group, entry, exit, cause, event`` (0 or 1), ``n``.
    """
    tally = tally_spells(of_kind(placements, placement_kind), by=by, censoring=censoring, ending=ending)
    cause = tally["ending"].map(codes).fillna(0).astype("int64")
    return pd.DataFrame(
        {
            "group": tally["stratum"],
            "entry": tally["entry_day"].astype("float64"),
            "exit": tally["exit_day"].astype("float64"),
            "cause": cause,
            "event": (cause > 0).astype("int64"),
            "n": tally["n"],
        }
    )


def of_kind(placements: pd.DataFrame, placement_kind: str) -> pd.DataFrame:
    """The placements of one kind; every one for ``all``."""
    if placement_kind == ALL_KINDS:
        return placements
    return placements[placements["placement_kind"] == placement_kind]


def add_tallies(tallies: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The sum of tallies of one form: services, files or quarters put together."""
    keys = [name for name in tallies[0].columns if name != "n"]
    return _summed(pd.concat(tallies, ignore_index=True), keys)


def strata_of(frame: pd.DataFrame, by: str) -> list[str]:
    """The strata in which a frame has rows, in the order of the schema's codes, or by name."""
    if by == OVERALL:
        return [OVERALL] if len(frame) else []
    column = _known(frame[by], "not recorded")
    return [str(name) for name in column.cat.categories if (column == name).any()]


def _stratum(frame: pd.DataFrame, by: str) -> np.ndarray | pd.Categorical:
    """The stratum of each row, as an ordered category."""
    if by == OVERALL:
        return pd.Categorical([OVERALL] * len(frame), categories=[OVERALL])
    return pd.Categorical(_known(frame[by], "not recorded"))


def _known(column: pd.Series, missing: str) -> pd.Series:
    """A column as a category in which a missing value has a name."""
    if isinstance(column.dtype, pd.BooleanDtype):
        column = pd.Series(pd.Categorical(column.map({True: "yes", False: "no"}), categories=["yes", "no"]))
    coded = column if isinstance(column.dtype, pd.CategoricalDtype) else column.astype("category")
    if not coded.isna().any():
        return coded
    named = coded if missing in coded.cat.categories else coded.cat.add_categories([missing])
    return named.fillna(missing)


def _summed(keyed: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Rows with the same keys put together, in the order of the keys."""
    if keyed.empty:
        return keyed.astype({"n": "int64"}).reset_index(drop=True)
    totals = keyed.groupby(keys, observed=True, sort=True)["n"].sum().reset_index()
    return totals.astype({"n": "int64", **{name: object for name in keys if name in ("stratum", "outcome")}})
