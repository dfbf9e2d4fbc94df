"""How many unrelated numbers pass a check digit by chance."""

import math

ALARM = 1e-6  # the chance at which an innocent column of references would be refused


def tail_probability(passes: int, n: int, chance: float) -> float:
    """The probability that at least so many of n unrelated values pass a rule.

    Parameters
    ----------
    passes
        Values that pass, 0 to n.
    n
        Values of the rule's form.
    chance
        Probability that one passes, 0 to 1, both excluded.

    Returns
    -------
    float
        Upper tail of the binomial distribution, `passes` included; 1 when `passes` is 0.

    Examples
    --------
    >>> tail_probability(10, 20, 1 / 11) > 1e-6 > tail_probability(11, 20, 1 / 11)
    True
    """
    if passes <= 0:
        return 1.0
    log_odds = (math.log(chance), math.log1p(-chance))
    terms = (
        math.lgamma(n + 1)
        - math.lgamma(k + 1)
        - math.lgamma(n - k + 1)
        + k * log_odds[0]
        + (n - k) * log_odds[1]
        for k in range(passes, n + 1)
    )
    return min(1.0, math.fsum(map(math.exp, terms)))


def passes_allowed(n: int, chance: float, *, alarm: float = ALARM) -> int:
    """How many of n values of a column may pass a rule before the column is refused.

    Parameters
    ----------
    n
        Distinct values of the rule's form.
    chance
        Probability that an unrelated value passes.
    alarm
        The probability below which chance is no longer believed.

    Returns
    -------
    int
        n when no number of passes would be refused.

    Examples
    --------
    >>> [passes_allowed(n, 1 / 11) for n in (5, 10, 100)]
    [5, 7, 25]
    """
    allowed = n
    while allowed > 0 and tail_probability(allowed, n, chance) < alarm:
        allowed -= 1
    return allowed
