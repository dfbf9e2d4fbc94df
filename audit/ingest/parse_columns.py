"""What only a whole column shows: its kinds of unknown, dates that fit either order, births by route."""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.ingest.parse import BLANK, Reading, known_text
from audit.ingest.parse_kinds import unknown_kind
from audit.ingest.parse_parity import NOT_SAID, Births, births_in
from audit.ingest.raw import Flags
from audit.ingest.readings import Readings, is_missing, readings_from, rows_of_texts
from audit.ingest.reasons import FINDINGS
from audit.schema.column import Column
from audit.schema.terms import UNKNOWN_KINDS
from audit.schema.visits import VISITS


def column_findings(columns: Mapping[str, Readings], kept: Flags) -> pd.DataFrame:
    """Findings on whole columns, each with its counts.

    Parameters
    ----------
    columns
        The columns of a log.
    kept
        The rows that are used; one bool per row.

    Returns
    -------
    pandas.DataFrame
        ``rule, severity, source, row, column, message``; source and row are 0, for the whole log. The rules
        are ``unknown_kinds``, ``dates_fit_either_order`` and ``dates_from_serials``. No rows when there is
        nothing to say.
    """
    said = [
        ("notice", 0, 0, name, rule, message)
        for name, read in columns.items()
        # A reference may be any word, and a large log has a million of them.
        if read.column.kind not in ("reference", "text")
        for rows in (rows_of_texts(read, kept),)
        for rule, say in (
            ("unknown_kinds", _unknown_kinds),
            ("dates_fit_either_order", _either_order),
            ("dates_from_serials", _from_serials),
        )
        if (message := say(read, rows))
    ]
    frame = pd.DataFrame(said, columns=["severity", "source", "row", "column", "rule", "message"])
    return frame[list(FINDINGS)]


Counts = npt.NDArray[np.int64]


def _unknown_kinds(read: Readings, rows: Counts) -> str:
    """How many values are unknown for each kind of reason; nothing where no reason is written."""
    counts = dict.fromkeys(UNKNOWN_KINDS, 0)
    for place in np.flatnonzero(is_missing(read) | (read.values == "unknown")):
        kind = unknown_kind(read.texts[place], Reading(read.values[place], read.reasons[place]))
        if kind:
            counts[kind] += int(rows[place])
    named = ", ".join(f"{count:,} {kind.replace('_', ' ')}" for kind, count in counts.items() if count)
    return (
        f"{read.column.name}: {named}. All count as unknown; empty cells are not among them." if named else ""
    )


def _either_order(read: Readings, rows: Counts) -> str:
    """How many dates would be another day in the other order of day and month."""
    either = int(rows[read.notes == "either_order"].sum())
    if read.column.kind != "date" or not either:
        return ""
    return (
        f"{read.column.name}: {either:,} of {int(rows[~is_missing(read)].sum()):,} dates would be another day "
        "if day and month stood the other way round. They are read in the declared order."
    )


def _from_serials(read: Readings, rows: Counts) -> str:
    """How many dates are a spreadsheet's numbers of days."""
    serials = int(rows[read.notes == "read_as_serial"].sum())
    if read.column.kind != "date" or not serials:
        return ""
    return (
        f"{read.column.name}: the whole column is written as numbers of days; {serials:,} dates are read in "
        "the 1900 system of spreadsheets. Compare one with the log: the 1904 system lies 1,462 days later."
    )


def with_routes(columns: Mapping[str, Readings]) -> dict[str, Readings]:
    """The columns, with births by route from the parity where the log has no column of its own for them.

    Parameters
    ----------
    columns
        The columns of a log.

    Returns
    -------
    dict
        In the order of the schema. Unchanged where no parity tells a route, so that a log of plain numbers
        does not gain empty columns.

    Notes
    -----
    A cell of an own column that is blank stays blank: there the log has said where the number belongs.
    """
    parity = columns.get("parity_text")
    if parity is None:
        return dict(columns)
    births = [_births_of(text) for text in parity.texts]
    if not any(item.total and (item.vaginal, item.caesarean) != (None, None) for item in births):
        return dict(columns)
    numbers = {
        "vaginal_births": [item.vaginal for item in births],
        "caesarean_births": [item.caesarean for item in births],
    }
    added = {
        name: readings_from(VISITS[name], parity.texts, _counted(VISITS[name], counts), parity.codes)
        for name, counts in numbers.items()
        if name not in columns
    }
    together = {**columns, **added}
    return {name: together[name] for name in VISITS.names if name in together}


def _births_of(text: str) -> Births:
    """The births that a cell tells."""
    plain = known_text(text)
    return births_in(plain) if isinstance(plain, str) else NOT_SAID


def _counted(column: Column, counts: list[int | None]) -> tuple[Reading, ...]:
    """Numbers of births as readings; blank where they are not said or cannot be."""
    most = column.maximum or 0.0
    return tuple(BLANK if count is None or count > most else Reading(float(count)) for count in counts)
