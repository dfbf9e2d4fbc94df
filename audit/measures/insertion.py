"""Failed insertions: how often, in whom and why.

Three figures, never mixed. *Per operator attempt* is the clinician's: a take-over is a failure of one and a
new attempt of the other. *Per visit* is the service's headline: did the woman leave with a device. *Per woman
within 90 days* looks at mature episodes: did she have one in the end. A published figure is compared with the
one that matches its unit.
"""

import pandas as pd

from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, tally_outcomes

UNITS = {
    "operator_attempt": ("outcome", "failed", "placed"),
    "visit": ("visit_outcome", "failed", "placed"),
    "woman_first_attempt": ("first_visit_outcome", "failed", "placed"),
    "woman_90_days": ("episode_outcome", "not_placed", "placed"),
}


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
