"""What each distinct text of a column says, spread over the rows it stands on."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.ingest.parse import Reading
from audit.ingest.raw import Flags
from audit.schema.column import Column

Objects = npt.NDArray[np.object_]
Codes = npt.NDArray[np.int32]
STAFF_AND_PLACES = ("site_ref", "clinician_ref", "completed_by_ref", "supervisor_ref")


@dataclass(frozen=True)
class Readings:
    """A column as it was read.

    For each distinct text `values` has what it says, None where it says nothing; `reasons` why not, and `notes`
    what a person should look at, "" for nothing. `codes` has the number of the text on each row.
    """

    column: Column
    texts: tuple[str, ...] = field(repr=False)
    values: Objects = field(repr=False)
    reasons: Objects = field(repr=False)
    notes: Objects = field(repr=False)
    codes: Codes = field(repr=False)

    def __len__(self) -> int:
        return len(self.codes)


def readings_from(column: Column, texts: tuple[str, ...], items: Sequence[Reading], codes: Codes) -> Readings:
    """A column from the reading of each of its distinct texts.

    Parameters
    ----------
    column
        Its declaration.
    texts
        The distinct texts.
    items
        One reading per text.
    codes
        The number of the text on each row.

    Returns
    -------
    Readings
    """
    return Readings(
        column,
        texts,
        objects([item.value for item in items]),
        objects([item.reason for item in items]),
        objects([item.note for item in items]),
        codes,
    )


def objects(items: Sequence[Any]) -> Objects:
    """Any things as an array of one dimension.

    Parameters
    ----------
    items
        Of whatever kind.

    Returns
    -------
    numpy.ndarray
    """
    array = np.empty(len(items), dtype=object)
    array[:] = items
    return array


def is_missing(read: Readings) -> Flags:
    """Which distinct texts give no value.

    Parameters
    ----------
    read
        A column.

    Returns
    -------
    numpy.ndarray
        One bool per distinct text, as for `is_unreadable`.
    """
    missing: Flags = pd.isna(read.values)
    return missing


def is_unreadable(read: Readings) -> Flags:
    """Which distinct texts say something that cannot be used.

    Parameters
    ----------
    read
        A column.

    Returns
    -------
    numpy.ndarray
    """
    return np.asarray((read.reasons != "") & (read.reasons != "blank"), dtype=np.bool_)


def on_rows(read: Readings, texts: npt.NDArray[Any]) -> Flags:
    """Which rows hold one of some texts.

    Parameters
    ----------
    read
        A column.
    texts
        One bool per distinct text.

    Returns
    -------
    numpy.ndarray
        One bool per row.
    """
    wanted = np.asarray(texts, dtype=np.bool_)
    # Most questions of most columns have no answer, and a large log has many rows to ask.
    return wanted[read.codes] if wanted.any() else np.zeros(len(read), dtype=np.bool_)


def rows_of_texts(read: Readings, kept: Flags) -> npt.NDArray[np.int64]:
    """How many of the rows kept hold each distinct text.

    Parameters
    ----------
    read
        A column.
    kept
        One bool per row.

    Returns
    -------
    numpy.ndarray
        One count per distinct text.
    """
    codes = read.codes if kept.all() else read.codes[kept]
    return np.bincount(codes, minlength=len(read.texts))


def with_rows(read: Readings, kept: Flags) -> Readings:
    """The column with some of its rows.

    Parameters
    ----------
    read
        A column.
    kept
        One bool per row.

    Returns
    -------
    Readings
    """
    codes = read.codes[kept]
    return Readings(read.column, read.texts, read.values, read.reasons, read.notes, codes)


def values_of(read: Readings) -> pd.Series:
    """The values of a column, one per row, in the dtype of its kind.

    Parameters
    ----------
    read
        A column.

    Returns
    -------
    pandas.Series
        Codes and references to staff and places are categories, flags nullable booleans, dates
        ``datetime64[ns]``, numbers ``float64``, other texts objects with "" for blank.
    """
    column, values = read.column, read.values
    if column.kind == "date":
        return pd.Series(values.astype("datetime64[D]").astype("datetime64[ns]")[read.codes])
    if column.kind == "flag":
        return _flags(values, read.codes)
    if column.kind == "code":
        return _categories(values, column.codes, read.codes)
    if column.name in STAFF_AND_PLACES:
        return _categories(values, tuple(sorted({value for value in values if value})), read.codes)
    if column.kind in ("text", "reference"):
        return pd.Series(np.where(pd.isna(values), "", values)[read.codes], dtype=object)
    return pd.Series(values.astype(np.float64)[read.codes])


def _flags(values: Objects, codes: Codes) -> pd.Series:
    """Nullable booleans."""
    yes = np.array([value is True for value in values], dtype=np.bool_)
    unknown = np.array([value is None for value in values], dtype=np.bool_)
    return pd.Series(pd.arrays.BooleanArray(yes[codes], unknown[codes]))


def _categories(values: Objects, categories: tuple[str, ...], codes: Codes) -> pd.Series:
    """A categorical column."""
    place = {category: number for number, category in enumerate(categories)}
    small = np.min_scalar_type(-max(1, len(categories)))
    numbers: Any = np.array([-1 if value is None else place[value] for value in values], dtype=small)
    return pd.Series(pd.Categorical.from_codes(numbers[codes], dtype=pd.CategoricalDtype(list(categories))))
