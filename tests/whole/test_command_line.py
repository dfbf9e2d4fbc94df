"""Manners of the command line: help, exit codes, streams, refusals in one sentence, never a traceback."""

import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

HEADING = "patient_ref,visit_date,visit_kind,insertion_outcome,removal_reason_main,clinician_ref\n"
ROWS = "".join(f"W{n},2026-07-{n:02},insertion,placed,,C01\n" for n in range(1, 13))
DONE, FAULT, USAGE, REFUSED, NOT_WRITTEN, CROSSED = range(6)
Command = Callable[..., Any]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A small log in our own words, without a flaw."""
    return saved(tmp_path, HEADING + ROWS)


def saved(folder: Path, text: str | bytes, name: str = "visits.csv") -> Path:
    """A log of this text."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def one_sentence(text: str) -> bool:
    """One line, from the name of the command to a full stop, without a traceback."""
    return bool(re.fullmatch(r"iud-audit[^\n]*\.\n", text)) and "Traceback" not in text


# Help


@pytest.mark.parametrize("name", ["demo", "check", "run", "verify"])
def test_help_of_each_command_shows_an_example_before_its_options(command: Command, name: str) -> None:
    said = command(name, "--help")
    assert (said.code, said.err) == (DONE, "")
    assert f"example: iud-audit {name}" in said.out
    assert said.out.index("example:") < said.out.index("options:")


def test_help_lists_commands_and_exit_codes(command: Command) -> None:
    for said in (command("--help"), command()):
        assert said.code == DONE
        assert all(name in said.out for name in ("demo", "check", "run", "verify"))
        assert all(f"{code} " in said.out.split("exit codes:")[1] for code in range(6))


def test_help_names_the_thresholds_to_fail_on(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    words = command("run", "--help").out.split()
    assert all(name in words for name in ("set-aside", "follow-up", "review-signal", "action"))


def test_help_comes_within_a_third_of_a_second(process: Command) -> None:
    def seconds() -> float:
        begun = time.perf_counter()
        assert process("--help").code == DONE
        return time.perf_counter() - begun

    assert min(seconds() for _ in range(5)) < 0.3


def test_the_version_is_told(command: Command) -> None:
    said = command("--version")
    assert said.code == DONE
    assert re.fullmatch(r"iud-audit \d+\.\d+\.\d+\S*\n", said.out)


# Wrong usage


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (["--out", "out"], "--period"),
        (["--period", "2026-Q3"], "--out"),
        (["--period", "2026-Q7", "--out", "out"], "2026-Q7"),
        (["--period", "autumn", "--out", "out"], "autumn"),
        (["--period", "2026-09-30/2026-07-01", "--out", "out"], "ends before it begins"),
        (["--period", "2026-13", "--out", "out"], "2026-13"),
        (["--period", "2026-Q3", "--out", "out", "--edition", "release"], "release edition"),
        (["--period", "2026-Q3", "--out", "out", "--edition", "glossy"], "glossy"),
        (["--period", "2026-Q3", "--out", "out", "--fail-on", "weather"], "weather"),
        (["--period", "2026-Q3", "--out", "out", "--data-to", "31/12/2026"], "31/12/2026"),
        (["--period", "2026-Q3", "--out", "out", "--colour", "blue"], "--colour"),
        (["--period", "2026-Q3", "--out", "out", "--settings", "nowhere.toml"], "nowhere.toml"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_wrong_usage_is_told_in_one_sentence(
    log: Path, command: Command, monkeypatch: pytest.MonkeyPatch, more: list[str], told: str
) -> None:
    monkeypatch.chdir(log.parent)
    said = command("run", log, *more)
    assert (said.code, said.out) == (USAGE, "")
    assert told in said.err
    assert len([line for line in said.err.splitlines() if line.startswith("iud-audit")]) == 1
    assert "Traceback" not in said.err
    assert not (log.parent / "out").exists()


def test_an_unknown_command_is_wrong_usage(command: Command) -> None:
    said = command("audit")
    assert (said.code, said.out) == (USAGE, "")
    assert one_sentence(said.err)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("periodd = 3\n", "periodd"),
        ("[windows]\ncheck_from_day = -1\n", "check_from_day"),
        ("[layout\n", "not a TOML file"),
    ],
)
def test_settings_that_cannot_be_used_are_wrong_usage(
    log: Path, command: Command, text: str, told: str
) -> None:
    settings = saved(log.parent, text, "clinic.toml")
    said = command(
        "run", log, "--settings", settings, "--period", "2026-Q3", "--out", log.parent / "out", "--quiet"
    )
    assert said.code == USAGE
    assert told in said.err
    assert one_sentence(said.err)


