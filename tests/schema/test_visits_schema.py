"""The declaration of the visit log is consistent in itself."""

import re

import pytest

from audit.schema.column import Column
from audit.schema.terms import BLANK_WORDS, NO_WORDS, UNITS, UNKNOWN_WORDS, YES_WORDS
from audit.schema.visits import ONE_OF, REQUIRED, VISITS

COLUMNS = [pytest.param(column, id=column.name) for column in VISITS.columns]
NUMERIC = ("integer", "number", "parity")


def test_the_names_of_the_columns_are_unique_and_plain() -> None:
    assert len(set(VISITS.names)) == len(VISITS.names)
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", name) for name in VISITS.names)


def test_the_required_columns_are_those_marked_required() -> None:
    marked = {
        name: {c.name for c in VISITS.columns if c.requirement == name} for name in ("required", "one_of")
    }
    assert marked == {"required": set(REQUIRED), "one_of": set(ONE_OF)}


@pytest.mark.parametrize("column", COLUMNS)
def test_a_column_has_codes_just_when_it_is_a_code(column: Column) -> None:
    assert bool(column.codes) == (column.kind == "code")
    assert len(set(column.codes)) == len(column.codes)
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", code) for code in column.codes)


@pytest.mark.parametrize("column", COLUMNS)
def test_the_plausible_range_lies_within_the_possible_one(column: Column) -> None:
    if column.kind not in NUMERIC:
        assert column.plausible is None
        return
    assert column.minimum is not None
    assert column.maximum is not None
    low, high = column.plausible or (column.minimum, column.maximum)
    assert column.minimum <= low < high <= column.maximum


@pytest.mark.parametrize("column", COLUMNS)
def test_a_column_says_what_it_means_where_it_stands_and_which_visits_it_belongs_to(column: Column) -> None:
    assert column.meaning.endswith(".")
    assert column.section
    assert column.rows
    assert set(column.rows) <= {"all", "insertion", "follow_up", "removal"}
    assert "|" not in column.meaning


@pytest.mark.parametrize("column", [item for item in COLUMNS if item.values[0].kind in NUMERIC])
def test_a_number_has_a_unit(column: Column) -> None:
    assert column.unit


def test_a_unit_converts_into_itself_by_one() -> None:
    assert all(factor == 1.0 for (written, ours), factor in UNITS.items() if written == ours)


def test_no_word_means_two_things() -> None:
    groups = [YES_WORDS, NO_WORDS, UNKNOWN_WORDS, BLANK_WORDS]
    words = [word for group in groups for word in group]
    assert len(set(words)) == len(words)
