"""The values of result tables as plain Python values, and text made harmless for a spreadsheet."""

import math

import numpy as np
import pandas as pd

# A spreadsheet takes a cell that begins so for a formula.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\x00")


def plain_columns(table: pd.DataFrame) -> list[list[object]]:
    """The columns of a result table as lists: missing and infinite are None, dates are ISO.

    Parameters
    ----------
    table
        A result table.

    Returns
    -------
    list of list
        One list a column, of ``str, bool, int, float`` or None.

    Examples
    --------
    >>> plain_columns(pd.DataFrame({"n": [1], "p": [float("nan")], "on": [pd.Timestamp("2026-09-30")]}))
    [[1], [None], ['2026-09-30']]
    """
    return [_plain(column) for _, column in table.items()]


def harmless(column: list[object]) -> list[object]:
    """Values none of which a spreadsheet takes for a formula: a text that could be one begins with an apostrophe.

    Examples
    --------
    >>> harmless(["=1+1", "W1", -0.5])
    ["'=1+1", 'W1', -0.5]
    """
    # A column repeats few texts, and hardly ever holds one of these.
    found = {
        text: "'" + text for text in set(column) if isinstance(text, str) and text.startswith(_FORMULA_STARTS)
    }
    return [found.get(value, value) if type(value) is str else value for value in column] if found else column


def plain_value(value: object) -> object:
    """A value as JSON knows it: missing and infinite are None, dates are ISO."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, str | bool | int):
        return value
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return str(value)


def _plain(column: pd.Series) -> list[object]:
    """The values of a column; numbers of numpy are plain already but for what is not finite."""
    if isinstance(column.dtype, np.dtype) and column.dtype.kind in "biu":
        return list(column.tolist())
    if isinstance(column.dtype, np.dtype) and column.dtype.kind == "f":
        values, finite = column.tolist(), np.isfinite(column.to_numpy())
        if finite.all():
            return list(values)
        return [value if known else None for value, known in zip(values, finite.tolist(), strict=True)]
    return [value if type(value) is str else plain_value(value) for value in column.astype(object).tolist()]
