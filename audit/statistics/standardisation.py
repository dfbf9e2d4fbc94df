"""Rates made comparable between populations of different composition: direct and indirect standardisation."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import (
    FloatArray,
    amounts,
    counts,
    require_between_0_and_1,
    require_choice,
)
from audit.statistics.estimates import Estimate
from audit.statistics.expected import indirect_expected, observed_expected
from audit.statistics.rates import rate_interval

METHODS = ("fay_feuer", "dobson", "normal")


def directly_standardised_rate(
    events: ArrayLike,
    exposure: ArrayLike,
    standard: ArrayLike,
    *,
    confidence: float = 0.95,
    method: str = "fay_feuer",
) -> Estimate:
    """Return the rate a population would have with the standard's composition, with limits.

    Parameters
    ----------
    events : array of counts, one per stratum, or one row per population and one column per stratum
        Events seen.
    exposure : array of amounts of the same shape
        Time, or observations, in which they were seen.
    standard : array of amounts, one per stratum
        The standard's composition, in any unit: only shares matter.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "fay_feuer", "dobson" or "normal"
        See Notes.

    Returns
    -------
    Estimate
        Events per unit of exposure; one number, or one per population. All nan where a stratum that the
        standard holds has no exposure: no rate is known there. With no event the value and the lower limit are
        0, and the upper limit is nan but with "fay_feuer": the two others have no scale then.

    Raises
    ------
    ValueError
        If a count is not a whole number, an amount is negative, the numbers of strata differ, the standard
        holds nothing, or confidence or method is not allowed.

    Notes
    -----
    Sum over strata of w x, w being the standard's share divided by the exposure, with variance sum(w^2 x) for
    Poisson counts. "fay_feuer" takes a gamma distribution with that mean and variance, widened above by one
    event in the stratum that weighs most; it held its coverage in all cases its authors tried, and is the
    default. "dobson" stretches the exact limits of the total count to the rate's scale. "normal" is what many
    tables print and is too narrow for few events.

    References
    ----------
    Fay MP, Feuer EJ. Confidence intervals for directly standardized rates: a method based on the gamma
    distribution. Stat Med 1997;16:791-801. Dobson AJ, Kuulasmaa K, Eberle E, Scherer J. Confidence intervals
    for weighted sums of Poisson parameters. Stat Med 1991;10:457-462.

    Examples
    --------
    >>> result = directly_standardised_rate([3, 9], [100, 50], [1, 1])
    >>> [round(float(x), 4) for x in (result.value, result.ci_lower, result.ci_upper)]
    [0.105, 0.053, 0.1876]
    """
    require_between_0_and_1("confidence", confidence)
    require_choice("method", method, METHODS)
    x, weights = _counts_and_weights(events, exposure, standard)
    value, variance = (weights * x).sum(axis=-1), (weights**2 * x).sum(axis=-1)
    tail = (1 - confidence) / 2
    if method == "fay_feuer":
        lower, upper = _fay_feuer(value, variance, weights.max(axis=-1), tail)
    elif method == "dobson":
        lower, upper = _dobson(value, variance, x.sum(axis=-1), confidence)
    else:
        half_width = special.ndtri(1 - tail) * np.sqrt(variance)
        lower, upper = np.maximum(value - half_width, 0.0), value + np.where(variance > 0, half_width, np.nan)
    return Estimate(value[()], lower[()], upper[()], method)


def _counts_and_weights(
    events: ArrayLike, exposure: ArrayLike, standard: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return events and the weight of one event in each stratum, nan where it cannot be known."""
    x, own = np.broadcast_arrays(counts("events", events), amounts("exposure", exposure))
    composition = amounts("standard", standard)
    if x.shape[-1:] != composition.shape:
        raise ValueError(
            f"events must have one column per stratum of standard ({composition.size}), got shape {x.shape}"
        )
    if not composition.sum() > 0:
        raise ValueError(f"standard must hold something in some stratum, got {composition.tolist()}")
    impossible = (x > 0) & (own == 0)
    if impossible.any():
        raise ValueError(f"events must be 0 where exposure is 0, got {x[impossible].flat[0]:g}")
    share = composition / composition.sum()
    weights: FloatArray = np.where(share > 0, share / np.where(own > 0, own, np.nan), 0.0)
    # Events in strata that the standard does not hold are no part of the rate.
    return np.where(share > 0, x, 0.0), weights


