"""Intervals and p-values printed in papers, recomputed from the counts printed beside them.

Each paper's counts were read in its text; each check holds for the method that rounds to the printed limits,
and fails for those known not to.
"""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from audit.statistics.odds import odds_ratio
from audit.statistics.proportions import proportion_interval
from audit.statistics.rates import rate_interval
from audit.statistics.two_groups import (
    chi_square_2x2,
    chi_square_2x2_yates,
    difference_interval,
    risk_ratio,
)

Z = 1.959963984540054
DATA = Path(__file__).parent / "data" / "published_intervals.toml"
CHECKS = tomllib.loads(DATA.read_text(encoding="utf-8"))["check"]
INTERVALS = [check for check in CHECKS if check["kind"] != "test"]
TESTS = [check for check in CHECKS if check["kind"] == "test"]
NOT_REPRODUCED = "peterson_perf"
# A normal limit for the log of a rate needs an event.
PAIRS = [(check, method) for check in INTERVALS for method in check["reproduced_by"]]
MISSES = [(check, method) for check in INTERVALS for method in check["not_reproduced_by"]]


def wald(x, n):
    """The normal approximation: papers print it, the package does not offer it."""
    half_width = Z * math.sqrt(x / n * (1 - x / n) / n)
    return max(0.0, x / n - half_width), min(1.0, x / n + half_width)


def logit(x, n):
    """Normal limits for the log odds."""
    half_width = Z * math.sqrt(1 / x + 1 / (n - x))
    return tuple(1 / (1 + math.exp(-(math.log(x / (n - x)) + sign * half_width))) for sign in (-1, 1))


def log_poisson(x, n):
    """Normal limits for the log rate."""
    return x / n * math.exp(-Z / math.sqrt(x)), x / n * math.exp(Z / math.sqrt(x))


def wald_difference(x1, n1, x2, n2):
    """The normal approximation for a difference."""
    p1, p2 = x1 / n1, x2 / n2
    half_width = Z * math.sqrt(p1 * (1 - p1) / n1 + p2 * (1 - p2) / n2)
    return p1 - p2 - half_width, p1 - p2 + half_width


def limits_of(check, method):
    """Return the limits of one method in the unit the paper prints."""
    kind = check["kind"]
    if kind == "proportion":
        found = single_limits(check["x"], check["n"], method)
    elif kind == "rate":
        years = check["cycles"] / 13 if method != "garwood_days" else check["cycles"] * 28 / 365.25
        found = log_poisson(check["x"], years) if method == "log_rate" else rate_interval(check["x"], years)
    else:
        found = pair_limits(kind, [check[name] for name in ("x1", "n1", "x2", "n2")], method)
    return [float(limit) * check["scale"] for limit in found]


def single_limits(x, n, method):
    """Return the limits of a proportion."""
    own = {"wald": wald, "logit": logit, "log_poisson": log_poisson, "garwood": rate_interval}
    return own[method](x, n) if method in own else proportion_interval(x, n, method=method)


def pair_limits(kind, counts, method):
    """Return the limits of a comparison."""
    if method == "wald":
        return wald_difference(*counts)
    functions = {"difference": difference_interval, "risk_ratio": risk_ratio, "odds_ratio": odds_ratio}
    options = {} if kind == "difference" else {"method": method}
    result = functions[kind](*counts, **options)
    return result.ci_lower, result.ci_upper


def rounds_to_printed(check, method):
    """Say whether both limits round to the printed ones."""
    pairs = zip(limits_of(check, method), check["published_limits"], check["decimals"], strict=True)
    return all(round(found, decimals) == pytest.approx(printed) for found, printed, decimals in pairs)


def name(value):
    return value["id"] if isinstance(value, dict) else value


def test_the_file_holds_all_twenty_one_checks():
    assert len(CHECKS) == 21
    assert [check["id"] for check in INTERVALS if not check["reproduced_by"]] == [NOT_REPRODUCED]
    assert {method for _, method in PAIRS} >= {
        "wald",
        "logit",
        "agresti_coull",
        "clopper_pearson",
        "newcombe",
        "katz",
        "woolf",
        "garwood_cycles",
    }


@pytest.mark.parametrize(("check", "method"), PAIRS, ids=name)
def test_a_published_interval_is_reproduced_by_its_method(check, method):
    assert rounds_to_printed(check, method)


@pytest.mark.parametrize(("check", "method"), MISSES, ids=name)
def test_a_published_interval_tells_its_method_from_the_others(check, method):
    assert not rounds_to_printed(check, method)


def test_no_method_reproduces_the_interval_printed_for_23_of_3959():
    # Printed: 5.8 per 1000 (1.2 to 10.8). The estimate is right and every method gives about 3.7 to 8.7.
    check = next(check for check in INTERVALS if check["id"] == NOT_REPRODUCED)
    single = (
        "wilson",
        "clopper_pearson",
        "mid_p",
        "jeffreys",
        "agresti_coull",
        "wald",
        "logit",
        "log_poisson",
    )
    for method in (*single, "garwood"):
        lower, upper = limits_of(check, method)
        assert 3.4 < lower < 3.9
        assert 8.1 < upper < 8.8
    assert round(23 / 3959 * 1000, 1) == check["published_estimate"]


@pytest.mark.parametrize("check", [c for c in INTERVALS if c["kind"] == "proportion"], ids=name)
def test_a_published_proportion_follows_from_its_counts(check):
    decimals = check["decimals"][1]
    assert round(check["x"] / check["n"] * check["scale"], decimals) == check["published_estimate"]


@pytest.mark.parametrize("check", TESTS, ids=name)
def test_a_published_p_value_is_pearsons_without_correction(check):
    p_value = chi_square_2x2(*(check[name] for name in ("x1", "n1", "x2", "n2"))).p_value
    printed = check["published_p"]
    assert p_value < 0.01 if printed == "<.01" else round(p_value, 2) == float(printed)


def test_two_of_the_published_p_values_exclude_the_continuity_correction():
    p_values = {
        c["id"]: chi_square_2x2_yates(*(c[n] for n in ("x1", "n1", "x2", "n2"))).p_value for c in TESTS
    }
    assert p_values["phil_2y"] == pytest.approx(0.13504, abs=5e-6)
    assert p_values["phil_4y"] == pytest.approx(0.01183, abs=5e-6)
    assert np.round(p_values["bernard"], 2) == 0.11
