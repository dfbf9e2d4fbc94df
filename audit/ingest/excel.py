"""Excel workbooks: which sheet holds the log, which line its headings, and its rows as text."""

import hashlib
from collections.abc import Mapping, Sequence

import numpy as np

from audit.errors import UnreadableFile, counted, name_a_few
from audit.ingest.excel_cells import Sheet, SheetRow, day_of_serial, read_sheet
from audit.ingest.excel_copy import sheet_cells
from audit.ingest.excel_package import Workbook, open_workbook
from audit.ingest.excel_sheet import heading_row, sheet_of
from audit.ingest.limits import MAX_COLUMNS
from audit.ingest.masking import shown
from audit.ingest.raw import Note, RawColumn, RawLog, Source
from audit.schema.visits import VISITS
from audit.settings import Layout


def open_excel(octets: bytes, *, where: str, layout: Layout) -> Source:
    """A workbook with the headings and rows of the sheet that holds the log.

    Parameters
    ----------
    octets
        The bytes of an .xlsx file.
    where
        Name of the file.
    layout
        `sheet` names the sheet; without it the visible sheet on which most of our headings are found is
        read, and no other. `headings` are the log's own, and `decimal_comma` its way to write numbers.

    Returns
    -------
    Source
        `heading_line` is the line of the sheet. Lines above it, such as a title, are no rows.

    Raises
    ------
    UnreadableFile
        The workbook cannot be read; the sheet is not there, hidden, or cannot be told from the others; or
        its headings stand below more than 20 lines.
    """
    book = open_workbook(octets, where=where)
    name = sheet_of(book, layout)
    sheet = read_sheet(book, name, sheet_cells(book, name), decimal_comma=layout.decimal_comma)
    at = heading_row(sheet.rows, layout, where=where)
    headings = _headings(sheet.rows[at:], where)
    rows = sheet.rows[at + 1 :]
    heading_line = sheet.rows[at].line
    return Source(
        name=where,
        form="excel",
        sha256=hashlib.sha256(octets).hexdigest(),
        size=len(octets),
        encoding="xlsx, days from 1904" if book.from_1904 else "xlsx",
        delimiter="",
        headings=headings,
        heading_line=heading_line,
        content=b"",
        rows=RawLog(
            columns={str(place): _column(rows, place) for place in range(len(headings))},
            lines=np.array([row.line for row in rows], dtype=np.int64),
            rows_in=len(rows),
            blank_lines=_blank_lines(rows, heading_line),
            notes=(
                *_sheet_notes(book, name),
                *_heading_notes(heading_line),
                *_formula_notes(sheet, heading_line, headings),
                *_stray_notes(rows, headings),
            ),
        ),
    )


def read_excel(source: Source, columns: Mapping[str, int]) -> RawLog:
    """The rows of an opened workbook as text.

    Parameters
    ----------
    source
        From `open_excel`.
    columns
        Our column names and the position (from 0) of the heading that feeds each.

    Returns
    -------
    RawLog
        In columns of dates, day numbers are dates too, counted from the workbook's first day.

    Raises
    ------
    ValueError
        The source is no workbook.
    """
    if source.rows is None:
        raise ValueError(f"source must come from open_excel, got form {source.form!r}")
    from_1904 = source.encoding.endswith("1904")
    chosen = {name: source.rows.columns[str(place)] for name, place in columns.items()}
    used = set(columns.values())
    return RawLog(
        columns={name: _with_days(name, column, from_1904) for name, column in chosen.items()},
        lines=source.rows.lines,
        rows_in=source.rows.rows_in,
        blank_lines=source.rows.blank_lines,
        unread=tuple(text for place, text in enumerate(source.headings) if place not in used and text),
        notes=source.rows.notes,
    )


def _with_days(name: str, column: RawColumn, from_1904: bool) -> RawColumn:
    """The column, with day numbers as dates if it is one of dates."""
    if name not in VISITS.names or VISITS[name].kind != "date":
        return column
    return RawColumn(tuple(day_of_serial(text, from_1904=from_1904) for text in column.texts), column.codes)


def _headings(rows: Sequence[SheetRow], where: str) -> tuple[str, ...]:
    """The headings as far as any row has values; blank ones keep columns without a heading in sight."""
    width = 1 + max(max(row.cells) for row in rows)
    if width > MAX_COLUMNS:
        raise UnreadableFile(
            f"{where}: has values beyond column {MAX_COLUMNS}. Remove what does not belong to the log."
        )
    return tuple(" ".join(rows[0].cells.get(place, "").split()) for place in range(width))


def _column(rows: Sequence[SheetRow], place: int) -> RawColumn:
    """One column, each distinct text once."""
    numbers: dict[str, int] = {}
    codes = [numbers.setdefault(row.cells.get(place, ""), len(numbers)) for row in rows]
    return RawColumn(tuple(numbers), np.array(codes, dtype=np.int32))


def _blank_lines(rows: Sequence[SheetRow], heading_line: int) -> dict[str, int]:
    """How many lines between the headings and the last row hold nothing."""
    blank = rows[-1].line - heading_line - len(rows) if rows else 0
    return {"blank": blank} if blank else {}


def _sheet_notes(book: Workbook, name: str) -> tuple[Note, ...]:
    """Which sheet was read, if there was a choice."""
    if len(book.sheets) == 1:
        return ()
    words = f"The sheet '{shown(name)}' was read, one of {len(book.sheets)} visible ones."
    return (Note("sheet_chosen", "notice", 0, "", words),)


def _heading_notes(line: int) -> tuple[Note, ...]:
    """Where the headings stand, if not at the top."""
    if line == 1:
        return ()
    words = f"The headings stand on line {line} of the sheet; what is above them was not read."
    return (Note("headings_below", "notice", line, "", words),)


def _formula_notes(sheet: Sheet, heading_line: int, headings: Sequence[str]) -> tuple[Note, ...]:
    """One note for each column with formulas that the workbook holds no value for."""
    places: dict[int, list[int]] = {}
    for line, place in sheet.without_value:
        if line > heading_line and place < len(headings):
            places.setdefault(place, []).append(line)
    return tuple(
        Note(
            "formula_without_value",
            "warning",
            lines[0],
            "",
            f"'{shown(headings[place])}': {counted(len(lines), 'formula')} without a stored value (line "
            f"{name_a_few([str(line) for line in lines])}). Open the workbook, save it, and run again.",
        )
        for place, lines in sorted(places.items())
    )


def _stray_notes(rows: Sequence[SheetRow], headings: Sequence[str]) -> tuple[Note, ...]:
    """Rows with values under no heading."""
    named = {place for place, heading in enumerate(headings) if heading}
    lines = [row.line for row in rows if not named >= row.cells.keys()]
    if not lines:
        return ()
    words = (
        f"Values under no heading were not read, on {counted(len(lines), 'row')}. Give the column a heading if "
        "they belong to the log."
    )
    return (Note("values_without_heading", "warning", lines[0], "", words),)
