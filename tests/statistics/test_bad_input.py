"""Every public function on hostile input: a defined result or a ValueError, nan only where it is documented.

A warning is an error in this suite. The table of calls is checked against the package: a new function that takes
what a user gives has to be put in it, or among those that take only what another function has checked.
"""

import dataclasses
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

import audit.statistics
from audit.statistics import (
    beta_binomial,
    binomial_tails,
    calibration,
    case_weights,
    clustered_incidence,
    competing,
    completeness,
    contrasts,
    cox,
    cox_clusters,
    curve_comparison,
    curves,
    cusum,
    detectable,
    differences,
    disclosure,
    discrimination,
    expected,
    firth,
    funnel,
    gray_test,
    grouped_curves,
    hazard_ratios,
    hazards,
    life_table_rates,
    life_tables,
    logistic,
    margins,
    mixture_model,
    model_matrix,
    multiplicity,
    odds,
    person_time,
    power,
    power_of_rates,
    precision,
    predicted,
    proportions,
    quantile_error,
    quantiles,
    rates,
    restricted_means,
    robust,
    run_lengths,
    shrinkage,
    standardisation,
    stratified,
    stratified_tests,
    summaries,
    survival,
    targets,
    trend,
    two_groups,
    unknowns,
    weighted_sums,
)

Call = Callable[..., Any]
MILLION = 1_000_000
NAN = float("nan")


@cache
def public_functions() -> Mapping[str, Call]:
    """Every public function of the package by module and name."""
    found: dict[str, Call] = {}
    for info in pkgutil.iter_modules(audit.statistics.__path__):
        module = importlib.import_module(f"audit.statistics.{info.name}")
        for name, value in vars(module).items():
            if inspect.isfunction(value) and value.__module__ == module.__name__ and name[0] != "_":
                found[f"{info.name}.{name}"] = value
    return found


def values_in(result: object) -> Iterator[tuple[float, str]]:
    """Each number of a result with the caution that stands beside it."""
    if isinstance(result, pd.DataFrame):
        held: list[Any] = result.to_dict("records")
    elif dataclasses.is_dataclass(result):
        held = [vars(result)]
    else:
        held = list(result) if isinstance(result, tuple | list) else [result]
    for part in held:
        if isinstance(part, dict):
            caution = str(part.get("caution", ""))
            inside = [found for value in part.values() for found in values_in(value)]
            yield from ((number, caution + own) for number, own in inside)
        elif part is not result:
            yield from values_in(part)
        elif isinstance(part, float | np.ndarray):
            yield from (
                (float(number), "") for number in np.ravel(np.asarray(part, dtype=object)) if is_float(number)
            )


def is_float(value: object) -> bool:
    """Whether a value is a float, of Python or of numpy."""
    return isinstance(value, float | np.floating)


def documentation(name: str, result: object) -> str:
    """What is said of a function's result: by itself, by its kind of result, and by the functions it refers to."""
    own = public_functions()[name].__doc__ or ""
    by_name = {full.partition(".")[2]: function for full, function in public_functions().items()}
    others = [by_name[other].__doc__ or "" for other in re.findall(r"`(\w+)`", own) if other in by_name]
    return " ".join([own, *others, *kinds_of(result)])


def kinds_of(result: object) -> list[str]:
    """What the records in a result say of themselves."""
    if isinstance(result, tuple | list):
        return [said for part in result for said in kinds_of(part)]
    if not dataclasses.is_dataclass(result):
        return []
    inside = [said for part in vars(result).values() for said in kinds_of(part)]
    return [type(result).__doc__ or "", *inside]


def check(name: str, result: object) -> None:
    """A result may hold nan only beside a caution or where the documentation speaks of it."""
    silent = [number for number, caution in values_in(result) if np.isnan(number) and not caution]
    assert not silent or re.search(r"\bnan\b", documentation(name, result)), name


# --- counts: events of n -------------------------------------------------------------------------------------
COUNTS: dict[str, tuple[list[float], list[float]]] = {
    "zero denominator": ([0], [0]),
    "zero events": ([0], [7]),
    "all events": ([7], [7]),
    "one of one": ([1], [1]),
    "one group": ([3], [9]),
    "nobody in one group": ([0, 3], [0, 9]),
    "zero events in all groups": ([0, 0, 0], [5, 0, 9]),
    "all events in all groups": ([5, 9], [5, 9]),
    "a million": ([MILLION, 0], [2 * MILLION, MILLION]),
    "nobody": ([], []),
}
BAD_COUNTS: dict[str, tuple[list[float], list[float]]] = {
    "negative events": ([-1, 1], [5, 5]),
    "more events than n": ([6, 1], [5, 5]),
    "missing events": ([NAN, 1], [5, 5]),
    "missing n": ([1, 1], [NAN, 5]),
    "half an event": ([0.5, 1], [5, 5]),
    "infinitely many": ([1, 1], [np.inf, 5]),
    "unequal lengths": ([1, 1, 1], [5, 5]),
}


