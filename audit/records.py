"""The frozen records that travel between the steps. They hold data and no methods."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from audit.settings import AuditSettings

# The form of record.json; a record of another form is not read.
RECORD_VERSION = 2


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
class AuditRecord:
    """What `audit.read_record` read: the results of an earlier audit, to stand beside the next.

    ``tables`` are as in `AuditResults`, without those that hold visit references. ``definitions_version`` says
    what the figures counted, ``data_version`` which extract of the log they rest on.
    """

    service: str
    period: Period
    data_to: pd.Timestamp
    definitions_version: str
    tables: Mapping[str, pd.DataFrame]
    versions: Mapping[str, str]
    data_version: str = ""


@dataclass(frozen=True)
class Action:
    """One action of a service's plan, as its lead wrote it.

    ``figure`` is the criterion or headline figure it is to move; ``measure`` names a row of a result table
    instead (``table`` and its key columns). ``done`` is the day it was carried out. ``sample_size_needed`` is how
    many must be counted afterwards before anything is said. ``status`` is ``open``, ``done_unmeasured``,
    ``effective`` or ``not_effective``; a blank figure, date or number is None.
    """

    id: str
    figure: str
    gap: str
    cause: str
    action: str
    owner_role: str
    opened: Period
    due: pd.Timestamp
    status: str
    target: float | None = None
    done: pd.Timestamp | None = None
    sample_size_needed: int | None = None
    evidence: str = ""
    measure: Mapping[str, object] = field(default_factory=dict)
    better: str = ""


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