def _fay_feuer(
    value: FloatArray, variance: FloatArray, largest: FloatArray, tail: float
) -> tuple[FloatArray, FloatArray]:
    """Return the limits of the gamma distribution that has the rate's mean and variance."""
    safe_value, safe_variance = np.where(variance > 0, value, 1.0), np.where(variance > 0, variance, 1.0)
    shape = safe_value**2 / safe_variance
    lower = safe_variance / safe_value * special.gammaincinv(shape, tail)
    wider_value, wider_variance = value + largest, variance + largest**2
    upper = wider_variance / wider_value * special.gammainccinv(wider_value**2 / wider_variance, tail)
    # Comparing keeps nan, where a weight is unknown, out of the zero branch.
    return np.where(variance == 0, 0.0, np.where(np.isnan(variance), np.nan, lower)), upper


def _dobson(
    value: FloatArray, variance: FloatArray, events: FloatArray, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Return the exact limits of the total count carried to the rate's scale."""
    lower, upper = rate_interval(events, 1, confidence=confidence)
    scale = np.sqrt(variance / np.where(events > 0, events, np.nan))
    below = np.where(events > 0, np.maximum(value + scale * (lower - events), 0.0), value)
    return below, value + scale * (upper - events)


def indirectly_standardised_rate(
    events: ArrayLike,
    exposure: ArrayLike,
    reference_events: ArrayLike,
    reference_exposure: ArrayLike,
    *,
    confidence: float = 0.95,
    method: str = "garwood",
) -> Estimate:
    """Return observed / expected events times the reference's overall rate, with limits.

    Parameters
    ----------
    events : array of counts, one per stratum, or one row per population and one column per stratum
        Events seen. Only their sum over strata is used.
    exposure : array of amounts of the same shape
        Time, or observations, in which they were seen.
    reference_events, reference_exposure : arrays, one per stratum
        The population whose rates are applied.
    confidence : float, between 0 and 1
        Two-sided coverage aimed at.
    method : "garwood", "mid_p" or "byar"
        As in `rate_interval`.

    Returns
    -------
    Estimate
        Events per unit of exposure; one number, or one per population. All nan where nothing is expected or a
        stratum with exposure has no reference rate.

    Raises
    ------
    ValueError
        If a count is not a whole number, an amount is negative or the numbers of strata differ.

    Notes
    -----
    Divided by the reference's overall rate it is the standardised ratio of `observed_expected`. Two
    indirectly standardised rates have different weights and should not be compared with each other, only each
    with the reference. The reference's rates are taken as known.

    References
    ----------
    Preston SH, Heuveline P, Guillot M. Demography. Oxford: Blackwell; 2001. Chapter 2. Breslow NE, Day NE.
    Statistical Methods in Cancer Research II. Lyon: IARC; 1987. Chapter 2.

    Examples
    --------
    >>> result = indirectly_standardised_rate([3, 9], [100, 50], [40, 60], [2000, 1000])
    >>> round(float(result.value), 4)
    0.08
    """
    reference, time = (
        counts("reference_events", reference_events),
        amounts("reference_exposure", reference_exposure),
    )
    if reference.shape != time.shape or reference.ndim != 1:
        found = f"{reference.shape} and {time.shape}"
        raise ValueError(
            f"reference_events and reference_exposure must have one value per stratum, got {found}"
        )
    rates = reference / np.where(time > 0, time, np.nan)
    expected = indirect_expected(rates, amounts("exposure", exposure))
    overall = reference.sum() / time.sum() if time.sum() > 0 else np.nan
    observed = counts("events", events).sum(axis=-1)
    known = np.where(np.isnan(expected), 0.0, expected)
    ratio = observed_expected(observed, known, confidence=confidence, method=method)
    return Estimate(ratio.value * overall, ratio.ci_lower * overall, ratio.ci_upper * overall, method)
