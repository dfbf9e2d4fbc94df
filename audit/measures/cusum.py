"""Cumulative sums of failed insertions with a stated limit: is a learner ready, has a clinician's figure moved?

Two charts. The **learning** chart runs over all attempts of a clinician who has worked under supervision, in order,
and signals that failures are as rare as is acceptable; with its signal it ends. The **monitoring** chart runs over
the independent attempts of everybody, allows for the women, and signals that failures have become more frequent
than they explain; after a signal it begins again from 0 with the next attempt. A signal is a reason to look at
cases, or at a sign-off; it is never a finding about a person.
"""

from typing import Any

import numpy as np
import pandas as pd

from audit.schema.cusum_rules import CusumRules
from audit.settings import Thresholds
from audit.statistics.case_weights import (
    at_odds_ratio,
    cusum_weights,
    learning_weights,
    moved_to_level,
    odds_ratio_between,
)
from audit.statistics.cusum import STOP, cusum, kept_of_many, observed_minus_expected
from audit.statistics.run_lengths import (
    Increments,
    average_run_length,
    cusum_increments,
    learning_increments,
    limit_for,
    signal_probability,
)
from audit.statistics.summaries import share_of

LEARNING, MONITORING = "learning", "monitoring"
BY_SERVICE, SET_LOCALLY, BY_CHANCE = "service", "set", "chance_of_a_false_signal"
SIGNAL, NO_SIGNAL = "signal", "none"
NO_STANDARD = (
    "No local standard is set: acceptable is the service's own proportion. "
    "A signal is no ground for a sign-off."
)
_FEW_FAILURES = "The service's own proportion rests on few failures: {}."
_METHODS = {
    LEARNING: "LC-CUSUM, not adjusted for the women",
    MONITORING: "CUSUM adjusted for the women",
}
_BY = "clinician_ref"
_LIMITS = (
    *("chart", "acceptable", "unacceptable", "odds_ratio", "level", "events", "n", "limit", "limit_from"),
    *("false_signal", "within_attempts", "chance_if_false", "chance_if_true", "run_if_false", "run_if_true"),
    *("method", "caution"),
)
_KEPT = (
    *("by", "stratum", "attempt_number", "practice", "failed", "expected", "observed_minus_expected"),
    *("learning_cusum", "learning_signal", "monitoring_cusum", "monitoring_signal"),
)
_SIGNALS = (
    *("by", "stratum", "chart", "n", "signals", "first_signal", "latest_signal", "latest_signal_date"),
    *(
        "latest_visit_ref",
        "cusum",
        "highest",
        "limit",
        "state",
        "chance_if_false",
        "chance_if_true",
        "caution",
    ),
)

Row = dict[str, Any]


def cusum_limits(
    ordered: pd.DataFrame,
    *,
    rules: CusumRules | None = None,
    thresholds: Thresholds | None = None,
    few_failures: int = 10,
) -> pd.DataFrame:
    """What the two charts hold acceptable and what not, their limits, and what these do by chance and in earnest.

    Population: the independent attempts of the service, whose mixture of women the monitoring limit is set for.
    Denominator: those with known outcome. Unknown: left out.

    Parameters
    ----------
    ordered
        What `attempts_in_order` returned.
    rules
        Proportions and limits of the service's own choice, and how rare a false signal is to be.
    thresholds
        Fewest independent attempts from which the service's own proportion is taken.
    few_failures
        Below so many failures behind that proportion there is a caution.

    Returns
    -------
    DataFrame
        One row for ``learning`` and one for ``monitoring``: ``chart``; ``acceptable, unacceptable`` (0-1) and
        their ``odds_ratio``; ``level`` (``set`` locally or taken from the ``service``), ``events, n`` of the
        independent attempts; ``limit, limit_from`` (``set`` or ``chance_of_a_false_signal``); ``false_signal,
        within_attempts`` (as asked for); ``chance_if_false, chance_if_true`` (of a signal within so many
        attempts: for learning with failures at the unacceptable and at the acceptable proportion, for monitoring
        with those expected and with `odds_ratio` times their odds); ``run_if_false, run_if_true`` (attempts to a
        signal, on average; missing where beyond reach); ``method, caution``. No rows where no standard is set and
        none can be taken from the service: one clinician alone, fewer attempts than `thresholds` ask for, or no
        failure among them. No row for monitoring without independent attempts, or where some could not fail.

    Notes
    -----
    Both levels apply to the mixture of women in the independent attempts: for monitoring, the failures expected of
    each woman are moved so that they average what is acceptable.
    """
    chosen = rules or CusumRules()
    own = ordered[ordered["practice"] == "independent"]
    levels = _levels(own, chosen, (thresholds or Thresholds()).clinician_attempts)
    if not levels:
        return pd.DataFrame(columns=list(_LIMITS))
    cautions = []
    if levels["level"] == BY_SERVICE:
        few = levels["events"] < few_failures
        cautions = [NO_STANDARD, *([_FEW_FAILURES.format(levels["events"])] if few else [])]
    possible = bool(len(own)) and bool(own["expected"].between(0, 1, inclusive="neither").all())
    rows = [
        {"chart": chart, **levels, "method": _METHODS[chart], "caution": " ".join(cautions)}
        for chart in (LEARNING, *((MONITORING,) if possible else ()))
    ]
    return pd.DataFrame([row | _limit(row, own, chosen) for row in rows], columns=list(_LIMITS))


