"""The stock book: devices issued to each site in each month, against which a log can be reconciled."""

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from audit.errors import InputRefused, MissingColumns, UnreadableFile, name_a_few
from audit.ingest.limits import refuse_long_text
from audit.ingest.masking import shown

COLUMNS = ("site_ref", "month", "devices_issued", "devices_returned")
_REQUIRED = COLUMNS[:3]
_MONTH = re.compile(r"^\d{4}-(0[1-9]|1[0-2])$")
_COUNT = re.compile(r"^\d{1,6}$")


def read_issued(path: str | Path) -> pd.DataFrame:
    """Devices issued and returned per site and month, from a small CSV file.

    Parameters
    ----------
    path
        A CSV file (UTF-8) with the headings ``site_ref, month`` (2026-07), ``devices_issued`` and, if the stock
        book has it, ``devices_returned``.

    Returns
    -------
    DataFrame
        ``site_ref, month, devices_issued, devices_returned`` (0 where the file does not say), one row per site
        and month, in order. Rows of the same site and month are added up.

    Raises
    ------
    UnreadableFile
        The file cannot be read, is no table, is not UTF-8, or is larger than a log may be.
    MissingColumns
        A heading is missing.
    InputRefused
        A cell is not a month or a count; the message names line and column.
    """
    name = Path(path).name
    lines = csv.DictReader(io.StringIO(_text_of(Path(path))))
    try:
        headings = [heading.strip() for heading in lines.fieldnames or []]
        lines.fieldnames = headings
        _refuse_missing(headings, name)
        rows = [_row(name, lines.line_num, line) for line in lines if any(line.values())]
    except csv.Error:
        raise UnreadableFile(
            f"{name}, line {lines.line_num + 1}: cannot be read as a table. Check the quotes, or export it again."
        ) from None
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.groupby(list(COLUMNS[:2]), as_index=False).sum()


def _text_of(path: Path) -> str:
    """The text of the file."""
    try:
        octets = path.read_bytes()
        refuse_long_text(octets, where=path.name)
        return octets.decode("utf-8-sig")
    except OSError as error:
        raise UnreadableFile(f"{path.name}: cannot be read ({error.strerror}). Check the path.") from None
    except UnicodeDecodeError:
        raise UnreadableFile(f"{path.name}: is not UTF-8. Save it as 'CSV UTF-8'.") from None


def _refuse_missing(headings: Sequence[str], name: str) -> None:
    """Refuse a file without the headings of a stock book."""
    missing = [column for column in _REQUIRED if column not in headings]
    if missing:
        found = name_a_few([shown(heading) for heading in headings]) or "nothing"
        raise MissingColumns(
            f"{name}: no column for {name_a_few(missing)}. Found: {found}. Add the headings."
        )


def _row(name: str, line: int, cells: dict[str, str | None]) -> tuple[str, str, int, int]:
    """One line of the stock book."""
    site = (cells["site_ref"] or "").strip()
    month = (cells["month"] or "").strip()
    if not site:
        raise InputRefused(f"{name}, line {line}, site_ref: nothing is written. Fill it in.")
    if not _MONTH.match(month):
        raise InputRefused(f"{name}, line {line}, month: is not a month. Write it as 2026-07.")
    issued = _count(name, line, "devices_issued", cells["devices_issued"])
    returned = _count(name, line, "devices_returned", cells.get("devices_returned") or "0")
    return site, month, issued, returned


def _count(name: str, line: int, column: str, text: str | None) -> int:
    """A whole number of devices."""
    cell = (text or "").strip()
    if not _COUNT.match(cell):
        raise InputRefused(f"{name}, line {line}, {column}: is not a whole number. Correct it.")
    return int(cell)
