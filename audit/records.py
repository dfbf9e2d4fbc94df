"""The frozen records that travel between the steps. They hold data and no methods."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from audit.settings import AuditSettings


@dataclass(frozen=True)
class SourceFile:
    """One file as it was read: what it was, not where it lay."""

    name: str
    sha256: str
    size: int
    encoding: str
    delimiter: str
    rows: int


@dataclass(frozen=True)
class VisitLog:
    """A standardised visit log.

    Attributes
    ----------
    visits
        The table `audit.schema.visits.VISITS`, only the columns this log has, plus ``source`` (number of the
        file) and ``row`` (line in it). Sorted by file and line.
    set_aside
        One row per line that could not be used: ``source, row, column, reason, value`` (masked), ``message``.
    findings
        One row per doubtful value that was used: ``rule, severity, source, row, column, message``.
    accounting
        ``source, disposition, reason, n``: rows in = rows used + rows set aside, per file.
    data_to
        The freeze: the latest visit, or the day the user named.
    patient_refs
        The log's own text for each running number in ``visits.patient_ref``. It never leaves the log.
    sources
        The files read.
    key_id
        The random name of the key whose codes stand for women and staff; blank when none was used.
    """

    visits: pd.DataFrame
    set_aside: pd.DataFrame
    findings: pd.DataFrame
    accounting: pd.DataFrame
    data_to: pd.Timestamp
    patient_refs: pd.Series = field(repr=False)
    sources: tuple[SourceFile, ...] = ()
    key_id: str = ""


@dataclass(frozen=True)
class Cohort:
    """The tables of `audit.schema.derived`, with the findings that only the sequence of visits shows."""

    attempts: pd.DataFrame
    placements: pd.DataFrame
    follow_ups: pd.DataFrame
    findings: pd.DataFrame
    data_to: pd.Timestamp


@dataclass(frozen=True)
class Period:
    """A reporting period: its label, first and last day."""

    label: str
    first_day: pd.Timestamp
    last_day: pd.Timestamp


@dataclass(frozen=True)
class AuditResults:
    """Everything a writer may use: result tables by name, and what dates and identifies them.

    ``gate`` says how far the known outcomes carry the page: ``last_known_leads``, ``both_as_equals``,
    ``bounds_only`` or ``not_yet_due``; for the check of a log, ``usable`` or ``refused``. ``key_id`` names the
    key with which references were replaced, if any.
    """

    service: str
    period: Period
    data_to: pd.Timestamp
    settings: AuditSettings
    tables: Mapping[str, pd.DataFrame]
    sources: tuple[SourceFile, ...]
    versions: Mapping[str, str]
    gate: str = "not_yet_due"
    key_id: str = ""
    synthetic: bool = False
