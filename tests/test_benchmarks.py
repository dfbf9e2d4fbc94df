"""Verdicts on published figures: like with like, both sides uncertain, and no verdict where none can be given."""

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
import pytest

from audit.benchmarks import compare_with_benchmarks, published_figures
from audit.records import AuditResults, Period, VisitLog
from audit.run import run_audit
from audit.settings import AuditSettings
from audit.statistics.proportions import proportion_interval
from audit.statistics.rates import rate_interval
from audit.statistics.summaries import BOUNDS_ONLY

# 45 of 1,177 first attempts failed: Teal SB et al. Am J Obstet Gynecol 2015;213:515.e1-515.e5.
FIRST_ATTEMPT = "failed_insertion_us_youth_2015_all"
# Figures of the library by what sets them apart.
OPERATOR = "failed_insertion_us_after_training_2016"
NO_LIMITS = "expulsion_choice_2014_36_months_all"
MIXED_FOLLOW_UP = "expulsion_apex_2022_rate_not_postpartum"
BY_FOLLOW_UP = "pregnancy_europe_2015_12_months_copper"
OTHER_DEFINITION = "vasovagal_uk_2003_bradycardia_below_60"
SYNCOPE = "vasovagal_international_1986_syncope_or_similar"
AGED = "expulsion_madden_2014_36_months_age20plus"
NARROW = "perforation_europe_2014_to_36_weeks_breastfeeding"


def audited(
    tables: Mapping[str, pd.DataFrame],
    *,
    margins: Mapping[str, float] | None = None,
    gate: str = "last_known_leads",
) -> AuditResults:
    """Results that hold only these tables."""
    day = pd.Timestamp("2026-09-30")
    return AuditResults(
        service="A service",
        period=Period("2026-Q3", pd.Timestamp("2026-07-01"), day),
        data_to=day,
        settings=AuditSettings(margins=margins or {}),
        tables=tables,
        sources=(),
        versions={},
        gate=gate,
    )


def failed(events: int, n: int, *, unit: str = "woman_first_attempt", **labels: object) -> pd.DataFrame:
    """A row of the table of failed insertions."""
    lower, upper = proportion_interval(events, n)
    row: dict[str, object] = {
        "by": "overall",
        "stratum": "overall",
        "window": "all",
        "unit": unit,
        "events": events,
        "n": n,
        "proportion": events / n,
        "ci_lower": float(lower),
        "ci_upper": float(upper),
        "caution": "",
    }
    return pd.DataFrame([row | labels])


def pregnant(events: int, years: float, *, stratum: str = "copper", **labels: object) -> pd.DataFrame:
    """A row of the table of pregnancies."""
    lower, upper = rate_interval(events, years)
    row: dict[str, object] = {
        "by": "device_family",
        "stratum": stratum,
        "placement_kind": "all",
        "censoring": "last_known",
        "band": "0 to 365",
        "events": events,
        "person_years": years,
        "rate": events / years,
        "ci_lower": float(lower),
        "ci_upper": float(upper),
        "caution": "",
    }
    return pd.DataFrame([row | labels])


def compared(results: AuditResults, benchmark: str) -> pd.Series:
    """The row of one published figure."""
    table = compare_with_benchmarks(results)
    return table[table["benchmark"] == benchmark].iloc[0]


@pytest.mark.parametrize(
    ("events", "n", "margin", "verdict", "reason"),
    [
        (200, 1000, None, "higher", "The interval of the difference lies above 0."),
        (200, 1000, 0.5, "higher", "The interval of the difference lies above 0."),
        (2, 1000, None, "lower", "The interval of the difference lies below 0."),
        (38, 1000, 0.02, "compatible", "The interval of the difference lies within the margin set."),
        (
            38,
            1000,
            None,
            "cannot_tell",
            "The interval of the difference holds 0, and no margin is set for this outcome.",
        ),
        # From -0.024 to 0.008: one end within the margin is not enough.
        (
            30,
            1000,
            0.02,
            "cannot_tell",
            "The interval of the difference holds 0 but is wider than the margin set.",
        ),
        (
            4,
            100,
            0.02,
            "cannot_tell",
            "The interval of the difference holds 0 but is wider than the margin set.",
        ),
    ],
)
def test_the_interval_of_the_difference_and_the_margin_decide(
    events: int, n: int, margin: float | None, verdict: str, reason: str
) -> None:
    margins = {} if margin is None else {"failed_insertion": margin}
    row = compared(audited({"failed_insertions": failed(events, n)}, margins=margins), FIRST_ATTEMPT)
    assert (row["verdict"], row["reason"]) == (verdict, reason)


def test_a_margin_of_another_outcome_does_not_serve() -> None:
    results = audited({"failed_insertions": failed(38, 1000)}, margins={"expulsion": 0.5})
    assert compared(results, FIRST_ATTEMPT)["verdict"] == "cannot_tell"


