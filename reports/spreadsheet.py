"""Sheets into the bytes of a workbook: the same sheets always give the same bytes, and no cell is a formula."""

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import chain, count
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.worksheet import Worksheet

Style = Literal["plain", "day", "percent", "link", "wrapped"]
MOST_ROWS, LONGEST_CELL, LONGEST_NAME = 1_048_576, 32_767, 31
CUT = " ... (cut: longer than a cell may be)"
_NO_NAME = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
# What XML cannot hold.
_NO_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_numbers": False,
    "strings_to_urls": False,
}
_FORMATS: Mapping[str, Mapping[str, object]] = {
    "plain": {},
    "day": {"num_format": "yyyy-mm-dd"},
    "percent": {"num_format": "0.00%"},
    "link": {"underline": 1, "font_color": "#1F4E8C"},
    "wrapped": {"text_wrap": True, "valign": "top"},
    "heading": {"bold": True, "bg_color": "#EDEAE1"},
    "title": {"bold": True, "font_size": 14},
}
# Else the time of its making would stand in the file.
_MADE = datetime(1980, 1, 1)


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, the headings, and the columns under them, as plain values.

    `styles` gives the style of each column; of a ``day`` column the values are ISO dates. `links` maps a row
    (counted from 1 below the headings) to the sheet its first cell leads to. Without `filtered` the headings are
    no frozen row with filters: the sheet is read, not sorted.
    """

    name: str
    headings: Sequence[str]
    columns: Sequence[Sequence[object]]
    styles: Sequence[Style] = ()
    widths: Sequence[int] = ()
    links: Mapping[int, str] | None = None
    filtered: bool = True


def sheet_names(names: Sequence[str]) -> dict[str, str]:
    """A name for each sheet that is short, legal and unlike every other.

    Parameters
    ----------
    names
        What the sheets would be called.

    Returns
    -------
    dict
        The name of each sheet: 31 characters at most, none of ``[ ] : * ? / \\``, unlike in any case.

    Examples
    --------
    >>> sheet_names(["a/b", "A_b", "x" * 40])["x" * 40]
    'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx'
    >>> list(sheet_names(["a/b", "A_b"]).values())
    ['a_b', 'A_b 2']
    """
    given: dict[str, str] = {}
    # A spreadsheet keeps this name for itself.
    taken = {"history"}
    for name in names:
        short = _NO_NAME.sub("_", name).strip("'") or "_"
        ends = chain(("",), (f" {number}" for number in count(2)))
        tries = (short[: LONGEST_NAME - len(end)] + end for end in ends)
        given[name] = next(one for one in tries if one.casefold() not in taken)
        taken.add(given[name].casefold())
    return given


def workbook_bytes(sheets: Sequence[Sheet], *, title: str) -> bytes:
    """A workbook of these sheets, in their order.

    Parameters
    ----------
    sheets
        What to write; names as `sheet_names` gives them. Rows beyond the last a sheet can hold are left out, and
        text beyond what a cell can hold is cut and says so.
    title
        Title in the properties of the file.

    Returns
    -------
    bytes
        The file, with no time of its making in it.
    """
    from xlsxwriter import Workbook

    out = io.BytesIO()
    with Workbook(out, _OPTIONS) as book:
        book.set_properties({"title": _legal(title), "author": "iud-clinic-audit", "created": _MADE})
        formats = {name: book.add_format(dict(look)) for name, look in _FORMATS.items()}
        for sheet in sheets:
            _write(book, sheet, formats)
    return out.getvalue()


def _write(book: "Workbook", sheet: Sheet, formats: Mapping[str, Any]) -> None:
    """One sheet, set up to be printed across and to keep its headings in sight."""
    page, rows = book.add_worksheet(sheet.name), _rows(sheet)
    page.set_landscape()
    page.set_paper(9)
    page.fit_to_pages(1, 0)
    page.set_footer("&LNot for release&RPage &P of &N")
    for place, width in enumerate(sheet.widths or _fitting_widths(sheet)):
        page.set_column(place, place, width)
    for place, heading in enumerate(sheet.headings):
        page.write_string(0, place, heading, formats["heading" if sheet.filtered else "title"])
    for place, column in enumerate(sheet.columns):
        style = sheet.styles[place] if sheet.styles else "plain"
        # Most cells are plain; that they name no format spares a tenth of the time.
        _write_column(page, place, column[:rows], style, None if style == "plain" else formats[style])
    for row, name in (sheet.links or {}).items():
        page.write_url(row, 0, f"internal:{_quoted(name)}!A1", formats["link"], name)
    if sheet.filtered:
        page.freeze_panes(1, 0)
        page.autofilter(0, 0, rows, max(len(sheet.headings), 1) - 1)


def _write_column(page: "Worksheet", place: int, column: Sequence[object], style: Style, look: Any) -> None:
    """The cells of a column; a value that is missing has none."""
    texts = {value: _legal(value) for value in set(column) if isinstance(value, str)}
    for row, value in enumerate(column, start=1):
        if value is None or value == "":
            continue
        if isinstance(value, bool):
            page.write_boolean(row, place, value)
        elif isinstance(value, int | float):
            page.write_number(row, place, value, look)
        elif style == "day":
            page.write_datetime(row, place, date.fromisoformat(str(value)), look)
        else:
            page.write_string(row, place, texts[str(value)], look)


def _legal(text: str) -> str:
    """Text as a cell can hold it."""
    if len(text) > LONGEST_CELL:
        text = text[: LONGEST_CELL - len(CUT)] + CUT
    return _NO_TEXT.sub("\ufffd", text.replace("\r\n", "\n").replace("\r", "\n"))


def _quoted(name: str) -> str:
    """The name of a sheet as a reference writes it."""
    doubled = name.replace("'", "''")
    return f"'{doubled}'"


def _rows(sheet: Sheet) -> int:
    """How many rows are written below the headings."""
    return min(max((len(column) for column in sheet.columns), default=0), MOST_ROWS - 1)


def _fitting_widths(sheet: Sheet) -> list[int]:
    """The widths of the columns, in characters, from their headings and first values."""
    return [_width(heading, column) for heading, column in zip(sheet.headings, sheet.columns, strict=True)]


def _width(heading: str, column: Sequence[object]) -> int:
    """How wide a column is."""
    longest = max((len(value) for value in column[:200] if isinstance(value, str)), default=8)
    return min(max(len(heading) + 4, longest + 2, 9), 60)
