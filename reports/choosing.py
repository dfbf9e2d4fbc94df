"""Rows of the result tables, chosen by their labels. Nothing here changes a figure."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from audit.records import AuditResults
from reports.words_for_codes import spoken

Row = dict[str, Any]

_EXACT_BELOW, _EXACT_COUNT = 30, 5


def table(results: AuditResults, name: str) -> pd.DataFrame:
    """The result table of that name; an empty one where the audit has none."""
    found = results.tables.get(name)
    return pd.DataFrame() if found is None else found


def rows(results: AuditResults, name: str, **labels: object) -> list[Row]:
    """The rows of a result table with these labels, in its own order.

    A label may be one value or a tuple of values that will do. A column the table lacks finds nothing.
    """
    return matching(table(results, name), **labels)


def matching(frame: pd.DataFrame, **labels: object) -> list[Row]:
    """The rows of a frame with these labels."""
    chosen = np.ones(len(frame), dtype=bool)
    for column, value in labels.items():
        if column not in frame:
            return []
        held = frame[column]
        chosen &= (held.isin(value) if isinstance(value, tuple) else held == value).to_numpy(dtype=bool)
    # Column by column: many times faster than asking pandas for each row.
    columns = {str(name): column.tolist() for name, column in frame[chosen].items()}
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


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
        return f"{spoken(told['reason'])} Not recorded is not the same as none."
    return "There is nothing to show: no row of this log belongs here."


def gate_rules(results: AuditResults) -> tuple[str, ...]:
    """The censoring rules the page may show, the leading one first; none where only bounds are allowed."""
    if results.gate == "bounds_only":
        return ()
    return ("last_known", "assumed_in_place")


def is_known(value: object) -> bool:
    """Whether a value is there: neither None nor not-a-number.

    Examples
    --------
    >>> is_known(0.0), is_known(float("nan")), is_known(None)
    (True, False, False)
    """
    return value is not None and value is not pd.NaT and not (isinstance(value, float) and math.isnan(value))


def limits_of(row: Row) -> tuple[float, float, str]:
    """The limits to print for a proportion, and whose they are.

    Parameters
    ----------
    row
        A row with ``events, n, ci_lower, ci_upper, exact_lower, exact_upper``.

    Returns
    -------
    tuple
        Lower and upper limit (0-1) and ``exact`` or ``Wilson``.

    Examples
    --------
    >>> row = {"events": 4, "n": 240, "ci_lower": 0.1, "ci_upper": 0.2, "exact_lower": 0.3, "exact_upper": 0.4}
    >>> limits_of(row)
    (0.3, 0.4, 'exact')
    """
    events, n = row["events"], row["n"]
    if min(events, n - events) <= _EXACT_COUNT or n < _EXACT_BELOW:
        return float(row["exact_lower"]), float(row["exact_upper"]), "exact"
    return float(row["ci_lower"]), float(row["ci_upper"]), "Wilson"


def said_of_all(found: Sequence[Row]) -> str:
    """The caution that each of these rows begins with, so that a page can say it once.

    Examples
    --------
    >>> said_of_all([{"caution": "Exploratory. Few."}, {"caution": "Exploratory."}])
    'Exploratory.'
    """
    told = [str(row["caution"]) for row in found]
    shortest = min(told, key=len, default="")
    return shortest if all(caution.startswith(shortest) for caution in told) else ""


def only_bounds(row: Row) -> bool:
    """Whether so much is not recorded that only the bounds may be printed."""
    return "bounds" in str(row.get("caution", ""))