# Logs that are refused

REFUSALS: dict[str, tuple[str | bytes, str]] = {
    "empty file": ("", "empty"),
    "only blank lines": ("\n\n\n", "empty"),
    "missing required column": (ROWS, "patient_ref"),
    "no visit date": (HEADING.replace("visit_date", "when") + ROWS, "visit_date"),
    "none of the outcome columns": (
        "patient_ref,visit_date,visit_kind\nW1,2026-07-01,insertion\n",
        "insertion_outcome",
    ),
    "duplicate heading": (HEADING.replace("clinician_ref", "visit_kind") + ROWS, "visit_kind"),
    "another delimiter": ((HEADING + ROWS).replace(",", "~"), "patient_ref"),
    "zip file": (b"PK\x03\x04" + bytes(range(256)) * 4, "visits.csv"),
    "bytes of no text": (bytes([0, 255, 0, 254]) * 64, "visits.csv"),
    "quote that never closes": (HEADING + 'W1,"2026-07-01,insertion,placed,,C01\n' + ROWS, "quote"),
    "most dates impossible": (HEADING + ROWS.replace("2026-07", "2026-13"), "is not a date of the calendar"),
    "dates of no known order": (
        HEADING + "".join(f"W{n},0{n}/0{n + 1}/2026,insertion,placed,,C01\n" for n in range(1, 8)),
        "date_order",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_a_log_that_cannot_be_audited_is_refused_in_one_line(
    tmp_path: Path, command: Command, name: str
) -> None:
    text, told = REFUSALS[name]
    log = saved(tmp_path, text)
    for arguments in (
        ["run", log, "--period", "2026-Q3", "--out", tmp_path / "out", "--quiet"],
        ["check", log],
    ):
        said = command(*arguments)
        assert (said.code, said.out) == (REFUSED, ""), said.err
        assert told in said.err
        assert one_sentence(said.err), said.err
    assert not (tmp_path / "out").exists()


def test_a_file_that_is_not_there_or_a_folder_is_refused(tmp_path: Path, command: Command) -> None:
    for path in (tmp_path / "nowhere.csv", tmp_path):
        said = command("check", path)
        assert (said.code, said.out) == (REFUSED, "")
        assert one_sentence(said.err)


def test_an_unreadable_file_in_a_process_of_its_own_shows_no_traceback(
    tmp_path: Path, process: Command
) -> None:
    said = process("check", saved(tmp_path, bytes([0, 255, 0, 254]) * 64))
    assert (said.code, said.out) == (REFUSED, "")
    assert one_sentence(said.err)


# Logs with flaws


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("W90,2026-02-30,insertion,placed,,C01", "not_a_date"),
        ("W90,,insertion,placed,,C01", "blank"),
        (",2026-07-01,insertion,placed,,C01", "blank"),
        ("W90,2026-07-01,visitation,placed,,C01", "unknown_code"),
        ("W90,2026-07-01,insertion,placed", "wrong_number_of_values"),
        ("W1,2026-07-01,insertion,placed,,C01", "duplicate_row"),
    ],
)
def test_a_row_that_cannot_be_used_is_set_aside_and_counted(
    tmp_path: Path, command: Command, row: str, reason: str
) -> None:
    log = saved(tmp_path, f"{HEADING}{ROWS}{row}\n")
    said = command("check", log, "--json")
    assert said.code == DONE
    facts = json.loads(said.out)
    assert facts["rows"] == {"in": 13, "used": 12, "set_aside": 1, "blank_line": 0}
    assert [(item["reason"], item["n"]) for item in facts["set_aside"]] == [(reason, 1)]
    assert facts["set_aside"][0]["lines"] == [14]


