"""Pregnancy with a device: counted from conception, per woman-year in use (the Pearl index is per 100).

A pregnancy conceived before placement is a matter of excluding pregnancy, not a failure of the device. One
conceived after an expulsion that nobody noticed counts, though the spell had ended.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import rate_table
from audit.schema.derived import PREGNANCY_STATES
from audit.statistics.summaries import with_rates
from audit.tallies import OVERALL, counts, of_kind

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


def _per_stratum(table: pd.DataFrame, rows: pd.DataFrame, by: str) -> pd.Series:
    """How many placements the rows stand for, in the stratum of each row of the table."""
    if by == OVERALL:
        return pd.Series(int(counts(rows).sum()), index=table.index)
    per_group = counts(rows).groupby(rows[by].astype(str)).sum()
    return table["stratum"].map(per_group).fillna(0).astype("int64")
