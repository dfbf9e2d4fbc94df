"""Every message a user can meet says what to do, in words that a clinic's lead knows."""

import ast
import inspect
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from audit import errors
from audit.cohort.events import RULES
from audit.errors import counted
from audit.ingest.checks_between import SENTENCES
from audit.ingest.delimited_rows import _BAD_LINES
from audit.ingest.fhir_visits import _MESSAGES
from audit.ingest.reasons import REASONS

ROOT = Path(__file__).parents[1]
ERRORS = {
    name for name, kind in inspect.getmembers(errors, inspect.isclass) if issubclass(kind, errors.AuditError)
}
# Words of the trade of programs, of another spelling, or of blame.
UNWELCOME = re.compile(
    r"\b(?:invalid|illegal|null|NaN|None|exception|parse[dr]?|string|boolean|dtype|column_index|schema|payload|"
    r"malformed|fatal|abort(?:ed)?|standardiz\w*|recogniz\w*|color|please|oops|sorry|byte-order)\b",
    re.IGNORECASE,
)


# Stands for what is filled in; it ends a sentence, since some fill in one that is whole.
FILLED_IN = "7."


def text_of(node: ast.expr) -> str:
    """The text of a message as far as the code spells it; a word stands for what is filled in."""
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(text_of(part) for part in node.values)
    return FILLED_IN


def raised() -> Iterator[tuple[str, str]]:
    """Every message of an error raised on purpose that the code spells out, with its place."""
    for package in ("audit", "reports"):
        for path in sorted((ROOT / package).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                call = node.exc if isinstance(node, ast.Raise) else None
                if not isinstance(call, ast.Call) or getattr(call.func, "id", "") not in ERRORS:
                    continue
                if isinstance(call.args[0], ast.Constant | ast.JoinedStr):
                    yield f"{path.relative_to(ROOT).as_posix()}:{node.lineno}", text_of(call.args[0])


RAISED = dict(raised())
RULED = {
    **{f"finding {rule}": words for rule, (_, _, words) in {**RULES, **SENTENCES}.items()},
    **{f"reason {reason}": words for reason, words in REASONS.items()},
    **{f"line {reason}": words for reason, words in _BAD_LINES.items()},
    **{f"resource {reason}": words for reason, words in _MESSAGES.items()},
}
NOTICES = {
    f"finding {rule}" for rule, (severity, _, _) in {**RULES, **SENTENCES}.items() if severity == "notice"
}


def test_the_search_for_messages_finds_them() -> None:
    assert len(RAISED) > 80
    assert len(RULED) > 40


@pytest.mark.parametrize("place", RAISED)
def test_an_error_says_what_to_do(place: str, tells_what_to_do: Callable[[str], bool]) -> None:
    filled_in = RAISED[place].endswith(FILLED_IN)
    assert tells_what_to_do(RAISED[place]) or filled_in, RAISED[place]


@pytest.mark.parametrize("name", sorted(RULED.keys() - NOTICES))
def test_a_warning_and_a_reason_for_setting_aside_say_what_to_do(
    name: str, tells_what_to_do: Callable[[str], bool]
) -> None:
    assert tells_what_to_do(RULED[name]), RULED[name]


@pytest.mark.parametrize("name", sorted(NOTICES))
def test_a_notice_says_what_was_done_or_what_to_do(
    name: str, tells_what_to_do: Callable[[str], bool]
) -> None:
    done = re.search(r"\b(?:counts?|counted|dated|used|read)\b", RULED[name])
    assert done or tells_what_to_do(RULED[name]), RULED[name]


@pytest.mark.parametrize("name", [*RAISED, *RULED])
def test_a_message_is_of_few_plain_sentences(name: str) -> None:
    message = RAISED.get(name, RULED.get(name, ""))
    assert message.endswith((".", "?")), message
    assert not UNWELCOME.search(message), message
    assert len(re.split(r"(?<=[.?!]) (?=[A-Z])", message)) <= 4, message
    assert len(message) <= 330, message


@pytest.mark.parametrize(
    ("message", "told"),
    [
        ("visits.csv: is empty.", False),
        ("visits.csv: is empty. Export it again.", True),
        ("visits.csv: is large. Is it a log?", True),
        ("clinic.toml, windows: must be a table, got 3.", True),
        ("visits.csv: Export failed. It is empty.", False),
    ],
)
def test_an_advice_is_told_from_a_statement(
    message: str, told: bool, tells_what_to_do: Callable[[str], bool]
) -> None:
    assert tells_what_to_do(message) is told


def test_a_number_and_its_noun_agree() -> None:
    assert [counted(number, "row") for number in (0, 1, 2, 2000)] == [
        "0 rows",
        "1 row",
        "2 rows",
        "2,000 rows",
    ]
