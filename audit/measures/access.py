"""Access: how long women wait, deferrals, and emergency placements in time."""

import pandas as pd

from audit.statistics.quantiles import with_quantiles
from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, counts, tally_outcomes, tally_values


def emergency_placement_in_time(
    attempts: pd.DataFrame,
    *,
    hours: float = 120.0,
    days_after_ovulation: float = 5,
) -> pd.DataFrame:
    """Emergency attempts begun within the window, of all emergency attempts.

    Population: first attempts of the day for emergency contraception, begun. Event: within `hours` of the
    earliest unprotected intercourse, or within `days_after_ovulation` of the estimated ovulation (counted in
    ``n_by_ovulation``). Unknown: not in time as far as the log shows, and listed in ``n_not_shown``. Whether the
    device was placed is a line of its own.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    hours, days_after_ovulation
        The window.

    Returns
    -------
    DataFrame
        One row: ``by, stratum, events, n, n_unknown, n_by_ovulation, n_not_shown, n_placed, n_deferred,
        proportion`` and limits (0-1), ``method, caution``.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"indication": "emergency_contraception", "visit_outcome": "placed",
    ...     "ec_hours_since_upsi": [100, 150, None], "ec_days_after_ovulation": [None, 4, None], "ec_basis": None})
    >>> emergency_placement_in_time(rows)[["events", "n", "n_by_ovulation", "n_not_shown"]].values.tolist()
    [[2, 3, 1, 1]]
    """
    emergency = attempts[attempts["indication"] == "emergency_contraception"]
    begun = emergency[emergency["visit_outcome"].isin(["placed", "failed", "unknown"])]
    by_hours, by_ovulation = _in_time(begun, hours, days_after_ovulation)
    since = begun["ec_hours_since_upsi"]
    not_shown = ~by_hours & ~by_ovulation & since.isna() & (begun["ec_basis"] != "outside_window")
    number = counts(begun)
    table = pd.DataFrame(
        {
            "by": [OVERALL],
            "stratum": [OVERALL],
            "events": [int(number[by_hours | by_ovulation].sum())],
            "n": [int(number.sum())],
            "n_unknown": [0],
            "n_by_ovulation": [int(number[by_ovulation].sum())],
            "n_not_shown": [int(number[not_shown].sum())],
            "n_placed": [int(number[begun["visit_outcome"] == "placed"].sum())],
            "n_deferred": [int(counts(emergency)[emergency["visit_outcome"] == "deferred"].sum())],
        }
    )
    return with_proportions(table)


def emergency_not_in_time(
    attempts: pd.DataFrame, *, hours: float = 120.0, days_after_ovulation: float = 5
) -> pd.DataFrame:
    """The emergency attempts that were not in time as far as the log shows.

    Population: as in `emergency_placement_in_time`; those that it counts in ``n`` and not in ``events``.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`, of the window that is asked for.
    hours, days_after_ovulation
        The window of an emergency placement.

    Returns
    -------
    DataFrame
        ``figure`` (``emergency_placement_in_time``), ``site_ref, visit_ref, date``, by date; none, no rows.
    """
    emergency = attempts[attempts["indication"] == "emergency_contraception"]
    begun = emergency[emergency["visit_outcome"].isin(["placed", "failed", "unknown"])]
    by_hours, by_ovulation = _in_time(begun, hours, days_after_ovulation)
    late = begun[~by_hours & ~by_ovulation].rename(columns={"attempt_date": "date"})
    late = late.sort_values(["date", "site_ref", "visit_ref"], kind="stable")
    return late.assign(figure="emergency_placement_in_time")[["figure", "site_ref", "visit_ref", "date"]]


def _in_time(begun: pd.DataFrame, hours: float, days: float) -> tuple[pd.Series, pd.Series]:
    """Which attempts were in time by hours since intercourse, and which others by days since ovulation."""
    since = begun["ec_hours_since_upsi"].astype("float64")
    after = begun["ec_days_after_ovulation"].astype("float64")
    by_hours = (since <= hours) | (begun["ec_basis"] == "within_120h_of_intercourse")
    by_ovulation = ~by_hours & ((after <= days) | (begun["ec_basis"] == "within_5d_of_ovulation"))
    return by_hours, by_ovulation


def waiting_time(
    attempts: pd.DataFrame,
    *,
    by: str = OVERALL,
    median: float = 0.5,
    centile: float = 0.9,
    recorded_floor: float = 0.8,
) -> pd.DataFrame:
    """How many days women waited from asking for a device to the first attempt.

    Population: the first attempt of each need: a woman's first, one after a placement, or one later than the
    window of an episode. Women who never came are not in the log. Unknown: the day she asked not recorded, or
    recorded as after the attempt.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``timing_group``.
    median, centile
        The quantiles given, between 0 and 1.
    recorded_floor
        Where a smaller share is recorded, the caution says so.

    Returns
    -------
    DataFrame
        ``by, stratum, n, n_unknown``, ``median, median_lower, median_upper, centile, centile_lower,
        centile_upper`` (days; limits infinite where too few bound nothing), ``method, caution``. Overall, an
        empty table gives one row.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"episode_outcome": "placed", "days_waited": [7.0, 21.0, 14.0, None]})
    >>> waiting_time(rows)[["n", "n_unknown", "median"]].values.tolist()
    [[3.0, 1.0, 14.0]]
    """
    slim = attempts[[name for name in ("episode_outcome", "days_waited", by, "n") if name in attempts]]
    first = slim[slim["episode_outcome"].notna()]
    recorded = first.assign(recorded=first["days_waited"].notna().astype("boolean"))
    table = count_outcomes(
        tally_outcomes(recorded, outcome="recorded", by=by), events=("yes",), others=(), by=by
    )
    return with_quantiles(
        table.drop(columns="events"),
        tally_values(first, value="days_waited", by=by),
        probabilities={"median": median, "centile": centile},
        recorded_floor=recorded_floor,
    )
