"""One text to one number, or to the reason why not."""

import re
from collections.abc import Callable

from audit.ingest.parse import Reading, known_text
from audit.ingest.parse_scores import parse_grade, parse_score
from audit.schema.terms import UNIT_WORDS, UNITS

_NUMBER = re.compile(r"([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+))(?: ?([A-Za-z%][A-Za-z0-9/%]*))?")
# Units that notes write in ways of their own.
_WRITTEN: dict[str, Callable[[str], Reading | None]] = {"grade": parse_grade, "0-10": parse_score}


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
        A float; nothing for a word that means unknown; ``not_a_number`` or ``unknown_unit``. The note
        ``unit_written`` marks a unit of its own.

    Examples
    --------
    >>> parse_number("7.5 cm", unit="mm").value
    75.0
    """
    plain = known_text(text)
    if isinstance(plain, Reading):
        return plain
    if unit in _WRITTEN and (said := _WRITTEN[unit](plain)):
        return said
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
    """A whole number in the unit of our column.

    Parameters
    ----------
    text, unit, log_unit, decimal_comma
        As in `parse_number`.

    Returns
    -------
    Reading
        A float without a fraction; as `parse_number`, and ``not_a_whole_number``.

    Examples
    --------
    >>> parse_integer("2.0").value, parse_integer("1.5").reason
    (2.0, 'not_a_whole_number')
    """
    reading = parse_number(text, unit=unit, log_unit=log_unit, decimal_comma=decimal_comma)
    if reading.value is not None and not reading.value.is_integer():
        return Reading(reason="not_a_whole_number")
    return reading
