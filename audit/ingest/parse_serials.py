"""Dates that a spreadsheet wrote as numbers of days: read only where the column as a whole says so."""

import datetime
import re
from collections.abc import Iterable, Sequence

from audit.ingest.parse import Reading, known_text

# Day 0 as it works out after the leap day of 1900 that the 1900 system counts and the calendar lacks.
_DAY_0 = datetime.date(1899, 12, 30)
# 1954-10-03 to 2099-12-31. Below, a number of five figures is more likely something else.
FIRST_SERIAL, LAST_SERIAL = 20_000, 73_050
FEWEST_SERIALS = 3
SERIAL_SHARE = 0.95
_SERIAL = re.compile(r"([0-9]{5})(?:[.,][0-9]+)?")


def parse_serial(text: str) -> Reading:
    """A calendar date from a spreadsheet's number of days in the 1900 system.

    Parameters
    ----------
    text
        Five figures, perhaps with a fraction of a day, which is dropped.

    Returns
    -------
    Reading
        A `datetime.date` from 1954-10-03 to 2099-12-31 with the note ``read_as_serial``; or ``not_a_date``.

    Notes
    -----
    A number does not say whether it counts in the 1900 or the 1904 system; the second lands 1,462 days early.

    References
    ----------
    ISO/IEC 29500-1:2016, Office Open XML, 18.17.4.1, date systems.

    Examples
    --------
    >>> parse_serial("39448").value
    datetime.date(2008, 1, 1)
    """
    plain = known_text(text)
    if isinstance(plain, Reading):
        return plain
    found = _SERIAL.fullmatch(plain)
    if found is None or not FIRST_SERIAL <= int(found[1]) <= LAST_SERIAL:
        return Reading(reason="not_a_date")
    return Reading(_DAY_0 + datetime.timedelta(days=int(found[1])), note="read_as_serial")


def are_serials(texts: Sequence[str], rows: Iterable[int]) -> bool:
    """Whether a whole column of dates is written as numbers of days.

    Parameters
    ----------
    texts
        The distinct texts of the column.
    rows
        How many rows have each.

    Returns
    -------
    bool
        True when at least 3 rows, and 95 in 100 of those on which anything is written, hold such a number.
        One cell in a column of ordinary dates is a slip, not a column of serials.

    Examples
    --------
    >>> are_serials(["45383", "45390", ""], [2, 1, 7]), are_serials(["45383", "2026-07-01"], [1, 9])
    (True, False)
    """
    written = serials = 0
    for text, count in zip(texts, rows, strict=True):
        reading = parse_serial(text)
        written += count if reading.reason != "blank" else 0
        serials += count if reading.value is not None else 0
    return serials >= FEWEST_SERIALS and serials >= SERIAL_SHARE * written