def test_the_difference_carries_the_uncertainty_of_both_sides() -> None:
    row = compared(audited({"failed_insertions": failed(20, 200)}), FIRST_ATTEMPT)
    (own_lower, own_upper), (lower, upper) = proportion_interval(20, 200), proportion_interval(45, 1177)
    # Newcombe RG. Stat Med 1998;17:873-890, method 10, with the published figure as printed: 0.038.
    assert row["published_limits"] == "computed from its counts"
    assert row["difference"] == pytest.approx(0.1 - 0.038)
    assert row["difference_lower"] == pytest.approx(
        0.062 - np.hypot(0.1 - own_lower, upper - 0.038), abs=1e-9
    )
    assert row["difference_upper"] == pytest.approx(
        0.062 + np.hypot(own_upper - 0.1, 0.038 - lower), abs=1e-9
    )


def test_a_published_series_compared_with_itself_is_compatible_given_a_margin() -> None:
    compared_with_itself = {
        FIRST_ATTEMPT: {"failed_insertions": failed(45, 1177)},
        OPERATOR: {"failed_insertions": failed(8, 186, unit="operator_attempt")},
        BY_FOLLOW_UP: {"pregnancy": pregnant(90, 17323.0)},
    }
    for benchmark, tables in compared_with_itself.items():
        row = compared(audited(tables, margins={"failed_insertion": 0.05, "pregnancy": 0.002}), benchmark)
        assert row["verdict"] == "compatible"
        assert row["difference"] == pytest.approx(0, abs=6e-4)


def test_a_figure_is_compared_only_with_the_one_of_its_own_unit() -> None:
    by_visit = audited({"failed_insertions": failed(38, 1000, unit="visit")})
    for benchmark in (FIRST_ATTEMPT, OPERATOR):
        row = compared(by_visit, benchmark)
        assert row["verdict"] == "no_comparable_figure"
        assert row["reason"] == (
            "Nobody of that group was followed that long here, or there is nobody in it."
        )
        assert pd.isna(row["own"])


@pytest.mark.parametrize("labels", [{"by": "parous", "stratum": "no"}, {"window": "period"}])
def test_another_group_or_window_is_not_the_same_figure(labels: dict[str, object]) -> None:
    results = audited({"failed_insertions": failed(38, 1000, **labels)})
    assert compared(results, FIRST_ATTEMPT)["verdict"] == "no_comparable_figure"


def test_a_figure_of_nulliparous_women_is_set_beside_ours_of_them() -> None:
    table = pd.concat([failed(38, 1000), failed(10, 100, by="parous", stratum="no")])
    row = compared(audited({"failed_insertions": table}), "failed_insertion_us_youth_2015_nulliparous")
    assert (row["by"], row["stratum"], row["own_n"]) == ("parous", "no", 100)


@pytest.mark.parametrize(
    ("benchmark", "reason"),
    [
        (OTHER_DEFINITION, "This audit does not measure the outcome as the paper defines it."),
        (AGED, "The paper's group of women is narrower than any group of this audit."),
        (
            "expulsion_phillips_2017_copper_t_380",
            (
                "The paper prints a crude per cent of women followed for unequal times, and this audit has none "
                "to set beside it: like is compared with like."
            ),
        ),
        (
            "expulsion_us_trial_2022_12_months_copper_t_380_nulliparous",
            "The paper's group of women is narrower than any group of this audit.",
        ),
        (FIRST_ATTEMPT, "This log does not record it."),
    ],
)
def test_no_comparable_figure_is_an_answer_and_says_why(benchmark: str, reason: str) -> None:
    row = compared(audited({}), benchmark)
    assert (row["verdict"], row["reason"]) == ("no_comparable_figure", reason)


def test_a_reaction_is_compared_only_under_the_paper_s_own_definition() -> None:
    rows = [
        failed(9, 1000, definition=definition, by="timing_group", stratum="interval").drop(columns="unit")
        for definition in ("vasovagal_any", "syncope")
    ]
    rows[0]["proportion"] = 0.5
    row = compared(audited({"vasovagal_by_parity": pd.concat(rows)}), SYNCOPE)
    assert row["own"] == pytest.approx(0.009)


def test_a_figure_without_limits_or_counts_gives_no_verdict() -> None:
    table = pd.DataFrame(
        [
            {
                "by": "overall",
                "stratum": "overall",
                "placement_kind": "first",
                "censoring": "last_known",
                "cause": "expulsion",
                "days": 1095,
                "at_risk": 500,
                "cumulative_events": 300,
                "one_minus_km": 0.5,
                "km_lower": 0.45,
                "km_upper": 0.55,
                "caution": "",
            }
        ]
    )
    row = compared(audited({"expulsion_incidence": table}), NO_LIMITS)
    assert row["published_limits"] == "not available"
    assert (row["verdict"], row["reason"]) == (
        "cannot_tell",
        "The paper prints no limits and no counts to compute them from.",
    )
    # Another horizon is another figure.
    other = compared(audited({"expulsion_incidence": table.assign(days=365)}), NO_LIMITS)
    assert other["verdict"] == "no_comparable_figure"


