"""Intervals printed in papers whose counts are not all printed with them: each checked as far as its evidence goes.

`tests/reference/test_published_intervals.py` holds those whose counts were read. Here a count is inferred, or the
time at risk is whatever the printed rate allows, or the form of the interval alone is judged.
"""

import math
import tomllib
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from audit.statistics.proportions import proportion_interval
from audit.statistics.rates import rate_interval
from audit.statistics.two_groups import difference_interval, risk_ratio

Z = 1.959963984540054
DATA = Path(__file__).parent / "data" / "inferred_intervals.toml"
CHECKS = tomllib.loads(DATA.read_text(encoding="utf-8"))["check"]


def of_kind(kind):
    """Each check of a kind with each method, and whether it should reproduce the printed limits."""
    return [
        pytest.param(check, method, expected, id=f"{check['id']}-{method}")
        for check in CHECKS
        if check["kind"] == kind
        for expected, methods in ((True, check["reproduced_by"]), (False, check["not_reproduced_by"]))
        for method in methods
    ]


def printed(check, limits):
    """Whether both limits round to the printed ones."""
    pairs = zip(limits, check["published_limits"], check["decimals"], strict=True)
    return all(round(float(found), digits) == pytest.approx(limit) for found, limit, digits in pairs)


def single(x, n, method):
    """Limits of a proportion; some that papers print and the package does not offer."""
    p = x / n
    if method == "wald":
        half = Z * math.sqrt(p * (1 - p) / n)
        return max(0.0, p - half), p + half
    if method == "logit":
        half = Z * math.sqrt(1 / x + 1 / (n - x))
        return tuple(1 / (1 + math.exp(-(math.log(p / (1 - p)) + sign * half))) for sign in (-1, 1))
    if method == "log_poisson":
        return p * math.exp(-Z / math.sqrt(x)), p * math.exp(Z / math.sqrt(x))
    return rate_interval(x, n) if method == "garwood" else proportion_interval(x, n, method=method)


@pytest.mark.parametrize(("check", "method", "expected"), of_kind("proportion"))
def test_a_proportion_with_an_inferred_count_has_the_printed_limits(check, method, expected):
    limits = [check["scale"] * limit for limit in single(check["x"], check["n"], method)]
    limits[0] = max(limits[0], 0.0)
    assert printed(check, limits) == expected


@pytest.mark.parametrize(("check", "method", "expected"), of_kind("risk_ratio"))
def test_a_ratio_with_inferred_counts_has_the_printed_limits(check, method, expected):
    name = {"katz": "katz", "score": "koopman"}[method]
    found = risk_ratio(*(check[count] for count in ("x1", "n1", "x2", "n2")), method=name)
    assert printed(check, (found.ci_lower, found.ci_upper)) == expected


@pytest.mark.parametrize("check", [check for check in CHECKS if check["kind"] == "difference"])
def test_no_method_gives_the_limits_of_two_differences_with_inferred_counts(check):
    found = difference_interval(*(check[count] for count in ("x1", "n1", "x2", "n2")))
    assert not printed(check, (100 * found.ci_lower, 100 * found.ci_upper))
    # The counts inferred are near the truth all the same.
    assert 100 * found.value == pytest.approx(check["published_estimate"], abs=0.1)
    assert 100 * found.ci_lower == pytest.approx(check["published_limits"][0], abs=1)
    assert 100 * found.ci_upper == pytest.approx(check["published_limits"][1], abs=1)


@pytest.mark.parametrize(("check", "method", "expected"), of_kind("free_rate"))
def test_some_time_at_risk_gives_both_printed_limits_of_a_rate(check, method, expected):
    events, half = check["x"], 0.5 * 10 ** -check["decimals"][0]
    rates = np.linspace(check["published_estimate"] - half, check["published_estimate"] + half, 2001)
    exposures = events / rates[rates > 0]
    spread = Z / math.sqrt(events)
    if method == "garwood":
        lower, upper = rate_interval(np.full(len(exposures), events), exposures)
    elif method == "log_rate":
        lower, upper = events / exposures * math.exp(-spread), events / exposures * math.exp(spread)
    else:
        lower, upper = events / exposures * (1 - spread), events / exposures * (1 + spread)
    found = any(printed(check, limits) for limits in zip(lower, upper, strict=True))
    assert found == expected


SCALES = {
    "plain": lambda survival: survival,
    "log": math.log,
    "log-log": lambda survival: -math.log(-math.log(survival)),
    "logit": lambda survival: math.log(survival / (1 - survival)),
    "arcsine": lambda survival: math.asin(math.sqrt(survival)),
}


@pytest.mark.parametrize(("check", "method", "expected"), of_kind("survival"))
def test_the_printed_limits_of_a_curve_are_symmetric_on_the_scale_of_their_method(check, method, expected):
    scale, half = SCALES[method], 0.5 * 10 ** -check["decimals"][0]

    def span(percent):
        """The scaled survival that rounding leaves possible."""
        return [scale(1 - (percent + sign * half) / 100) for sign in (1, -1)]

    (low_1, high_1), (low_2, high_2) = (span(limit) for limit in check["published_limits"])
    low, high = span(check["published_estimate"])
    assert (low_1 + low_2 <= 2 * high and 2 * low <= high_1 + high_2) == expected


def test_every_grade_of_evidence_is_there():
    assert Counter(check["evidence"] for check in CHECKS) == {
        "rate_inferred": 10,
        "memory_denominator": 2,
        "free_exposure": 4,
        "ci_fitted": 9,
        "symmetry_only": 10,
    }
