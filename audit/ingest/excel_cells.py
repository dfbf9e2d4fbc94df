"""The cells of one sheet as text, each row with its line: values only, nothing worked out."""

import datetime
import io
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from xml.etree import ElementTree

from audit.errors import UnreadableFile
from audit.ingest.excel_copy import MAX_ROWS, copied, has_formulas, without_formula_text
from audit.ingest.excel_package import Workbook
from audit.ingest.parquet import text_of

# As a column too narrow for its value shows; every parser reads it as an error, never as blank.
NO_VALUE = "#######"
# No such day: what is written for a number that is formatted as a date and is none.
NO_DAY = "1900-02-29"
# Spreadsheets keep 15 digits; a longer number has lost its last ones.
_EXACT = 10**15
_SERIALS = (10_000, 2_958_465)
_FAULTS = (
    AttributeError,
    IndexError,
    KeyError,
    OverflowError,
    RecursionError,
    TypeError,
    ValueError,
    ElementTree.ParseError,
)


@dataclass(frozen=True)
class SheetRow:
    """One row with any value: its line, and the text of each cell by its place from 0."""

    line: int
    cells: dict[int, str] = field(repr=False)


@dataclass(frozen=True)
class Sheet:
    """The rows of a sheet that hold any value, and where formulas have no stored value: (line, place)."""

    rows: tuple[SheetRow, ...] = field(repr=False)
    without_value: tuple[tuple[int, int], ...] = ()


def read_sheet(book: Workbook, name: str, cells: bytes, *, decimal_comma: bool = False) -> Sheet:
    """The cells of a sheet as text.

    Parameters
    ----------
    book
        From `open_workbook`.
    name
        Name of the sheet.
    cells
        From `sheet_cells`.
    decimal_comma
        Numbers are written 7,5 in this log, so numeric cells are too.

    Returns
    -------
    Sheet
        Dates are ISO without their time, whole numbers without a decimal point, booleans yes and no, numbers
        of more than 15 digits as 9.00720E+15, and formulas that the workbook holds no value for `NO_VALUE`.

    Raises
    ------
    UnreadableFile
        The sheet is damaged or has more rows than a sheet can have.
    """
    first_day = datetime.date(1904, 1, 1) if book.from_1904 else datetime.date(1900, 3, 1)
    formulas = _formulas(book, name, cells) if has_formulas(cells) else frozenset()

    def text(cell: Any) -> str:
        # A formula that gives an empty text is stored as text, one that was never worked out is not.
        unknown = cell.value is None and cell.data_type != "str"
        if unknown and (cell.row, cell.column - 1) in formulas:
            return NO_VALUE
        return _text(cell.value, first_day, decimal_comma)

    rows = _rows(copied(book, {name: cells}), name, book.name, text, data_only=True)
    return Sheet(
        rows=tuple(SheetRow(line, found) for line, found in rows.items() if found),
        without_value=tuple(
            place for place in sorted(formulas) if rows[place[0]].get(place[1], "") == NO_VALUE
        ),
    )


def _formulas(book: Workbook, name: str, cells: bytes) -> frozenset[tuple[int, int]]:
    """Where formulas stand: line, and place from 0."""
    copy = copied(book, {name: without_formula_text(cells)})
    rows = _rows(copy, name, book.name, lambda cell: "f" if cell.data_type == "f" else "", data_only=False)
    return frozenset((line, place) for line, found in rows.items() for place in found)


def _rows(
    octets: bytes, name: str, where: str, say: Callable[[Any], str], *, data_only: bool
) -> dict[int, dict[int, str]]:
    """What there is to say of the cells in the file, by line and place; blank ones left out."""
    from openpyxl import load_workbook
    from openpyxl.cell.read_only import EmptyCell

    rows = {}
    try:
        with warnings.catch_warnings():
            # What it cannot keep, such as odd dates, it says as warnings; we look at each cell ourselves.
            warnings.simplefilter("ignore")
            sheet = load_workbook(io.BytesIO(octets), read_only=True, data_only=data_only)[name]
            for line, row in enumerate(sheet.iter_rows(), start=1):
                _refuse_line(line, where)
                texts = {place: say(cell) for place, cell in enumerate(row) if type(cell) is not EmptyCell}
                rows[line] = {place: text for place, text in texts.items() if text and not text.isspace()}
    except _FAULTS:
        raise UnreadableFile(f"{where}: the sheet is damaged. Save the workbook again.") from None
    return rows


def _refuse_line(line: int, where: str) -> None:
    """Refuse a row further down than a sheet goes."""
    if line > MAX_ROWS:
        raise UnreadableFile(f"{where}: has a row beyond line {MAX_ROWS:,}. Save the workbook again.")


def _text(value: Any, first_day: datetime.date, decimal_comma: bool) -> str:
    """The text of one cell."""
    if isinstance(value, datetime.date):
        day = value.date() if isinstance(value, datetime.datetime) else value
        return day.isoformat() if day >= first_day else NO_DAY
    if isinstance(value, bool) or not isinstance(value, int | float):
        return text_of(value)
    if abs(value) >= _EXACT:
        return f"{value:.5E}"
    return text_of(value).replace(".", ",") if decimal_comma else text_of(value)


def day_of_serial(text: str, *, from_1904: bool) -> str:
    """The ISO date of a day number that a workbook holds without the format of a date.

    Parameters
    ----------
    text
        A cell of a column of dates.
    from_1904
        Whether the workbook counts days from 1904.

    Returns
    -------
    str
        The text as it was unless it is a number from 10,000 (May 1927, or 1931) to the year 9999; smaller
        ones are more likely a year. The fraction is the time of day and is dropped.

    Examples
    --------
    >>> day_of_serial("46204.75", from_1904=False), day_of_serial("44742", from_1904=True)
    ('2026-07-01', '2026-07-01')
    >>> day_of_serial("60", from_1904=False), day_of_serial("2019", from_1904=False)
    ('60', '2019')
    """
    found = re.fullmatch(r"([0-9]{5,7})(?:[.,][0-9]+)?", text.strip())
    if found is None or not _SERIALS[0] <= int(found[1]) <= _SERIALS[1]:
        return text
    # 1900 was no leap year but spreadsheets count one, so the days after it start from 30 December 1899.
    start = datetime.date(1904, 1, 1) if from_1904 else datetime.date(1899, 12, 30)
    try:
        return (start + datetime.timedelta(days=int(found[1]))).isoformat()
    except OverflowError:
        return text
