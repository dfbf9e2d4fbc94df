"""From a row of the log to a placement whose first year is known: what is left out at each step, and why."""

from dataclasses import dataclass

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, one, rows
from reports.figures.marks import three_part_bar
from reports.sections.section import Block, Paragraph, Subheading, TableBlock
from reports.tables import Column, html_table, number, plain
from reports.words_for_codes import word


@dataclass(frozen=True)
class Step:
    """One step of the way: what is counted, how many, and who was left out since the step before, by reason.

    `start` says that it is counted anew rather than taken from the step before.
    """

    counted: str
    n: int
    left_out: tuple[tuple[str, int], ...] = ()
    start: bool = False


def flow_steps(results: AuditResults) -> tuple[Step, ...]:
    """The steps from the log's rows to the devices whose first year is known.

    Parameters
    ----------
    results
        What `audit.run_audit` returned.

    Returns
    -------
    tuple of Step
        In order. The number of a step is that of the step before less all that it leaves out, but where it starts
        anew. Empty for a log without insertions.
    """
    load = {str(row["item"]): int(row["n"]) for row in rows(results, "caseload", window="all")}
    if not load:
        return ()
    return (*_of_rows(results), *_of_insertions(load), *_of_first_years(results))


def flow_blocks(results: AuditResults) -> list[Block]:
    """The steps as a table with a bar for each."""
    steps = flow_steps(results)
    if not steps:
        return []
    table = html_table(
        "From log rows to placements whose first year is known",
        [
            Column("Step", plain("step"), "label"),
            Column("Number", number("n")),
            Column("Drawn, of where it starts", _bar, "bar"),
            Column("Left out here, and why", plain("why"), "text"),
        ],
        _lines(steps),
        foot="Bar: dark, what goes on to the next step; pale, what is left out. Rows and insertions are counted "
        "apart, as a row can be an insertion, a later contact, or both.",
    )
    return [
        Subheading(_finding(steps)),
        Paragraph(
            "Every figure of this report rests on one of these steps; nothing leaves it without a reason."
        ),
        TableBlock(table),
    ]


def _finding(steps: tuple[Step, ...]) -> str:
    """How much of the log reaches the last step."""
    begun = next(step for step in steps if step.counted == _BEGUN)
    return (
        f"Of {wording.plural(begun.n, 'insertion')} begun, {wording.count(steps[-1].n)} reach the last step"
    )


_BEGUN = "Insertions begun, per operator"


def _of_rows(results: AuditResults) -> tuple[Step, ...]:
    """The rows of the log and those that could be used."""
    found = rows(results, "row_accounting")
    total = {
        kind: sum(int(row["n"]) for row in found if row["disposition"] == kind) for kind in ("in", "used")
    }
    aside = tuple(
        (word(row["reason"]).lower(), int(row["n"])) for row in found if row["disposition"] == "set_aside"
    )
    return (Step("Rows in the log", total["in"], start=True), Step("Rows used", total["used"], aside))


def _of_insertions(load: dict[str, int]) -> tuple[Step, ...]:
    """The insertions begun, the devices placed, and those that were a woman's first."""
    failed = (
        ("no device placed", load.get("failed", 0)),
        ("outcome not recorded", load.get("outcome_unknown", 0)),
    )
    later = (("replacements", load.get("replacements", 0)), ("repeats", load.get("repeat_placements", 0)))
    return (
        Step(_BEGUN, load.get("attempts", 0), start=True),
        Step("Devices placed", load.get("placed", 0), failed),
        Step("A woman's first placement in this log", load.get("first_placements", 0), later),
    )


def _of_first_years(results: AuditResults) -> tuple[Step, ...]:
    """First placements whose first year is over, and those of which it is known how it ended."""
    known = one(results, "outcome_known", by="overall", window="all")
    if known is None:
        return ()
    over, not_due, events = int(known["n"]), int(known["n_not_due"]), int(known["events"])
    return (
        Step(
            "… a year and more ago, so that the first year is over", over, (("not a year ago yet", not_due),)
        ),
        Step(
            "… and what became of the device in that year is known", events, (("not known", over - events),)
        ),
    )


def _lines(steps: tuple[Step, ...]) -> list[Row]:
    """The steps as rows to print, each with the number it started from."""
    lines: list[Row] = []
    whole = 0
    for step in steps:
        whole = step.n if step.start else whole
        why = ", ".join(f"{reason} {wording.count(n)}" for reason, n in step.left_out if n)
        lines.append({"step": step.counted, "n": step.n, "whole": whole, "why": why or wording.NOTHING})
    return lines


def _bar(row: Row) -> str:
    """How much of what it starts from is still there."""
    return three_part_bar((int(row["n"]), 0, int(row["whole"]) - int(row["n"])))
