"""The result tables of the audit criteria: made from the other tables, once these are there."""

import pandas as pd

from audit.criteria import criteria_in_force
from audit.measures import access, criteria, placement_cases, position, process
from audit.period import due_in_period, in_period
from audit.records import Cohort, Period
from audit.schema.criterion import FIGURES
from audit.settings import AuditSettings, Windows
from audit.windows import WHOLE_LOG, Tables


def criterion_tables(tables: Tables, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Criteria met, what they say, and the visits behind each "not met"."""
    in_force = criteria_in_force(rules.criteria)
    since = cohort.data_to - pd.Timedelta(days=rules.windows.year_days)
    return {
        "criteria": criteria.criteria_met(
            tables,
            in_force,
            last_day=span.last_day,
            attested_since=since,
            recorded_floor=rules.thresholds.recorded_floor,
        ),
        "criteria_definitions": criteria.criteria_definitions(in_force, last_day=span.last_day),
        "criteria_cases": criteria.criteria_cases(
            _missed(cohort, rules, span, tables), in_force, last_day=span.last_day
        ),
    }


def _missed(cohort: Cohort, rules: AuditSettings, span: Period, tables: Tables) -> list[pd.DataFrame]:
    """The visits at which a figure was not met: of the period, and of lost threads over the whole log."""
    attempts, windows = in_period(cohort.attempts, span), rules.windows
    missed = [
        process.care_not_met(attempts),
        access.emergency_not_in_time(
            attempts,
            hours=windows.emergency_hours,
            days_after_ovulation=windows.emergency_days_after_ovulation,
        ),
        *_not_followed(cohort, windows, span),
        position.threads_not_resolved(cohort.placements, cohort.follow_ups).assign(window=WHOLE_LOG),
    ]
    counted = _counted(tables)
    return [table[table["figure"].isin(counted)] for table in missed]


def _not_followed(cohort: Cohort, windows: Windows, span: Period) -> list[pd.DataFrame]:
    """The placements whose check, outcome or position fell due in the period and was not done or not known."""
    due = {
        "check_done": windows.check_to_day,
        "check_in_higher_risk": windows.check_to_day,
        "outcome_known": windows.year_days + windows.maturity_lag_days,
    }
    verified = {
        "first_cycle": (windows.first_cycle_from_day, windows.first_cycle_to_day),
        "six_months": (windows.six_months_from_day, windows.six_months_to_day),
    }
    return [
        *(
            placement_cases.follow_up_not_met(
                due_in_period(cohort.placements, span, days=days), figure=figure
            )
            for figure, days in due.items()
        ),
        *(
            position.position_not_verified(
                due_in_period(cohort.placements, span, days=window[1]),
                cohort.follow_ups,
                due=name,
                window=window,
            )
            for name, window in verified.items()
        ),
    ]


def _counted(tables: Tables) -> set[str]:
    """The figures this audit counts; an item of which the log records one half only is not counted."""
    care = set(tables.get("process_of_care", pd.DataFrame({"item": []}))["item"])
    here = {name for name, held in FIGURES.items() if held.table in tables and "item" not in held.labels}
    return here | care | ({"safety_net"} & set(tables))
