"""The audit cycle by the command line: one audit beside the last, a plan beside the settings, eight quarters."""

import json
import tomllib
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import fisher_exact

from audit.cycle import read_record
from synthetic_data.quarters import LEAFLET, QUARTERS, RECALL, TRAINING, write_quarters

PLAN = """\
[[action]]
id = "A1"
figure = "failed_insertions_per_visit"
gap = "One in fifteen failed"
cause = "skill"
action = "Skills day"
owner_role = "training lead"
opened = "2026-Q2"
due = 2026-06-30
done = 2026-07-01
status = "done_unmeasured"
sample_size_needed = 100000
"""


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder by its name."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture
def run(command: Callable[..., Any], small_clinic: Any, tmp_path: Path) -> Callable[..., Any]:
    """Audit the small clinic for a period into a folder of that name, with more options."""

    def audit(period: str, *options: object, settings: Path | None = None, out: str = "") -> Any:
        used = settings or small_clinic.settings
        folder = tmp_path / (out or period)
        named = ("run", small_clinic.log, "--settings", used, "--period", period, "--out", folder)
        return command(*named, *options)

    return audit


def test_an_audit_beside_the_last_and_a_plan(
    run: Callable[..., Any], command: Callable[..., Any], tmp_path: Path
) -> None:
    assert run("2026-Q2").code == 0
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    options = ("--previous", tmp_path / "2026-Q2" / "record.json", "--actions", plan)
    assert run("2026-Q3", *options).code == 0
    assert run("2026-Q3", *options, out="again").code == 0
    assert contents(tmp_path / "again") == contents(tmp_path / "2026-Q3")
    assert plan.read_text(encoding="utf-8") == PLAN

    tables = json.loads((tmp_path / "2026-Q3" / "record.json").read_text())["tables"]
    before = json.loads((tmp_path / "2026-Q2" / "record.json").read_text())["tables"]
    assert not {"change_since_last", "series", "actions"} & set(before)
    change = {row["figure"]: row for row in tables["change_since_last"]}
    labels = {"by": "overall", "window": "period", "unit": "visit"}
    for time, source in (("then", before), ("now", tables)):
        (row,) = [
            row
            for row in source["failed_insertions"]
            if all(row[name] == value for name, value in labels.items())
        ]
        found = change["failed_insertions_per_visit"]
        assert (found[f"{time}_events"], found[f"{time}_n"]) == (row["events"], row["n"])

    manifest = json.loads((tmp_path / "2026-Q3" / "manifest.json").read_text())
    assert "actions.next.toml" in manifest["files"]
    assert command("verify", tmp_path / "2026-Q3").code == 0
    (action,) = tomllib.loads((tmp_path / "2026-Q3" / "actions.next.toml").read_text())["action"]
    assert action["status"] == "done_unmeasured"
    page = (tmp_path / "2026-Q3" / "internal" / "report.html").read_text()
    assert "1 action on the plan: 1 done but not measured." in page
    assert "100,000 are needed to tell" in page


def test_a_plan_beside_the_settings_is_found(
    run: Callable[..., Any], small_clinic: Any, tmp_path: Path
) -> None:
    settings = tmp_path / "own" / "clinic.toml"
    settings.parent.mkdir()
    settings.write_bytes(small_clinic.settings.read_bytes())
    (settings.parent / "actions.toml").write_text(PLAN, encoding="utf-8")
    assert run("2026-Q3", settings=settings).code == 0
    assert (tmp_path / "2026-Q3" / "actions.next.toml").is_file()


