"""Grades and pain scores, worked by hand."""

import pytest

from audit.ingest.parse import Reading
from audit.ingest.parse_numbers import parse_integer, parse_number


@pytest.mark.parametrize(
    ("text", "grade"),
    [
        ("2", 2.0),
        ("grade 2", 2.0),
        ("Grade II", 2.0),
        ("II", 2.0),
        ("gr. 3", 3.0),
        ("G1", 1.0),
        ("grado 4", 4.0),
        ("Grad IV", 4.0),
        ("none", 0.0),
        ("No", 0.0),
        ("0", 0.0),
    ],
)
def test_a_grade_is_read_with_its_word_and_in_roman_figures(text: str, grade: float) -> None:
    assert parse_integer(text, unit="grade").value == grade


@pytest.mark.parametrize(
    ("text", "reason"), [("mild", "not_a_number"), ("yes", "not_a_number"), ("1.5", "not_a_whole_number")]
)
def test_a_word_for_severity_is_no_grade(text: str, reason: str) -> None:
    assert parse_integer(text, unit="grade").reason == reason


def test_roman_figures_count_in_a_column_of_grades_only() -> None:
    assert parse_integer("II", unit="births").reason == "not_a_number"


@pytest.mark.parametrize(
    ("text", "log_unit", "score"),
    [
        ("7", "", 7.0),
        ("7", "0-100", 0.7),
        ("65", "0-100", 6.5),
        ("65", "", 65.0),  # out of range later: one cell does not change the scale of its column
        ("7/10", "", 7.0),
        ("7/10", "0-100", 7.0),
        ("65/100", "", 6.5),
        ("7 out of 10", "", 7.0),
        ("7 sur 10", "", 7.0),
        ("12/10", "", 12.0),
    ],
)
def test_a_score_has_the_scale_of_its_column_unless_it_says_its_own(
    text: str, log_unit: str, score: float
) -> None:
    assert parse_number(text, unit="0-10", log_unit=log_unit).value == pytest.approx(score, abs=1e-12)


@pytest.mark.parametrize("text", ["4-5", "7/20", "7/", "bad"])
def test_what_is_no_score_out_of_10_or_100_is_not_guessed(text: str) -> None:
    assert parse_number(text, unit="0-10").value is None


@pytest.mark.parametrize("text", ["unknown", "not asked", "declined", "?"])
def test_a_number_that_is_not_known_is_unknown_and_not_unreadable(text: str) -> None:
    assert parse_number(text, unit="mm") == Reading()