def columns_of(n: Any) -> pd.DataFrame:
    """A term that rises with the row."""
    return pd.DataFrame({"x": np.arange(np.size(n), dtype=float)})


def as_proportions(events: Any, n: Any) -> pd.DataFrame:
    """A table of counts with its limits."""
    if len(events) != len(n):
        raise ValueError("unequal lengths")
    return summaries.with_proportions(pd.DataFrame({"events": events, "n": n, "n_unknown": 0}))


def patterns_of(events: Any, n: Any) -> pd.DataFrame:
    """Patterns of one grouping variable."""
    if len(events) != len(n):
        raise ValueError("unequal lengths")
    return pd.DataFrame({"site": [f"s{row}" for row in range(len(n))], "events": events, "n": n})


def mixture_of(events: Any, n: Any) -> tuple[mixture_model.MixtureModel, pd.DataFrame]:
    """A model of these patterns, with them."""
    patterns = patterns_of(events, n)
    return mixture_model.mixture_model(patterns, references={"site": "s0"}), patterns


OF_COUNTS: dict[str, Call] = {
    "arguments.counts_within": lambda e, n: audit.statistics.arguments.counts_within(
        e, n, names=("events", "n")
    ),
    "beta_binomial.beta_binomial": beta_binomial.beta_binomial,
    "expected.shares_with_one_of_all": expected.shares_with_one_of_all,
    "binomial_tails.binomial_tail": lambda e, n: binomial_tails.binomial_tail(e, n, 0.1, tail="upper"),
    "calibration.calibration_table": lambda e, n: calibration.calibration_table([0.1] * len(n), e, n),
    "calibration.calibration_line": lambda e, n: calibration.calibration_line(
        np.linspace(0.1, 0.9, len(n)), e, n
    ),
    "discrimination.c_statistic": lambda e, n: discrimination.c_statistic(np.linspace(0, 1, len(n)), e, n),
    "discrimination.brier_score": lambda e, n: discrimination.brier_score([0.2] * len(n), e, n),
    "firth.firth_regression": lambda e, n: firth.firth_regression(columns_of(n), e, n),
    "logistic.logistic_regression": lambda e, n: logistic.logistic_regression(columns_of(n), e, n),
    "robust.with_robust_errors": lambda e, n: robust.with_robust_errors(
        logistic.logistic_regression(columns_of(n), e, n), columns_of(n), e, n, clusters=range(len(n))
    ),
    "predicted.predicted_probabilities": lambda e, n: predicted.predicted_probabilities(
        logistic.logistic_regression(columns_of(n), e, n), columns_of(n)
    ),
    "predicted.expected_counts": lambda e, n: predicted.expected_counts(
        logistic.logistic_regression(columns_of(n), e, n), columns_of(n), e, n, groups=["a"] * len(n)
    ),
    "mixture_model.mixture_model": lambda e, n: mixture_of(e, n)[0],
    "mixture_model.expected_proportions": lambda e, n: mixture_model.expected_proportions(*mixture_of(e, n)),
    "mixture_model.model_terms": lambda e, n: mixture_model.model_terms(*mixture_of(e, n)),
    "mixture_model.model_quality": lambda e, n: mixture_model.model_quality(*mixture_of(e, n)),
    "proportions.proportion_interval": proportions.proportion_interval,
    "proportions.bounds_for_unknowns": lambda e, n: proportions.bounds_for_unknowns(e, n, 3),
    "shrinkage.shrunken_proportions": lambda e, n: shrinkage.shrunken_proportions(
        e, n, beta_binomial.beta_binomial(e, n)
    ),
    "shrinkage.shrunken_tail": lambda e, n: shrinkage.shrunken_tail(
        e, n, beta_binomial.beta_binomial(e, n), threshold=0.1
    ),
    "shrinkage.posterior_tail": lambda e, n: shrinkage.posterior_tail(e, n, threshold=0.1),
    "summaries.with_proportions": as_proportions,
    "targets.against_targets": lambda e, n: targets.against_targets(
        as_proportions(e, n).assign(target=0.9, at_most=False)
    ),
    "targets.leading_limits": lambda e, n: targets.leading_limits(as_proportions(e, n)),
    "trend.cochran_armitage": trend.cochran_armitage,
    "contrasts.trend_columns": lambda e, n: contrasts.trend_columns(e, n, range(len(n))),
    "unknowns.share_of_unknowns_to_reach": lambda e, n: unknowns.share_of_unknowns_to_reach(0.1, e, n, 0),
}

# --- two groups ----------------------------------------------------------------------------------------------
PAIRS: dict[str, tuple[float, float, float, float]] = {
    "zero denominators": (0, 0, 0, 0),
    "zero denominator in one": (0, 0, 3, 9),
    "zero events in both": (0, 7, 0, 9),
    "zero events in one": (0, 7, 3, 9),
    "all events in both": (7, 7, 9, 9),
    "all events in one": (7, 7, 3, 9),
    "separation": (7, 7, 0, 9),
    "one of one": (1, 1, 0, 1),
    "a million": (MILLION, 2 * MILLION, 0, MILLION),
}
BAD_PAIRS: dict[str, tuple[float, float, float, float]] = {
    "negative events": (-1, 5, 1, 5),
    "more events than n": (6, 5, 1, 5),
    "missing events": (NAN, 5, 1, 5),
    "half an event": (1, 5, 0.5, 5),
    "missing n": (1, 5, 1, NAN),
}


