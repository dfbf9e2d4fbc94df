"""Result tables into files: CSV, the JSON record, the manifest. One `AuditResults` in, nothing else."""

import csv
import io
import json
from collections.abc import Mapping

import pandas as pd

from audit.records import RECORD_VERSION, AuditResults
from audit.settings import definitions_version, settings_fingerprint
from reports.cells import harmless, plain_columns, plain_value
from reports.folder import TOOL, sha256_of

_KINDS = {"b": "flag", "i": "integer", "u": "integer", "f": "number", "M": "date"}


def record_text(results: AuditResults) -> str:
    """Every result as one JSON document, the input of the next audit.

    Missing is null, dates are ISO, there is no NaN, no infinity and no date of the run.
    """
    record = {
        "record": TOOL,
        "record_version": RECORD_VERSION,
        "release": "not for release",
        **_identity(results),
        "gate": results.gate,
        "columns": {name: _kinds(table) for name, table in results.tables.items()},
        "tables": {name: _row_objects(table) for name, table in results.tables.items()},
    }
    return json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def table_text(table: pd.DataFrame) -> str:
    """A result table as CSV, its text cells made safe for a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table.columns)
    columns = [harmless(column) for column in plain_columns(table)]
    # A value that is missing is written as an empty cell.
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue()


def manifest_text(results: AuditResults, written: Mapping[str, bytes]) -> str:
    """What was read, with which settings and versions, and the fingerprint of every file written.

    Names of input files are left out, since a file name can identify.
    """
    manifest = {
        "manifest": TOOL,
        "release": "not for release",
        **_identity(results),
        "inputs": [
            {
                "sha256": source.sha256,
                "bytes": source.size,
                "encoding": source.encoding,
                "delimiter": source.delimiter,
                "rows": source.rows,
            }
            for source in results.sources
        ],
        "row_accounting": _row_objects(results.tables["row_accounting"]),
        "files": {name: sha256_of(content) for name, content in sorted(written.items())},
    }
    return json.dumps(manifest, ensure_ascii=False, indent=2) + "\n"


def kind_of(column: pd.Series) -> str:
    """What a column of a result table holds: ``flag``, ``integer``, ``number``, ``date`` or ``text``."""
    return _KINDS.get(column.dtype.kind, "text")


def _identity(results: AuditResults) -> dict[str, object]:
    """What dates and identifies an audit."""
    return {
        "service": results.service,
        "synthetic": results.synthetic,
        "period": {
            "label": results.period.label,
            "first_day": plain_value(results.period.first_day),
            "last_day": plain_value(results.period.last_day),
        },
        "data_to": plain_value(results.data_to),
        "data_version": results.settings.calendar.data_version,
        "definitions_version": definitions_version(results.settings),
        "settings_sha256": settings_fingerprint(results.settings),
        "key_id": results.key_id or None,
        "versions": dict(results.versions),
    }


def _row_objects(table: pd.DataFrame) -> list[dict[str, object]]:
    """The rows of a table as JSON objects; columns that are missing throughout a row stay, as null."""
    names = table.columns.tolist()
    return [dict(zip(names, row, strict=True)) for row in zip(*plain_columns(table), strict=True)]


def _kinds(table: pd.DataFrame) -> dict[str, str]:
    """What each column holds, so that a reader of the record need not guess it from the rows."""
    return {str(name): kind_of(table[name]) for name in table.columns}
