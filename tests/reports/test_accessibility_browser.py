"""Every edition under axe-core, the open rules for accessible pages, in a real browser."""

from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe

from audit.records import AuditResults
from reports import EDITIONS
from reports.check_page import render_check
from reports.editions import pages_of

pytestmark = pytest.mark.browser

# A shadow at the edge of a wide table is drawn as a gradient, under which axe cannot tell a contrast.
_WITHOUT_SHADOWS = ".scroll { background: none !important; }"


def _pages(results: AuditResults) -> dict[str, str]:
    """One page of each edition, the longest of them, and the check of the log."""
    longest = {name: max(pages_of(name, results).values(), key=len) for name in EDITIONS}
    return longest | {"check": render_check(results)}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", [*EDITIONS, "check"])
def test_axe_finds_nothing_against_a_page(
    browser: Any, demo_results: AuditResults, tmp_path: Path, name: str, scheme: str
) -> None:
    path = tmp_path / "page.html"
    path.write_text(_pages(demo_results)[name], encoding="utf-8")
    # The page's own policy lets no style in from outside, so it is set aside for this look alone.
    context = browser.new_context(
        color_scheme=scheme, bypass_csp=True, viewport={"width": 1280, "height": 900}
    )
    page = context.new_page()
    page.goto(path.as_uri())
    if page.query_selector("#drawing-library"):
        page.wait_for_function("document.documentElement.dataset.drawn === 'yes'")
    page.add_style_tag(content=_WITHOUT_SHADOWS)
    page.evaluate("document.querySelectorAll('details').forEach(folded => { folded.open = true; })")
    found = Axe().run(page).response
    context.close()
    told = [f"{rule['id']}: {rule['nodes'][0]['html'][:120]}" for rule in found["violations"]]
    assert told == []
    assert len(found["passes"]) > 20
    assert [rule["id"] for rule in found["incomplete"] if not _is_one_figure(rule)] == []


def _is_one_figure(rule: dict[str, Any]) -> bool:
    """Whether all that axe could not judge is the contrast of labels of a single figure, as a nought on an axis.

    Such a label has the colour of the others on its axis, which were judged.
    """
    checks = [check for node in rule["nodes"] for check in node["any"]]
    return all((check["data"] or {}).get("messageKey") == "shortTextContent" for check in checks)
