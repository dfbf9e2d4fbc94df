"""How large a log may be: beyond these sizes a file is refused before anything costly is done with it."""

from audit.errors import UnreadableFile

MAX_ROWS = 5_000_000
MAX_COLUMNS = 500
MAX_FILE_BYTES = 2 << 30
# Columns of few different values take hardly any room in a Parquet file, and all of it once they are read.
MAX_CELLS = 500_000_000
MAX_LINE_BYTES = 1 << 20
# One resource of FHIR may be long, and some programs write a whole Bundle on one line.
MAX_JSON_BYTES = 64 << 20
_NDJSON = "Export it as NDJSON, one resource per line."
_ONE_CLINIC = "Is this one clinic's log? If it is, export fewer years of it."


def refuse_large_file(size: int, *, where: str) -> None:
    """Refuse a file of over 2 GiB.

    Parameters
    ----------
    size
        Bytes of the file, or those that it expands to.
    where
        Name of the file, for messages.

    Raises
    ------
    UnreadableFile
        The file is too large.

    Examples
    --------
    >>> refuse_large_file(3 << 30, where="visits.csv")
    Traceback (most recent call last):
    ...
    audit.errors.UnreadableFile: visits.csv: is 3,072 MB large; the limit is 2,048 MB. Is this one clinic's ...
    """
    if size > MAX_FILE_BYTES:
        raise UnreadableFile(
            f"{where}: is {size >> 20:,} MB large; the limit is {MAX_FILE_BYTES >> 20:,} MB. {_ONE_CLINIC}"
        )


def refuse_many_rows(rows: int, *, where: str) -> None:
    """Refuse a file of over 5,000,000 rows.

    Parameters
    ----------
    rows
        Rows of the file.
    where
        Name of the file, for messages.

    Raises
    ------
    UnreadableFile
        The file has too many.

    Examples
    --------
    >>> refuse_many_rows(6_000_000, where="visits.parquet")
    Traceback (most recent call last):
    ...
    audit.errors.UnreadableFile: visits.parquet: has 6,000,000 rows; the limit is 5,000,000. Is this one ...
    """
    if rows > MAX_ROWS:
        raise UnreadableFile(f"{where}: has {rows:,} rows; the limit is {MAX_ROWS:,}. {_ONE_CLINIC}")


def refuse_many_columns(columns: int, *, where: str) -> None:
    """Refuse a file of over 500 columns.

    Parameters
    ----------
    columns
        Columns of the file.
    where
        Name of the file, for messages.

    Raises
    ------
    UnreadableFile
        The file has too many.

    Examples
    --------
    >>> refuse_many_columns(501, where="visits.csv")
    Traceback (most recent call last):
    ...
    audit.errors.UnreadableFile: visits.csv: has 501 columns; the limit is 500. Take out those that ...
    """
    if columns > MAX_COLUMNS:
        raise UnreadableFile(
            f"{where}: has {columns:,} columns; the limit is {MAX_COLUMNS}. Take out those that do not belong "
            "to the log."
        )


def refuse_long_text(octets: bytes, *, where: str, json: bool = False) -> None:
    """Refuse a text with more lines than a log has rows, or with a line that goes on and on.

    Parameters
    ----------
    octets
        The bytes of the file, in any encoding.
    where
        Name of the file, for messages.
    json
        Whether the file is JSON: a line may then be 64 MB long, and not 1 MB.

    Raises
    ------
    UnreadableFile
        There are over 5,000,000 lines below the first, or a stretch as long as a line may be without any line
        end.

    Notes
    -----
    Bytes are counted and searched, nothing is decoded or copied.

    Examples
    --------
    >>> refuse_long_text(b"a,b\\n", where="visits.csv")
    """
    _refuse_endless_line(octets, where, json)
    line_end = b"\n" if b"\n" in octets else b"\r"
    lines = octets.count(line_end) + (not octets.endswith(line_end))
    if lines > MAX_ROWS + 1:
        raise UnreadableFile(
            f"{where}: has {lines:,} lines; the limit is {MAX_ROWS:,} and a line of headings. {_ONE_CLINIC}"
        )


def refuse_long_bundle(size: int, *, where: str) -> None:
    """Refuse a file of over 64 MB that has to be parsed in one piece.

    Parameters
    ----------
    size
        Bytes of the file.
    where
        Name of the file, for messages.

    Raises
    ------
    UnreadableFile
        The file is larger.

    Examples
    --------
    >>> refuse_long_bundle(65 << 20, where="visits.json")
    Traceback (most recent call last):
    ...
    audit.errors.UnreadableFile: visits.json: is one piece of 65 MB; the limit is 64 MB. Export it as NDJSON...
    """
    if size > MAX_JSON_BYTES:
        raise UnreadableFile(
            f"{where}: is one piece of {size >> 20:,} MB; the limit is {MAX_JSON_BYTES >> 20} MB. {_NDJSON}"
        )


def _refuse_endless_line(octets: bytes, where: str, json: bool) -> None:
    """Refuse a stretch without line end that is longer than any line of a log."""
    limit = MAX_JSON_BYTES if json else MAX_LINE_BYTES
    advice = _NDJSON if json else "Export the log again, with one visit per line."
    for start in range(0, len(octets) - limit, limit):
        end = start + limit
        if octets.find(b"\n", start, end) == octets.find(b"\r", start, end) == -1:
            raise UnreadableFile(f"{where}: has a line of more than {limit:,} bytes. {advice}")
