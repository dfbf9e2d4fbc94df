"""What became of each action: measured before and after, and the state proposed next."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import pandas as pd

from audit.cycle.action_file import CLOSED
from audit.cycle.compare import IMPROVED, NOT_COMPARABLE, WORSE, Change, compared
from audit.errors import ActionsError, unknown_name
from audit.records import Action, AuditResults
from audit.schema.figures import HeadlineFigure
from audit.statistics.power import sample_size_two_proportions
from audit.statistics.summaries import share_of, with_proportions

Row = Mapping[str, Any]
_PLAN = ("id", "figure", "gap", "cause", "action", "owner_role", "due", "done", "target", "evidence")
_SIDE = ("periods", "events", "n", "n_unknown", "proportion", "ci_lower", "ci_upper", "completeness")
_TIMES = ("before", "after")
ACTION_COLUMNS = (
    *_PLAN,
    *("opened", "status", "proposed", "flag", "title", "better", "measure", "given_size", "n_needed"),
    *(f"{time}_{name}" for time in _TIMES for name in (*_SIDE, "exact_lower", "exact_upper")),
    *("difference", "difference_lower", "difference_upper", "p_value", "verdict", "target_met", "reason"),
)
_YEAR = pd.DateOffset(years=1)


def refuse_actions(
    actions: Sequence[Action], figures: Sequence[HeadlineFigure], results: AuditResults
) -> None:
    """Refuse an action that names no figure of this audit, or one that is described and never judged.

    Raises
    ------
    ActionsError
        Naming the action.
    """
    known = {figure.id: figure for figure in figures}
    for action in actions:
        if action.figure not in known:
            ids = [figure.id for figure in figures if not figure.id.startswith("measure_of_")]
            told = unknown_name("criterion or figure", action.figure, ids)
            raise ActionsError(f"action '{action.id}': {told}")
        if known[action.figure].better == "neutral":
            raise ActionsError(
                f"action '{action.id}': '{action.figure}' is described and never judged; a target for it would "
                "reward keeping devices that women want removed. Choose another figure."
            )
        if action.measure:
            _refuse_measure(action, results)


def _refuse_measure(action: Action, results: AuditResults) -> None:
    """Refuse a measure of a table or column that does not exist, or of more than counts."""
    table = results.tables.get(str(action.measure["table"]))
    missing = (
        [f"table '{action.measure['table']}'"]
        if table is None
        else [f"column '{name}'" for name in action.measure if name != "table" and name not in table]
        or [f"column '{name}'" for name in ("events", "n", "proportion") if name not in table]
    )
    if missing:
        raise ActionsError(
            f"action '{action.id}': this audit has no {missing[0]} for its measure. Name one it has."
        )


def action_states(actions: Sequence[Action], measured: pd.DataFrame, results: AuditResults) -> pd.DataFrame:
    """Each action with its measurements before and after, and the state proposed next.

    Parameters
    ----------
    actions
        The plan.
    measured
        Every measurement on record, as `audit.cycle.measured.series` has them.
    results
        This audit: its period, freeze and settings.

    Returns
    -------
    DataFrame
        One row per action: the plan's ``id, figure, gap, cause, action, owner_role, due, done, target, evidence,
        opened, status``; ``proposed`` status, ``flag`` (``overdue``, ``unmeasured`` or blank), ``title, better,
        measure`` (as text), ``given_size``, ``n_needed``; for ``before_`` and ``after_`` each ``periods, events, n,
        n_unknown, proportion`` with its limits and ``completeness``; ``difference`` (after less before) with its
        limits, ``p_value, verdict, target_met, reason``. No action, no rows.

    Notes
    -----
    *Before* pools the measurements of the year before the day it was done; *after* those of periods that began on
    that day or later, in order, until enough are counted, so that the question is put once and chance has one
    opportunity. Enough is the size the plan names, else the size at which a two-sided test at 5% finds the step
    from before to the target with 80% power, else as many as before. Effective: the difference is in the right
    direction beyond chance, or the target is met by the whole interval and nothing has become worse. Otherwise not
    effective. Curves are not pooled: the last before and the first after are compared.
    """
    rows = [_state(action, measured, results) for action in actions]
    table = pd.DataFrame(rows, columns=list(ACTION_COLUMNS))
    dates = dict.fromkeys(("due", "done"), "datetime64[ns]")
    return table.astype({"target": "float64", "given_size": "float64", "n_needed": "float64"} | dates)


def _state(action: Action, measured: pd.DataFrame, results: AuditResults) -> dict[str, object]:
    """One action with what was measured and what follows."""
    own = measured[measured["figure"] == action.figure]
    version = own.loc[own["period"] == results.period.label, "definitions_version"]
    comparable = own[own["definitions_version"].isin(set(version))] if len(version) else own
    before = _pooled(_year_before(comparable, action.done))
    floor = results.settings.thresholds.at_risk_floor
    needed = _needed(action, before, floor)
    after = _pooled(_until(_since(comparable, action.done), needed))
    change = compared(before, after, results.settings.thresholds)
    met = _target_met(action, after)
    proposed, reason = _proposed(action, after, needed, change, met, len(own) > len(comparable))
    held: Row = own.iloc[-1].to_dict() if len(own) else {}  # type: ignore[assignment]
    return {
        **{name: asdict(action)[name] for name in _PLAN},
        "opened": action.opened.label,
        "status": action.status,
        "proposed": proposed,
        "flag": _flag(action, proposed, results),
        "title": held.get("title", action.figure),
        "better": held.get("better", action.better),
        "measure": "; ".join(f"{name}={value}" for name, value in action.measure.items()),
        "given_size": action.sample_size_needed,
        "n_needed": needed,
        **_side("before", before),
        **_side("after", after),
        "difference": change.difference,
        "difference_lower": change.lower,
        "difference_upper": change.upper,
        "p_value": change.p_value,
        "verdict": change.verdict,
        "target_met": met,
        "reason": reason,
    }


def _year_before(own: pd.DataFrame, done: pd.Timestamp | None) -> pd.DataFrame:
    """The measurements of the year before a day; the latest year where it has not come."""
    day = own["last_day"].max() + pd.Timedelta(days=1) if done is None else done
    if len(own) == 0:
        return own
    inside = own[(own["last_day"] < day) & (own["last_day"] >= day - _YEAR)]
    return _apart(inside.sort_values(["last_day", "first_day"], ascending=False))


def _since(own: pd.DataFrame, done: pd.Timestamp | None) -> pd.DataFrame:
    """The measurements of periods that began on the day it was done or later, in order; none until it is done."""
    if done is None:
        return own.iloc[:0]
    later = own[own["first_day"] >= done]
    return _apart(later.sort_values(["last_day", "first_day"], ascending=[True, False]))


def _apart(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows whose periods share no day with one taken before: a year holds its quarters. One only of a curve."""
    if len(rows) and rows["kind"].iloc[0] == "curve":
        return rows.iloc[:1]
    taken: list[tuple[pd.Timestamp, pd.Timestamp]] = []
    kept = []
    for first, last in zip(rows["first_day"], rows["last_day"], strict=True):
        free = all(last < other_first or first > other_last for other_first, other_last in taken)
        kept.append(free)
        taken += [(first, last)] if free else []
    return rows[np.array(kept, dtype=bool)]