def test_what_cannot_stand_beside_an_audit_is_refused_with_the_right_code(
    run: Callable[..., Any], small_clinic: Any, tmp_path: Path
) -> None:
    record = tmp_path / "record.json"
    record.write_text("{", encoding="utf-8")
    said = run("2026-Q3", "--previous", record)
    assert (said.code, said.err) == (
        3,
        "iud-audit: record.json: is not JSON. Give the record.json that an earlier audit wrote.\n",
    )
    other = json.loads((small_clinic.out / "record.json").read_text()) | {"service": "Another"}
    record.write_text(json.dumps(other), encoding="utf-8")
    said = run("2026-Q3", "--previous", record)
    assert said.code == 3
    assert "is of another service, 'Another'" in said.err
    said = run("2026-Q2", "--previous", small_clinic.out / "record.json")
    assert said.code == 3
    assert "The record of 2026-Q3 is of a later period than 2026-Q2." in said.err
    plan = tmp_path / "plan.toml"
    plan.write_text(
        PLAN.replace("failed_insertions_per_visit", "failed_insertion_per_visit"), encoding="utf-8"
    )
    said = run("2026-Q3", "--actions", plan)
    assert said.code == 2
    assert said.err == (
        "iud-audit: action 'A1': criterion or figure 'failed_insertion_per_visit' is not known. "
        "Did you mean 'failed_insertions_per_visit'?\n"
    )
    assert not (tmp_path / "2026-Q3").exists()


def test_the_record_of_the_same_period_is_not_compared(
    run: Callable[..., Any], small_clinic: Any, tmp_path: Path
) -> None:
    assert run("2026-Q3", "--previous", small_clinic.out / "record.json").code == 0
    tables = json.loads((tmp_path / "2026-Q3" / "record.json").read_text())["tables"]
    assert {row["reason"] for row in tables["change_since_last"]} == {"The two periods share days."}


def test_the_freeze_and_the_name_of_a_period_come_from_the_calendar(
    run: Callable[..., Any], small_clinic: Any, tmp_path: Path
) -> None:
    settings = tmp_path / "clinic.toml"
    calendar = (
        '[calendar]\ndata_version = "Extract 7"\n[calendar.periods]\nSummer = "2026-07-01/2026-09-30"\n'
        "[calendar.data_to]\nSummer = 2026-10-10\n"
    )
    settings.write_text(small_clinic.settings.read_text(encoding="utf-8") + calendar, encoding="utf-8")
    assert run("Summer", settings=settings).code == 0
    record = read_record(tmp_path / "Summer" / "record.json")
    assert (record.period.label, record.data_version) == ("Summer", "Extract 7")
    assert record.data_to.date().isoformat() == "2026-10-10"
    assert "Extract 7" in (tmp_path / "Summer" / "internal" / "report.html").read_text()
    assert run("Summer", "--data-to", "2026-10-12", settings=settings, out="named").code == 0
    assert read_record(tmp_path / "named" / "record.json").data_to.date().isoformat() == "2026-10-12"


def test_a_record_holds_no_reference_of_a_visit(small_clinic: Any) -> None:
    tables = read_record(small_clinic.out / "record.json").tables
    assert not {"action_list", "query_list"} & set(tables)
    assert not any({"visit_ref", "patient_ref"} & set(table.columns) for table in tables.values())


@pytest.mark.parametrize("number", [0, 9, -1])
def test_a_demo_of_no_quarters_or_of_too_many_is_wrong_usage(
    command: Callable[..., Any], tmp_path: Path, number: int
) -> None:
    said = command("demo", "--quarters", number, "--out", tmp_path / "demo")
    assert (said.code, said.err) == (2, "iud-audit: --quarters must lie between 2 and 8.\n")
    assert not (tmp_path / "demo").exists()


def test_the_log_of_a_quarter_ends_at_its_freeze_and_is_written_alike_every_time(tmp_path: Path) -> None:
    quarters = QUARTERS[:1]
    logs, settings = write_quarters(tmp_path / "one", quarters)
    again, _ = write_quarters(tmp_path / "two", quarters)
    assert logs["2024-Q4"].read_bytes() == again["2024-Q4"].read_bytes()
    assert tomllib.loads(settings.read_text())["calendar"]["data_to"]["2024-Q4"].isoformat() == "2025-01-14"
    days = {
        line.split(",")[2] for line in logs["2024-Q4"].read_text().splitlines()[1:] if line.count(",") > 9
    }
    written = sorted(day[6:] + day[3:5] + day[:2] for day in days if len(day) == 10 and day[0] in "0123")
    assert written[-2] <= "20250114"  # the very last is a flaw of the export, the 31st of February


