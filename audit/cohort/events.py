"""What a visit says ended a spell, or proves the device in place: rows into dated events."""

import numpy as np
import pandas as pd

from audit.cohort.columns import Days, Mask, code, date, is_one_of, whole_days
from audit.schema.derived import ENDINGS

FINDINGS = ("rule", "severity", "source", "row", "column", "message")

# rule -> severity, column, and the sentence: what was seen, what was done, what to do
RULES: dict[str, tuple[str, str, str]] = {
    "take_over": (
        "notice",
        "clinician_ref",
        (
            "Another clinician went on with this insertion the same day: it counts as a failed attempt of "
            "the first and a second attempt of the other."
        ),
    ),
    "second_row_same_attempt": (
        "warning",
        "visit_kind",
        (
            "A second insertion row for the same woman, day and clinician was counted once. Remove it if "
            "it is a copy."
        ),
    ),
    "unrecorded_ending": (
        "warning",
        "device_in_situ",
        (
            "Nothing says how the device before this one ended: its end is dated at this placement. Add "
            "what became of it."
        ),
    ),
    "placed_elsewhere": (
        "notice",
        "visit_kind",
        (
            "No placement of this woman before this visit: the device was placed elsewhere and counts for "
            "workload only."
        ),
    ),
    "event_after_end": (
        "warning",
        "visit_kind",
        ("This visit tells of a device that had already come out. Check the dates and the kind of visit."),
    ),
    "in_place_after_end": (
        "warning",
        "device_in_situ",
        ("The device is noted in place after its end. Check which of the two visits is right."),
    ),
    "other_device_class": (
        "warning",
        "device_class",
        ("The device is of another class than the one placed at its insertion. Correct one of the two."),
    ),
    "kept_longer_than_allowed": (
        "warning",
        "visit_date",
        (
            "The device ended more than a year after it was due to be changed. Check both dates and the years it "
            "is allowed."
        ),
    ),
    "conception_before_placement": (
        "warning",
        "pregnancy_conception_est",
        (
            "Conception is dated before the placement: it counts as a pregnancy not excluded, never as a failure "
            "of the device. Check the two dates."
        ),
    ),
    "emergency_without_copper": (
        "notice",
        "device_class",
        ("A device without copper was placed for an emergency. Check it against the local guideline."),
    ),
    "reported_date_not_used": (
        "notice",
        "event_date_reported",
        ("The reported date lies before the placement or after the visit: the day of the visit was used."),
    ),
}


def finding(rule: str, source: np.ndarray, row: np.ndarray) -> pd.DataFrame:
    """Findings of one rule for these rows of the log."""
    severity, column, message = RULES[rule]
    return pd.DataFrame(
        {
            "rule": rule,
            "severity": severity,
            "source": source,
            "row": row,
            "column": column,
            "message": message,
        },
        columns=list(FINDINGS),
    )


def contacts(visits: pd.DataFrame) -> pd.DataFrame:
    """The rows that can say something of a device already placed, in order of date."""
    rows = visits[~is_one_of(visits, "visit_kind", "pre_assessment", "insertion")]
    return rows.assign(_day=whole_days(rows["visit_date"])).sort_values(
        ["patient_ref", "_day", "source", "row"], kind="stable", ignore_index=True
    )


def ending_events(rows: pd.DataFrame) -> pd.DataFrame:
    """Every ending the contacts tell of: ``contact`` (position in `rows`), ``ending``, ``rank``, ``day``."""
    reported = _reported_day(rows)
    visited = rows["_day"].to_numpy()
    at_visit = is_one_of(rows, "visit_kind", "removal", "removal_and_replacement")
    happened = np.where(at_visit, visited, reported)
    reason_is_partial = is_one_of(rows, "removal_reason_main", "partial_expulsion")
    told = [
        ("perforation", _perforation(rows), visited),
        ("pregnancy", _pregnancy(rows) & ~_expelled_unnoticed(rows), conception_day(rows)),
        ("expulsion_complete", is_one_of(rows, "device_in_situ", "complete_expulsion"), reported),
        (
            "expulsion_complete",
            _pregnancy(rows) & _expelled_unnoticed(rows),
            reported,
        ),
        (
            "expulsion_partial",
            is_one_of(rows, "device_in_situ", "partial_expulsion") | (reason_is_partial & removed(rows)),
            reported,
        ),
        ("removal", removed(rows), happened),
        ("unrecorded", is_one_of(rows, "device_in_situ", "not_in_uterus"), visited),
        ("death", is_one_of(rows, "contact_result", "died"), reported),
    ]
    frames = [_events(ending, mask, day) for ending, mask, day in told]
    return pd.concat(frames, ignore_index=True)


