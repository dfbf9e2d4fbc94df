"""How long and how completely women were followed, before anything is read off a curve.

The time a service could have followed is known for every placement: to the freeze, or to the ending. How much of
it was lived under its eyes says how far a curve rests on observation.
"""

import pandas as pd

from audit.statistics.completeness import completeness_index, reverse_kaplan_meier
from audit.statistics.curves import survival_quantile
from audit.tallies import OVERALL, counts, of_kind, tally_spells

_METHOD = "Clark's completeness index; median by reverse Kaplan-Meier, log(-log) 95% limits"
_COLUMNS = (
    *("by", "stratum", "placement_kind", "censoring", "n", "n_complete", "share_complete"),
    *("observed_days", "potential_days", "completeness", "median_days", "median_lower", "median_upper"),
    *("method", "caution"),
)


def follow_up_completeness(
    placements: pd.DataFrame, *, by: str = OVERALL, placement_kind: str = "first"
) -> pd.DataFrame:
    """How much of the time from placement to the freeze was observed, and the median time followed.

    Population: placements of one kind. Observed: to the ending, or to the last day the device was known in place
    (the rule ``last_known``; the other rule assumes what this table asks about). Possible: to the ending, or to the
    freeze. Unknown: nobody; a woman never seen again was followed for no day.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    by
        ``overall`` or a column of that table, such as ``site_ref``.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, n, n_complete`` (ended, or seen in place on the day of the
        freeze), ``share_complete`` (0-1), ``observed_days, potential_days`` (sums), ``completeness`` (the first
        over the second; nan where nothing could be observed), ``median_days, median_lower, median_upper`` (time
        followed, an ending hiding how long she would have been; nan where it cannot be told), ``method,
        caution``. No placement gives no rows.
    """
    own = of_kind(placements, placement_kind)
    strata = pd.Series(OVERALL, index=own.index) if by == OVERALL else own[by].astype(object)
    spells = dict(list(tally_spells(own, by=by, censoring="last_known").groupby("stratum")))
    rows = [
        {
            "by": by,
            "stratum": str(stratum),
            "placement_kind": placement_kind,
            "censoring": "last_known",
            **_followed(followed, spells[str(stratum)]),
            "method": _METHOD,
            "caution": "",
        }
        for stratum, followed in own.groupby(strata.fillna("not recorded"), sort=True)
    ]
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _followed(own: pd.DataFrame, spells: pd.DataFrame) -> dict[str, float]:
    """The figures of one group, from its placements and the tally of their spells."""
    exits, number = own["exit_day_last_known"].to_numpy("float64"), counts(own).to_numpy()
    ended = (own["ending"] != "none").astype("int64").to_numpy()
    # A contact or an ending on the very day of the freeze is all that there was to observe.
    possible = own["days_to_data_to"].clip(lower=own["exit_day_last_known"]).to_numpy("float64")
    found = completeness_index(exits, ended, possible, weights=number)
    curve = reverse_kaplan_meier(
        spells["exit_day"], (spells["ending"] != "none").astype("int64"), weights=spells["n"]
    )
    middle = survival_quantile(curve)
    return {
        "n": found.n,
        "n_complete": found.complete,
        "share_complete": found.share,
        "observed_days": found.observed_time,
        "potential_days": found.potential_time,
        "completeness": found.index,
        "median_days": float(middle.value),
        "median_lower": float(middle.ci_lower),
        "median_upper": float(middle.ci_upper),
    }