def each_in_strata(function: Call) -> Call:
    """The function on one stratum of these counts and an empty one."""
    return lambda e1, n1, e2, n2: function([e1, 0], [n1, 0], [e2, 0], [n2, 0])


OF_PAIRS: dict[str, Call] = {
    "two_groups.difference_interval": two_groups.difference_interval,
    "two_groups.risk_ratio": two_groups.risk_ratio,
    "two_groups.chi_square_2x2": two_groups.chi_square_2x2,
    "two_groups.chi_square_2x2_yates": two_groups.chi_square_2x2_yates,
    "odds.odds_ratio": odds.odds_ratio,
    "odds.fisher_exact": odds.fisher_exact,
    "contrasts.two_group_columns": contrasts.two_group_columns,
    "contrasts.stratified_columns": each_in_strata(contrasts.stratified_columns),
    "margins.exceedance_of_proportions": lambda *counts: margins.exceedance_of_proportions(
        *counts, margin=0.02
    ),
    "stratified.mantel_haenszel_odds_ratio": each_in_strata(stratified.mantel_haenszel_odds_ratio),
    "stratified.mantel_haenszel_risk_ratio": each_in_strata(stratified.mantel_haenszel_risk_ratio),
    "stratified.mantel_haenszel_risk_difference": each_in_strata(stratified.mantel_haenszel_risk_difference),
    "stratified.comparable_strata": each_in_strata(stratified.comparable_strata),
    "stratified.informative_strata": each_in_strata(stratified.informative_strata),
    "stratified_tests.cochran_mantel_haenszel": each_in_strata(stratified_tests.cochran_mantel_haenszel),
    "stratified_tests.homogeneity_of_odds_ratios": each_in_strata(
        stratified_tests.homogeneity_of_odds_ratios
    ),
}

# --- events in an amount of time -----------------------------------------------------------------------------
RATES: dict[str, tuple[list[float], list[float]]] = {
    "no time": ([0], [0]),
    "zero events": ([0], [100.0]),
    "one row": ([3], [0.5]),
    "no time in one group": ([0, 4], [0, 10.0]),
    "a million": ([MILLION], [10.0]),
    "hardly any time": ([1, 0], [1e-9, 1e-9]),
    "nobody": ([], []),
}
BAD_RATES: dict[str, tuple[list[float], list[float]]] = {
    "negative events": ([-1], [5.0]),
    "missing events": ([NAN], [5.0]),
    "half an event": ([0.5], [5.0]),
    "negative time": ([1], [-5.0]),
    "missing time": ([1], [NAN]),
    "endless time": ([1], [np.inf]),
}
OF_RATES: dict[str, Call] = {
    "rates.rate_interval": rates.rate_interval,
    "rates.rate_ratio": lambda e, t: rates.rate_ratio(e, t, e, t),
    "rates.rate_ratio_test": lambda e, t: [
        rates.rate_ratio_test(a, b, a, b) for a, b in zip(e, t, strict=True)
    ],
    "expected.observed_expected": expected.observed_expected,
    "expected.observed_expected_test": lambda e, t: [
        expected.observed_expected_test(a, b) for a, b in zip(e, t, strict=True)
    ],
    "standardisation.directly_standardised_rate": lambda e, t: standardisation.directly_standardised_rate(
        e, t, np.ones(len(t))
    ),
    "standardisation.indirectly_standardised_rate": lambda e, t: standardisation.indirectly_standardised_rate(
        e, t, e, t
    ),
    "summaries.with_rates": lambda e, t: summaries.with_rates(
        pd.DataFrame({"events": e, "person_years": t}, dtype=float)
    ),
}

