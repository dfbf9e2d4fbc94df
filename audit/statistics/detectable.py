"""The nearest true proportions that a given number of observations would find different."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, amounts, proportions, require_between_0_and_1
from audit.statistics.funnel import smallest_detectable_proportion
from audit.statistics.power import power_two_proportions
from audit.statistics.root_search import crossing


def detectable_proportions(
    n: ArrayLike, *, benchmark: float, power: float = 0.8, level: float = 0.05
) -> tuple[FloatArray, FloatArray]:
    """Return the nearest true proportions below and above a benchmark that an exact test would find.

    Parameters
    ----------
    n : array of counts
        Observations.
    benchmark : float, 0 to 1
        The proportion tested against, known without error.
    power, level
        As in `sample_size_one_proportion`.

    Returns
    -------
    (below, above) : two arrays, 0 to 1, shape of n
        nan on a side where no count would be significant: nothing can be found there, as often below a rare
        event's benchmark. Empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    The test is that of `power_one_proportion`; only results on the right side count as finding.

    References
    ----------
    Abramowitz M, Stegun IA. Handbook of Mathematical Functions. Washington: National Bureau of Standards;
    1964. Formula 26.5.24.

    Examples
    --------
    >>> below, above = detectable_proportions([50, 400], benchmark=0.05)
    >>> below.round(4).tolist(), above.round(4).tolist()
    ([nan, 0.0226], [0.1759, 0.0856])
    """
    require_between_0_and_1("level", level)
    target, tail = proportions("benchmark", benchmark), level / 2
    above = smallest_detectable_proportion(n, target, tail_probability=tail, power=power)
    # A low proportion of events is a high one of non-events.
    below = 1 - smallest_detectable_proportion(n, 1 - target, tail_probability=tail, power=power)
    return below, above


def detectable_second_proportions(
    n_1: ArrayLike, n_2: ArrayLike, *, proportion_1: ArrayLike, power: float = 0.8, level: float = 0.05
) -> tuple[FloatArray, FloatArray]:
    """Return the nearest proportions of a second group, below and above the first's, that would be found.

    Parameters
    ----------
    n_1, n_2 : arrays of amounts
        Observations in either group.
    proportion_1 : array, 0 to 1
        The true proportion of the first group.
    power, level
        As in `sample_size_one_proportion`.

    Returns
    -------
    (below, above) : two arrays, 0 to 1
        nan on a side where even 0 or 1 would not be found; empty in, empty out.

    Raises
    ------
    ValueError
        If an argument is out of range.

    Notes
    -----
    Solves `power_two_proportions` for the second proportion; an empty group finds nothing.

    References
    ----------
    Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions. 3rd ed. Hoboken: Wiley; 2003.
    Chapter 4.

    Examples
    --------
    >>> below, above = detectable_second_proportions(435, 435, proportion_1=0.1)
    >>> round(float(below), 4), round(float(above), 4)
    (0.05, 0.1642)
    """
    require_between_0_and_1("power", power)
    first, second, p_1 = np.broadcast_arrays(
        amounts("n_1", n_1), amounts("n_2", n_2), proportions("proportion_1", proportion_1)
    )
    below = _nearest_found(first, second, p_1, 0.0, power, level)
    return below, _nearest_found(first, second, p_1, 1.0, power, level)


def _nearest_found(
    n_1: FloatArray, n_2: FloatArray, proportion: FloatArray, edge: float, power: float, level: float
) -> FloatArray:
    """Return the second proportion nearest to the first, on the edge's side, that has the power."""

    def short_of_power(share: FloatArray) -> FloatArray:
        other = proportion + share * (edge - proportion)
        return (
            power_two_proportions(n_1, n_2, proportion_1=proportion, proportion_2=other, level=level) - power
        )

    share = crossing(short_of_power, np.zeros(proportion.shape), np.ones(proportion.shape), steps=60)
    found = short_of_power(np.ones(proportion.shape)) >= 0
    return np.where(found, proportion + share * (edge - proportion), np.nan)[()]
