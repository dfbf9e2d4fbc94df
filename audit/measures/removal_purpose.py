"""Removal by what it was for: bleeding or pain, hormonal effects, a plan that was met, and early at her request.

Described, not judged, as all removals are. A planned replacement at once ends the device and not the method: it
is an ending of its own here and competes.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import at_horizons, incidence_table
from audit.schema.derived import ENDINGS, REQUESTED_REASONS
from audit.tallies import OVERALL, stacked

_BLEEDING_OR_PAIN = ("bleeding", "pain")
_PLANNED = ("wish_pregnancy", "not_needed", "planned_end")


def removal_by_purpose(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (182, 365, 1095),
    early_days: float = 182,
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of removal for each of four purposes, at chosen days.

    Population: placements of one kind; for hormonal effects the hormonal devices alone. Event: ``bleeding_or_pain``
    (main or second reason); ``hormonal_effects`` (main); ``planned`` (wish for a pregnancy, no longer needed,
    menopause, end of the planned time); ``early_request`` (any reason of hers, read at `early_days`). Competing:
    every other ending, planned replacements included. Unknown: both censoring rules; a reason not recorded counts
    as none of these.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    by
        ``overall`` or a column of that table.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    horizons
        Days to read.
    early_days
        The day at which early removals at her request are read.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, at the horizons only, with the four purposes as ``cause``. No placement gives no
        rows.
    """
    removed = placements["ending"] == "removal"
    group, reason = placements["removal_group"], placements["removal_reason"]
    not_replaced = removed & (group != "replacement")
    sore = reason.isin(_BLEEDING_OR_PAIN) | placements["removal_reason_second"].isin(_BLEEDING_OR_PAIN)
    purposes = {
        "bleeding_or_pain": not_replaced & sore,
        "hormonal_effects": not_replaced & (reason == "hormonal_effects"),
        "planned": removed & group.isin(_PLANNED),
        "early_request": not_replaced & reason.isin(REQUESTED_REASONS),
    }
    tables = []
    for purpose, counts in purposes.items():
        days = (early_days,) if purpose == "early_request" else horizons
        own = placements.assign(ending_detail=placements["ending"].astype(object).mask(counts, purpose))
        if purpose == "hormonal_effects":
            own = own[own["device_family"] == "hormonal"]
        table = incidence_table(
            own,
            {purpose: (purpose,)},
            by=by,
            placement_kind=placement_kind,
            horizons=days,
            at_risk_floor=at_risk_floor,
            ending="ending_detail",
            endings=(*ENDINGS, purpose),
        )
        tables.append(at_horizons(table, days))
    return stacked(tables)
