"""Rates per woman-year, split by time since placement, since most endings come early.

A single rate for all woman-time hides that hazards are highest in the first weeks: a quarter with many new
placements would look worse for that alone. So a period's endings are set against those its woman-time would have
had at the service's own earlier rates, band by band.
"""

from collections.abc import Sequence

import pandas as pd

from audit.curves import rate_table
from audit.statistics.expected import indirect_expected, observed_expected
from audit.tallies import OVERALL

CAUSES = {
    "expulsion": ("expulsion_complete", "expulsion_partial"),
    "removal": ("removal",),
    "pregnancy": ("pregnancy",),
    "perforation": ("perforation",),
}

_NOT_BEFORE = "Devices older than any before the period are left out: there is nothing to expect for them."


def person_time_rates(
    placements: pd.DataFrame,
    *,
    by: str = OVERALL,
    placement_kind: str = "first",
    bands: Sequence[float] = (42, 182, 365),
) -> pd.DataFrame:
    """Endings per woman-year, by cause and band of days since placement.

    Population: placements of one kind; for one period, what `observed_in_period` makes of them. Denominator:
    woman-years in use and under observation. Unknown: both censoring rules, row by row.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`, or its part in a period.
    by
        ``overall`` or a column of that table.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    bands
        Days at which a band ends.

    Returns
    -------
    DataFrame
        ``by, stratum, placement_kind, censoring, band`` (``all`` for the whole), ``events, person_years, rate,
        ci_lower, ci_upper`` (per 1 woman-year), ``method, caution, cause``. No placement gives no rows.
    """
    return rate_table(placements, CAUSES, by=by, placement_kind=placement_kind, cuts=bands)


def observed_against_earlier(period_rates: pd.DataFrame, earlier_rates: pd.DataFrame) -> pd.DataFrame:
    """A period's endings against those expected at the service's own earlier rates in each band.

    Parameters
    ----------
    period_rates, earlier_rates
        `person_time_rates` of the period, and of all the time before it.

    Returns
    -------
    DataFrame
        Per cause and censoring rule: ``by, stratum, placement_kind, censoring, cause, events, expected, ratio,
        ratio_lower, ratio_upper`` (exact Poisson, the expectation taken as known), ``method, caution``. Bands
        without woman-time before the period are left out of both sides, and the caution says so. Nothing
        earlier gives no rows.
    """
    keys = ["by", "stratum", "placement_kind", "censoring", "cause"]
    if period_rates.empty or earlier_rates.empty:
        figures = ["events", "expected", "ratio", "ratio_lower", "ratio_upper", "method", "caution"]
        return pd.DataFrame(columns=[*keys, *figures])
    both = period_rates.merge(
        earlier_rates[[*keys, "band", "rate"]], on=[*keys, "band"], suffixes=("", "_earlier")
    )
    rows = []
    for key, bands in both[both["band"] != "all"].groupby(keys, sort=False):
        # What was never observed cannot be expected, which is not the same as expecting none.
        alike = bands[bands["rate_earlier"].notna()]
        left_out = bands[bands["rate_earlier"].isna() & (bands["person_years"] > 0)]
        events = int(alike["events"].sum())
        expected = float(indirect_expected(alike["rate_earlier"], alike["person_years"]))
        ratio = observed_expected(events, expected)
        rows.append(
            {
                **dict(zip(keys, key, strict=True)),
                "events": events,
                "expected": expected,
                "ratio": float(ratio.value),
                "ratio_lower": float(ratio.ci_lower),
                "ratio_upper": float(ratio.ci_upper),
                "method": "observed/expected, exact Poisson 95% limits, expected taken as known",
                "caution": _NOT_BEFORE if len(left_out) else "",
            }
        )
    return pd.DataFrame(rows)
