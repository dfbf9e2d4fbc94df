"""Comparisons of proportions as the columns of a table: two groups, and a trend over ordered ones."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from audit.statistics.arguments import counts
from audit.statistics.estimates import Estimate
from audit.statistics.odds import fisher_exact
from audit.statistics.stratified import (
    PooledEstimate,
    mantel_haenszel_risk_difference,
    mantel_haenszel_risk_ratio,
)
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios
from audit.statistics.trend import cochran_armitage
from audit.statistics.two_groups import difference_interval, risk_ratio

CONTRAST_COLUMNS = (
    *("events", "n", "reference_events", "reference_n"),
    *("ratio", "ratio_lower", "ratio_upper", "difference", "difference_lower", "difference_upper"),
    *("chi_square", "p_value", "method"),
)

ADJUSTED_COLUMNS = (
    *("events", "n", "reference_events", "reference_n", "n_strata", "n_strata_used"),
    *("ratio", "ratio_lower", "ratio_upper", "difference", "difference_lower", "difference_upper"),
    *("chi_square", "p_value", "homogeneity_chi_square", "homogeneity_degrees", "homogeneity_p_value"),
    *("method", "caution"),
)


def two_group_columns(events: int, n: int, reference_events: int, reference_n: int) -> dict[str, object]:
    """Return one group against a reference group: ratio, difference and exact test.

    Parameters
    ----------
    events, n : counts
        Observations with the event and all observations of the group.
    reference_events, reference_n : counts
        Those of the reference group.

    Returns
    -------
    dict
        The four counts; ``ratio, ratio_lower, ratio_upper`` (Katz, or Koopman where a group has no events);
        ``difference, difference_lower, difference_upper`` (Newcombe, -1 to 1); ``p_value`` (Fisher, two-sided,
        minimum likelihood); ``method``. The ratio is nan where neither group has an event. Empty where a group has
        no observations.

    Raises
    ------
    ValueError
        If a count is not a whole number or events exceed n.

    References
    ----------
    Katz D et al. Biometrics 1978;34:469-474. Koopman PAR. Biometrics 1984;40:513-517. Newcombe RG. Stat Med
    1998;17:873-890.

    Examples
    --------
    >>> round(two_group_columns(9, 120, 4, 280)["ratio"], 2)
    5.25
    """
    if not (counts("n", n) and counts("reference_n", reference_n)):
        return {}
    four = events, n, reference_events, reference_n
    unbounded = events == 0 or reference_events == 0
    ratio = risk_ratio(*four, method="koopman" if unbounded else "katz")
    difference = difference_interval(*four)
    return {
        "events": events,
        "n": n,
        "reference_events": reference_events,
        "reference_n": reference_n,
        **_named(ratio, "ratio"),
        **_named(difference, "difference"),
        "p_value": fisher_exact(*four).p_value,
        "method": f"risk ratio {ratio.method}; difference {difference.method}; Fisher, minimum likelihood",
    }


def stratified_columns(
    events: ArrayLike, n: ArrayLike, reference_events: ArrayLike, reference_n: ArrayLike
) -> dict[str, object]:
    """Return one group against a reference group within strata, pooled by Mantel and Haenszel.

    Parameters
    ----------
    events, n : arrays of counts, one per stratum
        Observations with the event and all observations of the group.
    reference_events, reference_n : arrays of counts, one per stratum
        Those of the reference group.

    Returns
    -------
    dict
        The four counts summed over all strata; ``n_strata, n_strata_used`` (with both groups); ``ratio,
        ratio_lower, ratio_upper`` (of proportions); ``difference, difference_lower, difference_upper`` (-1 to
        1); ``chi_square, p_value`` (Cochran-Mantel-Haenszel, no correction); ``homogeneity_chi_square,
        homogeneity_degrees, homogeneity_p_value`` (odds ratios alike in all strata, Tarone); ``method,
        caution``. nan where a figure does not exist.

    Raises
    ------
    ValueError
        If a count is not a whole number, events exceed n or lengths differ.

    References
    ----------
    Greenland S, Robins JM. Biometrics 1985;41:55-68. Sato T. Biometrics 1989;45:1323-1324. Tarone RE. Biometrika
    1985;72:91-95.

    Examples
    --------
    >>> columns = stratified_columns([8, 22], [106, 98], [5, 16], [120, 85])
    >>> round(columns["ratio"], 4), round(columns["difference"], 4), round(columns["p_value"], 3)
    (1.3256, 0.0349, 0.275)
    """
    four = events, n, reference_events, reference_n
    ratio, difference = mantel_haenszel_risk_ratio(*four), mantel_haenszel_risk_difference(*four)
    test, alike = cochran_mantel_haenszel(*four), homogeneity_of_odds_ratios(*four)
    names = ("events", "n", "reference_events", "reference_n")
    return {
        **{name: int(np.sum(own)) for name, own in zip(names, four, strict=True)},
        "n_strata": difference.n_strata,
        "n_strata_used": difference.n_strata_used,
        **_pooled_columns(ratio, "ratio"),
        **_pooled_columns(difference, "difference"),
        "chi_square": test.statistic,
        "p_value": test.p_value,
        "homogeneity_chi_square": alike.statistic,
        "homogeneity_degrees": alike.degrees_of_freedom,
        "homogeneity_p_value": alike.p_value,
        "method": "Mantel-Haenszel risk ratio (Greenland-Robins) and difference (Sato); Cochran-Mantel-Haenszel "
        "test; Tarone's test that odds ratios are alike",
        "caution": difference.caution or ratio.caution,
    }


def _pooled_columns(estimate: PooledEstimate, name: str) -> dict[str, float]:
    """Return a pooled estimate as three columns."""
    return {name: estimate.value, f"{name}_lower": estimate.ci_lower, f"{name}_upper": estimate.ci_upper}


def trend_columns(events: ArrayLike, n: ArrayLike, scores: ArrayLike) -> tuple[dict[str, object], str]:
    """Return the trend over ordered groups as columns, and its direction.

    Parameters
    ----------
    events, n : arrays of counts, one per group
        Observations with the event and all observations.
    scores : array of numbers, one per group
        Where each group lies on the scale.

    Returns
    -------
    (columns, direction) : dict and str
        ``events, n`` (all groups together), ``chi_square, p_value`` (Cochran-Armitage; nan where no test can be
        made); ``rising``, ``falling`` or ``none``.

    Raises
    ------
    ValueError
        As `cochran_armitage`.

    Examples
    --------
    >>> columns, direction = trend_columns([83, 90, 129, 70], [86, 93, 136, 82], [1, 2, 3, 4])
    >>> columns["events"], round(columns["chi_square"], 4), direction
    (372, 8.2249, 'falling')
    """
    test = cochran_armitage(events, n, scores=scores)
    columns: dict[str, object] = {
        "events": int(np.sum(events)),
        "n": int(np.sum(n)),
        "chi_square": test.chi_square,
        "p_value": test.p_value,
    }
    return columns, test.direction


def _named(estimate: Estimate, name: str) -> dict[str, float]:
    """Return an estimate as three columns."""
    return {
        name: float(estimate.value),
        f"{name}_lower": float(estimate.ci_lower),
        f"{name}_upper": float(estimate.ci_upper),
    }
