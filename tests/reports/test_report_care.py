"""Care, pain, waits and comparisons on the page: what was found, what is not recorded, and nothing judged."""

import re
from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest

from audit.records import AuditResults
from audit.schema.indicators import BY_TABLE
from audit.statistics.summaries import with_proportions
from reports.choosing import one, rows
from reports.figures.marks import three_part_bar
from reports.sections.care import other_care_blocks, safety_net_blocks, waiting_blocks
from reports.sections.comparisons import compared
from reports.sections.insertion_comparisons import comparison_blocks, wasted_blocks
from reports.sections.pain import pain_section
from reports.sections.reaction_timing import emergency_blocks, phase_blocks, technique_blocks
from reports.sections.section import Block
from reports.sections.volume import volume_blocks

MakeResults = Callable[..., AuditResults]


def _texts(blocks: tuple[Block, ...] | list[Block], kind: str) -> list[str]:
    """The texts of the blocks of a kind."""
    return [block.text for block in blocks if block.kind == kind and hasattr(block, "text")]


def _tables(blocks: tuple[Block, ...] | list[Block]) -> list[str]:
    """The tables among the blocks."""
    return [
        str(block.table) for block in blocks if block.kind in ("table", "folded") and hasattr(block, "table")
    ]


def _without(results: AuditResults, *names: str) -> AuditResults:
    """Results in which some tables are missing and said to be off."""
    told = results.tables["indicator_availability"].copy()
    off = told["indicator"].isin(names)
    told.loc[off, "available"] = False
    told.loc[off, "reason"] = "This log does not record onward_plan."
    kept = {name: table for name, table in results.tables.items() if name not in names}
    return replace(results, tables={**kept, "indicator_availability": told})


def test_a_bar_has_its_parts_in_proportion_and_none_where_there_is_nothing() -> None:
    bar = three_part_bar((6, 3, 3))
    assert re.findall(r'class="(\w+)" x="([\d.]+)" width="([\d.]+)"', bar) == [
        ("met", "0", "60"),
        ("unmet", "60", "30"),
        ("blank", "90", "30"),
    ]
    assert "unmet" not in three_part_bar((6, 0, 3))
    assert three_part_bar((0, 0, 0)) == ""


def test_a_bar_has_hollow_exceptions_and_its_target_among_those_recorded() -> None:
    # 12 in all, of 120 wide: 8 recorded are 80 wide, so three quarters of them end at 60.
    bar = three_part_bar((6, 2, 2), exceptions=2, target=0.75, last=0.5)
    assert re.findall(r'class="except" x="([\d.]+)" width="([\d.]+)"', bar) == [("100", "20")]
    assert '<path class="goal" d="M60 ' in bar
    assert '<circle class="last" cx="40"' in bar
    assert three_part_bar((0, 0, 0), exceptions=3, target=0.9) == ""


def test_an_item_without_a_standard_has_its_bar_and_what_it_would_be_if_a_blank_were_no(
    make_results: MakeResults,
) -> None:
    items = pd.DataFrame(
        {
            "by": "overall", "stratum": "overall", "window": "period",
            "item": ["pelvis_assessed", "thread_advice", "pain_options"],
            "events": [18, 12, 1], "n": [20, 20, 9], "n_unknown": [0, 5, 0],
            "n_not_met": [2, 8, 8], "n_exception": [0, 0, 0],
        }
    )  # fmt: skip
    results = make_results({"process_of_care": with_proportions(items)})
    blocks = other_care_blocks(results, {"pelvis_assessed"})
    assert _texts(blocks, "subheading") == ["Care for which this service has no standard"]
    (printed,) = _tables(blocks)
    assert "Pelvis assessed first" not in printed
    # Unknown counted as not met: 12 of 25.
    assert "<td>48.0</td>" in printed
    assert printed.count("<svg") == 2


def test_the_demonstration_has_a_standard_for_every_item(demo_results: AuditResults) -> None:
    items = {one.item for one in BY_TABLE.values() if one.item}
    assert len(items) == 13
    figures = {str(row["figure"]) for row in rows(demo_results, "criteria_definitions")}
    assert items <= figures
    assert not _tables(other_care_blocks(demo_results, figures))


def test_items_that_the_log_lacks_are_named_and_not_counted_as_no(demo_results: AuditResults) -> None:
    told = _without(demo_results, "pain_options", "thread_advice")
    (sentence,) = _texts(other_care_blocks(told, set(BY_TABLE)), "paragraph")
    assert sentence.startswith("This log does not record: Pain relief offered and Told to check threads.")


def test_a_log_without_a_safety_net_says_which_column_it_lacks(demo_results: AuditResults) -> None:
    told = safety_net_blocks(demo_results)
    assert any(text.startswith("When no device was placed") for text in _texts(told, "subheading"))
    off = safety_net_blocks(_without(demo_results, "safety_net"))
    assert _texts(off, "subheading") == ["Safety net when no device was placed: nothing to show"]
    assert "does not record “plan after a failure”" in _texts(off, "paragraph")[0]


