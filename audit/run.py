"""The whole audit: a standardised log in, every result table out, in the order of the report."""

import platform
from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version
from typing import Any

import pandas as pd

from audit.benchmarks import compare_with_benchmarks
from audit.cohort import derive_cohort
from audit.measures import (
    access,
    action_list,
    caseload,
    clinicians,
    complications,
    continuation,
    data_quality,
    effectiveness,
    expulsion,
    follow_up,
    insertion,
    person_time,
    removal,
    vasovagal,
)
from audit.period import due_in_period, in_period, observed_in_period, period_from, twelve_months_to
from audit.records import AuditResults, Cohort, Period, VisitLog
from audit.settings import AuditSettings
from audit.tallies import OVERALL

Tables = dict[str, pd.DataFrame]

_PACKAGES = ("iud-clinic-audit", "numpy", "pandas", "scipy", "pyarrow", "plotly", "jinja2")
_WHOLE_LOG = "all"


def run_audit(
    log: VisitLog,
    settings: AuditSettings | None = None,
    *,
    period: str | Period,
    cohort: Cohort | None = None,
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

    Notes
    -----
    Period figures count what is dated in the period, whenever it was learned. Survival follows every placement
    of the log to the freeze.
    """
    rules = settings or AuditSettings()
    span = period_from(period)
    people = cohort or derive_cohort(log, rules)
    tables: Tables = {}
    for step in (_data_quality, _insertions, _safety, _follow_up, _spells, _actions):
        tables |= step(log, people, rules, span)
    available = tables["indicator_availability"]
    off = set(available.loc[~available["available"], "indicator"])
    tables = {name: table for name, table in tables.items() if _measured_by(name) not in off}
    known = tables.get("outcome_known", pd.DataFrame(columns=["n", "by", "window"]))
    results = AuditResults(
        service=rules.service,
        period=span,
        data_to=log.data_to,
        settings=rules,
        tables=tables,
        sources=log.sources,
        versions=_versions(),
        gate=follow_up.follow_up_gate(
            known[(known["by"] == OVERALL) & (known["window"] == _WHOLE_LOG)],
            leads=rules.thresholds.known_leads,
            floor=rules.thresholds.known_floor,
        ),
        synthetic=rules.synthetic,
    )
    return replace(results, tables={**tables, "benchmark_comparison": compare_with_benchmarks(results)})


# Tables that hold part of another measure go on and off with it.
_PART_OF = {
    "vasovagal_contrasts": "vasovagal_by_parity",
    "continuation_summary": "continuation_curve",
    "continuation_tests": "continuation_curve",
    "ending_incidence": "continuation_curve",
    "period_against_earlier": "person_time_rates",
    "clinician_limits": "failed_insertions_by_clinician",
}


def _measured_by(table: str) -> str:
    """The indicator a table belongs to."""
    return _PART_OF.get(table, table)


def _windows(span: Period) -> dict[str, Period | None]:
    """The three windows of dated figures."""
    return {"period": span, "rolling_12_months": twelve_months_to(span), _WHOLE_LOG: None}


def _in_windows(
    attempts: pd.DataFrame, span: Period, measure: Callable[[pd.DataFrame], pd.DataFrame]
) -> pd.DataFrame:
    """A measure of attempts in each window."""
    tables = [
        _with_window(measure(attempts if window is None else in_period(attempts, window)), name)
        for name, window in _windows(span).items()
    ]
    return _stacked(tables)


def _with_window(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The table with its window behind what it is about."""
    labelled = table.copy()
    labelled.insert(min(2, len(labelled.columns)), "window", name)
    return labelled


def _each(
    measure: Callable[..., pd.DataFrame], frame: pd.DataFrame, bys: Sequence[str], **fixed: object
) -> pd.DataFrame:
    """A measure stratified in several ways, one table below the other."""
    return _stacked([measure(frame, by=by, **fixed) for by in bys])


def _stacked(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Tables one below the other."""
    # pandas warns where an empty table would settle a column's type.
    filled = [table for table in tables if len(table)] or list(tables[:1])
    return pd.concat(filled, ignore_index=True)


def _data_quality(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Rows, fields, findings, availability and caseload."""
    findings = _stacked([log.findings, cohort.findings])
    bys = (OVERALL, "site_ref") if "site_ref" in log.visits else (OVERALL,)
    loads = [
        _with_window(
            caseload.caseload(cohort.attempts, cohort.placements, cohort.follow_ups, period=window), name
        )
        for name, window in _windows(span).items()
    ]
    fields = _each(data_quality.field_completeness, log.visits, bys)
    return {
        "row_accounting": data_quality.row_accounting(log.accounting),
        "indicator_availability": data_quality.indicator_availability(list(log.visits.columns)),
        "finding_counts": data_quality.finding_counts(findings),
        "field_completeness": fields,
        "core_completeness": data_quality.core_completeness(fields),
        "caseload": _stacked(loads),
    }


def _insertions(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Failed insertions, their reasons, and clinicians."""
    attempts = cohort.attempts
    by_unit = {
        "visit": (
            OVERALL,
            "parity_group",
            "cervical_parity",
            "parous",
            "births_group",
            "site_ref",
            "device_family",
        ),
        "operator_attempt": (OVERALL, "practice"),
        "woman_first_attempt": (OVERALL, "parous"),
        "woman_90_days": (OVERALL,),
    }
    floor = rules.thresholds.recorded_floor

    def failed(rows: pd.DataFrame) -> pd.DataFrame:
        tables = [
            _each(insertion.failed_insertions, rows, bys, unit=unit, recorded_floor=floor)
            for unit, bys in by_unit.items()
        ]
        return _stacked(tables)

    def per_clinician(rows: pd.DataFrame) -> pd.DataFrame:
        return clinicians.failed_insertions_by_clinician(
            rows, target=rules.funnel_target, thresholds=rules.thresholds
        )

    quarters = attempts.assign(quarter=attempts["attempt_date"].dt.to_period("Q").astype(str))
    by_quarter = _with_window(
        insertion.failed_insertions(quarters, by="quarter", unit="visit", recorded_floor=floor), _WHOLE_LOG
    )
    rolling = in_period(attempts, twelve_months_to(span))
    return {
        "failed_insertions": _stacked([_in_windows(attempts, span, failed), by_quarter]),
        "failure_reasons": _in_windows(attempts, span, insertion.failure_reasons),
        "failed_insertions_by_clinician": _in_windows(attempts, span, per_clinician),
        "clinician_limits": clinicians.funnel(per_clinician(rolling), thresholds=rules.thresholds),
        "emergency_placement_in_time": _in_windows(
            attempts,
            span,
            lambda rows: access.emergency_placement_in_time(
                rows,
                hours=rules.windows.emergency_hours,
                days_after_ovulation=rules.windows.emergency_days_after_ovulation,
            ),
        ),
    }


def _safety(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Vasovagal reactions, perforations and pregnancies."""
    floor = rules.thresholds.recorded_floor
    parities = (OVERALL, "parity_group", "cervical_parity", "parous", "births_group", "timing_group")
    by_parity = _in_windows(
        cohort.attempts,
        span,
        lambda rows: _each(vasovagal.vasovagal_by_parity, rows, parities, recorded_floor=floor),
    )
    contrasts = [
        _with_window(vasovagal.vasovagal_contrasts(by_parity[by_parity["window"] == name]), name)
        for name in _windows(span)
    ]
    perforations = _in_windows(
        cohort.attempts,
        span,
        lambda rows: _each(
            complications.perforation, rows, (OVERALL, "device_class", "device_family"), recorded_floor=floor
        ),
    )
    pregnancies = _each(
        effectiveness.pregnancy,
        cohort.placements,
        (OVERALL, "device_class", "device_family"),
        first_year_days=(rules.windows.year_days,),
    )
    return {
        "vasovagal_by_parity": by_parity,
        "vasovagal_contrasts": _stacked(contrasts),
        "perforation": perforations,
        "pregnancy": pregnancies,
    }


def _follow_up(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Checks done and outcomes known."""
    windows = rules.windows
    due = {
        follow_up.check_done: windows.check_to_day,
        follow_up.outcome_known: windows.year_days + windows.maturity_lag_days,
    }
    tables: Tables = {}
    for measure, days in due.items():
        parts = []
        for name, window in _windows(span).items():
            rows = (
                cohort.placements if window is None else due_in_period(cohort.placements, window, days=days)
            )
            parts.append(_with_window(_each(measure, rows, (OVERALL, "site_ref")), name))
        tables[measure.__name__] = _stacked(parts)
    return tables


def _spells(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Expulsion, removal, continuation and rates."""
    fixed: dict[str, Any] = {
        "horizons": rules.windows.horizons,
        "at_risk_floor": rules.thresholds.at_risk_floor,
    }
    placements = cohort.placements
    later = _each(
        expulsion.expulsion_incidence, placements, (OVERALL,), placement_kind="replacement", **fixed
    )
    expelled = _each(
        expulsion.expulsion_incidence,
        placements,
        (OVERALL, "timing_group", "device_class", "parous", "age_band"),
        **fixed,
    )
    # All placements together need limits that allow for several by one woman; first and replacement do without.
    kinds = ("replacement",)
    curves = [
        _each(
            continuation.continuation_curve, placements, (OVERALL, "device_class", "device_family"), **fixed
        ),
        *(continuation.continuation_curve(placements, placement_kind=kind, **fixed) for kind in kinds),
    ]
    summaries = [
        _each(continuation.continuation_summary, placements, (OVERALL, "device_class", "device_family")),
        *(continuation.continuation_summary(placements, placement_kind=kind) for kind in kinds),
    ]
    return {
        "expulsion_incidence": _stacked([expelled, later]),
        "removal_incidence": _each(removal.removal_incidence, placements, (OVERALL, "device_class"), **fixed),
        "ending_incidence": removal.ending_incidence(placements, **fixed),
        "continuation_curve": _stacked(curves),
        "continuation_summary": _stacked(summaries),
        "continuation_tests": _each(
            continuation.continuation_tests, placements, ("device_class", "device_family")
        ),
        **_rates(placements, rules, span),
    }


def _rates(placements: pd.DataFrame, rules: AuditSettings, span: Period) -> Tables:
    """Rates of the whole log and of the period, and the period against what came before."""
    bands = rules.windows.rate_bands

    def rates(rows: pd.DataFrame) -> pd.DataFrame:
        return _each(person_time.person_time_rates, rows, (OVERALL, "timing_group"), bands=bands)

    period_rates = rates(observed_in_period(placements, span))
    before = Period("before", pd.Timestamp("1900-01-01"), span.first_day - pd.Timedelta(days=1))
    earlier = person_time.person_time_rates(observed_in_period(placements, before), bands=bands)
    return {
        "person_time_rates": _stacked(
            [_with_window(period_rates, "period"), _with_window(rates(placements), _WHOLE_LOG)]
        ),
        "period_against_earlier": person_time.observed_against_earlier(
            period_rates[period_rates["by"] == OVERALL] if len(period_rates) else period_rates, earlier
        ),
    }


def _actions(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """What needs action today."""
    found = action_list.action_list(
        cohort.attempts, cohort.placements, cohort.follow_ups, since=span.first_day
    )
    return {"action_list": found}


def _versions() -> dict[str, str]:
    """Versions of this package and of what its figures rest on."""
    found = {"python": platform.python_version()}
    for name in _PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found