def test_a_run_says_how_many_rows_were_set_aside(tmp_path: Path, command: Command) -> None:
    log = saved(tmp_path, f"{HEADING}{ROWS}W90,2026-02-30,insertion,placed,,C01\n")
    said = command("run", log, "--period", "2026-Q3", "--out", tmp_path / "out")
    assert said.code == DONE
    assert said.err == "13 rows in = 12 used + 1 set aside\n"


def test_undecodable_bytes_cost_one_row(tmp_path: Path, command: Command) -> None:
    text = (HEADING + ROWS + "W90,2026-07-01,insertion,placed,,Caf\u00e9\n").encode()
    log = saved(tmp_path, text + b"W91,2026-07-01,insertion,placed,,Caf\xe9\n")
    facts = json.loads(command("check", log, "--json").out)
    assert [item["reason"] for item in facts["set_aside"]] == ["undecodable_bytes"]
    assert (facts["rows"]["in"], facts["rows"]["used"]) == (14, 13)


def test_an_unknown_code_costs_the_row_only_where_the_figures_rest_on_it(
    tmp_path: Path, command: Command
) -> None:
    heading = HEADING.replace("clinician_ref", "training_status")
    rows = ROWS.replace("C01", "certified")
    standing = saved(tmp_path, f"{heading}{rows}W90,2026-07-01,insertion,placed,,wizard\n", "standing.csv")
    facts = json.loads(command("check", standing, "--json").out)
    assert facts["rows"]["set_aside"] == 0
    assert [(item["rule"], item["n"]) for item in facts["findings"]] == [("unknown_code", 1)]
    outcome = saved(tmp_path, f"{heading}{rows}W90,2026-07-01,insertion,perhaps,,certified\n", "outcome.csv")
    facts = json.loads(command("check", outcome, "--json").out)
    assert [item["reason"] for item in facts["set_aside"]] == ["unknown_code"]


def test_a_removal_before_any_placement_is_a_finding_and_nothing_is_lost(
    tmp_path: Path, command: Command
) -> None:
    log = saved(tmp_path, f"{HEADING}{ROWS}W12,2026-07-02,removal,,pain,C01\n")
    facts = json.loads(command("check", log, "--json").out)
    assert facts["rows"] == {"in": 13, "used": 13, "set_aside": 0, "blank_line": 0}
    assert facts["findings"]
    assert facts["cohort"]["placements"] == 12
    assert command("run", log, "--period", "2026-Q3", "--out", tmp_path / "out").code == DONE


def test_headings_without_rows_make_a_report_of_no_visits(tmp_path: Path, command: Command) -> None:
    log, out = saved(tmp_path, HEADING), tmp_path / "out"
    assert json.loads(command("check", log, "--json").out)["rows"]["in"] == 0
    said = command("run", log, "--period", "2026-Q3", "--out", out)
    assert said.code == DONE, said.err
    tables = json.loads((out / "record.json").read_text(encoding="utf-8"))["tables"]
    overall = [row for row in tables["failed_insertions"] if row["by"] == "overall"]
    assert {(row["n"], row["proportion"]) for row in overall} == {(0, None)}


def test_one_row_is_enough_for_a_report(tmp_path: Path, command: Command) -> None:
    log = saved(tmp_path, HEADING + "W1,2026-07-01,insertion,placed,,C01\n")
    assert command("run", log, "--period", "2026-Q3", "--out", tmp_path / "out").code == DONE


def test_a_quarter_in_which_nobody_was_seen_makes_a_report(tmp_path: Path, command: Command) -> None:
    # Under the rule "last known" nobody is observed in the quarter; under the other rule everybody is.
    log = saved(tmp_path, HEADING + ROWS)
    for period, data_to in (("2028-Q3", "2028-09-30"), ("2026-Q3", "2020-01-01")):
        said = command(
            "run", log, "--period", period, "--data-to", data_to, "--out", tmp_path / period, "--quiet"
        )
        assert (said.code, said.err) == (DONE, "")