def test_pain_by_anaesthetic_stands_behind_its_caution(demo_results: AuditResults) -> None:
    section = pain_section(demo_results)
    assert section.heading.startswith("Half of the pain scores were ")
    kinds = [block.kind for block in section.blocks]
    caution = kinds.index("caution")
    assert kinds[caution + 1] == "table"
    assert "does not show what it does" in _texts(section.blocks, "caution")[0]
    assert pain_section(_without(demo_results, "pain_scores")).heading == "Pain at insertion: nothing to show"


def test_dilation_is_never_shown_without_its_caution_nor_said_to_cause(demo_results: AuditResults) -> None:
    blocks = technique_blocks(demo_results)
    cautions, headings = _texts(blocks, "caution"), _texts(blocks, "subheading")
    assert len(cautions) == len(headings) == 2
    assert cautions[0].startswith("Women were dilated because difficulty was expected.")
    assert not re.search(r"\b(cause[sd]?|leads? to|due to|because of)\b", " ".join(headings))


def test_phases_are_columns_and_their_counts_those_of_the_table(demo_results: AuditResults) -> None:
    (table,) = _tables(phase_blocks(demo_results))
    labels = {"by": "cervical_parity", "stratum": "no", "grade": "all", "phase": "sounding", "window": "all"}
    found = one(demo_results, "vasovagal_by_phase", **labels)
    assert found is not None
    line = next(line for line in table.splitlines() if "No vaginal birth before" in line and ">All<" in line)
    assert f"<td>{found['events']}</td>" in line
    assert "Sounding" in table


def test_emergency_treatment_is_given_per_thousand_with_exact_limits(demo_results: AuditResults) -> None:
    table = with_proportions(
        pd.DataFrame(
            {
                "by": "overall",
                "stratum": "overall",
                "window": "period",
                "events": [0],
                "n": [240],
                "n_unknown": [0],
            }
        )
    )
    blocks = emergency_blocks(
        replace(demo_results, tables={**demo_results.tables, "emergency_treatment": table})
    )
    assert _texts(blocks, "subheading") == ["Emergency drug or transfer: none of 240 visits"]
    # 0 of 240: exact two-sided upper limit 15.3 per 1,000.
    assert "0 (0 to 15.3)" in _tables(blocks)[0]


def test_a_comparison_says_who_is_compared_with_whom(demo_results: AuditResults) -> None:
    assert (
        compared({"by": "site_ref", "group": "MEADOW", "reference": "all_others"})
        == "MEADOW against all others"
    )
    quarter = {"by": "quarter", "group": "2026Q3", "reference": "all_earlier"}
    assert compared(quarter) == "2026 Q3 against all earlier quarters"
    blocks = comparison_blocks(demo_results)
    assert "No vaginal birth before against a vaginal birth before" in _tables(blocks)[0]
    assert comparison_blocks(_without(demo_results, "failed_insertion_contrasts")) == []


def test_waits_waste_and_volume_are_shown_with_their_counts(demo_results: AuditResults) -> None:
    wait = one(demo_results, "waiting_time", by="overall", window="period")
    assert wait is not None
    assert _texts(waiting_blocks(demo_results), "subheading")[0].startswith(
        f"Half of the women waited {wait['median']:.0f} days or less"
    )
    waste = one(demo_results, "devices_wasted", by="overall", window="period")
    assert waste is not None
    told = f"Devices wasted: {waste['events']} of {waste['n']} opened"
    assert _texts(wasted_blocks(demo_results), "subheading") == [told]
    volume = volume_blocks(demo_results)
    codes = re.findall(r'<th scope="row">(C\d+)</th>', _tables(volume)[0])
    assert codes == sorted(codes)
    assert len(codes) == len(rows(demo_results, "clinician_volume")) - 1
    for blocks in (
        waiting_blocks,
        wasted_blocks,
        volume_blocks,
        emergency_blocks,
        phase_blocks,
        technique_blocks,
    ):
        assert blocks(replace(demo_results, tables={})) == []


@pytest.mark.parametrize("events", [0, 5])
def test_nobody_left_without_a_device_is_said_as_it_is(make_results: MakeResults, events: int) -> None:
    table = with_proportions(
        pd.DataFrame(
            {
                "by": "overall", "stratum": "overall", "window": "period", "item": ["whole_safety_net"],
                "events": [events], "n": [events], "n_unknown": [0], "n_not_met": [0], "n_exception": [0],
            }
        )
    )  # fmt: skip
    (heading,) = _texts(safety_net_blocks(make_results({"safety_net": table})), "subheading")
    expected = {
        0: "Every visit of this period placed a device",
        5: "When no device was placed, plan and cover were given at 5 of 5 visits",
    }
    assert heading == expected[events]
