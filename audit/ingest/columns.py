"""A column of text to a column of values: each distinct text is read once, then spread over the rows."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from audit.ingest.parse import Reading, cleaned, parse_reference, parse_text
from audit.ingest.parse_dates import parse_date
from audit.ingest.parse_numbers import parse_integer, parse_number
from audit.ingest.parse_parity import parse_parity
from audit.ingest.parse_serials import are_serials, parse_serial
from audit.ingest.parse_words import code_words, flag_words, parse_code, parse_flag
from audit.ingest.plain_texts import are_plain
from audit.ingest.raw import RawColumn
from audit.ingest.readings import Readings, is_missing, objects, readings_from
from audit.schema.column import Column
from audit.settings import Layout

Parser = Callable[[str], Reading]
EARLIEST_YEAR, LATEST_YEAR = 1900, 2100
_CM_LENGTHS = (3.0, 16.0)
_CM_TO_MM = 10.0


def read_column(raw: RawColumn, column: Column, layout: Layout, *, decimal_comma: bool) -> Readings:
    """The readings of one column.

    Parameters
    ----------
    raw
        Text.
    column
        Its declaration.
    layout
        Codes, words, unit and date order of the log.
    decimal_comma
        Whether 7,5 is seven and a half.

    Returns
    -------
    Readings
        Values outside the hard limits have the reason ``out_of_range``. When more than half of a column's
        numbers lie above its maximum, all of them have the reason ``wrong_scale``: those within the limits
        are then most likely on the other scale too. Dates are read as a spreadsheet's numbers of days only
        when the whole column is written so.
    """
    parser = _parser(column, layout, decimal_comma)
    if column.kind == "date" and are_serials(raw.texts, np.bincount(raw.codes, minlength=len(raw.texts))):
        parser = parse_serial
    synonyms = {cleaned(word).casefold(): code for word, code in layout.codes.get(column.name, {}).items()}
    if column.kind in ("reference", "text") and not synonyms:
        return _read_texts(raw, column, parser)
    in_cm = column.name not in layout.units
    items = [
        _limited(parser(synonyms.get(cleaned(text).casefold(), text) if synonyms else text), column, in_cm)
        for text in raw.texts
    ]
    read = readings_from(column, raw.texts, items, raw.codes)
    return _without_wrong_scale(read) if column.kind in ("integer", "number") else read


def _read_texts(raw: RawColumn, column: Column, parser: Parser) -> Readings:
    """A column of the service's own codes; a million of them are plain words that say what is written."""
    values = objects(raw.texts)
    reasons, notes = (np.full(len(values), "", dtype=object) for _ in range(2))
    for place in np.flatnonzero(~are_plain(raw.texts)):
        values[place], reasons[place], notes[place] = parser(raw.texts[place])
    return Readings(column, raw.texts, values, reasons, notes, raw.codes)


def _parser(column: Column, layout: Layout, decimal_comma: bool) -> Parser:
    """The function that reads one text of the column."""
    flags = flag_words(layout.yes, layout.no, layout.unknown)
    number = {"unit": column.unit, "log_unit": layout.units.get(column.name, "")}
    parsers: dict[str, Parser] = {
        "reference": parse_reference,
        "text": parse_text,
        "parity": parse_parity,
        "date": partial(parse_date, order=layout.date_order),
        "integer": partial(parse_integer, decimal_comma=decimal_comma, **number),
        "number": partial(parse_number, decimal_comma=decimal_comma, **number),
        "flag": partial(parse_flag, words=flags),
        "code": partial(parse_code, words=code_words(column, flags)),
    }
    return parsers[column.kind]


def _limited(reading: Reading, column: Column, may_be_cm: bool) -> Reading:
    """The reading with the column's limits applied."""
    if reading.value is None:
        return reading
    if column.kind == "date":
        return _limited_date(reading, column)
    if column.kind in ("integer", "number", "parity"):
        return _limited_number(reading, column, may_be_cm)
    return reading


def _limited_date(reading: Reading, column: Column) -> Reading:
    """The date, if its year can be."""
    first = column.minimum or EARLIEST_YEAR
    last = column.maximum or LATEST_YEAR
    return reading if first <= reading.value.year <= last else Reading(reason="out_of_range")


def _limited_number(reading: Reading, column: Column, may_be_cm: bool) -> Reading:
    """The number, if it can be; a length in mm that can only be in cm is converted and noted."""
    value = reading.value
    if may_be_cm and reading.note != "unit_written" and _is_cm(value, column):
        return Reading(value * _CM_TO_MM, note="read_as_cm")
    low = -np.inf if column.minimum is None else column.minimum
    high = np.inf if column.maximum is None else column.maximum
    if not low <= value <= high:
        return Reading(reason="out_of_range", note="above" if value > high else "")
    plausible = column.plausible is None or column.plausible[0] <= value <= column.plausible[1]
    return Reading(value, note=reading.note if plausible else "implausible")


def _is_cm(value: float, column: Column) -> bool:
    """Whether a number in a mm column is a length that clinics write in cm and that cannot be in mm."""
    shortest, longest = _CM_LENGTHS
    impossible_in_mm = column.minimum is not None and column.minimum > longest
    return column.unit == "mm" and impossible_in_mm and shortest <= value <= longest


def _without_wrong_scale(read: Readings) -> Readings:
    """The column, none of its numbers believed when more than half lie above the maximum."""
    rows = np.bincount(read.codes, minlength=len(read.texts))
    known, above = ~is_missing(read), read.notes == "above"
    # One value alone is a typing error, not a scale.
    if rows[above].sum() <= max(rows[known].sum(), 1):
        return read
    values, reasons, notes = read.values.copy(), read.reasons.copy(), read.notes.copy()
    values[known | above], reasons[known | above], notes[known | above] = None, "wrong_scale", ""
    return replace(read, values=values, reasons=reasons, notes=notes)
