"""Attempts and placements into counts that add up.

A tally is a small frame of strata, outcome and ``n``. The same statistics run on one tally, on the sum of
many, or on rows (a frame without ``n`` counts each row once), so what can be pooled is.
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

OVERALL = "overall"
ALL_KINDS = "all"
# Up to so many different keys a count per key is quicker than a sort of the rows.
_DENSE = 1 << 22


def counts(frame: pd.DataFrame) -> pd.Series:
    """How many each row stands for: its ``n``, or 1."""
    if "n" in frame:
        return frame["n"]
    return pd.Series(1, index=frame.index, dtype="int64", name="n")


def stacked(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Tables one below the other."""
    # pandas warns where an empty table would settle a column's type.
    filled = [table for table in tables if len(table)] or list(tables[:1])
    return pd.concat(filled, ignore_index=True)


def require_rows(placements: pd.DataFrame) -> None:
    """Refuse a tally, which does not say which placements belong to one woman."""
    if "n" in placements:
        raise ValueError(
            "placements must be rows, one a placement, got a tally: it does not tell women apart"
        )


def begun_visits(attempts: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The visits at which an insertion was begun: the first attempt of each woman and day.

    Only these columns, and ``n`` of a tally, where any are named: a copy of a few is a fraction of the work.
    """
    outcome = attempts["visit_outcome"]
    begun = outcome.notna() & (outcome != "deferred")
    if not columns:
        return attempts[begun]
    return attempts.loc[begun, [name for name in dict.fromkeys((*columns, "n")) if name in attempts]]


def known_to_hold(flags: pd.Series) -> pd.Series:
    """Where a flag is known to hold: missing is no yes."""
    return flags.astype("boolean").fillna(False).astype(bool)


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
    stratum, strata = _coded(attempts, by)
    result, outcomes = _codes(attempts[outcome], "unknown")
    size = max(len(outcomes), 1)
    number = np.bincount(
        stratum * size + result, weights=counts(attempts), minlength=len(strata) * size
    ).astype("int64")
    filled = np.flatnonzero(number)
    return pd.DataFrame(
        {
            "stratum": np.array(strata, dtype=object)[filled // size],
            "outcome": np.array(outcomes, dtype=object)[filled % size],
            "n": number[filled],
        }
    )


def tally_patterns(
    frame: pd.DataFrame,
    *,
    outcome: str,
    events: Sequence[str],
    others: Sequence[str],
    by: Sequence[str],
) -> pd.DataFrame:
    """Events and denominators of every combination of several columns.

    Parameters
    ----------
    frame
        Rows with the column `outcome` and the columns `by`; or a tally of them.
    outcome, events, others
        As in `count_outcomes`; rows with any other outcome are left out.
    by
        The columns; a missing value is ``unknown``.

    Returns
    -------
    DataFrame
        The columns `by` as text, then ``events, n``; combinations without rows are left out.
    """
    result, outcomes = _codes(frame[outcome], "unknown")
    wanted = np.array([name in events for name in outcomes])[result]
    known = wanted | np.array([name in others for name in outcomes])[result]
    coded = [_codes(frame[name], "unknown") for name in by]
    weights = counts(frame).to_numpy()[known]
    columns = [codes[known] for codes, _ in coded]
    keys, n = _counted(columns, weights)
    # The same columns give the same combinations in the same order, of which a weight of 0 leaves none out.
    _, happened = _counted(columns, weights * wanted[known])
    labels = {
        name: np.array(names, dtype=object)[key]
        for name, (_, names), key in zip(by, coded, keys, strict=True)
    }
    return pd.DataFrame({**labels, "events": happened, "n": n})


def kinds_of_rows(frame: pd.DataFrame, *, by: Sequence[str]) -> tuple[np.ndarray, pd.DataFrame]:
    """Which combination of several columns each row has.

    Parameters
    ----------
    frame
        Rows with the columns `by`.
    by
        The columns; a missing value is ``unknown``.

    Returns
    -------
    tuple
        For each row the place of its combination, and the combinations as text in the columns `by`, as
        `tally_patterns` writes them.
    """
    coded = [_codes(frame[name], "unknown") for name in by]
    key = np.zeros(len(frame), dtype="int64")
    for codes, names in coded:
        key = key * len(names) + codes
    found, kind = np.unique(key, return_inverse=True)
    labels: dict[str, np.ndarray] = {}
    for name, (_, names) in zip(reversed(by), reversed(coded), strict=True):
        found, place = np.divmod(found, len(names))
        labels[name] = np.array(names, dtype=object)[place]
    return kind, pd.DataFrame({name: labels[name] for name in by})


def tally_values(frame: pd.DataFrame, *, value: str, by: str) -> pd.DataFrame:
    """Counts of each value of a number per stratum.

    Parameters
    ----------
    frame
        Rows with the number column `value` and, unless `by` is ``overall``, the column `by`; or a tally of them.
    value
        The column counted; rows in which it is missing are left out.
    by
        The column to stratify by.

    Returns
    -------
    DataFrame
        ``stratum, value, n``, in the order of the categories of `by` and of the values.
    """
    stratum, strata = _coded(frame, by)
    numbers = frame[value].to_numpy("float64")
    keyed = pd.DataFrame({"code": stratum, "value": numbers, "n": counts(frame).to_numpy("int64")})
    summed = _summed(keyed[~np.isnan(numbers)], ["code", "value"])
    summed.insert(0, "stratum", np.array(strata, dtype=object)[summed.pop("code").to_numpy("int64")])
    return summed


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
    stratum, strata = _coded(placements, by)
    ended, endings = _codes(placements[ending], "none")
    exit_day = placements[f"exit_day_{censoring}"].to_numpy("float64").astype("int64")
    entry = np.zeros(len(placements), "int64")
    if "entry_day" in placements:
        entry = placements["entry_day"].to_numpy("float64").astype("int64")
    observed = (entry == 0) | (exit_day > entry)
    columns = [column[observed] for column in (stratum, entry, exit_day, ended)]
    keys, number = _counted(columns, counts(placements).to_numpy()[observed])
    return pd.DataFrame(
        {
            "stratum": np.array(strata, dtype=object)[keys[0]],
            "censoring": censoring,
            "entry_day": keys[1],
            "exit_day": keys[2],
            "ending": np.array(endings, dtype=object)[keys[3]],
            "n": number,
        }
    )


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
    row = pd.Index(strata).get_indexer(tally["stratum"])
    known, n = (*events, *others, *apart), tally["n"].to_numpy("float64")

    def total(wanted: np.ndarray) -> np.ndarray:
        number: np.ndarray = np.bincount(row, weights=n * wanted, minlength=len(strata))
        return number.astype("int64")

    outcome = tally["outcome"].to_numpy(dtype=object)
    table = {
        "by": by,
        # With no strata the column would otherwise hold numbers, and could not be joined to names.
        "stratum": np.array(strata, dtype=object),
        "events": total(np.isin(outcome, events)),
        "n": total(np.isin(outcome, (*events, *others))),
        "n_unknown": total(~np.isin(outcome, known)),
        **{f"n_{name}": total(outcome == name) for name in apart},
    }
    return pd.DataFrame(table, index=range(len(strata)))


def count_states(
    frame: pd.DataFrame, *, states: Mapping[str, np.ndarray], codes: Sequence[str], by: str
) -> pd.DataFrame:
    """Counts of every state of several items at once.

    Parameters
    ----------
    frame
        Rows with the column `by`, unless it is ``overall``; or a tally of them.
    states
        For each item, each row's state as a place in `codes`; -1 for a row that does not belong.
    codes
        The names of the states.
    by
        The column to stratify by; ``overall`` gives a row even when there is nothing to count.

    Returns
    -------
    DataFrame
        ``by, stratum, item`` and a column for each code, item by item, strata in the order of the categories of
        `by`; strata without a row that belongs are left out.
    """
    stratum, strata = _coded(frame, by)
    weights = counts(frame).to_numpy("int64")
    tables = []
    for item, state in states.items():
        inside = state >= 0
        number = np.bincount(
            stratum[inside] * len(codes) + state[inside],
            weights=weights[inside],
            minlength=len(strata) * len(codes),
        ).reshape(len(strata), len(codes))
        seen = (number.sum(axis=1) > 0) | (by == OVERALL)
        tables.append(
            (np.full(int(seen.sum()), item, dtype=object), np.array(strata, dtype=object)[seen], number[seen])
        )
    items, names, numbers = (np.concatenate(parts) for parts in zip(*tables, strict=True))
    table = pd.DataFrame(numbers.astype("int64"), columns=list(codes))
    table.insert(0, "by", by)
    table.insert(1, "stratum", names)
    table.insert(2, "item", items)
    return table


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
    needed = [f"exit_day_{censoring}", ending, "placement_kind", by, "entry_day", "n"]
    slim = placements[[name for name in dict.fromkeys(needed) if name in placements]]
    tally = tally_spells(of_kind(slim, placement_kind), by=by, censoring=censoring, ending=ending)
    cause = np.array([codes.get(name, 0) for name in tally["ending"]], dtype="int64")
    return pd.DataFrame(
        {
            "group": tally["stratum"],
            "entry": tally["entry_day"].to_numpy("float64"),
            "exit": tally["exit_day"].to_numpy("float64"),
            "cause": cause,
            "event": (cause > 0).astype("int64"),
            "n": tally["n"],
        }
    )


def spell_patterns(
    placements: pd.DataFrame,
    *,
    by: Sequence[str],
    censoring: str,
    codes: Mapping[str, int],
    placement_kind: str = "first",
) -> pd.DataFrame:
    """Spells observed from placement on, counted by several columns at once, their endings as codes.

    Parameters
    ----------
    placements, censoring, codes, placement_kind
        As in `coded_spells`; a delayed entry is not allowed for.
    by
        The columns; a missing value is ``unknown``.

    Returns
    -------
    DataFrame
        The columns `by` as text, then ``entry`` (0), ``exit``, ``cause``, ``n``.
    """
    chosen = of_kind(placements, placement_kind)
    ended, endings = _codes(chosen["ending"], "none")
    number = np.array([codes.get(name, 0) for name in endings], dtype="int64")
    exit_day = chosen[f"exit_day_{censoring}"].to_numpy("float64").astype("int64")
    coded = [_codes(chosen[name], "unknown") for name in by]
    columns = [*(own for own, _ in coded), exit_day, number[ended]]
    keys, n = _counted(columns, counts(chosen).to_numpy())
    labels = {
        name: np.array(names, dtype=object)[key]
        for name, (_, names), key in zip(by, coded, keys, strict=False)
    }
    *_, exits, causes = keys
    return pd.DataFrame({**labels, "entry": 0.0, "exit": exits.astype("float64"), "cause": causes, "n": n})


def of_kind(placements: pd.DataFrame, placement_kind: str) -> pd.DataFrame:
    """The placements of one kind; every one for ``all``."""
    if placement_kind == ALL_KINDS:
        return placements
    return placements[placements["placement_kind"] == placement_kind]


def add_tallies(tallies: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """The sum of tallies of one form: services, files or quarters put together."""
    keys = [name for name in tallies[0].columns if name != "n"]
    return _summed(pd.concat(tallies, ignore_index=True), keys)


def _coded(frame: pd.DataFrame, by: str) -> tuple[np.ndarray, list[str]]:
    """The stratum of each row as a number, and the names of the strata."""
    if by == OVERALL:
        return np.zeros(len(frame), dtype="int64"), [OVERALL]
    return _codes(frame[by], "not recorded")


def _codes(column: pd.Series, missing: str) -> tuple[np.ndarray, list[str]]:
    """A column as numbers and their names; a missing value has the name given, last."""
    if isinstance(column.dtype, pd.BooleanDtype):
        names = ["no", "yes"]
        codes = column.astype("Int8").fillna(-1).to_numpy(dtype="int64")
    else:
        coded = column if isinstance(column.dtype, pd.CategoricalDtype) else column.astype("category")
        names = [str(name) for name in coded.cat.categories]
        codes = coded.cat.codes.to_numpy(dtype="int64")
    if missing not in names:
        names = [*names, missing]
    return np.where(codes < 0, names.index(missing), codes), names


def _counted(columns: Sequence[np.ndarray], weights: np.ndarray) -> tuple[list[np.ndarray], np.ndarray]:
    """The different rows of some columns of whole numbers from 0, in order, and the weight on each."""
    sizes = [int(column.max(initial=0)) + 1 for column in columns]
    # One number for the whole row: to sort rows as such takes ten times as long.
    key = np.zeros(len(weights), dtype="int64")
    for column, size in zip(columns, sizes, strict=True):
        key = key * size + column
    if math.prod(sizes) <= _DENSE:
        total = np.bincount(key, weights=weights, minlength=1)
        present = np.bincount(key, minlength=1)
        rows = np.flatnonzero(present)
        number = total[rows]
    else:
        rows, place = np.unique(key, return_inverse=True)
        number = np.bincount(place, weights=weights, minlength=len(rows))
    parts = []
    for size in reversed(sizes):
        rows, part = np.divmod(rows, size)
        parts.append(part)
    return parts[::-1], number.astype("int64")


def _summed(keyed: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Rows with the same keys put together, in the order of the keys."""
    return keyed.groupby(keys, observed=True, sort=True)["n"].sum().reset_index()
