"""Where in a log something stands, and what its message asks for, without the value."""

import re
from collections.abc import Sequence

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row
from reports.words_for_codes import spoken
from reports.words_for_columns import column_heading

# A message begins with its column, and may hold the shape of the value.
_OPENING = re.compile(r"^(?P<column>[a-z0-9_]+): (?:'.{0,20}' )?(?=\S)")


def lines_of(found: Sequence[Row], *, most: int) -> str:
    """The lines of some rows, file by file, at most so many; whole columns are named so.

    Parameters
    ----------
    found
        Rows with ``source`` (number of the file) and ``row`` (line in it); both 0 for a whole column.
    most
        How many lines to name.

    Returns
    -------
    str

    Examples
    --------
    >>> lines_of([{"source": 1, "row": 4}, {"source": 1, "row": 9}, {"source": 2, "row": 3}], most=2)
    'file 1: 4, 9; and 1 more'
    >>> lines_of([{"source": 1, "row": 4}, {"source": 1, "row": 9}], most=5)
    '4, 9'
    """
    placed = sorted({(int(row["source"]), int(row["row"])) for row in found if row["row"]})
    if not placed:
        return "whole file" if any(row["source"] for row in found) else "whole column"
    files: dict[int, list[str]] = {}
    for source, line in placed[:most]:
        files.setdefault(source, []).append(str(line))
    one_file = {source for source, _ in placed} == {1}
    named = [
        (", ".join(own) if one_file else f"file {source}: {', '.join(own)}") for source, own in files.items()
    ]
    left = len(placed) - min(most, len(placed))
    if not left:
        return "; ".join(named)
    return f"{'; '.join(named)}{' ' if one_file else '; '}and {wording.count(left)} more"


def at_lines(found: Sequence[Row], *, most: int) -> str:
    """The lines of some rows in brackets, after a space; nothing where they stand for a whole column or file.

    Examples
    --------
    >>> at_lines([{"source": 1, "row": 4}], most=5), at_lines([{"source": 0, "row": 0}], most=5)
    (' (line 4)', '')
    """
    placed = [row for row in found if row["row"]]
    if not placed:
        return ""
    return f" ({'line' if len(placed) == 1 else 'lines'} {lines_of(placed, most=most)})"


def asked(message: object) -> str:
    """What a message asks for, without its column and without the shape of the value.

    Examples
    --------
    >>> asked("age_years: '999' lies outside the possible range. Correct it.")
    'Lies outside the possible range. Correct it.'
    >>> asked("9 values where 65 were expected.")
    '9 values where 65 were expected.'
    """
    text = spoken(_OPENING.sub("", str(message)))
    return text[:1].upper() + text[1:]


def told(message: object) -> str:
    """The same as a sentence of its own, with the field as its subject where the message is about a value.

    Examples
    --------
    >>> told("age_years: '999' lies outside the possible range. Correct it.")
    '“Age” lies outside the possible range. Correct it.'
    """
    found = _OPENING.match(str(message))
    if found is None:
        return spoken(message)
    rest = str(message)[found.end() :]
    # A count is no predicate: "Age: 4 not known".
    colon = ":" if rest[0].isdigit() else ""
    return f"“{column_heading(found['column'])}”{colon} {spoken(rest)}"


def field_name(results: AuditResults, column: object) -> str:
    """A field with the heading under which the log has it.

    Parameters
    ----------
    results
        Whose settings map our columns to the log's headings.
    column
        Name of a column; blank for none.

    Returns
    -------
    str
    """
    if not column:
        return wording.NOTHING
    heading = results.settings.layout.headings.get(str(column), str(column))
    return f"{column_heading(column)} ({heading})"
