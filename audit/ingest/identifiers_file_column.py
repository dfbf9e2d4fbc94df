"""A column as a file has it, and the suspicion that it holds identifiers."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from audit.ingest.raw import RawColumn
from audit.schema.visits import VISITS


@dataclass(frozen=True)
class FileColumn:
    """A column as the file has it; `name` is ours, blank for a column that is not read."""

    position: int
    heading: str
    name: str
    raw: RawColumn


@dataclass(frozen=True)
class Suspicion:
    """A column that seems to hold identifiers: of which kind, on how many of the rows that are filled."""

    column: FileColumn
    kind: str
    rows: int
    filled: int


def kind_of_column(column: FileColumn) -> str:
    """The kind of our column that a column feeds.

    Parameters
    ----------
    column
        The column.

    Returns
    -------
    str
        As declared in the schema; blank when the column is not read.
    """
    return VISITS[column.name].kind if column.name else ""


def rows_with(column: FileColumn, numbers: Iterable[int]) -> int:
    """On how many rows one of some distinct texts stands.

    Parameters
    ----------
    column
        The column.
    numbers
        Places among its distinct texts.

    Returns
    -------
    int
    """
    wanted = np.zeros(len(column.raw.texts), dtype=np.bool_)
    wanted[list(numbers)] = True
    return int(wanted[column.raw.codes].sum())


def suspicion(column: FileColumn, kind: str, numbers: Iterable[int]) -> Suspicion:
    """A suspicion with the number of rows it rests on.

    Parameters
    ----------
    column
        The column.
    kind
        What it seems to hold.
    numbers
        Places, among the distinct texts, of those that say so.

    Returns
    -------
    Suspicion
    """
    filled = [number for number, text in enumerate(column.raw.texts) if text.strip()]
    found = set(numbers).intersection(filled)
    return Suspicion(column, kind, rows_with(column, found), rows_with(column, filled))
