"""Dates, worked by hand: nothing is guessed and nothing moves across midnight."""

import datetime
import unicodedata

import pytest

from audit.ingest.identifiers_dates import year_of
from audit.ingest.parse_dates import parse_date
from audit.ingest.parse_months import _WORDS

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
        "3rd April 2024",
        "April 3rd, 2024",
        "03-Avr-24",
        "3 avril 2024",
        "3. April 2024",
        "3 abr. 2024",
        "3 de abril de 2024",
        "3 de abril del 2024",
        "3\u00ba de abril de 2024",
        "3 aprile 2024 10:15",
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
        ("3 mardi 2024", ISO, "not_a_date"),
        ("3. Quartal 2024", ISO, "not_a_date"),
        ("31 avril 2024", ISO, "not_a_date"),
        ("3 apr\u00edl 2024 de", ISO, "not_a_date"),
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


# Unicode CLDR 48: months of the Gregorian calendar, wide, then abbreviated in running text, then standing
# alone where that differs, as the library babel 2.18.0 prints them; Austrian German gives the last line.
MONTHS = """
Januar Februar M\u00e4rz April Mai Juni Juli August September Oktober November Dezember
Jan. Feb. M\u00e4rz Apr. Mai Juni Juli Aug. Sept. Okt. Nov. Dez.
Jan Feb M\u00e4r Apr Mai Jun Jul Aug Sep Okt Nov Dez
janvier f\u00e9vrier mars avril mai juin juillet ao\u00fbt septembre octobre novembre d\u00e9cembre
janv. f\u00e9vr. mars avr. mai juin juil. ao\u00fbt sept. oct. nov. d\u00e9c.
enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre
ene feb mar abr may jun jul ago sept oct nov dic
gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre
gen feb mar apr mag giu lug ago set ott nov dic
januari februari maart april mei juni juli augustus september oktober november december
jan feb mrt apr mei jun jul aug sep okt nov dec
janeiro fevereiro mar\u00e7o abril maio junho julho agosto setembro outubro novembro dezembro
jan. fev. mar. abr. mai. jun. jul. ago. set. out. nov. dez.
January February March April May June July August September October November December
J\u00e4nner Februar M\u00e4rz April Mai Juni Juli August September Oktober November Dezember
J\u00e4n. Feb. M\u00e4rz Apr. Mai Juni Juli Aug. Sep. Okt. Nov. Dez.
"""


@pytest.mark.parametrize("line", MONTHS.strip().splitlines())
@pytest.mark.parametrize("form", ["{day:02}-{month}-24", "{day} {month} 2024", "{month} {day}, 2024"])
def test_the_months_of_seven_languages_are_read_in_any_case_and_with_accents_or_without(
    line: str, form: str
) -> None:
    for number, month in enumerate(line.split(), start=1):
        wanted = datetime.date(2024, number, 3)
        whole = form.format(day=3, month=month)
        bare = "".join(c for c in unicodedata.normalize("NFKD", whole) if not unicodedata.combining(c))
        for text in (whole, whole.upper(), unicodedata.normalize("NFD", whole), bare):
            assert parse_date(text, order=ISO).value == wanted, text
            assert year_of(text) in (24, 2024), text


def test_the_first_of_a_month_may_be_written_as_in_french() -> None:
    assert parse_date("1er ao\u00fbt 2024", order=ISO).value == datetime.date(2024, 8, 1)
    assert year_of("1er ao\u00fbt 1990") == year_of("3 de agosto de 1990") == 1990


def test_no_word_is_one_month_here_and_another_there() -> None:
    meanings: dict[str, set[int]] = {}
    for number, words in enumerate(_WORDS, start=1):
        for word in words.split():
            meanings.setdefault(word, set()).add(number)
    assert [word for word, numbers in meanings.items() if len(numbers) > 1] == []
    assert len(meanings) == sum(len(words.split()) for words in _WORDS)
