"""Models and adjusted comparisons on the page."""

from dataclasses import replace

from audit.records import AuditResults
from reports.sections.clinicians import clinicians_section
from reports.sections.continuation import continuation_section
from reports.sections.expulsion import expulsion_section
from reports.sections.modelled import level, ratio_with_limits
from reports.sections.section import Section
from reports.sections.vasovagal import vasovagal_section


def said(section: Section) -> str:
    """All text of a section, tables included."""
    parts = []
    for block in section.blocks:
        parts.append(str(getattr(block, "text", "")))
        parts.append(f"{getattr(block, 'summary', '')} {getattr(block, 'table', '')}")
    return " ".join(parts)


def test_the_model_behind_expected_failures_is_told_with_how_good_it_is(demo_results: AuditResults) -> None:
    text = said(clinicians_section(demo_results))
    assert "allows for births, age, earlier failures, emergency and cervical surgery" in text
    assert "The model behind the expected failures" in text
    assert "c-statistic 0.7" in text


def test_without_a_model_the_page_says_that_births_alone_are_allowed_for(demo_results: AuditResults) -> None:
    tables = dict(demo_results.tables)
    tables["failure_model"] = tables["failure_model"].head(0)
    own = tables["failed_insertions_by_clinician"]
    tables["failed_insertions_by_clinician"] = own.assign(method="Wilson; expected failures by parity_group")
    text = said(clinicians_section(replace(demo_results, tables=tables)))
    assert "allows for births." in text
    assert "Expected failures allow for births alone: too few failed for a model of more." in text


def test_reactions_are_compared_with_age_allowed_for(demo_results: AuditResults) -> None:
    text = said(vasovagal_section(demo_results))
    assert "Without against with a vaginal birth, age allowed for" in text
    assert "p that ages differ" in text


def test_expulsion_is_tested_and_modelled_and_a_model_not_fitted_is_named(demo_results: AuditResults) -> None:
    text = said(expulsion_section(demo_results))
    assert "Timing of placement: p &lt; 0.001" in text or "Timing of placement: p < 0.001" in text
    assert "Hazard ratios, each adjusted for the others" in text
    assert "After a birth: 62 events for 7 terms, fewer than 10 a term: no model is fitted." in text
    assert "All placements, repeats included" in text


def test_continuation_is_described_in_days_and_by_life_tables_without_a_better_or_worse(
    demo_results: AuditResults,
) -> None:
    text = said(continuation_section(demo_results))
    assert "Copper less hormonal, days (95% interval)" in text
    assert "Neither is the better." in text
    assert "elsewhere net can mean gross" in text


def test_a_level_is_named_against_the_one_it_is_held_against_and_a_ratio_without_limits_is_blank() -> None:
    row = {"by": "prior_failed_insertion", "stratum": "yes", "reference": "no"}
    assert level(row) == "Failed before: yes against no"
    cell = ratio_with_limits("ratio", "lower", "upper")
    assert cell({"ratio": 2.0, "lower": 1.5, "upper": 3.0}) == "2.00 (1.50 to 3.00)"
    assert cell({"ratio": 0.0, "lower": float("nan"), "upper": float("nan")}) == "–"