# --- spells --------------------------------------------------------------------------------------------------
Spells = tuple[list[float], list[int], list[float] | None, list[int] | None]
SPELLS: dict[str, Spells] = {
    "nobody": ([], [], None, None),
    "one row, censored": ([5.0], [0], None, None),
    "one row, an event": ([5.0], [1], None, None),
    "all censored": ([3.0, 4.0, 9.0], [0, 0, 0], None, None),
    "all events": ([3.0, 4.0, 9.0], [1, 1, 1], None, None),
    "all on day 0": ([0.0, 0.0], [1, 0], None, None),
    "ties across causes": ([5.0] * 6, [1, 2, 0, 1, 2, 1], None, None),
    "a million ties": ([5.0, 5.0, 5.0, 9.0], [1, 2, 0, 0], None, [MILLION, MILLION, MILLION, 1]),
    "rows of nobody": ([5.0, 6.0], [1, 0], None, [0, 0]),
    "all enter late": ([5.0, 6.0], [1, 0], [2.0, 3.0], None),
    "an empty risk set": ([2.0, 9.0, 9.0], [1, 1, 0], [0.0, 4.0, 5.0], None),
    "one stratum": ([5.0, 6.0, 7.0, 8.0], [1, 0, 1, 2], None, [1, 2, 3, 4]),
}
BAD_SPELLS: dict[str, Spells] = {
    "a negative duration": ([-1.0, 5.0], [1, 0], None, None),
    "a missing duration": ([NAN, 5.0], [1, 0], None, None),
    "an endless duration": ([np.inf, 5.0], [1, 0], None, None),
    "entry at exit": ([5.0, 6.0], [1, 0], [5.0, 0.0], None),
    "entry after exit": ([5.0, 6.0], [1, 0], [6.0, 0.0], None),
    "a negative ending": ([5.0, 6.0], [-1, 0], None, None),
    "a negative weight": ([5.0, 6.0], [1, 0], None, [-1, 1]),
    "unequal lengths": ([5.0, 6.0], [1], None, None),
}
GROUPS = ("a", "b")


def single(endings: Any) -> Any:
    """Endings of one cause, the others censored."""
    return [int(code == 1) if code >= 0 else code for code in endings]


def groups_of(durations: Any) -> list[str]:
    """Two groups in turn; one where there is one row."""
    return [GROUPS[row % 2] for row in range(len(durations))]


def table_of(spells: Spells) -> pd.DataFrame:
    """The spells as a tally, with both ways of naming their ending."""
    durations, endings, entry, weights = spells
    if len(durations) != len(endings):
        raise ValueError("unequal lengths")
    return pd.DataFrame(
        {
            "group": groups_of(durations),
            "entry": np.zeros(len(durations)) if entry is None else entry,
            "exit": durations,
            "event": single(endings),
            "cause": endings,
            "n": np.ones(len(durations), dtype=int) if weights is None else weights,
        }
    ).astype({"entry": float, "exit": float})


def curve_of(spells: Spells) -> pd.DataFrame:
    """The Kaplan-Meier curve of these spells."""
    durations, endings, entry, weights = spells
    return survival.kaplan_meier(durations, single(endings), entry=entry, weights=weights)


def life_table_of(spells: Spells) -> pd.DataFrame:
    """The life table of these spells in two intervals."""
    durations, endings, entry, weights = spells
    return life_tables.life_table(
        durations, endings, cuts=[6, 12], causes={"first": 1, "second": 2}, entry=entry, weights=weights
    )


def cox_of(spells: Spells) -> cox.CoxFit:
    """The regression of these spells on a term that rises; at most 100,000 of each."""
    durations, endings, entry, weights = spells
    fewer = None if weights is None else np.minimum(weights, 100_000)
    return cox.cox_regression(columns_of(durations), durations, single(endings), entry=entry, weights=fewer)


def clustered_cox_of(spells: Spells) -> cox.CoxFit:
    """The same with clustered errors, each row a cluster."""
    durations, endings, entry, weights = spells
    fewer = None if weights is None else np.minimum(weights, 100_000)
    return cox_clusters.with_clustered_errors(
        cox_of(spells),
        columns_of(durations),
        durations,
        single(endings),
        clusters=range(len(durations)),
        entry=entry,
        weights=fewer,
    )


def clustered_of(spells: Spells) -> pd.DataFrame:
    """The clustered incidence of the single spells, each row of a tally a cluster; at most 1,000 of each."""
    durations, endings, _, weights = spells
    times = np.ones(len(durations), dtype=int) if weights is None else np.minimum(weights, 1000)
    rows = np.repeat(np.arange(len(durations)), times)
    if len(durations) != len(endings):
        raise ValueError("unequal lengths")
    return clustered_incidence.clustered_incidence(
        np.asarray(durations)[rows], np.asarray(endings)[rows], rows, horizons=[0, 5, 100]
    )


def of_all(function: Call, **more: Any) -> Call:
    """A call with durations, endings of one cause, entry and weights."""
    return lambda spells: function(spells[0], single(spells[1]), entry=spells[2], weights=spells[3], **more)


def of_groups(function: Call) -> Call:
    """The same with two groups."""
    return lambda spells: function(
        spells[0], single(spells[1]), groups_of(spells[0]), entry=spells[2], weights=spells[3]
    )


