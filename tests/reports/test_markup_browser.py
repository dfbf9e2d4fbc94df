"""A log whose texts try to become markup or script, audited and opened in a real browser.

The payloads are of the kinds in the OWASP cheat sheet on filter evasion and the HTML standard's own parsing rules:
elements that load, handlers, links, broken comments, templates, escapes, direction marks.
"""

import csv
import itertools
from pathlib import Path
from typing import Any

import pytest

from audit.cli import main
from synthetic_data.demo import DEMO_PERIOD, write_demo

pytestmark = pytest.mark.browser
PAYLOADS = (
    "<script>window.hacked=1</script>",
    "</script><script>window.hacked=1</script>",
    "</style><script>window.hacked=1</script>",
    "</title><script>window.hacked=1</script>",
    "</textarea><script>window.hacked=1</script>",
    "</noscript><script>window.hacked=1</script>",
    "<img src=x onerror=window.hacked=1>",
    "<img/src=x/onerror=window.hacked=1>",
    "<svg onload=window.hacked=1>",
    "<svg><script>window.hacked=1</script></svg>",
    "<iframe srcdoc='<script>parent.hacked=1</script>'>",
    "<object data=x>",
    "<embed src=x>",
    "<body onload=window.hacked=1>",
    "<details open ontoggle=window.hacked=1>",
    "<input autofocus onfocus=window.hacked=1>",
    "<video><source onerror=window.hacked=1>",
    "<math><mtext></table><img src=x onerror=window.hacked=1>",
    "<a href=javascript:window.hacked=1>x</a>",
    "<form action=x><button>x",
    "<base href=x>",
    "<meta http-equiv=refresh content=0>",
    "<link rel=stylesheet href=x>",
    "<!--><script>window.hacked=1</script>",
    "<![CDATA[<script>window.hacked=1</script>]]>",
    '" onmouseover=window.hacked=1 x="',
    "' autofocus onfocus=window.hacked=1 x='",
    "&lt;script&gt;window.hacked=1&lt;/script&gt;",
    "{{ 7 * 7 }}{% raw %}{0}%s${7*7}",
    "\u202e<b onclick=window.hacked=1>\u2028</b>",
)
# Nothing a log says may make an element that loads, asks or runs.
_MADE_BY_NONE = (
    "img, iframe, object, embed, form, base, link, video, details[ontoggle], [onload], [onerror], [onfocus]"
)
_CODES = ("Fitter", "Finished by", "Supervised by", "Clinic")
_LEFT_ALONE = ("Client no", "Date seen", "Visit type", "Date asked", "Happened on", "Conceived about")


def _spoilt(folder: Path, a_field: int) -> list[str]:
    """The command that audits the invented log with a payload in every code and so many in each other field."""
    log, settings = write_demo(folder)[:2]
    with log.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    turn = itertools.cycle(PAYLOADS)
    # Each code becomes two, so that every payload has its own.
    instead: dict[str, str] = {}
    for number, row in enumerate(rows):
        for name in _CODES:
            code = f"{row[name]}{number % 2}"
            if row[name]:
                instead[code] = instead.get(code) or code + next(turn)
                row[name] = instead[code]
    assert len(instead) > len(PAYLOADS)
    fields = [name for name in rows[0] if name not in (*_CODES, *_LEFT_ALONE)]
    places = [(name, next(turn)) for name in fields for _ in range(a_field)]
    # Far apart, so that no woman's whole record is spoilt.
    for number, (name, payload) in enumerate(places):
        rows[number * len(rows) // len(places)][name] = payload
    with log.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    reading = ["run", log, "--settings", settings, "--allow-set-aside", "--quiet"]
    return [*map(str, reading), "--period", DEMO_PERIOD, "--out", str(folder / "out")]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the audit: a field with more than one such text is refused as free text."""
    folder = tmp_path_factory.mktemp("hostile")
    assert main(_spoilt(folder, 1)) == 0
    return folder / "out"


def test_a_column_of_markup_is_refused_and_not_echoed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(_spoilt(tmp_path, len(PAYLOADS))) == 3
    said = "".join(capsys.readouterr())
    assert "free text" in said
    assert not any(payload in said for payload in PAYLOADS)


def test_nothing_a_log_says_runs_asks_or_becomes_an_element(browser: Any, written: Path) -> None:
    pages = sorted(written.rglob("*.html"))
    assert written / "internal" / "report.html" in pages
    for path in pages:
        context = browser.new_context()
        page = context.new_page()
        said: list[str] = []
        asked: list[str] = []
        page.on("console", lambda message, said=said: said.append(message.text))
        page.on("pageerror", lambda error, said=said: said.append(str(error)))
        page.on("dialog", lambda dialog, said=said: (said.append(dialog.message), dialog.dismiss()))
        page.on("request", lambda request, asked=asked: asked.append(request.url))
        page.goto(path.as_uri())
        _settle(page)
        assert page.evaluate("window.hacked === undefined")
        assert page.locator(_MADE_BY_NONE).count() == 0
        assert page.locator("a[href^='javascript:']").count() == 0
        assert (said, asked) == ([], [path.as_uri()])
        context.close()


def _settle(page: Any) -> None:
    """Wait until everything is drawn, where anything is to draw; asked from outside, as the page's policy wants."""
    page.evaluate("document.querySelectorAll('details').forEach(folded => { folded.open = true; })")
    for _ in range(200):
        if page.evaluate(
            "!document.querySelector('#drawing-library') || document.documentElement.dataset.drawn === 'yes'"
        ):
            return
        page.wait_for_timeout(50)
    pytest.fail("the drawings never came")


def test_the_codes_are_read_as_they_were_written(browser: Any, written: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((written / "internal" / "report.html").as_uri())
    text = page.evaluate("document.body.textContent")
    missing = [payload for payload in PAYLOADS if payload.strip("\u202e").split("\u2028")[0] not in text]
    assert not {"\u202e", "\u2028"} & set(text)
    assert missing == []
    context.close()