def cusum_charts(
    ordered: pd.DataFrame, limits: pd.DataFrame, *, thresholds: Thresholds | None = None
) -> pd.DataFrame:
    """Every attempt of each clinician with enough of them: seen less expected failures, and the sums of the charts.

    Population, denominator and unknowns are those of `attempts_in_order`; clinicians with fewer attempts than
    `thresholds` ask for are left out.

    Parameters
    ----------
    ordered
        What `attempts_in_order` returned.
    limits
        What `cusum_limits` returned of it.
    thresholds
        Smallest number of attempts to draw.

    Returns
    -------
    DataFrame
        ``by, stratum`` (the code), ``attempt_number, practice, failed, expected`` (0-1),
        ``observed_minus_expected`` (failures, summed from the first attempt); ``learning_cusum,
        learning_signal``: nan after the signal, and for who never worked under supervision; ``monitoring_cusum,
        monitoring_signal``: nan at supervised attempts; ``attempt_date, visit_ref``.
    """
    fewest = (thresholds or Thresholds()).clinician_attempts
    wanted = ordered[ordered.groupby("stratum")["failed"].transform("size") >= fewest]
    rows = _by_chart(limits)
    tested = wanted["expected"].to_numpy("float64")
    if MONITORING in rows:
        independent = ordered[ordered["practice"] == "independent"]
        tested = _moved(tested, rows[MONITORING]["acceptable"], independent)
    whole = wanted.assign(by=_BY, tested=tested)
    charted = [_charted(own, rows) for _, own in whole.groupby("stratum", sort=True)]
    columns = [*_KEPT, "attempt_date", "visit_ref"]
    if not charted:
        return pd.DataFrame(columns=columns)
    return pd.concat(charted, ignore_index=True)[columns]


def cusum_signals(charts: pd.DataFrame, limits: pd.DataFrame, ordered: pd.DataFrame) -> pd.DataFrame:
    """Which charts signalled, when, and how likely that was by chance and in earnest.

    Population, denominator and unknowns are those of `cusum_charts`.

    Parameters
    ----------
    charts, limits, ordered
        What `cusum_charts`, `cusum_limits` and `attempts_in_order` returned of the same attempts.

    Returns
    -------
    DataFrame
        Per clinician and chart: ``by, stratum, chart``; ``n`` (attempts on this chart); ``signals``,
        ``first_signal, latest_signal`` (number of the attempt; missing without one), ``latest_signal_date,
        latest_visit_ref``; ``cusum`` (now), ``highest, limit``; ``state`` (``signal`` or ``none``);
        ``chance_if_false, chance_if_true`` (of a signal within these n attempts, as in `cusum_limits`);
        ``caution``. No rows where nothing could be charted.
    """
    own = ordered[ordered["practice"] == "independent"]
    tables = []
    for chart, row in _by_chart(limits).items():
        drawn = charts[charts[f"{chart}_cusum"].notna()]
        found = [
            _signalled(part, chart) | {"limit": row["limit"], "caution": row["caution"]}
            for _, part in drawn.groupby("stratum", sort=True)
        ]
        table = pd.DataFrame(found, columns=[name for name in _SIGNALS if not name.startswith("chance")])
        n = table["n"].to_numpy("float64")
        chances = {
            f"chance_if_{word}": signal_probability(_increments(row, own, true=true), n, limit=row["limit"])
            for word, true in (("false", False), ("true", True))
        }
        tables.append(table.assign(**chances)[list(_SIGNALS)])
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame(columns=list(_SIGNALS))
    whole = pd.concat(filled, ignore_index=True)
    numbers = {name: whole[name].astype("Int64") for name in ("first_signal", "latest_signal")}
    return whole.assign(**numbers).sort_values(["stratum", "chart"], kind="stable", ignore_index=True)


def learning_curve_attempts(charts: pd.DataFrame, *, most: int = 200) -> pd.DataFrame:
    """The rows of `cusum_charts` to keep of a long log: about `most` a clinician, without day and visit.

    Population, denominator and unknowns are those of `cusum_charts`.

    Parameters
    ----------
    charts
        What `cusum_charts` returned.
    most
        A clinician with no more attempts keeps all; of another every second, third, ... and besides each signal
        and the latest attempt. The sums of what is kept still count all.

    Returns
    -------
    DataFrame
        The columns of `cusum_charts` but ``attempt_date, visit_ref``.
    """
    kept = [
        part[
            kept_of_many(
                len(part),
                most=most,
                always=np.flatnonzero(part["learning_signal"] | part["monitoring_signal"]),
            )
        ]
        for _, part in charts.groupby("stratum", sort=True)
    ]
    return pd.concat([charts.head(0), *kept], ignore_index=True)[list(_KEPT)] if kept else charts[list(_KEPT)]


