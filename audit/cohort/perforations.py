"""Perforations told at contacts, and whose they are: each counts once, against its own insertion."""

import numpy as np
import pandas as pd

from audit.cohort.columns import Days, is_one_of, whole_days
from audit.cohort.events import by_new_insertion, removed
from audit.cohort.linking import latest_before


def perforations_told(rows: pd.DataFrame, at: Days) -> pd.DataFrame:
    """What contacts say of a perforation at these positions, what counts most last."""
    state = _perforation_state(rows)
    told = (state != "") & (at >= 0)
    # A later visit that finds nothing does not undo one already confirmed.
    weight = np.where(state[told] == "none", 0, np.where(state[told] == "extent_unknown", 1, 2))
    order = np.argsort(weight, kind="stable")
    return pd.DataFrame({"place": at[told][order], "state": state[told][order]})


def _perforation_state(rows: pd.DataFrame) -> np.ndarray:
    """partial, complete, extent_unknown, none (ruled out) or nothing said."""
    reason = is_one_of(rows, "removal_reason_main", "perforation") & removed(rows)
    own = ~by_new_insertion(rows)
    return np.select(
        [
            is_one_of(rows, "perforation_confirmed", "partial_embedded") & own,
            is_one_of(rows, "perforation_confirmed", "complete_extrauterine") & own,
            reason,
            is_one_of(rows, "perforation_confirmed", "no"),
        ],
        ["partial", "complete", "extent_unknown", "none"],
        "",
    )


def blamed_attempts(attempts: pd.DataFrame, spells: pd.DataFrame, rows: pd.DataFrame, place: Days) -> Days:
    """The attempt that led to no device and that a contact's word on a perforation is about; -1 for none.

    It is the latest attempt before the contact, once any device placed earlier had come out. A deferral touched
    nothing, and a replacement tells of the device before it.
    """
    begun = np.flatnonzero(attempts["outcome"] != "deferred")
    tries = attempts.iloc[begun].assign(_day=whole_days(attempts["attempt_date"].iloc[begun]))
    day = rows["_day"].to_numpy()
    until = day - is_one_of(rows, "visit_kind", "removal_and_replacement")
    at = latest_before(tries, rows["patient_ref"].to_numpy(), until, or_on=True)
    latest = np.append(begun, -1)[at]
    tried = np.append(whole_days(attempts["attempt_date"]), 0)[latest]
    placed = np.append(attempts["attempt"].isin(spells["attempt"]).to_numpy(), True)[latest]
    end = (spells["_day"] + spells["ending_day"]).reindex(np.maximum(place, 0)).to_numpy()
    free = (place < 0) | ((end <= tried) & (tried < day))
    return np.where(free & ~placed, latest, -1)
