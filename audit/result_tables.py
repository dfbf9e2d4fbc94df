"""The result tables of an audit, family by family, each measure with the windows and strata the report needs."""

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import pandas as pd

from audit.measures import (
    access,
    action_list,
    ascertainment,
    caseload,
    clinicians,
    completeness_of_follow_up,
    complications,
    continuation,
    data_quality,
    displacement,
    effectiveness,
    expulsion,
    follow_up,
    infection,
    insertion,
    linkage,
    person_time,
    position,
    postpartum,
    removal,
    removal_purpose,
    removal_visits,
    vasovagal,
)
from audit.period import due_in_period, in_period, observed_in_period, twelve_months_to
from audit.records import Cohort, Period, VisitLog
from audit.settings import AuditSettings
from audit.tallies import OVERALL

Tables = dict[str, pd.DataFrame]
WHOLE_LOG = "all"


def all_tables(
    log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period, issued: pd.DataFrame | None
) -> Tables:
    """Every result table, in the order of the report."""
    tables: Tables = {}
    steps = (
        *(_data_quality, _insertions, _clinicians, _safety, _follow_up, _contacts, _spells, _more_of_spells),
        _actions,
    )
    for step in steps:
        tables |= step(log, cohort, rules, span)
    if issued is not None:
        tables["case_ascertainment"] = ascertainment.case_ascertainment(cohort.attempts, issued)
    return tables


def _windows(span: Period) -> dict[str, Period | None]:
    """The three windows of dated figures."""
    return {"period": span, "rolling_12_months": twelve_months_to(span), WHOLE_LOG: None}


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
        "query_list": data_quality.query_list(findings, log.set_aside, log.visits),
        "field_completeness": fields,
        "core_completeness": data_quality.core_completeness(fields),
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
        "first_pass_success": _in_windows(attempts, span, first_pass),
        "emergency_placement_in_time": _in_windows(attempts, span, emergency),
    }


def _clinicians(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Failed insertions per clinician, and the limits to draw around the twelve months."""

    def per_clinician(rows: pd.DataFrame) -> pd.DataFrame:
        return clinicians.failed_insertions_by_clinician(
            rows, target=rules.funnel_target, thresholds=rules.thresholds
        )

    rolling = per_clinician(in_period(cohort.attempts, twelve_months_to(span)))
    return {
        "failed_insertions_by_clinician": _in_windows(cohort.attempts, span, per_clinician),
        "clinician_limits": clinicians.funnel(rolling, thresholds=rules.thresholds),
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


def _contacts(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Positions, threads, infections, removal visits and linkage: what the contacts tell."""
    windows, placements, told = rules.windows, cohort.placements, cohort.follow_ups
    due = (
        ("first_cycle", windows.first_cycle_from_day, windows.first_cycle_to_day),
        ("six_months", windows.six_months_from_day, windows.six_months_to_day),
    )
    bys = (OVERALL, "site_ref")
    dated: dict[str, Callable[..., pd.DataFrame]] = {
        "difficult_removal": removal_visits.difficult_removal,
        "removal_on_request": partial(
            removal_visits.removal_on_request, limit_days=windows.removal_delay_days
        ),
        "unlinked_contacts": linkage.unlinked_contacts,
    }
    return {
        "check_in_higher_risk": follow_up.check_in_higher_risk(placements),
        "position_verified": _stacked(
            [position.position_verified(placements, told, by=by, windows=due) for by in bys]
        ),
        "threads_not_seen": position.threads_not_seen(placements, told),
        "malposition": position.malposition(placements, told),
        "pelvic_infection": infection.pelvic_infection(
            placements, told, early_days=windows.early_infection_days
        ),
        "pelvic_infection_incidence": infection.pelvic_infection_incidence(
            placements, told, at_risk_floor=rules.thresholds.at_risk_floor
        ),
        **{
            name: _contacts_in_windows(told, span, partial(_each, measure, bys=bys))
            for name, measure in dated.items()
        },
    }


def _contacts_in_windows(
    told: pd.DataFrame, span: Period, measure: Callable[[pd.DataFrame], pd.DataFrame]
) -> pd.DataFrame:
    """A measure of contacts in each window."""
    day = told["contact_date"]
    tables = [
        _with_window(
            measure(told if window is None else told[day.between(window.first_day, window.last_day)]), name
        )
        for name, window in _windows(span).items()
    ]
    return _stacked(tables)


def _more_of_spells(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """What the unknown could change, and the parts of expulsion, removal, continuation and pregnancy."""
    windows, floor, placements = rules.windows, rules.thresholds.at_risk_floor, cohort.placements
    by_band = complications.perforation(
        cohort.attempts, by="postpartum_band", recorded_floor=rules.thresholds.recorded_floor
    )
    return {
        "follow_up_bounds": _each(
            follow_up.follow_up_bounds,
            placements,
            (OVERALL, "timing_group", "device_family"),
            year_days=windows.year_days,
            figures_to_reach=rules.figures_to_reach,
            at_risk_floor=floor,
        ),
        "follow_up_completeness": _each(
            completeness_of_follow_up.follow_up_completeness,
            placements,
            (OVERALL, "site_ref", "timing_group", "device_family"),
        ),
        "postpartum_balance": postpartum.postpartum_balance(placements, by_band, at_risk_floor=floor),
        "displacement_incidence": displacement.displacement_incidence(placements, at_risk_floor=floor),
        "repeat_expulsion": displacement.repeat_expulsion(placements, at_risk_floor=floor),
        "expulsion_sensitivity": displacement.expulsion_sensitivity(placements, at_risk_floor=floor),
        "size_mismatch": displacement.size_mismatch(placements, at_risk_floor=floor),
        "removal_by_purpose": _each(
            removal_purpose.removal_by_purpose,
            placements,
            (OVERALL, "device_class"),
            early_days=windows.early_removal_days,
            at_risk_floor=floor,
        ),
        "method_continuation": _each(
            continuation.method_continuation,
            placements,
            (OVERALL, "device_family"),
            horizons=windows.horizons,
            at_risk_floor=floor,
        ),
        "ectopic_pregnancy": _each(effectiveness.ectopic_pregnancy, placements, (OVERALL, "device_family")),
        "pregnancy_after_emergency": effectiveness.pregnancy_after_emergency(
            placements,
            cohort.follow_ups,
            test_from_day=windows.emergency_test_from_day,
            cycle_days=windows.emergency_cycle_days,
        ),
    }


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