# Logs that hold one kind of thing only, or nothing of what most figures rest on.
PLACED = "W{n},2026-07-0{n},insertion,placed,,C1,,\n"
LOPSIDED = {
    "follow-up rows only": "W{n},2026-07-0{n},follow_up,,,C1,in_situ_confirmed,\n",
    "removals only": "W{n},2026-07-0{n},removal,,pain,C1,removed_here,\n",
    "deferred only": "W{n},2026-07-0{n},insertion,deferred_not_started,,C1,,\n",
    "unknown only": "W{n},2026-07-0{n},insertion,unknown,,C1,,\n",
    "failed only": "W{n},2026-07-0{n},insertion,failed,,C1,,\n",
    "nobody's code": "W{n},2026-07-0{n},insertion,failed,,,,\n",
    "everybody expelled": PLACED + "W{n},2026-08-0{n},follow_up,,,,complete_expulsion,\n",
    "everybody died": PLACED + "W{n},2026-08-0{n},follow_up,,,,,died\n",
    "removed on the day": PLACED + "W{n},2026-07-0{n},removal,,pain,C1,removed_here,\n",
    "replacements only": "W{n},2026-07-0{n},removal_and_replacement,placed,bleeding,C1,removed_here,\n",
}


@pytest.mark.parametrize("name", LOPSIDED)
def test_a_lopsided_log_makes_a_report_without_a_word_of_complaint(
    tmp_path: Path, command: Command, name: str
) -> None:
    heading = HEADING.replace("\n", ",device_in_situ,contact_result\n")
    rows = "".join(LOPSIDED[name].format(n=n) for n in range(1, 7))
    log = saved(tmp_path, heading + rows)
    said = command("run", log, "--period", "2026-Q3", "--out", tmp_path / "out", "--quiet")
    assert (said.code, said.err) == (DONE, "")
    assert said.out.startswith("Open ")


def test_too_many_rows_set_aside_are_refused_until_allowed(tmp_path: Path, command: Command) -> None:
    log = saved(tmp_path, HEADING + ROWS.replace("2026-07-0", "2026-17-0"))
    arguments = ["run", log, "--period", "2026-Q3", "--out", tmp_path / "out"]
    said = command(*arguments, "--quiet")
    assert said.code == REFUSED
    assert one_sentence(said.err)
    said = command(*arguments, "--allow-set-aside")
    assert said.code == DONE
    assert "12 rows in = 3 used + 9 set aside" in said.err


def test_several_files_are_read_as_one_log(tmp_path: Path, command: Command) -> None:
    first = saved(tmp_path, HEADING + ROWS, "q1.csv")
    second = saved(
        tmp_path, HEADING + ROWS.replace("W", "V") + "W1,2026-07-01,insertion,placed,,C01\n", "q2.csv"
    )
    facts = json.loads(command("check", first, second, "--json").out)
    assert (facts["rows"]["in"], facts["rows"]["used"]) == (25, 24)
    assert [item["reason"] for item in facts["set_aside"]] == ["duplicate_row"]


# What is said, and where


def test_data_go_to_standard_output_and_messages_to_standard_error(log: Path, command: Command) -> None:
    out = log.parent / "out"
    said = command("run", log, "--period", "2026-Q3", "--out", out)
    assert said.out == f"Open {out / 'internal' / 'report.html'}\n"
    assert said.err == "12 rows in = 12 used + 0 set aside\n"


def test_progress_can_be_asked_for(log: Path, command: Command) -> None:
    said = command("run", log, "--period", "2026-Q3", "--out", log.parent / "out", "--progress")
    assert said.err.splitlines()[0] == "Reading the log ..."
    assert said.err.splitlines()[-1] == "12 rows in = 12 used + 0 set aside"


def test_a_quiet_run_says_only_its_result(log: Path, command: Command) -> None:
    said = command("run", log, "--period", "2026-Q3", "--out", log.parent / "out", "--quiet")
    assert said.err == ""
    assert said.out.startswith("Open ")


