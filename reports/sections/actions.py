"""What was decided, whether it was done, and whether it worked: both measurements side by side."""

from collections.abc import Sequence

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.sections.changes import change_blocks, difference_of, series_blocks
from reports.sections.section import Block, Items, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, plain

_TABLE = "actions"
_STATES = {
    "overdue": "overdue",
    "open": "open",
    "done_unmeasured": "done but not measured",
    "effective": "effective",
    "not_effective": "not effective",
}
_FIRST = (
    "No earlier audit and no action plan were given. The next audit can take this one's record.json (--previous) "
    "and a plan (actions.toml): it then says what has changed and what has worked."
)


def actions_section(results: AuditResults) -> Section:
    """Actions, the change since the last audit, and the figures over all audits."""
    found = in_order(results)
    blocks: list[Block] = [*_plan(found), *change_blocks(results), *series_blocks(results)]
    if not blocks:
        return Section("actions", "Actions and re-audit", "Nothing to compare with yet", (Paragraph(_FIRST),))
    heading = decided(results)[0] if found else "How the figures have moved since the last audit"
    return Section("actions", "Actions and re-audit", heading.rstrip("."), tuple(blocks))


def in_order(results: AuditResults) -> list[Row]:
    """The actions, overdue ones first, then the open, then those done and not measured."""
    return sorted(rows(results, _TABLE), key=lambda row: (list(_STATES).index(_state(row)), row["due"]))


def decided(results: AuditResults) -> tuple[str, tuple[str, ...]]:
    """Page one's answer: a sentence of counts, and a line for each action, those that wait first."""
    found = in_order(results)
    if not found:
        waits = "An earlier audit is on record; no action plan was given with this one."
        return (waits if rows(results, "change_since_last") else _FIRST), ()
    numbers = {state: sum(_state(row) == state for row in found) for state in _STATES}
    told = [f"{number} {_STATES[state]}" for state, number in numbers.items() if number]
    return f"{wording.plural(len(found), 'action')} on the plan: {wording.listed(told)}.", tuple(
        _line(row) for row in found
    )


def _line(row: Row) -> str:
    """An action in one sentence, its state first."""
    who = f"{row['owner_role']}, due {wording.day(row['due'])}"
    return f"{_named(row)}: {_unstopped(row['action'])} ({who}). {_measured(row)}"


def _state(row: Row) -> str:
    """The state proposed; what is open past its day is overdue."""
    return "overdue" if row["flag"] == "overdue" else str(row["proposed"])


def _named(row: Row) -> str:
    """The state in words, with a capital."""
    return _STATES[_state(row)].capitalize()


def _unstopped(text: str) -> str:
    """A text without the full stop at its end."""
    return str(text).rstrip(" .")


def _measured(row: Row) -> str:
    """Both measurements, or how far the second is."""
    if row["proposed"] == "open":
        return f"{row['title']}: {_side(row, 'before')} in the last year."
    if row["proposed"] == "done_unmeasured":
        return _waiting(row)
    change = f", {wording.points(*difference_of(row))}" if is_known(row["difference"]) else ""
    return f"{row['title']}: {_side(row, 'before')} before, {_side(row, 'after')} since{change}."


def _waiting(row: Row) -> str:
    """How many have been counted since it was done, and how many are needed."""
    counted = row["after_n"] if is_known(row["after_n"]) else 0
    if counted < row["n_needed"]:
        needed = f"{wording.count(row['n_needed'])} are needed to tell"
        return f"{wording.count(counted)} counted since it was done; {needed}."
    return str(row["reason"])


def _side(row: Row, time: str) -> str:
    """One measurement in words."""
    names = ("events", "n", "n_unknown", "proportion", "ci_lower", "ci_upper", "exact_lower", "exact_upper")
    held = {name: row[f"{time}_{name}"] for name in names}
    return wording.proportion(held) if is_known(held["n"]) else "not measured"


def _plan(found: Sequence[Row]) -> list[Block]:
    """The plan as a table, and line by line."""
    if not found:
        return []
    return [
        Paragraph(
            "An action closes only with a second measurement, made after it was done, of enough to tell: as many "
            "as the plan names, or as a test needs to find the step to the target four times in five. It is "
            "effective when the difference is in the right direction beyond chance, or the whole interval meets "
            "the target.",
            "What improved after an action may have improved without it. A figure acted on because it stood out "
            "falls back by itself.",
        ),
        Subheading("Before and after, side by side"),
        TableBlock(_table(found)),
        Items(tuple(_reaudit(row) for row in found)),
    ]


def _table(found: Sequence[Row]) -> Markup:
    """Each action with both measurements."""
    return html_table(
        "What was decided, and the figure before and after",
        [
            Column("Action", plain("action"), "label"),
            Column("Before", lambda row: _side(row, "before"), "interval"),
            Column("After", lambda row: _side(row, "after"), "interval"),
            Column("Difference, points (95% interval)", _points, "interval"),
            Column("State proposed", _named, "text"),
        ],
        found,
        foot=(
            "Before: the audits of the year before it was done. After: the audits of periods that began once it "
            "was done, until enough were counted. The plan with the proposed states is in actions.next.toml; the "
            "service's own file is left as it is."
        ),
    )


def _points(row: Row) -> str:
    """The difference, where there is one."""
    return wording.points(*difference_of(row)).replace(" points", "")


def _reaudit(row: Row) -> str:
    """Gap, cause, target and the size of the re-audit."""
    target = f", target {wording.percent(row['target'])}%" if is_known(row["target"]) else ""
    counted = wording.count(row["after_n"]) if is_known(row["after_n"]) else "none"
    return (
        f"{_unstopped(row['action'])}. Gap: {_unstopped(row['gap'])} (cause: {row['cause']}). Figure: "
        f"{row['title']}{target}. Re-audit needs {wording.count(row['n_needed'])} counted after it was done; "
        f"{counted} so far. {row['reason']}"
    )
