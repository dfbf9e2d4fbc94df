"""Devices of one woman that follow one another without a gap: the use of the method, whatever device."""

import pandas as pd

from audit.cohort.columns import codes_of
from audit.schema.derived import ENDINGS


def follow_methods(spells: pd.DataFrame, gap_days: int) -> pd.DataFrame:
    """The spells with what became of the method, on each woman's first placement.

    A new device up to `gap_days` after the end of the one before continues the method. An ending so near the
    freeze that a new device could still follow is not yet an ending of the method: observation stops there.
    """
    end = spells["_day"] + spells["ending_day"]
    following = spells.groupby("patient_ref", sort=False)["_day"].shift(-1)
    goes_on = ((following - end) <= gap_days) & (spells["ending"] != "death")
    # A woman's last spell has none following, so it never goes on into the next woman's first.
    starts = ~goes_on.shift(fill_value=False)
    last = spells.index.to_series().groupby(starts.cumsum()).transform("last")
    heads = (starts & (spells["placement_kind"] == "first")).to_numpy()
    final = spells.loc[last].set_axis(spells.index)
    later = final["_day"] - spells["_day"]
    still_open = final["days_to_data_to"] - final["ending_day"] <= gap_days
    still_open &= final["ending"] != "death"
    ending = final["ending"].astype(object).mask(still_open, "none")
    return spells.assign(
        method_ending=codes_of(ending.where(heads).to_numpy(dtype=object), ENDINGS),
        **{
            f"method_exit_day_{rule}": (final[f"exit_day_{rule}"] + later).where(heads)
            for rule in ("last_known", "assumed_in_place")
        },
    )
