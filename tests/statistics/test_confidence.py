"""The confidence asked for reaches both limits, of every interval there is."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from scipy import special, stats

from audit.statistics.beta_binomial import beta_binomial
from audit.statistics.clustered_incidence import clustered_incidence
from audit.statistics.competing import cumulative_incidence
from audit.statistics.completeness import reverse_kaplan_meier
from audit.statistics.cox import cox_regression
from audit.statistics.curves import restricted_mean
from audit.statistics.differences import difference_from_limits
from audit.statistics.discrimination import c_statistic
from audit.statistics.estimates import Estimate
from audit.statistics.expected import observed_expected
from audit.statistics.firth import firth_regression
from audit.statistics.hazards import nelson_aalen
from audit.statistics.logistic import logistic_regression
from audit.statistics.odds import odds_ratio
from audit.statistics.proportions import METHODS as OF_PROPORTIONS
from audit.statistics.proportions import proportion_interval
from audit.statistics.quantile_error import quantile_with_error
from audit.statistics.rates import METHODS as OF_RATES
from audit.statistics.rates import rate_interval, rate_ratio
from audit.statistics.restricted_means import difference_of_restricted_means
from audit.statistics.shrinkage import shrunken_proportions
from audit.statistics.standardisation import directly_standardised_rate, indirectly_standardised_rate
from audit.statistics.stratified import (
    mantel_haenszel_odds_ratio,
    mantel_haenszel_risk_difference,
    mantel_haenszel_risk_ratio,
)
from audit.statistics.survival import kaplan_meier
from audit.statistics.two_groups import difference_interval, risk_ratio

Three = tuple[float, float, float]
FOUR = (12, 40, 7, 50)
STRATA = ([12, 5], [40, 30], [7, 6], [50, 40])
TIMES, EVENTS = np.arange(1, 21), np.tile([1, 1, 0, 1], 5)
GROUPS = pd.DataFrame({"x": np.tile([0.0, 1.0, 1.0, 0.0, 1.0], 4)})


def of(estimate: Estimate) -> Three:
    """The limits of an estimate around its value."""
    return float(estimate.ci_lower), float(estimate.value), float(estimate.ci_upper)


def row(frame: pd.DataFrame, value: str, place: int = 5) -> Three:
    """The limits of a row around its value."""
    return tuple(float(frame[name].to_numpy()[place]) for name in ("ci_lower", value, "ci_upper"))  # type: ignore[return-value]


def log_minus_log(share: np.ndarray) -> np.ndarray:
    """The scale of the limits of a curve."""
    return np.log(-np.log(share))


# On its scale each of these is the value plus and minus a quantile of the normal distribution times an error.
NORMAL: list[tuple[str, Callable[[float], Three], Callable[[np.ndarray], np.ndarray]]] = [
    ("woolf", lambda c: of(odds_ratio(*FOUR, method="woolf", confidence=c)), np.log),
    ("katz", lambda c: of(risk_ratio(*FOUR, method="katz", confidence=c)), np.log),
    ("pooled odds", lambda c: of(mantel_haenszel_odds_ratio(*STRATA, confidence=c)), np.log),  # type: ignore[arg-type]
    ("pooled risks", lambda c: of(mantel_haenszel_risk_ratio(*STRATA, confidence=c)), np.log),  # type: ignore[arg-type]
    (
        "pooled differences",
        lambda c: of(mantel_haenszel_risk_difference(*STRATA, confidence=c)),  # type: ignore[arg-type]
        np.asarray,
    ),
    (
        "standardised, normal",
        lambda c: of(directly_standardised_rate([9, 7], [90, 80], [3, 2], method="normal", confidence=c)),
        np.asarray,
    ),
    ("curve", lambda c: row(kaplan_meier(TIMES, EVENTS, confidence=c), "survival"), log_minus_log),
    (
        "curve, log",
        lambda c: row(kaplan_meier(TIMES, EVENTS, confidence=c, transform="log"), "survival", 12),
        np.log,
    ),
    (
        "curve, plain",
        lambda c: row(kaplan_meier(TIMES, EVENTS, confidence=c, transform="plain"), "survival", 9),
        np.asarray,
    ),
    (
        "observation",
        lambda c: row(reverse_kaplan_meier(TIMES, 1 - EVENTS, confidence=c), "survival"),
        log_minus_log,
    ),
    (
        "incidence",
        lambda c: row(cumulative_incidence(TIMES, EVENTS, confidence=c), "incidence"),
        log_minus_log,
    ),
    ("hazard", lambda c: row(nelson_aalen(TIMES, EVENTS, confidence=c), "cumulative_hazard"), np.log),
    (
        "clusters",
        lambda c: row(
            clustered_incidence(TIMES, EVENTS, TIMES // 2, horizons=[7.0], confidence=c), "incidence", 0
        ),
        log_minus_log,
    ),
    (
        "restricted mean",
        lambda c: of(restricted_mean(kaplan_meier(TIMES, EVENTS), 15, confidence=c)),  # type: ignore[arg-type]
        np.asarray,
    ),
    (
        "restricted means",
        lambda c: of(
            difference_of_restricted_means(  # type: ignore[arg-type]
                kaplan_meier(TIMES, EVENTS), kaplan_meier(TIMES / 2, EVENTS), 9, confidence=c
            )
        ),
        np.asarray,
    ),
    (
        "quantile",
        lambda c: of(quantile_with_error(kaplan_meier(TIMES, EVENTS), about=0.1, confidence=c)),  # type: ignore[arg-type]
        np.asarray,
    ),
    (
        "cox",
        lambda c: row(cox_regression(GROUPS, TIMES, EVENTS, confidence=c).coefficients, "hazard_ratio", 0),
        np.log,
    ),
    (
        "logistic",
        lambda c: row(
            logistic_regression(GROUPS, EVENTS, method="maximum_likelihood", confidence=c).coefficients,
            "odds_ratio",
            1,
        ),
        np.log,
    ),
    (
        "c-statistic",
        lambda c: of(c_statistic([0.1, 0.2, 0.3, 0.4], [2, 3, 5, 7], [20, 20, 20, 20], confidence=c)[0]),
        special.logit,
    ),
]


@pytest.mark.parametrize(("limits", "scale"), [case[1:] for case in NORMAL], ids=[case[0] for case in NORMAL])
@pytest.mark.parametrize("confidence", [0.8, 0.99])
def test_normal_limits_reach_as_far_as_their_quantile(
    limits: Callable[[float], Three], scale: Callable[[np.ndarray], np.ndarray], confidence: float
) -> None:
    usual, other = scale(np.array(limits(0.95))), scale(np.array(limits(confidence)))
    assert other[1] == usual[1]
    ratio = stats.norm.ppf((1 + confidence) / 2) / stats.norm.ppf(0.975)
    assert (other - other[1]) == pytest.approx(ratio * (usual - usual[1]), rel=1e-7)


NESTED: list[tuple[str, Callable[[float], Three]]] = [
    *(
        (
            f"proportion, {name}",
            lambda c, name=name: _sides(proportion_interval(7, 30, confidence=c, method=name), 7 / 30),
        )
        for name in OF_PROPORTIONS
    ),
    *(
        (
            f"rate, {name}",
            lambda c, name=name: _sides(rate_interval(7, 30.0, confidence=c, method=name), 7 / 30),
        )
        for name in OF_RATES
    ),
    *(
        (
            f"rate ratio, {name}",
            lambda c, name=name: of(rate_ratio(9, 50.0, 4, 60.0, confidence=c, method=name)),
        )
        for name in ("exact", "mid_p")
    ),
    *(
        (f"odds ratio, {name}", lambda c, name=name: of(odds_ratio(*FOUR, confidence=c, method=name)))
        for name in ("exact", "mid_p")
    ),
    *(
        (f"risk ratio, {name}", lambda c, name=name: of(risk_ratio(*FOUR, confidence=c, method=name)))
        for name in ("koopman", "miettinen_nurminen")
    ),
    ("difference", lambda c: of(difference_interval(*FOUR, confidence=c))),
    *(
        (
            f"standardised, {name}",
            lambda c, name=name: of(
                directly_standardised_rate([9, 7], [90, 80], [3, 2], method=name, confidence=c)
            ),
        )
        for name in ("fay_feuer", "dobson")
    ),
    (
        "indirectly standardised",
        lambda c: of(indirectly_standardised_rate([9, 7], [90, 80], [30, 20], [400, 300], confidence=c)),
    ),
    ("observed over expected", lambda c: of(observed_expected(9, 6.5, confidence=c))),
    (
        "shrunken",
        lambda c: row(
            shrunken_proportions(
                [1, 9, 4], [20, 30, 25], beta_binomial([1, 9, 4], [20, 30, 25]), confidence=c
            ),
            "shrunken_proportion",
            1,
        ),
    ),
    (
        "penalised",
        lambda c: row(firth_regression(GROUPS, EVENTS, confidence=c).coefficients, "odds_ratio", 1),
    ),
    (
        "penalised where the likelihood rises without end",
        lambda c: row(
            logistic_regression(GROUPS, GROUPS["x"] * EVENTS, confidence=c).coefficients, "odds_ratio", 1
        ),
    ),
]


def _sides(limits: tuple[np.ndarray, np.ndarray], value: float) -> Three:
    """Two limits around a value."""
    return float(limits[0]), value, float(limits[1])


@pytest.mark.parametrize("limits", [case[1] for case in NESTED], ids=[case[0] for case in NESTED])
def test_more_confidence_moves_both_limits_outwards(limits: Callable[[float], Three]) -> None:
    narrow, usual, wide = limits(0.8), limits(0.95), limits(0.99)
    assert wide[0] < usual[0] < narrow[0] < usual[1] < narrow[2] < usual[2] < wide[2]
    assert narrow[1] == usual[1] == wide[1]


@pytest.mark.parametrize("confidence", [0.8, 0.99])
def test_newcombes_difference_rests_on_both_groups_limits_of_that_confidence(confidence: float) -> None:
    first, second = (proportion_interval(x, n, confidence=confidence) for x, n in ((12, 40), (7, 50)))
    expected = difference_from_limits(12 / 40, *first, 7 / 50, *second)
    assert of(difference_interval(*FOUR, confidence=confidence)) == pytest.approx(of(expected))
