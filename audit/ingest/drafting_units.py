"""Date order, decimal sign and units as whole columns show them; what they leave open stays open."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from audit.ingest.drafting_columns import FileColumn
from audit.ingest.drafting_evidence import number_in, share_of_rows, units_of
from audit.ingest.drafting_headings import FITS, GUESS, LIKELY, SURE, Proposal
from audit.ingest.parse_dates import parse_date
from audit.ingest.parse_serials import are_serials
from audit.schema.column import Column

ORDERS = ("day_month_year", "month_day_year")
_SLIPS = 0.01
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_POINT = re.compile(r"[+-]?[0-9]+\.[0-9]+")
_WRITTEN_UNITS = {
    "cm": r"cm",
    "mm": r"mm",
    "hours": r"h|hrs?|hours?|heures?|horas?|stunden|uur|uren",
    "days": r"d|days?|jours?|d[ií]as?|tagen?|dagen|dias",
    "weeks": r"w|wks?|weeks?|semaines?|semanas?|wochen|weken",
    "0-10": r"0 ?(?:-|to|à|a|bis|/) ?10|/ ?10",
    "0-100": r"0 ?(?:-|to|à|a|bis|/) ?100|/ ?100",
}


@dataclass(frozen=True)
class Choice:
    """One setting to be made: its value, how sure that is, and why; no value where nothing needs to be set.

    With a certainty of ``open`` the values that could be meant are separated by a bar.
    """

    value: str
    certainty: str
    why: str


OPEN = "open"


def date_order(proposals: Sequence[Proposal]) -> Choice:
    """The order of day and month in the dates of a log.

    Parameters
    ----------
    proposals
        What is proposed for our columns; columns of dates that are no more than a guess count only where there
        are no others.

    Returns
    -------
    Choice
        `day_month_year`, `month_day_year` or `iso`. Sure when the dates of the visits alone decide, likely
        when only another column does, open when nothing decides or both orders are used.
    """
    dates = [item for item in proposals if item.column.kind == "date"]
    columns = [item for item in dates if item.certainty != GUESS] or dates
    guessed = [item.column.name for item in columns if item.certainty == GUESS]
    counts = {item.column.name: _counts(item.values) for item in columns}
    total = [sum(numbers) for numbers in zip(*counts.values(), strict=True)]
    if not total or not sum(total):
        return Choice("iso", SURE, "no date has day and month by number")
    day_first, month_first, either, _ = total
    if min(day_first, month_first) > _SLIPS * max(day_first, month_first):
        lists = ", ".join(name for name, numbers in counts.items() if numbers[0] or numbers[1])
        why = f"{day_first:,} dates have the day first and {month_first:,} the month ({lists})"
        return Choice("|".join(ORDERS), OPEN, f"{why}: correct them in the log first")
    if not day_first and not month_first:
        return Choice("|".join(ORDERS), OPEN, f"all {either:,} dates by number fit either order")
    order = _decided(counts, day_first > month_first)
    return Choice(order.value, LIKELY, f"{order.why}; {guessed[0]} is a guess") if guessed else order


def _decided(counts: dict[str, tuple[int, int, int, int]], day_first: bool) -> Choice:
    """The order that decides, and how many dates show it."""
    shows, other = (0, 1) if day_first else (1, 0)
    value = ORDERS[0] if day_first else ORDERS[1]
    shown = sum(numbers[shows] for numbers in counts.values())
    slips = sum(numbers[other] for numbers in counts.values())
    either = [name for name, numbers in counts.items() if numbers[2] and not numbers[shows]]
    why = f"{shown:,} dates can only be read with the {'day' if day_first else 'month'} first"
    why += f", {slips:,} only the other way round" if slips else ""
    why += f"; by itself {' and '.join(either)} would fit either order" if either else ""
    by_visits = counts.get("visit_date", (0, 0, 0, 0))[shows] > 0
    return Choice(value, SURE if by_visits and not slips else LIKELY, why)


def _counts(values: FileColumn) -> tuple[int, int, int, int]:
    """Rows whose date is day first only, month first only, either, or the same day both ways."""
    found = [0, 0, 0, 0]
    if are_serials(values.texts, values.rows):
        return (0, 0, 0, 0)
    for text, number in zip(values.texts, values.rows, strict=True):
        if parse_date(text, order="iso").reason != "date_order_not_declared":
            continue
        day, month = (parse_date(text, order=order).value for order in ORDERS)
        if day is None or month is None:
            found[0 if day else 1] += number
        else:
            found[3 if day == month else 2] += number
    return (found[0], found[1], found[2], found[3])


def decimal_comma(proposals: Iterable[Proposal]) -> Choice:
    """Whether the numbers of a log have a decimal comma.

    Parameters
    ----------
    proposals
        What is proposed for our columns.

    Returns
    -------
    Choice
        ``true``, or no value for a decimal point; open when both are used.
    """
    numbers = [item for item in proposals if item.column.kind in ("integer", "number")]
    comma, point = (sum(_rows_like(item.values, pattern) for item in numbers) for pattern in (_COMMA, _POINT))
    if comma and point:
        why = f"{comma:,} numbers have a comma and {point:,} a point"
        return Choice("true|false", OPEN, why)
    return (
        Choice("true", SURE, f"{comma:,} numbers have a comma and none a point")
        if comma
        else Choice("", SURE, "no number has a comma")
    )


def _rows_like(values: FileColumn, pattern: re.Pattern[str]) -> int:
    """How many rows hold a text of this form."""
    return sum(number for text, number in values.sample if pattern.match(text.strip()))


def unit_of(proposal: Proposal) -> Choice:
    """The unit a column of numbers is written in.

    Parameters
    ----------
    proposal
        What is proposed for one of our columns.

    Returns
    -------
    Choice
        No value where it is the column's own unit. Heading and values both speak; open where they contradict
        each other, or where the values lie on no one scale.
    """
    column, units = proposal.column, units_of(proposal.column)
    if column.kind not in ("integer", "number") or len(units) == 1:
        return Choice("", SURE, "")
    said = _unit_in(proposal.values.heading, units)
    fitting = [unit for unit in units if _share(proposal.values, column, unit) >= FITS]
    if said and (said in fitting or not proposal.values.written):
        return Choice("" if said == column.unit else said, SURE, "the heading says so and the values fit")
    if said and fitting:
        why = f"the heading says {said}, but the values look like {fitting[0]}"
        return Choice("|".join(units), OPEN, why)
    if not fitting:
        return Choice("|".join(units), OPEN, "the values lie on no one scale")
    return _by_values(proposal, fitting)


def _by_values(proposal: Proposal, fitting: list[str]) -> Choice:
    """The unit by the values alone: the column's own where it fits, else the only one that does."""
    own = proposal.column.unit
    if own in fitting:
        return Choice("", SURE, "")
    why = f"the values of the whole column fit {fitting[0]}, not {own}"
    return Choice(fitting[0], SURE, why) if len(fitting) == 1 else Choice("|".join(fitting), OPEN, why)


def _unit_in(heading: str, units: list[str]) -> str:
    """The unit that a heading names, in brackets, at its start or at its end."""
    plain = heading.casefold().replace("_", " ").strip()
    for unit in sorted(units, key=len, reverse=True):
        word = _WRITTEN_UNITS.get(unit, re.escape(unit))
        if re.search(rf"[(\[] ?(?:in )?(?:{word}) ?[)\]]|(?:^|\s)(?:{word})$|^(?:{word})\s", plain):
            return unit
    return ""


def _share(values: FileColumn, column: Column, unit: str) -> float:
    """The share of rows whose number is usual for the column when it is in this unit."""
    low, high = column.plausible or (column.minimum, column.maximum)

    def usual(text: str) -> bool:
        number = number_in(text, column, unit=unit)
        return number is not None and (low is None or low <= number) and (high is None or number <= high)

    test: Callable[[str], bool] = usual
    return share_of_rows(values, test)
