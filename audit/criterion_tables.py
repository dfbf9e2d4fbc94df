"""The result tables of the audit criteria: made from the other tables, once these are there."""

import pandas as pd

from audit.criteria import criteria_in_force
from audit.measures import access, criteria, process
from audit.period import in_period
from audit.records import Cohort, Period
from audit.settings import AuditSettings
from audit.windows import Tables


def criterion_tables(tables: Tables, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """Criteria met, what they say, and the visits of the period behind each "not met"."""
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
    """The visits of the period at which a figure was not met, figure by figure."""
    attempts = in_period(cohort.attempts, span)
    missed = [
        process.care_not_met(attempts),
        access.emergency_not_in_time(
            attempts,
            hours=rules.windows.emergency_hours,
            days_after_ovulation=rules.windows.emergency_days_after_ovulation,
        ),
    ]
    # An item of which the log records one half only is not counted, so it has no cases either.
    care = tables.get("process_of_care", pd.DataFrame({"item": []}))
    counted = set(tables) | set(care["item"])
    return [table[table["figure"].isin(counted)] for table in missed]
