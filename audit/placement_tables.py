"""The result tables that rest on contacts and on parts of spells, with the windows and strata the report needs."""

from collections.abc import Callable
from functools import partial

import pandas as pd

from audit.measures import (
    completeness_of_follow_up,
    complications,
    continuation,
    displacement,
    effectiveness,
    follow_up,
    infection,
    linkage,
    position,
    postpartum,
    removal_purpose,
    removal_visits,
)
from audit.records import Cohort, Period, VisitLog
from audit.settings import AuditSettings
from audit.tallies import OVERALL, stacked
from audit.windows import Tables, each, windows_of, with_window


def contact_tables(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
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
        "position_verified": stacked(
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
            name: _in_windows_of_contact(told, span, partial(each, measure, bys=bys))
            for name, measure in dated.items()
        },
    }


def _in_windows_of_contact(
    told: pd.DataFrame, span: Period, measure: Callable[[pd.DataFrame], pd.DataFrame]
) -> pd.DataFrame:
    """A measure of contacts in each window."""
    day = told["contact_date"]
    tables = [
        with_window(
            measure(told if window is None else told[day.between(window.first_day, window.last_day)]), name
        )
        for name, window in windows_of(span).items()
    ]
    return stacked(tables)


def placement_tables(log: VisitLog, cohort: Cohort, rules: AuditSettings, span: Period) -> Tables:
    """What the unknown could change, and the parts of expulsion, removal, continuation and pregnancy."""
    windows, floor, placements = rules.windows, rules.thresholds.at_risk_floor, cohort.placements
    by_band = complications.perforation(
        cohort.attempts, by="postpartum_band", recorded_floor=rules.thresholds.recorded_floor
    )
    return {
        "follow_up_bounds": each(
            follow_up.follow_up_bounds,
            placements,
            (OVERALL, "timing_group", "device_family"),
            year_days=windows.year_days,
            figures_to_reach=rules.figures_to_reach,
            at_risk_floor=floor,
        ),
        "follow_up_completeness": each(
            completeness_of_follow_up.follow_up_completeness,
            placements,
            (OVERALL, "site_ref", "timing_group", "device_family"),
        ),
        "postpartum_balance": postpartum.postpartum_balance(placements, by_band, at_risk_floor=floor),
        "displacement_incidence": displacement.displacement_incidence(placements, at_risk_floor=floor),
        "repeat_expulsion": displacement.repeat_expulsion(placements, at_risk_floor=floor),
        "expulsion_sensitivity": displacement.expulsion_sensitivity(placements, at_risk_floor=floor),
        "size_mismatch": displacement.size_mismatch(placements, at_risk_floor=floor),
        "removal_by_purpose": each(
            removal_purpose.removal_by_purpose,
            placements,
            (OVERALL, "device_class"),
            early_days=windows.early_removal_days,
            at_risk_floor=floor,
        ),
        "method_continuation": each(
            continuation.method_continuation,
            placements,
            (OVERALL, "device_family"),
            horizons=windows.horizons,
            at_risk_floor=floor,
        ),
        "ectopic_pregnancy": each(
            effectiveness.ectopic_pregnancy, placements, (OVERALL, "device_class", "device_family")
        ),
        "pregnancy_after_emergency": each(
            partial(effectiveness.pregnancy_after_emergency, follow_ups=cohort.follow_ups),
            placements,
            (OVERALL, "device_class", "device_family"),
            test_from_day=windows.emergency_test_from_day,
            cycle_days=windows.emergency_cycle_days,
        ),
    }
