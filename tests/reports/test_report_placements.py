"""What the page says of positions, threads, the unknown, and the parts of expulsion, removal and pregnancy."""

from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest

from audit.measures.follow_up import follow_up_bounds
from audit.measures.position import malposition, position_verified, threads_not_seen
from audit.measures.postpartum import perforation_expected
from audit.measures.removal_visits import removal_on_request
from audit.records import AuditResults, Cohort
from reports.sections.expulsion import expulsion_section
from reports.sections.expulsion_parts import after_a_birth, more_of_expulsion
from reports.sections.follow_up import follow_up_section
from reports.sections.lost import time_followed, tipping_points
from reports.sections.method_use import method_beside_device
from reports.sections.position import position_section
from reports.sections.removal_parts import by_purpose, removal_visits
from reports.sections.safety_parts import against_published, ectopic_and_emergency
from reports.sections.section import Block, FigureBlock

MakeResults = Callable[..., AuditResults]
Derive = Callable[..., Cohort]


def said(blocks: list[Block] | tuple[Block, ...]) -> str:
    """Running text, headings, tables, and the titles and tables of drawings, one after another."""
    drawn = [block.figure if isinstance(block, FigureBlock) else block for block in blocks]
    names = ("title", "text", "table")
    return " ".join(str(part) for block in drawn for name in names if (part := getattr(block, name, "")))


def bounds(figure: float, *, lost: int) -> pd.DataFrame:
    """The bounds of 100 women, ten of them expelled, and of those lost, asked about a figure."""
    ended = ["expulsion_complete"] * 10 + ["none"] * (90 + lost)
    exits = [100.0] * 10 + [400.0] * 90 + [0.0] * lost
    frame = pd.DataFrame({"ending": ended, "exit_day_last_known": exits, "placement_kind": "first"})
    frame = frame.assign(
        exit_day_assumed_in_place=frame["exit_day_last_known"].replace(0.0, 400.0),
        ending_day=frame["exit_day_last_known"].where(frame["ending"] != "none"),
        outcome_known=pd.array([True] * 100 + [False] * lost, dtype="boolean"),
    )
    return follow_up_bounds(frame, figures_to_reach={"expulsion": figure})


@pytest.mark.parametrize(
    ("figure", "sentence", "cell"),
    [
        (0.12, "20.0 in 100 of the unknown would have to have been", "<td>20.0</td>"),
        (0.05, "More than 5.0 in 100 were expelled in the first year whatever became", "exceeded already"),
        (0.50, "Even if all the unknown had been, fewer than 50.0 in 100", "out of reach"),
    ],
)
def test_the_tipping_point_is_a_question_about_the_unknown(
    make_results: MakeResults, figure: float, sentence: str, cell: str
) -> None:
    # Ten of 100 known; 12% of 125 are 15, so five of the 25 unknown would do.
    results = make_results({"follow_up_bounds": bounds(figure, lost=25)}, gate="last_known_leads")
    words = said(tipping_points(results))
    assert sentence in words
    assert cell in words


def test_where_only_bounds_may_be_shown_there_is_no_curve_of_the_first_year(
    demo_results: AuditResults,
) -> None:
    assert "tip it" in said(follow_up_section(demo_results).blocks)
    assert tipping_points(replace(demo_results, gate="bounds_only")) == []
    assert tipping_points(replace(demo_results, tables={})) == []


def test_the_time_followed_is_a_share_of_what_could_be_and_sites_stand_below(
    demo_results: AuditResults,
) -> None:
    words = said(time_followed(demo_results))
    assert words.startswith("Of the time that could have been observed, 60.3% was")
    assert "TOWER" in words
    assert time_followed(replace(demo_results, tables={})) == []


