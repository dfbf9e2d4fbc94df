"""Likeness by rule: each rule alone turns a grade, the worst decides, and C is never judged."""

from typing import Any

import numpy as np
import pandas as pd
import pytest

from audit.benchmarks import compare_with_benchmarks
from audit.benchmarks.likeness import RULES, likeness
from audit.benchmarks.own_figures import nearest_horizon
from audit.records import AuditResults, Period
from audit.settings import AuditSettings, settings_from

ALIKE: dict[str, Any] = {
    "outcome": "expulsion",
    "measure": "one_minus_km",
    "horizon_days": 365,
    "definition": "First expulsion, partial or complete",
    "censoring": "at the last contact",
    "censoring_rule": "last_known",
    "status": "primary",
}
OURS: dict[str, Any] = {"by": "overall", "own_days": 365.0}


def test_what_is_the_same_in_everything_printed_is_alike() -> None:
    assert likeness(ALIKE, OURS) == ("A", "", "")


@pytest.mark.parametrize(
    ("published", "own", "grade", "rule"),
    [
        ({"definition": "not stated in what was read"}, {}, "B", "definition"),
        ({"definition_differs": "Complete ones there, all here."}, {}, "B", "definition"),
        ({"measure_assumed": True}, {}, "B", "measure"),
        ({"horizon_days": 380}, {}, "B", "horizon"),
        ({}, {"by": "device_family"}, "B", "device"),
        ({"unlike": ["Only women aged 13 to 24."]}, {}, "B", "population"),
        ({"censoring_rule": None, "censoring": "not stated"}, {}, "B", "censoring"),
        (
            {"censoring_rule": None, "censoring": "women who stopped to conceive were censored"},
            {},
            "B",
            "censoring",
        ),
        ({"status": "historical"}, {}, "C", "era"),
    ],
)
def test_each_rule_alone_turns_the_grade_and_says_why(
    published: dict[str, Any], own: dict[str, Any], grade: str, rule: str
) -> None:
    entry = {key: value for key, value in {**ALIKE, **published}.items() if value is not None}
    found, differs, differs_in = likeness(entry, {**OURS, **own})
    assert (found, differs_in) == (grade, rule)
    assert differs.endswith(".")


def test_the_worst_rule_decides_and_every_difference_is_said() -> None:
    entry = {**ALIKE, "unlike": ["Only students."], "status": "historical", "measure_assumed": True}
    grade, differs, differs_in = likeness(entry, OURS)
    assert (grade, differs_in) == ("C", "measure, population, era")
    assert differs == (
        "The paper does not say whether its figure is from a life table. Only students. "
        "Devices and practice of another time."
    )


def test_a_rate_over_follow_up_of_mixed_length_is_unlike_and_a_count_whenever_found_is_near() -> None:
    rate = {**ALIKE, "measure": "rate", "horizon": "mixed"}
    del rate["horizon_days"]
    assert likeness(rate, OURS)[0] == "C"
    found = {**rate, "outcome": "perforation", "measure": "proportion"}
    assert likeness(found, {**OURS, "own_days": np.nan})[0] == "B"


def test_failures_counted_in_an_unknown_unit_are_unlike() -> None:
    entry = {**ALIKE, "outcome": "failed_insertion", "measure": "proportion", "horizon_days": 0}
    nothing_read = {**OURS, "own_days": np.nan}
    assert likeness({**entry, "unit_of_analysis": "per_visit"}, nothing_read)[0] == "A"
    assert likeness({**entry, "unit_of_analysis": "not_stated"}, nothing_read)[0] == "C"


def test_the_rules_are_the_seven_that_are_documented() -> None:
    assert [rule.name for rule in RULES] == [
        *("definition", "measure", "horizon", "device", "population", "censoring", "era")
    ]


