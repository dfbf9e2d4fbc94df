"""Dates, worked by hand: nothing is guessed and nothing moves across midnight."""

import datetime

import pytest

from audit.ingest.parse_dates import parse_date

DAY, MONTH, ISO = "day_month_year", "month_day_year", "iso"


@pytest.mark.parametrize("order", [ISO, DAY, MONTH])
@pytest.mark.parametrize(
    "text",
    [
        "2024-04-03",
        "2024-4-3",
        "2024/04/03",
        "2024.04.03",
        "2024-04-03T23:30:00-05:00",
        "2024-04-03T00:15:00Z",
        "2024-04-03 00:00:00",
        "2024-04-03 11:30 PM",
        " 2024-04-03 ",
        "03-Apr-24",
        "3 April 2024",
        "03Apr2024",
        "April 3, 2024",
        "Apr 3 2024",
    ],
)
def test_an_unambiguous_date_is_read_as_written_in_any_declared_order(text: str, order: str) -> None:
    assert parse_date(text, order=order).value == datetime.date(2024, 4, 3)


@pytest.mark.parametrize("text", ["03/04/2024", "03.04.2024", "03-04-2024", "3/4/24", "03/04/2024 10:15"])
def test_a_date_of_numbers_follows_the_declared_order(text: str) -> None:
    assert parse_date(text, order=DAY).value == datetime.date(2024, 4, 3)
    assert parse_date(text, order=MONTH).value == datetime.date(2024, 3, 4)
    assert parse_date(text, order=ISO).reason == "date_order_not_declared"


@pytest.mark.parametrize(
    ("text", "order", "reason"),
    [
        ("04/13/2024", DAY, "other_date_order"),
        ("13/04/2024", MONTH, "other_date_order"),
        ("13/04/2024", ISO, "date_order_not_declared"),
        ("29/02/2023", DAY, "not_a_date"),
        ("31/04/2024", DAY, "not_a_date"),
        ("00/00/0000", DAY, "not_a_date"),
        ("00/00/0000", ISO, "not_a_date"),
        ("2023-02-29", ISO, "not_a_date"),
        ("1900-02-29", ISO, "not_a_date"),  # the day that some spreadsheets count and the calendar lacks
        ("0000-00-00", ISO, "not_a_date"),
        ("03/04.2024", DAY, "not_a_date"),
        ("60", ISO, "not_a_date"),
        ("0", ISO, "not_a_date"),
        ("45383", ISO, "not_a_date"),
        ("3 mars 2024", ISO, "not_a_date"),
        ("3. M\u00e4rz 2024", ISO, "not_a_date"),
        ("31 Apr 2024", ISO, "not_a_date"),
        ("soon", ISO, "not_a_date"),
        ("", ISO, "blank"),
        ("n/a", ISO, "blank"),
        ("#VALUE!", ISO, "spreadsheet_error"),
        ("2" * 1001, ISO, "too_long"),
    ],
)
def test_what_is_not_a_date_of_the_calendar_says_why(text: str, order: str, reason: str) -> None:
    assert parse_date(text, order=order) == (None, reason, "")


@pytest.mark.parametrize(
    ("text", "year"), [("01/01/68", 2068), ("01/01/69", 1969), ("1-Jan-00", 2000), ("1-Jan-99", 1999)]
)
def test_a_year_of_two_digits_turns_between_68_and_69(text: str, year: int) -> None:
    # POSIX strptime %y: 69 to 99 is 1969 to 1999, 00 to 68 is 2000 to 2068.
    assert parse_date(text, order=DAY).value == datetime.date(year, 1, 1)
    assert datetime.datetime.strptime(text[-2:], "%y").year == year


def test_digits_of_another_script_are_digits() -> None:
    assert parse_date("\u0662\u0660\u0662\u0664-\u0660\u0664-\u0660\u0663", order=ISO).value == datetime.date(
        2024, 4, 3
    )


def test_a_date_at_the_end_of_time_does_not_break_anything() -> None:
    assert parse_date("9999-12-31", order=ISO).value == datetime.date(9999, 12, 31)
