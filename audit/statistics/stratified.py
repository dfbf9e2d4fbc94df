"""Two groups compared within strata and pooled by Mantel and Haenszel: odds ratio, ratio and difference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from audit.statistics.arguments import FloatArray, counts_within, require_between_0_and_1

NO_STRATUM = "No stratum compares two groups that differ in the event: nothing can be pooled."
ONE_SIDED = "The pooled tables are empty on one side: no limits can be given."
NO_SPREAD = "Either everybody or nobody has the event in each group: the normal limits have no width."


@dataclass(frozen=True)
class PooledEstimate:
    """An estimate pooled over strata, with its limits and how many strata it rests on.

    `n_strata_used` counts the strata that carry information; `caution` is empty or says in a sentence what the
    reader must know.
    """

    value: float
    ci_lower: float
    ci_upper: float
    n_strata: int
    n_strata_used: int
    method: str
    caution: str


@dataclass(frozen=True)
class Strata:
    """The counts of the strata in use, and how many strata were given."""

    x_1: FloatArray
    n_1: FloatArray
    x_2: FloatArray
    n_2: FloatArray
    events: FloatArray
    total: FloatArray
    given: int


def mantel_haenszel_odds_ratio(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike, *, confidence: float = 0.95
) -> PooledEstimate:
    """Return the odds ratio common to all strata, with limits.

    Parameters
    ----------
    events_1, n_1, events_2, n_2 : arrays of counts, one per stratum
        Observations with the event and all observations, in either group.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.

    Returns
    -------
    PooledEstimate
        value is nan where no stratum carries information, 0 or infinity where the pooled tables are empty on
        one side; limits are then 0 and infinity. `caution` says so.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n, the lengths differ or confidence is out of range.

    Notes
    -----
    sum(a d / N) / sum(b c / N) over strata with cells a, b (first group), c, d (second) and total N. The
    variance of its log is that of Robins, Breslow and Greenland, sound for few large strata and for many
    small ones. Strata in which a group is empty, nobody has the event or everybody has, carry no information
    and are left out; empty single cells stay as they are, with nothing added to them.

    References
    ----------
    Mantel N, Haenszel W. J Natl Cancer Inst 1959;22:719-748. Robins J, Breslow N, Greenland S. Estimators of
    the Mantel-Haenszel variance consistent in both sparse data and large-strata limiting models. Biometrics
    1986;42:311-323.

    Examples
    --------
    >>> result = mantel_haenszel_odds_ratio([8, 22], [106, 98], [5, 16], [120, 85], confidence=0.9)
    >>> [round(x, 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [1.4031, 0.8411, 2.3409]
    """
    strata = informative_strata(events_1, n_1, events_2, n_2)
    a, b, c, d = strata.x_1, strata.n_1 - strata.x_1, strata.x_2, strata.n_2 - strata.x_2
    p, q, r, s = (a + d) / strata.total, (b + c) / strata.total, a * d / strata.total, b * c / strata.total
    above, below = float(r.sum()), float(s.sum())
    variance = np.nan
    if above > 0 and below > 0:
        mixed = float((p * s + q * r).sum()) / (2 * above * below)
        variance = float((p * r).sum()) / (2 * above**2) + mixed + float((q * s).sum()) / (2 * below**2)
    return _ratio(strata, above, below, variance, confidence, "mantel_haenszel_robins_breslow_greenland")


def mantel_haenszel_risk_ratio(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike, *, confidence: float = 0.95
) -> PooledEstimate:
    """Return the ratio of proportions common to all strata, with limits.

    Parameters, result and refusals are those of `mantel_haenszel_odds_ratio`.

    Notes
    -----
    sum(x_1 n_2 / N) / sum(x_2 n_1 / N), with the variance of its log by Greenland and Robins. Strata in which
    a group is empty or nobody has the event carry no information and are left out; those in which everybody
    has stay, since they speak for a ratio of 1.

    References
    ----------
    Greenland S, Robins JM. Estimation of a common effect parameter from sparse follow-up data. Biometrics
    1985;41:55-68.

    Examples
    --------
    >>> result = mantel_haenszel_risk_ratio([8, 22], [106, 98], [5, 16], [120, 85], confidence=0.9)
    >>> [round(x, 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [1.3256, 0.8658, 2.0296]
    """
    strata = comparable_strata(events_1, n_1, events_2, n_2)
    strata = _chosen(strata, strata.events > 0)
    total = strata.total
    above, below = (
        float((strata.x_1 * strata.n_2 / total).sum()),
        float((strata.x_2 * strata.n_1 / total).sum()),
    )
    spread = (strata.n_1 * strata.n_2 * strata.events - strata.x_1 * strata.x_2 * total) / total**2
    variance = float(spread.sum()) / (above * below) if above > 0 and below > 0 else np.nan
    return _ratio(strata, above, below, variance, confidence, "mantel_haenszel_greenland_robins")


def _ratio(
    strata: Strata, above: float, below: float, variance: float, confidence: float, method: str
) -> PooledEstimate:
    """Return above / below with limits normal on the log scale, 0 and infinity where there are none."""
    require_between_0_and_1("confidence", confidence)
    value = above / below if below > 0 else np.inf if above > 0 else np.nan
    lower, upper, caution = 0.0, np.inf, ONE_SIDED if strata.x_1.size else NO_STRATUM
    if variance > 0:
        factor = float(np.exp(special.ndtri((1 + confidence) / 2) * np.sqrt(variance)))
        lower, upper, caution = value / factor, value * factor, ""
    elif variance == 0:
        caution = NO_SPREAD
    return _pooled(strata, value, lower, upper, method, caution)


def mantel_haenszel_risk_difference(
    events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike, *, confidence: float = 0.95
) -> PooledEstimate:
    """Return the difference of proportions common to all strata, with limits.

    Parameters and refusals are those of `mantel_haenszel_odds_ratio`.

    Returns
    -------
    PooledEstimate
        value and limits from -1 to 1; all nan where no stratum has observations in both groups, and limits -1
        and 1 where the normal limits would have no width. `caution` says so.

    Notes
    -----
    Differences are weighted by n_1 n_2 / N. The variance is that of Sato, sound for few large strata and for
    many small ones. Strata without an event stay: their difference is 0. Limits beyond -1 or 1 are cut there.

    References
    ----------
    Sato T. On the variance estimator for the Mantel-Haenszel risk difference. Biometrics 1989;45:1323-1324.
    Greenland S, Robins JM. Biometrics 1985;41:55-68.

    Examples
    --------
    >>> result = mantel_haenszel_risk_difference([8, 22], [106, 98], [5, 16], [120, 85], confidence=0.9)
    >>> [round(x, 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [0.0349, -0.0176, 0.0874]
    """
    require_between_0_and_1("confidence", confidence)
    strata = comparable_strata(events_1, n_1, events_2, n_2)
    method = "mantel_haenszel_sato"
    if not strata.x_1.size:
        return _pooled(strata, np.nan, np.nan, np.nan, method, NO_STRATUM)
    value, variance = _difference_and_variance(strata)
    if variance <= 0:
        return _pooled(strata, value, -1.0, 1.0, method, NO_SPREAD)
    half_width = float(special.ndtri((1 + confidence) / 2) * np.sqrt(variance))
    return _pooled(strata, value, max(value - half_width, -1.0), min(value + half_width, 1.0), method, "")


def _difference_and_variance(strata: Strata) -> tuple[float, float]:
    """Return the weighted difference and Sato's variance of it."""
    x_1, n_1, x_2, n_2, total = strata.x_1, strata.n_1, strata.x_2, strata.n_2, strata.total
    weight = float((n_1 * n_2 / total).sum())
    value = float(((x_1 * n_2 - x_2 * n_1) / total).sum()) / weight
    slope = (x_2 * n_1**2 - x_1 * n_2**2 + n_1 * n_2 * (n_2 - n_1) / 2) / total**2
    base = (x_1 * (n_2 - x_2) + x_2 * (n_1 - x_1)) / (2 * total)
    return value, (value * float(slope.sum()) + float(base.sum())) / weight**2


def comparable_strata(events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike) -> Strata:
    """Return the checked counts of the strata in which both groups hold observations."""
    x_1, total_1 = counts_within(np.atleast_1d(events_1), np.atleast_1d(n_1), names=("events_1", "n_1"))
    x_2, total_2 = counts_within(np.atleast_1d(events_2), np.atleast_1d(n_2), names=("events_2", "n_2"))
    if x_1.shape != x_2.shape or x_1.ndim != 1:
        raise ValueError(
            f"all counts must have one value per stratum, got shapes {x_1.shape} and {x_2.shape}"
        )
    both = (total_1 > 0) & (total_2 > 0)
    return _strata(x_1[both], total_1[both], x_2[both], total_2[both], x_1.size)


def informative_strata(events_1: ArrayLike, n_1: ArrayLike, events_2: ArrayLike, n_2: ArrayLike) -> Strata:
    """Return the strata whose margins leave more than one table."""
    strata = comparable_strata(events_1, n_1, events_2, n_2)
    return _chosen(strata, (strata.events > 0) & (strata.events < strata.total))


def _chosen(strata: Strata, keep: NDArray[np.bool_]) -> Strata:
    """Return the strata marked to be kept."""
    return _strata(strata.x_1[keep], strata.n_1[keep], strata.x_2[keep], strata.n_2[keep], strata.given)


def _strata(x_1: FloatArray, n_1: FloatArray, x_2: FloatArray, n_2: FloatArray, given: int) -> Strata:
    """Return strata with the sums of their counts."""
    return Strata(x_1, n_1, x_2, n_2, x_1 + x_2, n_1 + n_2, given)


def _pooled(
    strata: Strata, value: float, lower: float, upper: float, method: str, caution: str
) -> PooledEstimate:
    """Return the estimate with its count of strata; strata left out are named unless worse is said."""
    used = strata.x_1.size
    left_out = f"{strata.given - used} of {strata.given} strata carry no information and are left out."
    said = caution or (left_out if used < strata.given else "")
    return PooledEstimate(value, lower, upper, strata.given, used, method, said)
