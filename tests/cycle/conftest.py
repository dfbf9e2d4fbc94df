"""Audits made by hand, and the records that stand for earlier ones."""

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd
import pytest

from audit.period import period_from
from audit.records import AuditRecord, AuditResults
from audit.settings import AuditSettings, definitions_version
from audit.statistics.summaries import with_proportions

MakeAudit = Callable[..., AuditResults]
MakeRecord = Callable[..., AuditRecord]


def criteria(
    counts: Mapping[str, tuple[int, int]], *, not_recorded: int = 0, target: float = 1.0
) -> pd.DataFrame:
    """A table of criteria: met and of how many, for each."""
    rows = [
        {
            "criterion": name,
            "version": "1",
            "events": events,
            "n": n,
            "n_not_recorded": not_recorded,
            "n_unknown": not_recorded,
            "target": target,
        }
        for name, (events, n) in counts.items()
    ]
    return with_proportions(pd.DataFrame(rows)).drop(columns="n_unknown")


def checks(events: int, n: int, *, not_due: int = 0) -> pd.DataFrame:
    """The table of checks done, as an audit has it for its period."""
    row = {"by": "overall", "stratum": "overall", "window": "period", "placement_kind": "all"}
    counted = {"events": events, "n": n, "n_not_due": not_due, "n_unknown": 0}
    return with_proportions(pd.DataFrame([row | counted]))


@pytest.fixture
def make_audit() -> MakeAudit:
    """A function that makes the results of an audit from its tables."""

    def make(tables: Mapping[str, pd.DataFrame], period: str = "2026-Q3", **changes: Any) -> AuditResults:
        span = period_from(period)
        fixed: dict[str, Any] = {
            "service": "A service",
            "period": span,
            "data_to": span.last_day + pd.Timedelta(days=14),
            "settings": AuditSettings(service="A service"),
            "tables": tables,
            "sources": (),
            "versions": {},
        }
        return AuditResults(**(fixed | changes))

    return make


@pytest.fixture
def make_record() -> MakeRecord:
    """A function that makes the record of an earlier audit from its tables."""

    def make(tables: Mapping[str, pd.DataFrame], period: str = "2026-Q2", **changes: Any) -> AuditRecord:
        span = period_from(period)
        fixed: dict[str, Any] = {
            "service": "A service",
            "period": span,
            "data_to": span.last_day + pd.Timedelta(days=14),
            "definitions_version": definitions_version(AuditSettings()),
            "tables": tables,
            "versions": {},
        }
        return AuditRecord(**(fixed | changes))

    return make


@pytest.fixture
def met() -> Callable[..., pd.DataFrame]:
    """A function that makes a table of criteria."""
    return criteria


@pytest.fixture
def checked() -> Callable[..., pd.DataFrame]:
    """A function that makes a table of checks done."""
    return checks
