"""One text to one value, or to the reason why not: what every kind has in common, and the plain texts.

Numbers, dates and words are read in modules of their own, one small function per kind.

A reading is blank (nothing was written), known (a value), unknown (the log says it is not known) or
unreadable (a reason code of `audit.ingest.reasons`).
"""

import re
import unicodedata
from collections.abc import Mapping
from typing import Any, NamedTuple

from audit.schema.terms import BLANK_WORDS, ERROR_WORDS, UNKNOWN_WORDS

MAX_CHARACTERS = 1000
# An identifier that a spreadsheet turned into a number and cut off: many women would share it.
_CUT_NUMBER = re.compile(r"[0-9][.,][0-9]+[Ee]\+[0-9]{2}")
# Spaces of no width, the soft hyphen, and the marks that turn the direction of what follows: a code that holds one
# would look like another.
_INVISIBLE = dict.fromkeys(
    [*map(ord, "\u00ad\u061c\u200b\u200e\u200f\u2060\ufeff"), *range(0x202A, 0x202F), *range(0x2066, 0x206A)]
)


class Reading(NamedTuple):
    """What a text says: a value, or why there is none. `note` names something a person should look at."""

    value: Any = None
    reason: str = ""
    note: str = ""


BLANK = Reading(reason="blank")
UNKNOWN = Reading()


def cleaned(text: str) -> str:
    """The text without space around it or invisible characters, any run of space as one blank.

    Parameters
    ----------
    text
        A cell. Letters are never exchanged for others that look alike.

    Returns
    -------
    str

    Examples
    --------
    >>> cleaned(" DR\\u00a0 01\\u200b "), cleaned("\\u202eDR 01\\u202c")
    ('DR 01', 'DR 01')
    """
    if text.isascii() and text.isalnum():
        return text
    return " ".join(text.translate(_INVISIBLE).split())


def parse_text(text: str) -> Reading:
    """A code of the service's own, as written but for space.

    Parameters
    ----------
    text
        A cell.

    Returns
    -------
    Reading
        A str. Only nothing at all is ``blank``, since NA may be a clinician; also ``too_long`` (over 1,000
        characters), ``spreadsheet_error`` and ``spreadsheet_number`` (a long number cut to 9.00720E+15).

    Examples
    --------
    >>> parse_text(" NA ").value, parse_text("#REF!").reason
    ('NA', 'spreadsheet_error')
    """
    if len(text) > MAX_CHARACTERS:
        return Reading(reason="too_long")
    if text.isascii() and text.isalnum():
        return Reading(text)
    value = cleaned(text)
    if not value:
        return BLANK
    if value.casefold() in ERROR_WORDS or set(value) == {"#"}:
        return Reading(reason="spreadsheet_error")
    return Reading(reason="spreadsheet_number") if _CUT_NUMBER.fullmatch(value) else Reading(value)


def parse_reference(text: str) -> Reading:
    """The reference of a woman.

    Parameters
    ----------
    text
        A cell.

    Returns
    -------
    Reading
        As `parse_text`; words for nothing or for unknown are ``blank`` too, else they would all be one woman.

    Examples
    --------
    >>> parse_reference("unknown").reason
    'blank'
    """
    reading = parse_text(text)
    if reading.reason:
        return reading
    return BLANK if reading.value.casefold() in (*BLANK_WORDS, *UNKNOWN_WORDS) else reading


def plain_text(text: str, *, keep: Mapping[str, str] | None = None) -> str | Reading:
    """The cleaned text with plain digits, or a reading already when it has none to offer.

    Parameters
    ----------
    text
        A cell.
    keep
        Words that mean something in this column, though elsewhere they are words for nothing.

    Returns
    -------
    str or Reading
        A reading when the cell is blank, too long or a spreadsheet's error.

    Examples
    --------
    >>> plain_text("\\u0663 mm"), plain_text("n/a").reason
    ('3 mm', 'blank')
    """
    reading = parse_text(text)
    if reading.reason:
        return reading
    value: str = _with_plain_digits(reading.value)
    blank = value.casefold() in BLANK_WORDS and value.casefold() not in (keep or {})
    return BLANK if blank else value


def known_text(text: str) -> str | Reading:
    """As `plain_text`; a reading too when the text is a word that means unknown.

    Parameters
    ----------
    text
        A cell of a column that has no words of its own.

    Returns
    -------
    str or Reading

    Examples
    --------
    >>> known_text("not asked"), known_text("7 mm")
    (Reading(value=None, reason='', note=''), '7 mm')
    """
    plain = plain_text(text)
    return UNKNOWN if isinstance(plain, str) and plain.casefold() in UNKNOWN_WORDS else plain


def _with_plain_digits(text: str) -> str:
    """Decimal digits of any script as 0 to 9; superscripts and the like are not decimal and stay."""
    if text.isascii():
        return text
    return "".join(_digit(character) for character in text)


def _digit(character: str) -> str:
    """The character, or the plain digit it stands for."""
    value = unicodedata.decimal(character, None)
    return character if value is None else str(value)
