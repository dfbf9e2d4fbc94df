"""A column of text to a column of values: each distinct text is read once, then spread over the rows."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.ingest.parse import Reading, cleaned, parse_reference, parse_text
from audit.ingest.parse_dates import parse_date
from audit.ingest.parse_numbers import parse_integer, parse_number
from audit.ingest.parse_parity import parse_parity
from audit.ingest.parse_serials import are_serials, parse_serial
from audit.ingest.parse_words import code_words, flag_words, parse_code, parse_flag
from audit.ingest.raw import Flags, RawColumn
from audit.schema.column import Column
from audit.settings import Layout

Parser = Callable[[str], Reading]
STAFF_AND_PLACES = ("site_ref", "clinician_ref", "completed_by_ref", "supervisor_ref")
EARLIEST_YEAR, LATEST_YEAR = 1900, 2100
_CM_LENGTHS = (3.0, 16.0)
_CM_TO_MM = 10.0


@dataclass(frozen=True)
class Readings:
    """What each distinct text of a column says, and the number of the text on each row."""

    column: Column
    texts: tuple[str, ...] = field(repr=False)
    readings: tuple[Reading, ...] = field(repr=False)
    codes: npt.NDArray[np.int32] = field(repr=False)

    def __len__(self) -> int:
        return len(self.codes)


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
    in_cm = column.name not in layout.units
    readings = tuple(
        _limited(parser(synonyms.get(cleaned(text).casefold(), text) if synonyms else text), column, in_cm)
        for text in raw.texts
    )
    read = Readings(column, raw.texts, readings, raw.codes)
    return _without_wrong_scale(read) if column.kind in ("integer", "number") else read


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
    """The readings, none of them believed when more than half lie above the maximum."""
    rows = np.bincount(read.codes, minlength=len(read.texts))
    above = sum(int(n) for n, item in zip(rows, read.readings, strict=True) if item.note == "above")
    known = sum(int(n) for n, item in zip(rows, read.readings, strict=True) if item.value is not None)
    # One value alone is a typing error, not a scale.
    if above <= max(known, 1):
        return read
    readings = tuple(
        Reading(reason="wrong_scale") if item.value is not None or item.note == "above" else item
        for item in read.readings
    )
    return Readings(read.column, read.texts, readings, read.codes)


def rows_where(read: Readings, test: Callable[[Reading], bool]) -> Flags:
    """Which rows have a reading that passes a test.

    Parameters
    ----------
    read
        A column.
    test
        Called once per distinct text.

    Returns
    -------
    numpy.ndarray
        One bool per row.
    """
    passed = np.array([test(item) for item in read.readings], dtype=np.bool_)
    return passed[read.codes] if len(passed) else np.zeros(len(read), dtype=np.bool_)


def values_of(read: Readings) -> pd.Series:
    """The values of a column, one per row, in the dtype of its kind.

    Parameters
    ----------
    read
        A column.

    Returns
    -------
    pandas.Series
        Codes and references to staff and places are categories, flags nullable booleans, dates
        ``datetime64[ns]``, numbers ``float64``, other texts objects with "" for blank.
    """
    column = read.column
    values = [item.value for item in read.readings]
    if column.kind == "date":
        return pd.Series(np.array(values, dtype="datetime64[D]").astype("datetime64[ns]")[read.codes])
    if column.kind == "flag":
        return _flags(values, read.codes)
    if column.kind == "code":
        return _categories(values, column.codes, read.codes)
    if column.name in STAFF_AND_PLACES:
        return _categories(values, tuple(sorted({value for value in values if value})), read.codes)
    if column.kind in ("text", "reference"):
        return pd.Series(np.array([value or "" for value in values], dtype=object)[read.codes], dtype=object)
    return pd.Series(np.array(values, dtype=np.float64)[read.codes])


def _flags(values: list[bool | None], codes: npt.NDArray[np.int32]) -> pd.Series:
    """Nullable booleans."""
    yes = np.array([value is True for value in values], dtype=np.bool_)
    unknown = np.array([value is None for value in values], dtype=np.bool_)
    return pd.Series(pd.arrays.BooleanArray(yes[codes], unknown[codes]))


def _categories(
    values: list[str | None], categories: tuple[str, ...], codes: npt.NDArray[np.int32]
) -> pd.Series:
    """A categorical column."""
    place = {category: number for number, category in enumerate(categories)}
    numbers: Any = np.array([-1 if value is None else place[value] for value in values], dtype=np.int32)
    return pd.Series(pd.Categorical.from_codes(numbers[codes], dtype=pd.CategoricalDtype(list(categories))))
