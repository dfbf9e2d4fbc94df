"""Continuation: for how long devices stay in use.

Time zero is the placement; any ending of the device counts, a replacement included; death censors. There is no
target and no better or worse here: a long continuation is not good if removal is hard to obtain.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import (
    at_horizons,
    comparison_table,
    mean_difference_table,
    median_table,
    survival_table,
)
from audit.schema.derived import CENSORING_RULES, ENDINGS
from audit.tallies import OVERALL

# Every ending of the device but death, which censors.
_ENDED = tuple(name for name in ENDINGS if name not in ("none", "death"))
# Which is taken from which; neither is a standard for the other.
_PAIRS = (("copper", "hormonal"),)


def continuation_curve(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Proportion of devices still in use, by days since placement (Kaplan-Meier).

    Population: placements of one kind. Ending: expulsion, removal for any reason, replacement, pregnancy,
    perforation, or an unrecorded ending. Unknown: both censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, or a tally of it.
    by
        ``overall`` or a column of that table, such as ``device_class``.
    placement_kind
        ``first`` (each woman's first that is no replacement), ``replacement``, ``repeat`` or ``all``.
    horizons
        Days to read besides the days with an ending.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, days, at_risk, events, cumulative_events,
        cumulative_censored, survival, standard_error, ci_lower, ci_upper`` (0-1), ``method, caution``.
        No placement gives no rows.
    """
    return survival_table(
        placements,
        _ENDED,
        by=by,
        placement_kind=placement_kind,
        horizons=horizons,
        at_risk_floor=at_risk_floor,
    )


def continuation_summary(
    placements: pd.DataFrame, *, by: str = OVERALL, placement_kind: str = "first"
) -> pd.DataFrame:
    """Number of devices, endings and median time in use, with limits.

    Parameters
    ----------
    placements, by, placement_kind
        As in `continuation_curve`.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, n, events, median_days, median_lower, median_upper``; nan
        where half have not ended yet.
    """
    return median_table(placements, _ENDED, by=by, placement_kind=placement_kind)


def continuation_tests(
    placements: pd.DataFrame, *, by: str = "device_class", placement_kind: str = "first"
) -> pd.DataFrame:
    """Log-rank test that groups continue alike.

    Parameters
    ----------
    placements, by, placement_kind
        As in `continuation_curve`. Placements whose group is unknown are left out.

    Returns
    -------
    DataFrame
        ``by, placement_kind, censoring, statistic, degrees_of_freedom, p_value, groups, n, method``; nan where
        no test can be made. No placement gives no rows.
    """
    return comparison_table(placements, _ENDED, by=by, placement_kind=placement_kind)


def continuation_differences(
    placements: pd.DataFrame,
    *,
    horizon: float = 365,
    placement_kind: str = "first",
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Days in use in the first year with a copper less those with a hormonal device (restricted means).

    Population: placements of one kind. Ending: as in `continuation_curve`; death censors. Unknown: devices of
    unknown family are left out; both censoring rules, row by row. No direction is better: women choose a device
    for reasons that also bear on how long they keep it.

    Parameters
    ----------
    placements, placement_kind
        As in `continuation_curve`.
    horizon
        Days since placement up to which time in use is counted.
    at_risk_floor
        With fewer than this many observed to the horizon in a family a row carries a caution.

    Returns
    -------
    DataFrame
        ``by`` (``device_family``), ``group, reference, placement_kind, censoring, days`` (the horizon), ``events,
        n, at_risk, mean`` and the same of the reference with ``reference_`` before (means in days of `days`),
        ``difference, difference_lower, difference_upper`` (days), ``p_value, method, caution``. No row where a
        family has no placements.
    """
    return mean_difference_table(
        placements,
        _ENDED,
        by="device_family",
        pairs=_PAIRS,
        placement_kind=placement_kind,
        horizon=horizon,
        at_risk_floor=at_risk_floor,
    )


def method_continuation(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    horizons: Sequence[float] = (182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Proportion of women still using a device, whichever, by days since their first placement (Kaplan-Meier).

    Population: each woman's first placement that is no replacement. Ending: the end of a device that no new one
    follows within the gap the settings allow (30 days); death censors, and so does an ending so near the freeze
    that a new device could still follow. Unknown: both censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    by
        ``overall`` or a column of that table; it is the first device's.
    horizons
        Days to read.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        As `continuation_curve`, at the horizons only. No placement gives no rows.
    """
    rules = {f"exit_day_{rule}": f"method_exit_day_{rule}" for rule in CENSORING_RULES}
    spells = placements[placements["method_ending"].notna()]
    spells = spells.assign(
        ending=spells["method_ending"], **{name: spells[method] for name, method in rules.items()}
    )
    table = survival_table(
        spells, _ENDED, by=by, placement_kind="first", horizons=horizons, at_risk_floor=at_risk_floor
    )
    return at_horizons(table, horizons)
