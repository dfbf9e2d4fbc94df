"""What one case says for other odds of an event than those expected: weights of a cumulative sum."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, amounts, require_between_0_and_1
from audit.statistics.logistic_likelihood import Outcomes, intercept_for


def odds_ratio_between(acceptable: float, unacceptable: float) -> float:
    """Return the odds of the event at the unacceptable proportion over those at the acceptable one.

    Parameters
    ----------
    acceptable, unacceptable : float, between 0 and 1
        Proportions of cases with the event, the acceptable one the smaller.

    Returns
    -------
    float
        Above 1.

    Raises
    ------
    ValueError
        If a proportion is not strictly between 0 and 1, or acceptable is not below unacceptable.

    Examples
    --------
    >>> round(odds_ratio_between(0.05, 0.10), 4)
    2.1111
    """
    _require_apart(acceptable, unacceptable)
    return float(np.exp(special.logit(unacceptable) - special.logit(acceptable)))


def at_odds_ratio(proportions: ArrayLike, odds_ratio: float) -> FloatArray:
    """Return the proportions whose odds are `odds_ratio` times those given.

    Parameters
    ----------
    proportions : array, between 0 and 1
        nan where not known.
    odds_ratio : float, above 0

    Returns
    -------
    array
        Of the same shape; nan where nan was given.

    Raises
    ------
    ValueError
        If a proportion is not strictly between 0 and 1, or odds_ratio is not finite and above 0.

    Examples
    --------
    >>> at_odds_ratio([0.05, 0.5], 2.0).round(4).tolist()
    [0.0952, 0.6667]
    """
    _require_odds_ratio(odds_ratio)
    moved: FloatArray = special.expit(special.logit(_chances(proportions)) + np.log(odds_ratio))
    return moved


def moved_to_level(
    expected: ArrayLike, level: float, *, reference: ArrayLike, counted: ArrayLike = 1.0
) -> FloatArray:
    """Return probabilities with all their odds multiplied by one number, so that a reference averages `level`.

    Parameters
    ----------
    expected : array, between 0 and 1
        The probability of the event in each case; nan where not known.
    level : float, between 0 and 1
        What the probabilities of the reference are to average.
    reference : array, between 0 and 1
        The probabilities, on the old level, that set the number; nan is left out.
    counted : array of amounts
        How often each probability of the reference occurs.

    Returns
    -------
    array
        As long as `expected`; all nan where the reference holds no probability.

    Raises
    ------
    ValueError
        If a probability or the level is not strictly between 0 and 1, or an amount is negative.

    Notes
    -----
    Calibration in the large: ratios of odds between cases stay as they are.

    References
    ----------
    Steyerberg EW et al. Validation and updating of predictive logistic regression models. Stat Med
    2004;23:2567-2586.

    Examples
    --------
    >>> moved_to_level([0.02, 0.08], 0.10, reference=[0.02, 0.08]).round(4).tolist()
    [0.0421, 0.1579]
    """
    require_between_0_and_1("level", level)
    chance, number = np.broadcast_arrays(_chances(reference), amounts("counted", counted))
    used = ~np.isnan(chance) & (number > 0)
    n, old = number[used], special.logit(chance[used])
    shift = intercept_for(Outcomes(level * n, n), old)
    moved: FloatArray = special.expit(special.logit(_chances(expected)) + shift)
    return moved


def cusum_weights(events: ArrayLike, expected: ArrayLike, *, odds_ratio: float) -> FloatArray:
    """Return the log-likelihood ratio of each case: odds `odds_ratio` times those expected, against expected.

    Parameters
    ----------
    events : array of 0 and 1
        Whether the case had the event.
    expected : array, between 0 and 1, or one number for all
        Its probability where all is well; nan where not known.
    odds_ratio : float, above 0 and not 1
        Above 1 the weights look for more events than expected, below 1 for fewer.

    Returns
    -------
    array
        Above 0 for a case that speaks for the odds ratio; nan where the expectation is not known. No cases in,
        none out.

    Raises
    ------
    ValueError
        If an event is not 0 or 1, an expectation is not strictly between 0 and 1, or odds_ratio is out of range.

    Notes
    -----
    log(R / (1 - p + R p)) with the event, -log(1 - p + R p) without. With one p for all this is the Bernoulli
    CUSUM of p against the proportion at R times its odds.

    References
    ----------
    Steiner SH, Cook RJ, Farewell VT, Treasure T. Monitoring surgical performance using risk-adjusted cumulative
    sum charts. Biostatistics 2000;1:441-452. Reynolds MR, Stoumbos ZG. A CUSUM chart for monitoring a proportion
    when inspecting continuously. J Qual Technol 1999;31:87-108.

    Examples
    --------
    >>> odds_ratio = odds_ratio_between(0.05, 0.10)
    >>> cusum_weights([1, 0], 0.05, odds_ratio=odds_ratio).round(4).tolist()
    [0.6931, -0.0541]
    """
    _require_odds_ratio(odds_ratio)
    if odds_ratio == 1:
        raise ValueError("odds_ratio must not be 1, which no case can speak for, got 1")
    happened, chance = np.broadcast_arrays(indicators(events), _chances(expected))
    spread = np.log1p((odds_ratio - 1) * chance)
    return np.asarray(happened * np.log(odds_ratio) - spread, dtype=np.float64)


def learning_weights(events: ArrayLike, *, acceptable: float, unacceptable: float) -> FloatArray:
    """Return the weights of a learning-curve CUSUM, whose signal says that performance is acceptable.

    Parameters
    ----------
    events : array of 0 and 1
        Whether the case had the unwanted event.
    acceptable, unacceptable : float, between 0 and 1
        Proportions of cases with it, the acceptable one the smaller.

    Returns
    -------
    array
        log((1 - acceptable) / (1 - unacceptable)) without the event, log(acceptable / unacceptable), which is
        below 0, with it. No cases in, none out.

    Raises
    ------
    ValueError
        If an event is not 0 or 1, or the proportions are out of range or not apart.

    References
    ----------
    Biau DJ, Porcher R. A method for monitoring a process from an out of control to an in control state:
    application to the learning curve. Stat Med 2010;29:1900-1909.

    Examples
    --------
    >>> learning_weights([0, 1], acceptable=0.10, unacceptable=0.25).round(4).tolist()
    [0.1823, -0.9163]
    """
    odds_ratio = odds_ratio_between(acceptable, unacceptable)
    # The hypothesis kept until the cases speak against it is the unacceptable proportion.
    return cusum_weights(events, unacceptable, odds_ratio=1 / odds_ratio)


def indicators(events: ArrayLike) -> FloatArray:
    """Return events as 0 and 1, refusing anything else."""
    given = np.asarray(events, dtype=np.float64)
    wrong = ~((given == 0) | (given == 1))
    if wrong.any():
        raise ValueError(f"events must be 0 or 1, got {given[wrong].flat[0]}")
    return given


def _chances(values: ArrayLike) -> FloatArray:
    """Return probabilities strictly between 0 and 1, or nan, refusing anything else."""
    given = np.asarray(values, dtype=np.float64)
    wrong = (given <= 0) | (given >= 1)
    if wrong.any():
        raise ValueError(f"expected must lie between 0 and 1, got {given[wrong].flat[0]}")
    return given


def _require_apart(acceptable: float, unacceptable: float) -> None:
    """Refuse proportions that are out of range or not apart."""
    require_between_0_and_1("acceptable", acceptable)
    require_between_0_and_1("unacceptable", unacceptable)
    if acceptable >= unacceptable:
        raise ValueError(f"acceptable must lie below unacceptable, got {acceptable} and {unacceptable}")


def _require_odds_ratio(odds_ratio: float) -> None:
    """Refuse an odds ratio that is not finite and above 0."""
    if not 0 < odds_ratio < np.inf:
        raise ValueError(f"odds_ratio must be finite and above 0, got {odds_ratio}")
