"""Standards on the page: the finding, the bars, what the service states, its changes, and where each comes from."""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from audit.criteria import criteria_in_force
from audit.measures.criteria import criteria_cases, criteria_definitions, criteria_met
from audit.records import AuditResults
from audit.schema.checklists import CHECKLISTS
from audit.statistics.summaries import with_proportions
from reports.choosing import rows
from reports.editions import INTERNAL
from reports.sections.methods import methods_section
from reports.sections.page_one import page_one
from reports.sections.section import Block
from reports.sections.standards import at_once, standards_section

MakeResults = Callable[..., AuditResults]
LAST_DAY = pd.Timestamp("2026-09-30")


def texts(blocks: tuple[Block, ...], *kinds: str) -> str:
    """The texts and tables of blocks of these kinds."""
    parts = [
        str(getattr(block, "text", "") or getattr(block, "table", ""))
        for block in blocks
        if block.kind in kinds
    ]
    return "\n".join(parts)


@pytest.fixture
def judged(make_results: MakeResults) -> Callable[..., AuditResults]:
    """Results of two items of care under some criteria."""

    def make(*local: dict[str, Any], **tables: pd.DataFrame) -> AuditResults:
        care = pd.DataFrame(
            {
                "by": "overall", "stratum": "overall", "window": ["period", "period", "rolling_12_months"],
                "item": ["pain_options", "pelvis_assessed", "pain_options"], "events": [55, 60, 97],
                "n": [62, 60, 122], "n_not_met": [7, 0, 25], "n_unknown": [3, 0, 3], "n_exception": [0, 4, 0],
            }
        )  # fmt: skip
        available = pd.DataFrame(
            {"indicator": ["thread_advice"], "title": ["Told"], "available": [False], "reason": ["No."]}
        )
        held = {"process_of_care": with_proportions(care), "indicator_availability": available}
        criteria = criteria_in_force(local)
        missed = pd.DataFrame(
            {
                "figure": "pain_options",
                "site_ref": "QUAY",
                "visit_ref": [f"V{number}" for number in range(1, 15)],
                "date": LAST_DAY,
            }
        )
        since = pd.Timestamp("2025-10-14")
        held["criteria"] = criteria_met(held, criteria, last_day=LAST_DAY, attested_since=since)
        held["criteria_definitions"] = criteria_definitions(criteria, last_day=LAST_DAY)
        held["criteria_cases"] = criteria_cases([missed], criteria, last_day=LAST_DAY)
        return make_results({**held, **tables})

    return make


def test_the_heading_counts_what_is_met_and_what_is_surely_not(judged: Callable[..., AuditResults]) -> None:
    assert standards_section(judged()).heading == "1 of 2 standards met; one is surely not"
    lower = {"id": "pain_options", "target": 0.9}
    assert standards_section(judged(lower)).heading == "1 of 2 standards met; none is surely missed"
    assert at_once(judged()) == (("Standards", "1 of 2 met, 1 surely not", "standards"),)
    assert at_once(judged(lower)) == (("Standards", "1 of 2 met, 1 cannot tell", "standards"),)


def test_without_anything_to_judge_the_section_says_so(make_results: MakeResults) -> None:
    assert standards_section(make_results({})).heading == "No standard can be judged from this log"
    assert at_once(make_results({})) == ()


def test_each_bar_stands_in_a_row_with_counts_target_and_verdict(judged: Callable[..., AuditResults]) -> None:
    printed = texts(standards_section(judged()).blocks, "table")
    (pain,) = re.findall(
        r"<tr><th scope=\"row\"><a href=\"#how-pain_options\">Pain relief offered</a>.*?</tr>", printed
    )
    cells = [re.sub("<.*?>", "", cell) for cell in re.findall(r"<td.*?</td>", pain)]
    # 55 of 62 are 88.7%; Wilson 78.5 to 94.4.
    assert cells == ["", "Surely not met", "100", "55", "62", "88.7", "78.5 to 94.4", "3", "0"]
    (pelvis,) = re.findall(
        r"<tr><th scope=\"row\"><a href=\"#how-pelvis_assessed\">Pelvis assessed first</a>.*?</tr>", printed
    )
    assert 'class="except"' in pelvis
    assert "Met</td>" in pelvis
    assert "Told to check threads" not in printed


def test_the_last_audit_is_marked_where_there_is_one(judged: Callable[..., AuditResults]) -> None:
    change = pd.DataFrame({"figure": ["pain_options"], "then_proportion": [0.7]})
    assert 'class="last"' not in texts(standards_section(judged()).blocks, "table")
    marked = texts(standards_section(judged(change_since_last=change)).blocks, "table")
    assert marked.count('class="last"') == 1
    assert "Dot: the last audit." in marked


