"""Follow-up: who was checked when the check was due, and of how many the first year's outcome is known.

The second figure is the gate for everything that rests on time since placement: women with trouble come back, so
what is learned only from those who return is not what happened to all.
"""

from collections.abc import Mapping, Sequence

import pandas as pd

from audit.curves import at_horizons, incidence_table
from audit.schema.derived import ENDINGS
from audit.statistics.summaries import with_proportions
from audit.statistics.unknowns import share_of_unknowns_to_reach
from audit.tallies import OVERALL, count_outcomes, of_kind, stacked, tally_outcomes

_FIRST_YEAR = {"expulsion": ("expulsion_complete", "expulsion_partial"), "removal": ("removal",)}
# How far the known outcomes carry the page.
LEADS, AS_EQUALS, BOUNDS_ONLY, NOT_YET = "last_known_leads", "both_as_equals", "bounds_only", "not_yet_due"


def check_done(placements: pd.DataFrame, *, by: str = OVERALL, placement_kind: str = "all") -> pd.DataFrame:
    """Placements checked in the check-up window, of those whose window has closed.

    Population: placements whose window has closed by the freeze and whose device had not come out before it
    opened. Event: a contact in the window that shows where the device is. Unknown: none; a check that is not in
    the log was not done as far as the service knows.

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
        ``by, stratum, events, n, n_unknown, n_not_due, proportion`` and limits (0-1), ``method, caution``.
    """
    return _known_or_not(placements, "check_done", by, placement_kind)


def check_in_higher_risk(
    placements: pd.DataFrame,
    *,
    reasons: Sequence[str] = (
        "higher_risk",
        "breastfeeding",
        "under_9_months_postpartum",
        "difficult_insertion",
    ),
    placement_kind: str = "all",
) -> pd.DataFrame:
    """Placements checked in the check-up window, in women at higher risk and in the others.

    Population and event: as `check_done`. Higher risk: breastfeeding, within nine months of a birth, or a
    difficult insertion (firm or impassable resistance, or more than one pass). Unknown: none; where the risk is
    not recorded the stratum is ``not recorded``.

    Parameters
    ----------
    placements, placement_kind
        As in `check_done`.
    reasons
        The columns to stratify by: any reason, then each.

    Returns
    -------
    DataFrame
        As `check_done`, ``by`` each reason and ``stratum`` ``yes``, ``no`` or ``not recorded``.
    """
    tables = [_known_or_not(placements, "check_done", reason, placement_kind) for reason in reasons]
    return stacked(tables)


def outcome_known(
    placements: pd.DataFrame, *, by: str = OVERALL, placement_kind: str = "first"
) -> pd.DataFrame:
    """Placements of which the first year's outcome is known, of those old enough.

    Population: placements at least a year and 30 days before the freeze. Event: an ending of a known kind, or
    the device known in place late in the year. Moved away, declined and not reached count as not known.

    Parameters
    ----------
    placements, by, placement_kind
        As in `check_done`.

    Returns
    -------
    DataFrame
        As `check_done`.
    """
    return _known_or_not(placements, "outcome_known", by, placement_kind)


def first_year_endings(
    placements: pd.DataFrame, *, by: str = OVERALL, placement_kind: str = "first", year_days: float = 365
) -> pd.DataFrame:
    """What became of devices in their first year, with the bounds that the unknown outcomes leave.

    Population: placements at least a year and 30 days before the freeze. Event: ended in the first year by
    expulsion, by removal, or in any way. Unknown: the outcome of the year is not known; ``bound_lower`` takes
    that none of them ended so, ``bound_upper`` that all did.

    Parameters
    ----------
    placements, by, placement_kind
        As in `check_done`.
    year_days
        Length of the first year in days.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, cause`` (``expulsion``, ``removal``, ``any``), ``events, n`` (outcome
        known), ``n_unknown, proportion`` and limits (0-1, of those known: too high where trouble brings women
        back), ``bound_lower, bound_upper, method, caution``.
    """
    mature = of_kind(placements, placement_kind)
    mature = mature[mature["outcome_known"].notna()]
    within = mature["ending_day"] <= year_days
    told = mature["outcome_known"].astype(bool)
    causes = {**_FIRST_YEAR, "any": tuple(code for code in ENDINGS if code != "none")}
    tables = []
    for cause, endings in causes.items():
        ended = (within & mature["ending"].isin(endings)).astype("boolean")
        tally = tally_outcomes(mature.assign(ended=ended.where(told)), outcome="ended", by=by)
        table = count_outcomes(tally, events=("yes",), others=("no",), by=by)
        table.insert(2, "placement_kind", placement_kind)
        table.insert(3, "cause", cause)
        tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True))


