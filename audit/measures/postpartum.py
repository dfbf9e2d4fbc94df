"""After a birth: expulsion and perforation in one view, since one falls with time while the other lingers.

Bands of time since the birth stand apart: placements soon after a birth are never pooled with the others.
Perforations are set against those that published rates would have given the same women.
"""

import pandas as pd

from audit.curves import at_horizons, incidence_table
from audit.statistics.expected import indirect_expected, observed_expected
from audit.tallies import ALL_KINDS, counts, of_kind

_BAND = "postpartum_band"
_GROUP = "perforation_group"
TOGETHER = "all_with_a_published_rate"
_FIGURES = ["events", "n", "estimate", "ci_lower", "ci_upper", "method", "caution"]


def postpartum_balance(
    placements: pd.DataFrame,
    perforations: pd.DataFrame,
    *,
    placement_kind: str = "first",
    horizons: tuple[float, ...] = (182, 365),
    at_risk_floor: int = 10,
) -> pd.DataFrame:
    """Expulsion and perforation side by side, by time since the latest birth.

    Population: for expulsion, placements of one kind under either censoring rule; for perforation, attempts with a
    known outcome. Strata: the bands of `audit.schema.derived.POSTPARTUM_BANDS`, abortions apart; no row puts them
    together. Unknown: the band ``unknown``.

    Parameters
    ----------
    placements
        The table `audit.schema.derived.PLACEMENTS`.
    perforations
        `perforation` by ``postpartum_band``, over the whole log.
    placement_kind
        ``first``, ``replacement``, ``repeat`` or ``all``.
    horizons
        Days at which expulsion is read.
    at_risk_floor
        Below this many at risk a row carries a caution.

    Returns
    -------
    DataFrame
        ``by, stratum, outcome`` (``expulsion``, ``perforation``), ``censoring, days`` (blank and nan for
        perforation, which is counted whenever it was found), ``events, n`` (placements, or attempts), ``estimate``
        (cumulative incidence, or proportion; 0-1) with ``ci_lower, ci_upper`` (log(-log), or exact), ``method,
        caution``. No placement and no attempt give no rows.
    """
    own = of_kind(placements, placement_kind)
    placed = counts(own).groupby(own[_BAND].astype(str)).sum()
    table = at_horizons(
        incidence_table(
            own,
            {"expulsion": ("expulsion_complete", "expulsion_partial")},
            by=_BAND,
            placement_kind=ALL_KINDS,
            horizons=horizons,
            at_risk_floor=at_risk_floor,
        ),
        horizons,
    )
    expelled = table.assign(
        outcome="expulsion",
        events=table["cumulative_events"],
        n=table["stratum"].map(placed),
        estimate=table["incidence"],
    )
    found = perforations[(perforations["by"] == _BAND) & (perforations["definition"] == "confirmed")]
    perforated = found.assign(
        outcome="perforation",
        censoring="",
        days=float("nan"),
        estimate=found["proportion"],
        ci_lower=found["exact_lower"],
        ci_upper=found["exact_upper"],
        method="exact (Clopper-Pearson) 95% limits",
    )
    columns = ["by", "stratum", "outcome", "censoring", "days", *_FIGURES]
    both = [part[columns] for part in (expelled, perforated) if len(part)]
    return pd.concat(both, ignore_index=True) if both else expelled[columns]


def perforation_expected(perforations: pd.DataFrame, published: pd.DataFrame) -> pd.DataFrame:
    """Confirmed perforations against those expected at published rates, by breastfeeding and time since a birth.

    Population: attempts with a known outcome. Groups without a published rate (no birth, not known) are shown and
    take no part in the whole. Unknown: attempts at which neither yes nor no is recorded are not in it.

    Parameters
    ----------
    perforations
        `perforation` by ``perforation_group``, in any windows (column ``window``).
    published
        ``stratum, rate`` (0-1), ``benchmark, citation``: one row per group with a published rate.

    Returns
    -------
    DataFrame
        ``by, stratum`` (a group, or ``all_with_a_published_rate``), ``window, events, n, n_unknown, published_rate,
        expected, ratio, ratio_lower, ratio_upper`` (observed/expected, exact Poisson; nan without a rate),
        ``benchmark, citation, method, caution``. No attempts give no rows.
    """
    own = perforations[(perforations["by"] == _GROUP) & (perforations["definition"] == "confirmed")]
    table = own[["by", "stratum", "window", "events", "n", "n_unknown"]].merge(
        published.rename(columns={"rate": "published_rate"}), on="stratum", how="left"
    )
    rated = table["published_rate"].notna()
    table["expected"] = [
        float(indirect_expected([rate], [n])) if known else float("nan")
        for rate, n, known in zip(table["published_rate"], table["n"], rated, strict=True)
    ]
    summed = table[rated].groupby("window", sort=False)[["events", "n", "n_unknown", "expected"]].sum()
    whole = summed.reset_index().assign(by=_GROUP, stratum=TOGETHER)
    parts = [part for part in (whole, table) if len(part)] or [table]
    table = pd.concat(parts, ignore_index=True).astype(
        {"events": "int64", "n": "int64", "n_unknown": "int64"}
    )
    ratio = observed_expected(table["events"], table["expected"].fillna(0.0))
    no_rate = table["expected"].isna()
    front = ["by", "stratum", "window"]
    table = table[[*front, *(name for name in table.columns if name not in front)]]
    return table.assign(
        ratio=ratio.value,
        ratio_lower=ratio.ci_lower,
        ratio_upper=ratio.ci_upper,
        method="observed/expected, exact Poisson 95% limits, expected taken as known",
        caution=no_rate.map(
            {
                True: "No published rate for this group: it is left out of the whole.",
                False: "Published within 12 months; ours whenever found, and the latest not yet a year old.",
            }
        ),
        **{name: table.get(name, pd.Series(dtype=object)).fillna("") for name in ("benchmark", "citation")},
    )
