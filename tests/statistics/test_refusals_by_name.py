"""Each function refuses a wrong argument by its own name, by the rule, and with the value given.

Every case is a call that works, of which one argument at a time is made wrong.
"""

import re
from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from audit.statistics.beta_binomial import beta_binomial
from audit.statistics.binomial_tails import binomial_tail, standardised_tail
from audit.statistics.calibration import calibration_line
from audit.statistics.clustered_incidence import clustered_incidence
from audit.statistics.competing import cumulative_incidence
from audit.statistics.completeness import completeness_index, reverse_kaplan_meier
from audit.statistics.contrasts import trend_columns, two_group_columns
from audit.statistics.cox import cox_regression
from audit.statistics.curve_comparison import log_rank, peto_peto
from audit.statistics.curves import at_times, restricted_mean, survival_quantile
from audit.statistics.detectable import detectable_proportions, detectable_second_proportions
from audit.statistics.discrimination import brier_score, c_statistic
from audit.statistics.expected import indirect_expected, observed_expected, observed_expected_test
from audit.statistics.firth import firth_regression
from audit.statistics.funnel import funnel_limits, smallest_detectable_proportion
from audit.statistics.gray_test import gray_test
from audit.statistics.hazards import nelson_aalen
from audit.statistics.life_table_rates import life_table_rates
from audit.statistics.logistic import logistic_regression
from audit.statistics.margins import (
    detectable_difference,
    exceedance,
    exceedance_of_proportions,
    observations_to_settle,
)
from audit.statistics.model_matrix import coding_of
from audit.statistics.multiplicity import adjusted_p_values
from audit.statistics.odds import fisher_exact, odds_ratio
from audit.statistics.power import (
    power_one_proportion,
    power_two_proportions,
    sample_size_one_proportion,
    sample_size_two_proportions,
)
from audit.statistics.power_of_rates import (
    events_for_log_rank,
    exposure_for_two_rates,
    power_log_rank,
    power_two_rates,
)
from audit.statistics.precision import interval_width, sample_size_for_width
from audit.statistics.proportions import bounds_for_unknowns, proportion_interval
from audit.statistics.quantiles import quantile_interval, quantiles_by_group
from audit.statistics.rates import rate_interval, rate_ratio, rate_ratio_test
from audit.statistics.robust import with_robust_errors
from audit.statistics.shrinkage import posterior_tail, shrunken_proportions, shrunken_tail
from audit.statistics.standardisation import directly_standardised_rate, indirectly_standardised_rate
from audit.statistics.stratified import (
    mantel_haenszel_odds_ratio,
    mantel_haenszel_risk_difference,
    mantel_haenszel_risk_ratio,
)
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios
from audit.statistics.survival import kaplan_meier
from audit.statistics.trend import cochran_armitage
from audit.statistics.two_groups import chi_square_2x2, difference_interval, risk_ratio
from audit.statistics.unknowns import share_of_unknowns_to_reach
from audit.statistics.weighted_sums import weighted_mean_from_limits

Rule = tuple[Any, str]

# A rule is a value that breaks it and the words that follow the argument's name.
STRICTLY_INSIDE = (1, "must lie between 0 and 1, got 1")
FROM_0_TO_1 = (1.5, "must lie from 0 to 1, got 1.5")
COUNT = (1.5, "must be whole numbers of zero or more, got 1.5")
AMOUNT = (-1.0, "must be finite and zero or more, got -1.0")
AMOUNTS = ([-1.0], AMOUNT[1])
ABOVE_0 = (0.0, "must be finite and above 0, got 0.0")
RATIO = (0, "must be finite and above 0, got 0")


def one_of(*choices: str) -> Rule:
    """The rule of an argument that takes one of these words."""
    return "other", f"must be one of {', '.join(choices)}, got 'other'"


def of(rule: Rule, length: int) -> Rule:
    """The same rule for an argument of so many values."""
    value, words = rule
    return [value] * length, words


METHODS_OF_PROPORTIONS = one_of("wilson", "clopper_pearson", "mid_p", "jeffreys", "agresti_coull")
METHODS_OF_RATES = one_of("garwood", "mid_p", "byar")
TWO_SIDED = one_of("minimum_likelihood", "doubled", "mid_p")
TRANSFORMS = one_of("log_log", "log", "plain")

