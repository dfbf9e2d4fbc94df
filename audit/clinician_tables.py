"""The result tables of each clinician's own sheet: made once the clinicians have been compared."""

import pandas as pd

from audit.measures import clinician_events, clinician_figures, data_quality, follow_up
from audit.period import in_period, twelve_months_to
from audit.records import Cohort, Period, VisitLog
from audit.schema.visits import VISITS
from audit.settings import AuditSettings
from audit.tallies import stacked
from audit.windows import WHOLE_LOG, Tables, in_windows, with_window

_ROLLING = "rolling_12_months"
_OF_INSERTIONS = [column.name for column in VISITS.columns if {"all", "insertion"} & set(column.rows)]
_BEGUN_AT = ("insertion", "removal_and_replacement")
# The figure of the service that must be on for a clinician's own to be there.
_RESTS_ON = {
    "first_pass": "first_pass_success",
    **dict.fromkeys(("vasovagal_any", "vasovagal_grade_2_plus", "syncope"), "vasovagal_by_parity"),
    "severe_pain": "pain_scores",
    "expulsion_first_year": "expulsion_incidence",
}


def clinician_tables(
    tables: Tables, log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period
) -> Tables:
    """Counts, figures beside the service's, events and completeness of those with an insertion in twelve months.

    No table where nobody has a sheet, or where the log names only those who took over.
    """
    year = twelve_months_to(span)
    codes = clinician_figures.clinicians_with_sheets(in_period(cohort.attempts, year))
    if not codes or "clinician_ref" not in log.visits:
        return {}
    events = clinician_events.clinician_events(
        cohort.attempts, cohort.placements, first_day=year.first_day, last_day=year.last_day
    )
    counts = in_windows(cohort.attempts, span, clinician_figures.clinician_counts)
    return {
        "clinician_counts": _of(counts, codes),
        "clinician_figures": _of(_figures(tables, cohort, rules, span), codes),
        "clinician_events": events[events["clinician_ref"].isin(codes)].reset_index(drop=True),
        "clinician_completeness": _of(_completeness(log.visits, year), codes),
    }


def _of(table: pd.DataFrame, codes: list[str]) -> pd.DataFrame:
    """The rows of these clinicians."""
    return table[table["stratum"].isin(codes)].reset_index(drop=True)


def _figures(tables: Tables, cohort: Cohort, rules: AuditSettings, span: Period) -> pd.DataFrame:
    """Own figures in each window; the service beside those of twelve months, and beside expulsions of all time."""
    own = in_windows(
        cohort.attempts,
        span,
        lambda rows: clinician_figures.clinician_figures(
            rows, recorded_floor=rules.thresholds.recorded_floor
        ),
    )
    compared = tables["failed_insertions_by_clinician"]
    recent = compared[compared["window"] == _ROLLING] if len(compared) else compared
    parts = [
        clinician_figures.beside_the_service(
            own[own["window"] == _ROLLING], recent, thresholds=rules.thresholds
        ),
        own[own["window"] != _ROLLING].assign(service_told=False),
        clinician_figures.beside_the_service(
            _expelled(cohort.placements, rules.windows.year_days), recent.head(0), thresholds=rules.thresholds
        ),
    ]
    told = tables["indicator_availability"]
    off = set(told.loc[~told["available"].astype(bool), "indicator"])
    table = stacked(parts)
    return table[~table["figure"].map(_RESTS_ON).isin(off)]


def _expelled(placements: pd.DataFrame, year_days: float) -> pd.DataFrame:
    """Expulsions in the first year after each clinician's own placements, whatever came before them."""
    endings = follow_up.first_year_endings(
        placements, by="clinician_ref", placement_kind="all", year_days=year_days
    )
    lost = endings[endings["cause"] == "expulsion"].drop(columns=["placement_kind"])
    return with_window(
        lost.rename(columns={"cause": "figure"}).assign(figure="expulsion_first_year"), WHOLE_LOG
    )


def _completeness(visits: pd.DataFrame, year: Period) -> pd.DataFrame:
    """How often each field was filled in at own insertion visits, and all that every log should have."""
    then = visits["visit_date"].between(year.first_day, year.last_day)
    # What is noted of the device that comes out at a replacement is no part of the insertion.
    noted = [name for name in _OF_INSERTIONS if name in visits]
    begun = visits.loc[then & visits["visit_kind"].isin(_BEGUN_AT), noted]
    fields = data_quality.field_completeness(begun, by="clinician_ref")
    fields = fields[fields["n"] > 0]
    core = data_quality.core_completeness(fields).assign(column="all", requirement="all")
    return stacked([core, fields])
