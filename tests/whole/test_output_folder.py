"""The output folder: what it holds, that it is the same every time, and that it is written whole or not at all."""

import csv
import hashlib
import json
import os
import random
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from audit.errors import OutputError
from reports.folder import write_folder
from synthetic_data.demo import DEMO_PERIOD

CANARY = "CANARY"
TABLES = (
    "failed_insertions",
    "failed_insertions_by_clinician",
    "failure_reasons",
    "vasovagal_by_parity",
    "vasovagal_contrasts",
    "expulsion_incidence",
    "removal_incidence",
    "continuation_curve",
    "continuation_tests",
    "person_time_rates",
    "perforation",
    "pregnancy",
    "outcome_known",
    "check_done",
    "benchmark_comparison",
    "action_list",
    "row_accounting",
)
LABELS = {
    "failed_insertions": {"by", "stratum", "window", "unit"},
    "failed_insertions_by_clinician": {"by", "stratum", "window"},
    "vasovagal_by_parity": {"by", "stratum", "window", "definition"},
    "expulsion_incidence": {"by", "stratum", "placement_kind", "censoring", "cause"},
    "removal_incidence": {"by", "stratum", "placement_kind", "censoring", "cause"},
    "continuation_curve": {"by", "stratum", "placement_kind", "censoring"},
    "continuation_tests": {"by", "placement_kind", "censoring"},
    "person_time_rates": {"by", "stratum", "window", "placement_kind", "censoring", "cause"},
    "pregnancy": {"by", "stratum", "placement_kind", "censoring", "cause"},
    "outcome_known": {"by", "stratum", "window", "placement_kind"},
    "check_done": {"by", "stratum", "window", "placement_kind"},
}


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder by its name."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def record(folder: Path) -> dict[str, Any]:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON")

    text = (folder / "record.json").read_text(encoding="utf-8")
    read: dict[str, Any] = json.loads(text, parse_constant=refuse)
    return read


def arguments(clinic: Any, out: Path, *more: str) -> list[object]:
    """The command that audits a clinic."""
    return ["run", clinic.log, "--settings", clinic.settings, "--period", DEMO_PERIOD, "--out", out, *more]


@pytest.fixture
def written(tmp_path: Path, small_clinic: Any) -> Path:
    """A fresh copy of an output folder that nobody changed."""
    return Path(shutil.copytree(small_clinic.out, tmp_path / "out"))


def test_the_folder_holds_report_record_manifest_and_tables(small_clinic: Any) -> None:
    names = set(contents(small_clinic.out))
    assert {"internal/report.html", "record.json", "manifest.json"} <= names
    assert {f"tables/{name}.csv" for name in TABLES} <= names
    assert {name.split("/")[0] for name in names} == {
        *("internal", "clinicians", "patient", "tables"),
        *("record.json", "manifest.json", "datapackage.json", "audit.xlsx"),
    }


def test_the_record_names_every_table_and_labels_its_rows(small_clinic: Any) -> None:
    tables = record(small_clinic.out)["tables"]
    assert set(TABLES) <= set(tables)
    for name, labels in LABELS.items():
        assert tables[name], name
        assert all(labels <= set(row) for row in tables[name]), name


def test_the_record_is_strict_json_with_iso_dates_and_no_date_of_the_run(small_clinic: Any) -> None:
    read = record(small_clinic.out)
    assert read["data_to"] == "2026-10-14"
    assert (read["period"]["first_day"], read["period"]["last_day"]) == ("2026-07-01", "2026-09-30")
    dates = {row["date"] for row in read["tables"]["action_list"]}
    assert all(len(day) == 10 and day <= read["data_to"] for day in dates)
    assert not [name for name in read if "run" in name or "created" in name or "generated" in name]


def test_the_censoring_rules_both_stand_in_every_table_of_spells(small_clinic: Any) -> None:
    tables = record(small_clinic.out)["tables"]
    for name in ("expulsion_incidence", "removal_incidence", "continuation_curve", "person_time_rates"):
        assert {row["censoring"] for row in tables[name]} == {"last_known", "assumed_in_place"}


