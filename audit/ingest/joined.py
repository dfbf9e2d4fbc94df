"""The rows of several files as one log of text, and tables of rows under each other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.ingest.raw import Integers, RawColumn, RawLog
from audit.schema.visits import VISITS


@dataclass(frozen=True)
class Joined:
    """The rows of all files as text, one after the other."""

    columns: Mapping[str, RawColumn]
    source: Integers
    row: Integers


def join_logs(logs: Sequence[RawLog]) -> Joined:
    """The rows of all files, one after the other.

    Parameters
    ----------
    logs
        The rows of each file as text; the first file is number 1.

    Returns
    -------
    Joined
        The columns that any file has, in the order of the schema; one that a file lacks is blank there.
    """
    names = [name for name in VISITS.names if any(name in log.columns for log in logs)]
    sizes = [len(log.lines) for log in logs]
    blank = [RawColumn(("",), np.zeros(size, dtype=np.int32)) for size in sizes]
    return Joined(
        columns={
            name: _joined_column([log.columns.get(name, blank[i]) for i, log in enumerate(logs)])
            for name in names
        },
        source=np.repeat(np.arange(1, len(logs) + 1, dtype=np.int64), sizes),
        row=np.concatenate([log.lines for log in logs]).astype(np.int64),
    )


def _joined_column(parts: Sequence[RawColumn]) -> RawColumn:
    """One column over all files, each distinct text once."""
    if len(parts) == 1:
        return parts[0]
    numbers: dict[str, int] = {}
    codes = []
    for part in parts:
        renumbered = [numbers.setdefault(text, len(numbers)) for text in part.texts]
        codes.append(np.array(renumbered, dtype=np.int32)[part.codes])
    return RawColumn(tuple(numbers), np.concatenate(codes))


def stacked(frames: Sequence[pd.DataFrame], names: Sequence[str]) -> pd.DataFrame:
    """The frames under each other, in order of file and line.

    Parameters
    ----------
    frames
        Each with these columns, or empty.
    names
        The columns, `source` and `row` among them.

    Returns
    -------
    pandas.DataFrame
        An empty one keeps its columns, with whole numbers for `source` and `row`.
    """
    filled = [frame for frame in frames if len(frame)]
    if not filled:
        whole = ("source", "row")
        return pd.DataFrame({name: pd.Series(dtype="int64" if name in whole else object) for name in names})
    together = pd.concat(filled, ignore_index=True)
    return together.sort_values(["source", "row"], kind="stable", ignore_index=True)[list(names)]
