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
    from audit.criteria import criteria_in_force
    from audit.cycle import read_actions, read_record
    from audit.errors import AuditError
    from audit.ingest.issued import read_issued
    from audit.ingest.load import load_visits
    from audit.measures.access import emergency_placement_in_time, waiting_time
    from audit.measures.action_list import action_list
    from audit.measures.ascertainment import case_ascertainment
    from audit.measures.clinician_events import clinician_events
    from audit.measures.clinician_figures import clinician_counts, clinician_figures
    from audit.measures.clinicians import failed_insertions_by_clinician
    from audit.measures.completeness_of_follow_up import follow_up_completeness
    from audit.measures.complications import emergency_treatment, perforation
    from audit.measures.continuation import (
        continuation_curve,
        continuation_differences,
        continuation_summary,
        continuation_tests,
        method_continuation,
    )
    from audit.measures.criteria import criteria_cases, criteria_met
    from audit.measures.cusum import cusum_charts, cusum_limits, cusum_signals, learning_curve_attempts
    from audit.measures.displacement import (
        displacement_incidence,
        expulsion_sensitivity,
        repeat_expulsion,
        size_mismatch,
    )
    from audit.measures.effectiveness import ectopic_pregnancy, pregnancy, pregnancy_after_emergency
    from audit.measures.expulsion import (
        expulsion_all_placements,
        expulsion_hazard_ratios,
        expulsion_incidence,
        expulsion_tests,
    )
    from audit.measures.failure_model import failure_model, failure_model_fit
    from audit.measures.follow_up import check_done, check_in_higher_risk, follow_up_bounds, outcome_known
    from audit.measures.infection import pelvic_infection, pelvic_infection_incidence
    from audit.measures.insertion import (
        devices_wasted,
        failed_insertion_contrasts,
        failed_insertions,
        failure_reasons,
        first_pass_success,
        fitted_in_the_end,
    )
    from audit.measures.learning_curve import attempts_in_order, learning_curve
    from audit.measures.linkage import unlinked_contacts
    from audit.measures.pain import pain_scores
    from audit.measures.person_time import person_time_rates
    from audit.measures.position import malposition, position_verified, threads_not_seen
    from audit.measures.postpartum import perforation_expected, postpartum_balance
    from audit.measures.process import process_of_care, safety_net
    from audit.measures.reaction_timing import (
        vasovagal_by_phase,
        vasovagal_by_technique,
        vasovagal_technique_contrasts,
    )
    from audit.measures.removal import ending_incidence, life_table_rates, removal_incidence
    from audit.measures.removal_purpose import removal_by_purpose
    from audit.measures.removal_visits import difficult_removal, removal_on_request
    from audit.measures.vasovagal import vasovagal_adjusted, vasovagal_by_parity, vasovagal_contrasts
    from audit.measures.volume import clinician_volume, clinicians_certified
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
    "attempts_in_order": "measures.learning_curve",
    "case_ascertainment": "measures.ascertainment",
    "check_done": "measures.follow_up",
    "check_in_higher_risk": "measures.follow_up",
    "clinician_counts": "measures.clinician_figures",
    "clinician_events": "measures.clinician_events",
    "clinician_figures": "measures.clinician_figures",
    "clinician_volume": "measures.volume",
    "clinicians_certified": "measures.volume",
    "compare_with_benchmarks": "benchmarks",
    "continuation_curve": "measures.continuation",
    "continuation_differences": "measures.continuation",
    "continuation_summary": "measures.continuation",
    "continuation_tests": "measures.continuation",
    "criteria_cases": "measures.criteria",
    "criteria_in_force": "criteria",
    "criteria_met": "measures.criteria",
    "cusum_charts": "measures.cusum",
    "cusum_limits": "measures.cusum",
    "cusum_signals": "measures.cusum",
    "derive_cohort": "cohort",
    "devices_wasted": "measures.insertion",
    "difficult_removal": "measures.removal_visits",
    "displacement_incidence": "measures.displacement",
    "ectopic_pregnancy": "measures.effectiveness",
    "emergency_placement_in_time": "measures.access",
    "emergency_treatment": "measures.complications",
    "ending_incidence": "measures.removal",
    "expulsion_all_placements": "measures.expulsion",
    "expulsion_hazard_ratios": "measures.expulsion",
    "expulsion_incidence": "measures.expulsion",
    "expulsion_sensitivity": "measures.displacement",
    "expulsion_tests": "measures.expulsion",
    "failed_insertion_contrasts": "measures.insertion",
    "failed_insertions": "measures.insertion",
    "failed_insertions_by_clinician": "measures.clinicians",
    "failure_model": "measures.failure_model",
    "failure_model_fit": "measures.failure_model",
    "failure_reasons": "measures.insertion",
    "first_pass_success": "measures.insertion",
    "fitted_in_the_end": "measures.insertion",
    "follow_up_bounds": "measures.follow_up",
    "follow_up_completeness": "measures.completeness_of_follow_up",
    "in_period": "period",
    "learning_curve": "measures.learning_curve",
    "learning_curve_attempts": "measures.cusum",
    "life_table_rates": "measures.removal",
    "load_visits": "ingest.load",
    "malposition": "measures.position",
    "method_continuation": "measures.continuation",
    "observed_in_period": "period",
    "outcome_known": "measures.follow_up",
    "pain_scores": "measures.pain",
    "pelvic_infection": "measures.infection",
    "pelvic_infection_incidence": "measures.infection",
    "perforation": "measures.complications",
    "perforation_expected": "measures.postpartum",
    "period_from": "period",
    "person_time_rates": "measures.person_time",
    "position_verified": "measures.position",
    "postpartum_balance": "measures.postpartum",
    "pregnancy": "measures.effectiveness",
    "pregnancy_after_emergency": "measures.effectiveness",
    "process_of_care": "measures.process",
    "read_actions": "cycle",
    "read_issued": "ingest.issued",
    "read_record": "cycle",
    "read_settings": "settings",
    "removal_by_purpose": "measures.removal_purpose",
    "removal_incidence": "measures.removal",
    "removal_on_request": "measures.removal_visits",
    "repeat_expulsion": "measures.displacement",
    "run_audit": "run",
    "safety_net": "measures.process",
    "size_mismatch": "measures.displacement",
    "threads_not_seen": "measures.position",
    "unlinked_contacts": "measures.linkage",
    "vasovagal_adjusted": "measures.vasovagal",
    "vasovagal_by_parity": "measures.vasovagal",
    "vasovagal_by_phase": "measures.reaction_timing",
    "vasovagal_by_technique": "measures.reaction_timing",
    "vasovagal_contrasts": "measures.vasovagal",
    "vasovagal_technique_contrasts": "measures.reaction_timing",
    "waiting_time": "measures.access",
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
    "attempts_in_order",
    "case_ascertainment",
    "check_done",
    "check_in_higher_risk",
    "clinician_counts",
    "clinician_events",
    "clinician_figures",
    "clinician_volume",
    "clinicians_certified",
    "compare_with_benchmarks",
    "continuation_curve",
    "continuation_differences",
    "continuation_summary",
    "continuation_tests",
    "criteria_cases",
    "criteria_in_force",
    "criteria_met",
    "cusum_charts",
    "cusum_limits",
    "cusum_signals",
    "derive_cohort",
    "devices_wasted",
    "difficult_removal",
    "displacement_incidence",
    "ectopic_pregnancy",
    "emergency_placement_in_time",
    "emergency_treatment",
    "ending_incidence",
    "expulsion_all_placements",
    "expulsion_hazard_ratios",
    "expulsion_incidence",
    "expulsion_sensitivity",
    "expulsion_tests",
    "failed_insertion_contrasts",
    "failed_insertions",
    "failed_insertions_by_clinician",
    "failure_model",
    "failure_model_fit",
    "failure_reasons",
    "first_pass_success",
    "fitted_in_the_end",
    "follow_up_bounds",
    "follow_up_completeness",
    "in_period",
    "learning_curve",
    "learning_curve_attempts",
    "life_table_rates",
    "load_visits",
    "malposition",
    "method_continuation",
    "observed_in_period",
    "outcome_known",
    "pain_scores",
    "pelvic_infection",
    "pelvic_infection_incidence",
    "perforation",
    "perforation_expected",
    "period_from",
    "person_time_rates",
    "position_verified",
    "postpartum_balance",
    "pregnancy",
    "pregnancy_after_emergency",
    "process_of_care",
    "read_actions",
    "read_issued",
    "read_record",
    "read_settings",
    "removal_by_purpose",
    "removal_incidence",
    "removal_on_request",
    "repeat_expulsion",
    "run_audit",
    "safety_net",
    "size_mismatch",
    "threads_not_seen",
    "unlinked_contacts",
    "vasovagal_adjusted",
    "vasovagal_by_parity",
    "vasovagal_by_phase",
    "vasovagal_by_technique",
    "vasovagal_contrasts",
    "vasovagal_technique_contrasts",
    "waiting_time",
]


def __getattr__(name: str) -> object:
    """A public name, loaded on first use."""
    if name not in _HOME:
        raise AttributeError(f"module 'audit' has no attribute {name!r}")
    return getattr(import_module(f"audit.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    """The public names."""
    return list(__all__)