def _events(ending: str, mask: Mask, day: Days) -> pd.DataFrame:
    """The events of one kind."""
    at = np.flatnonzero(mask)
    return pd.DataFrame({"contact": at, "ending": ending, "rank": ENDINGS.index(ending), "day": day[at]})


def removed(rows: pd.DataFrame) -> Mask:
    """The device was taken out at this visit, or the woman says so."""
    failed = is_one_of(rows, "removal_difficult", "failed")
    at_visit = is_one_of(rows, "visit_kind", "removal", "removal_and_replacement") & ~failed
    at_visit &= ~is_one_of(rows, "contact_result", "not_reached", "declined", "moved_away", "died")
    told = is_one_of(rows, "device_in_situ", "removed_here", "removed_elsewhere")
    in_place = is_one_of(rows, "device_in_situ", "in_situ_confirmed", "in_situ_reported")
    # The reason for a removal that failed says why it was tried, not that the device came out.
    reason = code(rows, "removal_reason_main").notna().to_numpy() & ~in_place & ~failed
    removed_now: Mask = at_visit | told | reason
    return removed_now


def in_place(rows: pd.DataFrame) -> Mask:
    """The device is known in place after the visit; one that was taken out is not."""
    seen = is_one_of(rows, "device_in_situ", "in_situ_confirmed", "in_situ_reported")
    known: Mask = seen & ~removed(rows)
    return known


def left(rows: pd.DataFrame) -> Mask:
    """She moved away or declined further contact."""
    return is_one_of(rows, "contact_result", "moved_away", "declined")


def status_known(rows: pd.DataFrame) -> Mask:
    """The contact shows where the device is."""
    told = ~is_one_of(rows, "device_in_situ", "unknown") & code(rows, "device_in_situ").notna().to_numpy()
    known: Mask = told | removed(rows)
    return known


def _perforation(rows: pd.DataFrame) -> Mask:
    """A confirmed perforation."""
    confirmed = is_one_of(rows, "perforation_confirmed", "partial_embedded", "complete_extrauterine")
    confirmed &= ~by_new_insertion(rows)
    reason = is_one_of(rows, "removal_reason_main", "perforation") & removed(rows)
    found: Mask = confirmed | reason
    return found


def by_new_insertion(rows: pd.DataFrame) -> Mask:
    """The row replaces a device, and its perforation was suspected while the new one was inserted."""
    suspected = is_one_of(rows, "perforation_suspected", "sound", "device", "other_instrument")
    suspected |= is_one_of(rows, "failure_reason", "perforation_suspected")
    own: Mask = is_one_of(rows, "visit_kind", "removal_and_replacement") & suspected
    return own


def _pregnancy(rows: pd.DataFrame) -> Mask:
    """A pregnancy, unless the device had been taken out before conception."""
    found = is_one_of(rows, "pregnancy", "intrauterine", "ectopic", "miscarriage", "location_unknown")
    found |= is_one_of(rows, "removal_reason_main", "pregnancy") & removed(rows)
    return found & ~is_one_of(rows, "device_status_at_conception", "removed")


def _expelled_unnoticed(rows: pd.DataFrame) -> Mask:
    """The device had gone unnoticed before conception."""
    return is_one_of(rows, "device_status_at_conception", "expelled_unnoticed")


def pregnant_contacts(rows: pd.DataFrame) -> Mask:
    """Contacts that tell of a pregnancy with the device in place, partly or unnoticed out."""
    return _pregnancy(rows)


def _reported_day(rows: pd.DataFrame) -> Days:
    """The reported day where it is not after the visit, else the day of the visit."""
    told = whole_days(date(rows, "event_date_reported"))
    visited = rows["_day"].to_numpy()
    missing = date(rows, "event_date_reported").isna().to_numpy()
    return np.where(missing | (told > visited), visited, told)


def conception_known(rows: pd.DataFrame) -> Mask:
    """The log holds an estimated day of conception."""
    return date(rows, "pregnancy_conception_est").notna().to_numpy()


def conception_day(rows: pd.DataFrame) -> Days:
    """The estimated day of conception, else the day it was found."""
    told = whole_days(date(rows, "pregnancy_conception_est"))
    visited = rows["_day"].to_numpy()
    return np.where(conception_known(rows) & (told <= visited), told, visited)
