"""The section on published figures: which paper, which women, how alike, how sure, what could have been shown."""

import html
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from audit.benchmarks import compare_with_benchmarks
from audit.benchmarks.own_kinds import OWN
from audit.records import AuditResults, Period
from audit.settings import settings_from
from audit.statistics.proportions import proportion_interval
from reports.sections import benchmark_words, benchmarks
from reports.sections.benchmark_cells import can_be_judged, columns, scale_sentence
from reports.sections.benchmark_sources import in_overview
from reports.sections.section import Section


def said_by(section: Section) -> str:
    """Every word of a section."""
    texts = [section.heading]
    for block in section.blocks:
        for name in ("text", "note", "summary", "table"):
            texts.append(str(getattr(block, name, "")))
    return html.unescape(re.sub(r"<[^>]+>", " ", " ".join(texts)))


def results(tables: dict[str, pd.DataFrame], **rules: Any) -> AuditResults:
    """Results that hold these tables and their comparison."""
    day = pd.Timestamp("2026-09-30")
    made = AuditResults(
        service="A service",
        period=Period("2026-Q3", pd.Timestamp("2026-07-01"), day),
        data_to=day,
        settings=settings_from(rules),
        tables=tables,
        sources=(),
        versions={},
        gate="last_known_leads",
    )
    return replace(made, tables={**tables, "benchmark_comparison": compare_with_benchmarks(made)})


def proportions(events: int, n: int, **labels: object) -> pd.DataFrame:
    """A row of a table of proportions."""
    lower, upper = proportion_interval(events, n, method="clopper_pearson")
    row = {"by": "overall", "stratum": "overall", "window": "all", "unit": "visit", "definition": "confirmed"}
    row |= {"events": events, "n": n, "proportion": events / n, "caution": ""}
    row |= {"ci_lower": float(lower), "ci_upper": float(upper)}
    row |= {"exact_lower": float(lower), "exact_upper": float(upper)}
    return pd.DataFrame([row | labels])


def cells(found: list[dict[str, Any]], heading: str) -> list[str]:
    """One column of the comparison as plain text."""
    (column,) = [column for column in columns(found, 10, judged=True) if column.heading == heading]
    return [html.unescape(re.sub(r"<[^>]+>", " ", column.cell(row))) for row in found]


def compared(audited: AuditResults, benchmark: str) -> list[dict[str, Any]]:
    """The row of one figure, as the section reads it."""
    table = audited.tables["benchmark_comparison"]
    return [dict(row) for _, row in table[table["benchmark"] == benchmark].iterrows()]


def test_none_of_240_reads_as_what_is_still_possible_and_what_could_have_been_shown() -> None:
    rows = proportions(0, 240, by="device_class", stratum="lng_52")
    found = compared(
        results({"perforation": rows}, margins={"perforation": 0.001}), "perforation_europe_2015_lng_52"
    )
    (verdict,) = cells(found, "Verdict")
    assert verdict.strip().startswith("Cannot tell.")
    assert (
        "None seen in 240: a true figure of up to 15.3 per 1,000 would still be compatible with this."
        in verdict
    )
    (power,) = cells(found, "What our numbers could show")
    assert "by more than the margin of 1 per 1,000" in power
    assert "Would be shown, four times in five: a true figure of 17.7 per 1,000 or more." in power
    assert "would settle it, at these figures." in power
    (paper,) = cells(found, "Published for, and how alike")
    assert paper.startswith("Heinemann et al. 2015: New users of a 52 mg levonorgestrel device, all parities")
    assert "B, near." in paper
    assert "Within 12 months there; up to the freeze here." in paper