TABLE = {"events_1": 2, "n_1": 9, "events_2": 1, "n_2": 8}
STRATA = {"events_1": [2], "n_1": [9], "events_2": [1], "n_2": [8]}
FOUR = {
    "events_1": (10, "must not exceed n_1, got 10 of 9"),
    "n_1": COUNT,
    "events_2": (9, "must not exceed n_2, got 9 of 8"),
    "n_2": COUNT,
}
FOUR_LISTS = {name: of(rule, 1) for name, rule in FOUR.items()}
SPELLS = {"durations": [1.0, 2.0], "endings": [1, 0]}
SPELL_RULES = {
    "durations": ([1.0, -2.0], "must be finite and zero or more, got 1 that are not, first -2.0"),
    "endings": of(COUNT, 2),
    "weights": of(COUNT, 2),
}
GROUPED = SPELLS | {"groups": ["a", "b"]}
CURVE = kaplan_meier([1.0, 2.0], [1, 1])
COLUMNS = pd.DataFrame({"x": [0.0, 0.0, 1.0, 1.0, 2.0]})
BINARY = {"columns": COLUMNS, "events": [0, 1, 0, 1, 1]}
BINARY_RULES = {
    "confidence": STRICTLY_INSIDE,
    "events": (
        [0, 1, 0, 1, 2],
        "must not exceed n, got 2 of 1",
    ),
}
FIT = logistic_regression(COLUMNS, [0, 1, 0, 1, 1])
MODEL = beta_binomial([1, 5, 0], [10, 10, 10])

