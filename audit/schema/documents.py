"""The declarations printed: data dictionary, methods and criteria for people, a Table Schema for programs.

``python -m audit.schema.documents`` writes them into ``docs/``.
"""

import json
from pathlib import Path
from typing import Any

from audit.schema.column import Column, Table
from audit.schema.criteria_page import criteria_page
from audit.schema.methods_page import methods_page
from audit.schema.visits import ONE_OF, REQUIRED, VISITS

DICTIONARY = "data_dictionary.md"
TABLE_SCHEMA = "visits.schema.json"
METHODS = "methods.md"
CRITERIA = "criteria.md"
_TYPES = {
    "reference": "string",
    "text": "string",
    "date": "date",
    "code": "string",
    "flag": "boolean",
    "integer": "integer",
    "number": "number",
    "parity": "string",
}
_FORMS = {
    "reference": "a code",
    "text": "a code or short text",
    "date": "a date, such as 2026-09-30",
    "code": "one of the codes below",
    "flag": "yes or no",
    "integer": "a whole number",
    "number": "a number",
    "parity": "births, such as P2+1, G3P2, nullip or 2",
}
_MARKS = {
    "required": "**required**",
    "one_of": "**one of three required**",
    "recommended": "recommended",
    "optional": "optional",
    "derived": "derived",
}
_VISITS = {"all": "every visit", "insertion": "insertions", "follow_up": "follow-ups", "removal": "removals"}


def data_dictionary(table: Table) -> str:
    """The data dictionary of a table as Markdown, grouped by section.

    Parameters
    ----------
    table
        A declared table.

    Returns
    -------
    str
        Markdown that ends with a line feed.

    Examples
    --------
    >>> data_dictionary(VISITS).splitlines()[0]
    '# Data dictionary: visits'
    """
    sections = list(dict.fromkeys(column.section for column in table.columns))
    parts = [_opening(table)]
    for section in sections:
        columns = [column for column in table.columns if column.section == section]
        parts.append(_section(section, columns))
    return "\n\n".join(parts) + "\n"


def _opening(table: Table) -> str:
    """What a data clerk needs before the first column."""
    required = ", ".join(f"`{name}`" for name in REQUIRED)
    outcomes = ", ".join(f"`{name}`" for name in ONE_OF)
    return f"""# Data dictionary: {table.name}

<!-- Written by `python -m audit.schema.documents` from audit/schema/visits.py. Edit that file, not this one. -->

One row is {table.row}. The log is a CSV file (UTF-8) with a line of headings, or a Parquet file.

**A log must have** {required}, and at least one of {outcomes}.
Every other column switches named figures on. A column the log does not have is "not recorded", never a zero.

- Headings may be written in any case, with spaces, hyphens or underscores. Other headings are mapped in the
  settings under `[layout.headings]`, other codes under `[layout.codes]`.
- Leave a cell blank when nothing is known; blank is never "no". Write `unknown` when it was asked and is not known.
- Dates are written as 2026-09-30. Another order of day and month must be declared in the settings.
- Numbers have a decimal point and no thousands separators. A unit may follow, such as `7.5 cm`.
- Never write a name, a date of birth or a health-service number.
- A row is set aside, with its reason, when a required column is blank or cannot be read, or when an outcome
  is not a known code. Any other value that cannot be read counts as unknown and is listed."""


def _section(section: str, columns: list[Column]) -> str:
    """One section: a table of its columns, then the codes of those that have them."""
    lines = [
        f"## {section}",
        "",
        "| column | meaning | write | belongs to | needed |",
        "|---|---|---|---|---|",
        *(_line(column) for column in columns),
    ]
    coded = [column for column in columns if column.codes]
    if coded:
        lines += ["", "Codes:", "", *(_codes(column) for column in coded)]
    return "\n".join(lines)


def _line(column: Column) -> str:
    """One column as a line of the table."""
    visits = ", ".join(_VISITS[rows] for rows in column.rows)
    cells = (f"`{column.name}`", column.meaning, _form(column), visits, _MARKS[column.requirement])
    return f"| {' | '.join(cells)} |"


