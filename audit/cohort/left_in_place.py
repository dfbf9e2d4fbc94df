"""Devices found partly out, put right and left in place: how their spells would go on, for a sensitivity row."""

import pandas as pd

from audit.cohort.columns import Mask
from audit.cohort.placements import close_spells, observe_spells
from audit.settings import Windows

_GOES_ON = ("ending", "exit_day_last_known", "exit_day_assumed_in_place")


def follow_repositioned(
    spells: pd.DataFrame,
    places: pd.DataFrame,
    rows: pd.DataFrame,
    events: pd.DataFrame,
    seen: pd.DataFrame,
    gone: pd.DataFrame,
    windows: Windows,
) -> pd.DataFrame:
    """The spells with ``ending_if_left`` and both exit days as they are where a device put right goes on.

    A partial expulsion was put right where a contact on that day or later shows the device in place and nobody took
    it out on that day. `seen` and `gone` are as `observe_spells` takes them. Every other spell is as it was.
    """
    kept = {f"{name}_if_left": spells[name].to_numpy() for name in _GOES_ON}
    put_right = _put_right(spells, events, seen)
    told = spells.assign(**kept)
    if not put_right.any():
        return told
    partial = (events["ending"] == "expulsion_partial").to_numpy()
    affected = partial & events["place"].isin(spells.index[put_right]).to_numpy()
    onward = observe_spells(close_spells(places, rows, events[~affected]), seen, gone, windows)
    for name in _GOES_ON:
        told.loc[put_right, f"{name}_if_left"] = onward.loc[put_right, name]
    return told


def _put_right(spells: pd.DataFrame, events: pd.DataFrame, seen: pd.DataFrame) -> Mask:
    """Spells ended by a partial expulsion after which the device was seen in place."""
    last_seen = seen.groupby("place")["day"].max().reindex(spells.index)
    taken = events[events["ending"] == "removal"]
    day = taken["day"] - spells["_day"].reindex(taken["place"]).to_numpy()
    ended = spells["ending_day"].reindex(taken["place"]).to_numpy()
    out_that_day = spells.index.isin(taken.loc[(day == ended).to_numpy(), "place"])
    right: Mask = (
        (spells["ending"] == "expulsion_partial") & (last_seen >= spells["ending_day"]) & ~out_that_day
    ).to_numpy()
    return right
