"""Gray's test that several groups have the same cumulative incidence of one cause."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import FloatArray, counts
from audit.statistics.competing import ROUNDING
from audit.statistics.curve_comparison import CurveTest, Scores, compare_within_strata
from audit.statistics.risk_sets import spells


def gray_test(
    durations: ArrayLike,
    endings: ArrayLike,
    groups: ArrayLike,
    *,
    cause: int,
    weights: ArrayLike | None = None,
    strata: ArrayLike | None = None,
) -> CurveTest:
    """Return Gray's test that all groups have the same cumulative incidence of a cause.

    Parameters
    ----------
    durations, endings, weights
        As in `cumulative_incidence`: endings are 0 = censored, 1, 2, ... = ended by that cause.
    groups : array of labels
        The group of each row; none may be missing.
    cause : code, 1 or more
        The cause compared; all other codes compete with it.
    strata : array of labels, optional
        As in `log_rank`.

    Returns
    -------
    CurveTest
        groups: frame with group, n, observed and expected events of the cause, one row per group in sorted
        order; chi_square; degrees_of_freedom: groups with an expected event, less one; p_value. chi_square and
        p_value are nan where no test can be made: no event of the cause, fewer than two groups ever at risk
        together, groups so unlike in length of observation that the joint incidence comes to 1 while events
        are still to come, or so few and so tied that the variance is not positive.

    Raises
    ------
    ValueError
        As `cumulative_incidence`, if cause is not a whole number of 1 or more, or if a group is missing or
        groups has another length. There is no late entry: the test is not defined for it.

    Notes
    -----
    A log-rank test of one cause compares how fast it strikes those still there; this compares how many it has
    struck in the end, which also depends on the other causes. The two can disagree.

    With Y at risk, S the survival from all causes and F the incidence of the cause in a group, both just before
    a time, h = Y / S stands for those not censored by then and R = h (1 - F) for those who have not had the
    cause. The events expected in a group are those of all groups shared out as R. With no other cause R is Y
    and the score is that of the log-rank test. The variance is that of Gray's theorem 1 with the joint
    incidence growing by (events of the cause) / (sum of h). Events at one time are corrected for as in R's
    package cmprsk, whose number for rho = 0 this is.

    References
    ----------
    Gray RJ. A class of K-sample tests for comparing the cumulative incidence of a competing risk. Ann Stat
    1988;16:1141-1154. Gray RJ. cmprsk: Subdistribution Analysis of Competing Risks. R package.

    Examples
    --------
    >>> found = gray_test([1, 2, 3, 4, 5, 6], [1, 1, 2, 2, 1, 0], ["a", "a", "a", "b", "b", "b"], cause=1)
    >>> found.groups.round(3)
      group  n  observed  expected
    0     a  3       2.0       0.9
    1     b  3       1.0       2.1
    >>> round(found.chi_square, 3), found.degrees_of_freedom
    (2.438, 1)
    """
    if not (cause >= 1 and cause == np.floor(cause)):
        raise ValueError(f"cause must be a whole number of 1 or more, got {cause}")
    codes = counts("endings", endings)
    own_or_other = np.where(codes == cause, 1, np.where(codes > 0, 2, 0))
    spells(durations, own_or_other, entry=None, weights=weights)
    return compare_within_strata(
        durations,
        own_or_other,
        groups,
        entry=None,
        weights=weights,
        strata=strata,
        codes=np.array([1, 2]),
        scores=_scores,
        method="gray",
    )


def _scores(at_risk: FloatArray, events: FloatArray) -> Scores:
    """Return observed and expected events per group, and the covariance of their differences."""
    own, other = events[:, :, 0], events[:, :, 1]
    present, n = at_risk > 0, np.maximum(at_risk, 1)
    survival = np.cumprod(1 - (own + other) / n, axis=0)
    before = _just_before(survival, start=1.0)
    incidence_before = _just_before(np.cumsum(before * own / n, axis=0), start=0.0)
    uncensored = np.where(present, at_risk / np.where(present, before, 1.0), 0.0)
    without_cause = uncensored * (1 - incidence_before)
    total, jointly = uncensored.sum(axis=1), own.sum(axis=1)
    expected = (jointly / without_cause.sum(axis=1)) @ without_cause
    joint = np.cumsum(jointly / total)
    left_before = 1 - np.append(0.0, joint[:-1])[: joint.size]
    if (left_before[jointly > 0] <= ROUNDING).any():
        return own.sum(axis=0), expected, np.full((n.shape[1], n.shape[1]), np.nan)
    hazard = np.where(jointly > 0, jointly / np.where(left_before > 0, left_before * total, 1.0), 0.0)
    # The share of the group's survivors whom the joint incidence leaves; 0 where nobody survives.
    left = np.where(survival > 0, (1 - joint)[:, None] / np.where(survival > 0, survival, 1.0), 0.0)
    own_noise = np.where(present, _own_noise(jointly, total, before, n), 0.0)
    other_noise = np.where(survival > 0, _tied(other, n) * before**2 * other / n**2, 0.0)
    return (
        own.sum(axis=0),
        expected,
        _variance(uncensored, total, hazard, left, own_noise, other_noise),
    )


def _just_before(values: np.ndarray, *, start: float) -> FloatArray:
    """Return the values of the time before, and the start at the first time."""
    return np.vstack([np.full((1, values.shape[1]), start), values[:-1]])[: values.shape[0]]


def _own_noise(jointly: FloatArray, total: FloatArray, before: FloatArray, n: FloatArray) -> FloatArray:
    """Return the variance that events of the cause, shared out as those not censored, add in each group."""
    all_at_risk = total[:, None] * before
    return _tied(jointly[:, None], all_at_risk) * before * jointly[:, None] / (total[:, None] * n)


def _tied(events: FloatArray, n: FloatArray) -> FloatArray:
    """Return the factor for several events at one time among n at risk: (n - d) / (n - 1)."""
    several = (events > 1) & (n > 1)
    return np.where(several, 1 - (events - 1) / np.where(several, n - 1, 1.0), 1.0)


def _variance(
    uncensored: FloatArray,
    total: FloatArray,
    hazard: FloatArray,
    left: FloatArray,
    own_noise: FloatArray,
    other_noise: FloatArray,
) -> FloatArray:
    """Return the covariance of the scores: for each group, what its events add to every score.

    An event adds to the score at its own time and, through the survival and incidence of its group, to the
    scores at all later times.
    """
    size = uncensored.shape[1]
    variance = np.zeros((size, size))
    for group in range(size):
        at_once = -uncensored * (uncensored[:, [group]] / total[:, None])
        at_once[:, group] += uncensored[:, group]
        so_far = np.cumsum(at_once * hazard[:, None], axis=0)
        later = so_far[-1:] - so_far
        of_own = at_once + (1 - left[:, [group]]) * later
        of_other = left[:, [group]] * later
        variance += (of_own * own_noise[:, [group]]).T @ of_own
        variance += (of_other * other_noise[:, [group]]).T @ of_other
    return variance
