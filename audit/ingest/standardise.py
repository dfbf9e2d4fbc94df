"""Text and layout to visits, with what had to be set aside and what a person should look at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.errors import InputRefused
from audit.ingest.columns import STAFF_AND_PLACES, Readings, read_column, rows_where, values_of
from audit.ingest.exceptions import charted_by_exception
from audit.ingest.layout import masked
from audit.ingest.raw import Flags, Integers, RawColumn, RawLog
from audit.ingest.reasons import FINDINGS, REASONS, SET_ASIDE, rule_of
from audit.schema.visits import REQUIRED, VISITS
from audit.settings import AuditSettings

# An outcome that cannot be read must never pass for "no event", so its row is set aside.
MUST_BE_READABLE = ("insertion_outcome", "device_in_situ", "removal_reason_main", "vasovagal_grade")
_MIXED_ORDER_SHARE = 0.05
_NOTES = {
    "implausible": "lies outside the usual range and is used. Check it.",
    "read_as_cm": "is a length that can only be in cm and is used as such. Write mm, or declare the unit.",
}


@dataclass(frozen=True)
class Joined:
    """The rows of all files as text, one after the other."""

    columns: Mapping[str, RawColumn]
    source: Integers
    row: Integers


@dataclass(frozen=True)
class Standardised:
    """Visits, rows set aside, findings, and the log's own text for each woman's running number."""

    visits: pd.DataFrame
    set_aside: pd.DataFrame
    findings: pd.DataFrame
    patient_refs: pd.Series = field(repr=False)


def standardise(
    logs: Sequence[RawLog],
    settings: AuditSettings,
    *,
    data_to: pd.Timestamp | None = None,
    decimal_comma: bool = False,
) -> Standardised:
    """Visits in our columns, codes and units.

    Parameters
    ----------
    logs
        The rows of each file as text; the first file is number 1.
    settings
        Layout, and the columns charted by exception.
    data_to
        Rows after this day are set aside; None keeps all.
    decimal_comma
        Whether 7,5 is seven and a half.

    Returns
    -------
    Standardised
        `visits` has the columns the log has, in the order of the schema, then ``source`` and ``row``.
        `patient_ref` is a running number from 0 in order of first appearance. A row is set aside for its
        first reason only, so that rows in = rows used + rows set aside.

    Raises
    ------
    InputRefused
        Most visit dates do not say whether day or month comes first, or both orders are used.
    """
    joined = _joined(logs)
    columns = {
        name: read_column(raw, VISITS[name], settings.layout, decimal_comma=decimal_comma)
        for name, raw in joined.columns.items()
    }
    _refuse_unclear_dates(columns["visit_date"], joined)
    aside, kept = _set_aside(columns, joined, data_to)
    visits = _frame(columns, joined, kept)
    doubles = _doubles(visits)
    findings = [_value_findings(read, joined, kept) for read in columns.values()]
    visits, exceptions = charted_by_exception(visits, _blank_cells(columns, kept, settings), settings)
    used, refs = _numbered(visits[~doubles["double"].to_numpy()])
    return Standardised(
        visits=used,
        set_aside=_stacked([aside, _double_rows(visits, doubles)], SET_ASIDE),
        findings=_stacked([*findings, exceptions], FINDINGS),
        patient_refs=refs,
    )


def _joined(logs: Sequence[RawLog]) -> Joined:
    """The rows of all files; a column that one file lacks is blank there."""
    names = [name for name in VISITS.names if any(name in log.columns for log in logs)]
    sizes = [len(log.lines) for log in logs]
    blank = [RawColumn(("",), np.zeros(size, dtype=np.int32)) for size in sizes]
    return Joined(
        columns={
            name: _joined_column([log.columns.get(name, blank[i]) for i, log in enumerate(logs)])
            for name in names
        },
        source=np.repeat(np.arange(1, len(logs) + 1, dtype=np.int64), sizes),
        row=np.concatenate([log.lines for log in logs]).astype(np.int64),
    )


def _joined_column(parts: Sequence[RawColumn]) -> RawColumn:
    """One column over all files, each distinct text once."""
    numbers: dict[str, int] = {}
    codes = []
    for part in parts:
        renumbered = [numbers.setdefault(text, len(numbers)) for text in part.texts]
        codes.append(np.array(renumbered, dtype=np.int32)[part.codes])
    return RawColumn(tuple(numbers), np.concatenate(codes))


def _refuse_unclear_dates(read: Readings, joined: Joined) -> None:
    """Refuse a log whose visit dates would have to be guessed."""
    written = int(rows_where(read, lambda item: item.reason != "blank").sum())
    undeclared = rows_where(read, lambda item: item.reason == "date_order_not_declared")
    if undeclared.sum() > written / 2:
        raise InputRefused(
            f"visit_date: {int(undeclared.sum()):,} of {written:,} dates have day and month by number, and "
            'nothing says which comes first. Set date_order = "day_month_year" or "month_day_year" '
            "in the settings under [layout]."
        )
    other = rows_where(read, lambda item: item.reason == "other_date_order")
    if other.sum() > written * _MIXED_ORDER_SHARE:
        declared = rows_where(read, lambda item: item.value is not None)
        raise InputRefused(
            "visit_date: two orders of day and month are used in one column: the declared one "
            f"({_lines(joined, declared)}) and the other ({_lines(joined, other)}). "
            "Write all dates as 2026-09-30 and run again."
        )


def _lines(joined: Joined, rows: Flags) -> str:
    """The lines of some rows, five at most."""
    lines = joined.row[rows]
    more = f" and {len(lines) - 5:,} more" if len(lines) > 5 else ""
    return f"line {', '.join(str(line) for line in lines[:5])}{more}" if len(lines) else "no line"


def _set_aside(
    columns: Mapping[str, Readings], joined: Joined, data_to: pd.Timestamp | None
) -> tuple[pd.DataFrame, Flags]:
    """The rows set aside for a value, each for its first reason, and which rows are left."""
    kept = np.ones(len(joined.row), dtype=np.bool_)
    frames = []
    for name in (*REQUIRED, *MUST_BE_READABLE):
        if name in columns:
            bad = kept & rows_where(columns[name], _is_missing if name in REQUIRED else _is_unreadable)
            frames.append(_aside_rows(columns[name], joined, bad))
            kept &= ~bad
    if data_to is not None:
        late = kept & (values_of(columns["visit_date"]) > data_to).to_numpy()
        frames.append(_aside_rows(columns["visit_date"], joined, late, reason="after_data_to"))
        kept &= ~late
    return _stacked(frames, SET_ASIDE), kept


def _is_missing(reading: object) -> bool:
    """Whether a value that every row needs is not there."""
    return getattr(reading, "value", None) is None


def _is_unreadable(reading: object) -> bool:
    """Whether something is written that cannot be used."""
    return getattr(reading, "reason", "") not in ("", "blank")


def _aside_rows(read: Readings, joined: Joined, rows: Flags, *, reason: str = "") -> pd.DataFrame:
    """Rows set aside for one column, in the form of the table."""
    reasons = [reason or item.reason or "unknown" for item in read.readings]
    return _table(read, joined, rows).assign(
        reason=_spread(reasons, read.codes[rows]),
        value=_spread([masked(text) for text in read.texts], read.codes[rows]),
        message=_spread([f"{read.column.name}: {REASONS[item]}" for item in reasons], read.codes[rows]),
    )[list(SET_ASIDE)]


def _table(read: Readings, joined: Joined, rows: Flags) -> pd.DataFrame:
    """Where the rows stand, and the column."""
    return pd.DataFrame({"source": joined.source[rows], "row": joined.row[rows], "column": read.column.name})


def _spread(texts: Sequence[str], codes: npt.NDArray[np.int32]) -> npt.NDArray[np.object_]:
    """One text per row from one per distinct text."""
    return np.array([*texts, ""], dtype=object)[codes]


def _value_findings(read: Readings, joined: Joined, kept: Flags) -> pd.DataFrame:
    """A finding for every value of a used row that cannot be used, or that a person should look at."""
    doubtful = kept & rows_where(read, lambda item: _is_unreadable(item) or item.note in _NOTES)
    codes = read.codes[doubtful]
    frame = _table(read, joined, doubtful).assign(
        rule=_spread([rule_of(item.reason) if item.reason else item.note for item in read.readings], codes),
        severity=_spread(["warning" if item.reason else "notice" for item in read.readings], codes),
        message=_spread(_sentences(read), codes),
    )[list(FINDINGS)]
    whole_column = (frame["rule"] == "wrong_scale").to_numpy()
    if not whole_column.any():
        return frame
    once = frame[whole_column].head(1).assign(source=0, row=0)
    return _stacked([frame[~whole_column], once], FINDINGS)


def _sentences(read: Readings) -> list[str]:
    """What to say of each distinct text; the value appears only as its shape."""
    name = read.column.name
    return [
        f"{name}: {REASONS[item.reason]} All its values count as unknown."
        if item.reason == "wrong_scale"
        else f"{name}: '{masked(text)}' {REASONS[item.reason]} The value counts as unknown."
        if item.reason
        else f"{name}: '{masked(text)}' {_NOTES.get(item.note, '')}"
        for text, item in zip(read.texts, read.readings, strict=True)
    ]


def _frame(columns: Mapping[str, Readings], joined: Joined, kept: Flags) -> pd.DataFrame:
    """The rows kept, with the references of the women still as text."""
    data = {name: values_of(_only(read, kept)) for name, read in columns.items()}
    return pd.DataFrame(data | {"source": joined.source[kept], "row": joined.row[kept]})


def _only(read: Readings, kept: Flags) -> Readings:
    """The column with some of its rows."""
    return Readings(read.column, read.texts, read.readings, read.codes[kept])


def _blank_cells(columns: Mapping[str, Readings], kept: Flags, settings: AuditSettings) -> dict[str, Flags]:
    """Where nothing is written, for the columns charted by exception."""
    return {
        name: rows_where(columns[name], lambda item: item.reason == "blank")[kept]
        for name in settings.charted_by_exception
        if name in columns
    }


def _doubles(visits: pd.DataFrame) -> pd.DataFrame:
    """For every row, whether it repeats an earlier one in full, and which: ``double, source, row``."""
    values = visits.drop(columns=["source", "row"])
    # Few rows share woman and day, so only those are compared in full.
    candidates = values[values.duplicated(["patient_ref", "visit_date"], keep=False)]
    result = pd.DataFrame({"double": False, "source": 0, "row": 0}, index=visits.index)
    if candidates.empty:
        return result
    # As plain numbers, so that two unknowns are alike whatever the dtype.
    numbers = candidates.apply(lambda column: pd.factorize(column, use_na_sentinel=False)[0])
    group = numbers.groupby(list(numbers.columns), sort=False).ngroup()
    repeated = group[group.duplicated()]
    first = group[~group.duplicated()]
    original = repeated.map(pd.Series(first.index, index=first.to_numpy()))
    result.loc[repeated.index, "double"] = True
    for name in ("source", "row"):
        result.loc[repeated.index, name] = visits.loc[original, name].to_numpy()
    return result


def _double_rows(visits: pd.DataFrame, doubles: pd.DataFrame) -> pd.DataFrame:
    """The repeated rows in the form of the table of rows set aside."""
    again = doubles[doubles["double"]]
    messages = [
        f"The same in every column read as line {row} of file {source}. Remove one of them."
        for source, row in zip(again["source"], again["row"], strict=True)
    ]
    return visits.loc[again.index, ["source", "row"]].assign(
        column="", reason="duplicate_row", value="", message=np.array(messages, dtype=object)
    )


def _numbered(visits: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series]:
    """Visits with running numbers for the women, and the text of each number."""
    numbers, texts = pd.factorize(visits["patient_ref"])
    used = visits.assign(patient_ref=numbers.astype(np.int64)).reset_index(drop=True)
    for name in STAFF_AND_PLACES:
        if name in used:
            used[name] = used[name].cat.remove_unused_categories()
    refs = pd.Series(np.array(texts, dtype=object), name="patient_ref", dtype=object)
    return used, refs


def _stacked(frames: Sequence[pd.DataFrame], names: Sequence[str]) -> pd.DataFrame:
    """The frames under each other in order of file and line; an empty one keeps its columns and dtypes."""
    filled = [frame for frame in frames if len(frame)]
    if not filled:
        whole = ("source", "row")
        return pd.DataFrame({name: pd.Series(dtype="int64" if name in whole else object) for name in names})
    stacked = pd.concat(filled, ignore_index=True)
    return stacked.sort_values(["source", "row"], kind="stable", ignore_index=True)[list(names)]
