"""The action plan as proposed after an audit, for the lead to accept: the user's own file is never edited."""

import json

import pandas as pd

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows

NEXT = "actions.next.toml"
_HEAD = """\
# The action plan as proposed after the audit of {period}, data to {day}.
# Read each proposal. To accept, put this file in the place of your actions.toml; the tool never edits yours.
"""
_TEXTS = ("gap", "cause", "action", "owner_role", "opened")


def next_actions_text(results: AuditResults) -> str:
    """The plan with the proposed states, as TOML that `audit.read_actions` accepts.

    Parameters
    ----------
    results
        What `audit.run_audit` returned, with its table ``actions``.

    Returns
    -------
    str
        One table per action, in the order of the plan; comments say why a state is proposed.
    """
    head = _HEAD.format(period=_comment(results.period.label), day=wording.day(results.data_to))
    return "\n".join([head, *(_entry(row) for row in rows(results, "actions"))])


def _entry(row: Row) -> str:
    """One action."""
    changed = row["proposed"] != row["status"]
    note = f"# {_comment(row['reason'])}{' Was: ' + str(row['status']) + '.' if changed else ''}"
    lines = ["[[action]]", f"id = {_text(row['id'])}", _figure(row)]
    lines += [f"{name} = {_text(row[name])}" for name in _TEXTS]
    lines += [f"{name} = {_day(row[name])}" for name in ("due", "done") if is_known(row[name])]
    lines += [f"target = {float(row['target'])!r}"] if is_known(row["target"]) else []
    lines += [f"sample_size_needed = {int(row['given_size'])}"] if is_known(row["given_size"]) else []
    evidence = row["evidence"] or (
        _evidence(row) if row["proposed"] in ("effective", "not_effective") else ""
    )
    lines += [f"evidence = {_text(evidence)}"] if evidence else []
    lines += [note, f"status = {_text(row['proposed'])}"]
    return "\n".join(lines) + "\n"


def _figure(row: Row) -> str:
    """What the action is to move."""
    if not row["measure"]:
        return f"figure = {_text(row['figure'])}"
    pairs = (part.partition("=") for part in str(row["measure"]).split("; "))
    inside = ", ".join(f"{name} = {_text(value)}" for name, _, value in pairs)
    return f"measure = {{ {inside} }}\nbetter = {_text(row['better'])}"


def _evidence(row: Row) -> str:
    """What was measured before and after, with its periods."""
    before = f"{_side(row, 'before')} before" if is_known(row["before_n"]) else "not measured before"
    return f"{before}, {_side(row, 'after')} since it was done"


def _side(row: Row, time: str) -> str:
    """Counts with their periods."""
    counts = f"{wording.count(row[f'{time}_events'])} of {wording.count(row[f'{time}_n'])}"
    return f"{counts} ({row[f'{time}_periods']})"


def _text(value: object) -> str:
    """A text as TOML writes it; what JSON escapes, TOML reads alike."""
    return json.dumps(str(value), ensure_ascii=False)


def _day(value: pd.Timestamp) -> str:
    """A day as TOML writes it."""
    return value.date().isoformat()


def _comment(value: object) -> str:
    """A text fit for a comment: one line."""
    return " ".join(str(value).split())