OF_SPELLS: dict[str, Call] = {
    "survival.kaplan_meier": of_all(survival.kaplan_meier),
    "hazards.nelson_aalen": of_all(hazards.nelson_aalen),
    "completeness.reverse_kaplan_meier": of_all(completeness.reverse_kaplan_meier),
    "person_time.person_time": of_all(person_time.person_time, cuts=[4]),
    "curve_comparison.log_rank": of_groups(curve_comparison.log_rank),
    "curve_comparison.peto_peto": of_groups(curve_comparison.peto_peto),
    "competing.cumulative_incidence": lambda s: competing.cumulative_incidence(
        s[0], s[1], entry=s[2], weights=s[3]
    ),
    "competing.incidence_at_times": lambda s: competing.incidence_at_times(
        competing.cumulative_incidence(s[0], s[1], entry=s[2], weights=s[3]), [0, 5, 100]
    ),
    "curves.at_times": lambda s: curves.at_times(curve_of(s), [0, 5, 100]),
    "curves.survival_quantile": lambda s: curves.survival_quantile(curve_of(s)),
    "curves.restricted_mean": lambda s: curves.restricted_mean(curve_of(s), 5.0),
    "quantile_error.quantile_with_error": lambda s: quantile_error.quantile_with_error(curve_of(s)),
    "restricted_means.difference_of_restricted_means": lambda s: (
        restricted_means.difference_of_restricted_means(curve_of(s), curve_of(s), 5.0)
    ),
    "restricted_means.restricted_mean_columns": lambda s: restricted_means.restricted_mean_columns(
        table_of(s), group="a", reference="b", horizon=5.0
    ),
    "grouped_curves.survival_by_group": lambda s: grouped_curves.survival_by_group(table_of(s), horizons=[7]),
    "grouped_curves.incidence_by_group": lambda s: grouped_curves.incidence_by_group(
        table_of(s), causes={"first": 1, "second": 2}, horizons=[7]
    ),
    "grouped_curves.median_by_group": lambda s: grouped_curves.median_by_group(table_of(s)),
    "grouped_curves.compare_groups": lambda s: grouped_curves.compare_groups(table_of(s)),
    "life_tables.life_table": life_table_of,
    "summaries.rates_by_group": lambda s: summaries.rates_by_group(
        table_of(s), causes={"first": 1, "second": 2}, cuts=[4]
    ),
    "hazard_ratios.hazard_ratios_by_level": lambda s: hazard_ratios.hazard_ratios_by_level(
        table_of(s), references={"group": "a"}
    ),
    "cox_clusters.with_clustered_errors": lambda s: clustered_cox_of(s),
    # A million in one run takes seconds; tests/performance/cox_speed.py does it.
    "cox.cox_regression": lambda s: cox_of(s),
}
# These take spells that all begin at the origin.
OF_SPELLS_FROM_0: dict[str, Call] = {
    "gray_test.gray_test": lambda s: gray_test.gray_test(s[0], s[1], groups_of(s[0]), cause=1, weights=s[3]),
    "grouped_curves.compare_incidences": lambda s: grouped_curves.compare_incidences(
        table_of(s).drop(columns="entry")
    ),
    "clustered_incidence.clustered_incidence": lambda s: clustered_of(s),
    "completeness.completeness_index": lambda s: completeness.completeness_index(
        s[0], s[1], np.asarray(s[0], dtype=float) + 1, weights=s[3]
    ),
    "life_table_rates.life_table_rates": lambda s: life_table_rates.life_table_rates(
        table_of(s), causes={"first": 1, "second": 2}, months=[1]
    ),
}

