"""The page of a check in a real browser: opened from a file, without a network and without scripts."""

from pathlib import Path
from typing import Any

import pytest

from audit.check import check_results
from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.settings import read_settings
from reports import write_check
from synthetic_data.demo import write_demo

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def check(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The check of the invented service as a file."""
    folder = tmp_path_factory.mktemp("check")
    log, settings_file = write_demo(folder)[:2]
    settings = read_settings(settings_file)
    visits = load_visits([log], settings)
    return write_check(
        check_results(visits, derive_cohort(visits, settings), settings), folder / "check.html"
    )


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 768, 1440])
def test_at_every_width_nothing_but_a_map_scrolls_sideways(
    opened: Any, browser: Any, check: Path, width: int, scheme: str
) -> None:
    size = {"width": width, "height": 900}
    with opened(browser, check, viewport=size, color_scheme=scheme, java_script_enabled=False) as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        wide = page.evaluate(
            "[...document.querySelectorAll('.scroll')].filter(f => f.clientWidth && f.scrollWidth > f.clientWidth)"
            ".filter(f => !f.querySelector('.map') && !f.closest('details'))"
            ".map(f => f.querySelector('caption').textContent)"
        )
        assert wide == []


def test_the_style_is_let_through_and_shades_the_cells(opened: Any, browser: Any, check: Path) -> None:
    with opened(browser, check) as page:
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        shades = [
            page.evaluate(f"getComputedStyle(document.querySelector('.map .m{number}')).backgroundColor")
            for number in range(1, 5)
        ]
    assert paper == "rgb(251, 250, 246)"
    assert len({paper, *shades}) == 5


def test_on_a_phone_the_map_keeps_its_field_names_in_sight(opened: Any, browser: Any, check: Path) -> None:
    with opened(browser, check, viewport={"width": 320, "height": 900}) as page:
        frame = "document.querySelector('#missing-by-quarter .scroll')"
        assert page.evaluate(f"{frame}.scrollWidth > {frame}.clientWidth && {frame}.tabIndex === 0")
        page.evaluate(f"{frame}.scrollLeft = 400")
        name = f"{frame}.querySelector('tbody tr:nth-child(2) th').getBoundingClientRect()"
        assert page.evaluate(f"{name}.left >= 0 && {name}.right < 200")
        page.evaluate(f"{frame}.scrollLeft = 9999")
        last = f"{frame}.querySelector('tbody tr:nth-child(2) td:last-child').getBoundingClientRect()"
        assert page.evaluate(f"{last}.right <= 320")


def test_on_paper_each_part_of_a_map_is_whole_under_its_heading_light_and_between_the_margins(
    opened: Any, browser: Any, check: Path, tmp_path: Path
) -> None:
    # 174 mm at 96 dots per inch, between margins of 18 mm.
    paper = round(174 / 25.4 * 96)
    size = {"width": paper, "height": 980}
    with opened(browser, check, viewport=size, color_scheme="dark") as page:
        page.emulate_media(media="print", color_scheme="dark")
        maps = "[...document.querySelectorAll('.map')]"
        assert page.evaluate(f"{maps}.length") == 2
        assert page.evaluate(f"Math.max(...{maps}.map(m => m.getBoundingClientRect().right))") <= paper
        # A page of A4 has 261 mm between its margins. A map may go on to the next; its parts and its heading do not
        # break, and the heading is there again.
        parts = "[...document.querySelectorAll('.map thead, .map tbody')]"
        assert page.evaluate(f"Math.max(...{parts}.map(part => part.offsetHeight))") < 261 / 25.4 * 96 / 2
        assert page.evaluate(
            "[...document.querySelectorAll('.map tbody')]"
            ".every(part => getComputedStyle(part).breakInside === 'avoid')"
        )
        head = "getComputedStyle(document.querySelector('.map thead')).display"
        assert page.evaluate(head) == "table-header-group"
        assert page.evaluate("getComputedStyle(document.body).color") == "rgb(31, 42, 55)"
        written = tmp_path / "check.pdf"
        page.pdf(path=str(written), prefer_css_page_size=True)
        assert written.read_bytes().startswith(b"%PDF")
