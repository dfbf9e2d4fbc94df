"""The report of the audit cycle: page one's answer, both cycles side by side, and the series."""

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from audit.cycle import audit_cycle
from audit.period import period_from
from audit.records import Action, AuditRecord, AuditResults
from audit.settings import AuditSettings, Calendar, definitions_version
from audit.statistics.summaries import with_proportions
from reports.actions_file import next_actions_text
from reports.editions import render_internal
from reports.sections.actions import actions_section, decided
from reports.sections.changes import series_blocks, since_last
from reports.sections.page_one import page_one

MakeResults = Callable[..., AuditResults]
NASTY = "</script><img src=x onerror=hacked()>{{7*7}}"
ACTION = Action(
    id="A1",
    figure="P6",
    gap="42 of 60 were offered pain relief",
    cause="skill",
    action="A card in each room.",
    owner_role="training lead",
    opened=period_from("2026-Q2"),
    due=pd.Timestamp("2026-06-30"),
    status="done_unmeasured",
    done=pd.Timestamp("2026-07-01"),
    target=1.0,
    sample_size_needed=60,
)
WAITING = replace(ACTION, id="A2", action="A second room", sample_size_needed=500)
OVERDUE = replace(ACTION, id="A3", action="A third room", status="open", done=None)


def criteria(events: int, n: int) -> dict[str, pd.DataFrame]:
    """A criterion met by some."""
    row = {"criterion": "P6", "title": "Pain relief offered", "version": "1", "target": 1.0}
    return {"criteria": with_proportions(pd.DataFrame([row | {"events": events, "n": n, "n_unknown": 0}]))}


def record(period: str, events: int, n: int) -> AuditRecord:
    """An earlier audit."""
    span = period_from(period)
    version = definitions_version(AuditSettings())
    return AuditRecord("A service", span, span.last_day, version, criteria(events, n), {})


@pytest.fixture
def cycled(make_results: MakeResults) -> Callable[..., AuditResults]:
    """The audit of 55 of 62 after one of 42 of 60, with a plan."""

    def make(*actions: Action, **changes: Any) -> AuditResults:
        plain = make_results(criteria(55, 62), **changes)
        tables = audit_cycle(plain, previous=[record("2026-Q2", 42, 60)], actions=list(actions))
        return replace(plain, tables={**plain.tables, **tables})

    return make


def printed(results: AuditResults) -> str:
    """The section's text without its markup."""
    blocks = [
        getattr(block, "text", "") or str(getattr(block, "table", ""))
        for block in actions_section(results).blocks
    ]
    items = [" ".join(getattr(block, "items", ())) for block in actions_section(results).blocks]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", " ".join([*blocks, *items])))


def test_the_change_is_printed_with_its_interval_and_its_place_against_the_target(
    cycled: Callable[..., AuditResults],
) -> None:
    text = printed(cycled(ACTION))
    assert "42 of 60 (70.0%, 57.5 to 80.1)" in text
    assert "55 of 62 (88.7%, 78.5 to 94.4)" in text
    assert "+18.7 (4.3 to 32.5)" in text
    assert "0.013" in text
    assert "improved, still below the target of 100%" in text
    assert since_last(cycled(ACTION), "P6") == (
        "Since 2026 Q2: +18.7 points (4.3 to 32.5); improved, still below the target of 100%."
    )


def test_page_one_counts_the_states_and_puts_what_waits_first(cycled: Callable[..., AuditResults]) -> None:
    sentence, lines = decided(cycled(ACTION, WAITING, OVERDUE))
    assert sentence == "3 actions on the plan: 1 overdue, 1 done but not measured and 1 effective."
    assert [line.partition(":")[0] for line in lines] == ["Overdue", "Done but not measured", "Effective"]
    assert lines[0].startswith(
        "Overdue: A third room (training lead, due 30 June 2026). Pain relief offered: "
    )
    assert lines[1].endswith("62 counted since it was done; 500 are needed to tell.")
    assert lines[2] == (
        "Effective: A card in each room (training lead, due 30 June 2026). Pain relief offered: 42 of 60 (70.0%, "
        "57.5 to 80.1) before, 55 of 62 (88.7%, 78.5 to 94.4) since, +18.7 points (4.3 to 32.5)."
    )