def test_a_small_number_is_said_to_tell_nothing_and_a_paper_s_own_uncertainty_is_told_apart() -> None:
    paper = {
        "id": "paper",
        "outcome": "failed_insertion",
        "measure": "proportion",
        "unit_of_analysis": "per_visit",
        "horizon_days": 0,
        "estimate": 0.05,
        "population": "All",
        "definition": "Failed visits",
        "citation": "Someone AB. 2020. A journal 1:1",
    }
    rules = {"margins": {"failed_insertion": 0.02}}
    rows = {"failed_insertions": proportions(6, 100)}
    large = compared(results(rows, benchmarks=[{**paper, "events": 2500, "n": 50000}], **rules), "paper")
    (verdict,) = cells(large, "Verdict")
    assert "From 6 of 100, the true figure could lie between 2.2 and 12.6%" in verdict
    assert "too wide to tell good from ordinary practice." in verdict
    small = compared(results(rows, benchmarks=[{**paper, "events": 5, "n": 100}], **rules), "paper")
    assert "ordinary practice" not in cells(small, "Verdict")[0]
    (power,) = cells(small, "What our numbers could show")
    assert "More of ours would not settle it: the published figure is itself too uncertain." in power


def test_every_comparison_of_the_demonstration_shows_its_source_its_grade_and_its_women(
    demo_results: AuditResults,
) -> None:
    words = said_by(benchmarks.benchmarks_section(demo_results))
    table = demo_results.tables["benchmark_comparison"]
    for row in table.to_dict("records"):
        assert benchmark_words.short_citation(row) in words
    for row in table[table["grade"].notna()].to_dict("records"):
        assert row["population"] in words
        assert row["citation"] in words
        assert f"{benchmark_words.grade_words(row)}." in words
    assert "nan" not in re.findall(r"[A-Za-z]+", words)


@pytest.mark.parametrize("key", OWN, ids=" ".join)
def test_every_figure_of_ours_that_may_be_compared_is_in_its_table(
    demo_results: AuditResults, key: tuple[str, str]
) -> None:
    kind = OWN[key]
    table = demo_results.tables[kind.table]
    if kind.share_of:
        assert {kind.share_of, "events"} <= set(table.columns)
    else:
        assert set(kind.columns) <= set(table.columns)
    held = pd.Series(True, index=table.index)
    for name, value in kind.labels.items():
        held &= table[name] == value
    assert held.any()


def first_table(audited: AuditResults) -> str:
    """The table that stands open, as text with a line for each cell's lines."""
    section = benchmarks.benchmarks_section(audited)
    (table, *_) = [str(block.table) for block in section.blocks if block.kind == "table"]
    return html.unescape(re.sub(r"<[^>]+>", " ", table))


def test_the_first_table_holds_what_lies_apart_and_nothing_unlike(demo_results: AuditResults) -> None:
    rows = demo_results.tables["benchmark_comparison"].to_dict("records")
    ours = [row for row in rows if row["verdict"] != "no_comparable_figure"]
    chosen = in_overview(ours, 10)
    apart = {row["benchmark"] for row in ours if row["verdict"] in ("higher", "lower")}
    assert apart
    assert apart <= {row["benchmark"] for row in chosen}
    assert not [row["benchmark"] for row in chosen if row["grade"] == "C"]
    every = {(row["outcome"], row["measure"]) for row in ours if row["grade"] in ("A", "B")}
    told = [(row["outcome"], row["measure"]) for row in chosen]
    # Some outcomes have only figures of too few of ours.
    assert len(set(told)) > len(every) / 2
    assert max(told.count(key) for key in told) <= 2


def test_a_quality_officer_reads_five_answers_in_each_line_of_the_first_table(
    demo_results: AuditResults,
) -> None:
    printed = first_table(demo_results)
    rows = demo_results.tables["benchmark_comparison"].to_dict("records")
    chosen = in_overview([row for row in rows if row["verdict"] != "no_comparable_figure"], 10)
    lines = printed.split("Likeness ")[1:]
    assert len(lines) == len(chosen)
    for row in chosen:
        # Which figure, which population, how alike, how sure, what could have been detected.
        assert f"{benchmark_words.short_citation(row)}: {row['population']}" in printed
        assert f"Published {benchmark_words.published(row)}" in printed
        assert f"Ours {benchmark_words.own(row)}" in printed
        assert row["differs"] in printed
    assert printed.count("Detectable: ") == len(chosen)
    assert printed.count("Detectable: not known") == sum(row["measure"] == "median" for row in chosen)


