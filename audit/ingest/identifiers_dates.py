"""Dates of birth: a column of dates that lie as long before the visits as women are old."""

import re
import unicodedata
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from audit.ingest.raw import RawColumn

AGES = (12, 60)
SAMPLED_ROWS = 10_000
_DATES_SHARE = 0.8
_FEWEST_SPARED = 20
_SPARED_SHARE = 0.95
_TIME = r"(?:[T ]\d{1,2}:\d\d.*)?"
_DAY = r"\d{1,2}(?:[.ºª°]|(?:er|st|nd|rd|th)(?![^\W\d_]))?"
_YEAR_FIRST = re.compile(rf"(\d{{4}})[-./ ](?:\d{{1,2}}|[^\W\d_]{{3,}}\.?)[-./ ]\d{{1,2}}{_TIME}")
_YEAR_LAST = re.compile(
    rf"(?:\d{{1,2}}[-./ ]\d{{1,2}}[-./ ]|{_DAY}[-/ ]?(?:de )?[^\W\d_]{{3,}}\.?[-/, ]*(?:del? )?|"
    rf"[^\W\d_]{{3,}}\.? {_DAY},? )"
    rf"(\d{{4}}|\d{{2}}){_TIME}"
)
_EIGHT_DIGITS = re.compile(r"(?:(19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01]))")


def year_of(text: str) -> int:
    """The year of a text that is a date, whatever its order of day and month.

    Parameters
    ----------
    text
        A value.

    Returns
    -------
    int
        0 to 99 when only two digits are written; -1 when the text is no date.

    Examples
    --------
    >>> [year_of(text) for text in ("1991-04-03", "03/04/91", "3 April 1991", "19910403", "P2+1")]
    [1991, 91, 1991, 1991, -1]
    """
    value = text.strip() if text.isascii() else unicodedata.normalize("NFC", text.strip())
    for form in (_YEAR_FIRST, _YEAR_LAST):
        found = form.fullmatch(value)
        if found:
            return int(found[1])
    return int(value[:4]) if _EIGHT_DIGITS.fullmatch(value) else -1


def are_birth_dates(column: RawColumn, visits: RawColumn, *, spared: bool = False) -> bool:
    """Whether most values of a column are dates 12 to 60 years before the visits on their rows.

    Parameters
    ----------
    column
        The column.
    visits
        The dates of the visits, row by row.
    spared
        True for the day of her latest delivery, of which many, but never nearly all, lie so far back.

    Returns
    -------
    bool

    Notes
    -----
    At most 10,000 rows are looked at, evenly spaced over those on which the column is filled. Years are
    compared, so that the order of day and month does not matter.

    Examples
    --------
    >>> one_each = np.arange(2, dtype=np.int32)
    >>> seen = RawColumn(("2026-07-01", "2026-07-02"), one_each)
    >>> are_birth_dates(RawColumn(("03/04/91", "12/11/2001"), one_each), seen)
    True
    """
    filled = np.array([bool(text.strip()) for text in column.texts], dtype=np.bool_)
    rows = np.flatnonzero(filled[column.codes]) if len(filled) else np.zeros(0, dtype=np.int64)
    if len(rows) == 0:
        return False
    rows = rows[np.linspace(0, len(rows) - 1, min(len(rows), SAMPLED_ROWS)).astype(np.int64)]
    years, seen = _years(column.texts, column.codes[rows]), _years(visits.texts, visits.codes[rows])
    if (years >= 0).mean() < _DATES_SHARE:
        return False
    known = (years >= 0) & (seen >= 0)
    ages = _ages(years[known], seen[known])
    within = (ages >= AGES[0]) & (ages <= AGES[1])
    if spared:
        return len(ages) >= _FEWEST_SPARED and bool(within.mean() >= _SPARED_SHARE)
    return len(ages) > 0 and bool(within.mean() > 0.5)


def _years(texts: Sequence[str], codes: npt.NDArray[np.int32]) -> npt.NDArray[np.int64]:
    """The year on each row, -1 where there is none."""
    years = np.full(len(texts), -1, dtype=np.int64)
    for code in np.unique(codes):
        years[code] = year_of(texts[code])
    return years[codes]


def _ages(years: npt.NDArray[np.int64], seen: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Years between the two; two digits mean the latest such year that is not after the visit."""
    full = np.where(seen < 100, seen + 2000, seen)
    ages: npt.NDArray[np.int64] = np.where(years < 100, (full - years) % 100, full - years)
    return ages
