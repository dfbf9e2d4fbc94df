"""The result tables that rest on single insertion visits: access, care, pain, reactions, comparisons, volume."""

from collections.abc import Callable
from functools import partial

import pandas as pd

from audit.measures import (
    access,
    complications,
    data_quality,
    insertion,
    pain,
    process,
    reaction_timing,
    volume,
)
from audit.period import in_period
from audit.records import Cohort, Period, VisitLog
from audit.settings import AuditSettings
from audit.tallies import OVERALL, stacked
from audit.windows import WHOLE_LOG, Tables, each, windows_of, with_window

ROLLING = "rolling_12_months"
Measure = Callable[..., pd.DataFrame]


def attempt_tables(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Every result table of these measures, with the windows and strata the report needs."""
    rows = {
        name: cohort.attempts if window is None else in_period(cohort.attempts, window)
        for name, window in windows_of(span).items()
    }
    told = data_quality.indicator_availability(list(log.visits.columns))
    available = set(told.loc[told["available"], "indicator"])
    return {
        **_care(rows, available, rules.thresholds.recorded_floor),
        **_compared(rows, cohort.attempts, span),
        **_clinicians(rows[ROLLING]),
        **_reactions({name: rows[name] for name in (ROLLING, WHOLE_LOG)}, rules.thresholds.recorded_floor),
    }


def _over(rows: Tables, measure: Callable[[pd.DataFrame], pd.DataFrame]) -> pd.DataFrame:
    """A measure of the attempts of each window."""
    return stacked([with_window(measure(own), name) for name, own in rows.items()])


def _care(rows: Tables, available: set[str], floor: float) -> Tables:
    """Waiting time, the care given at a visit, the plan after none was placed, pain and devices wasted."""
    given = partial(process.process_of_care, items=[name for name in process.ITEMS if name in available])
    parities = ("cervical_parity", "parity_group")
    measures: dict[str, tuple[Measure, tuple[str, ...]]] = {
        "waiting_time": (access.waiting_time, ("timing_group", "site_ref")),
        "process_of_care": (given, ("site_ref",)),
        "safety_net": (process.safety_net, ("visit_outcome",)),
        "pain_scores": (pain.pain_scores, (*parities, "parous", "local_anaesthetic")),
        "emergency_treatment": (complications.emergency_treatment, ("cervical_parity",)),
    }
    # Of a log without any of its items there is no table at all.
    wanted = available | ({"process_of_care"} if set(process.ITEMS) & available else set())
    tables = {
        name: _over(rows, lambda own, m=measure, b=bys: each(m, own, (OVERALL, *b), recorded_floor=floor))  # type: ignore[misc]
        for name, (measure, bys) in measures.items()
        if name in wanted
    }
    wasted = _over(rows, lambda own: each(insertion.devices_wasted, own, (OVERALL, "device_family")))
    return {**tables, "devices_wasted": wasted}


def _compared(rows: Tables, attempts: pd.DataFrame, span: Period) -> Tables:
    """Failed insertions compared by births and site in each window, and by quarter over the whole log."""
    bys = ("cervical_parity", "parous", "births_group", "site_ref")
    contrasts = insertion.failed_insertion_contrasts
    by_group = _over(rows, lambda own: contrasts(each(insertion.failed_insertions, own, bys, unit="visit")))
    to_date = attempts[attempts["attempt_date"] <= span.last_day]
    quarters = to_date.assign(quarter=to_date["attempt_date"].dt.to_period("Q").astype(str))
    over_time = contrasts(insertion.failed_insertions(quarters, by="quarter", unit="visit"))
    return {"failed_insertion_contrasts": stacked([by_group, with_window(over_time, WHOLE_LOG)])}


def _clinicians(attempts: pd.DataFrame) -> Tables:
    """Volume and standing of each clinician in twelve months."""
    volumes = volume.clinician_volume(attempts)
    return {
        "clinician_volume": with_window(volumes, ROLLING),
        "clinicians_certified": with_window(volume.clinicians_certified(volumes), ROLLING),
    }


def _reactions(rows: Tables, floor: float) -> Tables:
    """When reactions began, and those with and without dilation or an anaesthetic."""
    bys = (OVERALL, reaction_timing.PARITY)
    by_phase = _over(
        rows, lambda own: each(reaction_timing.vasovagal_by_phase, own, bys, recorded_floor=floor)
    )
    by_technique = {
        name: reaction_timing.vasovagal_by_technique(own, recorded_floor=floor) for name, own in rows.items()
    }
    return {
        "vasovagal_by_phase": by_phase,
        "vasovagal_by_technique": _over(by_technique, lambda table: table),
        "vasovagal_technique_contrasts": _over(by_technique, reaction_timing.vasovagal_technique_contrasts),
    }
