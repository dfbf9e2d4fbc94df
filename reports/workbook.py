"""An audit as a workbook: what it is, what it holds, what every figure means, and a sheet for each result table."""

from collections.abc import Mapping, Sequence

import pandas as pd

from audit.records import AuditResults
from audit.schema.column import Column
from audit.schema.indicators import INDICATORS
from audit.schema.result_columns import DIFFERENCE, SHARE, result_column
from audit.schema.result_labels import STEP_TABLES, table_title
from audit.settings import definitions_version
from reports import wording
from reports.cells import harmless, plain_columns
from reports.spreadsheet import LONGEST_CELL, MOST_ROWS, Sheet, Style, sheet_names, workbook_bytes

_ABOUT, _CONTENTS, _DEFINITIONS, _COLUMNS = "About", "Contents", "Definitions", "Columns"
_HOW = (
    "Each table of the audit has a sheet of its own; the sheet Contents leads to it.",
    "Proportions are numbers from 0 to 1, shown as percentages: a cell that shows 4.80% holds 0.048.",
    "Rates are per 1 woman-year. Nothing is rounded but what is shown.",
    "An empty cell is a figure that is not there: not known, or not to be given. It is never a zero.",
    "No figure stands without its numerator (events), its denominator (n or at_risk), its limits and its method.",
    "The sheet Definitions says what each indicator counts, the sheet Columns what each column means.",
    "A text that a spreadsheet could take for a formula begins with an apostrophe. No cell is a formula.",
    "The same tables are in the folder “tables” as CSV, described in datapackage.json, and in record.json.",
)


def workbook_of(results: AuditResults) -> bytes:
    """The workbook of an audit.

    Parameters
    ----------
    results
        What `audit.run_audit` returned; nothing else is read.

    Returns
    -------
    bytes
        An Excel file that is the same for the same results. Curves hold the days the report gives; every step of
        them is in the CSV files.
    """
    shown = {name: _shown(name, table, results) for name, table in results.tables.items()}
    names = sheet_names((_ABOUT, _CONTENTS, _DEFINITIONS, _COLUMNS, *shown))
    tables = [_table_sheet(name, names[name], table) for name, table in shown.items()]
    sheets = [
        _about(results),
        _contents(results, shown, names),
        _definitions(results),
        _columns(results),
        *tables,
    ]
    return workbook_bytes(
        sheets, title=f"{results.service}: audit of {results.period.label}, not for release"
    )


def _shown(name: str, table: pd.DataFrame, results: AuditResults) -> pd.DataFrame:
    """A table as the workbook shows it: of a curve, the days that the report gives."""
    if name not in STEP_TABLES or "days" not in table:
        return table
    return table[table["days"].isin((0, *results.settings.windows.horizons))]


def _table_sheet(name: str, sheet: str, table: pd.DataFrame) -> Sheet:
    """The sheet of a result table."""
    headings = tuple(str(column) for column in table.columns)
    return Sheet(
        name=sheet,
        headings=headings,
        columns=[harmless(column) for column in plain_columns(table)],
        filtered=bool(headings),
        styles=[_style(table[heading], result_column(name, heading, headings)) for heading in headings],
    )


def _style(column: pd.Series, declared: Column | None) -> Style:
    """How the values of a column are shown."""
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        return "day"
    return "percent" if declared is not None and declared.unit in (SHARE, DIFFERENCE) else "plain"


def _about(results: AuditResults) -> Sheet:
    """What the workbook is."""
    period = results.period
    days = f"{wording.day(period.first_day)} to {wording.day(period.last_day)}"
    facts = [
        ("Service", *harmless([results.service])),
        ("Period", f"{period.label}: {days}"),
        ("Data to", wording.day(results.data_to)),
        ("Edition", "Internal: not for release. It holds exact counts and visit references."),
        ("Data", "Invented, to try the audit out" if results.synthetic else "The service's own log"),
        ("Definitions version", definitions_version(results.settings)),
        *(("How to read it" if number == 0 else "", text) for number, text in enumerate(_HOW)),
    ]
    return Sheet(
        _ABOUT,
        ("Audit of intrauterine device insertions and what became of them", ""),
        _transposed(facts, 2),
        styles=("wrapped", "wrapped"),
        widths=(24, 110),
        filtered=False,
    )


def _contents(results: AuditResults, shown: Mapping[str, pd.DataFrame], names: Mapping[str, str]) -> Sheet:
    """The list of sheets, each with a link, its title and its size."""
    lines: list[tuple[object, ...]] = [
        (_ABOUT, "What this workbook is", None, None, ""),
        (_DEFINITIONS, "What each indicator counts", None, None, ""),
        (_COLUMNS, "What each column means", None, None, ""),
    ]
    for name, table in shown.items():
        note = _note(name, results.tables[name], table, results)
        lines.append(
            (names[name], table_title(name), len(results.tables[name]), min(len(table), MOST_ROWS - 1), note)
        )
    return Sheet(
        _CONTENTS,
        ("sheet", "title", "rows_in_table", "rows_here", "note"),
        _transposed(lines, 5),
        styles=("link", "plain", "plain", "plain", "plain"),
        links={row: str(line[0]) for row, line in enumerate(lines, start=1)},
    )


def _note(name: str, whole: pd.DataFrame, table: pd.DataFrame, results: AuditResults) -> str:
    """What a sheet leaves out, and where it is."""
    notes = []
    place = f"tables/{name}.csv holds all."
    if name in STEP_TABLES and len(table) < len(whole):
        days = wording.listed([str(day) for day in (0, *results.settings.windows.horizons)])
        notes.append(f"Days {days} only; {place}")
    if len(table) >= MOST_ROWS:
        notes.append(f"Only the first {wording.count(MOST_ROWS - 1)} rows, as a sheet holds no more; {place}")
    if any(_too_long(table[column]) for column in table.columns):
        notes.append(f"Texts over {wording.count(LONGEST_CELL)} characters are cut; {place}")
    return " ".join(notes)


def _too_long(column: pd.Series) -> bool:
    """Whether a text of the column is longer than a cell may be."""
    return column.dtype.kind not in "biufM" and any(
        isinstance(value, str) and len(value) > LONGEST_CELL for value in column
    )


def _definitions(results: AuditResults) -> Sheet:
    """What each indicator asks and counts."""
    lines = [
        (
            one.title,
            one.table,
            "yes" if one.table in results.tables else "no",
            *(one.question, one.numerator, one.denominator, one.unknowns, one.method, one.source),
        )
        for one in INDICATORS
    ]
    headings = (
        *(
            "indicator",
            "table",
            "in_this_audit",
            "question",
            "numerator",
            "denominator",
            "unknowns",
            "method",
        ),
        "source",
    )
    wrapped: list[Style] = ["wrapped"] * len(headings)
    return Sheet(
        _DEFINITIONS,
        headings,
        _transposed(lines, len(headings)),
        styles=wrapped,
        widths=(28, 30, 14, 36, 44, 44, 40, 50, 50),
    )


def _columns(results: AuditResults) -> Sheet:
    """What each column of each table means."""
    lines: list[tuple[object, ...]] = []
    for name, table in results.tables.items():
        headings = tuple(str(column) for column in table.columns)
        for heading in headings:
            column = result_column(name, heading, headings)
            known = ("", "") if column is None else (column.meaning, column.unit)
            lines.append((name, heading, *known))
    return Sheet(_COLUMNS, ("table", "column", "meaning", "unit"), _transposed(lines, 4))


def _transposed(lines: Sequence[Sequence[object]], width: int) -> list[list[object]]:
    """Lines as columns."""
    return [[line[place] for line in lines] for place in range(width)]
