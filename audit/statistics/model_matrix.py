"""Groups and measurements turned into the columns of a regression, the reference level of each group stated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, counts

UNKNOWN = "unknown"


@dataclass(frozen=True)
class Coding:
    """How variables become columns: each grouping variable's levels, its reference first; then the numbers."""

    levels: Mapping[str, tuple[str, ...]]
    numeric: tuple[str, ...]


def coding_of(
    table: pd.DataFrame,
    *,
    categorical: Mapping[str, str | None],
    numeric: Sequence[str] = (),
    weights: ArrayLike | None = None,
) -> Coding:
    """Return the levels that a table holds, for coding this table and any other alike.

    Parameters
    ----------
    table : DataFrame
        One row per observation or per covariate pattern.
    categorical : mapping of column to reference level
        The grouping variables. None takes the commonest level that is not missing as the reference.
    numeric : columns
        Variables that enter as they are.
    weights : array of counts, optional
        How many each row stands for; rows of 0 are left out.

    Returns
    -------
    Coding
        The reference level first, the others sorted, ``unknown`` last where a value is missing. A variable
        that is missing throughout has the one level ``unknown``. Empty table: no levels.

    Raises
    ------
    ValueError
        If a column is not there, weights are no counts, or a reference level does not occur.

    Notes
    -----
    Leaving out rows with a missing covariate would change whom the result is about without a word, so that
    missing is a level of its own.

    Examples
    --------
    >>> table = pd.DataFrame({"site": ["b", "a", None], "age": [20.0, 30.0, 40.0]})
    >>> coding_of(table, categorical={"site": "b"}, numeric=["age"])
    Coding(levels={'site': ('b', 'a', 'unknown')}, numeric=('age',))
    """
    _require_columns(table, (*categorical, *numeric))
    numbers = np.ones(len(table)) if weights is None else counts("weights", weights)
    if numbers.size != len(table):
        raise ValueError(f"weights must be as long as the table, got {numbers.size} and {len(table)}")
    levels = {
        name: _levels(name, _codes(table[name]), numbers, reference)
        for name, reference in categorical.items()
    }
    return Coding(levels, tuple(numeric))


def model_matrix(table: pd.DataFrame, coding: Coding) -> pd.DataFrame:
    """Return the columns of a regression: 0 or 1 for each level but the reference, then the numbers.

    Parameters
    ----------
    table : DataFrame
        Holds every variable of the coding.
    coding : Coding
        From `coding_of`.

    Returns
    -------
    DataFrame
        One float column per level but the first, named ``variable: level``, then one per numeric variable;
        the table's row order, a new index from 0. There is no intercept.

    Raises
    ------
    ValueError
        If a column is not there, a level is not in the coding, or a number is missing or not finite: make
        such a variable categorical, so that missing has a level.

    References
    ----------
    Harrell FE. Regression Modeling Strategies. 2nd ed. Cham: Springer; 2015. Sections 2.3 and 3.6.

    Examples
    --------
    >>> table = pd.DataFrame({"site": ["b", "a", None], "age": [20.0, 30.0, 40.0]})
    >>> coding = coding_of(table, categorical={"site": "b"}, numeric=["age"])
    >>> model_matrix(table, coding)
       site: a  site: unknown   age
    0      0.0            0.0  20.0
    1      1.0            0.0  30.0
    2      0.0            1.0  40.0
    """
    _require_columns(table, (*coding.levels, *coding.numeric))
    columns: dict[str, FloatArray] = {}
    for name, levels in coding.levels.items():
        codes = _codes(table[name])
        _require_known_levels(name, codes, levels)
        columns |= {f"{name}: {level}": (codes == level).astype(np.float64) for level in levels[1:]}
    columns |= {name: _numbers(name, table[name]) for name in coding.numeric}
    return pd.DataFrame(columns, index=pd.RangeIndex(len(table)))


def _require_columns(table: pd.DataFrame, names: Sequence[str]) -> None:
    """Refuse a table without one of these columns."""
    missing = [name for name in names if name not in table.columns]
    if missing:
        raise ValueError(f"table must hold every variable, got none named {', '.join(missing)}")


def _codes(values: pd.Series) -> np.ndarray:
    """Return the levels as text, missing ones as unknown."""
    gaps = values.isna().to_numpy(dtype=bool)
    return np.where(gaps, UNKNOWN, values.astype("object").astype(str).to_numpy(dtype=object))


def _levels(name: str, codes: np.ndarray, weights: FloatArray, reference: str | None) -> tuple[str, ...]:
    """Return the levels of one variable, reference first and unknown last."""
    numbers = pd.Series(weights).groupby(codes, sort=True).sum()
    present = [str(level) for level in numbers.index[numbers > 0]]
    known = [level for level in present if level != UNKNOWN]
    first = reference if reference is not None else _commonest(numbers, known or present)
    if reference is not None and reference not in present and present:
        raise ValueError(
            f"the reference level of {name} must occur in the table, got {reference!r} beside {present[:5]}"
        )
    ordered = [first, *known, UNKNOWN]
    return tuple(dict.fromkeys(level for level in ordered if level in present))


def _commonest(numbers: pd.Series, levels: Sequence[str]) -> str:
    """Return the level with the largest number, the first of equals; any word where there is none."""
    return str(numbers[list(levels)].idxmax()) if levels else UNKNOWN


def _require_known_levels(name: str, codes: np.ndarray, levels: tuple[str, ...]) -> None:
    """Refuse a level that was not there when the coding was made."""
    strange = sorted(set(codes) - set(levels))
    if strange:
        raise ValueError(f"{name} must hold only levels of the coding, got {', '.join(strange[:5])}")


def _numbers(name: str, values: pd.Series) -> FloatArray:
    """Return a numeric variable, refusing gaps."""
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    wrong = int((~np.isfinite(numbers)).sum())
    if wrong:
        raise ValueError(f"{name} must be finite numbers without gaps, got {wrong} that are not")
    return numbers
