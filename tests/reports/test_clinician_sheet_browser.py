"""The clinicians' own sheets in a real browser: opened from a file, without a network and without scripts."""

import subprocess
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from audit.records import AuditResults
from reports.clinician_sheet import clinician_pages, own_results, render_sheet

pytestmark = pytest.mark.browser

# With a mark; the most cases; few attempts alone, the rest supervised; the list.
SHOWN = ("C11", "C01", "C14", "index")


@pytest.fixture(scope="module")
def sheets(demo_results: AuditResults, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheets as files."""
    folder = tmp_path_factory.mktemp("sheets")
    for name, text in clinician_pages(demo_results).items():
        (folder / Path(name).name).write_text(text, encoding="utf-8")
    return folder


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 768, 1440])
@pytest.mark.parametrize("code", SHOWN)
def test_at_every_width_nothing_scrolls_sideways(
    opened: Any, browser: Any, sheets: Path, code: str, width: int, scheme: str
) -> None:
    size = {"width": width, "height": 900}
    with opened(browser, sheets / f"{code}.html", viewport=size, color_scheme=scheme) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        # Without scripts no frame could be reached by keyboard, so none may hide a part of its table.
        wide = page.evaluate(
            "[...document.querySelectorAll('.scroll')].filter(f => f.scrollWidth > f.clientWidth + 1)"
            ".map(f => f.querySelector('caption').textContent)"
        )
        assert wide == []
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert paper == {"light": "rgb(251, 250, 246)", "dark": "rgb(23, 26, 31)"}[scheme]


def test_the_drawings_show_the_own_interval_over_the_range(opened: Any, browser: Any, sheets: Path) -> None:
    with opened(browser, sheets / "C11.html", viewport={"width": 1440, "height": 900}) as page:
        marks = page.locator("svg.mark")
        assert marks.count() >= 4
        assert page.locator("svg.mark .band").count() >= 4
        assert page.locator("svg.mark.accent").count() == 1
        boxes = [marks.nth(number).bounding_box() for number in range(marks.count())]
        assert all(box and box["width"] > 150 and box["height"] > 15 for box in boxes)
        # The dot of the failures lies to the right of the range: more than is ordinary.
        dot = page.locator("svg.mark.accent circle").bounding_box()
        band = page.locator("svg.mark.accent .band").bounding_box()
        assert dot["x"] > band["x"] + band["width"]
        words = page.locator("svg.mark.accent").get_attribute("aria-label")
        assert "17 of 179" in words
        assert "ordinary: 4 to 15" in words


def test_the_keyboard_reaches_the_figures_and_every_sheet_of_the_list(
    opened: Any, browser: Any, sheets: Path
) -> None:
    with opened(browser, sheets / "C11.html") as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        assert page.evaluate("location.hash") == "#page-one"
    with opened(browser, sheets / "index.html") as page:
        links = page.locator("a")
        assert links.count() == len(list(sheets.glob("C*.html")))
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.getAttribute('href')") == "C01.html"


def test_a_sheet_reads_by_its_headings_and_each_table_has_a_caption(
    opened: Any, browser: Any, sheets: Path
) -> None:
    with opened(browser, sheets / "C01.html") as page:
        assert page.locator("h1").count() == 1
        levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3')].map(h => Number(h.tagName[1]))")
        assert all(after <= before + 1 for before, after in pairwise(levels))
        assert page.evaluate("[...document.querySelectorAll('table')].every(t => t.caption)")
        assert page.evaluate("document.documentElement.lang") == "en-GB"


@pytest.mark.parametrize("code", ["C11", "C01", "C14"])
def test_on_paper_a_sheet_is_two_sheets_with_the_sentence_on_each(
    opened: Any, browser: Any, sheets: Path, tmp_path: Path, code: str
) -> None:
    written = tmp_path / "sheet.pdf"
    with opened(browser, sheets / f"{code}.html", color_scheme="dark") as page:
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate("getComputedStyle(document.body).color") == "rgb(31, 42, 55)"
        page.pdf(path=str(written), prefer_css_page_size=True, print_background=True)
    assert "Pages: 2" in _printed("pdfinfo", str(written))
    for number in ("1", "2"):
        text = _printed("pdftotext", "-f", number, "-l", number, "-layout", str(written), "-")
        assert f"Own sheet of {code}. For learning; not an appraisal score. Not for release" in text


def _printed(*command: str) -> str:
    """What a program says of a PDF."""
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return " ".join(said.split())


def test_a_hostile_code_runs_nothing_and_breaks_no_line(
    opened: Any, browser: Any, demo_results: AuditResults, tmp_path: Path
) -> None:
    code = "</title><script>window.hacked=1</script><img src=x onerror=hacked()>" + "\u202e" + "X" * 300
    tables = {
        name: table.assign(stratum=table["stratum"].where(table["stratum"] != "C11", code))
        for name, table in demo_results.tables.items()
        if name in ("clinician_counts", "clinician_figures", "clinician_completeness")
    }
    results = replace(demo_results, service=code, tables=tables)
    path = tmp_path / "hostile.html"
    path.write_text(render_sheet(own_results(results, code), code), encoding="utf-8")
    with opened(browser, path, viewport={"width": 320, "height": 900}) as page:
        assert page.evaluate("window.hacked === undefined")
        assert page.locator("img").count() == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        assert "17 of 179" in page.locator("#page-one").inner_text()
