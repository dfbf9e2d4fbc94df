"""The action plan: read as written, and every mistake said in one sentence that names the action and the key."""

import tomllib
from pathlib import Path

import pandas as pd
import pytest

from audit.cycle import read_actions
from audit.errors import ActionsError
from audit.settings import Calendar

PLAN = """\
[[action]]
id = "A1"
criterion = "P6"
gap = "42 of 60 were offered pain relief"
cause = "skill"
action = "Options card in each room"
owner_role = "training lead"
opened = "2026-Q2"
due = 2026-06-30
status = "open"
"""
FULL = (
    PLAN.replace('"open"', '"effective"')
    + 'done = "2026-07-01"\ntarget = 0.95\nsample_size_needed = 60\nevidence = "55 of 62"\n'
)


def written(folder: Path, text: str) -> Path:
    """A plan in a file."""
    path = folder / "actions.toml"
    path.write_text(text, encoding="utf-8")
    return path


def refusal(folder: Path, text: str) -> str:
    """What is said of a plan."""
    with pytest.raises(ActionsError) as refused:
        read_actions(written(folder, text))
    return str(refused.value)


def test_a_plan_is_read_as_it_is_written(tmp_path: Path) -> None:
    (action,) = read_actions(written(tmp_path, FULL))
    assert (action.id, action.figure, action.cause, action.status) == ("A1", "P6", "skill", "effective")
    assert action.opened.first_day == pd.Timestamp("2026-04-01")
    assert (action.due, action.done) == (pd.Timestamp("2026-06-30"), pd.Timestamp("2026-07-01"))
    assert (action.target, action.sample_size_needed, action.evidence) == (0.95, 60, "55 of 62")
    (plain,) = read_actions(written(tmp_path, PLAN))
    assert (plain.done, plain.target, plain.sample_size_needed, plain.evidence) == (None, None, None, "")


def test_an_empty_plan_has_no_action(tmp_path: Path) -> None:
    assert read_actions(written(tmp_path, "")) == ()


def test_a_period_of_the_services_own_calendar_may_open_an_action(tmp_path: Path) -> None:
    path = written(tmp_path, PLAN.replace("2026-Q2", "Spring round"))
    calendar = Calendar(periods={"Spring round": "2026-03-01/2026-05-31"})
    assert read_actions(path, calendar=calendar)[0].opened.last_day == pd.Timestamp("2026-05-31")


def test_an_action_may_name_the_row_of_a_table(tmp_path: Path) -> None:
    measure = 'measure = { table = "check_done", by = "site_ref", stratum = "TOWER" }\nbetter = "higher"'
    (action,) = read_actions(written(tmp_path, PLAN.replace('criterion = "P6"', measure)))
    assert action.figure == "measure_of_A1"
    assert action.measure == {"table": "check_done", "by": "site_ref", "stratum": "TOWER"}


HERE, AT = "actions.toml, action 'A1': ", "actions.toml, action 'A1', "
MISTAKES = {
    ("status = ", "stauts = "): HERE + "key 'stauts' is not known. Did you mean 'status'?",
    ('status = "open"', ""): HERE + "lacks status. Add what is missing.",
    ('"open"', '"opened"'): HERE + "status 'opened' is not known. Did you mean 'open'?",
    ('"open"', '"done_unmeasured"'): (
        HERE + "status 'done_unmeasured' needs the day it was done. Write it as done = 2026-04-01."
    ),
    ('"skill"', '"person"'): (
        HERE + "cause 'person' is not known. Write one of: capacity, data, kit, protocol, skill."
    ),
    ("2026-06-30", '"30 June"'): HERE + "due is not a date. Write it as 2026-09-30.",
    ("2026-06-30", "2026"): HERE + "due is not a date. Write it as 2026-09-30.",
    ("2026-Q2", "2026-Q7"): (
        HERE
        + "opened, period '2026-Q7' is not understood. Write a quarter (2026-Q3), a month (2026-07), a year "
        "(2026) or two dates (2026-07-01/2026-09-30)."
    ),
    ('criterion = "P6"', ""): HERE + "has 0 of criterion, figure and measure. Write exactly one.",
    ('criterion = "P6"', 'criterion = "P6"\nfigure = "check_done"'): (
        HERE + "has 2 of criterion, figure and measure. Write exactly one."
    ),
    ('criterion = "P6"', 'measure = { table = "check_done" }'): (
        HERE + 'a measure needs to know which way is better. Write better = "lower" or "higher".'
    ),
    ('criterion = "P6"', 'measure = 3\nbetter = "lower"'): (
        AT + 'measure: must be a table and its key columns, as { table = "check_done" }.'
    ),
    ('"open"', '"open"\ntarget = 95'): AT + "target: must be a proportion from 0 to 1, got 95.",
    ('"open"', '"open"\ntarget = true'): AT + "target: must be a proportion from 0 to 1, got True.",
    ('"open"', '"open"\nsample_size_needed = 0'): (
        AT + "sample_size_needed: must be a whole number above 0, got 0."
    ),
    ('"Options card in each room"', '"Call 07700900123"'): (
        HERE + "action holds what may be a reference or an address. Leave it out."
    ),
    ('"Options card in each room"', '"two\\nlines"'): (
        AT + "action: must be one line of text of at most 500 letters."
    ),
    ('"Options card in each room"', "3"): AT + "action: must be one line of text of at most 500 letters.",
    ('"A1"', '"A 1"'): "actions.toml, action 1, id: must be a short code, such as A1 or sounding-2026.",
    ('id = "A1"', ""): "actions.toml, action 1, id: must be a short code, such as A1 or sounding-2026.",
    ("[[action]]", "[action]"): "actions.toml: action: must be a table headed [[action]].",
    ("[[action]]", "[[actions]]"): "actions.toml: key 'actions' is not known. Did you mean 'action'?",
}


@pytest.mark.parametrize(("change", "said"), MISTAKES.items(), ids=lambda value: str(value)[:60])
def test_a_mistake_is_said_in_one_sentence(tmp_path: Path, change: tuple[str, str], said: str) -> None:
    assert change[0] in PLAN
    assert refusal(tmp_path, PLAN.replace(*change)) == said


@pytest.mark.parametrize(
    "owner", ["Jane Doe", "dr smith", "J. Doe", "Mrs X", "someone@example.org", "Maria", ""]
)
def test_a_name_is_refused_as_owner_and_is_not_repeated(tmp_path: Path, owner: str) -> None:
    said = refusal(tmp_path, PLAN.replace("training lead", owner))
    assert "owner_role" in said
    assert not owner or owner not in said


@pytest.mark.parametrize("owner", ["training lead", "nurse in charge", "HCA lead", "clinical lead, TOWER"])
def test_a_role_is_taken(tmp_path: Path, owner: str) -> None:
    assert read_actions(written(tmp_path, PLAN.replace("training lead", owner)))[0].owner_role == owner


def test_two_actions_of_one_id_are_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path, PLAN + PLAN) == (
        "actions.toml: two actions have the id 'A1'. Give each its own."
    )


def test_a_file_that_is_not_toml_or_not_there_is_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path, "[[action").startswith("actions.toml: is not a TOML file (")
    with pytest.raises(ActionsError, match=r"^none\.toml: cannot be read \(No such file or directory\)\."):
        read_actions(tmp_path / "none.toml")
    with pytest.raises(ActionsError, match="nests lists or tables too deeply"):
        read_actions(written(tmp_path, "a = " + "[" * 20_000))


def test_the_plan_used_here_is_toml() -> None:
    assert tomllib.loads(FULL)["action"][0]["id"] == "A1"
