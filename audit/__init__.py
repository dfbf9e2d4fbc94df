"""Audit of a clinic that fits intrauterine devices: a visit log in, result tables out.

>>> import audit
>>> audit.period_from("2026-Q3").label
'2026-Q3'
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from audit.benchmarks import compare_with_benchmarks
    from audit.cohort import derive_cohort
    from audit.cycle import read_actions, read_record
    from audit.errors import AuditError
    from audit.ingest.issued import read_issued
    from audit.ingest.load import load_visits
    from audit.measures.access import emergency_placement_in_time
    from audit.measures.action_list import action_list
    from audit.measures.ascertainment import case_ascertainment
    from audit.measures.clinicians import failed_insertions_by_clinician
    from audit.measures.complications import perforation
    from audit.measures.continuation import continuation_curve, continuation_summary, continuation_tests
    from audit.measures.effectiveness import pregnancy
    from audit.measures.expulsion import expulsion_incidence
    from audit.measures.follow_up import check_done, outcome_known
    from audit.measures.insertion import failed_insertions, failure_reasons, first_pass_success
    from audit.measures.person_time import person_time_rates
    from audit.measures.removal import ending_incidence, removal_incidence
    from audit.measures.vasovagal import vasovagal_by_parity, vasovagal_contrasts
    from audit.period import in_period, observed_in_period, period_from
    from audit.records import Action, AuditRecord, AuditResults, Cohort, Period, VisitLog
    from audit.run import run_audit
    from audit.settings import AuditSettings, read_settings

# Where each public name lives; a name is loaded when it is first used, so that `import audit` costs nothing.
_HOME = {
    "Action": "records",
    "AuditError": "errors",
    "AuditRecord": "records",
    "AuditResults": "records",
    "AuditSettings": "settings",
    "Cohort": "records",
    "Period": "records",
    "VisitLog": "records",
    "action_list": "measures.action_list",
    "case_ascertainment": "measures.ascertainment",
    "check_done": "measures.follow_up",
    "compare_with_benchmarks": "benchmarks",
    "continuation_curve": "measures.continuation",
    "continuation_summary": "measures.continuation",
    "continuation_tests": "measures.continuation",
    "derive_cohort": "cohort",
    "emergency_placement_in_time": "measures.access",
    "ending_incidence": "measures.removal",
    "expulsion_incidence": "measures.expulsion",
    "failed_insertions": "measures.insertion",
    "failed_insertions_by_clinician": "measures.clinicians",
    "failure_reasons": "measures.insertion",
    "first_pass_success": "measures.insertion",
    "in_period": "period",
    "load_visits": "ingest.load",
    "observed_in_period": "period",
    "outcome_known": "measures.follow_up",
    "perforation": "measures.complications",
    "period_from": "period",
    "person_time_rates": "measures.person_time",
    "pregnancy": "measures.effectiveness",
    "read_actions": "cycle",
    "read_issued": "ingest.issued",
    "read_record": "cycle",
    "read_settings": "settings",
    "removal_incidence": "measures.removal",
    "run_audit": "run",
    "vasovagal_by_parity": "measures.vasovagal",
    "vasovagal_contrasts": "measures.vasovagal",
}

__all__ = [
    "Action",
    "AuditError",
    "AuditRecord",
    "AuditResults",
    "AuditSettings",
    "Cohort",
    "Period",
    "VisitLog",
    "action_list",
    "case_ascertainment",
    "check_done",
    "compare_with_benchmarks",
    "continuation_curve",
    "continuation_summary",
    "continuation_tests",
    "derive_cohort",
    "emergency_placement_in_time",
    "ending_incidence",
    "expulsion_incidence",
    "failed_insertions",
    "failed_insertions_by_clinician",
    "failure_reasons",
    "first_pass_success",
    "in_period",
    "load_visits",
    "observed_in_period",
    "outcome_known",
    "perforation",
    "period_from",
    "person_time_rates",
    "pregnancy",
    "read_actions",
    "read_issued",
    "read_record",
    "read_settings",
    "removal_incidence",
    "run_audit",
    "vasovagal_by_parity",
    "vasovagal_contrasts",
]


def __getattr__(name: str) -> object:
    """A public name, loaded on first use."""
    if name not in _HOME:
        raise AttributeError(f"module 'audit' has no attribute {name!r}")
    return getattr(import_module(f"audit.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """The public names."""
    return list(__all__)
