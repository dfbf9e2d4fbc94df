"""Errors: one tree, told at the head of its module, and names listed a few at a time."""

import inspect

import pytest

from audit import errors

EXCEPTIONS = [kind for _, kind in inspect.getmembers(errors, inspect.isclass)]


@pytest.mark.parametrize("kind", EXCEPTIONS, ids=lambda kind: kind.__name__)
def test_every_exception_raised_on_purpose_is_an_audit_error(kind: type[Exception]) -> None:
    assert issubclass(kind, errors.AuditError)


@pytest.mark.parametrize("kind", [errors.UnreadableFile, errors.MissingColumns, errors.IdentifiersFound])
def test_a_log_that_cannot_be_audited_is_refused_input(kind: type[Exception]) -> None:
    assert issubclass(kind, errors.InputRefused)


@pytest.mark.parametrize("kind", EXCEPTIONS, ids=lambda kind: kind.__name__)
def test_the_head_of_the_module_names_every_exception(kind: type[Exception]) -> None:
    assert kind.__name__ in str(errors.__doc__)


def test_the_text_of_an_error_is_the_whole_message() -> None:
    assert str(errors.SettingsError("clinic.toml: no.")) == "clinic.toml: no."


@pytest.mark.parametrize(
    ("names", "told"),
    [
        ([], ""),
        (["a"], "a"),
        (["a", "b", "c", "d", "e"], "a, b, c, d, e"),
        (["a", "b", "c", "d", "e", "f"], "a, b, c, d, e and 1 more"),
    ],
)
def test_at_most_five_names_are_listed(names: list[str], told: str) -> None:
    assert errors.name_a_few(names) == told


def test_how_many_names_are_listed_can_be_set() -> None:
    assert errors.name_a_few(["a", "b", "c"], limit=1) == "a and 2 more"