def follow_up_bounds(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    year_days: float = 365,
    figures_to_reach: Mapping[str, float] | None = None,
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """What women lost to follow-up could change: the first year read in five ways, and a tipping point.

    Population: placements at least a year and 30 days before the freeze. Event: as `first_year_endings`. The
    readings: known only (those of whom the year is known), best (none of the unknown ended so), worst (all did),
    and the cumulative incidence under both censoring rules among these same placements.

    Parameters
    ----------
    placements, by, placement_kind, year_days
        As in `first_year_endings`.
    figures_to_reach
        Per cause, a proportion (0-1) of all that the unknown are asked to bring about.
    at_risk_floor
        Below this many at risk the reading by a curve carries a caution.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, cause`` (``expulsion``, ``removal``, ``any``), ``events, n, n_unknown,
        known_only`` with ``ci_lower, ci_upper`` (Wilson) and ``exact_lower, exact_upper``, ``best, worst``,
        ``last_known, assumed_in_place`` each with ``_lower`` and ``_upper`` (Aalen-Johansen, log(-log) limits),
        ``figure_to_reach`` and ``share_to_reach``: the share of the unknown that would have to have ended so (below
        0 exceeded already, above 1 out of reach; nan where no figure is set or nothing is unknown), ``method,
        caution``.
    """
    table = first_year_endings(placements, by=by, placement_kind=placement_kind, year_days=year_days)
    table = table.rename(columns={"proportion": "known_only", "bound_lower": "best", "bound_upper": "worst"})
    mature = placements[placements["outcome_known"].notna()]
    curves = at_horizons(_year_curves(mature, by, placement_kind, year_days, at_risk_floor), (year_days,))
    for rule, rows in curves.groupby("censoring", sort=False):
        named = rows.rename(
            columns={"incidence": rule, "ci_lower": f"{rule}_lower", "ci_upper": f"{rule}_upper"}
        )
        wanted = ["stratum", "cause", rule, f"{rule}_lower", f"{rule}_upper"]
        table = table.merge(named[wanted], on=["stratum", "cause"], how="left")
    figure = table["cause"].map(dict(figures_to_reach or {})).astype("float64")
    share = share_of_unknowns_to_reach(figure, table["events"], table["n"], table["n_unknown"])
    return table.reindex(columns=list(dict.fromkeys([*table.columns, *_BOTH_RULES]))).assign(
        figure_to_reach=figure, share_to_reach=share
    )


_BOTH_RULES = [
    f"{rule}{side}" for rule in ("last_known", "assumed_in_place") for side in ("", "_lower", "_upper")
]


def _year_curves(
    mature: pd.DataFrame, by: str, placement_kind: str, year_days: float, at_risk_floor: int
) -> pd.DataFrame:
    """Cumulative incidence of expulsion, removal and any ending among placements old enough."""
    any_ending = {"any": tuple(code for code in ENDINGS if code != "none")}
    tables = [
        incidence_table(
            mature,
            causes,
            by=by,
            placement_kind=placement_kind,
            horizons=(year_days,),
            at_risk_floor=at_risk_floor,
        )
        for causes in (_FIRST_YEAR, any_ending)
    ]
    return pd.concat(tables, ignore_index=True)


def follow_up_gate(known: pd.DataFrame, *, leads: float = 0.8, floor: float = 0.6) -> str:
    """What the share of known outcomes allows the page to say.

    Parameters
    ----------
    known
        The overall row of `outcome_known`.
    leads, floor
        From the first on, `last_known` leads; below the second, only bounds are shown (0-1).

    Returns
    -------
    str
        ``last_known_leads``, ``both_as_equals``, ``bounds_only``, or ``not_yet_due``.

    Examples
    --------
    >>> import pandas as pd
    >>> follow_up_gate(pd.DataFrame({"n": [50], "proportion": [0.66]}))
    'both_as_equals'
    """
    if known.empty or known["n"].iloc[0] == 0:
        return NOT_YET
    share = float(known["proportion"].iloc[0])
    if share >= leads:
        return LEADS
    return AS_EQUALS if share >= floor else BOUNDS_ONLY


def _known_or_not(placements: pd.DataFrame, column: str, by: str, placement_kind: str) -> pd.DataFrame:
    """A yes/no column over placements of one kind; missing means not yet due."""
    own = of_kind(placements, placement_kind)
    tally = tally_outcomes(own, outcome=column, by=by)
    table = count_outcomes(tally, events=("yes",), others=("no",), by=by)
    table = table.rename(columns={"n_unknown": "n_not_due"}).assign(n_unknown=0)
    table.insert(2, "placement_kind", placement_kind)
    return with_proportions(table)
