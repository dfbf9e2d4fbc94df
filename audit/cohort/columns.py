"""Columns of a visits table by name, whether or not this log has them."""

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.schema.visits import VISITS

Days = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Names = npt.NDArray[Any]


def code(rows: pd.DataFrame, name: str) -> pd.Series:
    """A code column as a category; all missing where the log lacks it."""
    if name in rows:
        return rows[name]
    return _no_code(rows, VISITS[name].codes)


def flag(rows: pd.DataFrame, name: str) -> pd.Series:
    """A yes/no column as nullable boolean; all missing where the log lacks it."""
    if name in rows:
        return rows[name]
    unknown = np.ones(len(rows), dtype=np.bool_)
    return pd.Series(pd.arrays.BooleanArray(~unknown, unknown), index=rows.index)


def number(rows: pd.DataFrame, name: str) -> npt.NDArray[np.float64]:
    """A number column as float64; nan where missing or where the log lacks it."""
    if name in rows:
        return rows[name].to_numpy(dtype="float64")
    return np.full(len(rows), np.nan)


def reference(rows: pd.DataFrame, name: str) -> pd.Series:
    """A column of the service's codes (category); all missing where the log lacks it."""
    if name in rows:
        return rows[name]
    return _no_code(rows, ())


def _no_code(rows: pd.DataFrame, categories: tuple[str, ...]) -> pd.Series:
    """A category on every row that is missing there."""
    # By number: pandas would look at every single None to learn its type.
    missing: Any = np.full(len(rows), -1, dtype=np.int8)
    dtype = pd.CategoricalDtype(list(categories))
    return pd.Series(pd.Categorical.from_codes(missing, dtype=dtype), index=rows.index)


def date(rows: pd.DataFrame, name: str) -> pd.Series:
    """A date column; all missing where the log lacks it."""
    if name in rows:
        return rows[name]
    return pd.Series(pd.NaT, index=rows.index, dtype="datetime64[ns]")


def whole_days(dates: pd.Series) -> Days:
    """Days since 1970 as whole numbers; a missing date is the smallest one."""
    return dates.to_numpy().astype("datetime64[D]").astype("int64")


def is_one_of(rows: pd.DataFrame, name: str, *values: str) -> Mask:
    """Whether a code column holds one of these codes."""
    if name not in rows:
        return np.zeros(len(rows), dtype=np.bool_)
    held: Mask = rows[name].isin(list(values)).to_numpy()
    return held


def codes_of(names: Names, categories: tuple[str, ...]) -> pd.Categorical:
    """Text that stands for codes, as a category in the schema's order; anything else is missing."""
    return pd.Categorical(names, categories=list(categories))


def text_codes(values: pd.Series, categories: tuple[str, ...]) -> pd.Categorical:
    """A category column with exactly the schema's categories."""
    return pd.Categorical(values, categories=list(categories))