# --- values, numbers and limits ------------------------------------------------------------------------------
# A learner whose failures are as many as is unacceptable.
LEARNING = run_lengths.learning_increments(0.1, acceptable=0.05, unacceptable=0.1)
SINGLE: dict[str, tuple[Call, tuple[Any, ...], tuple[Any, ...]]] = {
    "arguments.counts": (
        lambda v: audit.statistics.arguments.counts("v", v),
        ([], [0]),
        ([-1], [NAN], [0.5]),
    ),
    "arguments.amounts": (lambda v: audit.statistics.arguments.amounts("v", v), ([], [0]), ([-1], [NAN])),
    "arguments.proportions": (
        lambda v: audit.statistics.arguments.proportions("v", v),
        ([], [0, 1]),
        ([-0.1], [1.1], [NAN]),
    ),
    "case_weights.odds_ratio_between": (
        lambda v: case_weights.odds_ratio_between(*v),
        ((0.05, 0.1),),
        ((0, 0.1), (0.1, 0.05), (0.1, 0.1), (0.1, 1), (NAN, 0.1)),
    ),
    "case_weights.at_odds_ratio": (
        lambda v: case_weights.at_odds_ratio(v, 2.0),
        ([], [0.5]),
        ([0], [1], [-0.1], [1.1]),
    ),
    "case_weights.moved_to_level": (
        lambda v: case_weights.moved_to_level(v, 0.1, reference=[0.05, 0.2]),
        ([], [0.5]),
        ([0], [1], [-0.1], [1.1]),
    ),
    "case_weights.cusum_weights": (
        lambda v: case_weights.cusum_weights(v, [0.1] * len(v), odds_ratio=2.0),
        ([], [0], [1], [0, 0, 1, 1]),
        ([0.5], [-1], [2], [NAN]),
    ),
    "case_weights.learning_weights": (
        lambda v: case_weights.learning_weights(v, acceptable=0.05, unacceptable=0.1),
        ([], [0], [1], [0, 0, 1, 1]),
        ([0.5], [-1], [2], [NAN]),
    ),
    "case_weights.indicators": (
        lambda v: case_weights.indicators(v),
        ([], [0], [1]),
        ([0.5], [-1], [2], [NAN]),
    ),
    "cusum.cusum": (
        lambda v: cusum.cusum(v, limit=2.0),
        ([], [0], [-5], [1e300], [5.0, 5.0]),
        ([float("inf")],),
    ),
    "cusum.observed_minus_expected": (
        lambda v: cusum.observed_minus_expected(v, [0.1] * len(v)),
        ([], [0], [1]),
        ([0.5], [-1], [2], [NAN]),
    ),
    "run_lengths.cusum_increments": (
        lambda v: run_lengths.cusum_increments(v, odds_ratio=2.0),
        ([0.5], [0.1, 0.2]),
        ([0], [1], [1.1]),
    ),
    "run_lengths.learning_increments": (
        lambda v: run_lengths.learning_increments(v, acceptable=0.05, unacceptable=0.1),
        (0.05, 0.5),
        (0, 1, -0.1, NAN),
    ),
    "run_lengths.average_run_length": (
        lambda v: run_lengths.average_run_length(LEARNING, limit=v),
        (0.5, 2.0),
        (0, -1, NAN),
    ),
    "run_lengths.signal_probability": (
        lambda v: run_lengths.signal_probability(LEARNING, v, limit=2.0),
        ([], [0], [5]),
        ([-1], [NAN], [0.5]),
    ),
    "run_lengths.limit_for": (
        lambda v: run_lengths.limit_for(LEARNING, probability=v, within=20),
        (0.05, 0.5),
        (0, 1, NAN),
    ),
    "disclosure.hidden_among_others": (
        lambda v: disclosure.hidden_among_others(v, smallest=20, others=3, largest_share=0.5),
        ([], [0], [50], [50] * 4),
        ([-1], [NAN]),
    ),
    "funnel.ordinary_counts": (
        lambda v: funnel.ordinary_counts(v, 0.1, tail_probability=0.025),
        ([], [0], [5, 0, 1], [MILLION]),
        ([-1], [NAN], [0.5]),
    ),
    "binomial_tails.standardised_tail": (
        lambda v: binomial_tails.standardised_tail(0, v, [0.1] * len(v), tail="upper"),
        ([0], [5, 0], [1]),
        ([-1], [NAN]),
    ),
    "detectable.detectable_proportions": (
        lambda v: detectable.detectable_proportions(v, benchmark=0.1),
        ([], [0], [1], [MILLION]),
        ([-1], [NAN]),
    ),
    "detectable.detectable_second_proportions": (
        lambda v: detectable.detectable_second_proportions(v, v, proportion_1=0.1),
        ([], [0], [1], [MILLION]),
        ([-1], [NAN]),
    ),
    "funnel.funnel_limits": (
        lambda v: funnel.funnel_limits(v, 0.1, tail_probability=0.025),
        ([], [0], [1], [10_000]),
        ([-1], [NAN], [0.5]),
    ),
    "funnel.smallest_detectable_proportion": (
        lambda v: funnel.smallest_detectable_proportion(v, 0.1, tail_probability=0.025),
        ([], [0], [1], [10_000]),
        ([-1], [NAN], [0.5]),
    ),
    "precision.interval_width": (
        lambda v: precision.interval_width(v, proportion=0.1),
        ([], [0], [1], [MILLION]),
        ([-1], [NAN]),
    ),
    "power.power_one_proportion": (
        lambda v: power.power_one_proportion(v, benchmark=0.1, proportion=0.2),
        ([], [0], [1], [10_000]),
        ([-1], [NAN], [0.5]),
    ),
    "power.power_two_proportions": (
        lambda v: power.power_two_proportions(v, v, proportion_1=0.1, proportion_2=0.2),
        ([], [0], [1], [MILLION]),
        ([-1], [NAN]),
    ),
    "power_of_rates.power_two_rates": (
        lambda v: power_of_rates.power_two_rates(v, v, rate_1=0.1, rate_2=0.2),
        ([], [0], [1], [1e9]),
        ([-1], [NAN]),
    ),
    "power_of_rates.power_log_rank": (
        lambda v: power_of_rates.power_log_rank(v, hazard_ratio=1.5),
        ([], [0], [1], [MILLION]),
        ([-1], [NAN]),
    ),
    "power.sample_size_one_proportion": (
        lambda v: power.sample_size_one_proportion(benchmark=0.1, proportion=v),
        (0.2, 0.9999),
        (0.1, -0.1, 1.1, NAN),
    ),
    "power.sample_size_two_proportions": (
        lambda v: power.sample_size_two_proportions(proportion_1=0.1, proportion_2=v),
        (0.2, 0.9999),
        (0.1, -0.1, 1.1, NAN),
    ),
    "power_of_rates.exposure_for_two_rates": (
        lambda v: power_of_rates.exposure_for_two_rates(rate_1=0.1, rate_2=v),
        (0.2, 50.0),
        (0.1, -0.1, NAN),
    ),
    "power_of_rates.events_for_log_rank": (
        lambda v: power_of_rates.events_for_log_rank(hazard_ratio=v),
        (1.5, 1e-6),
        (1.0, 0.0, -1.0, NAN),
    ),
    "precision.sample_size_for_width": (
        lambda v: precision.sample_size_for_width(proportion=0.1, width=v),
        (0.5, 0.01),
        (0.0, -0.1, 1.5, NAN),
    ),
    "expected.indirect_expected": (
        lambda v: expected.indirect_expected(v, [1.0] * len(v)),
        ([], [0.0], [0.1], [NAN]),
        ([-1.0], [np.inf]),
    ),
    "multiplicity.adjusted_p_values": (
        multiplicity.adjusted_p_values,
        ([], [0.0], [1.0], [NAN], [NAN, 0.01], [0.01] * 1000),
        ([-0.1], [1.1]),
    ),
    "quantiles.quantile_interval": (
        lambda v: quantiles.quantile_interval(v, probability=0.5),
        ([], [5.0], [5.0] * 1000),
        ([NAN], [np.inf]),
    ),
    "quantiles.quantiles_by_group": (
        lambda v: quantiles.quantiles_by_group(
            pd.DataFrame({"group": "a", "value": v, "n": MILLION}), probabilities={"median": 0.5}
        ),
        ([], [5.0], [5.0, 5.0]),
        ([NAN], [np.inf]),
    ),
    "quantiles.with_quantiles": (
        lambda v: quantiles.with_quantiles(
            pd.DataFrame({"stratum": ["a"], "n": [len(v)], "n_unknown": [0]}),
            pd.DataFrame({"stratum": "a", "value": v, "n": 1}),
            probabilities={"median": 0.5},
        ),
        ([], [5.0], [5.0, 5.0]),
        ([NAN], [np.inf]),
    ),
    "weighted_sums.weighted_mean_from_limits": (
        lambda v: weighted_sums.weighted_mean_from_limits([0.1], [0.0], [0.2], v),
        ([1.0], [1e-9]),
        ([-1.0], [NAN], [0.0]),
    ),
    "differences.difference_from_limits": (
        lambda v: differences.difference_from_limits(v, v, v, v, v, v),
        ([], [0.0], [1.0], [NAN]),
        (),
    ),
    "margins.exceedance": (
        lambda v: margins.exceedance([0.1], [0.1], [0.1], margin=v),
        ([0.0], [1.0]),
        ([-1.0], [NAN]),
    ),
    "margins.detectable_difference": (
        lambda v: margins.detectable_difference(v, v),
        ([], [0.0], [NAN]),
        (),
    ),
    "margins.observations_to_settle": (
        lambda v: margins.observations_to_settle(v, (0.1, 0.1, 0.1), (0.1, 0.1, 0.1), margin=0.0),
        ([], [0], [1]),
        ([-1],),
    ),
    "summaries.share_of": (lambda v: summaries.share_of(v, v), (0.0, 5.0), ()),
    "summaries.shares_of": (lambda v: summaries.shares_of(v, v), ([], [0.0], [5.0]), ()),
    "summaries.share_without": (lambda v: summaries.share_without(v, v, v, v), (0.0, 5.0), ()),
    "person_time.edges_of_bands": (person_time.edges_of_bands, ([], [5]), ([5, 5], [NAN], [-1])),
    "life_tables.life_table_from_counts": (
        lambda v: life_tables.life_table_from_counts(
            pd.DataFrame({"start": [0], "stop": [6], "joined": v, "entered": 0, "withdrawn": 0, "first": v}),
            causes=["first"],
        ),
        ([0], [1], [MILLION]),
        ([-1], [NAN]),
    ),
    "model_matrix.coding_of": (
        lambda v: model_matrix.coding_of(pd.DataFrame({"site": v}), categorical={"site": "a"}),
        (["a"], ["a", None]),
        ([None],),
    ),
    "model_matrix.model_matrix": (
        lambda v: model_matrix.model_matrix(
            pd.DataFrame({"site": v}),
            model_matrix.coding_of(pd.DataFrame({"site": ["a", "b"]}), categorical={"site": "a"}),
        ),
        ([], ["a"], ["b", "b"]),
        (),
    ),
}