def test_the_manifest_accounts_for_every_row_and_fingerprints_every_file(small_clinic: Any) -> None:
    manifest = json.loads((small_clinic.out / "manifest.json").read_text(encoding="utf-8"))
    count = {"in": 0, "used": 0, "set_aside": 0}
    for row in manifest["row_accounting"]:
        count[row["disposition"]] += row["n"]
    with small_clinic.log.open(encoding="utf-8", newline="") as file:
        rows = sum(1 for _ in csv.DictReader(file))
    assert count["in"] == count["used"] + count["set_aside"] == rows
    assert count["set_aside"] >= 2
    found = contents(small_clinic.out)
    del found["manifest.json"]
    assert manifest["files"] == {name: hashlib.sha256(octets).hexdigest() for name, octets in found.items()}
    (source,) = manifest["inputs"]
    assert source["sha256"] == hashlib.sha256(small_clinic.log.read_bytes()).hexdigest()
    assert source["rows"] == rows
    assert manifest["versions"]["iud-clinic-audit"]


def test_nothing_that_could_name_a_woman_leaves_the_log(
    small_clinic: Any, tmp_path: Path, command: Callable[..., Any]
) -> None:
    # References, notes and unreadable values all hold the word.
    assert small_clinic.log.read_text(encoding="utf-8").count(CANARY) > 400
    said = command(*arguments(small_clinic, tmp_path / "out", "--progress"))
    assert said.code == 0
    assert CANARY not in said.out + said.err
    for name, octets in contents(tmp_path / "out").items():
        assert CANARY.encode() not in octets, name
    for more in ([], ["--json"]):
        said = command("check", small_clinic.log, "--settings", small_clinic.settings, *more)
        assert said.code == 0
        assert CANARY not in said.out + said.err


def test_the_name_of_the_log_stays_out_of_every_file_written(small_clinic: Any) -> None:
    # A file name may identify; fingerprint and size say which file it was.
    for name, octets in contents(small_clinic.out).items():
        assert small_clinic.log.stem.encode() not in octets, name
    page = (small_clinic.out / "internal" / "report.html").read_text(encoding="utf-8")
    assert f"SHA-256 {hashlib.sha256(small_clinic.log.read_bytes()).hexdigest()[:12]}" in page


def test_every_run_writes_the_same_bytes_whatever_the_time_zone_and_the_hash_seed(
    small_clinic: Any, tmp_path: Path, process: Callable[..., Any]
) -> None:
    written = []
    for zone, seed in (("Pacific/Kiritimati", "0"), ("America/St_Johns", "4242")):
        out = tmp_path / seed
        said = process(*arguments(small_clinic, out), environment={"TZ": zone, "PYTHONHASHSEED": seed})
        assert said.code == 0, said.err
        written.append(contents(out))
    assert written[0] == written[1]
    assert written[0]["record.json"] == (small_clinic.out / "record.json").read_bytes()


def test_the_order_of_the_rows_changes_no_figure(
    small_clinic: Any, tmp_path: Path, command: Callable[..., Any]
) -> None:
    heading, *lines = small_clinic.log.read_text(encoding="utf-8").splitlines(keepends=True)
    random.Random(7).shuffle(lines)
    shuffled = tmp_path / "shuffled.csv"
    shuffled.write_text(heading + "".join(lines), encoding="utf-8")
    said = command("run", shuffled, *arguments(small_clinic, tmp_path / "out")[2:])
    assert said.code == 0, said.err
    before, after = record(small_clinic.out)["tables"], record(tmp_path / "out")["tables"]
    assert set(before) == set(after)
    # The query list names lines of the file, and those have moved.
    different = [name for name in before if name != "query_list" and before[name] != after[name]]
    assert different == []


def test_an_untouched_folder_is_replaced_without_asking(
    small_clinic: Any, written: Path, command: Callable[..., Any]
) -> None:
    assert command(*arguments(small_clinic, written)).code == 0
    assert contents(written) == contents(small_clinic.out)


