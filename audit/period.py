"""Reporting periods: what a label means, and which attempts and woman-time fall into one."""

import re
from dataclasses import replace

import pandas as pd

from audit.errors import PeriodError
from audit.records import Period
from audit.settings import Calendar

_QUARTER = re.compile(r"^(\d{4})-?Q([1-4])$", re.IGNORECASE)
_MONTH = re.compile(r"^(\d{4})-(\d{2})$")
_YEAR = re.compile(r"^(\d{4})$")
_FISCAL = re.compile(r"^FY((?:19|20)\d{2})(?:-?Q([1-4]))?$", re.IGNORECASE)


def period_from(label: str | Period, *, calendar: Calendar | None = None) -> Period:
    """The period a label names.

    Parameters
    ----------
    label
        ``2026-Q3``, ``2026-07``, ``2026``, or two ISO dates joined by a slash, ``2026-07-01/2026-09-30``; with a
        calendar also a name of its own, ``FY2026`` or ``FY2026-Q1``.
    calendar
        The service's calendar of the settings: names of periods, and the month its year begins in.

    Returns
    -------
    Period

    Raises
    ------
    PeriodError
        The label is none of these, or ends before it begins.

    Examples
    --------
    >>> period_from("2026-Q3").last_day.date().isoformat()
    '2026-09-30'
    >>> period_from("FY2026-Q4", calendar=Calendar(year_starts_in_month=4)).first_day.date().isoformat()
    '2027-01-01'
    """
    if isinstance(label, Period):
        return label
    text = label.strip()
    if calendar is not None and text in calendar.periods:
        return replace(_between(calendar.periods[text]), label=text)
    if calendar is not None and (match := _FISCAL.match(text)):
        return _of_the_year(text.upper(), match, calendar.year_starts_in_month)
    if match := _QUARTER.match(text):
        year, quarter = match.groups()
        return _calendar(f"{year}-Q{quarter}", pd.Period(f"{year}Q{quarter}", freq="Q"))
    if _MONTH.match(text) or _YEAR.match(text):
        return _calendar(text, _calendar_period(text))
    return _between(text)


def twelve_months_to(period: Period) -> Period:
    """The twelve months that end with a period."""
    first = period.last_day + pd.Timedelta(days=1) - pd.DateOffset(years=1)
    return Period(f"12 months to {period.label}", first, period.last_day)


def in_period(attempts: pd.DataFrame, period: str | Period) -> pd.DataFrame:
    """The attempts dated in a period.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    period
        A period or its label.

    Returns
    -------
    DataFrame
        The rows whose ``attempt_date`` lies in the period, with a new RangeIndex; possibly none.

    Raises
    ------
    PeriodError
        The label names no period.
    """
    span = period_from(period)
    return attempts[attempts["attempt_date"].between(span.first_day, span.last_day)].reset_index(drop=True)


def observed_in_period(placements: pd.DataFrame, period: str | Period) -> pd.DataFrame:
    """The part of each spell that was lived in a period, by delayed entry.

    A spell that began before the period enters on the day before it, so that its woman-time and its ending
    count in one period only, and the quarters add up to the whole.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    period
        A period or its label.

    Returns
    -------
    DataFrame
        `placements` with a column ``entry_day`` (days since placement; 0 means observed from placement on),
        both exit days cut at the end of the period, and endings after it undone. Spells with no day in the
        period are left out.

    Raises
    ------
    PeriodError
        The label names no period.
    """
    span = period_from(period)
    to_start = (span.first_day - placements["placement_date"]).dt.days.astype("float64")
    to_end = (span.last_day - placements["placement_date"]).dt.days.astype("float64")
    observed = placements.assign(entry_day=(to_start - 1).clip(lower=0.0))
    for rule in ("last_known", "assumed_in_place"):
        observed[f"exit_day_{rule}"] = observed[f"exit_day_{rule}"].clip(upper=to_end)
    later = observed["ending_day"] > to_end
    observed.loc[later, "ending"] = "none"
    observed.loc[later, "ending_day"] = float("nan")
    lived = (to_end >= 0) & (placements["exit_day_assumed_in_place"] >= to_start)
    kept: pd.DataFrame = observed[lived].reset_index(drop=True)
    return kept


def due_in_period(placements: pd.DataFrame, period: str | Period, *, days: int) -> pd.DataFrame:
    """The placements for which something fell due in a period, a number of days after placement.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    period
        A period or its label.
    days
        Days from placement to the day it is due.

    Returns
    -------
    DataFrame
        The rows, with a new RangeIndex; possibly none.

    Raises
    ------
    PeriodError
        The label names no period.
    """
    span = period_from(period)
    due = placements["placement_date"] + pd.Timedelta(days=days)
    return placements[due.between(span.first_day, span.last_day)].reset_index(drop=True)


def _of_the_year(label: str, match: re.Match[str], month: int) -> Period:
    """A year or a quarter of a year that begins in a month of the service's own."""
    year, quarter = match.groups()
    start = pd.Timestamp(int(year), month, 1)
    if quarter:
        start += pd.DateOffset(months=3 * (int(quarter) - 1))
    after = start + pd.DateOffset(months=3 if quarter else 12)
    return Period(label, start, after - pd.Timedelta(days=1))


def _calendar_period(text: str) -> pd.Period:
    """A month or a year of the calendar."""
    try:
        return pd.Period(text, freq="M" if "-" in text else "Y")
    except ValueError:
        raise PeriodError(_sentence(text)) from None


def _calendar(label: str, period: pd.Period) -> Period:
    """A period of the calendar with its first and last day."""
    return Period(label, period.start_time.normalize(), period.end_time.normalize())


def _between(text: str) -> Period:
    """A period from two ISO dates."""
    try:
        first, last = (
            pd.Timestamp(pd.to_datetime(day.strip(), format="%Y-%m-%d")) for day in text.split("/")
        )
    except ValueError:
        raise PeriodError(_sentence(text)) from None
    if last < first:
        raise PeriodError(f"period '{text}' ends before it begins. Put the earlier date first.")
    return Period(text, first, last)


def _sentence(text: str) -> str:
    """What to write instead."""
    return (
        f"period '{text}' is not understood. "
        "Write a quarter (2026-Q3), a month (2026-07), a year (2026) or two dates (2026-07-01/2026-09-30)."
    )