def test_the_visits_behind_a_not_met_are_named_up_to_twelve_and_then_counted(
    judged: Callable[..., AuditResults],
) -> None:
    folded = texts(standards_section(judged()).blocks, "folded")
    assert "V11, V12 and 2 more" in folded
    assert "V13" not in folded


def test_the_page_says_which_version_was_used_and_what_was_changed_added_retired_or_is_yet_to_come(
    judged: Callable[..., AuditResults],
) -> None:
    own = {
        "id": "own",
        "kind": "process",
        "title": "Own standard",
        "sentence": "Ours.",
        "figure": "infection_risk",
        "source": "our committee, 2026",
        "effective_from": "2026-01-01",
        "version": "3",
    }
    results = judged(
        {"id": "pain_options", "target": 0.9},
        {"id": "check_done", "by": "site_ref", "stratum": "QUAY"},
        {"id": "batch_recorded", "retired": True},
        {"id": "thread_advice", "effective_from": "2026-10-01"},
        own,
    )
    section = standards_section(results)
    told = texts(section.blocks, "paragraph")
    assert (
        "Changed by this service: Pain relief offered (target) and Check at 4 to 6 weeks (by, stratum)."
        in told
    )
    assert "Added by this service: Own standard." in told
    assert "Retired by this service: Batch recorded." in told
    assert "Not yet in force: Told to check threads." in told
    definitions = texts(section.blocks, "folded").split("<caption>The standards of this audit")[1]
    assert "Version 1, in force from 1 January 2020, unless said." in definitions
    assert re.search(r'Own standard</th>.*?Our committee, 2026</td><td class="note">3</td>', definitions)
    assert re.search(r'Check at 4 to 6 weeks</th>.*?<td class="note">1\.[0-9a-f]{6}</td>', definitions)
    assert "Batch recorded" not in definitions


def test_every_standard_of_the_demonstration_shows_its_source_or_that_it_has_none(
    demo_results: AuditResults,
) -> None:
    folded = texts(standards_section(demo_results).blocks, "folded")
    definitions = folded.split("<caption>The standards of this audit")[1]
    held = rows(demo_results, "criteria_definitions", status="in_force")
    assert len(held) >= 30
    lines = re.findall(r"<tr><th scope=\"row\">(.*?)</th>(.*?)</tr>", definitions)
    assert len(lines) == len(held)
    for (title, line), row in zip(lines, held, strict=True):
        assert title == row["title"]
        assert f">{row['source']}</td>".lower() in line.lower()


def test_what_the_demonstration_states_is_shown_with_its_day_and_what_it_does_not_is_named(
    demo_results: AuditResults,
) -> None:
    section = standards_section(demo_results)
    stated = texts(section.blocks, "table").split("Stated by the service")[1]
    assert "10 March 2025" in stated
    assert "ask again" in stated
    assert "Not answered: Medical eligibility recorded" in texts(section.blocks, "paragraph")


def test_the_page_says_why_continuation_has_no_target(demo_results: AuditResults) -> None:
    assert "Continuation and removal have no target" in texts(
        standards_section(demo_results).blocks, "paragraph"
    )


def test_page_one_leads_with_the_standards(demo_results: AuditResults) -> None:
    (name, said, place), *_ = page_one(demo_results).at_once
    assert (name, place) == ("Standards", "standards")
    assert re.fullmatch(r"\d+ of \d+ met, \d+ surely not, \d+ cannot tell", said)


def test_each_item_of_the_guides_leads_to_a_section_or_is_not_supplied(demo_results: AuditResults) -> None:
    ids = {make(demo_results).id for make in INTERNAL} | {"page-one"}
    assert {asked.section for asked in CHECKLISTS if asked.section} <= ids

    def answers(results: AuditResults) -> dict[str, str]:
        folded = texts(methods_section(results).blocks, "folded")
        lines = re.findall(r"<tr><th scope=\"row\">(.*?)</th>.*?<td class=\"short\">(.*?)</td></tr>", folded)
        return dict(lines)

    now = answers(demo_results)
    assert now["RECORD 13.1"] == "The data"
    assert now["RECORD 1.3"] == "not supplied"
    assert now["SQUIRE 2.0 9"] == "not supplied"
    change = pd.DataFrame({"figure": ["a"], "then_proportion": [0.5]})
    later = replace(demo_results, tables={**demo_results.tables, "change_since_last": change})
    assert answers(later)["SQUIRE 2.0 9"] == "Actions and re-audit"
