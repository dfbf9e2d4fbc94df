"""Sheets into the bytes of a workbook: the same sheets always give the same bytes, and no cell is a formula.

Only what a table needs of the format is written, column by column, which is what makes it quick. References:
ECMA-376, Office Open XML File Formats, part 1: SpreadsheetML; part 2: Open Packaging Conventions.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import chain, count
from xml.sax.saxutils import escape, quoteattr

from reports.spreadsheet_package import DAY, HEADING, PLAIN, TITLE, package_bytes, quoted, sheet_xml

MOST_ROWS, LONGEST_CELL, LONGEST_NAME = 1_048_576, 32_767, 31
CUT = " ... (cut: longer than a cell may be)"
_FIRST_DAY = date(1899, 12, 30)
_NO_NAME = re.compile(r"[\[\]:*?/\\\x00-\x1f]")
# What XML cannot hold; and what reads like this format's own escape of it.
_NO_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_LIKE_AN_ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}_)")


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, the headings, and the columns under them, as plain values.

    `styles` gives the style of each column; of a `DAY` column the values are ISO dates. `links` maps a row
    (counted from 1 below the headings) to the sheet its first cell leads to. Without `filtered` the headings are
    no frozen row with filters: the sheet is read, not sorted.
    """

    name: str
    headings: Sequence[str]
    columns: Sequence[Sequence[object]]
    styles: Sequence[int] = ()
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
    texts: dict[str, int] = {}
    written = [_sheet(sheet, texts) for sheet in sheets]
    ranges = {sheet.name: _reach(sheet, "$") if sheet.filtered else "" for sheet in sheets}
    return package_bytes(written, ranges, [_escaped(text) for text in texts], title=_escaped(title))


def column_letters(number: int) -> str:
    """The letters of a column, counted from 1.

    Examples
    --------
    >>> column_letters(1), column_letters(26), column_letters(27), column_letters(703)
    ('A', 'Z', 'AA', 'AAA')
    """
    letters = ""
    while number:
        number, left = divmod(number - 1, 26)
        letters = chr(65 + left) + letters
    return letters


def _sheet(sheet: Sheet, texts: dict[str, int]) -> str:
    """One sheet; `texts` takes up what is new to it."""
    rows, styles = _rows(sheet), sheet.styles or [PLAIN] * len(sheet.headings)
    top = HEADING if sheet.filtered else TITLE
    heads = [
        f'<c r="{column_letters(place)}1" s="{top}"{_text(heading, texts)}'
        for place, heading in enumerate(sheet.headings, start=1)
    ]
    cells = [
        _cells(column[:rows], column_letters(place), style, texts)
        for place, (column, style) in enumerate(zip(sheet.columns, styles, strict=True), start=1)
    ]
    lines = (
        f'<row r="{number}">{"".join(row)}</row>'
        for number, row in enumerate(zip(*cells, strict=True), start=2)
    )
    return sheet_xml(
        f'<row r="1">{"".join(heads)}</row>{"".join(lines)}',
        reach=_reach(sheet),
        filtered=sheet.filtered,
        widths=sheet.widths or _fitting_widths(sheet),
        links=_links(sheet),
    )


def _rows(sheet: Sheet) -> int:
    """How many rows are written below the headings."""
    return min(max((len(column) for column in sheet.columns), default=0), MOST_ROWS - 1)


def _reach(sheet: Sheet, mark: str = "") -> str:
    """The range of a sheet that is filled, with a mark before each part where it is to be absolute."""
    last = column_letters(max(len(sheet.headings), 1))
    return f"{mark}A{mark}1:{mark}{last}{mark}{_rows(sheet) + 1}"


def _fitting_widths(sheet: Sheet) -> list[int]:
    """The widths of the columns, in characters, from their headings and first values."""
    return [_width(heading, column) for heading, column in zip(sheet.headings, sheet.columns, strict=True)]


def _width(heading: str, column: Sequence[object]) -> int:
    """How wide a column is."""
    longest = max((len(value) for value in column[:200] if isinstance(value, str)), default=8)
    return min(max(len(heading) + 4, longest + 2, 9), 60)


def _links(sheet: Sheet) -> str:
    """Links from the first cell of a row to another sheet."""
    found = "".join(
        f'<hyperlink ref="A{row + 1}" location={quoteattr(quoted(name) + "!A1")} display={quoteattr(name)}/>'
        for row, name in (sheet.links or {}).items()
    )
    return f"<hyperlinks>{found}</hyperlinks>" if found else ""


def _cells(column: Sequence[object], letters: str, style: int, texts: dict[str, int]) -> list[str]:
    """The cells of a column; a value that is missing has none."""
    styled = f' s="{style}"' if style else ""
    known: dict[str, str] = {}
    cells = []
    for row, value in enumerate(column, start=2):
        if value is None or value == "":
            cells.append("")
        elif type(value) is str:
            if value not in known:
                known[value] = _day(value) if style == DAY else _text(value, texts)
            cells.append(f'<c r="{letters}{row}"{styled}{known[value]}')
        elif type(value) is bool:
            cells.append(f'<c r="{letters}{row}" t="b"><v>{value:d}</v></c>')
        else:
            cells.append(f'<c r="{letters}{row}"{styled}><v>{value!r}</v></c>')
    return cells


def _text(text: str, texts: dict[str, int]) -> str:
    """The end of a cell that holds text."""
    return f' t="s"><v>{texts.setdefault(text, len(texts))}</v></c>'


def _day(text: str) -> str:
    """The end of a cell that holds a date, as the days since this format's first."""
    return f"><v>{(date.fromisoformat(text) - _FIRST_DAY).days}</v></c>"


def _escaped(text: str) -> str:
    """Text as a cell can hold it."""
    if len(text) > LONGEST_CELL:
        text = text[: LONGEST_CELL - len(CUT)] + CUT
    legal = _NO_TEXT.sub("\ufffd", _LIKE_AN_ESCAPE.sub("_x005F_", text))
    return escape(legal, {"\r": "&#13;"})
