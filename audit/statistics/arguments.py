"""Checks of arguments: every refusal names the argument, the rule and the value given."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def require_between_0_and_1(name: str, value: float) -> None:
    """Refuse a value that is not strictly between 0 and 1."""
    if not 0 < value < 1:
        raise ValueError(f"{name} must lie between 0 and 1, got {value}")


def require_choice(name: str, value: str, choices: Collection[str]) -> None:
    """Refuse a word that is not one of the words offered."""
    if value not in choices:
        raise ValueError(f"{name} must be one of {', '.join(choices)}, got {value!r}")


def counts(name: str, values: ArrayLike) -> FloatArray:
    """Return whole numbers of zero or more as floats, refusing anything else."""
    numbers = np.asarray(values, dtype=np.float64)
    wrong = ~((numbers >= 0) & (numbers == np.floor(numbers)) & np.isfinite(numbers))
    if wrong.any():
        raise ValueError(f"{name} must be whole numbers of zero or more, got {numbers[wrong].flat[0]}")
    return numbers


def counts_within(
    events: ArrayLike, n: ArrayLike, *, names: tuple[str, str]
) -> tuple[FloatArray, FloatArray]:
    """Return events and n, broadcast against each other, refusing more events than n."""
    first, second = np.broadcast_arrays(counts(names[0], events), counts(names[1], n))
    wrong = first > second
    if wrong.any():
        found = f"{first[wrong].flat[0]:g} of {second[wrong].flat[0]:g}"
        raise ValueError(f"{names[0]} must not exceed {names[1]}, got {found}")
    return first, second


def proportions(name: str, values: ArrayLike) -> FloatArray:
    """Return numbers from 0 to 1 as floats, refusing anything else."""
    numbers = np.asarray(values, dtype=np.float64)
    wrong = ~((numbers >= 0) & (numbers <= 1))
    if wrong.any():
        raise ValueError(f"{name} must lie from 0 to 1, got {numbers[wrong].flat[0]}")
    return numbers


def amounts(name: str, values: ArrayLike) -> FloatArray:
    """Return finite numbers of zero or more as floats, refusing anything else."""
    numbers = np.asarray(values, dtype=np.float64)
    wrong = ~((numbers >= 0) & np.isfinite(numbers))
    if wrong.any():
        raise ValueError(f"{name} must be finite and zero or more, got {numbers[wrong].flat[0]}")
    return numbers