def test_on_paper_every_figure_of_the_first_table_has_its_full_source(demo_results: AuditResults) -> None:
    section = benchmarks.benchmarks_section(demo_results)
    # What is folded is left out on paper.
    open_tables = " ".join(str(block.table) for block in section.blocks if block.kind == "table")
    on_paper = html.unescape(re.sub(r"<[^>]+>", " ", open_tables))
    rows = demo_results.tables["benchmark_comparison"].to_dict("records")
    for row in in_overview([row for row in rows if row["verdict"] != "no_comparable_figure"], 10):
        assert f"{row['citation']}. {benchmark_words.identifier(row)}" in on_paper
    assert len(on_paper) < 15_000
    folded = [block.summary for block in section.blocks if block.kind == "folded"]
    assert len(folded) == len(set(folded)) > 5


def test_a_paper_without_limits_is_taken_as_exact_for_what_could_have_been_detected() -> None:
    # Madden 2014: 10.2 by 36 months, no limits. Ours 12% (8 to 18): (1.96 + 0.8416) standard errors of
    # 0.10 / 3.92 are 7.1 points.
    row = {"by": "overall", "stratum": "overall", "placement_kind": "first", "censoring": "last_known"}
    row |= {"cause": "expulsion", "days": 1095, "one_minus_km": 0.12, "km_lower": 0.08, "km_upper": 0.18}
    row |= {"at_risk": 150, "cumulative_events": 24, "caution": ""}
    audited = results({"expulsion_incidence": pd.DataFrame([row])})
    (found,) = compared(audited, "expulsion_choice_2014_36_months_all")
    reach = (1.959964 + 0.841621) * 0.10 / 3.919928
    assert found["detectable_lower"] == pytest.approx(0.102 - reach, abs=1e-6)
    assert found["detectable_higher"] == pytest.approx(0.102 + reach, abs=1e-6)
    assert found["verdict"] == "cannot_tell"
    assert "Detectable: 3.1% or less, or 17.3% or more" in first_table(audited)


def test_scores_are_drawn_on_their_own_scale_and_few_of_them_not_at_all() -> None:
    row = {"by": "cervical_parity", "stratum": "no", "median": 4.0, "median_lower": 3.0, "median_upper": 5.0}
    row |= {"window": "all", "events": 5, "caution": ""}
    many = results({"pain_scores": pd.DataFrame([row | {"n": 80}])})
    (found,) = compared(many, "insertion_pain_brima_2015")
    assert benchmark_words.published(found) == "6 of 10 (no limits)"
    assert benchmark_words.own(found) == "4 of 10 (3 to 5)"
    assert benchmark_words.counts(found) == "80 scores"
    assert scale_sentence([found], 10) == "Drawn on a scale from 0 to 10."
    (few,) = compared(results({"pain_scores": pd.DataFrame([row | {"n": 6}])}), "insertion_pain_brima_2015")
    assert benchmark_words.own(few) == "6 scores"
    assert in_overview([few], 10) == []


def test_a_figure_without_one_of_ours_is_counted_with_its_reason_and_papers(
    demo_results: AuditResults,
) -> None:
    table = demo_results.tables["benchmark_comparison"]
    alone = table[table["verdict"] == "no_comparable_figure"]
    words = said_by(benchmarks.benchmarks_section(demo_results))
    assert f"No comparable figure of ours for {len(alone)} published figures" in words
    assert all(reason in words for reason in alone["reason"].unique())


