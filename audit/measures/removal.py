"""Removal: how many devices are taken out, why and by when.

Described, not judged: a removal that a woman asks for is the service doing its job. A replacement at once ends
the device, not the method, and is a cause of its own unless the notes give another reason.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import incidence_table
from audit.schema.derived import CENSORING_RULES, ENDINGS, REMOVAL_GROUPS
from audit.statistics.life_table_rates import life_table_rates as rates_of_life_tables
from audit.tallies import OVERALL, coded_spells, stacked

_REASONS = {group: (f"removal_{group}",) for group in REMOVAL_GROUPS}
_CAUSES = {
    "pregnancy": ("pregnancy",),
    "expulsion": ("expulsion_complete", "expulsion_partial"),
    "perforation": ("perforation",),
    **{codes[0]: codes for codes in _REASONS.values()},
    "unrecorded": ("unrecorded",),
    "death": ("death",),
}
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


def life_table_rates(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    months: Sequence[int] = (12, 24, 36),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Rates of every ending as older papers print them: actuarial, by months, with and without other causes.

    Population: placements of one kind. Causes: expulsion, pregnancy, perforation, removal by group of reasons,
    unrecorded endings and death. Unknown: both censoring rules, row by row; observation that ends counts for half
    of its month. The papers that follow Potter, Tietze and Lewit call ``cause_specific`` the *net* rate (what
    happened, all causes acting) and ``cause_deleted`` the *gross* rate (had there been no other cause); the
    theory of competing risks uses *net* for the second. Compare a paper's rate with the one that it means.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, or a tally of it by the columns read.
    by
        ``overall`` or a column of that table, such as ``device_family``.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    months
        When to read the tables.
    at_risk_floor
        With fewer exposed than this in the month before a reading the row carries a caution.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, cause, months, events`` (so far), ``at_start, exposed`` (in the
        month before), ``survival`` (in use), ``cause_specific, cause_deleted`` with ``_standard_error, _lower,
        _upper`` (0-1), ``method, caution``. Only causes that occur have rows; no ending at all gives none.

    References
    ----------
    Potter RG. Demography 1966;3:297-304. Tietze C, Lewit S. Stud Fam Plann 1973;4:35-42.
    """
    detailed = placements.assign(ending=_with_reason(placements))
    occurring = set(detailed["ending"])
    causes = {name: own for name, own in _CAUSES.items() if occurring.intersection(own)}
    numbers = {name: place for place, name in enumerate(causes, start=1)}
    codes = {code: numbers[name] for name, own in causes.items() for code in own}
    tables = []
    for rule in CENSORING_RULES:
        spells = coded_spells(detailed, by=by, censoring=rule, codes=codes, placement_kind=placement_kind)
        read = rates_of_life_tables(spells, causes=numbers, months=months, at_risk_floor=at_risk_floor)
        labels = {"by": by, "placement_kind": placement_kind, "censoring": rule}
        tables.append(read.rename(columns={"group": "stratum"}).assign(**labels))
    front = ["by", "stratum", "placement_kind", "censoring"]
    joined = stacked(tables)
    return joined[[*front, *(name for name in joined.columns if name not in front)]]


def _with_reason(placements: pd.DataFrame) -> pd.Series:
    """The ending, with the group of reasons where it is a removal."""
    ending = placements["ending"].astype(object)
    reason = "removal_" + placements["removal_group"].astype(object).fillna("unknown").astype(str)
    return ending.where(ending != "removal", reason)


def _seen(detailed: pd.DataFrame) -> dict[str, tuple[str, ...]]:
    """The groups of reasons that occur."""
    occurring = set(detailed["ending_detail"])
    return {group: codes for group, codes in _REASONS.items() if occurring.intersection(codes)}
