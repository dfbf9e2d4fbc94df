"""The record of an earlier audit, read back into result tables."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

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
            name: _table(rows, data["columns"][name])
            for name, rows in data["tables"].items()
            if not _REFERENCES & set(data["columns"][name])
        },
    )


def _table(rows: Sequence[Mapping[str, object]], kinds: Mapping[str, str]) -> pd.DataFrame:
    """A result table with its dtypes."""
    if any(set(row) != set(kinds) for row in rows):
        raise ValueError("a row lacks a column")
    of_many = [row for row in rows if row.get("by") not in _REFERENCES]
    return pd.DataFrame({name: _column([row[name] for row in of_many], kind) for name, kind in kinds.items()})


def _column(values: list[object], kind: str) -> pd.Series:
    """Values in the dtype of their kind."""
    if kind == "text" and not all(value is None or isinstance(value, str | int | float) for value in values):
        raise ValueError("a text column holds something else")
    if kind == "integer" and None in values:
        return pd.Series(values, dtype="float64")
    return pd.Series(values, dtype=_DTYPES[kind])


def _text(value: object) -> str:
    """The value, which must be text."""
    if not isinstance(value, str):
        raise TypeError("not text")
    return value


def _day(value: object) -> pd.Timestamp:
    """A day; a log without any has none."""
    return pd.Timestamp("NaT") if value is None else pd.to_datetime(_text(value), format="%Y-%m-%d")
