"""Which sheet of a workbook holds the log, and which of its lines the headings."""

from collections.abc import Sequence

from audit.errors import UnreadableFile, name_a_few
from audit.ingest.excel_cells import SheetRow, read_sheet
from audit.ingest.excel_copy import sheet_cells
from audit.ingest.excel_package import Workbook
from audit.ingest.layout import plain_heading
from audit.ingest.masking import shown
from audit.schema.visits import REQUIRED, VISITS
from audit.settings import Layout

LINES_ABOVE = 20
_HEAD_BYTES = 1 << 20


def sheet_of(book: Workbook, layout: Layout) -> str:
    """The name of the sheet that holds the log.

    Parameters
    ----------
    book
        From `open_workbook`.
    layout
        Its `sheet`, or else the headings that are known, decide.

    Returns
    -------
    str

    Raises
    ------
    UnreadableFile
        The sheet that the settings name is not there or is hidden; or no visible sheet fits, or several do.
    """
    names = list(book.sheets)
    if layout.sheet:
        return _named_sheet(book, layout.sheet)
    if not names:
        raise UnreadableFile(f"{book.name}: has no visible sheet with cells. Unhide the sheet with the log.")
    if len(names) == 1:
        return names[0]
    fits = {name: _fit(book, name, layout) for name in names}
    best = [name for name in names if fits[name] == max(fits.values())]
    if len(best) == 1 and fits[best[0]]:
        return best[0]
    what = "several sheets fit equally well" if fits[best[0]] else "no sheet has headings that are known"
    raise UnreadableFile(
        f"{book.name}: {what}. Found: {_shown_names(names)}. "
        'Name the sheet in the settings under [layout] as sheet = "...".'
    )


def _named_sheet(book: Workbook, wanted: str) -> str:
    """The sheet that the settings name, whatever its case."""
    for name in book.sheets:
        if name.strip().casefold() == wanted.strip().casefold():
            return name
    if wanted in book.hidden:
        raise UnreadableFile(f"{book.name}: the sheet '{shown(wanted)}' is hidden. Unhide it and run again.")
    raise UnreadableFile(
        f"{book.name}: no sheet '{shown(wanted)}', which the settings name. "
        f"Found: {_shown_names(list(book.sheets)) or 'none'}. Correct it in the settings under [layout]."
    )


def _shown_names(names: Sequence[str]) -> str:
    """A few names of sheets, masked where they look like data."""
    return name_a_few([f"'{shown(name)}'" for name in names])


def _fit(book: Workbook, name: str, layout: Layout) -> int:
    """How many of our headings the first lines of a sheet hold on one line."""
    sheet = read_sheet(book, name, sheet_cells(book, name, at_most=_HEAD_BYTES))
    first = [row for row in sheet.rows if row.line <= LINES_ABOVE + 1]
    return max((_recognised(row, layout) for row in first), default=0)


def _recognised(row: SheetRow, layout: Layout) -> int:
    """How many of our headings a row holds."""
    found = {plain_heading(text) for text in row.cells.values()}
    return sum(plain_heading(layout.headings.get(name, name)) in found for name in VISITS.names)


def heading_row(rows: Sequence[SheetRow], layout: Layout, *, where: str) -> int:
    """The position of the row with most of our headings among the first 21 lines; the first if none has any.

    Parameters
    ----------
    rows
        The rows of a sheet that hold any value.
    layout
        Its headings, or our own names, are looked for.
    where
        Name of the file, for messages.

    Returns
    -------
    int

    Raises
    ------
    UnreadableFile
        The sheet is empty, or its headings stand below more than 20 lines.
    """
    first = [row for row in rows if row.line <= LINES_ABOVE + 1]
    known = [_recognised(row, layout) for row in first]
    if not any(known):
        _refuse_far_headings(rows, layout, where)
    return known.index(max(known)) if known else 0


def _refuse_far_headings(rows: Sequence[SheetRow], layout: Layout, where: str) -> None:
    """Refuse a sheet that is empty, or whose headings stand further down."""
    if not rows:
        raise UnreadableFile(f"{where}: the sheet is empty. Put the log on it, with its line of headings.")
    for row in rows:
        if row.line > LINES_ABOVE + 1 and _recognised(row, layout) >= len(REQUIRED):
            raise UnreadableFile(
                f"{where}: the headings seem to stand on line {row.line}, below more than {LINES_ABOVE} other "
                "lines. Remove the lines above them and run again."
            )
    if rows[0].line > LINES_ABOVE + 1:
        raise UnreadableFile(f"{where}: the first {LINES_ABOVE} lines are empty. Remove them and run again.")
