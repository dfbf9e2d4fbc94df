"""The summary for women in a real browser: opened from a file, on a phone, in the dark and on paper."""

import struct
import subprocess
from pathlib import Path
from typing import Any

import pytest

from audit.records import AuditResults
from reports.patient_page import render_patient

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def summary(demo_results: AuditResults, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The summary of the invented service as a file."""
    path = tmp_path_factory.mktemp("patient") / "summary.html"
    path.write_text(render_patient(demo_results), encoding="utf-8")
    return path


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 768, 1440])
def test_at_every_width_nothing_scrolls_sideways_and_no_picture_is_cut(
    opened: Any, browser: Any, summary: Path, width: int, scheme: str
) -> None:
    size = {"width": width, "height": 900}
    with opened(browser, summary, viewport=size, color_scheme=scheme, java_script_enabled=False) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        rights = page.evaluate(
            "[...document.querySelectorAll('.icons')].map(i => i.getBoundingClientRect().right)"
        )
        assert len(rights) == 3
        assert max(rights) <= width


def test_on_a_phone_the_words_stand_below_the_picture_and_on_a_desk_beside_it(
    opened: Any, browser: Any, summary: Path
) -> None:
    below = "document.querySelector('.parts').getBoundingClientRect().top"
    bottom = "document.querySelector('.icons').getBoundingClientRect().bottom"
    for width, stacked in ((320, True), (1440, False)):
        with opened(browser, summary, viewport={"width": width, "height": 900}) as page:
            assert page.evaluate(f"{below} >= {bottom}") is stacked


def test_type_is_large(opened: Any, browser: Any, summary: Path) -> None:
    with opened(browser, summary, viewport={"width": 1440, "height": 900}) as page:
        sizes = page.evaluate(
            "[...document.querySelectorAll('.question p:not(.counted), .parts li, #help li, #rare p')]"
            ".map(e => parseFloat(getComputedStyle(e).fontSize))"
        )
        assert min(sizes) >= 18


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_shapes_stand_out_from_the_paper(opened: Any, browser: Any, summary: Path, scheme: str) -> None:
    def luminance(colour: str) -> float:
        """Relative luminance as the Web Content Accessibility Guidelines 2.2 define it."""
        channels = [int(part) / 255 for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    with opened(browser, summary, color_scheme=scheme) as page:
        paper = luminance(page.evaluate("getComputedStyle(document.body).backgroundColor"))
        for shape, paint in (("full", "fill"), ("mark-out", "fill"), ("line", "stroke"), ("cross", "stroke")):
            own = luminance(page.evaluate(f"getComputedStyle(document.querySelector('.{shape}')).{paint}"))
            low, high = sorted((paper, own))
            assert (high + 0.05) / (low + 0.05) >= 3


def test_the_first_tab_leads_to_when_to_get_help(opened: Any, browser: Any, summary: Path) -> None:
    with opened(browser, summary) as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "help"


def test_a_screen_reader_is_told_what_each_picture_shows(opened: Any, browser: Any, summary: Path) -> None:
    with opened(browser, summary) as page:
        pictures = page.get_by_role("img").all()
        labels = [picture.get_attribute("aria-label") for picture in pictures]
        assert len(labels) == 3
        assert all(
            label.startswith("A picture of 100 shapes. ") and label.count(":") >= 3 for label in labels
        )


def test_it_prints_on_two_sheets_each_marked_as_a_draft_with_no_picture_cut(
    opened: Any, browser: Any, summary: Path, tmp_path: Path
) -> None:
    with opened(browser, summary, color_scheme="dark") as page:
        page.emulate_media(media="print", color_scheme="dark")
        assert page.evaluate("getComputedStyle(document.body).color") == "rgb(31, 42, 55)"
        assert page.evaluate(
            "[...document.querySelectorAll('.question')].every(q => getComputedStyle(q).breakInside === 'avoid')"
        )
        printed = tmp_path / "summary.pdf"
        page.pdf(path=str(printed), prefer_css_page_size=True)
    told = subprocess.run(
        ["pdftotext", "-layout", str(printed), "-"], capture_output=True, text=True, check=True
    ).stdout
    sheets = told.rstrip("\f").split("\f")
    assert len(sheets) == 2
    for number, sheet in enumerate(sheets, start=1):
        foot = "".join(sheet.rstrip().splitlines()[-1].split())
        assert foot == f"Internaldraft:notforrelease{number}/2"
    assert "When to get help at once" in sheets[0]
    assert "How we counted" in sheets[1]


def test_a_picture_of_the_page_is_not_empty(opened: Any, browser: Any, summary: Path) -> None:
    with opened(browser, summary, viewport={"width": 768, "height": 900}) as page:
        shot = page.screenshot(full_page=True)
    width, height = struct.unpack(">II", shot[16:24])
    assert (width, height > 2000) == (768, True)
    assert len(shot) > 50_000