@pytest.mark.parametrize("gate", ["both_as_equals", "bounds_only", "not_yet_due"])
def test_the_gate_keeps_open_what_rests_on_follow_up_and_nothing_else(gate: str) -> None:
    tables = {"pregnancy": pregnant(500, 10000.0), "failed_insertions": failed(200, 1000)}
    assert compared(audited(tables), BY_FOLLOW_UP)["verdict"] == "higher"
    closed = audited(tables, gate=gate)
    row = compared(closed, BY_FOLLOW_UP)
    assert (row["verdict"], row["reason"]) == (
        "cannot_tell",
        "The outcome at 12 months is known for too few women to judge anything that needs follow-up.",
    )
    # The figures stay, only the verdict goes.
    assert row["own"] == pytest.approx(0.05)
    assert compared(closed, FIRST_ATTEMPT)["verdict"] == "higher"


def test_a_rate_over_follow_up_of_mixed_length_gives_no_verdict() -> None:
    table = pregnant(500, 1000.0, by="timing_group", stratum="interval").assign(
        placement_kind="first", cause="expulsion", band="all", window="all"
    )
    row = compared(audited({"person_time_rates": table}), MIXED_FOLLOW_UP)
    assert (row["verdict"], row["reason"]) == (
        "cannot_tell",
        "The paper followed women for mixed lengths of time, and rates fall with time since placement.",
    )


@pytest.mark.parametrize(
    ("at_risk", "reason"),
    [
        (9, "Fewer than 10 still under observation."),
        # With enough followed it is the paper that says too little.
        (10, "The paper prints no limits and no counts to compute them from."),
    ],
)
def test_too_few_still_followed_keep_a_curve_open_and_enough_do_not(at_risk: int, reason: str) -> None:
    row: dict[str, object] = {
        "by": "overall",
        "stratum": "overall",
        "placement_kind": "first",
        "censoring": "last_known",
        "cause": "expulsion",
        "days": 1095,
        "at_risk": at_risk,
        "cumulative_events": 200,
        "one_minus_km": 0.40,
        "km_lower": 0.35,
        "km_upper": 0.45,
        "caution": "Fewer than 10 still under observation." if at_risk < 10 else "",
    }
    judged = compared(audited({"expulsion_incidence": pd.DataFrame([row])}), NO_LIMITS)
    assert (judged["verdict"], judged["reason"]) == ("cannot_tell", reason)


def test_none_seen_in_many_woman_years_is_a_figure_that_can_be_judged() -> None:
    # Published 0.52 (0.42 to 0.64) per 100 woman-years; none in 10,000 leaves at most 0.04 per 100.
    table = pregnant(0, 10000.0, caution="None seen: the upper limit is what is still possible.")
    row = compared(audited({"pregnancy": table}), BY_FOLLOW_UP)
    assert (row["verdict"], row["reason"]) == ("lower", "The interval of the difference lies below 0.")


def test_a_proportion_of_which_too_much_is_not_recorded_gives_no_verdict() -> None:
    tables = {"failed_insertions": failed(200, 1000, caution=BOUNDS_ONLY)}
    row = compared(audited(tables), FIRST_ATTEMPT)
    assert (row["verdict"], row["reason"]) == ("cannot_tell", BOUNDS_ONLY)
    # That nothing was seen is no reason to keep a comparison open.
    seen_none = failed(0, 1000, caution="None seen: the exact upper limit is what is still possible.")
    assert compared(audited({"failed_insertions": seen_none}), FIRST_ATTEMPT)["verdict"] == "lower"


def test_every_published_figure_has_one_row_in_the_order_of_the_library() -> None:
    table = compare_with_benchmarks(audited({}))
    assert table["benchmark"].tolist() == [figure["id"] for figure in published_figures()]
    assert table["citation"].str.len().min() > 0
    assert table["identifier"].str.len().min() > 0


def test_counts_that_were_worked_out_and_not_read_give_no_limits() -> None:
    table = compare_with_benchmarks(audited({})).set_index("benchmark")
    assert table.at[OTHER_DEFINITION, "published_limits"] == "not available"
    assert table.at[NARROW, "published_limits"] == "printed"


def test_an_audit_of_a_small_log_is_compared_without_a_verdict_it_cannot_have(
    log_of: Callable[..., VisitLog],
) -> None:
    log = log_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2026-07-01 | insertion  | placed            |
        W2          | 2026-07-01 | insertion  | failed            |
        W1          | 2026-08-10 | follow_up  |                   | in_situ_confirmed
        """)
    results = run_audit(log, period="2026-Q3")
    row = results.tables["benchmark_comparison"].set_index("benchmark").loc[FIRST_ATTEMPT]
    assert row[["own", "own_events", "own_n"]].tolist() == [0.5, 1, 2]
    # 1 of 2 has limits from 0.09 to 0.91, and the difference from 0.038 lies above 0.
    assert row["verdict"] == "higher"