def _until(rows: pd.DataFrame, needed: float) -> pd.DataFrame:
    """The first rows that together count enough; all where they do not."""
    counted_before = rows["n"].cumsum() - rows["n"]
    return rows[(counted_before < needed).to_numpy(dtype=bool)]


def _pooled(rows: pd.DataFrame) -> Row | None:
    """Several measurements as one; None of none."""
    if rows.empty:
        return None
    ordered = rows.sort_values("last_day")
    held: dict[str, Any] = {str(name): value for name, value in ordered.iloc[-1].items()}
    held |= {"first_day": ordered["first_day"].min(), "last_day": ordered["last_day"].max()}
    held["periods"] = ", ".join(ordered["period"])
    if held["kind"] == "curve":
        return held
    sums = ordered[["events", "n", "n_unknown"]].sum()
    counted = with_proportions(pd.DataFrame([sums])).iloc[0].to_dict()
    own_caution = next((text for text in ordered["caution"] if text), "")
    return (
        held
        | counted
        | {"completeness": share_of(sums["n"], sums["n"] + sums["n_unknown"]), "caution": own_caution}
    )


def _needed(action: Action, before: Row | None, floor: int) -> float:
    """How many must be counted afterwards before anything is said."""
    if action.sample_size_needed is not None:
        return float(action.sample_size_needed)
    if before is None or before["kind"] == "curve":
        return float(floor)
    if action.target is None or action.target == before["proportion"] or not before["n"]:
        return float(max(before["n"], floor))
    try:
        sizes = sample_size_two_proportions(proportion_1=before["proportion"], proportion_2=action.target)
    except ValueError:
        return float(max(before["n"], floor))
    return float(max(sizes[1], floor))


def _target_met(action: Action, after: Row | None) -> bool | None:
    """Whether the whole interval lies on the right side of the target; None where there is none to ask of."""
    if action.target is None or after is None or not after["n"]:
        return None
    if after["better"] == "lower":
        return bool(after["ci_upper"] <= action.target)
    return bool(after["ci_lower"] >= action.target)


def _proposed(
    action: Action, after: Row | None, needed: float, change: Change, met: bool | None, redefined: bool
) -> tuple[str, str]:
    """The state proposed next, and why."""
    counted = 0 if after is None else int(after["n"])
    if action.status in CLOSED and action.evidence and counted >= needed:
        return action.status, "Closed on the evidence noted."
    if action.done is None:
        return "open", "Not done yet."
    if after is None:
        reason = "Not measured since it was done."
        return "done_unmeasured", f"{reason} The definition has changed." if redefined else reason
    if counted < needed:
        return "done_unmeasured", "Too few were counted since it was done."
    if met and change.verdict != WORSE:
        return "effective", "The whole interval meets the target."
    if change.verdict == NOT_COMPARABLE:
        return "done_unmeasured", change.reason.replace(
            "Not measured then.", "Not measured before it was done."
        )
    if change.verdict == IMPROVED:
        return "effective", change.reason
    return "not_effective", change.reason


def _flag(action: Action, proposed: str, results: AuditResults) -> str:
    """What heads the summary: past its day and not done, or done and not measured."""
    if proposed == "open":
        return "overdue" if action.due < results.data_to else ""
    return "unmeasured" if proposed == "done_unmeasured" else ""


def _side(time: str, row: Row | None) -> dict[str, object]:
    """One measurement in the columns of the table."""
    names = (*_SIDE, "exact_lower", "exact_upper")
    return {f"{time}_{name}": row[name] for name in names} if row else {}
