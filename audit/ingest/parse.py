"""One text to one value, or to the reason why not. One small function per kind of value.

A reading is blank (nothing was written), known (a value), unknown (the log says it is not known) or
unreadable (a reason code of `audit.ingest.reasons`).
"""

import re
import unicodedata
from collections.abc import Mapping
from typing import Any, NamedTuple

from audit.schema.column import Column
from audit.schema.terms import (
    BLANK_WORDS,
    ERROR_WORDS,
    NO_WORDS,
    NULLIPARA_WORDS,
    UNIT_WORDS,
    UNITS,
    UNKNOWN_WORDS,
    YES_WORDS,
)

MAX_CHARACTERS = 1000
_NUMBER = re.compile(r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))(?: ?([A-Za-z%][A-Za-z0-9/%]*))?")
_GRAVIDA_PARA = re.compile(r"(?:g(?:ravida)? ?[0-9]+[ ,/]*)?p(?:ara)? ?([0-9]{1,2})(?: ?\+ ?[0-9]{1,2})?")
_PARITY_NUMBER = re.compile(r"([0-9]{1,2})(?:\.0+)?(?: ?\+ ?[0-9]{1,2})?")
# An identifier that a spreadsheet turned into a number and cut off: many women would share it.
_CUT_NUMBER = re.compile(r"[0-9][.,][0-9]+[Ee]\+[0-9]{2}")
_INVISIBLE = dict.fromkeys(map(ord, "\u200b\u2060\ufeff"))


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
    >>> cleaned(" DR\\u00a0 01\\u200b ")
    'DR 01'
    """
    if text.isascii() and text.isalnum():
        return text
    return " ".join(text.translate(_INVISIBLE).split())


def parse_text(text: str) -> Reading:
    """A code of the service's own, as written; only nothing at all is blank, since NA may be a clinician."""
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
    """The reference of a woman. Words for nothing are blank: else they would all be one woman."""
    reading = parse_text(text)
    if reading.reason:
        return reading
    return BLANK if reading.value.casefold() in (*BLANK_WORDS, *UNKNOWN_WORDS) else reading


def parse_number(text: str, *, unit: str = "", log_unit: str = "", decimal_comma: bool = False) -> Reading:
    """A number in the unit of our column.

    Parameters
    ----------
    text
        Digits with at most one decimal sign, and perhaps a unit behind. No thousands separators.
    unit
        Unit of our column.
    log_unit
        Unit the log is written in, when it differs. A unit behind the number counts more.
    decimal_comma
        The log writes 7,5 for seven and a half.

    Returns
    -------
    Reading
        A float; ``not_a_number`` or ``unknown_unit``. The note ``unit_written`` marks a unit of its own.

    Examples
    --------
    >>> parse_number("7.5 cm", unit="mm").value
    75.0
    """
    plain = plain_text(text)
    if isinstance(plain, Reading):
        return plain
    found = _NUMBER.fullmatch(_with_point(plain) if decimal_comma else plain)
    if found is None:
        return Reading(reason="not_a_number")
    written = (found[2] or "").casefold()
    factor = _factor(UNIT_WORDS.get(written, written) or log_unit or unit, unit)
    if factor is None:
        return Reading(reason="unknown_unit")
    return Reading(float(found[1]) * factor, note="unit_written" if written else "")


def _with_point(text: str) -> str:
    """The number with its decimal comma as a point; one with a point that may mean thousands is spoilt."""
    if "," in text:
        return text.replace(",", ".") if text.count(",") == 1 and "." not in text else "?"
    return "?" if re.match(r"[+-]?[0-9]{1,3}\.[0-9]{3}(?![0-9])", text) else text


def _factor(written: str, unit: str) -> float | None:
    """What a number in one unit is multiplied with to be in ours; None when it cannot be."""
    return 1.0 if written == unit else UNITS.get((written, unit))


