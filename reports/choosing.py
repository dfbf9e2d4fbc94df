"""Rows of the result tables, chosen by their labels. Nothing here changes a figure."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from audit.records import AuditResults

Row = dict[str, Any]


def table(results: AuditResults, name: str) -> pd.DataFrame:
    """The result table of that name; an empty one where the audit has none."""
    return results.tables.get(name, pd.DataFrame())


def rows(results: AuditResults, name: str, **labels: object) -> list[Row]:
    """The rows of a result table with these labels, in its own order.

    A label may be one value or a tuple of values that will do. A column the table lacks finds nothing.
    """
    return matching(table(results, name), **labels)


def matching(frame: pd.DataFrame, **labels: object) -> list[Row]:
    """The rows of a frame with these labels."""
    chosen = pd.Series(True, index=frame.index)
    for column, value in labels.items():
        if column not in frame:
            return []
        chosen &= frame[column].isin(value if isinstance(value, tuple) else (value,))
    return [{str(name): value for name, value in row.items()} for row in frame[chosen].to_dict("records")]


def first(found: Sequence[Row]) -> Row | None:
    """The first row, or none."""
    return found[0] if found else None


def one(results: AuditResults, name: str, **labels: object) -> Row | None:
    """The first row with these labels, or none."""
    return first(rows(results, name, **labels))


def why_empty(results: AuditResults, name: str) -> str:
    """Why a measure has nothing to show: its columns are missing, or nothing happened."""
    told = one(results, "indicator_availability", indicator=name)
    if told is not None and not told["available"]:
        return f"{told['reason']} It is not recorded in this log, which is not the same as none."
    return "There is nothing to show: no row of this log belongs here."


def gate_rules(results: AuditResults) -> tuple[str, ...]:
    """The censoring rules the page may show, the leading one first; none where only bounds are allowed."""
    if results.gate == "bounds_only":
        return ()
    return ("last_known", "assumed_in_place")
