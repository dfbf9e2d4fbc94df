"""Attempts that succeeded into spells: time zero, one ending each, and both censoring rules."""

import numpy as np
import pandas as pd

from audit.cohort.at_placement import higher_risk, size_fit
from audit.cohort.columns import codes_of, flag, number, whole_days
from audit.schema.derived import (
    CASE_MIX,
    ENDINGS,
    PERFORATION_STATES,
    PLACEMENT_KINDS,
    PREGNANCY_STATES,
    REMOVAL_GROUP_OF,
    REMOVAL_GROUPS,
)
from audit.schema.visits import REMOVAL_REASONS
from audit.settings import Windows

DAYS_PER_YEAR = 365.25
_WHO = ("patient_ref", "visit_ref", "source", "row", "site_ref", "clinician_ref")
# A replacement for one of these reasons is a replacement; any other reason is the cause of the ending.
_REPLACEMENT_REASONS = ("planned_end_of_duration", "wish_other_method", "unknown")

# Endings that tell where a device went.
_EXPLAIN = ("perforation", "expulsion_complete", "expulsion_partial", "removal")


def placed_devices(attempts: pd.DataFrame, visits: pd.DataFrame, data_to: pd.Timestamp) -> pd.DataFrame:
    """One row per device placed, in order of woman and day, before anything is known of its ending."""
    placed = attempts[attempts["outcome"] == "placed"]
    rows = visits.set_index(["source", "row"]).reindex(pd.MultiIndex.from_frame(placed[["source", "row"]]))
    places = placed[["attempt", *_WHO, *(column.name for column in CASE_MIX), "replaces"]].assign(
        placement_date=placed["attempt_date"],
        breastfeeding=flag(rows, "breastfeeding").array,
        weeks_since_delivery=number(rows, "weeks_since_delivery"),
        device_licensed_years=number(rows, "device_licensed_years"),
        prior_expulsion=flag(rows, "prior_expulsion").array,
        perforation=placed["perforation"].to_numpy(dtype=object),
        _day=whole_days(placed["attempt_date"]),
    )
    places = places.assign(**higher_risk(rows), size_fit=size_fit(rows))
    places["days_to_data_to"] = (data_to - places["placement_date"]).dt.days.astype("float64")
    return places.reset_index(drop=True)


