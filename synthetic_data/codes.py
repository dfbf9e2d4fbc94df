"""Columns as arrays of numbers while the service is drawn, and as text once it is done.

Inside, a code is its place in the schema's list, a day is a count from 1970-01-01, and -1 (nan for measured
numbers) is blank: a million placements then fit in memory and nothing is spelt twice.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.schema.visits import VISITS
from synthetic_data.parameters import Shares

Array = npt.NDArray[Any]
Columns = dict[str, Array]
BLANK = -1
FLAG_WORDS = ("no", "yes")


@cache
def code(column: str, word: str) -> int:
    """The place of a word among the codes of a column; ValueError when it is not one of them."""
    return VISITS[column].codes.index(word)


def draw(rng: np.random.Generator, column: str, shares: Shares, size: int) -> Array:
    """Codes of a column drawn with the given shares, which need not add to 1."""
    codes = np.array([code(column, word) for word, _ in shares], dtype=np.int8)
    return codes[draw_places(rng, [share for _, share in shares], size)]


def draw_places(rng: np.random.Generator, shares: Sequence[float], size: int) -> Array:
    """Places 0..k-1 drawn with the given shares."""
    edges = np.cumsum(np.asarray(shares, dtype=float))
    return np.searchsorted(edges[:-1] / edges[-1], rng.random(size), side="right")


def happens(rng: np.random.Generator, probability: Array | float, size: int) -> Array:
    """True with the given probability."""
    return np.asarray(rng.random(size) < probability)


def take(columns: Columns, rows: Array) -> Columns:
    """The given rows of every column."""
    return {name: values[rows] for name, values in columns.items()}


def stack(blocks: Sequence[Columns]) -> Columns:
    """Blocks one below the other; a column that a block lacks is blank there."""
    blocks = [block for block in blocks if block]
    sizes = [len(next(iter(block.values()))) for block in blocks]
    names = dict.fromkeys(name for block in blocks for name in block)
    return {name: _stack_one(name, blocks, sizes) for name in names}


def _stack_one(name: str, blocks: Sequence[Columns], sizes: Sequence[int]) -> Array:
    """One column over all blocks."""
    like = next(block[name] for block in blocks if name in block)
    empty = np.nan if like.dtype.kind == "f" else BLANK
    parts = [block.get(name, np.full(size, empty)) for block, size in zip(blocks, sizes, strict=True)]
    return np.concatenate([part.astype(like.dtype, copy=False) for part in parts])


def day_number(iso: str) -> int:
    """Days from 1970-01-01 to an ISO date."""
    return int(np.datetime64(iso, "D").astype(np.int64))


def working_day(days: Array) -> Array:
    """The day itself, or the Monday after a weekend."""
    weekday = (days + 3) % 7
    return np.asarray(days + np.where(weekday >= 5, 7 - weekday, 0))


def as_text(columns: Columns, names: Mapping[str, Sequence[str]]) -> pd.DataFrame:
    """The columns of the schema as text, in its order; `names` spells the numbered references."""
    present = [name for name in VISITS.names if name in columns]
    return pd.DataFrame({name: _spelt(name, columns[name], names) for name in present})


def _spelt(name: str, values: Array, names: Mapping[str, Sequence[str]]) -> pd.Categorical:
    """One column as a categorical of text with blanks missing."""
    column = VISITS[name]
    if name in names:
        return _categorical(values, names[name])
    if column.kind == "flag":
        return _categorical(values, FLAG_WORDS)
    if column.kind == "code":
        return _categorical(values, column.codes)
    blank = np.isnan(values) if values.dtype.kind == "f" else values == BLANK
    distinct, places = np.unique(values[~blank], return_inverse=True)
    filled = np.full(len(values), BLANK, dtype=np.int32)
    filled[~blank] = places
    return _categorical(filled, _words(column.kind, distinct))


def _categorical(places: Array, words: Sequence[str]) -> pd.Categorical:
    """Places in a list of words as a categorical; -1 is missing."""
    return pd.Categorical.from_codes(cast("Sequence[int]", places), pd.Index(words, dtype=object))


def _words(kind: str, distinct: Array) -> list[str]:
    """Dates in ISO form, numbers without trailing zeros."""
    if kind == "date":
        return [str(day) for day in distinct.astype("datetime64[D]")]
    return [f"{value:.10g}" for value in distinct]
