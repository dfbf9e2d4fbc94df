"""How long a cumulative sum runs before it signals, so that its limit is chosen and not invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, amounts, counts, require_between_0_and_1
from audit.statistics.case_weights import at_odds_ratio, cusum_weights, learning_weights
from audit.statistics.cusum import require_limit

# So many sums below the limit are told apart where a case adds one of two weights, and fewer, but never less than
# the second number, where it adds one of many.
_SUMS, _FEWEST = 10_000, 500
# The share without a signal falls steadily once its factor changes by less than this part of its distance from 1.
_STEADY, _LONGEST = 1e-9, 20_000
# Limits are looked for in these steps.
_STEP, _MOST = 0.05, 50.0
# Moves further apart than this are summed in clusters of their own.
_APART = 16
_TINY, _ROUNDING = 1e-9, 1e-12


@dataclass(frozen=True)
class Increments:
    """The weights that one case may add to the sum, and the chance of each; the chances add up to 1."""

    sizes: FloatArray
    chances: FloatArray


def cusum_increments(
    expected: ArrayLike, *, odds_ratio: float, true_odds_ratio: float = 1.0, counted: ArrayLike = 1.0
) -> Increments:
    """Return what a case adds to a CUSUM that looks for `odds_ratio`, where another odds ratio is true.

    Parameters
    ----------
    expected : array, between 0 and 1
        Probabilities of the event in the cases to come, where all is well; nan is left out.
    odds_ratio : float, above 0 and not 1
        As in `cusum_weights`.
    true_odds_ratio : float, above 0
        By how much the true odds differ from those expected: 1 where all is well.
    counted : array of amounts
        How often cases of each kind come.

    Returns
    -------
    Increments

    Raises
    ------
    ValueError
        If nothing is expected of any case, or an argument is out of range.

    References
    ----------
    Steiner SH, Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441-452.

    Examples
    --------
    >>> from audit.statistics.case_weights import odds_ratio_between
    >>> found = cusum_increments([0.05], odds_ratio=odds_ratio_between(0.05, 0.10))
    >>> found.sizes.round(4).tolist(), found.chances.round(4).tolist()
    ([0.6931, -0.0541], [0.05, 0.95])
    """
    chance, number = (
        np.atleast_1d(part)
        for part in np.broadcast_arrays(np.asarray(expected, dtype=np.float64), amounts("counted", counted))
    )
    used = ~np.isnan(chance) & (number > 0)
    if not used.any():
        raise ValueError("expected must hold a probability to count, got none")
    share = number[used] / number[used].sum()
    true = at_odds_ratio(chance[used], true_odds_ratio)
    sizes = [cusum_weights(event, chance[used], odds_ratio=odds_ratio) for event in (1, 0)]
    return Increments(np.concatenate(sizes), np.concatenate([share * true, share * (1 - true)]))


def learning_increments(probability: float, *, acceptable: float, unacceptable: float) -> Increments:
    """Return what a case adds to a learning-curve CUSUM where the event has the probability given.

    Parameters
    ----------
    probability : float, between 0 and 1
        The true one.
    acceptable, unacceptable : float, between 0 and 1
        As in `learning_weights`.

    Returns
    -------
    Increments

    Raises
    ------
    ValueError
        If a proportion is out of range, or acceptable is not below unacceptable.

    References
    ----------
    Biau DJ, Porcher R. Stat Med 2010;29:1900-1909.

    Examples
    --------
    >>> found = learning_increments(0.10, acceptable=0.10, unacceptable=0.25)
    >>> found.sizes.round(4).tolist(), found.chances.round(4).tolist()
    ([-0.9163, 0.1823], [0.1, 0.9])
    """
    require_between_0_and_1("probability", probability)
    sizes = learning_weights([1, 0], acceptable=acceptable, unacceptable=unacceptable)
    return Increments(sizes, np.array([probability, 1 - probability]))


def average_run_length(increments: Increments, *, limit: float) -> float:
    """Return after how many cases, on average, a CUSUM that begins at 0 first signals.

    Parameters
    ----------
    increments : Increments
        From `cusum_increments` or `learning_increments`.
    limit : float, above 0
        The sum at or above which there is a signal.

    Returns
    -------
    float
        Cases; infinite where no increment leads upward, or the limit is beyond reach.

    Raises
    ------
    ValueError
        If limit is not finite and above 0.

    Notes
    -----
    A Markov chain over equally spaced sums from 0 to below the limit, of which the smallest increment is a whole
    number. An increment that ends between two of them is shared so that the mean is kept. The chain is followed
    until the share without a signal falls by the same factor at every case; what is left is a geometric series.

    References
    ----------
    Brook D, Evans DA. An approach to the probability distribution of cusum run length. Biometrika
    1972;59:539-549.

    Examples
    --------
    >>> from audit.statistics.case_weights import odds_ratio_between
    >>> found = cusum_increments([0.05], odds_ratio=odds_ratio_between(0.05, 0.10))
    >>> round(average_run_length(found, limit=2.0))
    381
    """
    if (increments.sizes[increments.chances > 0] <= 0).all():
        require_limit(limit)
        return np.inf
    left, factor = _without_signal(increments, limit, _LONGEST)
    return float(left[:-1].sum() + left[-1] / (1 - factor)) if 1 - factor > _ROUNDING else np.inf


def signal_probability(increments: Increments, n: ArrayLike, *, limit: float) -> FloatArray:
    """Return the probability that a CUSUM that begins at 0 has signalled within n cases.

    Parameters
    ----------
    increments, limit
        As in `average_run_length`.
    n : array of counts
        Numbers of cases.

    Returns
    -------
    array, 0 to 1
        0 for no cases. Empty in, empty out.

    Raises
    ------
    ValueError
        If n is not a whole number, or limit is not finite and above 0.

    Notes
    -----
    The chain of `average_run_length`.

    References
    ----------
    Brook D, Evans DA. Biometrika 1972;59:539-549.

    Examples
    --------
    >>> found = learning_increments(0.25, acceptable=0.10, unacceptable=0.25)
    >>> signal_probability(found, [0, 50], limit=1.5).round(3).tolist()
    [0.0, 0.679]
    """
    wanted = counts("n", n)
    left, factor = _without_signal(increments, limit, int(wanted.max(initial=0)))
    last = len(left) - 1
    within = left[np.minimum(wanted, last).astype(np.int64)]
    return np.clip(1 - within * factor ** np.maximum(wanted - last, 0), 0.0, 1.0)


def limit_for(increments: Increments, *, probability: float, within: int) -> float:
    """Return the smallest limit, in steps of 0.05, that a CUSUM seldom reaches within a number of cases.

    Parameters
    ----------
    increments : Increments
        Of cases in which a signal would be false.
    probability : float, between 0 and 1
        The most that a signal may have.
    within : count, at least 1
        In so many cases.

    Returns
    -------
    float
        The limit; at most 50, beyond which none is looked for.

    Raises
    ------
    ValueError
        If probability or within is out of range.

    Notes
    -----
    A limit chosen from a false alarm has no other meaning: how soon a true change is found is for
    `signal_probability` to say.

    References
    ----------
    Steiner SH, Cook RJ, Farewell VT, Treasure T. Biostatistics 2000;1:441-452. Biau DJ, Porcher R. Stat Med
    2010;29:1900-1909: limits set by simulation of the true and the false discoveries.

    Examples
    --------
    >>> found = learning_increments(0.25, acceptable=0.10, unacceptable=0.25)
    >>> limit_for(found, probability=0.05, within=50)
    3.65
    """
    require_between_0_and_1("probability", probability)
    if within < 1 or within != int(within):
        raise ValueError(f"within must be a whole number of 1 or more, got {within}")
    low, high = 0, round(_MOST / _STEP)
    while high - low > 1:
        middle = (low + high) // 2
        often = signal_probability(increments, within, limit=middle * _STEP) > probability
        low, high = (middle, high) if often else (low, middle)
    return round(high * _STEP, 2)


def _without_signal(increments: Increments, limit: float, most: int) -> tuple[FloatArray, float]:
    """Return the share without a signal after 0, 1, ... cases until it falls steadily, and by which factor then."""
    require_limit(limit)
    spacing = _spacing(increments, limit)
    moves = _moves(increments, spacing)
    share = np.zeros(int(np.ceil(limit / spacing - _TINY)))
    share[0] = 1.0
    left, factor = [1.0], 1.0
    for _ in range(min(most, _LONGEST)):
        share = _after_a_case(share, moves)
        left.append(float(share.sum()))
        before, factor = factor, left[-1] / left[-2]
        # Before the first case that can signal the factor is 1 but for rounding, and says nothing.
        steady = 1 - factor > _ROUNDING and abs(factor - before) < _STEADY * (1 - factor)
        if steady or left[-1] < _ROUNDING:
            break
    return np.asarray(left), factor


def _after_a_case(share: FloatArray, moves: Sequence[tuple[int, FloatArray]]) -> FloatArray:
    """Return the share of each sum after one case more; what reaches the limit is gone."""
    moved = np.zeros(share.size)
    for first, chances in moves:
        spread = np.convolve(share, chances)
        # What would fall below 0 stays there.
        moved[0] += spread[: max(-first, 0)].sum()
        inside = spread[max(-first, 0) :][: max(share.size - max(first, 0), 0)]
        start = max(first, 0)
        moved[start : start + inside.size] += inside
    return moved


def _moves(increments: Increments, spacing: float) -> list[tuple[int, FloatArray]]:
    """Return by how many places the sum may move: the first of each cluster, and the chances from there on."""
    places = increments.sizes / spacing
    # Rounding must not part a sum from the place it falls on.
    below = np.floor(places + _TINY)
    above = np.maximum(places - below, 0.0)
    place = np.concatenate([below, below + 1]).astype(np.int64)
    chance = np.concatenate([(1 - above) * increments.chances, above * increments.chances])
    place, chance = place[chance > 0], chance[chance > 0]
    order = np.argsort(place, kind="stable")
    parts = np.flatnonzero(np.diff(place[order]) > _APART) + 1
    return [
        (int(place[own[0]]), np.bincount(place[own] - place[own[0]], weights=chance[own]).astype(np.float64))
        for own in np.split(order, parts)
    ]


def _spacing(increments: Increments, limit: float) -> float:
    """Return the distance of the sums: the smallest increment is a whole number of it, unless that is too fine."""
    sums = max(_SUMS // increments.sizes.size, _FEWEST)
    smallest = float(np.abs(increments.sizes[increments.sizes != 0]).min(initial=np.inf))
    parts = np.floor(smallest * sums / limit)
    return smallest / parts if 1 <= parts < np.inf else limit / sums
