"""Columns of an insertion row that the attempts hand on as they are, taken once the attempts stand."""

from typing import Any

import numpy as np
import pandas as pd

from audit.cohort.columns import Days, Mask, Names, code, date, flag, number
from audit.schema.derived import CARE, HISTORY, SEVERE_GRADE
from audit.schema.visits import VISITS

# An attempt's own: of two clinicians on one day each may have failed for a reason of the own.
_OF_THE_ATTEMPT = (
    "failure_reason",
    "attempts_same_visit",
    "device_wasted_count",
    "ec_hours_since_upsi",
    "ec_days_after_ovulation",
    "ec_basis",
    "training_status",
)
# A visit's: where two rows tell one day, the first that says something stands.
_OF_THE_VISIT = (
    "onward_plan",
    "bridging_method_given",
    "bridging_oral_ec_given",
    *(column.name for column in (*HISTORY, *CARE)),
)
# What is said at the end of a visit: the last that says something stands.
_LAST_STANDS = ("onward_plan", "bridging_method_given", "info_device_given", "thread_check_advice")


def carried_columns(rows: pd.DataFrame, attempts: pd.DataFrame) -> pd.DataFrame:
    """The columns handed on, one row an attempt.

    Parameters
    ----------
    rows
        The insertion rows.
    attempts
        The attempts in their final order: ``at`` (position in `rows`), ``second_of_row`` (another clinician
        finished what this row tells), ``patient_ref, attempt_date, outcome, visit_outcome``.

    Returns
    -------
    DataFrame
        Columns of `audit.schema.derived.ATTEMPTS` on the index of `attempts`.
    """
    at = attempts["at"].to_numpy()
    first, later = _told_twice(attempts)
    taken: dict[str, Any] = {name: _taken(rows, name, at) for name in _OF_THE_ATTEMPT}
    for name in _OF_THE_VISIT:
        taken[name] = _told_together(_taken(rows, name, at), first, later, last=name in _LAST_STANDS)
    # One row tells of the devices once, though two clinicians own its attempts.
    wasted = taken["device_wasted_count"]
    taken["device_wasted_count"] = np.where(attempts["second_of_row"] & ~np.isnan(wasted), 0.0, wasted)
    # The clinician who finished has a standing of the own, which the row does not tell.
    taken["training_status"][attempts["second_of_row"].to_numpy(dtype=bool)] = None
    taken["days_waited"] = _days_waited(rows)[at]
    taken["uterus_length_recorded"] = _length_recorded(rows)[at]
    return pd.DataFrame(taken, index=attempts.index)


def emergency_treatment(rows: pd.DataFrame) -> pd.Series:
    """Whether a drug or a transfer was needed: no only where the log rules out both."""
    grade = pd.Series(number(rows, "vasovagal_grade"))
    atropine = flag(rows, "atropine_given").reset_index(drop=True)
    transfer = flag(rows, "emergency_transfer").reset_index(drop=True)
    # Nullable logic: a yes decides, and a no needs both.
    severe = (grade >= SEVERE_GRADE).astype("boolean").where(grade.notna())
    needed: pd.Series = severe | atropine | transfer
    ruled_out = (~severe) | (~atropine & ~transfer)
    return needed.mask(needed.isna() & ruled_out.fillna(False), False)


def _taken(rows: pd.DataFrame, name: str, at: Days) -> Any:
    """A column at these positions of the rows."""
    kind = VISITS[name].kind
    if kind in ("number", "integer"):
        return number(rows, name)[at]
    return (flag(rows, name) if kind == "flag" else code(rows, name)).array.take(at)


def _told_twice(attempts: pd.DataFrame) -> tuple[Days, Days]:
    """Positions of the first attempt of a day, and of a later one that a row of its own tells."""
    again = (attempts["visit_outcome"].isna() & (attempts["outcome"] != "deferred")).to_numpy()
    later = np.flatnonzero(again & ~attempts["second_of_row"].to_numpy(dtype=bool))
    first = later.copy()
    opens = (attempts["visit_outcome"].notna() & (attempts["outcome"] != "deferred")).to_numpy()
    for place in range(len(later)):
        while not opens[first[place]]:
            first[place] -= 1
    return first, later


def _told_together(values: Any, first: Days, later: Days, *, last: bool) -> Any:
    """The values, what a later row of the day says put on the first attempt of that day."""
    for here, there in zip(first, later, strict=True):
        if _says_something(values[there]) and (last or not _says_something(values[here])):
            values[here] = values[there]
    return values


def _says_something(value: object) -> bool:
    """Whether a cell holds an answer."""
    return not pd.isna(value) and value != "unknown"  # type: ignore[call-overload]


def _days_waited(rows: pd.DataFrame) -> Names:
    """Days from the day she asked to the visit; missing where it lies after the visit."""
    days = (date(rows, "visit_date") - date(rows, "referral_date")).dt.days.to_numpy(dtype="float64")
    return np.where(days >= 0, days, np.nan)


def _length_recorded(rows: pd.DataFrame) -> Any:
    """True where a length is recorded, missing elsewhere: a blank is no answer."""
    known: Mask = ~(np.isnan(number(rows, "sound_length_mm")) & np.isnan(number(rows, "cavity_length_us_mm")))
    return pd.arrays.BooleanArray(known, ~known)
