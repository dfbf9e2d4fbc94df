"""Whether a total may be told to one of those who make it up without giving another one away."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from audit.statistics.arguments import amounts


def hidden_among_others(
    sizes: ArrayLike, *, smallest: float, others: int, largest_share: float
) -> NDArray[np.bool_]:
    """Return who may be told the total of all without learning much of any one other.

    Parameters
    ----------
    sizes : array of amounts, one per contributor
        What each contributes to the total, such as a denominator.
    smallest : amount
        A contributor of less does not count as one in whom another could hide.
    others : whole number, 1 or more
        At least so many others must count.
    largest_share : number, 0 to 1
        No other may hold more than this share of what the others hold together.

    Returns
    -------
    array of bool, one per contributor
        True where both rules hold for the others of that contributor. Empty in, empty out.

    Raises
    ------
    ValueError
        If an amount is negative, `others` is below 1 or `largest_share` lies outside 0 to 1.

    Notes
    -----
    Who knows the total and the own part knows the rest. With one other the rest is that other's; with a few,
    of whom one is large, nearly so. A threshold rule together with a dominance rule, both seen from inside: the
    own part is taken away first.

    References
    ----------
    Hundepool A, Domingo-Ferrer J, Franconi L, et al. Statistical Disclosure Control. Chichester: Wiley; 2012.
    Chapter 4 (from memory).

    Examples
    --------
    >>> hidden_among_others([50, 30, 30, 30], smallest=20, others=3, largest_share=0.5).tolist()
    [True, True, True, True]
    >>> hidden_among_others([200, 30, 30, 30], smallest=20, others=3, largest_share=0.5).tolist()
    [True, False, False, False]
    """
    if others < 1:
        raise ValueError(f"others must be 1 or more, got {others}")
    if not 0 <= largest_share <= 1:
        raise ValueError(f"largest_share must lie from 0 to 1, got {largest_share}")
    size = np.atleast_1d(amounts("sizes", sizes))
    counts = size >= smallest
    enough = counts.sum() - counts >= others
    # The largest of the others: the second where one is the largest oneself.
    ordered = np.sort(np.append(size, [0.0, 0.0]))
    largest = np.where(np.arange(size.size) == np.argmax(np.append(size, 0.0)), ordered[-2], ordered[-1])
    told: NDArray[np.bool_] = enough & (largest <= largest_share * (size.sum() - size))
    return told
