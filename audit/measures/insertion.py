"""Failed insertions: how often, in whom and why.

Three figures, never mixed. *Per operator attempt* is the clinician's: a take-over is a failure of one and a
new attempt of the other. *Per visit* is the service's headline: did the woman leave with a device. *Per woman
within 90 days* looks at mature episodes: did she have one in the end. A published figure is compared with the
one that matches its unit.
"""

import pandas as pd

from audit.statistics.contrasts import CONTRAST_COLUMNS, trend_columns, two_group_columns
from audit.statistics.summaries import with_proportions, with_rates
from audit.tallies import OVERALL, count_outcomes, counts, tally_outcomes

UNITS = {
    "operator_attempt": ("outcome", "failed", "placed"),
    "visit": ("visit_outcome", "failed", "placed"),
    "woman_first_attempt": ("first_visit_outcome", "failed", "placed"),
    "woman_90_days": ("episode_outcome", "not_placed", "placed"),
}

# How a woman came to have a device, or not.
WAYS = ("first_visit", "later", "not_fitted")

# Column, group of interest, group it is compared with.
CONTRASTS = (
    ("cervical_parity", "no", "yes"),
    ("parous", "no", "yes"),
)
# The groups of a site or a quarter that are put together as the reference.
OTHERS, EARLIER = "all_others", "all_earlier"
TREND = ("births_group", ("0", "1", "2", "3_plus"))


def failed_insertions(
    attempts: pd.DataFrame, *, by: str = OVERALL, unit: str = "visit", recorded_floor: float = 0.8
) -> pd.DataFrame:
    """Failed insertions as a proportion of insertions begun, per stratum.

    Population: insertions in which an instrument passed the external os or a tenaculum was applied. Deferrals
    are counted apart. Denominator: those whose outcome is known. Unknown: counted in ``n_unknown``, never as
    success.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`, or a tally of it.
    by
        ``overall`` or a column of that table, such as ``cervical_parity``.
    unit
        ``operator_attempt``, ``visit``, ``woman_90_days``, or ``woman_first_attempt``: each woman's first visit
        only, which some papers count.
    recorded_floor
        Where a smaller share is known, only the bounds are to be used, and the caution says so.

    Returns
    -------
    DataFrame
        ``by, stratum, unit, events, n, n_unknown, n_deferred, n_not_yet_due`` (counts), ``proportion`` and
        limits (0-1), ``method``, ``caution``. Overall, an empty table gives one row of zeros.

    Raises
    ------
    ValueError
        The unit is none of these.

    Examples
    --------
    >>> import pandas as pd
    >>> tally = pd.DataFrame({"visit_outcome": ["placed", "failed", "deferred"], "n": [609, 31, 22]})
    >>> failed_insertions(tally)[["events", "n", "n_deferred"]].values.tolist()
    [[31, 640, 22]]
    """
    if unit not in UNITS:
        raise ValueError(f"unit must be one of {', '.join(UNITS)}, got {unit!r}")
    column, failed, placed = UNITS[unit]
    counted = attempts[attempts[column].notna()]
    table = count_outcomes(
        tally_outcomes(counted, outcome=column, by=by),
        events=(failed,),
        others=(placed,),
        apart=("deferred", "not_yet_due"),
        by=by,
    )
    table.insert(2, "unit", unit)
    return with_proportions(table, recorded_floor=recorded_floor)


def failure_reasons(attempts: pd.DataFrame) -> pd.DataFrame:
    """Why attempts failed: each reason as a share of failed attempts.

    Population and denominator: operator attempts that failed, stopped on request included; a reason that is
    not recorded is a row of its own.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.

    Returns
    -------
    DataFrame
        ``by, stratum, cause`` (reason), ``events, n, n_unknown, proportion`` and limits (0-1), ``method``,
        ``caution``; most frequent first, then by name. No failed attempt gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"outcome": ["failed"] * 3, "failure_reason": ["pain", "pain", None]})
    >>> failure_reasons(rows)[["cause", "events", "n"]].values.tolist()
    [['pain', 2, 3], ['unknown', 1, 3]]
    """
    failed = attempts[attempts["outcome"] == "failed"]
    reasons = tally_outcomes(failed, outcome="failure_reason", by=OVERALL)
    table = reasons.rename(columns={"outcome": "cause", "n": "events"})
    table = table.sort_values(["events", "cause"], ascending=[False, True], ignore_index=True)
    table = table.assign(by=OVERALL, n=table["events"].sum(), n_unknown=0)
    return with_proportions(table[["by", "stratum", "cause", "events", "n", "n_unknown"]])


