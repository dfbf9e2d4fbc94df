"""The two forms in which a single comparison comes back."""

from __future__ import annotations

from dataclasses import dataclass

from audit.statistics.arguments import FloatArray


@dataclass(frozen=True)
class Estimate:
    """An estimate with its limits and the name of the method that made them.

    The three numbers are float arrays of the shape of the counts put in; plain numbers in give numpy floats
    out. A limit of infinity is a limit: the data cannot bound the value on that side.
    """

    value: FloatArray
    ci_lower: FloatArray
    ci_upper: FloatArray
    method: str


@dataclass(frozen=True)
class SignificanceTest:
    """A test statistic with its degrees of freedom and p-value.

    `statistic` and `degrees_of_freedom` are None for an exact test, which has neither. `p_value` is nan where
    no test can be made (each function says when).
    """

    statistic: float | None
    degrees_of_freedom: int | None
    p_value: float
    method: str
