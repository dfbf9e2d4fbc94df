"""Which placement a contact or an event belongs to: the latest one before it, by woman and day."""

import numpy as np
import pandas as pd

from audit.cohort.columns import Days, Mask, Names, flag

# Days since 1970 fit in 20 bits until the year 4840, so woman and day make one sortable whole number.
_DAY_BITS = 20


def _key(patient: Names, day: Days) -> Days:
    """One whole number for a woman and a day, in order of woman, then day."""
    key: Days = (patient.astype("int64") << _DAY_BITS) + day
    return key


def latest_before(places: pd.DataFrame, patient: Names, day: Days, *, or_on: bool) -> Days:
    """Position in `places` of each woman's latest placement before (or on) a day; -1 for none.

    `places` holds ``patient_ref`` and ``_day`` in order.
    """
    keys = _key(places["patient_ref"].to_numpy(), places["_day"].to_numpy())
    at = np.searchsorted(keys, _key(patient, day), side="right" if or_on else "left") - 1
    own = np.zeros(len(at), dtype=bool)
    own[at >= 0] = places["patient_ref"].to_numpy()[at[at >= 0]] == patient[at >= 0]
    return np.where(own, at, -1)


def link_events(places: pd.DataFrame, rows: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """The events with ``place`` (position in `places`, -1 for none) and their day put right.

    An event on the very day of a placement belongs to the device before it while that one was still in place:
    a removal and an insertion on one day are a replacement. Where no earlier device is in the log, what the log
    tells before the insertion is of a device placed elsewhere; otherwise it is an ending on day 0.
    """
    contact = events["contact"].to_numpy()
    patient = rows["patient_ref"].to_numpy()[contact]
    visited = rows["_day"].to_numpy()[contact]
    found_late = events["ending"].isin(["perforation", "pregnancy"]).to_numpy()
    day = events["day"].to_numpy()
    anchor = np.where(found_late, visited, day)
    none_yet = latest_before(places, patient, anchor, or_on=True) < 0
    anchor = np.where(none_yet, visited, anchor)
    before = latest_before(places, patient, anchor, or_on=False)
    upto = latest_before(places, patient, anchor, or_on=True)
    replaces = (rows["visit_kind"] == "removal_and_replacement").to_numpy()[contact]
    place = np.where((upto == before) | replaces, before, -2)
    place[(place == -2) & (before < 0) & _of_elsewhere(places, rows.iloc[contact], upto)] = -1
    moved = none_yet & ~found_late
    linked = events.assign(place=place, day=np.where(moved, visited, day), moved=moved)
    return _settle_same_day(places, linked, before, upto, anchor)


def _of_elsewhere(places: pd.DataFrame, told: pd.DataFrame, upto: Days) -> Mask:
    """Rows that stand before the insertion row of their day, or that say a new device was placed at once."""
    if places.empty:
        return np.zeros(len(told), dtype=bool)
    source, row = (places[name].to_numpy()[upto] for name in ("source", "row"))
    stands_before = (told["source"].to_numpy() == source) & (told["row"].to_numpy() < row)
    replaced: Mask = flag(told, "replacement_at_once").fillna(False).to_numpy(dtype=bool)
    elsewhere: Mask = stands_before | replaced
    return elsewhere


def _settle_same_day(
    places: pd.DataFrame, events: pd.DataFrame, before: Days, upto: Days, anchor: Days
) -> pd.DataFrame:
    """Decide the events that fall on the day of a placement."""
    place = events["place"].to_numpy().copy()
    open_question = np.flatnonzero(place == -2)
    settled = events[place >= 0]
    # A conception before placement ends nothing.
    settled = settled[settled["day"].to_numpy() >= places["_day"].to_numpy()[settled["place"]]]
    closed = settled.groupby("place")["day"].min().to_dict()
    for at in open_question[np.argsort(anchor[open_question], kind="stable")]:
        earlier = int(before[at])
        still_in = earlier >= 0 and closed.get(earlier, anchor[at]) >= anchor[at]
        place[at] = earlier if still_in else int(upto[at])
        closed[place[at]] = min(closed.get(place[at], anchor[at]), anchor[at])
    return events.assign(place=place)


def link_contacts(places: pd.DataFrame, rows: pd.DataFrame, events: pd.DataFrame) -> Days:
    """The placement each contact belongs to; -1 for a device placed elsewhere."""
    place = latest_before(places, rows["patient_ref"].to_numpy(), rows["_day"].to_numpy(), or_on=True)
    replaces: Mask = (rows["visit_kind"] == "removal_and_replacement").to_numpy()
    earlier = latest_before(places, rows["patient_ref"].to_numpy(), rows["_day"].to_numpy(), or_on=False)
    place = np.where(replaces, earlier, place)
    first = events.drop_duplicates("contact")
    place[first["contact"].to_numpy()] = first["place"].to_numpy()
    return place