def first_pass_success(
    attempts: pd.DataFrame, *, by: str = OVERALL, recorded_floor: float = 0.8
) -> pd.DataFrame:
    """Attempts that placed the device with a single pass, as a proportion of attempts.

    Population: operator attempts with a known outcome. A failed attempt is no success, whatever its passes.
    Unknown: placed, but the number of passes not recorded.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``practice``.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, events, n, n_unknown, proportion`` and limits (0-1), ``method, caution``. Overall, an
        empty table gives one row of zeros.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"outcome": ["placed", "placed", "failed", "placed"],
    ...     "attempts_same_visit": [1, 2, None, None]})
    >>> first_pass_success(rows)[["events", "n", "n_unknown"]].values.tolist()
    [[1, 3, 1]]
    """
    known = attempts[attempts["outcome"].isin(["placed", "failed"])]
    placed = known["outcome"] == "placed"
    single = (known["attempts_same_visit"] == 1).astype("boolean")
    told = known["attempts_same_visit"].notna() | ~placed
    counted = known.assign(first_pass=(single & placed).where(told))
    tally = tally_outcomes(counted, outcome="first_pass", by=by)
    table = count_outcomes(tally, events=("yes",), others=("no",), by=by)
    return with_proportions(table, recorded_floor=recorded_floor)


def fitted_in_the_end(
    attempts: pd.DataFrame, *, by: str = OVERALL, recorded_floor: float = 0.8
) -> pd.DataFrame:
    """How women came to have a device: at the first visit, later within 90 days, or not in that time.

    Population: women whose first attempt lies at least 90 days before the freeze; one who comes for another device
    later counts again. Denominator: those of whom the first visit and the 90 days are known. Unknown: counted in
    ``n_unknown``. The three parts add up to the denominator.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`, or a tally of it.
    by
        ``overall`` or a column of that table, such as ``site_ref``.
    recorded_floor
        Smallest share known at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, definition`` (``first_visit``, ``later``, ``not_fitted``), ``events, n, n_unknown,
        n_not_yet_due, proportion`` and limits (0-1), ``method, caution``. Overall, an empty table gives three rows
        of zeros.

    Examples
    --------
    >>> import pandas as pd
    >>> tally = pd.DataFrame({"visit_outcome": ["placed", "failed", "failed"],
    ...     "episode_outcome": ["placed", "placed", "not_placed"], "n": [90, 6, 4]})
    >>> fitted_in_the_end(tally)[["definition", "events", "n"]].values.tolist()
    [['first_visit', 90, 100], ['later', 6, 100], ['not_fitted', 4, 100]]
    """
    needed = ("visit_outcome", "episode_outcome", by, "n")
    slim = attempts[[name for name in dict.fromkeys(needed) if name in attempts]]
    women = slim[slim["episode_outcome"].notna()]
    at_first, at_last = (women[name].astype(object) for name in ("visit_outcome", "episode_outcome"))
    way = at_last.map({"not_placed": "not_fitted", "not_yet_due": "not_yet_due"}).fillna("unknown")
    way = way.mask((at_last == "placed") & (at_first == "placed"), "first_visit")
    way = way.mask((at_last == "placed") & (at_first == "failed"), "later")
    tally = tally_outcomes(women.assign(way=way), outcome="way", by=by)
    tables = []
    for name in WAYS:
        others = [other for other in WAYS if other != name]
        table = count_outcomes(tally, events=(name,), others=others, apart=("not_yet_due",), by=by)
        table.insert(2, "definition", name)
        tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True), recorded_floor=recorded_floor)


def failed_insertion_contrasts(failed: pd.DataFrame) -> pd.DataFrame:
    """Failed insertions compared: without and with a (vaginal) birth, over births, by site and over time.

    Each site is compared with all the others together, and the last quarter with all the earlier ones; births
    and quarters also have a trend. Several comparisons are made, so one small ``p_value`` may be chance.

    Parameters
    ----------
    failed
        Rows of `failed_insertions` in one unit, for ``cervical_parity, parous, births_group, site_ref`` or
        ``quarter``; strata that are not recorded are left out.

    Returns
    -------
    DataFrame
        One row per comparison: ``by, group, reference``, then the columns of
        `audit.statistics.contrasts.two_group_columns`. For a trend the group is ``trend``, the reference its
        direction, and ``chi_square`` and ``p_value`` are Cochran-Armitage's. Groups without a known outcome are
        not compared; nothing to compare gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> failed = pd.DataFrame(
    ...     {"by": "cervical_parity", "stratum": ["no", "yes"], "events": [9, 4], "n": [120, 280]})
    >>> failed_insertion_contrasts(failed)["ratio"].round(2).tolist()
    [5.25]
    """
    known = failed[~failed["stratum"].isin(["unknown", "not recorded"])]
    rows: list[dict[str, object]] = []
    for by, group, reference in CONTRASTS:
        own = known[known["by"] == by]
        rows.append(
            _compared(by, group, own, own["stratum"] == group, reference, own["stratum"] == reference)
        )
    rows.extend(_by_site(known[known["by"] == "site_ref"]))
    births = known[known["by"] == TREND[0]].set_index("stratum")
    births = births.reindex([name for name in TREND[1] if name in births.index])
    rows.append(_trend(births, [TREND[1].index(name) for name in births.index]))
    rows.extend(_by_quarter(known[known["by"] == "quarter"].sort_values("stratum")))
    return pd.DataFrame([row for row in rows if row], columns=["by", "group", "reference", *CONTRAST_COLUMNS])