@pytest.mark.slow
def test_eight_quarters_tell_of_an_action_that_worked_and_of_one_that_did_not(
    command: Callable[..., Any], tmp_path: Path
) -> None:
    said = command("demo", "--quarters", 8, "--out", tmp_path, "--quiet")
    assert said.code == 0, said.err
    assert said.out == f"Open {tmp_path / '2026-Q3' / 'internal' / 'report.html'}\n"
    plans = {
        quarter: {
            entry["id"]: entry
            for entry in tomllib.loads((tmp_path / quarter / "actions.next.toml").read_text())["action"]
        }
        for quarter in QUARTERS
    }

    def states(name: str) -> list[str]:
        return [plans[quarter][name]["status"] for quarter in QUARTERS if name in plans[quarter]]

    # The training day is in the known truth: from 1 April 2025 the odds of a failed insertion are 0.6 of before.
    assert states(TRAINING) == ["open", *["done_unmeasured"] * 4, *["effective"] * 3]
    # Nothing in the truth answers to a leaflet.
    assert states(LEAFLET) == ["open", "done_unmeasured", *["not_effective"] * 5]
    last = read_record(tmp_path / "2026-Q3" / "record.json").tables
    actions = last["actions"].set_index("id")
    assert actions.loc[RECALL, "flag"] == "overdue"
    assert actions.loc[TRAINING, "difference_upper"] < 0
    assert actions.loc[LEAFLET, "verdict"] == "no_clear_change"
    assert last["series"].loc[last["series"]["figure"] == "check_done", "period"].tolist() == list(QUARTERS)
    page = (tmp_path / "2026-Q3" / "internal" / "report.html").read_text(encoding="utf-8")
    assert "The last eight audits" in page
    section = page[page.index('<section id="actions"') : page.index('<section id="every-figure"')]
    assert len(section.encode()) < 40_000


def test_a_re_audit_says_how_much_better_and_how_far_from_the_target(
    command: Callable[..., Any], write_log: Any, insertions: Any, pick: Any, tmp_path: Path
) -> None:
    """Pain relief offered to 42 of 60, then to 55 of 62: Newcombe's interval, Fisher's p-value."""
    first, later = date(2026, 5, 4), date(2026, 8, 3)
    placed = {"insertion_outcome": "placed"}
    asked = {answer: placed | {"pain_options_discussed": answer} for answer in ("yes", "no")}
    rows = [
        *insertions(42, asked["yes"], day=first),
        *insertions(18, asked["no"], start=42, day=first),
        *insertions(55, asked["yes"], start=60, day=later),
        *insertions(7, asked["no"], start=115, day=later),
    ]
    log = write_log(tmp_path / "visits.csv", rows)
    before = ("run", log, "--period", "2026-Q2", "--data-to", "2026-06-30", "--out", tmp_path / "q2")
    assert command(*before).code == 0
    beside = ("--previous", tmp_path / "q2" / "record.json")
    now = ("run", log, "--period", "2026-Q3", "--data-to", "2026-10-14", "--out", tmp_path / "q3", *beside)
    assert command(*now).code == 0

    tables = json.loads((tmp_path / "q3" / "record.json").read_text())["tables"]
    change = pick(tables["change_since_last"], figure="pain_options")
    assert (change["then_events"], change["then_n"], change["now_events"], change["now_n"]) == (
        42,
        60,
        55,
        62,
    )
    told = [round(100 * change[name], 1) for name in ("difference", "difference_lower", "difference_upper")]
    assert told == [18.7, 4.3, 32.5]
    # Fisher's exact test of the same table, by scipy.
    assert round(fisher_exact([[42, 18], [55, 7]]).pvalue, 3) == 0.013
    assert change["verdict"] == "improved"
    criterion = pick(tables["criteria"], criterion="pain_options", by="overall", window="period")
    assert (criterion["events"], criterion["n"]) == (55, 62)
    assert criterion["verdict"] != "met"