def test_only_what_could_lie_apart_counts_as_a_comparison_made(demo_results: AuditResults) -> None:
    table = demo_results.tables["benchmark_comparison"]
    judged = table["probability_above"].notna()
    assert benchmarks.judged(demo_results) == judged.sum()
    assert not (judged & (table["grade"] == "C")).any()
    closed = replace(
        demo_results, tables={"benchmark_comparison": table.assign(probability_above=float("nan"))}
    )
    assert benchmarks.judged(closed) == table["verdict"].isin(["higher", "lower", "compatible"]).sum()


@pytest.mark.parametrize(("outcome", "colour"), [("failed_insertion", True), ("continuation", False)])
def test_a_difference_is_coloured_only_where_more_is_better_or_worse(
    demo_results: AuditResults, outcome: str, colour: bool
) -> None:
    found = compared(demo_results, "failed_insertion_us_youth_2015_all")
    (row,) = [{**row, "outcome": outcome, "verdict": "higher"} for row in found]
    (drawing,) = [column for column in columns([row], 10, judged=True) if column.heading == "Drawn"]
    assert ("accent" in drawing.cell(row)) == colour


@pytest.mark.parametrize(
    ("measure", "outcome", "value", "said"),
    [
        ("proportion", "failed_insertion", 0.0475, "4.8"),
        ("proportion", "perforation", 0.0014, "1.4"),
        ("proportion", "perforation", 0.1234, "123"),
        ("rate", "pregnancy", 0.0052, "0.52"),
    ],
)
def test_a_figure_is_printed_in_the_unit_the_trade_uses(
    measure: str, outcome: str, value: float, said: str
) -> None:
    assert benchmark_words.amount({"measure": measure, "outcome": outcome}, value) == said


def test_a_difference_carries_its_sign_and_its_unit() -> None:
    row = {"measure": "proportion", "outcome": "failed_insertion", "difference": -0.023}
    row |= {"difference_lower": -0.041, "difference_upper": 0.004}
    assert benchmark_words.difference(row) == "−2.3 points (−4.1 to +0.4)"
    perforation = {**row, "outcome": "perforation", "difference": 0.0, "difference_lower": -0.001}
    assert benchmark_words.difference(perforation) == "0.0 per 1,000 (−1.0 to +4.0)"
    assert benchmark_words.difference({**row, "difference_lower": float("nan")}) == ""


def test_a_margin_stands_with_its_reason(demo_results: AuditResults) -> None:
    words = said_by(benchmarks.benchmarks_section(demo_results))
    for name, reason in demo_results.settings.margin_reasons.items():
        assert reason in words, name
    without = replace(demo_results, settings=settings_from({}))
    assert "No margin is set, so nothing can be called compatible." in said_by(
        benchmarks.benchmarks_section(without)
    )


def test_a_comparison_kept_open_is_for_orientation(demo_results: AuditResults) -> None:
    for row in demo_results.tables["benchmark_comparison"].to_dict("records"):
        if row["grade"] == "C":
            assert not can_be_judged(row)


def test_a_log_that_is_like_no_paper_says_so(log_of: Callable[..., Any]) -> None:
    section = benchmarks.benchmarks_section(results({}))
    assert section.heading == "No published figure can be set beside ours"
    assert "No comparable figure of ours for 239 published figures" in said_by(section)


@pytest.mark.parametrize(
    ("measure", "counts", "said"),
    [
        ("proportion", {"events": 45, "n": 1177}, "45 of 1,177"),
        ("proportion", {"n": 109}, "n 109"),
        ("proportion", {"events": 61}, "61 events"),
        ("proportion", {}, ""),
        # Women are no woman-years.
        ("rate", {"events": 26, "n": 41001}, "26 among 41,001 women"),
        ("rate", {"events": 2, "years": 434.3}, "2 in 434 woman-years"),
    ],
)
def test_a_paper_s_counts_are_said_as_what_they_are(
    measure: str, counts: dict[str, float], said: str
) -> None:
    row = {"measure": measure, "outcome": "pregnancy", **{f"published_{k}": v for k, v in counts.items()}}
    assert benchmark_words.published_counts(row) == said