def _by_site(sites: pd.DataFrame) -> list[dict[str, object]]:
    """Each site against all the others together."""
    return [
        _compared("site_ref", str(site), sites, sites["stratum"] == site, OTHERS, sites["stratum"] != site)
        for site in sites["stratum"]
    ]


def _by_quarter(quarters: pd.DataFrame) -> list[dict[str, object]]:
    """The last quarter against all the earlier ones, and the trend."""
    if quarters.empty:
        return []
    last = quarters["stratum"].max()
    return [
        _compared(
            "quarter", str(last), quarters, quarters["stratum"] == last, EARLIER, quarters["stratum"] != last
        ),
        _trend(quarters, list(range(len(quarters)))),
    ]


def _compared(
    by: str, group: str, rows: pd.DataFrame, own: pd.Series, reference: str, others: pd.Series
) -> dict[str, object]:
    """One group against another; empty where either has nothing to count."""
    one, two = rows.loc[own, ["events", "n"]].sum(), rows.loc[others, ["events", "n"]].sum()
    compared = two_group_columns(int(one["events"]), int(one["n"]), int(two["events"]), int(two["n"]))
    return {"by": by, "group": group, "reference": reference, **compared} if compared else {}


def _trend(groups: pd.DataFrame, scores: list[int]) -> dict[str, object]:
    """The trend over ordered groups; empty where there is no group."""
    if groups.empty:
        return {}
    columns, direction = trend_columns(groups["events"], groups["n"], scores)
    by = str(groups["by"].iloc[0])
    return {"by": by, "group": "trend", "reference": direction, **columns, "method": "Cochran-Armitage trend"}


def devices_wasted(attempts: pd.DataFrame, *, by: str = OVERALL) -> pd.DataFrame:
    """Devices opened and not left in place, per device opened.

    Population: operator attempts with a known outcome. Denominator: devices opened, which are those placed and
    those wasted. Unknown: attempts with no count of wasted devices; one placed at a single pass wasted none.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``device_family``.

    Returns
    -------
    DataFrame
        ``by, stratum, events`` (wasted), ``n`` (opened), ``n_unknown`` (attempts), ``rate`` per device opened
        and exact Poisson limits ``ci_lower, ci_upper``, ``method, caution``. Overall, an empty table gives one
        row of zeros.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"outcome": ["placed", "failed", "placed", "placed"],
    ...     "attempts_same_visit": [None, None, 1, None], "device_wasted_count": [1.0, 2.0, None, None]})
    >>> devices_wasted(rows)[["events", "n", "n_unknown"]].values.tolist()
    [[3, 5, 1]]
    """
    known = attempts[attempts["outcome"].isin(["placed", "failed"])]
    placed = known["outcome"] == "placed"
    at_once = placed & (known["attempts_same_visit"] == 1)
    wasted = (
        known["device_wasted_count"].astype("float64").mask(at_once & known["device_wasted_count"].isna(), 0)
    )
    told = known.assign(counted=wasted.notna().astype("boolean"))
    table = count_outcomes(tally_outcomes(told, outcome="counted", by=by), events=("yes",), others=(), by=by)
    number = counts(known)
    stratum = pd.Series(OVERALL, index=known.index) if by == OVERALL else known[by].astype(object)
    stratum = stratum.fillna("not recorded").astype(str)
    lost = wasted.fillna(0).mul(number).groupby(stratum).sum()
    kept = number.where(placed & wasted.notna(), 0).groupby(stratum).sum()
    opened = table["stratum"].map(lost.add(kept)).fillna(0).astype("int64")
    table = table.assign(events=table["stratum"].map(lost).fillna(0).astype("int64"), n=opened)
    return with_rates(table, exposure="n")
