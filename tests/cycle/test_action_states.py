"""What becomes of an action: worked by hand, quarter by quarter."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.cycle import audit_cycle, read_actions
from audit.errors import ActionsError
from audit.period import period_from
from audit.records import Action
from audit.settings import AuditSettings, Windows
from reports.actions_file import next_actions_text

Make = Callable[..., Any]
ACTION = Action(
    id="A1",
    figure="P6",
    gap="Too few were offered it",
    cause="skill",
    action="A card in each room",
    owner_role="training lead",
    opened=period_from("2026-Q1"),
    due=pd.Timestamp("2026-04-30"),
    status="done_unmeasured",
    done=pd.Timestamp("2026-04-01"),
    sample_size_needed=60,
)


@pytest.fixture
def state(make_audit: Make, make_record: Make, met: Make) -> Callable[..., dict[str, Any]]:
    """The state of one action after audits with these counts met, the last of them this audit."""

    def after(action: Action, counts: Mapping[str, tuple[int, int]]) -> dict[str, Any]:
        *earlier, now = counts
        records = [
            make_record({"criteria": met({"P6": counts[period]})}, period=period) for period in earlier
        ]
        audit = make_audit({"criteria": met({"P6": counts[now]})}, period=now)
        table = audit_cycle(audit, previous=records, actions=[action])["actions"]
        row: dict[str, Any] = table.to_dict("records")[0]
        return row

    return after


def test_it_is_effective_when_the_second_measurement_is_better_beyond_chance(state: Make) -> None:
    row = state(ACTION, {"2026-Q1": (42, 60), "2026-Q2": (55, 62)})
    assert (row["proposed"], row["flag"]) == ("effective", "")
    assert (row["before_events"], row["before_n"], row["after_events"], row["after_n"]) == (42, 60, 55, 62)
    assert [round(100 * row[name], 1) for name in ("difference_lower", "difference_upper")] == [4.3, 32.5]
    assert row["reason"] == "The interval of the difference lies above 0."


def test_it_is_not_effective_when_chance_explains_the_difference_or_it_is_worse(state: Make) -> None:
    assert state(ACTION, {"2026-Q1": (42, 60), "2026-Q2": (44, 62)})["proposed"] == "not_effective"
    worse = state(ACTION, {"2026-Q1": (55, 60), "2026-Q2": (40, 62)})
    assert (worse["proposed"], worse["verdict"]) == ("not_effective", "worse")


def test_it_never_closes_without_a_measurement_made_after_it_was_done(state: Make) -> None:
    row = state(ACTION, {"2026-Q1": (42, 60)})
    assert (row["proposed"], row["flag"], row["reason"]) == (
        "done_unmeasured",
        "unmeasured",
        "Not measured since it was done.",
    )
    # The quarter in which it was done, after its first day, is part before and part after.
    on_its_last_day = replace(ACTION, done=pd.Timestamp("2026-03-31"))
    assert pd.isna(state(on_its_last_day, {"2026-Q1": (42, 60), "2026-Q2": (62, 62)})["before_n"])
    later = replace(ACTION, done=pd.Timestamp("2026-04-02"))
    assert state(later, {"2026-Q1": (42, 60), "2026-Q2": (62, 62)})["proposed"] == "done_unmeasured"


def test_it_waits_until_enough_are_counted_and_then_asks_once(state: Make) -> None:
    counts = {"2026-Q1": (42, 60), "2026-Q2": (30, 40)}
    few = state(ACTION, counts)
    assert (few["proposed"], few["reason"]) == ("done_unmeasured", "Too few were counted since it was done.")
    enough = state(ACTION, counts | {"2026-Q3": (38, 40)})
    assert (enough["after_events"], enough["after_n"], enough["after_periods"]) == (
        68,
        80,
        "2026-Q2, 2026-Q3",
    )
    assert enough["proposed"] == "effective"
    # A later quarter changes nothing: the question was answered.
    again = state(ACTION, counts | {"2026-Q3": (38, 40), "2026-Q4": (0, 40)})
    assert (again["after_n"], again["proposed"]) == (80, "effective")


def test_before_is_the_year_before_it_was_done_and_no_day_counts_twice(state: Make) -> None:
    quarters = {"2025-Q1": (1, 60), "2025-Q2": (40, 60), "2025-Q4": (41, 60), "2026-Q1": (42, 60)}
    row = state(ACTION, quarters | {"2026-Q2": (55, 62)})
    assert (row["before_events"], row["before_n"]) == (123, 180)
    assert row["before_periods"] == "2025-Q2, 2025-Q4, 2026-Q1"
    whole = state(ACTION, {"2025": (100, 200), "2025-Q4": (41, 60), "2026-Q1": (42, 60), "2026-Q2": (55, 62)})
    assert whole["before_periods"] == "2025-Q4, 2026-Q1"


def test_a_target_met_by_the_whole_interval_is_enough(state: Make) -> None:
    modest = replace(ACTION, target=0.80, sample_size_needed=300)
    # 56 of 70 and 280 of 320: the difference (-1.2 to 18.8 points) leaves chance open; Wilson's lower limit of
    # the second is 83.4%.
    row = state(modest, {"2026-Q1": (56, 70), "2026-Q2": (280, 320)})
    assert row["verdict"] == "no_clear_change"
    assert (row["proposed"], row["target_met"]) == ("effective", True)
    worse = state(modest, {"2026-Q1": (70, 70), "2026-Q2": (280, 320)})
    assert (worse["verdict"], worse["target_met"], worse["proposed"]) == ("worse", True, "not_effective")
    strict = state(replace(modest, target=0.86), {"2026-Q1": (56, 70), "2026-Q2": (280, 320)})
    assert (strict["proposed"], strict["target_met"]) == ("not_effective", False)


def test_without_a_size_the_step_to_the_target_says_how_many_are_needed(state: Make) -> None:
    # R: power.prop.test(p1 = 0.10, p2 = 0.05, power = 0.8) needs 434.4 in each group.
    low = replace(ACTION, sample_size_needed=None, target=0.05)
    assert state(low, {"2026-Q1": (60, 600), "2026-Q2": (1, 60)})["n_needed"] == 435
    assert state(replace(low, target=None), {"2026-Q1": (60, 600), "2026-Q2": (1, 60)})["n_needed"] == 600
    assert state(replace(low, target=0.10), {"2026-Q1": (60, 600), "2026-Q2": (1, 60)})["n_needed"] == 600


def test_what_is_open_past_its_day_is_overdue(state: Make) -> None:
    plan = replace(ACTION, status="open", done=None)
    assert state(plan, {"2026-Q1": (42, 60)})["flag"] == ""
    row = state(plan, {"2026-Q1": (42, 60), "2026-Q2": (50, 60)})
    assert (row["proposed"], row["flag"], row["reason"]) == ("open", "overdue", "Not done yet.")
    # Carried out and not marked so: the day it was done is what counts.
    assert state(replace(plan, done=ACTION.done), {"2026-Q1": (42, 60)})["proposed"] == "done_unmeasured"


def test_what_was_closed_on_evidence_stays_closed_and_without_it_is_asked_again(state: Make) -> None:
    closed = replace(ACTION, status="effective", evidence="42 of 60, then 55 of 62")
    counts = {"2026-Q1": (42, 60), "2026-Q2": (44, 62)}
    assert state(closed, counts)["proposed"] == "effective"
    assert state(replace(closed, evidence=""), counts)["proposed"] == "not_effective"
    assert state(closed, {"2026-Q1": (42, 60)})["proposed"] == "done_unmeasured"


def test_a_changed_definition_leaves_nothing_to_compare_with(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    now = make_audit(
        {"criteria": met({"P6": (55, 62)})},
        settings=AuditSettings("A service", windows=Windows(check_to_day=70)),
    )
    then = make_record({"criteria": met({"P6": (42, 60)})}, period="2026-Q1")
    row = audit_cycle(now, previous=[then], actions=[ACTION])["actions"].to_dict("records")[0]
    assert (row["proposed"], row["reason"]) == ("done_unmeasured", "Not measured before it was done.")
    assert pd.isna(row["before_n"])


def test_completeness_that_changed_keeps_an_action_open(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    now = make_audit({"criteria": met({"P6": (55, 62)})})
    then = make_record({"criteria": met({"P6": (42, 60)}, not_recorded=30)}, period="2026-Q1")
    row = audit_cycle(now, previous=[then], actions=[ACTION])["actions"].to_dict("records")[0]
    assert (row["proposed"], row["reason"]) == (
        "done_unmeasured",
        "Completeness differs by more than 10 points.",
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        (
            {"figure": "P66"},
            "action 'A1': criterion or figure 'P66' is not known. Did you mean 'P6'?",
        ),
        (
            {"figure": "continuation_12_months"},
            "action 'A1': 'continuation_12_months' is described and never judged; ",
        ),
        (
            {"figure": "measure_of_A1", "measure": {"table": "nowhere"}, "better": "higher"},
            "action 'A1': this audit has no table 'nowhere' for its measure. Name one it has.",
        ),
        (
            {"figure": "measure_of_A1", "measure": {"table": "criteria", "site": "x"}, "better": "higher"},
            "action 'A1': this audit has no column 'site' for its measure. Name one it has.",
        ),
    ],
)
def test_an_action_that_names_no_figure_of_the_audit_is_refused(
    make_audit: Make, met: Make, changes: dict[str, Any], said: str
) -> None:
    with pytest.raises(ActionsError) as refusal:
        audit_cycle(
            make_audit({"criteria": met({"P6": (55, 62)})}), previous=[], actions=[replace(ACTION, **changes)]
        )
    assert str(refusal.value).startswith(said)


def test_an_action_may_rest_on_any_row_of_any_table(
    make_audit: Make, make_record: Make, checked: Make
) -> None:
    action = replace(
        ACTION,
        figure="measure_of_A1",
        measure={"table": "check_done", "by": "site_ref", "stratum": "TOWER", "window": "period"},
        better="higher",
    )

    def tower(events: int, n: int) -> dict[str, pd.DataFrame]:
        other = checked(60, 60)
        return {"check_done": pd.concat([other, checked(events, n).assign(by="site_ref", stratum="TOWER")])}

    audit, record = make_audit(tower(55, 62)), make_record(tower(42, 60), period="2026-Q1")
    row = audit_cycle(audit, previous=[record], actions=[action])["actions"].to_dict("records")[0]
    assert (row["before_events"], row["after_events"], row["proposed"]) == (42, 55, "effective")
    assert row["title"] == "Check at 4 to 6 weeks, TOWER"


def test_the_plan_proposed_next_is_a_plan_and_accepting_it_changes_nothing_more(
    make_audit: Make, make_record: Make, met: Make, checked: Make, tmp_path: Path
) -> None:
    odd = replace(ACTION, id="A2", gap='Said "no", \\ and # so', status="open", done=None, target=0.9)
    own = replace(
        odd,
        id="A3",
        figure="measure_of_A3",
        measure={"table": "check_done", "by": "overall", "window": "period"},
        better="higher",
    )
    tables = {"criteria": met({"P6": (55, 62)}), "check_done": checked(50, 60)}
    audit = make_audit(tables, period="2026-Q2")
    record = make_record({"criteria": met({"P6": (42, 60)})}, period="2026-Q1")
    texts, plan = [], [ACTION, odd, own]
    for _ in range(2):
        cycle = audit_cycle(audit, previous=[record], actions=plan)
        texts.append(next_actions_text(replace(audit, tables={**tables, **cycle})))
        path = tmp_path / "actions.next.toml"
        path.write_text(texts[-1], encoding="utf-8")
        plan = list(read_actions(path))
    assert [action.status for action in plan] == ["effective", "open", "open"]
    assert plan[0].evidence == "42 of 60 (2026-Q1) before, 55 of 62 (2026-Q2) since it was done"
    assert plan[1].gap == odd.gap
    assert plan[2].measure == own.measure
    assert "Was: done_unmeasured." in texts[0]
    assert next_actions_text(replace(audit, tables={**tables, **cycle})) == texts[1]


def test_a_plan_without_actions_gives_an_empty_table(make_audit: Make, met: Make) -> None:
    tables = audit_cycle(make_audit({"criteria": met({"P6": (55, 62)})}), previous=[], actions=[])
    assert list(tables) == ["series", "actions"]
    assert len(tables["actions"]) == 0