# Take only what one of the functions above has checked, or are the checks themselves.
INNER = {
    "cusum.kept_of_many",
    "cusum.require_limit",
    "arguments.require_between_0_and_1",
    "arguments.require_choice",
    "binomial_tails.binomial_distribution",
    "binomial_tails.probability_at_least",
    "binomial_tails.probability_at_most",
    "binomial_tails.two_sided",
    "coefficients.coefficient_table",
    "coefficients.covariance_table",
    "coefficients.estimates",
    "coefficients.exponential",
    "coefficients.joined",
    "competing.incidence_error",
    "competing.incidence_figures",
    "competing.incidence_limits",
    "competing.incidence_of",
    "curve_comparison.compare_within_strata",
    "curves.read_at",
    "design.caution_about",
    "design.design_of",
    "design.distinct_rows",
    "design.independent",
    "design.narrowed",
    "design.require_equal_lengths",
    "design.to_original_scale",
    "discrimination.predictions_of",
    "firth.penalised_fit",
    "funnel.numbers_to",
    "logistic_likelihood.by_pattern",
    "logistic_likelihood.intercept_for",
    "logistic_likelihood.likelihood",
    "logistic_likelihood.null_log_likelihood",
    "logistic_likelihood.numbers_of",
    "logistic_likelihood.of_somebody",
    "newton.maximise",
    "partial_likelihood.partial_likelihood",
    "partial_likelihood.tied_events",
    "power.whole_number",
    "profiles.straight_root",
    "profiles.with_profile_limits",
    "risk_patterns.of_columns",
    "risk_patterns.risk_patterns",
    "risk_patterns.sums_at_risk",
    "risk_patterns.sums_of_events",
    "risk_patterns.weights_at_risk",
    "risk_patterns.weights_of_events",
    "risk_sets.known_so_far",
    "risk_sets.observation_ends",
    "risk_sets.risk_sets",
    "risk_sets.single_cause",
    "risk_sets.spells",
    "risk_sets.tally",
    "root_search.crossing",
    "survival.gaps",
    "survival.greenwood_sum",
    "survival.require_single_event",
    "survival.surviving",
    "survival.survival_figures",
}


