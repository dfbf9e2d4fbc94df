"""The record of an earlier audit, read back into result tables."""

import json
from collections.abc import Mapping, Sequence, Set
from pathlib import Path
from typing import Any

import pandas as pd

from audit.cycle.measured import COLUMNS
from audit.errors import RecordRefused
from audit.records import RECORD_VERSION, AuditRecord, AuditResults, Period

_TOOL = "iud-clinic-audit"
_GIVE = "Give the record.json that an earlier audit wrote."
_MAX_BYTES = 500_000_000
_DTYPES = {
    "integer": "int64",
    "number": "float64",
    "flag": "boolean",
    "date": "datetime64[ns]",
    "text": "object",
}
# What JSON may hold for each kind; a blank may stand anywhere.
_TYPES: Mapping[str, tuple[type, ...]] = {
    "integer": (int,),
    "number": (int, float),
    "flag": (bool,),
    "date": (str,),
    "text": (str, int, float, bool),
}
# What the next audit reads of a table, and so must hold what it says it does.
_COUNTS = ("events", "n", "n_unknown", "n_not_recorded", "at_risk")
_KINDS = {
    **dict.fromkeys(_COUNTS, ("integer", "number")),
    **dict.fromkeys(("proportion", "ci_lower", "ci_upper", "exact_lower", "exact_upper"), ("number",)),
    **dict.fromkeys(("target", "completeness", "incidence"), ("number",)),
    **dict.fromkeys(("first_day", "last_day", "data_to"), ("date",)),
    **dict.fromkeys(("by", "stratum", "figure", "title", "better", "kind", "caution"), ("text",)),
    **dict.fromkeys(("period", "version", "definitions_version"), ("text",)),
}
# The series of earlier audits is taken over as it stands.
_NEEDED: Mapping[str, Set[str]] = {"series": frozenset(COLUMNS)}
# More than any service ever counts.
_MOST = 1e9
# Tables of single visits or clinicians: nothing of a person travels into the next audit.
_REFERENCES = {"visit_ref", "patient_ref", "clinician_ref", "row"}


def read_record(path: str | Path) -> AuditRecord:
    """The results of an earlier audit, read from its ``record.json``.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    AuditRecord
        Result tables with their dtypes: whole numbers ``int64``, other numbers ``float64`` (missing is nan),
        flags ``boolean``, dates ``datetime64[ns]``, text ``object``. Tables of single visits are left out, and
        rows of single clinicians.

    Raises
    ------
    RecordRefused
        The file cannot be read, is not JSON, is no record of this tool, is of another form, or is not whole.
    """
    where = Path(path).name
    data = _document(path, where)
    if data.get("record") != _TOOL:
        raise RecordRefused(f"{where}: is no record of this tool. {_GIVE}")
    if data.get("record_version") != RECORD_VERSION:
        raise RecordRefused(
            f"{where}: is a record of form {str(data.get('record_version'))[:20]}, and this version reads form "
            f"{RECORD_VERSION}. Run that audit again with this version."
        )
    try:
        return _record(data)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        raise RecordRefused(f"{where}: is not whole, or was changed by hand. {_GIVE}") from None


def refuse_records(records: Sequence[AuditRecord], results: AuditResults) -> None:
    """Refuse a record that cannot stand beside an audit: of another service, or of a later period.

    Raises
    ------
    RecordRefused
        Naming the period of the record.
    """
    for record in records:
        label = record.period.label
        if record.service != results.service:
            raise RecordRefused(
                f"The record of {label} is of another service, '{record.service}'; this audit is of "
                f"'{results.service}'. Give a record of the same service."
            )
        if record.period.last_day > results.period.last_day:
            raise RecordRefused(
                f"The record of {label} is of a later period than {results.period.label}. Give earlier records."
            )


def _document(path: str | Path, where: str) -> dict[str, Any]:
    """The JSON object in a file."""
    try:
        octets = Path(path).read_bytes()
    except OSError as error:
        raise RecordRefused(f"{where}: cannot be read ({error.strerror}). Check the path.") from None
    if len(octets) > _MAX_BYTES:
        raise RecordRefused(f"{where}: is larger than 500 MB. {_GIVE}")
    try:
        data = json.loads(octets)
    except (ValueError, RecursionError):
        raise RecordRefused(f"{where}: is not JSON. {_GIVE}") from None
    if not isinstance(data, dict):
        raise RecordRefused(f"{where}: is no record of this tool. {_GIVE}")
    return data


def _record(data: Mapping[str, Any]) -> AuditRecord:
    """The record in a document of the right form."""
    period = data["period"]
    return AuditRecord(
        service=_text(data["service"]),
        period=Period(_text(period["label"]), _day(period["first_day"]), _day(period["last_day"])),
        data_to=_day(data["data_to"]),
        definitions_version=_text(data["definitions_version"]),
        data_version=_text(data["data_version"]),
        versions={_text(name): _text(version) for name, version in data["versions"].items()},
        tables={
            name: _table(rows, data["columns"][name], _NEEDED.get(name, frozenset()))
            for name, rows in data["tables"].items()
            if not _REFERENCES & set(data["columns"][name])
        },
    )


def _table(
    rows: Sequence[Mapping[str, object]], kinds: Mapping[str, str], needed: Set[str] = frozenset()
) -> pd.DataFrame:
    """A result table with its dtypes; refused where it lacks a column that is needed."""
    if any(set(row) != set(kinds) for row in rows) or not needed <= set(kinds):
        raise ValueError("a row or the table lacks a column")
    of_many = [row for row in rows if row.get("by") not in _REFERENCES]
    return pd.DataFrame(
        {name: _column(name, [row[name] for row in of_many], kind) for name, kind in kinds.items()}
    )


def _column(name: str, values: list[object], kind: str) -> pd.Series:
    """Values in the dtype of their kind."""
    known = any(value is not None for value in values)
    if known and kind not in _KINDS.get(name, (kind,)):
        raise ValueError("a column of another kind than its name")
    # What is missing throughout was written without a kind of its own.
    kind = kind if known or not values else _KINDS.get(name, (kind,))[-1]
    # A column that is read by name holds nothing but text.
    types = (str,) if kind == "text" and name in _KINDS else _TYPES[kind]
    if not all(value is None or type(value) in types for value in values):
        raise ValueError("a value of another kind than its column")
    without = kind == "integer" and None in values
    column = pd.Series(values, dtype="float64" if without else _DTYPES[kind])
    if name in _COUNTS and not _counts(column):
        raise ValueError("a count that is none")
    return column


def _counts(column: pd.Series) -> bool:
    """Whether a column holds whole numbers of a size that can be counted, or nothing."""
    known = column.dropna().astype("float64")
    return bool((known.between(0, _MOST) & (known == known.round())).all())


def _text(value: object) -> str:
    """The value, which must be text."""
    if not isinstance(value, str):
        raise TypeError("not text")
    return value


def _day(value: object) -> pd.Timestamp:
    """A day; a log without any has none."""
    return pd.Timestamp("NaT") if value is None else pd.to_datetime(_text(value), format="%Y-%m-%d")
