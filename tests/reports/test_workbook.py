"""The workbook, read back by an outside reader: openpyxl, and pandas on top of it."""

import datetime
import io
import itertools
import re
import zipfile
from dataclasses import replace
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pytest

from audit.records import AuditResults
from audit.schema.result_labels import STEP_TABLES
from reports.spreadsheet import LONGEST_CELL, LONGEST_NAME, MOST_ROWS, sheet_names
from reports.workbook import workbook_of

FRONT = ["About", "Contents", "Definitions", "Columns"]


@pytest.fixture(scope="module")
def written(demo_results: AuditResults) -> bytes:
    return workbook_of(demo_results)


@pytest.fixture(scope="module")
def book(written: bytes) -> Any:
    return openpyxl.load_workbook(io.BytesIO(written))


def _expected(value: Any) -> object:
    """A value as a reader of the workbook is to find it."""
    if pd.isna(value) or value == "" or (isinstance(value, float) and np.isinf(value)):
        return None
    if isinstance(value, pd.Timestamp):
        return datetime.datetime(value.year, value.month, value.day)
    if isinstance(value, str):
        return f"'{value}" if value[0] in "=+-@\t\r\0" else value
    return value.item() if isinstance(value, np.generic) else value


def _shown(name: str, table: pd.DataFrame, results: AuditResults) -> pd.DataFrame:
    """The rows that the workbook holds of a table."""
    days = [0, *results.settings.windows.horizons]
    return table[table["days"].isin(days)] if name in STEP_TABLES else table


def _rows(sheet: Any) -> list[tuple[object, ...]]:
    return list(sheet.iter_rows(values_only=True))


def _alike(read: object, held: object) -> bool:
    """Whether two cells hold the same, numbers to 15 digits; a yes is no 1, although both are equal."""
    if isinstance(held, int | float) and not isinstance(held, bool):
        return type(read) in (int, float) and read == pytest.approx(held, rel=1e-15, abs=0)
    return type(read) is type(held) and read == held


def test_every_table_has_a_sheet_that_holds_its_values_in_their_types(
    book: Any, demo_results: AuditResults
) -> None:
    assert book.sheetnames == [*FRONT, *demo_results.tables]
    cells = 0
    for name, table in demo_results.tables.items():
        heading, *rows = _rows(book[name])
        assert list(heading) == list(table.columns), name
        shown = _shown(name, table, demo_results)
        expected = [tuple(map(_expected, row)) for row in shown.itertuples(index=False, name=None)]
        assert len(rows) == len(expected), name
        # A workbook holds 16 digits of a number, one fewer than tell every float apart.
        assert all(map(_alike, itertools.chain(*rows), itertools.chain(*expected))), name
        cells += shown.size
    assert cells > 50_000


def test_pandas_reads_a_sheet_as_the_table_it_came_from(written: bytes, demo_results: AuditResults) -> None:
    table = demo_results.tables["failed_insertions"]
    read = pd.read_excel(io.BytesIO(written), sheet_name="failed_insertions")
    pd.testing.assert_frame_equal(
        read[["events", "n", "proportion", "ci_upper"]], table[["events", "n", "proportion", "ci_upper"]]
    )


def test_a_curve_holds_the_days_of_the_report_and_the_contents_say_where_the_steps_are(
    book: Any, demo_results: AuditResults
) -> None:
    for name in STEP_TABLES:
        rows = _rows(book[name])
        days = {row[rows[0].index("days")] for row in rows[1:]}
        assert days == {0, *demo_results.settings.windows.horizons}
        (line,) = [row for row in _rows(book["Contents"]) if row[0] == name]
        assert line[2:4] == (len(demo_results.tables[name]), len(rows) - 1)
        assert line[4] == f"Days 0, 42, 91, 182, 365, 730 and 1095 only; tables/{name}.csv holds all."


def test_headings_stay_in_sight_and_filter_the_rows_below(book: Any, demo_results: AuditResults) -> None:
    for name in (*FRONT[1:], *demo_results.tables):
        sheet = book[name]
        assert sheet.freeze_panes == "A2", name
        assert sheet.auto_filter.ref == sheet.dimensions, name
        assert sheet["A1"].font.bold, name
        assert all(9 <= size.width < 61 for size in sheet.column_dimensions.values()), name
    assert book["About"].freeze_panes is None


def test_proportions_show_as_percentages_and_other_numbers_as_they_are(book: Any) -> None:
    def form(sheet: str, column: str) -> str:
        place = _rows(book[sheet])[0].index(column) + 1
        return str(book[sheet].cell(2, place).number_format)

    for column in ("proportion", "ci_lower", "exact_upper", "bound_lower"):
        assert form("failed_insertions", column) == "0.00%"
    for sheet, column in (
        ("failed_insertions", "n"),
        ("person_time_rates", "rate"),
        ("person_time_rates", "ci_lower"),
        ("expulsion_hazard_ratios", "ci_upper"),
        ("continuation_differences", "difference"),
    ):
        assert form(sheet, column) == "General", (sheet, column)
    assert form("vasovagal_contrasts", "difference") == "0.00%"
    assert form("action_list", "date") == "yyyy-mm-dd"


def test_the_first_sheet_says_what_it_is(book: Any) -> None:
    facts = {row[0]: row[1] for row in _rows(book["About"]) if row[0]}
    assert facts["Service"] == "Larkfield Coast Contraception Service"
    assert facts["Period"] == "2026-Q3: 1 July 2026 to 30 September 2026"
    assert facts["Data to"] == "14 October 2026"
    assert "not for release" in facts["Edition"]
    assert facts["Definitions version"].startswith("1.")
    told = " ".join(str(row[1]) for row in _rows(book["About"]))
    assert "4.80% holds 0.048" in told
    assert "datapackage.json" in told


