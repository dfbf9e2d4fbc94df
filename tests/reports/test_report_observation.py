"""What the known outcomes let the page say: one rule leading, both as equals, or bounds alone."""

import re
from dataclasses import replace

import pandas as pd
import pytest

from audit.records import AuditResults
from audit.statistics.summaries import with_proportions
from reports.choosing import one
from reports.editions import INTERNAL, render_internal
from reports.figures.marks import Mark, interval_mark
from reports.sections.continuation import continuation_section
from reports.sections.expulsion import expulsion_section
from reports.sections.follow_up import follow_up_section
from reports.sections.observation import latest_women
from reports.sections.page_one import page_one
from reports.sections.removal import removal_section
from reports.sections.section import Section

SECTIONS = {
    "expulsion": expulsion_section,
    "removal": removal_section,
    "continuation": continuation_section,
}


def _first_year() -> pd.DataFrame:
    """Of 100 women the year is known for 40: 6 expelled, 10 taken out, 18 ended in any way."""
    counts = pd.DataFrame({"events": [6, 10, 18], "n": 40, "n_unknown": 60})
    labels = pd.DataFrame(
        {
            "by": "overall",
            "stratum": "overall",
            "placement_kind": "first",
            "cause": ["expulsion", "removal", "any"],
        }
    )
    return with_proportions(pd.concat([labels, counts], axis=1))


@pytest.fixture(scope="module")
def bounded(demo_results: AuditResults) -> AuditResults:
    """The invented service as if 40 of 100 outcomes were known."""
    tables = {**demo_results.tables, "first_year_endings": _first_year()}
    return replace(demo_results, tables=tables, gate="bounds_only")


def _ids(section: Section) -> list[str]:
    return [block.figure.id for block in section.blocks if block.kind == "figure"]


# Bounds by hand: 6 of 100 and (6 + 60) of 100, and so on.
BOUNDS = {"expulsion": (6, 66), "removal": (10, 70), "continuation": (18, 78)}


@pytest.mark.parametrize("name", list(SECTIONS))
def test_with_too_few_known_a_section_gives_bounds_and_no_curve(bounded: AuditResults, name: str) -> None:
    section = SECTIONS[name](bounded)
    lower, upper = BOUNDS[name]
    assert section.heading.startswith(f"Between {lower} and {upper} of 100 women ")
    assert _ids(section) == []
    (table,) = [block.table for block in section.blocks if block.kind == "table"]
    assert f"{lower}.0 to {upper}.0" in table


def test_with_too_few_known_page_one_gives_the_same_bounds_and_no_percentage(bounded: AuditResults) -> None:
    said = {found.section: found for found in page_one(bounded).statements}
    for name, (lower, upper) in BOUNDS.items():
        assert said[name].big == f"Between {lower} and {upper} of 100 women"
        assert "%" not in said[name].figure
        assert said[name].plainly == ""
        assert "circle" not in said[name].mark
        assert "reach" in said[name].mark
    assert said["expulsion"].figure == "6 seen among 40 whose first year is known; for 60 it is not"


def test_without_a_woman_old_enough_there_are_no_bounds_and_the_page_says_so(bounded: AuditResults) -> None:
    empty = with_proportions(
        _first_year()[["by", "stratum", "placement_kind", "cause"]].assign(events=0, n=0, n_unknown=0)
    )
    changed = replace(bounded, tables={**bounded.tables, "first_year_endings": empty})
    assert "we cannot tell" in expulsion_section(changed).heading
    assert "expulsion" not in {said.section for said in page_one(changed).statements}
    assert "nan" not in re.findall(r"[a-z]+", " ".join(said.big for said in page_one(changed).statements))


@pytest.mark.parametrize(
    ("gate", "said", "columns"),
    [
        # 18 of 40 known, 18 of all 100, 78 of all 100.
        ("last_known_leads", "first year among 40 whose first year is known, 45.0 in 100. If none", 1),
        (
            "both_as_equals",
            "If none of the 60 others did, it is 18.0 in 100 of all; if all of them did, 78.0.",
            1,
        ),
        ("bounds_only", "18 devices are known to have ended in the first year among 40 whose", 0),
    ],
)
def test_follow_up_reads_the_first_year_in_each_way_the_gate_allows(
    bounded: AuditResults, gate: str, said: str, columns: int
) -> None:
    section = follow_up_section(replace(bounded, gate=gate))
    assert said in " ".join(block.text for block in section.blocks if block.kind == "paragraph")
    tables = [block.table for block in section.blocks if block.kind == "table"]
    (table,) = [table for table in tables if "what the unknown could change" in table]
    assert table.count("Known only") == columns
    assert ("45.0" in table) == bool(columns)
    assert "<td>66.0</td>" in table


