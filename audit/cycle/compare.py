"""Two measurements of one figure: may they be compared, and what does the difference say."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from audit.records import AuditRecord
from audit.settings import Thresholds
from audit.statistics.differences import difference_from_limits
from audit.statistics.odds import fisher_exact
from audit.statistics.summaries import BOUNDS_ONLY
from audit.statistics.two_groups import difference_interval

IMPROVED, NO_CLEAR_CHANGE, WORSE = "improved", "no_clear_change", "worse"
CHANGED, NOT_COMPARABLE = "changed", "not_comparable"
# A hair, so that a difference of exactly the threshold is not beyond it for its last binary digit.
_HAIR = 1e-9

Row = Mapping[str, Any]
_TIMES = ("then", "now")
_SIDE = (
    *("period", "events", "n", "n_unknown", "proportion", "ci_lower", "ci_upper"),
    *("exact_lower", "exact_upper", "completeness"),
)
CHANGE_COLUMNS = (
    *("figure", "title", "by", "stratum", "better", "kind", "target"),
    *(f"{time}_{name}" for time in _TIMES for name in _SIDE),
    *("difference", "difference_lower", "difference_upper", "p_value", "verdict", "reason", "method"),
)


@dataclass(frozen=True)
class Change:
    """The difference of two measurements, later less earlier, with its limits, test and verdict."""

    difference: float
    lower: float
    upper: float
    p_value: float
    verdict: str
    reason: str
    method: str


_NONE = float("nan")


def change_since(now: pd.DataFrame, then: pd.DataFrame, thresholds: Thresholds) -> pd.DataFrame:
    """Each figure now and in the last audit, their difference and what it says.

    Parameters
    ----------
    now, then
        Figures of this audit and of the last, as `audit.cycle.measured.series` has them.
    thresholds
        `at_risk_floor` is the fewest of whom a figure is compared, `completeness_change` the greatest difference in
        completeness at which it is.

    Returns
    -------
    DataFrame
        One row per figure that either audit has: ``figure, title, by, stratum, better, kind, target``; for
        ``then_`` and ``now_`` each ``period, events, n, n_unknown, proportion`` with limits and ``completeness``;
        ``difference`` (now less then) with ``difference_lower, difference_upper, p_value``; ``verdict``
        (``improved``, ``no_clear_change``, ``worse``, ``changed`` for a neutral figure, ``not_comparable``),
        ``reason, method``.

    Notes
    -----
    The 95% interval of the difference decides: Newcombe's for proportions; for curves it is made from the limits
    of both. Fisher's exact test stands beside proportions.
    """
    earlier, later = _by_figure(then), _by_figure(now)
    names = dict.fromkeys([*later, *earlier])
    rows = [_both(name, earlier.get(name), later.get(name), thresholds) for name in names]
    return pd.DataFrame(rows, columns=list(CHANGE_COLUMNS))


def _by_figure(measured: pd.DataFrame) -> dict[str, Row]:
    """The rows of a table by their figure."""
    names = [str(name) for name in measured.columns]
    rows = [dict(zip(names, row, strict=True)) for row in measured.itertuples(index=False)]
    return {str(row["figure"]): row for row in rows}


def last_of(records: tuple[AuditRecord, ...]) -> AuditRecord | None:
    """The record of the latest period, of two of one period that with the later freeze."""
    return max(records, key=lambda record: (record.period.last_day, record.data_to), default=None)


def _both(name: str, then: Row | None, now: Row | None, thresholds: Thresholds) -> dict[str, object]:
    """One row of the comparison."""
    held = now or then or {}
    change = compared(then, now, thresholds)
    return {
        "figure": name,
        **{column: held[column] for column in ("title", "by", "stratum", "better", "kind", "target")},
        **{f"then_{column}": then[column] for column in _SIDE if then},
        **{f"now_{column}": now[column] for column in _SIDE if now},
        "difference": change.difference,
        "difference_lower": change.lower,
        "difference_upper": change.upper,
        "p_value": change.p_value,
        "verdict": change.verdict,
        "reason": change.reason,
        "method": change.method,
    }


def compared(then: Row | None, now: Row | None, thresholds: Thresholds) -> Change:
    """The change between two measurements, or why there is none to speak of."""
    if then is None or now is None:
        when = "then" if then is None else "now"
        return _not_comparable(f"Not measured {when}.")
    if reason := why_not(then, now, thresholds):
        return _not_comparable(reason)
    difference, method = _difference(then, now), _method(now)
    value, lower, upper = difference
    p_value = _NONE
    if now["kind"] == "proportion":
        p_value = fisher_exact(*_counts(now), *_counts(then)).p_value
    verdict, reason = _verdict(lower, upper, str(now["better"]))
    return Change(value, lower, upper, p_value, verdict, reason, method)


def why_not(then: Row, now: Row, thresholds: Thresholds) -> str:
    """Why two measurements of one figure may not be compared; empty where they may."""
    floor, apart = thresholds.at_risk_floor, abs(now["completeness"] - then["completeness"])
    reasons = {
        "The two periods share days.": then["last_day"] >= now["first_day"],
        "The definition changed between the two audits.": then["definitions_version"]
        != now["definitions_version"],
        "The outcome at 12 months is known for too few.": now["kind"] == "curve"
        and not min(then["completeness"], now["completeness"]) >= thresholds.known_floor,
        "Too much is not recorded in one of the two.": BOUNDS_ONLY in (then["caution"], now["caution"]),
        f"Fewer than {floor} in one of the two.": min(then["n"], now["n"]) < floor,
        "The figure is unknown in one of the two.": bool(
            np.isnan([then["proportion"], now["proportion"]]).any()
        ),
        f"Completeness differs by more than {100 * thresholds.completeness_change:.3g} points.": apart
        > thresholds.completeness_change + _HAIR,
    }
    return next((reason for reason, holds in reasons.items() if holds), "")


def _not_comparable(reason: str) -> Change:
    """No difference, and why."""
    return Change(_NONE, _NONE, _NONE, _NONE, NOT_COMPARABLE, reason, "")


def _counts(row: Row) -> tuple[int, int]:
    """Events and of how many."""
    return int(row["events"]), int(row["n"])


def _difference(then: Row, now: Row) -> tuple[float, float, float]:
    """Now less then, with limits."""
    if now["kind"] == "proportion":
        found = difference_interval(*_counts(now), *_counts(then))
    else:
        columns = ("proportion", "ci_lower", "ci_upper")
        found = difference_from_limits(*(row[name] for row in (now, then) for name in columns))
    return float(found.value), float(found.ci_lower), float(found.ci_upper)


def _method(now: Row) -> str:
    """How the difference got its limits."""
    if now["kind"] == "proportion":
        return "Newcombe's 95% limits of the difference; Fisher's exact test"
    return "95% limits of the difference from the limits of both"


def _verdict(lower: float, upper: float, better: str) -> tuple[str, str]:
    """What the interval of a difference says, given which way is better."""
    if np.isnan(lower):
        return NOT_COMPARABLE, "One of the two has no limits."
    if lower <= 0 <= upper:
        return NO_CLEAR_CHANGE, "The interval of the difference holds 0."
    if better == "neutral":
        return (
            CHANGED,
            "The interval of the difference leaves out 0; more or less is neither better nor worse.",
        )
    risen = "above" if lower > 0 else "below"
    verdict = IMPROVED if (lower > 0) == (better == "higher") else WORSE
    return verdict, f"The interval of the difference lies {risen} 0."
