"""Removal visits: how hard it was to take the device out, and how long she waited for it.

Both are counted over visits, devices placed elsewhere included: she waits and hurts all the same. A long
continuation is no good figure where a removal is hard to obtain.
"""

import pandas as pd

from audit.schema.derived import REQUESTED_REASONS
from audit.schema.visits import VISITS
from audit.statistics.quantiles import quantiles_by_group
from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, tally_outcomes, tally_values

_REMOVALS = ("removal", "removal_and_replacement")
_NOT_SEEN = ("not_reached", "declined", "moved_away", "died")
_EASE = tuple(code for code in VISITS["removal_difficult"].codes if code != "unknown")
_DIFFICULT = tuple(code for code in _EASE if code != "no")


def difficult_removal(follow_ups: pd.DataFrame, *, by: str = OVERALL) -> pd.DataFrame:
    """Removals that were difficult, of those attempted, and in which way.

    Population: removal visits at which she was seen, and other contacts that record how a removal went. Event: any
    difficulty, then each one. Unknown: removals at which it is not recorded; never "no".

    Parameters
    ----------
    follow_ups
        The table `audit.schema.derived.FOLLOW_UPS`.
    by
        ``overall`` or a column of that table, such as ``site_ref``.

    Returns
    -------
    DataFrame
        ``by, stratum, definition`` (``difficult``, then each code of ``removal_difficult`` but ``no``),
        ``events, n, n_unknown, proportion`` and limits (0-1), ``method, caution``.
    """
    tried = _attempted(follow_ups)
    tally = tally_outcomes(tried, outcome="removal_difficult", by=by)
    tables = []
    for definition in ("difficult", *_DIFFICULT):
        events = _DIFFICULT if definition == "difficult" else (definition,)
        others = [code for code in _EASE if code not in events]
        table = count_outcomes(tally, events=events, others=others, by=by)
        table.insert(2, "definition", definition)
        tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True))


def removal_on_request(
    follow_ups: pd.DataFrame,
    *,
    by: str = OVERALL,
    limit_days: float = 14,
    median: float = 0.5,
    centile: float = 0.9,
) -> pd.DataFrame:
    """Removals done within the local limit after she asked, and how long women waited.

    Population: removals here for a reason of hers, and others for which a wait is recorded. Event: at most
    `limit_days` from request to removal. Unknown: no wait recorded. Women who asked and had no removal are not in a
    log of visits, so the truth is worse than this.

    Parameters
    ----------
    follow_ups, by
        As in `difficult_removal`.
    limit_days
        The local limit in days (common practice, no source).
    median, centile
        The quantiles of the wait, between 0 and 1.

    Returns
    -------
    DataFrame
        ``by, stratum, events, n, n_unknown``, ``median, median_lower, median_upper, centile, centile_lower,
        centile_upper`` (days, limits by order statistics; infinite where too few bound nothing, nan where nothing
        is recorded), ``proportion`` and limits (0-1), ``method, caution``.
    """
    tried = _attempted(follow_ups)
    asked = tried[tried["removal_reason_main"].isin(REQUESTED_REASONS) | tried["removal_delay_days"].notna()]
    wait = asked["removal_delay_days"].astype("float64")
    in_time = (wait <= limit_days).astype("boolean").where(wait.notna())
    tally = tally_outcomes(asked.assign(in_time=in_time), outcome="in_time", by=by)
    table = count_outcomes(tally, events=("yes",), others=("no",), by=by)
    waits = tally_values(asked, value="removal_delay_days", by=by).rename(columns={"stratum": "group"})
    quantiles = quantiles_by_group(waits, probabilities={"median": median, "centile": centile})
    named = quantiles.drop(columns="n").rename(columns={"group": "stratum"})
    return with_proportions(table.merge(named, on="stratum", how="left"))


def _attempted(follow_ups: pd.DataFrame) -> pd.DataFrame:
    """Contacts at which a removal was tried."""
    at_visit = follow_ups["visit_kind"].isin(_REMOVALS) & ~follow_ups["contact_result"].isin(_NOT_SEEN)
    return follow_ups[at_visit | follow_ups["removal_difficult"].isin(_EASE)]
