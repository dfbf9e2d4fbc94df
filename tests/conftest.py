"""Logs drawn as text: a heading and rows, cells parted by `|`, our column names, ISO dates, blank cells blank."""

import csv
import re
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from hypothesis import settings as hypothesis_settings

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.records import Cohort, VisitLog
from audit.settings import AuditSettings

hypothesis_settings.register_profile("same_examples", deadline=None, derandomize=True)
hypothesis_settings.load_profile("same_examples")


@pytest.fixture(autouse=True)
def _every_division_by_0_is_told() -> Iterator[None]:
    """NumPy's own state of errors: lifelines' Kaplan-Meier switches its warnings off for all who come after."""
    with np.errstate(divide="warn", over="warn", under="ignore", invalid="warn"):
        yield


def _cells(line: str) -> list[str]:
    """The cells of a drawn line."""
    return [cell.strip() for cell in line.split("|")]


# What a sentence that says what to do opens with.
_ADVICE = re.compile(
    "(?:If [^,]+, )?(?:Add|Ask|Check|Choose|Close|Compare|Copy|Correct|Declare|Export|Fill|Give|Leave|"
    "Look|Make|Map|Move|Name|Open|Put|Remove|Rename|Run|Save|Set|Take|Unhide|Use|Write) ",
    re.IGNORECASE,
)


@pytest.fixture(scope="session")
def tells_what_to_do() -> Callable[[str], bool]:
    """Whether a message holds an advice, a question, or the rule that a value must follow."""

    def told(message: str) -> bool:
        return any(
            _ADVICE.match(sentence) or sentence.endswith("?") or re.search(": must (?:be|rise) ", sentence)
            for sentence in re.split(r"(?<=[.?!]) ", message)
        )

    return told


@pytest.fixture
def log_of(tmp_path: Path) -> Callable[..., VisitLog]:
    """A log drawn as text, written to a CSV file and read the way a clinic's is."""
    number = count(1)

    def load(text: str, *, data_to: str | None = None, settings: AuditSettings | None = None) -> VisitLog:
        path = tmp_path / f"drawn{next(number)}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(_cells(line) for line in text.strip().splitlines())
        log = load_visits([path], settings, data_to=data_to, allow_set_aside=True)
        # A drawn row that was not understood would leave the test to say something else than it draws.
        assert set(log.set_aside["reason"]) <= {"after_data_to"}
        return log

    return load


@pytest.fixture
def cohort_of(log_of: Callable[..., VisitLog]) -> Callable[..., Cohort]:
    """The cohort of a log drawn as text."""

    def derive(text: str, *, data_to: str | None = None, settings: AuditSettings | None = None) -> Cohort:
        return derive_cohort(log_of(text, data_to=data_to, settings=settings), settings)

    return derive
