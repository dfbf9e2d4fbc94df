"""The result tables of an audit, family by family, each measure with the windows and strata the report needs."""

from typing import Any

import pandas as pd

from audit.attempt_tables import attempt_tables
from audit.clinician_tables import clinician_tables
from audit.measures import (
    access,
    action_list,
    ascertainment,
    caseload,
    clinicians,
    complications,
    continuation,
    cusum,
    data_quality,
    effectiveness,
    expulsion,
    failure_model,
    follow_up,
    insertion,
    learning_curve,
    person_time,
    removal,
    vasovagal,
)
from audit.period import due_in_period, in_period, observed_in_period, twelve_months_to
from audit.placement_tables import contact_tables, placement_tables
from audit.records import Cohort, Period, VisitLog
from audit.service_model import failure_mixture
from audit.settings import AuditSettings
from audit.tallies import ALL_KINDS, OVERALL
from audit.tallies import stacked as _stacked
from audit.windows import WHOLE_LOG, Tables
from audit.windows import each as _each
from audit.windows import in_windows as _in_windows
from audit.windows import windows_of as _windows
from audit.windows import with_window as _with_window


def all_tables(
    log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period, issued: pd.DataFrame | None
) -> Tables:
    """Every result table, in the order of the report."""
    tables: Tables = {}
    of_care = (_data_quality, _insertions, attempt_tables, _clinicians, _safety)
    of_devices = (_follow_up, contact_tables, _spells, placement_tables, _actions)
    for step in (*of_care, *of_devices):
        tables |= step(log, cohort, rules, span)
    tables |= clinician_tables(tables, log, cohort, rules, span)
    if issued is not None:
        tables["case_ascertainment"] = ascertainment.case_ascertainment(cohort.attempts, issued)
    return tables


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
    mapped = bys if len(bys) > 1 else (*bys, data_quality.calendar_unit(log.visits))
    return {
        "row_accounting": data_quality.row_accounting(log.accounting),
        "indicator_availability": data_quality.indicator_availability(list(log.visits.columns)),
        "finding_counts": data_quality.finding_counts(findings),
        "query_list": data_quality.query_list(findings, log.set_aside, log.visits),
        "field_completeness": fields,
        "core_completeness": data_quality.core_completeness(fields),
        "missingness": _each(data_quality.missingness, log.visits, mapped),
        "caseload": _stacked(loads),
    }


# The unit that failures are counted in, and the strata of each.
_FAILURES = {
    "visit": (
        *(OVERALL, "parity_group", "cervical_parity", "parous", "births_group"),
        *("site_ref", "device_family"),
    ),
    "operator_attempt": (OVERALL, "practice"),
    "woman_first_attempt": (OVERALL, "parous"),
    "woman_90_days": (OVERALL,),
}


