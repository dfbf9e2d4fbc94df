"""The CSV tables described for programs: a Frictionless Data Package."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import pandas as pd

from audit.records import AuditResults
from audit.schema.column import Column
from audit.schema.result_columns import result_column
from audit.schema.result_labels import primary_key, table_title
from reports.export import kind_of

_TYPES = {
    "text": "string",
    "code": "string",
    "flag": "boolean",
    "integer": "integer",
    "number": "number",
    "date": "date",
}
_TITLES = {"Ci": "CI", "ci": "CI", "Km": "Kaplan-Meier", "km": "Kaplan-Meier"}


def data_package_text(results: AuditResults, written: Mapping[str, bytes]) -> str:
    """The descriptor of the CSV tables in an output folder.

    Parameters
    ----------
    results
        What `audit.run_audit` returned; nothing else is read.
    written
        The files of the folder by name; those under ``tables/`` are described.

    Returns
    -------
    str
        JSON: for each table its columns with type, title, meaning, unit and limits as declared, its key where it
        has one, size and fingerprint.

    References
    ----------
    Data Package standard, version 1: Tabular Data Package. https://specs.frictionlessdata.io/tabular-data-package/
    """
    descriptor = {
        "profile": "tabular-data-package",
        "name": "iud-clinic-audit",
        "title": f"{results.service}: audit of {results.period.label}",
        "description": (
            "Result tables of an audit of intrauterine device insertions. Not for release: exact counts and visit "
            "references. Proportions are 0 to 1, rates per 1 woman-year. A text that a spreadsheet could take for "
            "a formula begins with an apostrophe."
        ),
        "resources": [
            _resource(name, table, written[f"tables/{name}.csv"]) for name, table in results.tables.items()
        ],
    }
    return json.dumps(descriptor, ensure_ascii=False, indent=1) + "\n"


def _resource(name: str, table: pd.DataFrame, content: bytes) -> dict[str, Any]:
    """One table."""
    columns = tuple(str(column) for column in table.columns)
    schema: dict[str, Any] = {
        "fields": [
            _field(column, kind_of(table[column]), result_column(name, column, columns)) for column in columns
        ],
        "missingValues": [""],
    }
    if key := primary_key(name, columns):
        schema["primaryKey"] = list(key)
    return {
        "profile": "tabular-data-resource",
        # The standard allows small letters, figures, hyphens and full stops.
        "name": name.replace("_", "-"),
        "title": table_title(name),
        "path": f"tables/{name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(content),
        "hash": f"sha256:{hashlib.sha256(content).hexdigest()}",
        "dialect": {"delimiter": ",", "lineTerminator": "\n", "quoteChar": '"', "doubleQuote": True},
        "schema": schema,
    }


def _field(name: str, kind: str, declared: Column | None) -> dict[str, Any]:
    """One column; of one that is not declared, the kind that its table gives it."""
    if declared is None:
        return {"name": name, "type": _TYPES[kind]}
    field: dict[str, Any] = {
        "name": name,
        "type": _TYPES[declared.kind],
        "title": " ".join(_TITLES.get(word, word) for word in name.capitalize().split("_")),
        "description": declared.meaning,
    }
    if declared.unit:
        field["unit"] = declared.unit
    if declared.kind == "flag":
        field |= {"trueValues": ["True"], "falseValues": ["False"]}
    limits = {"minimum": declared.minimum, "maximum": declared.maximum, "enum": list(declared.codes)}
    constraints = {limit: value for limit, value in limits.items() if value is not None and value != []}
    return field | ({"constraints": constraints} if constraints else {})
