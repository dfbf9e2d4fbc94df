"""Each kind of value, worked by hand: text in, value or reason out."""

import pytest

from audit.ingest.parse import Reading, cleaned, parse_reference, parse_text
from audit.ingest.parse_numbers import parse_integer, parse_number
from audit.ingest.parse_parity import parse_parity
from audit.ingest.parse_words import code_words, flag_words, parse_code, parse_flag
from audit.schema.visits import VISITS

FLAGS = flag_words((), (), ())


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("NA", "NA"),
        ("007", "007"),
        ("1E5", "1E5"),
        ("-", "-"),
        ("n/a", "n/a"),
        (" DR\u00a0 01\u200b ", "DR 01"),
        ("9007199254740993", "9007199254740993"),
        ("Caf\u00e9", "Caf\u00e9"),
        ("\u0410B1", "\u0410B1"),  # a Cyrillic letter stays one
        ("\uff21", "\uff21"),  # a full-width letter stays one
        ("{0.__class__}", "{0.__class__}"),
    ],
)
def test_a_code_of_the_service_is_kept_as_written_but_for_space(text: str, value: str) -> None:
    assert parse_text(text) == Reading(value)


@pytest.mark.parametrize("text", ["", " ", "\u00a0", "\u200b", "\t \u2060"])
def test_only_nothing_at_all_is_a_blank_code(text: str) -> None:
    assert parse_text(text).reason == "blank"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("#N/A", "spreadsheet_error"),
        ("#REF!", "spreadsheet_error"),
        ("#VALUE!", "spreadsheet_error"),
        ("####", "spreadsheet_error"),
        ("9.00720E+15", "spreadsheet_number"),
        ("x" * 1001, "too_long"),
    ],
)
def test_a_code_that_a_spreadsheet_spoilt_is_not_used(text: str, reason: str) -> None:
    assert parse_text(text) == Reading(reason=reason)


@pytest.mark.parametrize("text", ["", "-", "n/a", "NA", "unknown", "?"])
def test_words_for_nothing_are_no_woman(text: str) -> None:
    assert parse_reference(text).reason == "blank"


def test_a_reference_keeps_its_zeros_and_its_case() -> None:
    assert [parse_reference(text).value for text in ("0012", "a1", "A1")] == ["0012", "a1", "A1"]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("75", 75.0),
        ("75 mm", 75.0),
        ("75mm", 75.0),
        ("7.5 cm", 75.0),
        ("7.5CM", 75.0),
        ("-3", -3.0),
        ("+3", 3.0),
        (".5", 0.5),
        ("3.", 3.0),
        ("2.0", 2.0),
        ("\u0663", 3.0),  # Arabic-Indic digit three
        ("\uff17\uff15", 75.0),  # full-width digits
    ],
)
def test_a_number_is_read_in_the_unit_of_its_column(text: str, value: float) -> None:
    assert parse_number(text, unit="mm").value == value


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("1,200", "not_a_number"),
        ("1 200", "not_a_number"),
        ("1_000", "not_a_number"),
        ("7,5", "not_a_number"),
        ("\u00b2", "not_a_number"),  # superscript two: a digit to Python, not a decimal one
        ("seven", "not_a_number"),
        ("inf", "not_a_number"),
        ("nan", "not_a_number"),
        ("0x10", "unknown_unit"),
        ("7 feet", "unknown_unit"),
        ("#DIV/0!", "spreadsheet_error"),
        ("9" * 5000, "too_long"),
        ("n/a", "blank"),
        ("-", "blank"),
        ("NA", "blank"),
    ],
)
def test_what_is_not_plainly_a_number_is_not_guessed(text: str, reason: str) -> None:
    assert parse_number(text, unit="mm") == Reading(reason=reason)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("7,5", 7.5),
        ("7,50", 7.5),
        ("7.5", 7.5),
        ("7", 7.0),
        ("1.200", None),
        ("1.200,5", None),
        ("1,2,3", None),
    ],
)
def test_with_a_decimal_comma_a_point_that_may_mean_thousands_is_refused(
    text: str, value: float | None
) -> None:
    assert parse_number(text, decimal_comma=True).value == value


