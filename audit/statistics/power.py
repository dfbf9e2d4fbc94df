"""Power and sample size of tests of proportions: one against a fixed benchmark, and two against each other.

All tests are two-sided, with `level` their nominal error in both directions together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import (
    FloatArray,
    amounts,
    counts,
    proportions,
    require_between_0_and_1,
    require_choice,
)
from audit.statistics.binomial_tails import probability_at_least, probability_at_most
from audit.statistics.funnel import funnel_limits

ONE_SAMPLE = ("exact", "normal")
# No answer goes beyond this many observations, and no search for an exact one beyond these.
MOST = 10_000_000
EXACT_MOST = 200_000


def power_one_proportion(
    n: ArrayLike, *, benchmark: float, proportion: float, level: float = 0.05, method: str = "exact"
) -> FloatArray:
    """Return the probability that a test against a fixed benchmark finds a difference.

    Parameters
    ----------
    n : array of counts
        Observations; with "normal" any amount.
    benchmark : float, 0 to 1
        The proportion tested against, known without error.
    proportion : float, 0 to 1
        The true proportion.
    level : float, between 0 and 1
        Two-sided error of the test.
    method : "exact" or "normal"
        See Notes.

    Returns
    -------
    array of probabilities, shape of n
        0 with "exact" where no count would be significant, as with few observations; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    "exact" rejects where either binomial tail is at most level / 2, as a funnel's limit does, and adds the true
    probabilities of those counts; it rises in a saw-tooth with n. "normal" is the formula of textbooks, which
    ignores the wrong side and may be far off for rare events.

    References
    ----------
    Rosner B. Fundamentals of Biostatistics. 7th ed. Boston: Brooks/Cole; 2011. Equation 7.45 ("normal").
    Chernick MR, Liu CY. The saw-toothed behavior of power versus sample size and software solutions. Am Stat
    2002;56:149-155.

    Examples
    --------
    >>> power_one_proportion([100, 400], benchmark=0.05, proportion=0.1).round(3).tolist()
    [0.417, 0.964]
    """
    require_between_0_and_1("level", level)
    require_choice("method", method, ONE_SAMPLE)
    known, true = proportions("benchmark", benchmark), proportions("proportion", proportion)
    if method == "normal":
        null, other = np.sqrt(known * (1 - known)), np.sqrt(true * (1 - true))
        distance = np.abs(true - known) * np.sqrt(amounts("n", n)) - special.ndtri(1 - level / 2) * null
        return _normal_power(distance, other)
    total = counts("n", n)
    limits = funnel_limits(total.ravel(), known, tail_probability=level / 2)
    lower, upper = (limits[name].to_numpy().reshape(total.shape) for name in ("lower_count", "upper_count"))
    # A count that does not exist is one that cannot be reached: -1 below, n + 1 above.
    below = probability_at_most(np.where(np.isnan(lower), -1, lower), total, true)
    above = probability_at_least(np.where(np.isnan(upper), total + 1, upper), total, true)
    return np.minimum(below + above, 1.0)[()]


def _normal_power(distance: FloatArray, spread: FloatArray) -> FloatArray:
    """Return the normal probability of distance / spread; without spread, whether there is distance."""
    safe = np.where(spread > 0, spread, 1.0)
    power: FloatArray = np.where(spread > 0, special.ndtr(distance / safe), (distance > 0) * 1.0)
    return power[()]


def sample_size_one_proportion(
    *, benchmark: float, proportion: float, power: float = 0.8, level: float = 0.05, method: str = "exact"
) -> int:
    """Return the observations needed to find a difference from a fixed benchmark.

    Parameters
    ----------
    benchmark : float, between 0 and 1
        The proportion tested against, known without error.
    proportion : float, 0 to 1
        The true proportion that is to be found different.
    power, level : floats, between 0 and 1
        Probability of finding it, and two-sided error of the test.
    method : "exact" or "normal"
        As in `power_one_proportion`.

    Returns
    -------
    int
        With "exact" the least number from which on the power is never below the one wanted, so that a few
        more observations than planned do no harm.

    Raises
    ------
    ValueError
        If an argument is out of range, proportion equals benchmark, or more than ten million observations
        (with "exact" about 150,000) would be needed.

    References
    ----------
    Rosner B. Fundamentals of Biostatistics. 7th ed. Boston: Brooks/Cole; 2011. Equation 7.46 ("normal").
    A'Hern RP. Sample size tables for exact single-stage phase II designs. Stat Med 2001;20:859-866.

    Examples
    --------
    >>> sample_size_one_proportion(benchmark=0.02, proportion=0.05, power=0.9, method="normal")
    341
    """
    require_between_0_and_1("benchmark", benchmark)
    require_between_0_and_1("power", power)
    require_between_0_and_1("level", level)
    require_choice("method", method, ONE_SAMPLE)
    true = float(proportions("proportion", proportion))
    _require_different("proportion", true, "benchmark", benchmark)
    spread = special.ndtri(1 - level / 2) * np.sqrt(benchmark * (1 - benchmark))
    needed = ((spread + special.ndtri(power) * np.sqrt(true * (1 - true))) / (true - benchmark)) ** 2
    if method == "normal":
        return whole_number(needed)
    return _exact_size(whole_number(needed), benchmark, true, power, level)


def _exact_size(start: int, benchmark: float, proportion: float, power: float, level: float) -> int:
    """Return the least n from which on the exact power stays, looked for around the normal answer."""
    # One more event in the rejected counts takes about 1 / benchmark more observations: a tooth of the saw.
    tooth = 1 / min(benchmark, 1 - benchmark)
    searched = np.arange(start // 3 + 1, whole_number(1.3 * start + 30 * tooth, EXACT_MOST) + 1)
    reached = power_one_proportion(searched, benchmark=benchmark, proportion=proportion, level=level) >= power
    return int(searched[~reached].max(initial=start // 3)) + 1


def _require_different(name: str, value: float, other_name: str, other: float) -> None:
    """Refuse two values that are the same."""
    if value == other:
        raise ValueError(f"{name} must differ from {other_name} ({other}), got {value}")


def whole_number(needed: float, most: int = MOST) -> int:
    """Return the next whole number, refusing one beyond all search."""
    if needed > most:
        raise ValueError(f"the difference must be findable with {most} observations, got {needed:.3g} needed")
    # Rounding must not turn an answer that is whole into the next one.
    return max(int(np.ceil(needed * (1 - 1e-12))), 1)


def power_two_proportions(
    n_1: ArrayLike,
    n_2: ArrayLike,
    *,
    proportion_1: ArrayLike,
    proportion_2: ArrayLike,
    level: float = 0.05,
) -> FloatArray:
    """Return the probability that the chi-square test of two groups finds a difference.

    Parameters
    ----------
    n_1, n_2 : arrays of amounts
        Observations in either group.
    proportion_1, proportion_2 : arrays, 0 to 1
        The true proportions.
    level : float, between 0 and 1
        Two-sided error of the test.

    Returns
    -------
    array of probabilities
        Shape of the arguments broadcast together; nan where a group is empty; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    Normal approximation with the pooled variance under no difference, the wrong side ignored, as R's
    power.prop.test has it. It flatters small groups with rare events.

    References
    ----------
    Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions. 3rd ed. Hoboken: Wiley; 2003.
    Chapter 4.

    Examples
    --------
    >>> round(float(power_two_proportions(435, 435, proportion_1=0.1, proportion_2=0.05)), 4)
    0.8005
    """
    require_between_0_and_1("level", level)
    first, second = amounts("n_1", n_1), amounts("n_2", n_2)
    p_1, p_2 = proportions("proportion_1", proportion_1), proportions("proportion_2", proportion_2)
    first, second = np.where(first > 0, first, np.nan), np.where(second > 0, second, np.nan)
    pooled = (first * p_1 + second * p_2) / (first + second)
    null = np.sqrt(pooled * (1 - pooled) * (1 / first + 1 / second))
    spread = np.sqrt(p_1 * (1 - p_1) / first + p_2 * (1 - p_2) / second)
    distance = np.abs(p_1 - p_2) - special.ndtri(1 - level / 2) * null
    return np.where(np.isnan(distance), np.nan, _normal_power(distance, spread))[()]


def sample_size_two_proportions(
    *, proportion_1: float, proportion_2: float, ratio: float = 1.0, power: float = 0.8, level: float = 0.05
) -> tuple[int, int]:
    """Return the observations needed in each of two groups for the chi-square test to find their difference.

    Parameters
    ----------
    proportion_1, proportion_2 : floats, 0 to 1
        The true proportions.
    ratio : float, above 0
        Observations of the second group per one of the first.
    power, level
        As in `sample_size_one_proportion`.

    Returns
    -------
    (n_1, n_2) : two ints
        The formula's number, and ratio times that number, rounded up.

    Raises
    ------
    ValueError
        If an argument is out of range, the proportions are equal or more than ten million would be needed.

    References
    ----------
    Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions. 3rd ed. Hoboken: Wiley; 2003.
    Chapter 4.

    Examples
    --------
    >>> sample_size_two_proportions(proportion_1=0.1, proportion_2=0.05)
    (435, 435)
    """
    require_between_0_and_1("power", power)
    require_between_0_and_1("level", level)
    p_1, p_2 = (
        float(proportions("proportion_1", proportion_1)),
        float(proportions("proportion_2", proportion_2)),
    )
    _require_different("proportion_2", p_2, "proportion_1", p_1)
    if not (ratio > 0 and np.isfinite(ratio)):
        raise ValueError(f"ratio must be finite and above 0, got {ratio}")
    pooled = (p_1 + ratio * p_2) / (1 + ratio)
    null = np.sqrt(pooled * (1 - pooled) * (1 + 1 / ratio))
    spread = np.sqrt(p_1 * (1 - p_1) + p_2 * (1 - p_2) / ratio)
    needed = ((special.ndtri(1 - level / 2) * null + special.ndtri(power) * spread) / (p_1 - p_2)) ** 2
    return whole_number(needed), whole_number(needed * ratio)