def test_the_heading_says_how_often_the_position_was_verified(
    make_results: MakeResults, cohort_of: Derive
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | threads_seen | position_verified_by | position_finding
        A           | 2025-01-01 | insertion  | placed            |                   |              |                      |
        A           | 2025-02-01 | follow_up  |                   | in_situ_confirmed | no           | ultrasound_2d        | low_in_cavity
        B           | 2025-01-01 | insertion  | placed            |                   |              |                      |
        B           | 2025-12-31 | follow_up  |                   | in_situ_confirmed | yes          | threads_only         |
        """)  # noqa: E501 - a drawn log
    placements, told = cohort.placements, cohort.follow_ups
    results = make_results(
        {
            "position_verified": position_verified(placements, told),
            "threads_not_seen": threads_not_seen(placements, told),
            "malposition": malposition(placements, told),
        }
    )
    section = position_section(results)
    assert section.heading == "The position was verified after the first cycle for 1 of 2"
    words = said(section.blocks)
    assert "Threads were not seen at some contact for 1 of 2; none not resolved" in words
    assert "Malposition, of those scanned: led by symptoms 1 of 1" in words
    assert "Low in the cavity" in words
    # Nobody was scanned as a matter of routine, so nothing is said of routine scans.
    assert "Routine" not in words


def test_a_log_without_positions_says_so(make_results: MakeResults) -> None:
    section = position_section(make_results())
    assert "nothing to show" in section.heading


def test_expulsion_and_perforation_stand_in_one_table_and_no_row_puts_the_bands_together(
    demo_results: AuditResults,
) -> None:
    words = said(after_a_birth(demo_results))
    assert words.startswith("32.9 of 100 expelled by 12 months within 3 days of a birth, 5.2 long after")
    assert "<td>0 of 180</td>" in words
    assert '<th scope="row">All</th>' not in words
    assert after_a_birth(replace(demo_results, tables={})) == []


def test_intervals_that_overlap_are_no_difference(demo_results: AuditResults) -> None:
    table = demo_results.tables["postpartum_balance"].copy()
    table["ci_lower"] = 0.0
    changed = replace(demo_results, tables={"postpartum_balance": table})
    assert said(after_a_birth(changed)).startswith("No clear difference: ")


def test_size_is_said_to_be_exploratory_once_under_its_table(demo_results: AuditResults) -> None:
    words = said(more_of_expulsion(demo_results))
    assert words.count("Exploratory: ") == 1
    assert "Cannot be assessed" in words
    assert "earliest possible day" in words


def test_repeats_stand_with_their_women_and_their_hazard_ratios_apart(demo_results: AuditResults) -> None:
    folded = {
        block.summary: block.table
        for block in expulsion_section(demo_results).blocks
        if block.kind == "folded"
    }
    placements = folded["All placements, repeats included"]
    assert "After an earlier expulsion" in placements
    assert '<th scope="col">Women</th>' in placements
    ratios = folded["The same of all placements, repeats included"]
    assert "placements of one woman taken together" in ratios
    assert "robust limits can be too narrow" in ratios
    first = folded["Hazard ratios, each adjusted for the others"]
    assert "robust" not in first
    assert first.count("<tr>") == ratios.count("<tr>")


def test_removals_are_told_by_purpose_and_by_how_they_went(
    make_results: MakeResults, demo_results: AuditResults, cohort_of: Derive
) -> None:
    assert "At her request, for any reason of hers" in said(by_purpose(demo_results))
    told = cohort_of("""
        patient_ref | visit_date | visit_kind | removal_reason_main | removal_delay_days
        A           | 2025-01-01 | removal    | bleeding            | 2
        B           | 2025-01-01 | removal    | pain                | 20
        """).follow_ups
    table = removal_on_request(told).assign(window="all")
    words = said(removal_visits(make_results({"removal_on_request": table})))
    assert words.startswith(
        "1 of 2 were done within 14 days of asking, half by 11 days and nine in ten by 18"
    )
    assert removal_visits(make_results()) == []


def test_the_method_stands_beside_the_device(demo_results: AuditResults) -> None:
    words = said(method_beside_device(demo_results))
    assert words.startswith("At 12 months 81.4 of 100 women used a device, ")
    assert method_beside_device(replace(demo_results, tables={})) == []


def test_perforations_are_told_as_seen_and_expected(make_results: MakeResults) -> None:
    own = pd.DataFrame(
        {"stratum": ["to_36_weeks_breastfeeding", "no_birth"], "events": [2, 1], "n": [500, 9]}
    )
    own = own.assign(by="perforation_group", definition="confirmed", window="all", n_unknown=0)
    published = pd.DataFrame(
        {
            "stratum": ["to_36_weeks_breastfeeding"],
            "rate": [0.0056],
            "benchmark": ["one"],
            "citation": ["A paper"],
        }
    )
    words = said(
        against_published(make_results({"perforation_expected": perforation_expected(own, published)}))
    )
    # 500 attempts at 5.6 in 1,000 are 2.8.
    assert words.startswith("Perforations: two seen where published rates expect 2.80 (ratio 0.71, ")
    assert "A paper" in words
    assert "5.6" in words
    assert against_published(make_results()) == []


def test_ectopic_and_emergency_pregnancies_are_counted_before_anything_else(
    demo_results: AuditResults,
) -> None:
    words = said(ectopic_and_emergency(demo_results))
    assert words.startswith("Ectopic, of 10 pregnancies: none in 2,835 woman-years")
    assert "for 74 it is not" in words
    assert ectopic_and_emergency(replace(demo_results, tables={})) == []
