"""What is written on request: drawings as files, and pages printed by whatever browser there is."""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.errors import OutputError
from reports.folder import changed_files
from reports.printing import find_browser, printed

DAY = pd.Timestamp("2026-10-14")
ROW = {
    "patient_ref": "W1",
    "visit_date": "2026-07-01",
    "visit_kind": "insertion",
    "insertion_outcome": "placed",
}


@pytest.fixture
def one_row(tmp_path: Path, write_log: Callable[..., Path]) -> Path:
    """A log of one visit."""
    return write_log(tmp_path / "visits.csv", [ROW])


def program(path: Path, lines: str) -> Path:
    """A small program that stands where a browser would."""
    path.write_text(f"#!/bin/sh\n{lines}\n", encoding="utf-8")
    path.chmod(0o755)
    return path


# Prints a file that is dated as browsers date theirs, in another zone, and notes how it was called.
PRINTS = """
for option in "$@"; do
  case "$option" in --print-to-pdf=*) target="${option#--print-to-pdf=}";; esac
done
printf "%s\\n" "$@" > "$0.called"
printf "%%PDF /CreationDate (D:20310102030405-05'30') /ModDate (D:20310102030405Z) end" > "$target"
"""


def test_a_browser_is_the_one_named_else_the_one_found(tmp_path: Path) -> None:
    found, named = program(tmp_path / "chromium", ""), program(tmp_path / "mine", "")
    assert find_browser({"PATH": str(tmp_path)}) == found
    assert find_browser({"PATH": str(tmp_path), "IUD_AUDIT_BROWSER": str(named)}) == named
    assert find_browser({"PATH": str(tmp_path), "IUD_AUDIT_BROWSER": "mine"}) == named
    with pytest.raises(
        OutputError, match=r"^--pdf: no Chromium or Chrome was found\. Install one, let IUD_AUDIT_"
    ):
        find_browser({"PATH": str(tmp_path / "nowhere")})
    with pytest.raises(OutputError, match=r"^/no/browser: is no program\."):
        find_browser({"PATH": str(tmp_path), "IUD_AUDIT_BROWSER": "/no/browser"})


def test_a_printed_file_is_dated_by_the_data_and_as_long_as_it_was(tmp_path: Path) -> None:
    files = printed({"internal/report.html": "<p>"}, program(tmp_path / "chromium", PRINTS), dated=DAY)
    assert files == {
        "internal/report.pdf": (
            b"%PDF /CreationDate (D:20261014000000+00'00') /ModDate (D:20261014000000Z) end"
        )
    }


def test_the_browser_is_told_to_ask_nothing_of_a_network_and_to_leave_no_trace(tmp_path: Path) -> None:
    browser = program(tmp_path / "chromium", PRINTS)
    printed({"report.html": "<p>"}, browser, dated=DAY)
    called = browser.with_suffix(".called").read_text(encoding="utf-8").splitlines()
    assert {"--headless", "--no-pdf-header-footer", "--host-resolver-rules=MAP * ~NOTFOUND"} <= set(called)
    assert ("--no-sandbox" in called) == (os.geteuid() == 0)
    (profile,) = [option.split("=")[1] for option in called if option.startswith("--user-data-dir=")]
    assert not Path(profile).parent.exists()
    assert called[-1].startswith("file:///")


@pytest.mark.parametrize("lines", ["exit 3", "exit 0"])
def test_a_browser_that_prints_nothing_is_told_in_one_sentence(tmp_path: Path, lines: str) -> None:
    with pytest.raises(
        OutputError, match=r"^internal/report\.html: chromium could not print it\. Leave --pdf out"
    ):
        printed({"internal/report.html": "<p>"}, program(tmp_path / "chromium", lines), dated=DAY)


@pytest.mark.parametrize("command_name", ["run", "demo"])
def test_without_a_browser_a_pdf_is_refused_before_anything_is_computed(
    one_row: Path,
    tmp_path: Path,
    command: Callable[..., Any],
    monkeypatch: pytest.MonkeyPatch,
    command_name: str,
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("IUD_AUDIT_BROWSER", raising=False)
    out = tmp_path / "out"
    given = ("run", one_row, "--period", "2026-Q3") if command_name == "run" else ("demo",)
    said = command(*given, "--out", out, "--pdf", "--progress" if command_name == "run" else "--debug")
    assert said.code == 4
    (sentence,) = said.err.splitlines()
    assert sentence.startswith("iud-audit: --pdf: no Chromium or Chrome was found. Install one")
    assert not out.exists()


def test_what_is_asked_for_stands_in_the_manifest_and_is_gone_when_not_asked_for(
    tmp_path: Path,
    write_log: Callable[..., Path],
    command: Callable[..., Any],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    failed = {"insertion_outcome": "failed", "failure_reason": "pain"}
    rows = [ROW | failed | {"patient_ref": f"W{number}"} for number in range(12)]
    log = write_log(tmp_path / "visits.csv", rows)
    monkeypatch.setenv("IUD_AUDIT_BROWSER", str(program(tmp_path / "browser", PRINTS)))
    out = tmp_path / "out"
    asked = ("run", log, "--period", "2026-Q3", "--out", out)
    assert command(*asked, "--pdf", "--figures").code == 0
    listed = set(json.loads((out / "manifest.json").read_text(encoding="utf-8"))["files"])
    assert "internal/report.pdf" in listed
    assert [name for name in listed if name.startswith("figures/")]
    assert changed_files(out) == []
    assert command(*asked).code == 0
    assert not (out / "figures").exists()
    assert not (out / "internal" / "report.pdf").exists()