@pytest.mark.parametrize(
    ("text", "unit", "log_unit", "value"),
    [
        ("7.5", "mm", "cm", 75.0),
        ("75 mm", "mm", "cm", 75.0),
        ("3", "hours", "days", 72.0),
        ("3 days", "hours", "", 72.0),
        ("48h", "hours", "", 48.0),
        ("21", "weeks", "days", 3.0),
        ("65", "0-10", "0-100", 6.5),
        ("34 years", "years", "", 34.0),
        ("22.5 kg/m2", "kg/m2", "", 22.5),
    ],
)
def test_a_unit_of_the_log_is_converted_and_one_behind_the_number_counts_more(
    text: str, unit: str, log_unit: str, value: float
) -> None:
    assert parse_number(text, unit=unit, log_unit=log_unit).value == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2", Reading(2.0)),
        ("2.0", Reading(2.0)),
        ("1.5", Reading(reason="not_a_whole_number")),
        ("-1", Reading(-1.0)),
        ("two", Reading(reason="not_a_number")),
    ],
)
def test_a_whole_number_may_have_a_zero_behind_the_point_and_nothing_else(
    text: str, expected: Reading
) -> None:
    assert parse_integer(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("yes", Reading(True)),
        (" Y ", Reading(True)),
        ("TRUE", Reading(True)),
        ("1", Reading(True)),
        ("x", Reading(True)),
        ("✓", Reading(True)),
        ("No", Reading(False)),
        ("0", Reading(False)),
        ("false", Reading(False)),
        ("unknown", Reading()),
        ("?", Reading()),
        ("", Reading(reason="blank")),
        ("n/a", Reading(reason="blank")),
        ("maybe", Reading(reason="unknown_word")),
        ("2", Reading(reason="unknown_word")),
    ],
)
def test_yes_no_and_unknown_are_three_things_and_blank_is_a_fourth(text: str, expected: Reading) -> None:
    assert parse_flag(text, words=FLAGS) == expected


def test_a_log_may_add_its_own_words_for_yes_and_no() -> None:
    words = flag_words(("Oui",), ("Non", "-"), ("N/R",))
    assert [parse_flag(text, words=words).value for text in ("oui", "-", "n/r", "yes")] == [
        True,
        False,
        None,
        True,
    ]


@pytest.mark.parametrize(
    ("column", "text", "expected"),
    [
        ("visit_kind", "insertion", Reading("insertion")),
        ("visit_kind", "Follow-Up", Reading("follow_up")),
        ("visit_kind", " removal and replacement ", Reading("removal_and_replacement")),
        ("visit_kind", "fitting", Reading(reason="unknown_code")),
        ("insertion_outcome", "XZ9", Reading(reason="unknown_code")),
        ("insertion_outcome", "unknown", Reading("unknown")),
        ("insertion_outcome", "not known", Reading("unknown")),
        ("insertion_outcome", "", Reading(reason="blank")),
        ("insertion_outcome", "yes", Reading(reason="unknown_code")),
        ("position_finding", "unknown", Reading()),
        ("perforation_suspected", "N", Reading("no")),
        ("perforation_suspected", "Y", Reading(reason="unknown_code")),
        ("resistance_met", "no", Reading("none")),
        ("tenaculum_used", "1", Reading("yes")),
    ],
)
def test_a_code_is_matched_whatever_its_case_and_hyphens(column: str, text: str, expected: Reading) -> None:
    assert parse_code(text, words=code_words(VISITS[column], FLAGS)) == expected


@pytest.mark.parametrize(
    ("text", "births"),
    [
        ("P2+1", 2),
        ("G3P2", 2),
        ("g3 p2+0", 2),
        ("G3, P2", 2),
        ("para 2", 2),
        ("P0", 0),
        ("nullip", 0),
        ("Nulliparous", 0),
        ("0", 0),
        ("2", 2),
        ("2.0", 2),
        ("2+1", 2),
    ],
)
def test_parity_is_the_number_of_births(text: str, births: int) -> None:
    assert parse_parity(text) == Reading(float(births))


@pytest.mark.parametrize("text", ["multip", "G3", "1.5", "P", "G4P1021", "-1", "two"])
def test_a_parity_that_does_not_say_how_many_births_is_unreadable(text: str) -> None:
    assert parse_parity(text) == Reading(reason="not_a_parity")


def test_cleaning_twice_changes_nothing_more() -> None:
    for text in ("a  b", "\u200ba\u00a0", "  ", "\ufeffx"):
        assert cleaned(cleaned(text)) == cleaned(text)


def test_a_word_of_the_log_for_unknown_is_unknown_in_columns_of_codes_too() -> None:
    flags = flag_words((), (), ("weet niet",))
    assert parse_code("Weet niet", words=code_words(VISITS["position_finding"], flags)) == Reading()
    assert parse_code("Weet niet", words=code_words(VISITS["threads_seen"], flags)) == Reading("unknown")
