"""Exact tails of binomial counts, alone and summed over strata."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from audit.statistics.arguments import FloatArray, counts, counts_within, proportions, require_choice

NEGLIGIBLE = 1e-60
TAILS = ("upper", "lower")
# The ways in which an exact test is made two-sided.
TWO_SIDED = ("minimum_likelihood", "doubled", "mid_p")
# Outcomes whose probabilities agree to this factor count as equally likely, as R's fisher.test has it.
TIE_FACTOR = 1 + 1e-7


def binomial_tail(events: ArrayLike, n: ArrayLike, proportion: ArrayLike, *, tail: str) -> FloatArray:
    """Return the exact probability of a count at least (or at most) as large as the one seen.

    Parameters
    ----------
    events : array of counts, 0 to n
        The count seen.
    n : array of counts
        Observations behind each count.
    proportion : array, 0 to 1
        The true proportion under which the probability is worked out.
    tail : "upper" or "lower"
        "upper" gives P(X >= events), "lower" gives P(X <= events).

    Returns
    -------
    array of probabilities, 0 to 1
        Shape of the arguments broadcast together; empty in, empty out. With n = 0 both tails are 1.

    Raises
    ------
    ValueError
        If a count is not a whole number, exceeds n, or the proportion lies outside 0 to 1.

    Notes
    -----
    The tail is a regularised incomplete beta function, so it is exact at any n and needs no sum.

    References
    ----------
    Abramowitz M, Stegun IA. Handbook of Mathematical Functions. Washington: National Bureau of Standards;
    1964. Formula 26.5.24.

    Examples
    --------
    >>> float(binomial_tail(2, 2, 0.5, tail="upper")), float(binomial_tail(0, 2, 0.5, tail="lower"))
    (0.25, 0.25)
    """
    require_choice("tail", tail, TAILS)
    x, total = counts_within(events, n, names=("events", "n"))
    p = proportions("proportion", proportion)
    return probability_at_least(x, total, p) if tail == "upper" else probability_at_most(x, total, p)


def probability_at_least(events: FloatArray, n: FloatArray, proportion: FloatArray) -> FloatArray:
    """Return P(X >= events) for counts already checked; events may be one above n."""
    inside = (events > 0) & (events <= n)
    tail = special.betainc(np.where(inside, events, 1.0), np.where(inside, n - events + 1, 1.0), proportion)
    return np.where(inside, tail, np.where(events <= 0, 1.0, 0.0))[()]


def probability_at_most(events: FloatArray, n: FloatArray, proportion: FloatArray) -> FloatArray:
    """Return P(X <= events) for counts already checked; events may be one below 0."""
    # The complement's own tail, not 1 - upper tail, which would lose the digits of a small probability.
    return probability_at_least(n - events, n, 1 - proportion)


def standardised_tail(observed: int, n: ArrayLike, expected_proportions: ArrayLike, *, tail: str) -> float:
    """Return the exact tail of a total whose strata have different expected proportions.

    Parameters
    ----------
    observed : count
        Events seen, all strata together.
    n : array of counts, one per stratum
        Observations in each stratum.
    expected_proportions : array, 0 to 1, one per stratum
        The proportion each stratum would have under the comparison.
    tail : "upper" or "lower"
        "upper" gives P(X >= observed), "lower" gives P(X <= observed).

    Returns
    -------
    float, 0 to 1
        1 for both tails when there is no stratum and nothing observed.

    Raises
    ------
    ValueError
        If the arrays differ in length, observed exceeds the sum of n, or a value is out of range.

    Notes
    -----
    The total is a sum of independent binomials (a Poisson-binomial distribution), worked out by convolving
    the strata's distributions. A Poisson tail with the same expected count is too wide, a single binomial
    at the average proportion is slightly so.

    References
    ----------
    Wang YH. On the number of successes in independent trials. Statistica Sinica 1993;3:295-312.

    Examples
    --------
    >>> round(standardised_tail(2, [1, 1], [0.5, 0.25], tail="upper"), 6)
    0.125
    """
    require_choice("tail", tail, TAILS)
    totals = np.atleast_1d(counts("n", n))
    expected = np.atleast_1d(proportions("expected_proportions", expected_proportions))
    if totals.shape != expected.shape:
        found = f"{totals.size} and {expected.size}"
        raise ValueError(f"n and expected_proportions must have one value per stratum, got {found}")
    seen, _ = counts_within(observed, totals.sum(), names=("observed", "sum of n"))
    first, distribution = _distribution_of_total(totals, expected)
    place = int(seen) - first
    part = distribution[max(place, 0) :] if tail == "upper" else distribution[: max(place + 1, 0)]
    return float(min(part.sum(), 1.0))


def _distribution_of_total(totals: FloatArray, expected: FloatArray) -> tuple[int, FloatArray]:
    """Return the least total worth a term and the probabilities of it and those that follow."""
    first, together = 0, np.ones(1)
    for n, proportion in zip(totals, expected, strict=True):
        one = binomial_distribution(n, proportion)
        # Terms too small ever to be seen in a sum: with many observations nearly all of them are.
        kept = np.flatnonzero(one > NEGLIGIBLE)
        together = np.convolve(together, one[kept[0] : kept[-1] + 1])
        first += int(kept[0])
    return first, together


def binomial_distribution(n: float, proportion: float) -> FloatArray:
    """Return the probabilities of 0, 1, ... n events."""
    x = np.arange(n + 1)
    log_choose = special.gammaln(n + 1) - special.gammaln(x + 1) - special.gammaln(n - x + 1)
    probabilities: FloatArray = np.exp(
        log_choose + special.xlogy(x, proportion) + special.xlog1py(n - x, -proportion)
    )
    return probabilities


def two_sided(probabilities: FloatArray, place: int, method: str) -> float:
    """Return the two-sided p-value of the outcome at a place of a discrete distribution.

    "minimum_likelihood" adds all outcomes no more likely than the one seen; "doubled" doubles the smaller tail,
    the outcome seen counted whole; "mid_p" doubles it with the outcome seen counted half.
    """
    own = float(probabilities[place])
    if method == "minimum_likelihood":
        return min(1.0, float(probabilities[probabilities <= own * TIE_FACTOR].sum()))
    part = own / 2 if method == "mid_p" else own
    tails = probabilities[place + 1 :].sum() + part, probabilities[:place].sum() + part
    return min(1.0, 2 * float(min(tails)))