@pytest.mark.parametrize(
    ("days", "read"), [(1126, 1095), (365, 365), (1461, 1461), (56, 56), (20, 20), (0, 0)]
)
def test_our_curve_is_read_at_the_paper_s_day_or_hardly_off_it(days: int, read: int) -> None:
    assert nearest_horizon(days, (42, 91, 182, 365, 730, 1095)) == read


def results(settings: AuditSettings, tables: dict[str, pd.DataFrame]) -> AuditResults:
    """Results that hold only these tables."""
    day = pd.Timestamp("2026-09-30")
    return AuditResults(
        service="A service",
        period=Period("2026-Q3", pd.Timestamp("2026-07-01"), day),
        data_to=day,
        settings=settings,
        tables=tables,
        sources=(),
        versions={},
        gate="last_known_leads",
    )


def curve(censoring: str, one_minus_km: float) -> dict[str, Any]:
    """Our expulsions by 12 months under one rule of censoring."""
    return {
        "by": "overall",
        "stratum": "overall",
        "placement_kind": "first",
        "censoring": censoring,
        "cause": "expulsion",
        "days": 365.0,
        "at_risk": 800,
        "cumulative_events": 60,
        "caution": "",
        "one_minus_km": one_minus_km,
        "km_lower": one_minus_km - 0.01,
        "km_upper": one_minus_km + 0.01,
        "incidence": 0.05,
        "ci_lower": 0.04,
        "ci_upper": 0.06,
    }


def own_entry(**changes: object) -> AuditSettings:
    """Settings with one published figure of expulsion by 12 months."""
    entry = {
        "id": "a_paper",
        "outcome": "expulsion",
        "measure": "one_minus_km",
        "horizon_days": 365,
        "estimate": 0.06,
        "ci_lower": 0.05,
        "ci_upper": 0.07,
        "population": "All",
        "definition": "Any expulsion",
        "citation": "Someone A. 2020. A journal 1:1",
        **changes,
    }
    return settings_from({"benchmarks": [entry], "margins": {"expulsion": 0.03}})


@pytest.mark.parametrize(("rule", "value"), [("last_known", 0.075), ("assumed_in_place", 0.062)])
def test_censoring_is_matched_where_the_paper_says_its_rule(rule: str, value: float) -> None:
    table = pd.DataFrame([curve("last_known", 0.075), curve("assumed_in_place", 0.062)])
    settings = own_entry(censoring=f"as {rule}", censoring_rule=rule)
    row = compare_with_benchmarks(results(settings, {"expulsion_incidence": table})).iloc[-1]
    assert (row["censoring"], row["own"], row["grade"]) == (rule, value, "A")


def test_one_minus_kaplan_meier_and_cumulative_incidence_are_each_compared_with_their_own_kind() -> None:
    tables = {"expulsion_incidence": pd.DataFrame([curve("last_known", 0.075)])}
    km = compare_with_benchmarks(results(own_entry(), tables)).iloc[-1]
    cif = compare_with_benchmarks(results(own_entry(measure="cumulative_incidence"), tables)).iloc[-1]
    assert (km["own"], cif["own"]) == (0.075, 0.05)


def test_a_crude_per_cent_never_stands_beside_a_life_table_figure() -> None:
    tables = {"expulsion_incidence": pd.DataFrame([curve("last_known", 0.075)])}
    row = compare_with_benchmarks(results(own_entry(measure="proportion"), tables)).iloc[-1]
    assert row["verdict"] == "no_comparable_figure"
    assert pd.isna(row["own"])
    assert "a crude per cent" in row["reason"]


def test_grade_c_is_shown_and_not_judged() -> None:
    tables = {"expulsion_incidence": pd.DataFrame([curve("last_known", 0.30)])}
    row = compare_with_benchmarks(results(own_entry(status="historical"), tables)).iloc[-1]
    assert (row["grade"], row["verdict"]) == ("C", "cannot_tell")
    assert row["reason"] == "This study differs in censoring, era; shown for orientation."
    assert row["difference_lower"] > 0
    assert pd.isna(row["probability_above"])
