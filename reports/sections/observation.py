"""How far the known outcomes let the page go, and what each rule of observation must have said beside it."""

from collections.abc import Sequence

from audit.records import AuditResults
from reports.choosing import Row, gate_rules

_YEAR = 365
_GATES = {
    "last_known_leads": (
        "The outcome at 12 months is known for enough women: figures observed to the last day a device was known "
        "in place lead, and the other way of reading the silence stands beside them."
    ),
    "both_as_equals": (
        "The outcome at 12 months is known for too few women to choose between two ways of reading the silence. "
        "Both stand side by side as equals, and nothing that rests on follow-up is judged against a published "
        "figure."
    ),
    "bounds_only": (
        "The outcome at 12 months is known for so few women that the others could change every figure that rests "
        "on follow-up. So this page gives no curve, only the least and the most that each figure could be."
    ),
    "not_yet_due": "No placement is old enough for its first year to be over.",
}


def gate_sentence(results: AuditResults) -> str:
    """What the known outcomes allow the page to say."""
    return _GATES.get(results.gate, _GATES["not_yet_due"])


def as_equals(results: AuditResults) -> bool:
    """Whether neither rule of observation may lead."""
    return results.gate in ("both_as_equals", "not_yet_due")


def drawn_rules(results: AuditResults) -> tuple[str, ...]:
    """The rules of observation that are drawn: the leading one, or both where they are equals."""
    rules = gate_rules(results)
    return rules if as_equals(results) else rules[:1]


def latest_women(found: Sequence[Row], floor: int, moves: str) -> str:
    """The sentence that a last-known curve beyond 12 months needs beside it, and nothing where there is none.

    Parameters
    ----------
    found
        Rows of a curve, or of several.
    floor
        How many must still be observed for a row to be drawn.
    moves
        What the curve does: ``falls`` or ``rises``.
    """
    late = any(
        row["censoring"] == "last_known" and row["days"] > _YEAR and row["at_risk"] >= floor for row in found
    )
    if not late:
        return ""
    return (
        f"Beyond 12 months the last-known curve {moves} too fast: women are contacted once a year, so after the "
        "latest contact only those with trouble have been heard of."
    )
