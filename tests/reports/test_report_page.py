"""The page as a file: well formed, self-contained, the same every time, and safe."""

import base64
import gzip
import hashlib
import json
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files

import pytest

from audit.records import AuditResults
from reports.editions import render_internal
from reports.page import packed_library

VOID = {"meta", "link", "br", "hr", "img", "input"}


class _Page(HTMLParser):
    """Collects what the checks need, and that every element is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.levels: list[int] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self.policy = ""
        self.broken: list[str] = []
        self.figures: list[int] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.tags.append((tag, named))
        self.ids.extend([str(named["id"])] if "id" in named else [])
        self.links.extend([str(named["href"])] if "href" in named else [])
        self.levels.extend([int(tag[1])] if re.fullmatch("h[1-6]", tag) else [])
        self.policy = str(named["content"]) if named.get("http-equiv") else self.policy
        if tag == "figure":
            self.figures.append(0)
        if tag == "table" and "figure" in self.open:
            self.figures[-1] += 1
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.broken.append(tag)

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "script" and "type" not in self.tags[-1][1]:
            self.scripts.append(data)


def _read(text: str) -> _Page:
    """The parsed page."""
    page = _Page()
    page.feed(text)
    return page


@pytest.fixture(scope="module")
def text(demo_results: AuditResults) -> str:
    """The internal edition of the invented service."""
    return render_internal(demo_results)


@pytest.fixture(scope="module")
def page(text: str) -> _Page:
    """The same, parsed."""
    return _read(text)


def test_every_element_is_closed_in_order(page: _Page) -> None:
    assert page.broken == []
    assert page.open == []


def test_one_first_heading_and_no_level_is_skipped(page: _Page) -> None:
    assert page.levels.count(1) == 1
    assert page.levels[0] == 1
    assert all(after - before <= 1 for before, after in zip(page.levels, page.levels[1:], strict=False))


def test_ids_are_unique_and_every_link_inside_arrives(page: _Page) -> None:
    assert len(set(page.ids)) == len(page.ids)
    assert page.links
    assert all(link.startswith("#") and link[1:] in page.ids for link in page.links)


def test_every_heading_of_a_table_has_a_scope(page: _Page) -> None:
    heads = [named for tag, named in page.tags if tag == "th"]
    assert heads
    assert all(named.get("scope") in ("row", "rowgroup", "col") for named in heads)


def test_every_table_has_a_caption_and_every_figure_a_table(page: _Page) -> None:
    tags = [tag for tag, _ in page.tags]
    assert tags.count("caption") == tags.count("table")
    assert page.figures
    assert all(tables == 1 for tables in page.figures)


def test_every_drawing_has_a_sentence_and_its_data(page: _Page) -> None:
    plots = [named["id"] for _, named in page.tags if named.get("class") == "plot"]
    assert plots
    assert all(f"{plot}-data" in page.ids for plot in plots)
    assert all(named.get("aria-label") for tag, named in page.tags if named.get("role") == "img")


def test_the_page_has_language_landmarks_and_a_way_past_the_head(page: _Page) -> None:
    tags = [tag for tag, _ in page.tags]
    assert ("html", {"lang": "en-GB"}) in page.tags
    assert [tags.count(tag) for tag in ("main", "nav", "header", "footer", "title")] == [1] * 5
    assert page.links[0] == "#page-one"


def test_nothing_is_fetched_from_anywhere(page: _Page) -> None:
    assert not [named for _, named in page.tags if "src" in named or "style" in named or "srcset" in named]
    assert not [name for _, named in page.tags for name in named if name.startswith("on")]
    assert "link" not in [tag for tag, _ in page.tags]


def test_the_policy_lets_only_the_loader_and_the_library_run(page: _Page, text: str) -> None:
    allowed = re.search(r"script-src ([^;]*);", page.policy)
    assert allowed is not None
    (loader,) = page.scripts
    packed = re.search(r'id="drawing-library">([^<]*)</script>', text)
    assert packed is not None
    library = gzip.decompress(base64.b64decode(packed.group(1)))
    hashes = [
        f"'sha256-{base64.b64encode(hashlib.sha256(script).digest()).decode()}'"
        for script in (loader.encode(), library)
    ]
    assert allowed.group(1).split() == hashes
    assert page.policy.startswith("default-src 'none';")
    assert "base-uri 'none'" in page.policy
    assert "form-action 'none'" in page.policy


def test_the_same_results_give_the_same_bytes(demo_results: AuditResults, text: str) -> None:
    packed_library.cache_clear()
    assert render_internal(demo_results) == text


def test_the_page_is_small_enough_to_send(text: str) -> None:
    assert len(text.encode()) < 1_500_000


def test_rendering_loads_neither_plotly_nor_statistics() -> None:
    code = (
        "import reports.editions, sys; "
        "print([name for name in ('plotly', 'scipy', 'statsmodels') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_page_says_that_it_is_not_for_release(text: str) -> None:
    assert text.count("Internal edition: not for release") >= 3


def test_the_data_of_a_drawing_is_json_that_cannot_leave_its_element(text: str) -> None:
    blocks = re.findall(r'<script type="application/json" id="([^"]+)">(.*?)</script>', text, flags=re.DOTALL)
    assert len(blocks) > 20
    for _, block in blocks:
        assert not re.search(r"[<>&]", block)
        json.loads(block)


def test_hostile_text_in_the_data_stays_text(hostile_results: AuditResults) -> None:
    text = render_internal(hostile_results)
    page = _read(text)
    assert page.broken == []
    assert len(page.scripts) == 1
    assert "img" not in [tag for tag, _ in page.tags]
    assert "hacked" in text
    assert "49" not in re.findall(r"onerror=hacked\(\)&gt;(\S{2})", text)
    # A drawing's labels read a little HTML, so in the JSON they must be escaped twice over.
    for block in re.findall(
        r'<script type="application/json" id="[^"]+">(.*?)</script>', text, flags=re.DOTALL
    ):
        assert "<" not in json.dumps(json.loads(block)).replace("<br>", "").replace("<extra></extra>", "")


def test_a_report_of_nothing_is_a_page_all_the_same(make_results) -> None:  # type: ignore[no-untyped-def]
    page = _read(render_internal(make_results()))
    assert page.broken == []
    assert page.levels.count(1) == 1


def test_input_files_are_numbered_and_never_named(demo_results: AuditResults) -> None:
    source = demo_results.sources[0]
    named = (
        replace(source, name="jane_doe_visits.csv"),
        replace(source, name="other.csv", rows=1, sha256="b" * 64),
    )
    text = render_internal(replace(demo_results, sources=named))
    assert "jane_doe" not in text
    assert "other.csv" not in text
    assert f"File 1 ({source.rows:,} rows, SHA-256 {source.sha256[:12]})" in text
    assert f"File 2 (1 row, SHA-256 {'b' * 12})" in text
    assert source.sha256 not in text


def test_the_drawing_library_is_the_published_one() -> None:
    # plotly-basic.min.js of the npm package plotly.js-basic-dist-min 4.1.1, MIT licence, as it was published.
    library = files("reports").joinpath("drawing_library")
    digest = hashlib.sha256(library.joinpath("plotly-basic.min.js").read_bytes()).hexdigest()
    assert digest == "99784e3abfb07b142a15e521a439e6d9addceadb3f79553fd24c72774f0649ba"
    assert "MIT" in library.joinpath("LICENSE").read_text(encoding="utf-8")
