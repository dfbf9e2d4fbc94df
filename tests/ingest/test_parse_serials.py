"""A spreadsheet's numbers of days: read only in a column that holds nothing else."""

import datetime

import pytest

from audit.ingest.parse_serials import are_serials, parse_serial


@pytest.mark.parametrize(
    ("text", "date"),
    [
        # The vendor's own manual of a widespread spreadsheet gives 1 January 2008 as 39448 (from memory).
        ("39448", datetime.date(2008, 1, 1)),
        ("45383", datetime.date(2024, 4, 1)),
        ("45383.75", datetime.date(2024, 4, 1)),
        ("45383,75", datetime.date(2024, 4, 1)),
        ("20000", datetime.date(1954, 10, 3)),
        ("73050", datetime.date(2099, 12, 31)),
    ],
)
def test_a_number_of_days_is_a_date(text: str, date: datetime.date) -> None:
    assert parse_serial(text).value == date
    # The day count from 1970-01-01, which is 25569, is another road to the same day.
    assert datetime.date(1970, 1, 1) + datetime.timedelta(days=int(text[:5]) - 25569) == date


@pytest.mark.parametrize("text", ["0", "60", "19999", "73051", "453830", "2026-07-01", "yes"])
def test_no_other_number_is_a_date(text: str) -> None:
    assert parse_serial(text).reason == "not_a_date"


@pytest.mark.parametrize(
    ("texts", "rows", "expected"),
    [
        (["45383", "45390", "45400"], [1, 1, 1], True),
        (["45383", "", "n/a"], [3, 50, 4], True),
        (["45383", "unknown"], [99, 1], True),
        (["45383", "2026-07-01"], [1, 99], False),
        (["45383", "2026-07-01"], [94, 6], False),
        (["45383", "2026-07-01"], [95, 5], True),
        (["45383"], [2], False),
        (["2026-07-01"], [9], False),
        (["20240403"], [9], False),
        ([], [], False),
    ],
)
def test_the_whole_column_decides(texts: list[str], rows: list[int], expected: bool) -> None:
    assert are_serials(texts, rows) is expected