def test_a_change_that_cannot_be_compared_says_why(cycled: Callable[..., AuditResults]) -> None:
    results = cycled(ACTION)
    table = results.tables["change_since_last"].assign(
        verdict="not_comparable", reason="The definition changed."
    )
    changed = replace(results, tables={**results.tables, "change_since_last": table})
    assert since_last(changed, "P6") == "Since 2026 Q2: cannot be compared. The definition changed."
    assert "No figure can be compared with the last audit" in printed(changed)


def test_without_an_earlier_audit_the_page_says_how_to_bring_one(make_results: MakeResults) -> None:
    sentence, lines = decided(make_results(criteria(55, 62)))
    assert lines == ()
    assert sentence.startswith("No earlier audit and no action plan were given.")
    section = actions_section(make_results(criteria(55, 62)))
    assert (section.heading, len(section.blocks)) == ("Nothing to compare with yet", 1)


def test_a_series_is_drawn_from_three_audits_on(make_results: MakeResults) -> None:
    def outcomes(events: int) -> dict[str, pd.DataFrame]:
        row = {"by": "overall", "stratum": "overall", "window": "period", "placement_kind": "all"}
        return {
            "check_done": with_proportions(pd.DataFrame([row | {"events": events, "n": 90, "n_unknown": 0}]))
        }

    def earlier(period: str, events: int) -> AuditRecord:
        return replace(record(period, 1, 20), tables=outcomes(events))

    plain = make_results(outcomes(70))
    records = [earlier("2026-Q1", 50), earlier("2026-Q2", 60)]
    drawn = replace(plain, tables={**plain.tables, **audit_cycle(plain, previous=records)})
    (block,) = series_blocks(drawn)
    (plot,) = block.figure.plots  # type: ignore[union-attr]
    assert plot.drawing["data"][0]["y"] == [round(events / 90, 4) for events in (50, 60, 70)]
    assert plot.drawing["layout"]["xaxis"]["ticktext"] == ["2026 Q1", "2026 Q3"]
    assert block.figure.alt.startswith(  # type: ignore[union-attr]
        "Check at 4 to 6 weeks done: 50 of 90 (55.6%, 45.3 to 65.4) in 2026 Q1, 70 of 90"
    )
    two = replace(plain, tables={**plain.tables, **audit_cycle(plain, previous=records[1:])})
    assert series_blocks(two) == []


def test_the_data_version_stands_among_the_facts(make_results: MakeResults) -> None:
    settings = AuditSettings(calendar=Calendar(data_version="Extract 2"))
    assert ("Data version", "Extract 2") in page_one(make_results({}, settings=settings)).facts
    assert "Data version" not in dict(page_one(make_results({})).facts)


def test_texts_of_a_plan_can_become_neither_markup_nor_toml(
    cycled: Callable[..., AuditResults], demo_results: AuditResults
) -> None:
    nasty = replace(ACTION, action=NASTY, gap=NASTY, owner_role=NASTY, evidence=f'{NASTY}"\\')
    tables = {**demo_results.tables, **cycled(nasty).tables}
    page = render_internal(replace(demo_results, tables=tables))
    assert NASTY not in page
    assert "<img src=x" not in page
    assert 'evidence = "</script><img src=x onerror=hacked()>{{7*7}}\\"\\\\"' in next_actions_text(
        cycled(nasty)
    )


def test_the_same_results_give_the_same_section_and_plan(cycled: Callable[..., AuditResults]) -> None:
    first, second = (cycled(ACTION, WAITING, OVERDUE) for _ in range(2))
    assert printed(first) == printed(second)
    assert next_actions_text(first) == next_actions_text(second)
