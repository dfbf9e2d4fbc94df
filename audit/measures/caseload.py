"""Caseload: how much work the log shows, devices placed elsewhere included."""

import pandas as pd

from audit.records import Period
from audit.tallies import counts


def caseload(
    attempts: pd.DataFrame,
    placements: pd.DataFrame,
    follow_ups: pd.DataFrame,
    *,
    period: Period | None = None,
) -> pd.DataFrame:
    """Insertions, placements, contacts and removals in a period.

    Population: everything in the log, devices placed elsewhere too, which count here and nowhere else.

    Parameters
    ----------
    attempts, placements, follow_ups
        The tables of `audit.schema.derived`.
    period
        The period; the whole log where None.

    Returns
    -------
    DataFrame
        ``item, n``: ``women, attempts, placed, failed, outcome_unknown, deferred, first_placements,
        replacements, repeat_placements, contacts, removal_visits, contacts_placed_elsewhere``.
    """
    tried = _within(attempts, "attempt_date", period)
    placed = _within(placements, "placement_date", period)
    contacted = _within(follow_ups, "contact_date", period)
    kind, outcome = placed["placement_kind"], tried["outcome"]
    removals = contacted["visit_kind"].isin(["removal", "removal_and_replacement"])
    items = {
        "women": tried.loc[outcome != "deferred", "patient_ref"].nunique(),
        "attempts": _n(tried, outcome != "deferred"),
        "placed": _n(tried, outcome == "placed"),
        "failed": _n(tried, outcome == "failed"),
        "outcome_unknown": _n(tried, outcome == "unknown"),
        "deferred": _n(tried, outcome == "deferred"),
        "first_placements": _n(placed, kind == "first"),
        "replacements": _n(placed, kind == "replacement"),
        "repeat_placements": _n(placed, kind == "repeat"),
        "contacts": len(contacted),
        "removal_visits": _n(contacted, removals),
        "contacts_placed_elsewhere": _n(contacted, (contacted["placement"] < 0) & contacted["status_known"]),
    }
    return pd.DataFrame({"item": list(items), "n": [int(value) for value in items.values()]})


def _within(frame: pd.DataFrame, column: str, period: Period | None) -> pd.DataFrame:
    """The rows dated in the period."""
    if period is None:
        return frame
    return frame[frame[column].between(period.first_day, period.last_day)]


def _n(frame: pd.DataFrame, mask: pd.Series) -> int:
    """How many the chosen rows stand for."""
    return int(counts(frame)[mask].sum())
