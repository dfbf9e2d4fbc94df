"""Pregnancy with a device: counted from conception, per woman-year in use (the Pearl index is per 100).

A pregnancy conceived before placement is a matter of excluding pregnancy, not a failure of the device. One
conceived after an expulsion that nobody noticed counts, though the spell had ended.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import rate_table
from audit.schema.derived import PREGNANCY_STATES
from audit.statistics.summaries import with_proportions, with_rates
from audit.tallies import OVERALL, count_outcomes, counts, of_kind, tally_outcomes

_NOT_FOR_CONTRACEPTION = (
    "heavy_bleeding",
    "hrt_endometrial_protection",
    "dysmenorrhoea_or_endometriosis",
    "other",
)


def pregnancy(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "all",
    first_year_days: Sequence[float] = (365,),
) -> pd.DataFrame:
    """Pregnancies per woman-year of use, in the first year and in all, and how many were ectopic.

    Population: placements for contraception or emergency contraception, or whose reason is not recorded.
    Denominator: woman-years in use and under observation, under either censoring rule. Every placement counts, so
    that no pregnancy is missed; the limits take them as independent. Unknown: women not seen again add no
    woman-time under ``last_known``.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    by
        ``overall`` or a column of that table, such as ``device_class``.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    first_year_days
        End of the first year, in days.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, band`` (``0 to 365``, ``over 365``, ``all``), ``events``
        (endings by pregnancy), ``n_after_unnoticed_expulsion`` and ``n_ectopic`` (counts over all bands),
        ``person_years, rate, ci_lower, ci_upper`` (per 1 woman-year), ``method, caution``. In the band
        ``all`` events include the pregnancies after an unnoticed expulsion.
    """
    wanted = placements[~placements["indication"].isin(_NOT_FOR_CONTRACEPTION)]
    table = rate_table(
        wanted, {"pregnancy": ("pregnancy",)}, by=by, placement_kind=placement_kind, cuts=first_year_days
    )
    if table.empty:
        return table
    own = of_kind(wanted, placement_kind)
    pregnant = own[own["pregnancy"].isin(PREGNANCY_STATES) & (own["pregnancy"] != "none")]
    after = pregnant[pregnant["ending"] != "pregnancy"]
    ectopic = pregnant[pregnant["pregnancy"] == "ectopic"]
    table = table.assign(
        n_after_unnoticed_expulsion=_per_stratum(table, after, by),
        n_ectopic=_per_stratum(table, ectopic, by),
    )
    whole = table["band"] == "all"
    table["events"] = table["events"].add(table["n_after_unnoticed_expulsion"].where(whole, 0))
    return with_rates(table)


def ectopic_pregnancy(
    placements: pd.DataFrame, *, by: str = OVERALL, placement_kind: str = "all"
) -> pd.DataFrame:
    """Ectopic pregnancies per woman-year of use, and of how many pregnancies.

    Population and denominator: as `pregnancy`. Event: a pregnancy found outside the uterus, conceived with the
    device in place, partly or unnoticed out. Unknown: pregnancies whose place is not recorded, in
    ``n_place_unknown``.

    Parameters
    ----------
    placements, by, placement_kind
        As in `pregnancy`.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, events, n_pregnancies, n_place_unknown, person_years, rate,
        ci_lower, ci_upper`` (per 1 woman-year, exact), ``method, caution``. No placement gives no rows.
    """
    wanted = placements[~placements["indication"].isin(_NOT_FOR_CONTRACEPTION)]
    table = rate_table(wanted, {"pregnancy": ("pregnancy",)}, by=by, placement_kind=placement_kind, cuts=())
    table = table[table["band"] == "all"].drop(columns=["band", "cause"]).reset_index(drop=True)
    own = of_kind(wanted, placement_kind)
    pregnant = own[own["pregnancy"].isin(PREGNANCY_STATES) & (own["pregnancy"] != "none")]
    ectopic = pregnant[pregnant["pregnancy"] == "ectopic"]
    unplaced = pregnant[pregnant["pregnancy"] == "location_unknown"]
    table = table.assign(
        events=_per_stratum(table, ectopic, by),
        n_pregnancies=_per_stratum(table, pregnant, by),
        n_place_unknown=_per_stratum(table, unplaced, by),
    )
    return with_rates(table)


def pregnancy_after_emergency(
    placements: pd.DataFrame,
    follow_ups: pd.DataFrame,
    *,
    by: str = OVERALL,
    test_from_day: float = 21,
    cycle_days: float = 28,
) -> pd.DataFrame:
    """Pregnancies of the cycle in which a device was placed for emergency contraception.

    Population: emergency placements. Event: a pregnancy whose estimated conception lies before, or up to
    `cycle_days` after, the placement; without an estimate, one found by that day. Not an event: a contact on
    day `test_from_day` or later that records no pregnancy, or only one conceived later. Unknown: everyone else; a
    pregnancy found later without an estimated conception cannot be told.

    Parameters
    ----------
    placements, follow_ups
        Tables of `audit.schema.derived`.
    by
        ``overall`` or a column of placements.
    test_from_day
        First day on which a test can exclude it.
    cycle_days
        Days after the placement that still belong to its cycle (common practice, no source).

    Returns
    -------
    DataFrame
        ``by, stratum, events, n, n_unknown, proportion`` and limits (0-1; read the exact ones), ``method,
        caution``.
    """
    emergency = placements[placements["indication"] == "emergency_contraception"]
    own = follow_ups[follow_ups["placement"].isin(emergency["placement"])]
    pregnant = own["pregnancy"].isin(PREGNANCY_STATES) & (own["pregnancy"] != "none")
    day = own["conception_day"].fillna(own["day"])
    told = own["conception_day"].notna()
    happened = own.loc[pregnant & (day <= cycle_days), "placement"]
    excluded = (own["pregnancy"] == "none") & (own["day"] >= test_from_day)
    cleared = own.loc[excluded | (pregnant & told & (day > cycle_days)), "placement"]
    state = pd.Series("unknown", index=emergency.index, dtype=object)
    state = state.mask(emergency["placement"].isin(cleared), "no")
    state = state.mask(emergency["placement"].isin(happened), "yes")
    tally = tally_outcomes(emergency.assign(state=state), outcome="state", by=by)
    return with_proportions(count_outcomes(tally, events=("yes",), others=("no",), by=by))


def _per_stratum(table: pd.DataFrame, rows: pd.DataFrame, by: str) -> pd.Series:
    """How many placements the rows stand for, in the stratum of each row of the table."""
    if by == OVERALL:
        return pd.Series(int(counts(rows).sum()), index=table.index)
    per_group = counts(rows).groupby(rows[by].astype(str)).sum()
    return table["stratum"].map(per_group).fillna(0).astype("int64")