def close_spells(places: pd.DataFrame, rows: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """The spells with their endings: the earliest event, by precedence on one day."""
    ending = _earliest(places, events)
    spells = places.join(ending.set_index("place"))
    spells["ending_day"] = spells["day"] - spells["_day"]
    spells = spells.drop(columns="day")
    spells["ending"] = spells["ending"].astype(object).fillna("none")
    following = _next_day(places)
    unrecorded = (spells["ending"] == "none") & (following >= 0)
    spells.loc[unrecorded, "ending"] = "unrecorded"
    spells.loc[unrecorded, "ending_day"] = (following - spells["_day"])[unrecorded].astype("float64")
    spells["replaced_at_once"] = _replaced(spells, rows, following)
    spells["ending"] = codes_of(spells["ending"].to_numpy(dtype=object), ENDINGS)
    return _with_reasons(spells, rows)


def _earliest(places: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """The event that ends each spell: ``place, ending, day, contact``."""
    at_insertion = np.flatnonzero(places["perforation"].isin(["partial", "complete"]))
    immediate = pd.DataFrame(
        {
            "place": at_insertion,
            "ending": "perforation",
            "rank": ENDINGS.index("perforation"),
            "day": places["_day"].to_numpy()[at_insertion],
            "contact": -1,
        }
    )
    own = events[events["place"] >= 0]
    # A device found to be gone takes the ending that explains it, though that was learned later.
    explained = own.loc[own["ending"].isin(_EXPLAIN), "place"]
    own = own[~((own["ending"] == "unrecorded") & own["place"].isin(explained))]
    both = pd.concat([own, immediate], ignore_index=True) if len(immediate) else own
    first = both.sort_values(["place", "day", "rank"], kind="stable").drop_duplicates("place")
    return first[["place", "ending", "day", "contact"]]


def _next_day(places: pd.DataFrame) -> pd.Series:
    """Day of the same woman's next placement; -1 for none."""
    following = places.groupby("patient_ref", sort=False)["_day"].shift(-1)
    return following.fillna(-1).astype("int64")


def _replaced(spells: pd.DataFrame, rows: pd.DataFrame, following: pd.Series) -> pd.Series:
    """A removal with a new device the same day, in this log or by the visit's own word."""
    removal = spells["ending"] == "removal"
    same_day = following == spells["_day"] + spells["ending_day"]
    noted = _at_ending(spells, flag(rows, "replacement_at_once").astype(object), False)
    return (removal & (same_day | (noted == True))).astype("boolean")  # noqa: E712 - NA-safe comparison


def _at_ending(spells: pd.DataFrame, values: pd.Series, missing: object) -> pd.Series:
    """A value of the contact that ended each spell."""
    contact = spells["contact"].fillna(-1).astype("int64").to_numpy()
    known = contact >= 0
    taken = np.full(len(spells), missing, dtype=object)
    taken[known] = values.to_numpy(dtype=object)[contact[known]]
    return pd.Series(taken, index=spells.index)


def _with_reasons(spells: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """Removal reason and its group, for spells that ended in removal."""
    removal = spells["ending"] == "removal"
    if "removal_reason_main" in rows:
        reason = _at_ending(spells, rows["removal_reason_main"].astype(object), "unknown").fillna("unknown")
    else:
        reason = pd.Series("unknown", index=spells.index)
    reason = reason.mask(~removal)
    second = _second_reason(spells, rows).mask(~removal)
    group = reason.map(REMOVAL_GROUP_OF).astype(object)
    replaced = spells["replaced_at_once"].to_numpy(dtype=bool) & reason.isin(_REPLACEMENT_REASONS)
    return spells.assign(
        removal_reason=codes_of(reason.to_numpy(dtype=object), REMOVAL_REASONS),
        removal_reason_second=codes_of(second.to_numpy(dtype=object), REMOVAL_REASONS),
        removal_group=codes_of(group.mask(replaced, "replacement").to_numpy(dtype=object), REMOVAL_GROUPS),
    )


def _second_reason(spells: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """The second reason told at the contact that ended each spell; missing where the log has none."""
    if "removal_reason_second" not in rows:
        return pd.Series(None, index=spells.index, dtype=object)
    return _at_ending(spells, rows["removal_reason_second"].astype(object), None)


def name_kinds(spells: pd.DataFrame, elsewhere: pd.DataFrame) -> pd.DataFrame:
    """first, replacement or repeat; and whether an expulsion came before.

    `elsewhere` holds the woman and day of each removal of a device placed elsewhere.
    """
    earlier = spells.groupby("patient_ref", sort=False)[
        ["replaced_at_once", "_day", "ending_day", "ending"]
    ].shift()
    ended_today = (earlier["_day"] + earlier["ending_day"]) == spells["_day"]
    removed_today = earlier["replaced_at_once"].fillna(False).astype(bool) & ended_today
    here = pd.MultiIndex.from_frame(spells[["patient_ref", "_day"]])
    replaced_elsewhere = here.isin(pd.MultiIndex.from_frame(elsewhere)) if len(elsewhere) else False
    replacement = spells["replaces"] | removed_today | replaced_elsewhere
    fresh = (~replacement).groupby(spells["patient_ref"], sort=False).cumsum()
    kind = np.select([replacement, fresh == 1], ["replacement", "first"], "repeat")
    expelled = spells["ending"].isin(["expulsion_complete", "expulsion_partial"]).astype("int64")
    before = expelled.groupby(spells["patient_ref"], sort=False).cumsum() - expelled
    history = spells["prior_expulsion"].mask(before > 0, True)
    return spells.assign(placement_kind=codes_of(kind, PLACEMENT_KINDS), prior_expulsion=history)


def observe_spells(
    spells: pd.DataFrame, seen: pd.DataFrame, gone: pd.DataFrame, windows: Windows
) -> pd.DataFrame:
    """The end of observation under both rules.

    `seen` and `gone` hold ``place`` and ``day`` (since placement) of contacts that show the device in place,
    and of moves away or refusals.
    """
    ended = spells["ending_day"]
    seen = seen[~(seen["day"] > ended.reindex(seen["place"]).to_numpy())]
    last = seen.groupby("place")["day"].max().reindex(spells.index).fillna(0.0).astype("float64")
    gone = gone[gone["day"] >= last.reindex(gone["place"]).to_numpy()]
    left = gone.groupby("place")["day"].min().reindex(spells.index).astype("float64")
    followed_to = np.fmin(spells["days_to_data_to"] - windows.reporting_lag_days, left)
    assumed = pd.Series(np.fmax(followed_to, last), index=spells.index)
    return spells.assign(
        ending_earliest_day=last.where(ended.notna()),
        last_known_day=last,
        left_day=left,
        exit_day_last_known=ended.fillna(last),
        exit_day_assumed_in_place=ended.fillna(assumed),
    )


def judge_follow_up(spells: pd.DataFrame, known: pd.DataFrame, windows: Windows) -> pd.DataFrame:
    """Check-up done, first year's outcome known, device overdue; missing before it is due or can be told.

    `known` holds ``place`` and ``day`` of the contacts that show where the device is.
    """
    in_window = known["day"].between(windows.check_from_day, windows.check_to_day)
    done = pd.Series(spells.index.isin(known.loc[in_window, "place"]), index=spells.index).astype("boolean")
    due = (spells["days_to_data_to"] >= windows.check_to_day) & ~(
        spells["ending_day"] < windows.check_from_day
    )
    ended = ~spells["ending"].isin(["none", "unrecorded"])
    outcome = (ended | (spells["last_known_day"] >= windows.known_from_day)).astype("boolean")
    allowed = spells["device_licensed_years"] * DAYS_PER_YEAR
    overdue = ((spells["ending"] == "none") & (spells["days_to_data_to"] >= allowed)).astype("boolean")
    mature = spells["days_to_data_to"] >= windows.year_days + windows.maturity_lag_days
    return spells.assign(
        check_done=done.where(due),
        outcome_known=outcome.where(mature),
        overdue=overdue.where(allowed.notna()),
    )


def mark_states(spells: pd.DataFrame, pregnant: pd.DataFrame, perforated: pd.DataFrame) -> pd.DataFrame:
    """Pregnancy and perforation of each spell. Both frames hold ``place`` and ``state``, in order of date."""
    pregnancy = pregnant.drop_duplicates("place").set_index("place")["state"].reindex(spells.index)
    perforation = (
        perforated.drop_duplicates("place", keep="last").set_index("place")["state"].reindex(spells.index)
    )
    own = spells["perforation"].where(spells["perforation"].isin(["partial", "complete"]), perforation)
    return spells.assign(
        pregnancy=codes_of(pregnancy.fillna("none").to_numpy(dtype=object), PREGNANCY_STATES),
        perforation=codes_of(own.fillna(spells["perforation"]).to_numpy(dtype=object), PERFORATION_STATES),
    )
