"""The columns of a regression checked, scaled, and freed from those that say nothing new."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from audit.statistics.arguments import FloatArray, IntArray
from audit.statistics.risk_sets import BoolArray

INTERCEPT = "intercept"
# Share of a column's spread that the columns before it must leave unexplained.
TOLERANCE = 1e-9
NOTHING = 1e-12


@dataclass(frozen=True)
class Design:
    """A standardised design: all `terms`, which of them are `kept`, and one column of `values` for each kept.

    A column is (its numbers - centre) / scale; the intercept, where there is one, is the first term.
    """

    terms: tuple[str, ...]
    kept: BoolArray
    centre: FloatArray
    scale: FloatArray
    values: FloatArray
    intercept: bool


def design_of(columns: pd.DataFrame, weights: FloatArray, *, intercept: bool) -> Design:
    """Return the standardised design of the rows with a weight, constant and dependent columns not kept."""
    terms = _terms(columns, intercept)
    raw = _numbers(columns)[weights > 0]
    used = weights[weights > 0]
    centre, scale = _centre_and_scale(raw, used)
    varies = scale > TOLERANCE * np.abs(raw).max(axis=0, initial=0.0)
    divisor = np.where(varies, scale, 1.0)
    values = np.where(varies, (raw - centre) / divisor, 0.0)
    if intercept:
        values = np.column_stack([np.ones(len(values)), values])
        centre, divisor = np.append(0.0, centre), np.append(1.0, divisor)
    kept = independent((values * used[:, None]).T @ values / max(used.sum(), 1.0))
    return Design(terms, kept, centre, divisor, values[:, kept], intercept)


def narrowed(design: Design, kept: BoolArray) -> Design:
    """Return the design with some of its kept columns no longer kept."""
    still = design.kept.copy()
    still[design.kept] = kept
    return replace(design, kept=still, values=design.values[:, kept])


def to_original_scale(design: Design) -> FloatArray:
    """Return the matrix that turns coefficients of the standardised columns into those of the columns given."""
    matrix = np.diag(1 / design.scale)
    if design.intercept:
        matrix[0, 1:] = -design.centre[1:] / design.scale[1:]
    return matrix[np.ix_(design.kept, design.kept)]


def independent(products: FloatArray) -> BoolArray:
    """Return for each column whether the columns before it leave some of it, from the matrix of mean products.

    The columns are standardised, so that a mean square far below 1 is rounding.
    """
    square = np.diag(products)
    spread = np.sqrt(np.where(square > NOTHING, square, np.inf))
    scaled = products / np.outer(spread, spread)
    kept = np.zeros(spread.size, dtype=np.bool_)
    for place in range(spread.size):
        own = np.flatnonzero(kept)
        shadow = scaled[own, place]
        left = scaled[place, place] - shadow @ np.linalg.solve(scaled[np.ix_(own, own)], shadow)
        kept[place] = left > TOLERANCE
    return kept


def caution_about(design: Design) -> str:
    """Return what to say of the terms not kept, nothing when all were."""
    dropped = [term for term, kept in zip(design.terms, design.kept, strict=True) if not kept]
    if not dropped or not design.kept.size:
        return ""
    return f"Not estimated, being constant or told by the terms before: {', '.join(dropped)}."


def distinct_rows(columns: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return each row's place among the distinct rows, and these."""
    code = np.zeros(len(columns), dtype=np.int64)
    for column in columns.T:
        own, levels = pd.factorize(column)
        # Coded anew after each column, so that the product of the numbers of levels cannot overflow.
        code = pd.factorize(code * max(len(levels), 1) + own)[0].astype(np.int64)
    first = np.unique(code, return_index=True)[1]
    return code, columns[first]


def _terms(columns: pd.DataFrame, intercept: bool) -> tuple[str, ...]:
    """Return the names of the terms, refusing one that occurs twice."""
    names = ([INTERCEPT] if intercept else []) + [str(name) for name in columns.columns]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"columns must have names that differ (and none '{INTERCEPT}'), got {twice} twice")
    return tuple(names)


def _numbers(columns: pd.DataFrame) -> FloatArray:
    """Return the columns as floats, refusing gaps."""
    numbers = columns.to_numpy(dtype=np.float64, na_value=np.nan)
    gaps = [
        str(name) for name, wrong in zip(columns, (~np.isfinite(numbers)).any(axis=0), strict=True) if wrong
    ]
    if gaps:
        raise ValueError(
            f"columns must be finite numbers without gaps, got some in {', '.join(gaps)}: code a missing "
            "value as a level of its own"
        )
    return numbers


def _centre_and_scale(raw: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return each column's mean and standard deviation."""
    total = max(weights.sum(), 1.0)
    centre = weights @ raw / total
    return centre, np.sqrt(weights @ (raw - centre) ** 2 / total)


def require_equal_lengths(**lengths: int) -> None:
    """Refuse arguments of different lengths."""
    if len(set(lengths.values())) > 1:
        names: Sequence[str] = list(lengths)
        raise ValueError(f"{', '.join(names)} must be equally long, got {list(lengths.values())}")
