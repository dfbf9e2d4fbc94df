"""Removal: how many devices are taken out, why and by when.

Described, not judged: a removal that a woman asks for is the service doing its job. A replacement at once ends
the device, not the method, and is a cause of its own unless the notes give another reason.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import incidence_table
from audit.schema.derived import ENDINGS, REMOVAL_GROUPS
from audit.tallies import OVERALL

_REASONS = {group: (f"removal_{group}",) for group in REMOVAL_GROUPS}
_DETAILED = (
    *(name for name in ENDINGS if name != "removal"),
    *(f"removal_{group}" for group in REMOVAL_GROUPS),
)


def removal_incidence(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (42, 91, 182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of removal, any and by group of reasons, by days since placement.

    Population: placements of one kind. Event: removal whose reason is not partial expulsion, pregnancy or
    perforation, which are endings of their own. Competing: every other ending, and for one reason the other
    reasons. Unknown: both censoring rules, row by row; a reason not recorded is a group of its own.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    by
        ``overall`` or a column of that table, such as ``device_class``.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    horizons
        Days to read besides the days with a removal.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, with ``cause`` ``removal`` (any reason) or a group of
        `audit.schema.derived.REMOVAL_GROUPS`.
    """
    detailed = placements.assign(ending_detail=_with_reason(placements))
    any_reason = incidence_table(
        placements,
        {"removal": ("removal",)},
        by=by,
        placement_kind=placement_kind,
        horizons=horizons,
        at_risk_floor=at_risk_floor,
    )
    by_reason = incidence_table(
        detailed,
        _seen(detailed),
        by=by,
        placement_kind=placement_kind,
        horizons=horizons,
        at_risk_floor=at_risk_floor,
        ending="ending_detail",
        endings=_DETAILED,
    )
    # With no removal there is no reason, and pandas warns of joining an empty table.
    return pd.concat([any_reason, by_reason], ignore_index=True) if len(by_reason) else any_reason


def ending_incidence(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (42, 91, 182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of every way a spell can end, which with those still in use make up the whole.

    Population and unknown: as `removal_incidence`.

    Parameters
    ----------
    placements, by, placement_kind, horizons, at_risk_floor
        As in `removal_incidence`.

    Returns
    -------
    DataFrame
        As `expulsion_incidence`, with ``cause`` ``expulsion``, ``removal``, ``pregnancy``, ``perforation``,
        ``unrecorded`` or ``death``. At any day their incidences and ``survival`` add up to 1.
    """
    causes = {
        "expulsion": ("expulsion_complete", "expulsion_partial"),
        **{name: (name,) for name in ("removal", "pregnancy", "perforation", "unrecorded", "death")},
    }
    return incidence_table(
        placements,
        causes,
        by=by,
        placement_kind=placement_kind,
        horizons=horizons,
        at_risk_floor=at_risk_floor,
    )


def _with_reason(placements: pd.DataFrame) -> pd.Series:
    """The ending, with the group of reasons where it is a removal."""
    ending = placements["ending"].astype(object)
    reason = "removal_" + placements["removal_group"].astype(object).fillna("unknown").astype(str)
    return ending.where(ending != "removal", reason)


def _seen(detailed: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """The groups of reasons that occur."""
    occurring = set(detailed["ending_detail"])
    return {group: codes for group, codes in _REASONS.items() if occurring.intersection(codes)}