def test_the_contents_lead_to_every_sheet(book: Any) -> None:
    listed = [row[0] for row in _rows(book["Contents"])[1:]]
    assert listed == [name for name in book.sheetnames if name != "Contents"]
    for row, name in enumerate(listed, start=2):
        assert book["Contents"].cell(row, 1).hyperlink.location == f"'{name}'!A1"


def test_every_column_of_every_table_is_explained(book: Any, demo_results: AuditResults) -> None:
    _, *lines = _rows(book["Columns"])
    assert [(line[0], line[1]) for line in lines] == [
        (name, column) for name, table in demo_results.tables.items() for column in table.columns
    ]
    assert all(line[2] for line in lines)
    units = {(line[0], line[1]): line[3] for line in lines}
    assert units["failed_insertions", "ci_lower"] == "proportion, 0 to 1"
    assert units["person_time_rates", "ci_lower"] == "per woman-year"


def test_each_indicator_says_what_it_counts(book: Any) -> None:
    heading, *lines = _rows(book["Definitions"])
    (line,) = [line for line in lines if line[0] == "Failed insertions"]
    told = dict(zip(heading, line, strict=True))
    assert told["question"] == "How often could a device not be placed?"
    assert told["in_this_audit"] == "yes"
    assert all(told[name] for name in ("numerator", "denominator", "unknowns", "method", "source"))


NASTY = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(1)",
    "\t=1",
    "<b>&\"'",
    "_x0041_",
    "a\rb\nc",
    " edge ",
    "\x07bell",
    "\ud800",
]


def test_no_text_is_a_formula_or_breaks_the_file(make_results: Any) -> None:
    content = workbook_of(make_results({"of_ours": pd.DataFrame({"text": NASTY})}, service="=cmd()"))
    book = openpyxl.load_workbook(io.BytesIO(content))
    cells = [row[0] for row in book["of_ours"].iter_rows(min_row=2)]
    assert {cell.data_type for cell in cells} == {"s"}
    read = [cell.value for cell in cells]
    assert read[:6] == ["'=1+1", "'+1", "'-1", "'@SUM(1)", "'\t=1", "<b>&\"'"]
    assert read[6:] == ["_x0041_", "a\nb\nc", " edge ", "\ufffdbell", "\ufffd"]
    assert book["About"]["B2"].value == "'=cmd()"
    with zipfile.ZipFile(io.BytesIO(content)) as package:
        # What reads like this format's own escape would else be read as the letter A.
        assert b"_x005F_x0041_" in package.read("xl/sharedStrings.xml")
        assert not [name for name in package.namelist() if b"<f" in package.read(name) and "sheets/" in name]


def test_nothing_in_the_file_tells_when_or_where_it_was_made(
    written: bytes, demo_results: AuditResults
) -> None:
    with zipfile.ZipFile(io.BytesIO(written)) as package:
        entries = package.infolist()
        assert {entry.date_time for entry in entries} == {(1980, 1, 1, 0, 0, 0)}
        assert {entry.create_system for entry in entries} == {3}
        told = package.read("docProps/core.xml").decode()
        assert set(re.findall(r"\d{4}-\d\d-\d\dT[^<]*", told)) == {"1980-01-01T00:00:00Z"}
    assert workbook_of(demo_results) == written


def test_names_of_sheets_are_short_legal_and_unlike_in_any_case() -> None:
    asked = ["About", "about", "History", "a[b]:c*d?e/f\\g", "'quoted'", "", "x" * 31, "x" * 32, "x" * 33]
    given = sheet_names(asked)
    names = [given[name] for name in asked]
    assert names[:3] == ["About", "about 2", "History 2"]
    assert len({name.casefold() for name in names}) == len(asked)
    for name in names:
        assert 0 < len(name) <= LONGEST_NAME
        assert not set(name) & set("[]:*?/\\")
        assert not name.startswith("'")


def test_what_a_sheet_cannot_hold_is_cut_and_the_contents_say_so(make_results: Any) -> None:
    long = pd.DataFrame({"n": np.zeros(MOST_ROWS + 5, dtype="int64")})
    wide = pd.DataFrame({"text": ["y" * (LONGEST_CELL + 1), "z" * LONGEST_CELL]})
    content = workbook_of(make_results({"long": long, "wide": wide}))
    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True)
    assert book["long"].max_row == MOST_ROWS
    notes = {row[0]: row[2:] for row in _rows(book["Contents"])}
    assert notes["long"] == (
        MOST_ROWS + 5,
        MOST_ROWS - 1,
        "Only the first 1,048,575 rows, as a sheet holds no more; tables/long.csv holds all.",
    )
    assert notes["wide"][2] == "Texts over 32,767 characters are cut; tables/wide.csv holds all."
    cut, whole = (row[0] for row in _rows(book["wide"])[1:])
    assert len(str(cut)) == LONGEST_CELL
    assert str(cut).endswith("... (cut: longer than a cell may be)")
    assert whole == "z" * LONGEST_CELL


def test_an_audit_with_nothing_in_it_has_a_workbook(make_results: Any) -> None:
    empty = pd.DataFrame({"events": pd.Series(dtype="int64"), "caution": pd.Series(dtype="object")})
    results = replace(make_results({"empty": empty}), data_to=pd.NaT)
    book = openpyxl.load_workbook(io.BytesIO(workbook_of(results)))
    assert _rows(book["empty"]) == [("events", "caution")]
    assert book["empty"].auto_filter.ref == "A1:B1"