def _insertions(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Failed insertions, their reasons, first passes and emergency placements."""
    attempts, floor, windows = cohort.attempts, rules.thresholds.recorded_floor, rules.windows

    def failed(rows: pd.DataFrame) -> pd.DataFrame:
        tables = [
            _each(insertion.failed_insertions, rows, bys, unit=unit, recorded_floor=floor)
            for unit, bys in _FAILURES.items()
        ]
        return _stacked(tables)

    def first_pass(rows: pd.DataFrame) -> pd.DataFrame:
        return _each(insertion.first_pass_success, rows, (OVERALL, "practice"), recorded_floor=floor)

    def fitted(rows: pd.DataFrame) -> pd.DataFrame:
        return insertion.fitted_in_the_end(rows, recorded_floor=floor)

    def emergency(rows: pd.DataFrame) -> pd.DataFrame:
        return access.emergency_placement_in_time(
            rows,
            hours=windows.emergency_hours,
            days_after_ovulation=windows.emergency_days_after_ovulation,
        )

    quarters = attempts.assign(quarter=attempts["attempt_date"].dt.to_period("Q").astype(str))
    by_quarter = insertion.failed_insertions(quarters, by="quarter", unit="visit", recorded_floor=floor)
    return {
        "failed_insertions": _stacked(
            [_in_windows(attempts, span, failed), _with_window(by_quarter, WHOLE_LOG)]
        ),
        "failure_reasons": _in_windows(attempts, span, insertion.failure_reasons),
        "fitted_in_the_end": _in_windows(attempts, span, fitted),
        "first_pass_success": _in_windows(attempts, span, first_pass),
        "emergency_placement_in_time": _in_windows(attempts, span, emergency),
    }


def _clinicians(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Failed insertions per clinician, and the limits to draw around the twelve months."""
    # One model of the whole log: twelve months hold too few failures for its terms.
    model = failure_mixture(cohort.attempts)

    def per_clinician(rows: pd.DataFrame) -> pd.DataFrame:
        return clinicians.failed_insertions_by_clinician(
            rows, target=rules.funnel_target, thresholds=rules.thresholds, model=model
        )

    rolling = per_clinician(in_period(cohort.attempts, twelve_months_to(span)))
    to_date = cohort.attempts[cohort.attempts["attempt_date"] <= span.last_day]
    return {
        "failed_insertions_by_clinician": _in_windows(cohort.attempts, span, per_clinician),
        "clinician_limits": clinicians.funnel(rolling, thresholds=rules.thresholds),
        "failure_model": failure_model.failure_model(cohort.attempts, model=model),
        "failure_model_fit": failure_model.failure_model_fit(cohort.attempts, model=model),
        **_in_order(to_date, learning_curve.attempts_in_order(to_date, model=model), rules),
    }


def _in_order(attempts: pd.DataFrame, ordered: pd.DataFrame, rules: AuditSettings) -> Tables:
    """Failed insertions in order of attempt, and what their cumulative sums signal."""
    limits = cusum.cusum_limits(ordered, rules=rules.cusum, thresholds=rules.thresholds)
    charts = cusum.cusum_charts(ordered, limits, thresholds=rules.thresholds)
    return {
        "learning_curve": learning_curve.learning_curve(attempts, ordered, thresholds=rules.thresholds),
        "cusum_limits": limits,
        "cusum_signals": cusum.cusum_signals(charts, limits, ordered),
        "learning_curve_attempts": cusum.learning_curve_attempts(charts),
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
    adjusted = _in_windows(
        cohort.attempts, span, lambda rows: vasovagal.vasovagal_adjusted(rows, recorded_floor=floor)
    )
    perforations = _in_windows(
        cohort.attempts,
        span,
        lambda rows: _each(
            complications.perforation,
            rows,
            (OVERALL, "device_class", "device_family", "perforation_group"),
            recorded_floor=floor,
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
        "vasovagal_adjusted": adjusted,
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
    tables["first_year_endings"] = _each(
        follow_up.first_year_endings,
        cohort.placements,
        (OVERALL, "timing_group", "device_family"),
        year_days=windows.year_days,
    )
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
        **_compared_spells(placements, fixed, rules.windows.year_days),
        **_rates(placements, rules, span),
    }


def _compared_spells(placements: pd.DataFrame, fixed: dict[str, Any], year_days: float) -> Tables:
    """Tests, models, differences and life tables of expulsion and continuation."""
    floor = fixed["at_risk_floor"]
    return {
        "expulsion_tests": expulsion.expulsion_tests(placements),
        "expulsion_hazard_ratios": _stacked(
            [
                expulsion.expulsion_hazard_ratios(placements, placement_kind=kind)
                for kind in ("first", ALL_KINDS)
            ]
        ),
        "expulsion_all_placements": _each(
            expulsion.expulsion_all_placements, placements, (OVERALL, "timing_group"), **fixed
        ),
        "continuation_differences": continuation.continuation_differences(
            placements, horizon=year_days, at_risk_floor=floor
        ),
        "life_table_rates": _each(
            removal.life_table_rates, placements, (OVERALL, "device_family"), at_risk_floor=floor
        ),
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
            [_with_window(period_rates, "period"), _with_window(rates(placements), WHOLE_LOG)]
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