def parse_integer(text: str, *, unit: str = "", log_unit: str = "", decimal_comma: bool = False) -> Reading:
    """A whole number, as a float; 2.0 is 2, and 1.5 is ``not_a_whole_number``."""
    reading = parse_number(text, unit=unit, log_unit=log_unit, decimal_comma=decimal_comma)
    if reading.value is not None and not reading.value.is_integer():
        return Reading(reason="not_a_whole_number")
    return reading


def parse_flag(text: str, *, words: Mapping[str, str]) -> Reading:
    """Yes or no as a bool, from `words` (see `flag_words`); any other word is ``unknown_word``."""
    plain = plain_text(text, keep=words)
    if isinstance(plain, Reading):
        return plain
    meaning = words.get(plain.casefold())
    if meaning is None:
        return Reading(reason="unknown_word")
    return UNKNOWN if meaning == "unknown" else Reading(meaning == "yes")


def parse_code(text: str, *, words: Mapping[str, str]) -> Reading:
    """One of a column's codes, from `words` (see `code_words`); any other word is ``unknown_code``."""
    plain = plain_text(text, keep=words)
    if isinstance(plain, Reading):
        return plain
    code = words.get(plain.casefold()) or words.get(plain_code(plain))
    if code is not None:
        return Reading(code)
    return UNKNOWN if plain.casefold() in UNKNOWN_WORDS else Reading(reason="unknown_code")


def plain_code(text: str) -> str:
    """The text in lower case with one underscore for spaces and hyphens."""
    return re.sub(r"[\s\-_]+", "_", text.strip().casefold())


def parse_parity(text: str) -> Reading:
    """Number of births from P2+1, G3P2, para 2, nullip or 2; anything else is ``not_a_parity``.

    Notes
    -----
    In "P2+1" the figure after the plus sign counts pregnancies that did not reach viability, so it adds no
    birth (common practice, no source).
    """
    plain = plain_text(text)
    if isinstance(plain, Reading):
        return plain
    word = plain.casefold()
    if word in NULLIPARA_WORDS:
        return Reading(0.0)
    found = _PARITY_NUMBER.fullmatch(word) or _GRAVIDA_PARA.fullmatch(word)
    return Reading(float(found[1])) if found else Reading(reason="not_a_parity")


def flag_words(yes: tuple[str, ...], no: tuple[str, ...], unknown: tuple[str, ...]) -> dict[str, str]:
    """The words for yes, no and unknown: the built-in ones and a log's own, which count more."""
    groups = (
        ("yes", YES_WORDS),
        ("no", NO_WORDS),
        ("unknown", UNKNOWN_WORDS),
        ("yes", yes),
        ("no", no),
        ("unknown", unknown),
    )
    return {cleaned(str(word)).casefold(): meaning for meaning, words in groups for word in words}


def code_words(column: Column, synonyms: Mapping[str, str], flags: Mapping[str, str]) -> dict[str, str]:
    """The words that mean one of a column's codes: for yes and no where it has them, its own, the log's."""
    words = {word: code for word, code in flags.items() if code in column.codes}
    if "none" in column.codes and "no" not in column.codes:
        words |= {word: "none" for word, code in flags.items() if code == "no"}
    words |= {plain_code(code): code for code in column.codes}
    return words | {cleaned(word).casefold(): code for word, code in synonyms.items()}


def plain_text(text: str, *, keep: Mapping[str, str] | None = None) -> str | Reading:
    """The cleaned text with plain digits; a reading already when it is blank, too long or an error."""
    reading = parse_text(text)
    if reading.reason:
        return reading
    value: str = _with_plain_digits(reading.value)
    blank = value.casefold() in BLANK_WORDS and value.casefold() not in (keep or {})
    return BLANK if blank else value


def _with_plain_digits(text: str) -> str:
    """Decimal digits of any script as 0 to 9; superscripts and the like are not decimal and stay."""
    if text.isascii():
        return text
    return "".join(_digit(character) for character in text)


def _digit(character: str) -> str:
    """The character, or the plain digit it stands for."""
    value = unicodedata.decimal(character, None)
    return character if value is None else str(value)
