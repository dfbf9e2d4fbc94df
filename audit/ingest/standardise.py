"""Text and layout to visits, with what had to be set aside and what a person should look at."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.ingest.columns import read_column
from audit.ingest.exceptions import charted_by_exception
from audit.ingest.joined import Joined, join_logs, stacked
from audit.ingest.masking import masked
from audit.ingest.parse_columns import column_findings, with_routes
from audit.ingest.raw import Flags, RawLog
from audit.ingest.readings import (
    STAFF_AND_PLACES,
    Readings,
    is_missing,
    is_unreadable,
    objects,
    on_rows,
    values_of,
    with_rows,
)
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
    women, references = _women(columns["patient_ref"])
    visits = _frame(columns, women, joined, kept)
    repeats = repeated_rows(visits)
    findings = [_value_findings(read, joined, kept) for read in columns.values()]
    findings.append(column_findings(columns, kept))
    visits, exceptions = charted_by_exception(visits, _blank_cells(columns, kept, settings), settings)
    used, refs = _numbered(visits.drop(index=repeats.index) if len(repeats) else visits, references)
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
            test = is_missing if name in REQUIRED else is_unreadable
            bad = kept & on_rows(columns[name], test(columns[name]))
            frames.append(_aside_rows(columns[name], joined, bad))
            kept &= ~bad
    if data_to is not None:
        late = kept & (values_of(columns["visit_date"]) > data_to).to_numpy()
        frames.append(_aside_rows(columns["visit_date"], joined, late, reason="after_data_to"))
        kept &= ~late
    return stacked(frames, SET_ASIDE), kept


def _aside_rows(read: Readings, joined: Joined, rows: Flags, *, reason: str = "") -> pd.DataFrame:
    """Rows set aside for one column, in the form of the table."""
    if not rows.any():
        return pd.DataFrame(columns=list(SET_ASIDE))

    def why(code: int) -> str:
        return reason or read.reasons[code] or "unknown"

    name = read.column.name
    return _table(read, joined, rows).assign(
        reason=_said(read, rows, why),
        value=_said(read, rows, lambda code: masked(read.texts[code])),
        message=_said(read, rows, lambda code: f"{name}: {REASONS[why(code)]}"),
    )[list(SET_ASIDE)]


def _table(read: Readings, joined: Joined, rows: Flags) -> pd.DataFrame:
    """Where the rows stand, and the column."""
    return pd.DataFrame({"source": joined.source[rows], "row": joined.row[rows], "column": read.column.name})


def _said(read: Readings, rows: Flags, say: Callable[[int], str]) -> npt.NDArray[np.object_]:
    """What to say of each of these rows, worked out once per distinct text."""
    codes = read.codes[rows]
    words = np.empty(len(read.texts), dtype=object)
    for code in np.unique(codes):
        words[code] = say(code)
    return words[codes]


def _value_findings(read: Readings, joined: Joined, kept: Flags) -> pd.DataFrame:
    """A finding for every value of a used row that cannot be used, or that a person should look at."""
    doubtful = is_unreadable(read) | np.isin(read.notes, list(_NOTES))
    rows = kept & on_rows(read, doubtful) if doubtful.any() else doubtful
    if not rows.any():
        # Most columns of most logs have nothing to tell, and every table costs time.
        return pd.DataFrame(columns=list(FINDINGS))
    reasons, notes = read.reasons, read.notes
    frame = _table(read, joined, rows).assign(
        rule=_said(read, rows, lambda code: rule_of(reasons[code]) if reasons[code] else notes[code]),
        severity=_said(read, rows, lambda code: "warning" if reasons[code] else "notice"),
        message=_said(read, rows, partial(_sentence, read)),
    )[list(FINDINGS)]
    whole_column = (frame["rule"] == "wrong_scale").to_numpy(dtype=np.bool_)
    once = frame[whole_column].head(1).assign(source=0, row=0)
    return stacked([frame[~whole_column], once], FINDINGS)


def _sentence(read: Readings, code: int) -> str:
    """What to say of a doubtful value, which appears only as its shape."""
    name, reason = read.column.name, read.reasons[code]
    if reason == "wrong_scale":
        return f"{name}: {REASONS[reason]} All its values count as unknown."
    if reason:
        return f"{name}: '{masked(read.texts[code])}' {REASONS[reason]} The value counts as unknown."
    return f"{name}: '{masked(read.texts[code])}' {_NOTES[read.notes[code]]}"


def _frame(
    columns: Mapping[str, Readings], women: npt.NDArray[np.int64], joined: Joined, kept: Flags
) -> pd.DataFrame:
    """The rows kept, a number for each woman; `women` has the number of each text of a reference."""
    if not kept.all():
        columns = {name: with_rows(read, kept) for name, read in columns.items()}
        joined = Joined({}, joined.source[kept], joined.row[kept])
    data: dict[str, object] = {
        name: women[read.codes] if name == "patient_ref" else values_of(read)
        for name, read in columns.items()
    }
    # Without a copy, which would gather the columns of a kind and take as much time and memory again.
    return pd.DataFrame(data | {"source": joined.source, "row": joined.row}, copy=False)


def _blank_cells(columns: Mapping[str, Readings], kept: Flags, settings: AuditSettings) -> dict[str, Flags]:
    """Where nothing is written, for the columns charted by exception."""
    return {
        name: on_rows(columns[name], columns[name].reasons == "blank")[kept]
        for name in settings.charted_by_exception
        if name in columns
    }


def _women(read: Readings) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.object_]]:
    """A number for each text of a reference, and the references; texts that differ in space alone are one woman."""
    if (read.values == objects(read.texts)).all():
        # Every text says itself, and no text is there twice: to number a million words again takes its time.
        return np.arange(len(read.texts)), read.values
    return pd.factorize(read.values)


def _without_unused(codes: pd.Series) -> pd.Series:
    """The column without categories that no row has."""
    seen = np.bincount(codes.cat.codes.to_numpy() + 1, minlength=len(codes.cat.categories) + 1)[1:]
    return codes if (seen > 0).all() else codes.cat.remove_unused_categories()


def _numbered(visits: pd.DataFrame, references: npt.NDArray[np.object_]) -> tuple[pd.DataFrame, pd.Series]:
    """Visits with running numbers for the women, and the text of each number."""
    numbers, women = pd.factorize(visits["patient_ref"].to_numpy())
    used = visits.copy(deep=False)
    used.index = pd.RangeIndex(len(used))
    used["patient_ref"] = numbers.astype(np.int64)
    for name in STAFF_AND_PLACES:
        if name in used:
            used[name] = _without_unused(used[name])
    return used, pd.Series(references[women], name="patient_ref", dtype=object)