def test_nothing_is_left_to_guess_when_every_outcome_is_known(bounded: AuditResults) -> None:
    known = with_proportions(
        _first_year()[["by", "stratum", "placement_kind", "cause", "events"]].assign(n=100, n_unknown=0)
    )
    section = follow_up_section(replace(bounded, tables={**bounded.tables, "first_year_endings": known}))
    assert "nothing is left to guess" in " ".join(
        block.text for block in section.blocks if block.kind == "paragraph"
    )


def test_rules_that_are_equals_are_both_drawn(demo_results: AuditResults) -> None:
    equals = replace(demo_results, gate="both_as_equals")
    assert _ids(expulsion_section(demo_results)) == ["expulsion-by-timing", "after-a-birth"]
    assert _ids(expulsion_section(equals)) == [
        "expulsion-by-timing",
        "expulsion-by-timing-assumed-in-place",
        "after-a-birth",
    ]
    panels = [
        len([trace for trace in plot.drawing["data"] if trace.get("name")])
        for results in (demo_results, equals)
        for block in removal_section(results).blocks
        if block.kind == "figure"
        for plot in block.figure.plots
    ]
    half = len(panels) // 2
    assert panels == [1] * half + [2] * half
    told = " ".join(
        block.figure.alt for block in continuation_section(equals).blocks if block.kind == "figure"
    )
    assert "copper T 380, last known" in told
    assert "copper T 380, assumed in place" in told


def test_page_one_says_both_rules_once_where_they_are_equals(demo_results: AuditResults) -> None:
    said = {
        found.section: found for found in page_one(replace(demo_results, gate="both_as_equals")).statements
    }
    other = one(
        demo_results,
        "removal_incidence",
        by="overall",
        cause="removal",
        days=365,
        censoring="assumed_in_place",
    )
    assert other is not None
    assert said["removal"].big.endswith(f" or {100 * other['incidence']:.1f} in 100 devices")
    assert "If silence" not in "".join(found.beside for found in said.values())
    assert ", or " in said["pregnancy"].figure


def test_a_last_known_curve_beyond_a_year_says_that_it_moves_too_fast() -> None:
    early = {"censoring": "last_known", "days": 365, "at_risk": 50}
    late = {"censoring": "last_known", "days": 400, "at_risk": 50}
    assert latest_women([early], 10, "falls") == ""
    assert "curve falls too fast" in latest_women([early, late], 10, "falls")
    assert latest_women([early, {**late, "at_risk": 9}], 10, "falls") == ""
    assert latest_women([{**late, "censoring": "assumed_in_place"}], 10, "falls") == ""


def test_the_sentence_stands_beside_last_known_curves_only(demo_results: AuditResults) -> None:
    notes = {
        block.figure.id: block.figure.note
        for make in INTERNAL
        for block in make(replace(demo_results, gate="both_as_equals")).blocks
        if block.kind == "figure"
    }
    beside = {name for name, note in notes.items() if "too fast" in note}
    assert beside == {
        "expulsion-by-timing",
        "removal-by-reason",
        "endings",
        "continuation-rules",
        "continuation-family-last-known",
    }


def test_bounds_are_a_line_without_a_dot() -> None:
    mark = interval_mark(Mark(float("nan"), 0.06, 0.66), [0.0, 0.5, 1.0], "bounds")
    assert "circle" not in mark
    assert 'd="M19.7 10V18M19.7 14H156.5' in mark
    assert "circle" in interval_mark(Mark(0.3, 0.06, 0.66), [0.0, 0.5, 1.0], "an interval")


def test_a_reason_nobody_was_seen_for_is_in_the_table_and_not_drawn(demo_results: AuditResults) -> None:
    table = demo_results.tables["removal_incidence"].copy()
    infection = table["cause"] == "infection"
    table.loc[infection, ["events", "cumulative_events", "incidence", "ci_lower", "ci_upper"]] = 0
    tables = {**demo_results.tables, "removal_incidence": table}
    (figure,) = [
        block.figure
        for block in removal_section(replace(demo_results, tables=tables)).blocks
        if block.kind == "figure"
    ]
    assert not [plot for plot in figure.plots if plot.label.startswith("Infection")]
    assert "Infection" in figure.table
    table.loc[table["cause"] != "removal", ["events", "cumulative_events", "incidence"]] = 0
    assert _ids(removal_section(replace(demo_results, tables=tables))) == []


def test_women_who_are_all_alike_leave_a_page_without_a_comparison(demo_results: AuditResults) -> None:
    contrasts = demo_results.tables["vasovagal_contrasts"]
    trend = contrasts[contrasts["group"] == "trend"].dropna(axis="columns", how="all")
    assert "reference_n" not in trend
    tables = {**demo_results.tables, "vasovagal_contrasts": trend.reset_index(drop=True)}
    assert "No comparison can be made" in render_internal(replace(demo_results, tables=tables))
