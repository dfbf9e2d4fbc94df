"""The whole audit: a standardised log in, every result table out, in the order of the report."""

import platform
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version

import pandas as pd

from audit.benchmarks import compare_with_benchmarks, perforation_strata
from audit.cohort import derive_cohort
from audit.criterion_tables import criterion_tables
from audit.cycle import audit_cycle
from audit.many_tests import with_adjusted_p_values
from audit.measures.follow_up import follow_up_gate
from audit.measures.postpartum import perforation_expected
from audit.period import period_from
from audit.period_curves import first_year_in_period
from audit.records import Action, AuditRecord, AuditResults, Cohort, Period, VisitLog
from audit.result_tables import all_tables
from audit.settings import AuditSettings
from audit.tallies import OVERALL
from audit.windows import WHOLE_LOG

_PACKAGES = ("iud-clinic-audit", "numpy", "pandas", "scipy", "pyarrow", "plotly", "jinja2")


def run_audit(
    log: VisitLog,
    settings: AuditSettings | None = None,
    *,
    period: str | Period,
    cohort: Cohort | None = None,
    issued: pd.DataFrame | None = None,
    previous: AuditRecord | Sequence[AuditRecord] | None = None,
    actions: Sequence[Action] | None = None,
) -> AuditResults:
    """Every result table of an audit of one period.

    Parameters
    ----------
    log
        What `audit.load_visits` returned.
    settings
        The rules of the audit; the defaults where None.
    period
        The period reported, such as ``2026-Q3``.
    cohort
        What `audit.derive_cohort` made of the log, to save doing it again.
    issued
        What `audit.read_issued` read of the stock book, to reconcile the log with.
    previous
        What `audit.read_record` read of the last audit, or of several earlier ones.
    actions
        What `audit.read_actions` read of the action plan.

    Returns
    -------
    AuditResults
        ``tables`` maps the name of each measure to its result table in long form, with ``window``
        (``period``, ``rolling_12_months`` to its end, ``all``) where a measure is dated. Indicators whose
        columns the log lacks are left out, and ``indicator_availability`` says why.

    Raises
    ------
    PeriodError
        The label names no period.
    RecordRefused
        A record is of another service or of a later period.
    ActionsError
        An action names a figure that this audit does not have.

    Notes
    -----
    Period figures count what is dated in the period, whenever it was learned. Survival follows every placement
    of the log to the freeze.
    """
    rules = settings or AuditSettings()
    span = period_from(period, calendar=rules.calendar)
    people = cohort or derive_cohort(log, rules)
    tables = all_tables(log, people, rules, span, issued)
    tables["perforation_expected"] = perforation_expected(tables["perforation"], perforation_strata())
    tables["first_year_in_period"] = first_year_in_period(
        people.placements, rules, period=span, data_to=log.data_to
    )
    available = tables["indicator_availability"]
    off = set(available.loc[~available["available"], "indicator"])
    tables = with_adjusted_p_values(
        {name: table for name, table in tables.items() if _measured_by(name) not in off}
    )
    tables |= criterion_tables(tables, people, rules, span)
    known = tables.get("outcome_known", pd.DataFrame(columns=["n", "by", "window"]))
    results = AuditResults(
        service=rules.service,
        period=span,
        data_to=log.data_to,
        settings=rules,
        tables=tables,
        sources=log.sources,
        versions=_versions(),
        gate=follow_up_gate(
            known[(known["by"] == OVERALL) & (known["window"] == WHOLE_LOG)],
            leads=rules.thresholds.known_leads,
            floor=rules.thresholds.known_floor,
        ),
        key_id=log.key_id,
        synthetic=rules.synthetic,
    )
    tables["benchmark_comparison"] = compare_with_benchmarks(results)
    records = (previous,) if isinstance(previous, AuditRecord) else tuple(previous or ())
    return replace(results, tables={**tables, **audit_cycle(results, previous=records, actions=actions)})


# Tables that hold part of another measure go on and off with it.
_PART_OF = {
    "vasovagal_contrasts": "vasovagal_by_parity",
    "vasovagal_adjusted": "vasovagal_by_parity",
    "continuation_summary": "continuation_curve",
    "continuation_tests": "continuation_curve",
    "continuation_differences": "continuation_curve",
    "life_table_rates": "continuation_curve",
    "ending_incidence": "continuation_curve",
    "first_year_endings": "outcome_known",
    "follow_up_bounds": "outcome_known",
    "follow_up_completeness": "outcome_known",
    "expulsion_all_placements": "expulsion_incidence",
    "expulsion_tests": "expulsion_incidence",
    "expulsion_hazard_ratios": "expulsion_incidence",
    "expulsion_sensitivity": "expulsion_incidence",
    "pelvic_infection_incidence": "pelvic_infection",
    "first_year_in_period": "continuation_curve",
    "period_against_earlier": "person_time_rates",
    "clinician_limits": "failed_insertions_by_clinician",
    "failure_model": "failed_insertions_by_clinician",
    "failure_model_fit": "failed_insertions_by_clinician",
    "learning_curve_attempts": "learning_curve",
    "cusum_limits": "learning_curve",
    "cusum_signals": "learning_curve",
    "clinicians_certified": "clinician_volume",
    "clinician_counts": "clinician_figures",
    "clinician_events": "clinician_figures",
    "clinician_completeness": "clinician_figures",
    "failed_insertion_contrasts": "failed_insertions",
    "fitted_in_the_end": "failed_insertions",
    "vasovagal_technique_contrasts": "vasovagal_by_technique",
}


def _measured_by(table: str) -> str:
    """The indicator a table belongs to."""
    return _PART_OF.get(table, table)


def _versions() -> dict[str, str]:
    """Versions of this package and of what its figures rest on."""
    found = {"python": platform.python_version()}
    for name in _PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found
