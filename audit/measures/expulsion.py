"""Expulsion: how many devices come out by themselves, wholly or in part, and by when.

Two numbers that are not the same stand side by side. The *cumulative incidence* is a woman's chance, other
endings allowed for. *One minus Kaplan-Meier* is what papers mostly print: the chance if nothing else could end
the spell. Interval placements lead; placements soon after a birth or an abortion stand apart and are never
pooled with them.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import incidence_table
from audit.tallies import OVERALL

# Two ways of looking: either kind together, and each kind apart.
_VIEWS = (
    {"expulsion": ("expulsion_complete", "expulsion_partial")},
    {"expulsion_complete": ("expulsion_complete",), "expulsion_partial": ("expulsion_partial",)},
)


def expulsion_incidence(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    horizons: Sequence[float] = (42, 91, 182, 365, 730, 1095),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Cumulative incidence of expulsion, complete, partial and both, by days since placement.

    Population: placements of one kind. Event: complete expulsion, or partial (any part in the cervical canal),
    dated when found. Competing: removal, pregnancy, perforation, unrecorded endings, death. Unknown: both
    censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, or a tally of it.
    by
        ``overall`` or a column of that table, such as ``timing_group`` or ``parity_group``.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    horizons
        Days to read besides the days with an expulsion.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, cause`` (``expulsion``, ``expulsion_complete``,
        ``expulsion_partial``), ``days, at_risk, events, cumulative_events``, ``survival`` (no ending of any
        kind), ``incidence, standard_error, ci_lower, ci_upper`` and ``one_minus_km, km_lower, km_upper`` (0-1),
        ``method, caution``. No placement gives no rows.
    """
    tables = [
        incidence_table(
            placements,
            view,
            by=by,
            placement_kind=placement_kind,
            horizons=horizons,
            at_risk_floor=at_risk_floor,
        )
        for view in _VIEWS
    ]
    return pd.concat(tables, ignore_index=True)