def _form(column: Column) -> str:
    """How a value is written, with unit and limits."""
    if column.kind == "date":
        years = f", {column.minimum:g} to {column.maximum:g}" if column.minimum and column.maximum else ""
        return f"a date, such as 2026-09-30{years}"
    unit = f", {column.unit}" if column.unit and column.kind != "parity" else ""
    limits = f", {column.minimum:g} to {column.maximum:g}" if _has_limits(column) else ""
    usual = (
        f" (usually {column.plausible[0]:g} to {column.plausible[1]:g})"
        if column.plausible is not None
        else ""
    )
    return f"{_FORMS[column.kind]}{unit}{limits}{usual}"


def _has_limits(column: Column) -> bool:
    """Whether both hard limits are declared."""
    return column.minimum is not None and column.maximum is not None


def _codes(column: Column) -> str:
    """The codes of one column as an item of a list."""
    return f"- `{column.name}`: {', '.join(f'`{code}`' for code in column.codes)}"


def table_schema(table: Table) -> dict[str, Any]:
    """A Table Schema of a table, for programs that export or check a log.

    Parameters
    ----------
    table
        A declared table.

    Returns
    -------
    dict
        ``fields``, each with ``name, type, title, description, constraints``; ``missingValues``, the word unknown
        among them; and ``fieldsMatch``: a log may lack fields and have others.

    References
    ----------
    Data Package standard, version 2.0: Table Schema. https://datapackage.org/standard/table-schema/

    Examples
    --------
    >>> table_schema(VISITS)["fields"][0]["name"]
    'patient_ref'
    """
    return {
        "name": table.name,
        "title": f"One row is {table.row}.",
        "fields": [_field(column) for column in table.columns],
        "missingValues": ["", "unknown"],
        # A log has the columns it has, in any order, and may have others.
        "fieldsMatch": "partial",
    }


def _field(column: Column) -> dict[str, Any]:
    """One column in the form of a Table Schema."""
    field: dict[str, Any] = {
        "name": column.name,
        "type": _TYPES[column.kind],
        "title": column.name.replace("_", " ").capitalize(),
        "description": column.meaning + (f" Unit: {column.unit}." if _has_unit(column) else ""),
        "constraints": _constraints(column),
    }
    if column.kind == "flag":
        field |= {"trueValues": ["yes"], "falseValues": ["no"]}
    return field


def _has_unit(column: Column) -> bool:
    """Whether the unit says more than the kind does."""
    return bool(column.unit) and column.kind != "date"


def _constraints(column: Column) -> dict[str, Any]:
    """The constraints of one column that a Table Schema can express."""
    constraints: dict[str, Any] = {"required": column.requirement == "required"}
    if column.codes:
        constraints["enum"] = list(column.codes)
    if column.kind in ("integer", "number", "date"):
        for name, limit in (("minimum", column.minimum), ("maximum", column.maximum)):
            if limit is not None:
                constraints[name] = _limit(column, limit, first=name == "minimum")
    return constraints


def _limit(column: Column, limit: float, *, first: bool) -> str | int | float:
    """A limit in the type of its column; a year as its first or last day."""
    if column.kind == "date":
        return f"{int(limit)}-01-01" if first else f"{int(limit)}-12-31"
    return int(limit) if float(limit).is_integer() else limit


def documents(table: Table) -> dict[str, str]:
    """The text of each document by its file name.

    Parameters
    ----------
    table
        The table of visits.

    Returns
    -------
    dict
        ``criteria.md``, ``data_dictionary.md``, ``visits.schema.json`` and ``methods.md``.

    Examples
    --------
    >>> sorted(documents(VISITS))
    ['criteria.md', 'data_dictionary.md', 'methods.md', 'visits.schema.json']
    """
    schema = json.dumps(table_schema(table), indent=2, ensure_ascii=False)
    return {
        DICTIONARY: data_dictionary(table),
        TABLE_SCHEMA: schema + "\n",
        METHODS: methods_page(),
        CRITERIA: criteria_page(),
    }


def write_documents(folder: Path) -> None:
    """Write the documents into a folder.

    Parameters
    ----------
    folder
        An existing folder.
    """
    for name, text in documents(VISITS).items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_documents(Path(__file__).resolve().parents[2] / "docs")
