"""What a device's insertion and its later visits say of it that cannot both be right."""

import numpy as np
import pandas as pd

from audit.cohort.columns import Days, Mask, code, is_one_of
from audit.cohort.events import finding
from audit.cohort.placements import DAYS_PER_YEAR
from audit.schema.visits import VISITS

# A removal some months late is practice; more than a year late is more likely a wrong date (assumed).
_LATE_YEARS = 1.0
_LONGEST_YEARS = VISITS["device_licensed_years"].maximum
_NOT_SAID = ("other", "unknown")


def device_findings(spells: pd.DataFrame, rows: pd.DataFrame, place: Days) -> pd.DataFrame:
    """Devices of another class at a later visit, and ended long after the years allowed.

    `place` is the position in `spells` of each contact in `rows`, -1 for none.
    """
    found = {
        "other_device_class": rows[_other_class(spells, rows, place)],
        "kept_longer_than_allowed": rows.iloc[_late_endings(spells)],
    }
    return pd.concat(
        [
            finding(rule, told["source"].to_numpy(dtype="int64"), told["row"].to_numpy(dtype="int64"))
            for rule, told in found.items()
        ],
        ignore_index=True,
    )


def _other_class(spells: pd.DataFrame, rows: pd.DataFrame, place: Days) -> Mask:
    """Contacts that name another class of device than the insertion did."""
    told = code(rows, "device_class")
    # At a replacement the class is that of the new device.
    own = (place >= 0) & ~is_one_of(rows, "visit_kind", "removal_and_replacement")
    at = np.flatnonzero(own & told.notna().to_numpy() & ~told.isin(_NOT_SAID).to_numpy())
    placed = spells["device_class"].astype(object).iloc[place[at]]
    known = placed.notna() & ~placed.isin(_NOT_SAID)
    other: Mask = np.zeros(len(rows), dtype=np.bool_)
    other[at] = (known & (placed.to_numpy() != told.astype(object).to_numpy()[at])).to_numpy()
    return other


def _late_endings(spells: pd.DataFrame) -> Days:
    """The contacts that ended a device long after the years allowed; without such, after the longest licence."""
    allowed = spells["device_licensed_years"].fillna(_LONGEST_YEARS) + _LATE_YEARS
    contact = spells["contact"].fillna(-1)
    late = (spells["ending_day"] > allowed * DAYS_PER_YEAR) & (contact >= 0)
    positions: Days = contact[late].to_numpy(dtype="int64")
    return positions
