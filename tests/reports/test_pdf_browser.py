"""The report printed by a real browser: its pages, its foot, its drawings, and the same bytes every time."""

import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from audit.errors import OutputError
from audit.records import AuditResults
from reports import write_reports
from reports.editions import render_internal
from reports.folder import changed_files
from reports.printing import find_browser, printed

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def program() -> Path:
    """A browser that prints; where there is none, a failure in continuous integration and a skip elsewhere."""
    try:
        return find_browser(os.environ)
    except OutputError:
        if os.environ.get("CI") == "true":
            pytest.fail("no Chromium: these tests must run in continuous integration")
        pytest.skip("no Chromium on this machine")


@pytest.fixture(scope="module")
def folder(program: Path, demo_results: AuditResults, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_reports(demo_results, tmp_path_factory.mktemp("printed") / "out", pdf=True)


def told(*command: str) -> str:
    """What a program of poppler says of a file."""
    if shutil.which(command[0]) is None:
        pytest.skip(f"no {command[0]} on this machine")
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def test_every_page_has_the_edition_and_its_number_at_its_foot(folder: Path) -> None:
    file = str(folder / "internal" / "report.pdf")
    facts = told("pdfinfo", file)
    pages = int(re.search(r"Pages: +(\d+)", facts)[1])  # type: ignore[index]
    assert 20 < pages < 120
    assert "(A4)" in facts
    assert re.search(r"CreationDate: .*Oct 1[34] .*2026", facts)
    sheets = told("pdftotext", "-layout", file, "-").split("\f")[:-1]
    assert len(sheets) == pages
    for number, sheet in enumerate(sheets, start=1):
        foot = sheet.strip().splitlines()[-1]
        assert re.fullmatch(rf"Internal edition: not for release +{number} / {pages}", foot.strip())


def test_the_drawings_are_drawn_before_the_page_is_printed(folder: Path, tmp_path: Path) -> None:
    text = told("pdftotext", "-layout", str(folder / "internal" / "report.pdf"), "-")
    sheets = text.split("\f")
    # Written by the drawings alone: without scripts the still ones would say it in another place.
    (funnel,) = [
        number for number, sheet in enumerate(sheets, start=1) if "Attempts in twelve months" in sheet
    ]
    told(
        *("pdftoppm", "-r", "50", "-f", str(funnel), "-l", str(funnel), "-gray", "-singlefile"),
        *(str(folder / "internal" / "report.pdf"), str(tmp_path / "funnel")),
    )
    header, width, height, _, dots = (tmp_path / "funnel.pgm").read_bytes().split(maxsplit=4)[:5]
    assert header == b"P5"
    dark = sum(dot < 128 for dot in dots) / (int(width) * int(height))
    assert 0.005 < dark < 0.3
    for words in ("Still observed", "Failed, of 100 visits", "Of 100 failed attempts"):
        assert words in text


def test_a_printed_page_is_known_by_the_manifest(folder: Path) -> None:
    assert changed_files(folder) == []
    assert '"internal/report.pdf"' in (folder / "manifest.json").read_text(encoding="utf-8")


def test_a_page_prints_to_the_same_bytes_in_another_time_zone(
    folder: Path, program: Path, demo_results: AuditResults, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TZ", "Pacific/Kiritimati")
    again = printed(
        {"internal/report.html": render_internal(demo_results)}, program, dated=demo_results.data_to
    )
    assert again["internal/report.pdf"] == (folder / "internal" / "report.pdf").read_bytes()


def test_hostile_text_prints_as_text(program: Path, hostile_results: AuditResults, tmp_path: Path) -> None:
    content = printed({"page.html": render_internal(hostile_results)}, program, dated=hostile_results.data_to)
    (tmp_path / "page.pdf").write_bytes(content["page.pdf"])
    assert "<script>window.hacked=1" in told("pdftotext", str(tmp_path / "page.pdf"), "-")
    assert b"/JavaScript" not in content["page.pdf"]


def test_a_drawing_file_is_a_picture_that_a_browser_shows(
    browser: Any, demo_results: AuditResults, tmp_path: Path
) -> None:
    out = write_reports(demo_results, tmp_path / "out", figures=True)
    page = browser.new_page()
    for path in sorted((out / "figures").iterdir()):
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.getBoundingClientRect().width") >= 240, path.name
        assert page.evaluate(
            "[...document.querySelectorAll('text')].every(t => t.getBBox().width > 0 || !t.textContent.trim())"
        ), path.name
    page.close()
