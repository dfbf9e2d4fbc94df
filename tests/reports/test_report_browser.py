"""The page in a real browser: opened from a file, without a network."""

import struct
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from audit.cli import main
from audit.records import AuditResults
from reports.editions import render_internal

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def report(demo_results: AuditResults, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report as a file."""
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(render_internal(demo_results), encoding="utf-8")
    return path


class _Seen:
    """A page with what it said and what it asked for."""

    def __init__(self, browser: Any, path: Path, **options: Any) -> None:
        self.context = browser.new_context(**options)
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.goto(path.as_uri())

    def drawn(self) -> "_Seen":
        """The same, once everything is drawn."""
        self.until("document.documentElement.dataset.drawn === 'yes'")
        return self

    def until(self, condition: str) -> None:
        """Wait for a condition; asked from outside, as the page's policy forbids evaluating text inside it."""
        for _ in range(200):
            if self.page.evaluate(condition):
                return
            self.page.wait_for_timeout(50)
        pytest.fail(f"never came true: {condition}")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_opens_from_a_file_without_a_request_or_a_complaint(
    browser: Any, report: Path, scheme: str
) -> None:
    seen = _Seen(browser, report, color_scheme=scheme).drawn()
    assert seen.said == []
    assert seen.asked == [report.as_uri()]
    assert seen.page.evaluate("document.querySelectorAll('.plot').length") == seen.page.evaluate(
        "document.querySelectorAll('.plot .main-svg:first-child').length"
    )
    # Without the library's own styles the layers would stand one below the other.
    assert seen.page.evaluate(
        "[...document.querySelectorAll('.main-svg')].every(s => getComputedStyle(s).position === 'absolute')"
    )
    seen.context.close()


@pytest.mark.parametrize("width", [320, 768, 1440])
def test_nothing_scrolls_sideways_and_no_drawing_is_wider_than_its_place(
    browser: Any, report: Path, width: int
) -> None:
    seen = _Seen(browser, report, viewport={"width": width, "height": 900}).drawn()
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
    assert seen.page.evaluate(
        "[...document.querySelectorAll('.plot')].every("
        "p => p.querySelector('.main-svg').getBoundingClientRect().width <= p.clientWidth + 1)"
    )
    seen.context.close()


@pytest.mark.parametrize("width", [320, 1440])
@pytest.mark.parametrize("gate", ["last_known_leads", "both_as_equals", "bounds_only"])
def test_no_label_of_a_drawing_is_cut_off(
    browser: Any, demo_results: AuditResults, tmp_path: Path, gate: str, width: int
) -> None:
    path = tmp_path / "report.html"
    path.write_text(render_internal(replace(demo_results, gate=gate)), encoding="utf-8")
    seen = _Seen(browser, path, viewport={"width": width, "height": 900}).drawn()
    assert seen.said == []
    cut = seen.page.evaluate(
        """[...document.querySelectorAll('.plot')].flatMap(plot => {
            const place = plot.getBoundingClientRect();
            return [...plot.querySelectorAll('.annotation-text, .xtick text, .ytick text')].filter(text => {
                const box = text.getBoundingClientRect();
                return box.right > place.right + 1 || box.left < place.left - 1;
            }).map(text => text.textContent);
        })"""
    )
    assert cut == []
    seen.context.close()


def test_the_dark_theme_changes_the_drawings_too(browser: Any, report: Path) -> None:
    colours = []
    for scheme in ("light", "dark"):
        seen = _Seen(browser, report, color_scheme=scheme).drawn()
        colours.append(
            seen.page.evaluate("getComputedStyle(document.querySelector('.plot .annotation-text')).fill")
        )
        seen.context.close()
    assert colours[0] != colours[1]


def test_without_scripts_every_table_and_a_still_drawing_remain(browser: Any, report: Path) -> None:
    seen = _Seen(browser, report, java_script_enabled=False, viewport={"width": 320, "height": 900})
    assert seen.page.locator("table").count() > 20
    drawn = seen.page.locator("svg.static")
    assert drawn.count() == seen.page.locator(".plot").count()
    boxes = [drawn.nth(number).bounding_box() for number in range(drawn.count())]
    assert all(box and box["width"] > 100 and box["height"] > 80 for box in boxes)
    assert seen.page.evaluate("document.documentElement.scrollWidth") <= 320
    seen.context.close()


def test_the_keyboard_reaches_page_one_and_the_contents(browser: Any, report: Path) -> None:
    seen = _Seen(browser, report).drawn()
    seen.page.keyboard.press("Tab")
    assert seen.page.evaluate("document.activeElement.className") == "skip"
    seen.page.keyboard.press("Enter")
    assert seen.page.evaluate("location.hash") == "#page-one"
    seen.context.close()


def test_a_table_wider_than_the_window_can_be_reached_by_keyboard(browser: Any, report: Path) -> None:
    seen = _Seen(browser, report, viewport={"width": 320, "height": 900}).drawn()
    wide = "[...document.querySelectorAll('.scroll')].filter(f => f.scrollWidth > f.clientWidth)"
    assert seen.page.evaluate(f"{wide}.length") > 0
    assert seen.page.evaluate(f"{wide}.every(f => f.tabIndex === 0 && f.getAttribute('aria-label'))")
    seen.context.close()


def test_a_table_that_goes_on_to_the_right_says_so_and_can_be_scrolled_to_its_end(
    browser: Any, report: Path
) -> None:
    seen = _Seen(browser, report, viewport={"width": 320, "height": 900}).drawn()
    frames = "[...document.querySelectorAll('.scroll')].filter(f => f.clientWidth)"
    for shown in ("true", "f.scrollWidth > f.clientWidth"):
        assert seen.page.evaluate(f"{frames}.filter(f => {shown}).length") > 5
    assert seen.page.evaluate(
        f"{frames}.every(f => (f.scrollWidth > f.clientWidth) === "
        "(getComputedStyle(f, '::before').content.includes('goes on')))"
    )
    assert seen.page.evaluate(
        f"{frames}.every(f => {{ f.scrollLeft = 9999; const end = f.querySelector('tr :last-child'); "
        "return end.getBoundingClientRect().right <= f.getBoundingClientRect().right + 1; })"
    )
    seen.context.close()


def test_what_needs_action_is_read_on_a_phone_without_scrolling_sideways(browser: Any, report: Path) -> None:
    seen = _Seen(browser, report, viewport={"width": 320, "height": 900}).drawn()
    right = seen.page.evaluate(
        "Math.max(...[...document.querySelectorAll('#page-one td.text')].map(c => c.getBoundingClientRect().right))"
    )
    assert 0 < right <= 320
    seen.context.close()


def test_on_paper_no_heading_may_end_a_page_and_no_row_may_be_cut(browser: Any, report: Path) -> None:
    seen = _Seen(browser, report).drawn()
    seen.page.emulate_media(media="print")
    for chosen in ("h2", "h3", ".kicker", "thead", "caption", "summary", "figcaption"):
        places = f"[...document.querySelectorAll('main > section {chosen}')]"
        assert seen.page.evaluate(f"{places}.length") > 0
        assert seen.page.evaluate(f"{places}.every(e => getComputedStyle(e).breakAfter === 'avoid')"), chosen
    assert seen.page.evaluate(
        "[...document.querySelectorAll('tr')].every(e => getComputedStyle(e).breakInside === 'avoid')"
    )
    assert (
        seen.page.evaluate("getComputedStyle(document.querySelector('thead')).display")
        == "table-header-group"
    )
    seen.context.close()


def test_on_paper_the_drawings_are_light_and_fit_between_the_margins(
    browser: Any, report: Path, tmp_path: Path
) -> None:
    seen = _Seen(browser, report, color_scheme="dark", viewport={"width": 1600, "height": 900}).drawn()
    seen.page.emulate_media(media="print", color_scheme="dark")
    # 174 mm at 96 dots per inch.
    paper = 174 / 25.4 * 96
    seen.until("document.querySelector('.plot .main-svg').getBoundingClientRect().width < 660")
    widths = seen.page.evaluate(
        "[...document.querySelectorAll('.plot .main-svg:first-child')].map(s => s.getBoundingClientRect().width)"
    )
    assert max(widths) <= paper
    fill = seen.page.evaluate("getComputedStyle(document.querySelector('.plot .annotation-text')).fill")
    assert fill == "rgb(31, 42, 55)"
    assert _second_sheet(seen, tmp_path).startswith("Contents")
    seen.context.close()


def _second_sheet(seen: _Seen, folder: Path) -> str:
    """The words of the second sheet, as printed."""
    written = folder / "report.pdf"
    seen.page.pdf(path=str(written), prefer_css_page_size=True, print_background=True)
    assert written.read_bytes().startswith(b"%PDF")
    told = ["pdftotext", "-f", "2", "-l", "2", str(written), "-"]
    return subprocess.run(told, check=True, capture_output=True, text=True).stdout


def test_page_one_is_one_sheet_with_the_last_audit_and_a_plan_beside_it_too(
    browser: Any, tmp_path: Path
) -> None:
    assert main(["demo", "--quarters", "2", "--out", str(tmp_path / "demo")]) == 0
    (latest,) = sorted((tmp_path / "demo").glob("*/internal/report.html"))[-1:]
    seen = _Seen(browser, latest).drawn()
    assert seen.page.locator(".since").count() > 2
    assert seen.page.locator(".decisions li").count() > 2
    assert _second_sheet(seen, tmp_path).startswith("Contents")
    # What must be read is no smaller than the smallest print of a leaflet.
    seen.page.emulate_media(media="print")
    smallest = seen.page.evaluate(
        "Math.min(...[...document.querySelectorAll('#page-one p, #page-one li, #page-one td')]"
        ".filter(e => !e.closest('.scale') && !e.matches('.scale'))"
        ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
    )
    assert smallest * 72 / 96 >= 6
    seen.context.close()


def test_a_picture_of_the_page_is_not_empty(browser: Any, report: Path) -> None:
    seen = _Seen(browser, report, viewport={"width": 800, "height": 600}).drawn()
    picture = seen.page.locator("#funnel .plots").screenshot()
    width, height = struct.unpack(">II", picture[16:24])
    assert width > 400
    assert height > 300
    assert len(picture) > 10_000
    seen.context.close()


def test_hostile_text_runs_nothing(browser: Any, hostile_results: AuditResults, tmp_path: Path) -> None:
    path = tmp_path / "hostile.html"
    path.write_text(render_internal(hostile_results), encoding="utf-8")
    seen = _Seen(browser, path).drawn()
    assert seen.page.evaluate("window.hacked === undefined")
    assert seen.page.locator("img").count() == 0
    assert seen.said == []
    assert seen.asked == [path.as_uri()]
    seen.context.close()
