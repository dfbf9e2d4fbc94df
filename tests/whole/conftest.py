"""The command line as a clinic uses it: a log in a folder, a command, an output folder."""

import csv
import html
import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from audit.cli import main
from synthetic_data.demo import DEMO_PERIOD, write_demo

Row = Mapping[str, object]


@dataclass(frozen=True)
class Said:
    """What a command answered."""

    code: int
    out: str
    err: str


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Callable[..., Said]:
    """Run a command of iud-audit in this process."""

    def run(*arguments: object) -> Said:
        capsys.readouterr()
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as left:
            code = int(left.code or 0)
        return Said(code, *capsys.readouterr())

    return run


@pytest.fixture(scope="session")
def process() -> Callable[..., Said]:
    """Run a command of iud-audit as a process of its own, with changes to its environment."""

    def run(*arguments: object, environment: Mapping[str, str] | None = None) -> Said:
        done = subprocess.run(
            [sys.executable, "-m", "audit", *map(str, arguments)],
            capture_output=True,
            text=True,
            env={**os.environ, **(environment or {})},
            timeout=120,
            check=False,
        )
        return Said(done.returncode, done.stdout, done.stderr)

    return run


@pytest.fixture(scope="session")
def write_log() -> Callable[[Path, Sequence[Row]], Path]:
    """Write rows as a CSV log; a column that a row lacks is blank."""

    def write(path: Path, rows: Sequence[Row]) -> Path:
        names = list(dict.fromkeys(name for row in rows for name in row))
        text = io.StringIO()
        writer = csv.DictWriter(text, names, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
        path.write_text(text.getvalue(), encoding="utf-8")
        return path

    return write


@pytest.fixture
def audited(
    tmp_path: Path, command: Callable[..., Said], write_log: Callable[[Path, Sequence[Row]], Path]
) -> Callable[..., dict[str, list[dict[str, Any]]]]:
    """Write rows as a log, audit it by the command line, and give the tables of record.json."""

    def run(
        rows: Sequence[Row], *, period: str, data_to: str, settings: str = ""
    ) -> dict[str, list[dict[str, Any]]]:
        log, out = write_log(tmp_path / "visits.csv", rows), tmp_path / "out"
        options: list[object] = ["--period", period, "--data-to", data_to, "--out", out]
        if settings:
            (tmp_path / "settings.toml").write_text(settings, encoding="utf-8")
            options += ["--settings", tmp_path / "settings.toml"]
        said = command("run", log, *options)
        assert said.code == 0, said.err
        tables: dict[str, list[dict[str, Any]]] = json.loads((out / "record.json").read_text())["tables"]
        return tables

    return run


@pytest.fixture(scope="session")
def pick() -> Callable[..., dict[str, Any]]:
    """The one row of a table of record.json with these values."""

    def only(table: Sequence[dict[str, Any]], **wanted: object) -> dict[str, Any]:
        found = [row for row in table if all(row[name] == value for name, value in wanted.items())]
        assert len(found) == 1, f"{len(found)} rows with {wanted}"
        return found[0]

    return only


@pytest.fixture
def section(tmp_path: Path) -> Callable[[str], str]:
    """The text of one section of the page that `audited` wrote, what marks up the text left out."""

    def read(id: str) -> str:
        page = (tmp_path / "out" / "internal" / "report.html").read_text(encoding="utf-8")
        found = re.search(f'<section id="{id}".*?</section>', page, flags=re.DOTALL)
        assert found is not None, id
        drawn = re.sub("<script.*?</script>", "", found.group(0), flags=re.DOTALL)
        return " ".join(html.unescape(re.sub("<[^>]*>", " ", drawn)).split())

    return read


@pytest.fixture(scope="session")
def insertions() -> Callable[..., Iterator[Row]]:
    """Insertion rows of as many women, on one day or spread over the third quarter of 2026."""

    def rows(number: int, values: Row, *, start: int = 0, day: date | None = None) -> Iterator[Row]:
        for woman in range(start, start + number):
            on = date(2026, 7, 1) + timedelta(days=woman % 90) if day is None else day
            yield {"patient_ref": f"W{woman:04d}", "visit_date": on, "visit_kind": "insertion", **values}

    return rows


@pytest.fixture(scope="session")
def contacts() -> Callable[..., Iterator[Row]]:
    """One contact of each of these women, on one day."""

    def rows(women: range, day: date, values: Row) -> Iterator[Row]:
        for woman in women:
            yield {"patient_ref": f"W{woman:04d}", "visit_date": day, "visit_kind": "follow_up", **values}

    return rows


@pytest.fixture(scope="session")
def as_percent() -> Callable[..., tuple[float, ...]]:
    """These columns of a row in per cent, to one decimal."""

    def rounded(row: Mapping[str, Any], *names: str) -> tuple[float, ...]:
        return tuple(round(100 * row[name], 1) for name in names)

    return rounded


WOMEN = 150
CANARY = "CANARY"


@dataclass(frozen=True)
class Clinic:
    """A small log in a clinic's own words, its settings, and the folder of its audit."""

    log: Path
    settings: Path
    out: Path


@pytest.fixture(scope="session")
def small_clinic(tmp_path_factory: pytest.TempPathFactory) -> Clinic:
    """Some women of the invented clinic, audited once; what must not leave the log holds the word CANARY."""
    folder = tmp_path_factory.mktemp("clinic")
    whole, settings = write_demo(folder / "demo")
    with whole.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    women = list(dict.fromkeys(row["Client no"] for row in rows))[-WOMEN:]
    names = {woman: f"{CANARY}{number}" for number, woman in enumerate(women)}
    kept = [
        {**row, "Client no": names[row["Client no"]], "Notes": f"{CANARY} note"}
        for row in rows
        if row["Client no"] in names
    ]
    kept[5]["Date seen"] = f"{CANARY} day"
    kept[6]["Visit type"] = f"{CANARY} kind"
    kept[7]["Result"] = f"{CANARY} outcome"
    log = folder / "export_of_the_clinic.csv"
    with log.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(kept[0]))
        writer.writeheader()
        writer.writerows(kept)
    out = folder / "out"
    arguments = ["run", log, "--settings", settings, "--period", DEMO_PERIOD, "--out", out, "--quiet"]
    assert main([str(argument) for argument in arguments]) == 0
    return Clinic(log, settings, out)