def _by_chart(limits: pd.DataFrame) -> dict[str, Row]:
    """The row of each chart."""
    return {str(row["chart"]): {str(name): row[name] for name in row} for row in limits.to_dict("records")}


def _levels(own: pd.DataFrame, rules: CusumRules, fewest: int) -> Row:
    """What is acceptable and what is not, and who says so; nothing where nobody can."""
    events, n = int(own["failed"].sum()), len(own)
    acceptable, unacceptable, level = rules.acceptable, rules.unacceptable, SET_LOCALLY
    if not acceptable:
        if n < fewest or own["stratum"].nunique() <= 1 or events in (0, n):
            return {}
        acceptable, level = share_of(events, n), BY_SERVICE
        unacceptable = float(at_odds_ratio(acceptable, rules.odds_ratio))
    return {
        "acceptable": acceptable,
        "unacceptable": unacceptable,
        "odds_ratio": odds_ratio_between(acceptable, unacceptable),
        "level": level,
        "events": events,
        "n": n,
    }


def _moved(expected: np.ndarray, level: float, own: pd.DataFrame) -> np.ndarray:
    """Expected failures on the level that is acceptable on average over the independent attempts."""
    values, counted = np.unique(own["expected"].to_numpy("float64"), return_counts=True)
    return moved_to_level(expected, level, reference=values, counted=counted)


def _increments(row: Row, own: pd.DataFrame, *, true: bool) -> Increments:
    """What an attempt adds to a chart where a signal would be true, or false."""
    acceptable, unacceptable, odds_ratio = row["acceptable"], row["unacceptable"], row["odds_ratio"]
    if row["chart"] == LEARNING:
        level = acceptable if true else unacceptable
        return learning_increments(level, acceptable=acceptable, unacceptable=unacceptable)
    values, counted = np.unique(own["expected"].to_numpy("float64"), return_counts=True)
    expected = _moved(values, acceptable, own)
    return cusum_increments(
        expected, odds_ratio=odds_ratio, true_odds_ratio=odds_ratio if true else 1, counted=counted
    )


def _limit(row: Row, own: pd.DataFrame, rules: CusumRules) -> Row:
    """The limit of a chart, and how often and how soon it signals."""
    false, true = (_increments(row, own, true=earnest) for earnest in (False, True))
    wanted = rules.learning_limit if row["chart"] == LEARNING else rules.monitoring_limit
    within = rules.within_attempts
    limit = wanted or limit_for(false, probability=rules.false_signal, within=within)
    return {
        "limit": limit,
        "limit_from": SET_LOCALLY if wanted else BY_CHANCE,
        "false_signal": rules.false_signal,
        "within_attempts": within,
        "chance_if_false": float(signal_probability(false, within, limit=limit)),
        "chance_if_true": float(signal_probability(true, within, limit=limit)),
        "run_if_false": average_run_length(false, limit=limit),
        "run_if_true": average_run_length(true, limit=limit),
    }


def _charted(own: pd.DataFrame, limits: dict[str, Row]) -> pd.DataFrame:
    """One clinician's attempts, with the sums of the charts that apply."""
    total = pd.Series(observed_minus_expected(own["failed"], own["expected"]), index=own.index)
    charted = own.assign(observed_minus_expected=total.where(own["expected"].notna()))
    for chart in (LEARNING, MONITORING):
        charted = charted.assign(**{f"{chart}_cusum": np.nan, f"{chart}_signal": False})
    alone = own["practice"] == "independent"
    if LEARNING in limits and not alone.all():
        row = limits[LEARNING]
        levels = {name: row[name] for name in ("acceptable", "unacceptable")}
        sums = cusum(learning_weights(own["failed"], **levels), limit=row["limit"], after_signal=STOP)
        charted["learning_cusum"], charted["learning_signal"] = sums["cusum"].array, sums["signal"].array
    if MONITORING in limits:
        row, rest = limits[MONITORING], own[alone]
        weights = cusum_weights(rest["failed"], rest["tested"], odds_ratio=row["odds_ratio"])
        sums = cusum(weights, limit=row["limit"])
        charted.loc[alone, "monitoring_cusum"] = sums["cusum"].to_numpy()
        charted.loc[alone, "monitoring_signal"] = sums["signal"].to_numpy()
    return charted


def _signalled(part: pd.DataFrame, chart: str) -> Row:
    """What one clinician's chart shows."""
    crossed = part[part[f"{chart}_signal"]]
    first, latest = crossed.head(1), crossed.tail(1)
    sums = part[f"{chart}_cusum"]
    return {
        "by": _BY,
        "stratum": part["stratum"].iloc[0],
        "chart": chart,
        "n": len(part),
        "signals": len(crossed),
        "first_signal": first["attempt_number"].iloc[0] if len(first) else pd.NA,
        "latest_signal": latest["attempt_number"].iloc[0] if len(latest) else pd.NA,
        "latest_signal_date": latest["attempt_date"].iloc[0] if len(latest) else pd.NaT,
        "latest_visit_ref": latest["visit_ref"].sum() or "",
        "cusum": sums.iloc[-1],
        "highest": sums.max(),
        "state": SIGNAL if len(crossed) else NO_SIGNAL,
    }
