"""What a service may get wrong in its benchmarks, criteria and records, by the command line.

Each is one sentence and nothing is written, or the audit runs and the page says what could not be judged. Records
of another service or a later period and plans that name no figure are in `test_audit_cycle.py`.
"""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from audit.benchmarks import published_figures
from audit.records import RECORD_VERSION
from audit.settings import definitions_version, settings_from
from synthetic_data.demo import DEMO_PERIOD

FIGURE = {
    "id": '"national"',
    "outcome": '"failed_insertion"',
    "measure": '"proportion"',
    "unit_of_analysis": '"per_visit"',
    "horizon_days": "0",
    "estimate": "0.05",
    "population": '"All services of a country"',
    "definition": '"Visits that ended without a device"',
    "citation": '"National audit. 2025. Annual report"',
}


def figures(*entries: dict[str, str | None]) -> str:
    """Published figures as a settings file has them; None leaves a key out."""
    tables = [
        "\n".join(f"{key} = {value}" for key, value in {**FIGURE, **entry}.items() if value is not None)
        for entry in entries
    ]
    return "".join(f"\n[[benchmarks]]\n{table}\n" for table in tables)


@pytest.fixture
def run(command: Callable[..., Any], small_clinic: Any, tmp_path: Path) -> Callable[..., Any]:
    """Audit the small clinic's last quarter into the folder "out", with more settings or less, or another log."""

    def audit(*options: object, more: str = "", less: str = "", log: Path | None = None) -> Any:
        settings = tmp_path / "clinic.toml"
        rules = small_clinic.settings.read_text(encoding="utf-8")
        assert less in rules
        settings.write_text(rules.replace(less, "", 1) + more, encoding="utf-8")
        named = ("--settings", settings, "--period", DEMO_PERIOD, "--out", tmp_path / "out", "--quiet")
        return command("run", log or small_clinic.log, *named, *options)

    return audit


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (
            figures({"horizon_days": None}),
            (
                "'national': has no horizon. Write either horizon_days (0 at insertion, 365 at 12 months) or "
                "horizon = 'mixed'."
            ),
        ),
        (
            figures({"citation": None}),
            "'national': has no 'citation': a figure without a source cannot be used. Add it.",
        ),
        (
            figures({"ci_lower": "0.06", "ci_upper": "0.08"}),
            "'national': has limits from 0.06 to 0.08 that do not hold its estimate, 0.05. Correct them.",
        ),
        (figures({}, {}), "two figures have the id 'national'. Rename one."),
        (
            figures({"id": f'"{published_figures()[0]["id"]}"'}),
            f"the id '{published_figures()[0]['id']}' is that of a figure of the library. Rename yours.",
        ),
    ],
    ids=["no horizon", "no source", "limits off the estimate", "one id twice", "an id of the library"],
)
def test_a_published_figure_that_cannot_be_used_stops_the_audit_before_it_begins(
    run: Callable[..., Any],
    tmp_path: Path,
    tells_what_to_do: Callable[[str], bool],
    more: str,
    sentence: str,
) -> None:
    # No log at all: what is wrong with the settings is said before one is looked for.
    said = run(more=more, log=tmp_path / "none.csv")
    assert said.code == 2
    assert said.err.startswith("iud-audit: clinic.toml, benchmarks")
    assert said.err.endswith(f"{sentence}\n")
    assert tells_what_to_do(said.err.strip())
    assert not (tmp_path / "out").exists()


def test_a_record_of_another_version_is_refused(
    run: Callable[..., Any], small_clinic: Any, tmp_path: Path, tells_what_to_do: Callable[[str], bool]
) -> None:
    whole = json.loads((small_clinic.out / "record.json").read_text(encoding="utf-8"))
    record = tmp_path / "record.json"
    record.write_text(json.dumps(whole | {"record_version": RECORD_VERSION - 1}), encoding="utf-8")
    said = run("--previous", record)
    assert (said.code, said.err) == (
        3,
        (
            f"iud-audit: record.json: is a record of form {RECORD_VERSION - 1}, and this version reads form "
            f"{RECORD_VERSION}. Run that audit again with this version.\n"
        ),
    )
    assert tells_what_to_do(said.err.strip())
    assert not (tmp_path / "out").exists()


def test_a_missing_column_and_a_changed_definition_are_said_and_the_audit_runs(
    run: Callable[..., Any], small_clinic: Any, tmp_path: Path
) -> None:
    # The last audit counted checks to day 70, and this log has lost a column.
    record, log = tmp_path / "record.json", tmp_path / "visits.csv"
    whole = json.loads((small_clinic.out / "record.json").read_text(encoding="utf-8"))
    before = {
        "period": {"label": "2026-Q2", "first_day": "2026-04-01", "last_day": "2026-06-30"},
        "data_to": "2026-07-14",
        "definitions_version": definitions_version(settings_from({"windows": {"check_to_day": 70}})),
    }
    record.write_text(json.dumps(whole | before), encoding="utf-8")
    text = small_clinic.log.read_text(encoding="utf-8")
    log.write_text(text.replace("Pain relief offered", "Something else", 1), encoding="utf-8")
    said = run("--previous", record, log=log, less='pain_options_discussed = "Pain relief offered"\n')
    assert said.code == 0, said.err

    tables = json.loads((tmp_path / "out" / "record.json").read_text(encoding="utf-8"))["tables"]
    (criterion,) = [
        row for row in tables["criteria"] if row["criterion"] == "pain_options" and row["by"] == "overall"
    ]
    assert criterion["verdict"] == "not_recorded_in_this_log"
    assert criterion["caution"] == "This log does not record pain_options_discussed."
    changes = {row["figure"]: row for row in tables["change_since_last"]}
    assert changes["check_done"]["verdict"] == "not_comparable"
    assert changes["check_done"]["reason"] == "The definition changed between the two audits."
    assert changes["check_done"]["difference"] is None
    assert {row["verdict"] for row in changes.values()} == {"not_comparable"}
    page = " ".join(
        re.sub("<[^>]+>", " ", (tmp_path / "out" / "internal" / "report.html").read_text("utf-8")).split()
    )
    assert "Not in this log: Pain relief offered (this log does not record pain_options_discussed)." in page
    assert "No figure can be compared with the last audit" in page
    assert "The definition changed between the two audits." in page
