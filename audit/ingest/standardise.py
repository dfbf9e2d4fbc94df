"""Text and layout to visits, with what had to be set aside and what a person should look at."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.ingest.columns import STAFF_AND_PLACES, Readings, read_column, rows_where, values_of
from audit.ingest.exceptions import charted_by_exception
from audit.ingest.joined import Joined, join_logs, stacked
from audit.ingest.masking import masked
from audit.ingest.parse import Reading
from audit.ingest.parse_columns import column_findings, with_routes
from audit.ingest.raw import Flags, RawLog
from audit.ingest.reasons import FINDINGS, REASONS, SET_ASIDE, rule_of
from audit.ingest.repeats import repeated_rows, repeats_set_aside
from audit.ingest.unclear_dates import refuse_unclear_dates
from audit.schema.visits import REQUIRED, VISITS
from audit.settings import AuditSettings

# An outcome that cannot be read must never pass for "no event", so its row is set aside.
MUST_BE_READABLE = ("insertion_outcome", "device_in_situ", "removal_reason_main", "vasovagal_grade")
_NOTES = {
    "more_births": "tells of more births than pregnancies and is used. Check it, unless there were twins.",
    "implausible": "lies outside the usual range and is used. Check it.",
    "read_as_cm": "is a length that can only be in cm and is used as such. Write mm, or declare the unit.",
}


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
        `visits` has the columns the log has, in the order of the schema, then ``source`` and ``row``; and
        births by route where only the parity tells them.
        `patient_ref` is a running number from 0 in order of first appearance. A row is set aside for its
        first reason only, so that rows in = rows used + rows set aside.

    Raises
    ------
    InputRefused
        Most visit dates do not say whether day or month comes first, or both orders are used.
    """
    joined = join_logs(logs)
    columns = {
        name: read_column(raw, VISITS[name], settings.layout, decimal_comma=decimal_comma)
        for name, raw in joined.columns.items()
    }
    columns = with_routes(columns)
    refuse_unclear_dates(columns["visit_date"], joined)
    aside, kept = _set_aside(columns, joined, data_to)
    visits = _frame(columns, joined, kept)
    repeats = repeated_rows(visits)
    findings = [_value_findings(read, joined, kept) for read in columns.values()]
    findings.append(column_findings(columns, kept))
    visits, exceptions = charted_by_exception(visits, _blank_cells(columns, kept, settings), settings)
    used, refs = _numbered(visits[~repeats["repeats"].to_numpy()])
    return Standardised(
        visits=used,
        set_aside=stacked([aside, repeats_set_aside(visits, repeats)], SET_ASIDE),
        findings=stacked([*findings, exceptions], FINDINGS),
        patient_refs=refs,
    )


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
    return stacked(frames, SET_ASIDE), kept


def _is_missing(reading: Reading) -> bool:
    """Whether a value that every row needs is not there."""
    return reading.value is None


def _is_unreadable(reading: Reading) -> bool:
    """Whether something is written that cannot be used."""
    return reading.reason not in ("", "blank")


def _aside_rows(read: Readings, joined: Joined, rows: Flags, *, reason: str = "") -> pd.DataFrame:
    """Rows set aside for one column, in the form of the table."""

    def why(item: Reading) -> str:
        return reason or item.reason or "unknown"

    name = read.column.name
    return _table(read, joined, rows).assign(
        reason=_said(read, rows, lambda text, item: why(item)),
        value=_said(read, rows, lambda text, item: masked(text)),
        message=_said(read, rows, lambda text, item: f"{name}: {REASONS[why(item)]}"),
    )[list(SET_ASIDE)]


def _table(read: Readings, joined: Joined, rows: Flags) -> pd.DataFrame:
    """Where the rows stand, and the column."""
    return pd.DataFrame({"source": joined.source[rows], "row": joined.row[rows], "column": read.column.name})


def _said(read: Readings, rows: Flags, say: Callable[[str, Reading], str]) -> npt.NDArray[np.object_]:
    """What to say of each of these rows, worked out once per distinct text."""
    codes = read.codes[rows]
    words = np.empty(len(read.texts), dtype=object)
    for code in np.unique(codes):
        words[code] = say(read.texts[code], read.readings[code])
    return words[codes]


def _value_findings(read: Readings, joined: Joined, kept: Flags) -> pd.DataFrame:
    """A finding for every value of a used row that cannot be used, or that a person should look at."""
    rows = kept & rows_where(read, lambda item: _is_unreadable(item) or item.note in _NOTES)
    if not rows.any():
        # Most columns of most logs have nothing to tell, and every table costs time.
        return pd.DataFrame(columns=list(FINDINGS))
    frame = _table(read, joined, rows).assign(
        rule=_said(read, rows, lambda text, item: rule_of(item.reason) if item.reason else item.note),
        severity=_said(read, rows, lambda text, item: "warning" if item.reason else "notice"),
        message=_said(read, rows, partial(_sentence, read.column.name)),
    )[list(FINDINGS)]
    whole_column = (frame["rule"] == "wrong_scale").to_numpy(dtype=np.bool_)
    once = frame[whole_column].head(1).assign(source=0, row=0)
    return stacked([frame[~whole_column], once], FINDINGS)


def _sentence(name: str, text: str, item: Reading) -> str:
    """What to say of a doubtful value, which appears only as its shape."""
    if item.reason == "wrong_scale":
        return f"{name}: {REASONS[item.reason]} All its values count as unknown."
    if item.reason:
        return f"{name}: '{masked(text)}' {REASONS[item.reason]} The value counts as unknown."
    return f"{name}: '{masked(text)}' {_NOTES[item.note]}"


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


def _numbered(visits: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series]:
    """Visits with running numbers for the women, and the text of each number."""
    numbers, texts = pd.factorize(visits["patient_ref"])
    used = visits.assign(patient_ref=numbers.astype(np.int64)).reset_index(drop=True)
    for name in STAFF_AND_PLACES:
        if name in used:
            used[name] = used[name].cat.remove_unused_categories()
    refs = pd.Series(np.array(texts, dtype=object), name="patient_ref", dtype=object)
    return used, refs