# A model knows no level that nobody had.
MAY_REFUSE = {"mixture_model.expected_proportions"}


def came_of(call: Call, given: Any, spread: bool) -> object:
    """What a call gave, or the ValueError that it raised."""
    try:
        return call(*given) if spread else call(given)
    except ValueError as refused:
        return refused


def results(calls: Mapping[str, Call], name: str, hostile: Mapping[str, Any], *, spread: bool) -> None:
    """Each hostile input gives a result whose nan are spoken of."""
    for label, given in hostile.items():
        found = came_of(calls[name], given, spread)
        if not isinstance(found, ValueError):
            check(name, found)
        else:
            assert name in MAY_REFUSE, f"{label}: {found}"


def refusals(calls: Mapping[str, Call], name: str, impossible: Mapping[str, Any], *, spread: bool) -> None:
    """Each impossible input is refused, in words."""
    for label, given in impossible.items():
        found = came_of(calls[name], given, spread)
        assert isinstance(found, ValueError), f"{label} gave {found!r}"
        assert re.search("[a-z]", str(found)), label


def test_every_public_function_is_in_the_sweep_or_named_as_taking_checked_input() -> None:
    swept = {*OF_COUNTS, *OF_PAIRS, *OF_RATES, *OF_SPELLS, *OF_SPELLS_FROM_0, *SINGLE}
    assert not swept & INNER
    assert swept | INNER == set(public_functions())


@pytest.mark.parametrize("name", OF_COUNTS)
def test_counts_give_a_result_at_the_edge_and_are_refused_beyond_it(name: str) -> None:
    results(OF_COUNTS, name, COUNTS, spread=True)
    refusals(OF_COUNTS, name, BAD_COUNTS, spread=True)


@pytest.mark.parametrize("name", OF_PAIRS)
def test_two_groups_give_a_result_at_the_edge_and_are_refused_beyond_it(name: str) -> None:
    results(OF_PAIRS, name, PAIRS, spread=True)
    refusals(OF_PAIRS, name, BAD_PAIRS, spread=True)


@pytest.mark.parametrize("name", OF_RATES)
def test_rates_give_a_result_at_the_edge_and_are_refused_beyond_it(name: str) -> None:
    # A standard must hold something.
    empty = {"nobody"} if name == "standardisation.directly_standardised_rate" else set()
    results(OF_RATES, name, {label: RATES[label] for label in RATES.keys() - empty}, spread=True)
    refusals(OF_RATES, name, BAD_RATES | {label: RATES[label] for label in empty}, spread=True)


@pytest.mark.parametrize("name", OF_SPELLS)
def test_spells_give_a_result_at_the_edge_and_are_refused_beyond_it(name: str) -> None:
    results(OF_SPELLS, name, SPELLS, spread=False)
    refusals(OF_SPELLS, name, BAD_SPELLS, spread=False)


@pytest.mark.parametrize("name", OF_SPELLS_FROM_0)
def test_spells_from_the_origin_give_a_result_at_the_edge_and_are_refused_beyond_it(name: str) -> None:
    results(OF_SPELLS_FROM_0, name, {k: v for k, v in SPELLS.items() if v[2] is None}, spread=False)
    refusals(OF_SPELLS_FROM_0, name, {k: v for k, v in BAD_SPELLS.items() if v[2] is None}, spread=False)


@pytest.mark.parametrize("name", SINGLE)
def test_values_give_a_result_at_the_edge_and_are_refused_beyond_it(name: str) -> None:
    call, fine, impossible = SINGLE[name]
    results({name: call}, name, {str(value): value for value in fine}, spread=False)
    refusals({name: call}, name, {str(value): value for value in impossible}, spread=False)
