"""What the values of a column say about which of ours it could be."""

from collections.abc import Callable
from dataclasses import dataclass

from audit.ingest.drafting_columns import FileColumn
from audit.ingest.drafting_numbers import are_numbers, flags_by_number, match_text
from audit.ingest.parse import Reading
from audit.ingest.parse_dates import parse_date
from audit.ingest.parse_numbers import parse_integer, parse_number
from audit.ingest.parse_parity import parse_parity
from audit.ingest.parse_serials import parse_serial
from audit.ingest.parse_words import flag_words, parse_flag
from audit.schema.column import Column
from audit.schema.terms import UNITS

MOST_CODES = 40
LONGEST_CODE = 60
_EVERYDAY_CODES = ("yes", "no", "none", "unknown", "other", "")
_MANY = 0.5
_FEW = 0.3
_SMALL = 20
# Numbers for codes speak neither for a column nor against it.
_SAID = 0.5


@dataclass(frozen=True)
class Evidence:
    """What values say: the share of rows that fit (0-1), the share that fits beyond doubt, and why.

    `telling` marks words for several codes of one column, which tell it from others. A column on which nothing
    is written has shares of 0 and no words.
    """

    share: float
    exact: float = 0.0
    telling: bool = False
    why: str = ""


NOTHING_WRITTEN = Evidence(0.0)
_FLAGS_BY_NUMBER = {
    "one_and_two": Evidence(0.5, why="the values are 1 and 2, which often stand for yes and no"),
    "more": Evidence(0.0, why="the values are numbers of which more than two differ"),
}


def evidence_of(values: FileColumn, column: Column) -> Evidence:
    """What the values of a column of the log say for one of ours.

    Parameters
    ----------
    values
        A column of the log.
    column
        One of ours.

    Returns
    -------
    Evidence
    """
    if not values.written:
        return NOTHING_WRITTEN
    if column.kind == "code":
        return _codes(values, column)
    if column.kind in ("reference", "text"):
        return _references(values, column)
    if column.kind == "flag" and flags_by_number(values) in ("one_and_two", "more"):
        return _FLAGS_BY_NUMBER[flags_by_number(values)]
    share = share_of_rows(values, _fits(column))
    if column.kind == "parity" and share_of_rows(values, lambda text: text.strip().isdigit()) == 1.0:
        return Evidence(0.7, why="numbers only, as a count of births would be")
    words = {"date": "dates", "flag": "yes or no", "parity": "histories of births"}
    return Evidence(share, why=f"{_percent(share)} are {words.get(column.kind, 'numbers in its range')}")


def share_of_rows(values: FileColumn, test: Callable[[str], bool]) -> float:
    """The share of the written rows (0-1) whose text passes a test, over at most 2,000 distinct texts."""
    rows = sum(number for _, number in values.sample)
    return sum(number for text, number in values.sample if test(text)) / rows if rows else 0.0


def is_date(text: str) -> bool:
    """Whether a text is a date in any order of day and month, or a spreadsheet's number of days."""
    orders = ("day_month_year", "month_day_year")
    readings = [parse_serial(text), *(parse_date(text, order=order) for order in orders)]
    return any(reading.value is not None for reading in readings)


def number_in(text: str, column: Column, *, unit: str = "") -> float | None:
    """The number in a text, in the unit of our column; None when there is none or it is out of range."""
    parse = parse_integer if column.kind == "integer" else parse_number
    for comma in (False, True):
        reading: Reading = parse(text, unit=column.unit, log_unit=unit, decimal_comma=comma)
        if reading.value is not None and _in_range(reading.value, column):
            return float(reading.value)
    return None


def _in_range(value: float, column: Column) -> bool:
    """Whether a number can be."""
    low = float("-inf") if column.minimum is None else column.minimum
    high = float("inf") if column.maximum is None else column.maximum
    return low <= value <= high


def units_of(column: Column) -> list[str]:
    """The units that can be turned into that of a column, its own first."""
    own = [column.unit]
    return own + [written for written, ours in UNITS if ours == column.unit and written != column.unit]


def _fits(column: Column) -> Callable[[str], bool]:
    """The test that a value of one of our columns passes."""
    flags = flag_words((), (), ())
    tests: dict[str, Callable[[str], bool]] = {
        "date": is_date,
        "flag": lambda text: parse_flag(text, words=flags).reason == "",
        "parity": lambda text: parse_parity(text).value is not None,
    }
    return tests.get(
        column.kind,
        lambda text: any(number_in(text, column, unit=unit) is not None for unit in units_of(column)),
    )


def _codes(values: FileColumn, column: Column) -> Evidence:
    """How many rows hold a word that means a code, and whether such words are peculiar to this column."""
    if len(values.texts) > MOST_CODES or any(len(text) > LONGEST_CODE for text in values.texts):
        return Evidence(0.0, why="too many different texts for codes")
    counts = {"own": 0, "sure": 0, "likely": 0, "guess": 0, "none": 0}
    codes = set()
    for text, number in zip(values.texts, values.rows, strict=True):
        match = match_text(text, column.name, values.heading)
        counts[match.certainty] += number
        if match.certainty in ("own", "sure", "likely"):
            codes.add(match.code)
    exact = (counts["own"] + counts["sure"]) / values.written
    share = exact + counts["likely"] / values.written
    if are_numbers(values) and share < _SAID:
        return Evidence(_SAID, why="numbers stand for its codes: say below for which")
    telling = len(codes.difference(_EVERYDAY_CODES)) > 1
    if telling:
        # Beside words that tell the column, a word that could stand for several of its codes fits too.
        share += counts["guess"] / values.written
    return Evidence(share, exact, telling, f"{_percent(share)} are words for its codes")


def _references(values: FileColumn, column: Column) -> Evidence:
    """Whether texts look like references, of as many different ones as such a column has."""
    flags = flag_words((), (), ())
    odd = share_of_rows(values, lambda text: is_date(text) or len(text) > 30)
    # "NO" may be someone's initials; yes and no alone are nobody's.
    if all(parse_flag(text, words=flags).reason == "" for text, _ in values.sample):
        odd = 1.0
    different = len(values.texts) / values.written
    few = len(values.texts) <= max(_SMALL, _FEW * values.written)
    expected = {
        "patient_ref": len(values.texts) > 1 or values.written < _SMALL,
        "visit_ref": different > _MANY,
    }.get(column.name, few)
    share = (1.0 - odd) * (1.0 if expected else 0.4)
    words = f"{len(values.texts):,} different texts on {values.written:,} rows"
    return Evidence(share, why=words)


def _percent(share: float) -> str:
    """A share of rows in words."""
    if share == 1.0:
        return "all values"
    # Rounded down: the one value in a thousand that does not fit must not vanish.
    return f"{int(share * 100)}% of values"