def test_json_is_one_document_on_standard_output(log: Path, command: Command) -> None:
    out = log.parent / "out"
    said = command("run", log, "--period", "2026-Q3", "--out", out, "--json")
    told = json.loads(said.out)
    assert (told["rows_in"], told["rows_used"], told["rows_set_aside"]) == (12, 12, 0)
    assert (told["period"], told["data_to"], told["crossed"]) == ("2026-Q3", "2026-07-12", [])
    assert Path(told["report"]).is_file()


def test_progress_and_colour_stay_away_when_nobody_watches(log: Path, process: Command) -> None:
    arguments = ["run", log, "--period", "2026-Q3", "--out", log.parent / "out"]
    said = process(*arguments)
    assert said.code == DONE
    assert said.err == "12 rows in = 12 used + 0 set aside\n"
    assert "\x1b" not in said.out + said.err


def test_check_prints_a_page_that_says_what_each_missing_column_costs(log: Path, command: Command) -> None:
    said = command("check", log)
    assert (said.code, said.err) == (DONE, "")
    assert said.out.startswith("12 rows in = 12 used + 0 set aside\n")
    assert re.search(r"off .*[Vv]asovagal.*: .*vasovagal_grade", said.out)


def test_a_reader_that_stops_early_is_no_fault(log: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "audit", "check", str(log)],
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        timeout=60,
        check=False,
    )
    os.close(writing)
    assert (done.returncode, done.stderr) == (DONE, "")


# Thresholds


def test_a_threshold_that_is_crossed_ends_with_five_after_the_report_is_written(
    tmp_path: Path, command: Command
) -> None:
    log, out = saved(tmp_path, HEADING + ROWS + "W90,2026-13-01,insertion,placed,,C01\n"), tmp_path / "out"
    said = command("run", log, "--period", "2026-Q3", "--out", out, "--fail-on", "set-aside", "--json")
    assert said.code == CROSSED
    assert json.loads(said.out)["crossed"] == ["set-aside"]
    assert "threshold crossed, set-aside" in said.err
    assert (out / "internal" / "report.html").is_file()


def test_a_threshold_that_is_kept_ends_with_zero(log: Path, command: Command) -> None:
    every = ["--fail-on", "set-aside", "--fail-on", "review-signal", "--fail-on", "action"]
    assert command("run", log, "--period", "2026-Q3", "--out", log.parent / "out", *every).code == DONE


def test_something_that_needs_action_can_end_with_five(tmp_path: Path, command: Command) -> None:
    heading = HEADING.replace("clinician_ref", "vasovagal_grade")
    log = saved(tmp_path, heading + ROWS.replace("C01", "0") + "W90,2026-07-20,insertion,placed,,4\n")
    said = command("run", log, "--period", "2026-Q3", "--out", tmp_path / "out", "--fail-on", "action")
    assert said.code == CROSSED
    assert "threshold crossed, action" in said.err


def test_the_audit_of_the_invented_clinic_runs_from_one_command(tmp_path: Path, command: Command) -> None:
    out = tmp_path / "audit-demo"
    said = command("demo", "--out", out)
    assert said.code == DONE
    assert said.out == f"Open {out / 'audit' / 'internal' / 'report.html'}\n"
    assert (out / "audit" / "internal" / "report.html").is_file()
    assert re.search(r"[\d,]+ rows in = [\d,]+ used \+ [\d,]+ set aside", said.err)
    (out / "log" / "visit_log.csv").write_text("mine", encoding="utf-8")
    said = command("demo", "--out", out)
    assert said.code == NOT_WRITTEN
    assert (out / "log" / "visit_log.csv").read_text(encoding="utf-8") == "mine"


def test_progress_is_shown_on_a_terminal_without_colour(log: Path) -> None:
    terminal, end = os.openpty()
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "audit",
            "run",
            str(log),
            "--period",
            "2026-Q3",
            "--out",
            str(log.parent / "o"),
        ],
        stdout=subprocess.PIPE,
        stderr=end,
        timeout=60,
        check=False,
    )
    os.close(end)
    shown = os.read(terminal, 10_000).decode()
    os.close(terminal)
    assert done.returncode == DONE
    assert "Reading the log ..." in shown
    assert "\x1b" not in shown