@pytest.mark.parametrize("name", ["tables/pregnancy.csv", "internal/note.txt"])
def test_a_folder_with_a_changed_or_added_file_is_refused_until_forced(
    small_clinic: Any, written: Path, command: Callable[..., Any], name: str
) -> None:
    (written / name).write_text("my own work", encoding="utf-8")
    said = command(*arguments(small_clinic, written))
    assert said.code == 4
    (sentence,) = said.err.splitlines()[-1:]
    assert name in sentence
    assert "--force" in sentence
    assert (written / name).read_text(encoding="utf-8") == "my own work"
    assert command(*arguments(small_clinic, written, "--force")).code == 0
    assert contents(written) == contents(small_clinic.out)


ONE_ROW = [
    {
        "patient_ref": "W1",
        "visit_date": "2026-07-01",
        "visit_kind": "insertion",
        "insertion_outcome": "placed",
    }
]


def test_a_foreign_folder_or_file_is_refused_and_an_empty_one_is_not(
    tmp_path: Path, command: Callable[..., Any], write_log: Callable[..., Path]
) -> None:
    log, foreign, empty = (
        write_log(tmp_path / "visits.csv", ONE_ROW),
        tmp_path / "letters",
        tmp_path / "empty",
    )
    foreign.mkdir()
    empty.mkdir()
    (foreign / "letter.txt").write_text("keep me", encoding="utf-8")
    for out in (foreign, foreign / "letter.txt"):
        said = command("run", log, "--period", "2026-Q3", "--out", out, "--quiet")
        assert said.code == 4
        assert "--force" in said.err
        assert len(said.err.splitlines()) == 1
    assert contents(foreign) == {"letter.txt": b"keep me"}
    assert command("run", log, "--period", "2026-Q3", "--out", empty).code == 0


def test_verify_tells_an_untouched_folder_from_a_changed_one(
    written: Path, command: Callable[..., Any]
) -> None:
    assert command("verify", written).code == 0
    (written / "record.json").write_text("{}", encoding="utf-8")
    (written / "tables" / "pregnancy.csv").unlink()
    said = command("verify", written)
    assert (said.code, said.out.split()) == (4, ["record.json", "tables/pregnancy.csv"])
    (written / "manifest.json").unlink()
    said = command("verify", written)
    assert said.code == 4
    assert "manifest.json" in said.err


def test_a_failure_half_way_leaves_the_old_folder_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_folder(out, {"record.json": b"old"}, force=False)
    too_long = "x" * 400
    with pytest.raises(OutputError, match="cannot be written"):
        write_folder(out, {"record.json": b"new", too_long: b""}, force=True)
    assert contents(out) == {"record.json": b"old"}
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_full_disk_leaves_the_old_folder_whole_and_says_so_in_one_sentence(
    small_clinic: Any, written: Path
) -> None:
    def no_file_over_20_kb() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))

    done = subprocess.run(
        [sys.executable, "-B", "-m", "audit", *map(str, arguments(small_clinic, written))],
        capture_output=True,
        text=True,
        env=dict(os.environ),
        preexec_fn=no_file_over_20_kb,
        timeout=120,
        check=False,
    )
    assert done.returncode == 4, done.stderr
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
    assert contents(written) == contents(small_clinic.out)
    assert [path.name for path in written.parent.iterdir()] == ["out"]


def test_a_code_that_a_spreadsheet_would_run_is_made_harmless(
    tmp_path: Path, audited: Callable[..., Any]
) -> None:
    dangerous = ["=1+1", "+1", "-1", "@SUM(1)"]
    rows = [
        {
            "patient_ref": f"W{number}",
            "visit_date": "2026-07-01",
            "visit_kind": "insertion",
            "insertion_outcome": "failed",
            "clinician_ref": code,
        }
        for number, code in enumerate(dangerous)
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    assert {row["stratum"] for row in tables["failed_insertions_by_clinician"]} == set(dangerous)
    path = tmp_path / "out" / "tables" / "failed_insertions_by_clinician.csv"
    with path.open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert {f"'{code}" for code in dangerous} <= set(cells)
    assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]
