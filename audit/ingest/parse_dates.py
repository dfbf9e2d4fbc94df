"""One text to one date, or to the reason why not."""

import datetime
import re
import unicodedata

from audit.ingest.parse import Reading, known_text
from audit.ingest.parse_months import month_number

_CLOCK = (
    r"(?:[T ]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?"
    r"(?: ?[AaPp][Mm])?(?: ?Z| ?[+-][0-9]{2}:?[0-9]{2})?)?"
)
_ISO = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})" + _CLOCK)
_COMPACT = re.compile(r"([0-9]{4})([0-9]{2})([0-9]{2})")
_NUMERIC = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})" + _CLOCK)
_DAY = r"([0-9]{1,2})(?:[ºª°]|(?:er|st|nd|rd|th)(?![^\W\d_]))?"
_WORD = r"([^\W\d_]+)"
_YEAR = r"([0-9]{4}|[0-9]{2})"
# Spanish and Portuguese say "3 de agosto de 2024".
_DAY_MONTH = re.compile(rf"{_DAY}[ \-/.]*(?:de )?{_WORD}[ \-/.,]*(?:del? )?{_YEAR}{_CLOCK}")
_MONTH_DAY = re.compile(rf"{_WORD}[ \-/.]*{_DAY}(?:, ?| ){_YEAR}{_CLOCK}")


def parse_date(text: str, *, order: str) -> Reading:
    """A calendar date, as written.

    Parameters
    ----------
    text
        ISO (2024-04-03 or 20240403, also with time and zone, which are dropped without a shift), a day and
        month by number in the declared order, or with the name of the month in any order, in the languages of
        `audit.ingest.parse_months`.
    order
        ``iso``, ``day_month_year`` or ``month_day_year``.

    Returns
    -------
    Reading
        A `datetime.date`; or the reason ``not_a_date``, ``date_order_not_declared`` (day and month by number
        though the order is ``iso``), ``other_date_order`` (a date only in the order not declared). The note
        ``either_order`` marks a date that would be another day in the other order.

    Notes
    -----
    A year of two digits follows the POSIX rule: 69 to 99 is 1969 to 1999, 00 to 68 is 2000 to 2068.

    References
    ----------
    IEEE Std 1003.1-2017 (POSIX), strptime, conversion %y.

    Examples
    --------
    >>> parse_date("03/04/2024", order="day_month_year").value
    datetime.date(2024, 4, 3)
    >>> parse_date("3 de abril de 2024", order="iso").value
    datetime.date(2024, 4, 3)
    >>> parse_date("03/04/2024", order="iso").reason
    'date_order_not_declared'
    """
    plain = known_text(text)
    if isinstance(plain, Reading):
        return plain
    if found := _ISO.fullmatch(plain):
        return _calendar(found[1], found[3], found[4])
    if found := _COMPACT.fullmatch(plain):
        return _calendar(found[1], found[2], found[3])
    if found := _NUMERIC.fullmatch(plain):
        return _numeric_date(found[1], found[3], found[4], order)
    # A letter and its accent may be written as two characters.
    plain = plain if plain.isascii() else unicodedata.normalize("NFC", plain)
    if found := _DAY_MONTH.fullmatch(plain):
        return _calendar(found[3], month_number(found[2]), found[1])
    if found := _MONTH_DAY.fullmatch(plain):
        return _calendar(found[3], month_number(found[1]), found[2])
    return Reading(reason="not_a_date")


def _numeric_date(first: str, second: str, year: str, order: str) -> Reading:
    """A date of three numbers with the year last, in the declared order only."""
    day_first, month_first = _calendar(year, second, first), _calendar(year, first, second)
    if order == "iso":
        undeclared = not (day_first.reason and month_first.reason)
        return Reading(reason="date_order_not_declared" if undeclared else "not_a_date")
    declared, other = (day_first, month_first) if order == "day_month_year" else (month_first, day_first)
    if declared.reason and not other.reason:
        return Reading(reason="other_date_order")
    either = not other.reason and declared.value not in (None, other.value)
    return Reading(declared.value, note="either_order") if either else declared


def _calendar(year: str, month: str | int, day: str) -> Reading:
    """A date of the calendar, or the reason that there is no such day."""
    number = int(year)
    if len(year) == 2:
        number += 1900 if number >= 69 else 2000
    try:
        return Reading(datetime.date(number, int(month), int(day)))
    except ValueError:
        return Reading(reason="not_a_date")
