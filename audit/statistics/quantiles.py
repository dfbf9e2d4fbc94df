"""Quantiles of a sample with distribution-free limits, alone and group by group."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, amounts, counts, require_between_0_and_1
from audit.statistics.estimates import Estimate

QUANTILE_METHOD = "sample quantile; exact order-statistic 95% limits"


def quantile_interval(
    values: ArrayLike, *, probability: float, weights: ArrayLike | None = None, confidence: float = 0.95
) -> Estimate:
    """Return a sample quantile with limits that hold whatever the distribution.

    Parameters
    ----------
    values : array of finite numbers
        The sample.
    probability : float, between 0 and 1
        0.5 for the median, 0.9 for the 90th centile.
    weights : array of counts, optional
        How many observations each value stands for; one each by default.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at; each side misses at most half of the rest.

    Returns
    -------
    Estimate
        value between two neighbouring order statistics (as R's type 7 and numpy's default); ci_lower and
        ci_upper are values of the sample, -infinity or infinity where so few observations bound nothing on
        that side (a median needs 6 for both limits at 95%). All three are nan for an empty sample.

    Raises
    ------
    ValueError
        If a value is not finite, a weight is no whole number, or an argument is out of range.

    Notes
    -----
    The number of observations below the true quantile is binomial, so the limits are the order statistics
    whose binomial tails reach the confidence. With ties they cover more than they say, never less.

    References
    ----------
    Thompson WR. Ann Math Stat 1936;7:122-128. Conover WJ. Practical Nonparametric Statistics. 3rd ed. New
    York: Wiley; 1999. Section 3.2. Hyndman RJ, Fan Y. Sample quantiles in statistical packages. Am Stat
    1996;50:361-365 (type 7).

    Examples
    --------
    >>> result = quantile_interval([3, 1, 4, 1, 5, 9, 2, 6, 5, 3], probability=0.5)
    >>> float(result.value), float(result.ci_lower), float(result.ci_upper)
    (3.5, 1.0, 6.0)
    """
    require_between_0_and_1("probability", probability)
    require_between_0_and_1("confidence", confidence)
    sample = np.atleast_1d(np.asarray(values, dtype=np.float64))
    if not np.isfinite(sample).all():
        raise ValueError(f"values must be finite, got {sample[~np.isfinite(sample)].flat[0]}")
    number = np.ones_like(sample) if weights is None else np.atleast_1d(counts("weights", weights))
    if number.shape != sample.shape:
        raise ValueError(f"weights must have one count per value ({sample.size}), got {number.size}")
    order = np.argsort(sample)
    ordered, reached = sample[order], np.cumsum(number[order])
    n = int(reached[-1]) if reached.size else 0
    if n == 0:
        nothing = np.array(np.nan)
        return Estimate(nothing, nothing, nothing, QUANTILE_METHOD)
    place = (n - 1) * probability + 1
    below, above = _ranked(ordered, reached, np.array([np.floor(place), np.ceil(place)]))
    value = below + (above - below) * (place - np.floor(place))
    lower, upper = _rank_limits(n, probability, (1 - confidence) / 2)
    limits = _ranked(ordered, reached, np.array([lower, upper]))
    return Estimate(value, limits[0], limits[1], QUANTILE_METHOD)


def _ranked(ordered: FloatArray, reached: FloatArray, ranks: FloatArray) -> FloatArray:
    """Return the order statistics of these ranks, infinite beyond the sample."""
    place = np.searchsorted(reached, np.minimum(ranks, reached[-1]))
    inside: FloatArray = np.where(ranks < 1, -np.inf, np.where(ranks > reached[-1], np.inf, ordered[place]))
    return inside


def _rank_limits(n: int, probability: float, tail: float) -> tuple[int, int]:
    """Return the ranks of the two limits; 0 or n + 1 where no order statistic will do."""

    def at_most(rank: int) -> float:
        """Return the chance that at most this many observations lie below the quantile."""
        return float(special.bdtr(rank, n, probability))

    # The chance rises with the rank: twenty halvings find among a million what a look at each would.
    lower = bisect_right(range(n + 1), tail, key=at_most)
    return lower, bisect_left(range(n + 1), 1 - tail, key=at_most) + 1


def quantiles_by_group(
    table: pd.DataFrame, *, probabilities: Mapping[str, float], confidence: float = 0.95
) -> pd.DataFrame:
    """Return quantiles of each group with their limits.

    Parameters
    ----------
    table : DataFrame
        ``group``, ``value`` (finite numbers of zero or more) and ``n`` (how many the row stands for).
    probabilities : mapping of name to number between 0 and 1
        The quantiles to return.
    confidence : float, between 0 and 1
        As in `quantile_interval`.

    Returns
    -------
    DataFrame
        ``group``, ``n`` and, for each name, ``name, name_lower, name_upper`` in the unit of the values; groups
        in order of first appearance. No rows in, no rows out.

    Raises
    ------
    ValueError
        As `quantile_interval`.

    Examples
    --------
    >>> table = pd.DataFrame({"group": "a", "value": [0.0, 4.0], "n": [6, 5]})
    >>> quantiles_by_group(table, probabilities={"median": 0.5}).values.tolist()
    [['a', 11, 0.0, 0.0, 4.0]]
    """
    amounts("value", table["value"])
    rows = []
    for group in dict.fromkeys(table["group"]):
        own = table[table["group"] == group]
        row: dict[str, object] = {"group": group, "n": int(own["n"].sum())}
        for name, probability in probabilities.items():
            found = quantile_interval(
                own["value"], probability=probability, weights=own["n"], confidence=confidence
            )
            row |= {name: float(found.value), f"{name}_lower": float(found.ci_lower)}
            row[f"{name}_upper"] = float(found.ci_upper)
        rows.append(row)
    names = [f"{name}{part}" for name in probabilities for part in ("", "_lower", "_upper")]
    whole = pd.DataFrame(rows, columns=["group", "n", *names])
    return whole.astype({"n": "int64", **dict.fromkeys(names, "float64")})


def with_quantiles(
    table: pd.DataFrame,
    values: pd.DataFrame,
    *,
    probabilities: Mapping[str, float],
    recorded_floor: float = 0.0,
) -> pd.DataFrame:
    """Return a table of counts with quantiles of the values behind each row.

    Parameters
    ----------
    table : DataFrame
        ``stratum``, ``n`` (value known) and ``n_unknown``, one row per stratum; other columns are kept.
    values : DataFrame
        ``stratum``, ``value`` and ``n``, as counted.
    probabilities : mapping of name to number between 0 and 1
        The quantiles to return.
    recorded_floor : float, 0 to 1
        Where a smaller share is known, the caution says that those recorded may not stand for all.

    Returns
    -------
    DataFrame
        The table with ``name, name_lower, name_upper`` for each name (nan without a value, infinite where too
        few bound nothing), ``method`` and ``caution``, empty where there is none.

    Raises
    ------
    ValueError
        As `quantile_interval`.

    Examples
    --------
    >>> table = pd.DataFrame({"stratum": ["a"], "n": [7], "n_unknown": [0]})
    >>> values = pd.DataFrame({"stratum": "a", "value": [1.0, 2.0], "n": [4, 3]})
    >>> with_quantiles(table, values, probabilities={"median": 0.5})[["median", "median_upper"]].values.tolist()
    [[1.0, 2.0]]
    """
    found = quantiles_by_group(values.rename(columns={"stratum": "group"}), probabilities=probabilities)
    own = found.set_index("group").drop(columns="n").reindex(table["stratum"])
    whole = table.assign(**{str(name): own[name].to_numpy() for name in own.columns})
    ends = whole[[f"{name}_{side}" for name in probabilities for side in ("lower", "upper")]]
    total = whole["n"] + whole["n_unknown"]
    caution = np.select(
        [total == 0, whole["n"] == 0, whole["n"] < recorded_floor * total, np.isinf(ends).any(axis=1)],
        [
            "Nothing to count.",
            "Not recorded for anyone.",
            "So much is not recorded that those recorded may not stand for all.",
            "Too few for a limit on every side.",
        ],
        "",
    )
    return whole.assign(method=QUANTILE_METHOD, caution=caution.astype(object))