CASES: list[tuple[Callable[..., Any], dict[str, Any], dict[str, Rule]]] = [
    (
        beta_binomial,
        {"events": [1, 2], "n": [4, 5]},
        {
            "method": one_of("maximum_likelihood", "moments"),
            "events": ([5, 2], "must not exceed n, got 5 of 4"),
        },
    ),
    (
        binomial_tail,
        {"events": 1, "n": 2, "proportion": 0.5, "tail": "upper"},
        {
            "tail": one_of("upper", "lower"),
            "proportion": FROM_0_TO_1,
            "n": COUNT,
            "events": (3, "must not exceed n, got 3 of 2"),
        },
    ),
    (
        standardised_tail,
        {"observed": 1, "n": [2], "expected_proportions": [0.5], "tail": "upper"},
        {
            "tail": one_of("upper", "lower"),
            "n": of(COUNT, 1),
            "expected_proportions": of(FROM_0_TO_1, 1),
            "observed": (3, "must not exceed sum of n, got 3 of 2"),
        },
    ),
    (
        calibration_line,
        {"predicted": [0.2, 0.4, 0.6, 0.8], "events": [0, 1, 0, 1]},
        {
            "confidence": STRICTLY_INSIDE,
            "predicted": ([0.2, 0.4, 0.6, 1.0], "must lie between 0 and 1, got 1.0"),
        },
    ),
    (
        clustered_incidence,
        SPELLS | {"clusters": [1, 2], "horizons": [1.0]},
        {
            "horizons": AMOUNTS,
            "confidence": STRICTLY_INSIDE,
            "clusters": ([1, None], "must not be missing, got 1 that are"),
        },
    ),
    (
        cumulative_incidence,
        SPELLS,
        SPELL_RULES
        | {
            "confidence": STRICTLY_INSIDE,
            "causes": ([1, 1], "must be distinct codes of 1 or more, got [1, 1]"),
        },
    ),
    (reverse_kaplan_meier, SPELLS, {"confidence": STRICTLY_INSIDE, "transform": TRANSFORMS}),
    (
        completeness_index,
        SPELLS | {"potential": [3.0, 3.0]},
        {
            "potential": of(AMOUNT, 2),
            "weights": of(COUNT, 2),
            "durations": ([4.0, 2.0], "must not exceed potential, got 1 that do, first 4 of 3"),
        },
    ),
    (
        two_group_columns,
        {"events": 1, "n": 4, "reference_events": 1, "reference_n": 3},
        {"n": COUNT, "reference_n": COUNT},
    ),
    (
        trend_columns,
        {"events": [1, 2], "n": [4, 5], "scores": [0, 1]},
        {"events": ([1.5, 1], COUNT[1]), "n": of(COUNT, 2)},
    ),
    (
        cox_regression,
        {"columns": COLUMNS, "durations": [1, 2, 3, 4, 5], "events": [1, 0, 1, 1, 0]},
        {"ties": one_of("efron", "breslow"), "confidence": STRICTLY_INSIDE},
    ),
    (
        log_rank,
        GROUPED,
        {
            "groups": (["a", None], "must not be missing, got 1 that are"),
            "strata": (["a"], "must be as long as durations, got 1 and 2"),
        },
    ),
    (
        peto_peto,
        GROUPED,
        {
            "groups": (["a"], "must be as long as durations, got 1 and 2"),
            "strata": (["a", None], "must not be missing, got 1 that are"),
        },
    ),
    (at_times, {"curve": CURVE, "times": [1.0]}, {"times": AMOUNTS}),
    (survival_quantile, {"curve": CURVE}, {"proportion": STRICTLY_INSIDE}),
    (
        restricted_mean,
        {"curve": CURVE, "horizon": 2.0},
        {"confidence": STRICTLY_INSIDE, "horizon": (0.0, "must be finite and more than 0, got 0.0")},
    ),
    (
        detectable_proportions,
        {"n": 100, "benchmark": 0.2},
        {
            "level": STRICTLY_INSIDE,
            "power": STRICTLY_INSIDE,
            "benchmark": FROM_0_TO_1,
            "n": COUNT,
        },
    ),
    (
        detectable_second_proportions,
        {"n_1": 90, "n_2": 80, "proportion_1": 0.2},
        {
            "power": STRICTLY_INSIDE,
            "level": STRICTLY_INSIDE,
            "n_1": AMOUNT,
            "n_2": AMOUNT,
            "proportion_1": FROM_0_TO_1,
        },
    ),
    (
        c_statistic,
        {"predicted": [0.2, 0.4, 0.6], "events": [0, 1, 1]},
        {
            "method": one_of("delong", "hanley_mcneil"),
            "confidence": STRICTLY_INSIDE,
            "predicted": of(FROM_0_TO_1, 3),
            "n": of(COUNT, 3),
            "events": ([2, 1, 1], "must not exceed n, got 2 of 1"),
        },
    ),
    (
        brier_score,
        {"predicted": [0.2, 0.4], "events": [0, 1], "n": [1, 1]},
        {"predicted": of(FROM_0_TO_1, 2), "n": of(COUNT, 2)},
    ),
    (
        observed_expected,
        {"observed": 3, "expected": 2.0},
        {
            "observed": COUNT,
            "expected": AMOUNT,
            "confidence": STRICTLY_INSIDE,
            "method": METHODS_OF_RATES,
        },
    ),
    (
        observed_expected_test,
        {"observed": 3, "expected": 2.0},
        {"observed": COUNT, "expected": AMOUNT, "method": TWO_SIDED},
    ),
    (
        indirect_expected,
        {"rates": [0.1, 0.2], "denominators": [[10.0, 20.0]]},
        {
            "rates": of(AMOUNT, 2),
            "denominators": ([[10.0, -1.0]], AMOUNT[1]),
        },
    ),
    (firth_regression, BINARY, BINARY_RULES),
    (
        funnel_limits,
        {"n": [10], "target": 0.2, "tail_probability": 0.025},
        {"tail_probability": STRICTLY_INSIDE, "n": of(COUNT, 1), "target": FROM_0_TO_1},
    ),
    (
        smallest_detectable_proportion,
        {"n": [50], "target": 0.2, "tail_probability": 0.025},
        {
            "power": STRICTLY_INSIDE,
            "tail_probability": STRICTLY_INSIDE,
            "n": of(COUNT, 1),
            "target": FROM_0_TO_1,
        },
    ),
    (
        gray_test,
        GROUPED | {"cause": 1},
        {
            "cause": (0, "must be a whole number of 1 or more, got 0"),
            "endings": of(COUNT, 2),
            "weights": of(COUNT, 2),
            "groups": (["a", None], "must not be missing, got 1 that are"),
            "strata": (["a"], "must be as long as durations, got 1 and 2"),
        },
    ),
    (nelson_aalen, SPELLS, SPELL_RULES | {"confidence": STRICTLY_INSIDE}),
    (
        life_table_rates,
        {
            "table": pd.DataFrame({"group": ["a"], "exit": [9], "cause": [1], "n": [1]}),
            "causes": {"first": 1},
            "months": [1],
        },
        {
            "confidence": STRICTLY_INSIDE,
            "months": ([1, 1.5], "must be whole numbers of 1 or more, got [1, 1.5]"),
        },
    ),
    (
        logistic_regression,
        BINARY,
        BINARY_RULES | {"method": one_of("automatic", "maximum_likelihood", "firth")},
    ),
    (
        exceedance,
        {"value": 0.1, "ci_lower": 0.0, "ci_upper": 0.2, "margin": 0.05},
        {"margin": AMOUNT},
    ),
    (
        exceedance_of_proportions,
        TABLE | {"margin": 0.1},
        FOUR | {"margin": (1.5, "must lie between 0 and 1, got 1.5")},
    ),
    (
        detectable_difference,
        {"ci_lower": -0.1, "ci_upper": 0.1},
        {"power": STRICTLY_INSIDE},
    ),
    (
        observations_to_settle,
        {"n": 50, "own": (0.1, 0.05, 0.2), "other": (0.2, 0.1, 0.3), "margin": 0.05},
        {"n": AMOUNT, "margin": (-1.0, "must not be below 0, got -1.0")},
    ),
    (
        coding_of,
        {"table": pd.DataFrame({"a": ["x", "y"]}), "categorical": {"a": "x"}},
        {
            "weights": of(COUNT, 2),
        },
    ),
    (
        adjusted_p_values,
        {"p_values": [0.1, 0.2]},
        {
            "level": STRICTLY_INSIDE,
            "method": one_of("benjamini_hochberg", "holm", "bonferroni"),
            "p_values": of(FROM_0_TO_1, 2),
        },
    ),
    (
        odds_ratio,
        TABLE,
        FOUR | {"confidence": STRICTLY_INSIDE, "method": one_of("exact", "mid_p", "woolf")},
    ),
    (fisher_exact, TABLE, FOUR | {"method": TWO_SIDED}),
    (
        power_one_proportion,
        {"n": 50, "benchmark": 0.1, "proportion": 0.2},
        {
            "level": STRICTLY_INSIDE,
            "method": one_of("exact", "normal"),
            "benchmark": FROM_0_TO_1,
            "proportion": FROM_0_TO_1,
            "n": COUNT,
        },
    ),
    (
        power_one_proportion,
        {"n": 50, "benchmark": 0.1, "proportion": 0.2, "method": "normal"},
        {"n": AMOUNT},
    ),
    (
        sample_size_one_proportion,
        {"benchmark": 0.1, "proportion": 0.3},
        {
            "level": STRICTLY_INSIDE,
            "power": STRICTLY_INSIDE,
            "method": one_of("exact", "normal"),
            "benchmark": STRICTLY_INSIDE,
            "proportion": FROM_0_TO_1,
        },
    ),
    (
        power_two_proportions,
        {"n_1": 50, "n_2": 50, "proportion_1": 0.1, "proportion_2": 0.2},
        {
            "level": STRICTLY_INSIDE,
            "n_1": AMOUNT,
            "n_2": AMOUNT,
            "proportion_1": FROM_0_TO_1,
            "proportion_2": FROM_0_TO_1,
        },
    ),
    (
        sample_size_two_proportions,
        {"proportion_1": 0.1, "proportion_2": 0.3},
        {
            "power": STRICTLY_INSIDE,
            "level": STRICTLY_INSIDE,
            "proportion_1": FROM_0_TO_1,
            "proportion_2": FROM_0_TO_1,
            "ratio": RATIO,
        },
    ),
    (
        power_two_rates,
        {"exposure_1": 50.0, "exposure_2": 60.0, "rate_1": 0.1, "rate_2": 0.3},
        {
            "level": STRICTLY_INSIDE,
            "exposure_1": AMOUNT,
            "exposure_2": AMOUNT,
            "rate_1": ABOVE_0,
            "rate_2": ABOVE_0,
        },
    ),
    (
        exposure_for_two_rates,
        {"rate_1": 0.1, "rate_2": 0.3},
        {
            "power": STRICTLY_INSIDE,
            "level": STRICTLY_INSIDE,
            "rate_1": ABOVE_0,
            "rate_2": ABOVE_0,
            "ratio": ABOVE_0,
        },
    ),
    (
        power_log_rank,
        {"events": 50, "hazard_ratio": 2.0},
        {
            "level": STRICTLY_INSIDE,
            "method": one_of("schoenfeld", "freedman"),
            "events": AMOUNT,
            "hazard_ratio": ABOVE_0,
            "ratio": ABOVE_0,
        },
    ),
    (
        events_for_log_rank,
        {"hazard_ratio": 2.0},
        {
            "level": STRICTLY_INSIDE,
            "power": STRICTLY_INSIDE,
            "method": one_of("schoenfeld", "freedman"),
            "hazard_ratio": ABOVE_0,
            "ratio": ABOVE_0,
        },
    ),
    (
        interval_width,
        {"n": 50, "proportion": 0.2},
        {
            "confidence": STRICTLY_INSIDE,
            "method": one_of("wilson", "clopper_pearson", "jeffreys", "agresti_coull"),
            "n": COUNT,
            "proportion": FROM_0_TO_1,
        },
    ),
    (
        sample_size_for_width,
        {"proportion": 0.2, "width": 0.3},
        {"width": STRICTLY_INSIDE, "confidence": STRICTLY_INSIDE},
    ),
    (
        proportion_interval,
        {"events": 1, "n": 2},
        {
            "confidence": STRICTLY_INSIDE,
            "method": METHODS_OF_PROPORTIONS,
            "n": COUNT,
            "events": (3, "must not exceed n, got 3 of 2"),
        },
    ),
    (
        bounds_for_unknowns,
        {"events": 1, "n": 2, "n_unknown": 3},
        {"n_unknown": COUNT, "events": (3, "must not exceed n, got 3 of 2"), "n": COUNT},
    ),
    (
        quantile_interval,
        {"values": [1.0, 2.0], "probability": 0.5},
        {
            "probability": STRICTLY_INSIDE,
            "confidence": STRICTLY_INSIDE,
            "weights": of(COUNT, 2),
            "values": ([1.0, float("inf")], "must be finite, got inf"),
        },
    ),
    (
        rate_interval,
        {"events": 1, "exposure": 2.0},
        {
            "confidence": STRICTLY_INSIDE,
            "method": METHODS_OF_RATES,
            "events": COUNT,
            "exposure": AMOUNT,
        },
    ),
    (
        rate_ratio,
        {"events_1": 3, "exposure_1": 9.0, "events_2": 1, "exposure_2": 8.0},
        {
            "confidence": STRICTLY_INSIDE,
            "method": one_of("exact", "mid_p"),
            "events_1": COUNT,
            "exposure_1": AMOUNT,
            "events_2": COUNT,
            "exposure_2": AMOUNT,
        },
    ),
    (
        rate_ratio_test,
        {"events_1": 3, "exposure_1": 9.0, "events_2": 1, "exposure_2": 8.0},
        {
            "method": TWO_SIDED,
            "events_1": COUNT,
            "exposure_1": AMOUNT,
            "events_2": COUNT,
            "exposure_2": AMOUNT,
        },
    ),
    (
        with_robust_errors,
        {"fit": FIT, "columns": COLUMNS, "events": BINARY["events"], "clusters": [1, 1, 2, 2, 3]},
        {
            "method": one_of("hc0", "hc1", "cluster"),
            "confidence": STRICTLY_INSIDE,
            "clusters": (None, 'must be given for method "cluster", got None'),
        },
    ),
    (
        shrunken_proportions,
        {"events": [1], "n": [4], "model": MODEL},
        {"confidence": STRICTLY_INSIDE, "events": ([5], "must not exceed n, got 5 of 4"), "n": of(COUNT, 1)},
    ),
    (
        shrunken_tail,
        {"events": [1], "n": [4], "model": MODEL, "threshold": 0.1},
        {"threshold": FROM_0_TO_1, "events": ([5], "must not exceed n, got 5 of 4"), "n": of(COUNT, 1)},
    ),
    (
        posterior_tail,
        {"events": 1, "n": 4, "threshold": 0.1},
        {
            "threshold": FROM_0_TO_1,
            "events": (5, "must not exceed n, got 5 of 4"),
            "n": COUNT,
            "prior_events": AMOUNT,
        },
    ),
    (
        directly_standardised_rate,
        {"events": [1], "exposure": [9.0], "standard": [1.0]},
        {
            "confidence": STRICTLY_INSIDE,
            "method": one_of("fay_feuer", "dobson", "normal"),
            "events": of(COUNT, 1),
            "exposure": of(AMOUNT, 1),
            "standard": of(AMOUNT, 1),
        },
    ),
    (
        indirectly_standardised_rate,
        {"events": [1], "exposure": [9.0], "reference_events": [5], "reference_exposure": [99.0]},
        {
            "confidence": STRICTLY_INSIDE,
            "method": METHODS_OF_RATES,
            "events": of(COUNT, 1),
            "exposure": of(AMOUNT, 1),
            "reference_events": of(COUNT, 1),
            "reference_exposure": of(AMOUNT, 1),
        },
    ),
    (mantel_haenszel_odds_ratio, STRATA, FOUR_LISTS | {"confidence": STRICTLY_INSIDE}),
    (mantel_haenszel_risk_ratio, STRATA, FOUR_LISTS | {"confidence": STRICTLY_INSIDE}),
    (mantel_haenszel_risk_difference, STRATA, FOUR_LISTS | {"confidence": STRICTLY_INSIDE}),
    (
        cochran_mantel_haenszel,
        STRATA,
        FOUR_LISTS | {"method": one_of("uncorrected", "continuity_corrected")},
    ),
    (homogeneity_of_odds_ratios, STRATA, FOUR_LISTS | {"method": one_of("tarone", "breslow_day")}),
    (
        kaplan_meier,
        SPELLS,
        SPELL_RULES
        | {
            "confidence": STRICTLY_INSIDE,
            "transform": TRANSFORMS,
            "endings": ([2, 1], "must be 0 (censored) or 1 (event), got 2"),
        },
    ),
    (
        cochran_armitage,
        {"events": [1, 2], "n": [4, 5]},
        {
            "events": ([5, 2], "must not exceed n, got 5 of 4"),
            "n": of(COUNT, 2),
            "scores": ([1.0], "must be finite, one per group (2 groups), got [1.0]"),
        },
    ),
    (difference_interval, TABLE, FOUR | {"confidence": STRICTLY_INSIDE}),
    (
        risk_ratio,
        TABLE,
        FOUR | {"confidence": STRICTLY_INSIDE, "method": one_of("koopman", "miettinen_nurminen", "katz")},
    ),
    (chi_square_2x2, TABLE, FOUR),
    (
        share_of_unknowns_to_reach,
        {"target": 0.5, "events": 1, "n": 4, "n_unknown": 2},
        {
            "target": FROM_0_TO_1,
            "events": (5, "must not exceed n, got 5 of 4"),
            "n": COUNT,
            "n_unknown": COUNT,
        },
    ),
    (
        weighted_mean_from_limits,
        {"values": [0.1], "ci_lower": [0.0], "ci_upper": [0.2], "weights": [1.0]},
        {"weights": of(AMOUNT, 1)},
    ),
]
WRONG = [
    pytest.param(function, right, name, rule, id=f"{function.__name__}-{name}")
    for function, right, rules in CASES
    for name, rule in rules.items()
]


@pytest.mark.parametrize(("function", "right", "name", "rule"), WRONG)
def test_a_wrong_argument_is_refused_by_its_own_name(
    function: Callable[..., Any], right: dict[str, Any], name: str, rule: Rule
) -> None:
    function(**right)
    value, words = rule
    with pytest.raises(ValueError, match=f"^{re.escape(f'{name} {words}')}$"):
        function(**right | {name: value})


def test_the_values_of_a_table_are_refused_by_the_name_of_their_column() -> None:
    table = pd.DataFrame({"group": ["a"], "value": [-1.0], "n": [1]})
    with pytest.raises(ValueError, match=r"^value must be finite and zero or more, got -1\.0$"):
        quantiles_by_group(table, probabilities={"median": 0.5})
