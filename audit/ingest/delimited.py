"""CSV and its relatives, opened: encoding, separator and headings."""

import csv
import hashlib
import io

from audit.errors import UnreadableFile
from audit.ingest.decode import decoded
from audit.ingest.limits import refuse_long_text, refuse_many_columns
from audit.ingest.raw import Source

DELIMITERS = (",", ";", "\t", "|")
_FIRST_LINES = 20
_HEADING_LINES = 10


def open_delimited(octets: bytes, *, where: str) -> Source:
    """A CSV, TSV, semicolon- or pipe-separated file with its headings read.

    Parameters
    ----------
    octets
        The bytes of the file.
    where
        Name of the file.

    Returns
    -------
    Source
        `headings` are those of the first line that is not blank, as written but for surrounding space.

    Raises
    ------
    UnreadableFile
        The file is not text, or is larger than a log may be (`audit.ingest.limits`).

    Examples
    --------
    >>> open_delimited(b"visit_date;visit_kind\\n", where="visits.csv").headings
    ('visit_date', 'visit_kind')
    """
    refuse_long_text(octets, where=where)
    text = decoded(octets, where=where)
    lines = text.content[: 1 << 20].decode("utf-8", errors="replace").split("\n")
    at = _heading_line(lines, where)
    delimiter = _delimiter_of(lines[at])
    headings = _headings(lines[at:], delimiter, f"{where}, line {at + 1}")
    refuse_many_columns(len(headings), where=where)
    return Source(
        name=where,
        form="delimited",
        sha256=hashlib.sha256(octets).hexdigest(),
        size=len(octets),
        encoding=text.encoding,
        delimiter=delimiter,
        headings=headings,
        heading_line=at + 1,
        content=text.content,
        bad_lines=text.bad_lines,
        first_lines=tuple(tuple(_cells(line, _delimiter_of(line))) for line in lines[:_FIRST_LINES]),
    )


def _heading_line(lines: list[str], where: str) -> int:
    """The position of the first line with anything but separators."""
    for position, line in enumerate(lines):
        if line.strip(' "' + "".join(DELIMITERS)):
            return position
    raise UnreadableFile(f"{where}: has no line of headings. Put one above the rows and run again.")


def _headings(lines: list[str], delimiter: str, where: str) -> tuple[str, ...]:
    """The headings; a quoted one may run over a few lines."""
    rows = csv.reader((f"{line}\n" for line in lines[:_FIRST_LINES]), delimiter=delimiter)
    try:
        headings = tuple(" ".join(heading.split()) for heading in next(rows))
    except csv.Error:
        raise UnreadableFile(f"{where}: the headings cannot be read. Check the quotes around them.") from None
    if rows.line_num > _HEADING_LINES:
        raise UnreadableFile(f"{where}: a quoted heading opens and does not close. Check the quotes.")
    return headings


def _delimiter_of(line: str) -> str:
    """The separator that cuts the line into most values; a comma when none does."""
    return max(DELIMITERS, key=lambda delimiter: len(_cells(line, delimiter)))


def _cells(line: str, delimiter: str) -> list[str]:
    """The values of one line."""
    try:
        return next(csv.reader(io.StringIO(line), delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)
