"""Results to print: the invented service's whole audit once, and small ones made by hand."""

import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.benchmarks.comparison import compare_with_benchmarks
from audit.ingest.load import load_visits
from audit.records import AuditResults, Period, SourceFile
from audit.run import run_audit
from audit.settings import AuditSettings, read_settings
from audit.statistics.summaries import with_proportions
from synthetic_data.demo import DEMO_PERIOD, write_demo

MakeResults = Callable[..., AuditResults]
_PLACES = ("chromium", "chromium-browser", "google-chrome", "chrome")
_OFFLINE = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
NASTY = "</script><script>window.hacked=1</script><img src=x onerror=hacked()>{{7*7}}{0}%{x}\"'&"


@pytest.fixture(scope="session")
def demo_results(tmp_path_factory: pytest.TempPathFactory) -> AuditResults:
    """The audit of the invented service."""
    log, settings_file = write_demo(tmp_path_factory.mktemp("demo"))[:2]
    settings = read_settings(settings_file)
    return run_audit(load_visits([log], settings), settings, period=DEMO_PERIOD)


@pytest.fixture(scope="session")
def make_results() -> MakeResults:
    """A function that makes results by hand."""

    def make(tables: Mapping[str, pd.DataFrame] | None = None, **changes: object) -> AuditResults:
        fixed: dict[str, object] = {
            "service": "A service",
            "period": Period("2026-Q3", pd.Timestamp("2026-07-01"), pd.Timestamp("2026-09-30")),
            "data_to": pd.Timestamp("2026-10-14"),
            "settings": AuditSettings(),
            "tables": tables or {},
            "sources": (SourceFile("log.csv", "00", 1, "utf-8", ",", 1),),
            "versions": {"python": "3"},
        }
        return AuditResults(**(fixed | changes))  # type: ignore[arg-type]

    return make


@pytest.fixture(scope="session")
def counted_results(make_results: MakeResults) -> MakeResults:
    """A function that makes the results behind the summary for women from counts, studies included.

    ``fitted``: at the first visit, later, not, unknown. ``faint``: felt faint, did not, unknown; ``passed_out`` of
    these visits. ``year``: still using, came out, stopped, unknown.
    """
    published = compare_with_benchmarks(make_results())

    def row(events: int, n: int, unknown: int, floor: float = 0.0, **labels: object) -> pd.DataFrame:
        counts = pd.DataFrame([{"by": "overall", **labels, "events": events, "n": n, "n_unknown": unknown}])
        return with_proportions(counts, recorded_floor=floor)

    def followed(events: int, n: int, unknown: int, cause: str) -> pd.DataFrame:
        labels = {"placement_kind": "first", "cause": cause}
        table = row(events, n, unknown, **labels)
        for rule, of in (("last_known", n), ("assumed_in_place", n + unknown)):
            read = row(events, of, 0)
            names = {"": "proportion", "_lower": "ci_lower", "_upper": "ci_upper"}
            table = table.assign(**{f"{rule}{side}": read[name] for side, name in names.items()})
        return table

    def make(
        *,
        fitted: tuple[int, int, int, int] = (150, 20, 10, 0),
        faint: tuple[int, int, int] = (20, 150, 10),
        passed_out: int = 0,
        year: tuple[int, int, int, int] = (120, 12, 28, 40),
        gate: str = "last_known_leads",
        **changes: object,
    ) -> AuditResults:
        window = {"window": "rolling_12_months"}
        ways = zip(("first_visit", "later", "not_fitted"), fitted[:3], strict=True)
        using, out, stopped, unknown = year
        known, seen = using + out + stopped, sum(faint[:2])
        reactions = {"vasovagal_any": (faint[0], seen, faint[2]), "syncope": (passed_out, seen, 0)}
        first_year = [
            followed(out + stopped, known, unknown, "any"),
            followed(out, known, unknown, "expulsion"),
        ]
        tables = {
            "fitted_in_the_end": pd.concat(
                [row(n, sum(fitted[:3]), fitted[3], 0.8, **window, definition=way) for way, n in ways]
            ),
            "vasovagal_by_parity": pd.concat(
                [row(*counts, 0.8, **window, definition=name) for name, counts in reactions.items()]
            ),
            "first_year_endings": pd.concat(first_year),
            "follow_up_bounds": pd.concat(first_year),
            "benchmark_comparison": published,
        }
        return make_results(tables, gate=gate, **changes)

    return make


@pytest.fixture(scope="session")
def hostile_results(demo_results: AuditResults) -> AuditResults:
    """Results in which every text of the log tries to become markup or script."""

    def poison(table: pd.DataFrame) -> pd.DataFrame:
        changed = table.copy()
        for name in (
            "visit_ref",
            "message",
            "reason",
            "action",
            "title",
            "population",
            "citation",
            "setting",
        ):
            if name in changed:
                changed[name] = changed[name].astype(object).where(changed[name] == "", NASTY)
        if {"by", "stratum"} <= set(changed.columns):
            free = changed["by"].isin(["site_ref", "clinician_ref"])
            changed["stratum"] = changed["stratum"].where(~free, changed["stratum"].astype(str) + NASTY)
        if "site_ref" in changed:
            changed["site_ref"] = NASTY
        return changed

    tables = {name: poison(table) for name, table in demo_results.tables.items()}
    return replace(demo_results, service=NASTY, tables=tables)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """A Chromium; where there is none, a failure in continuous integration and a skip elsewhere."""
    from playwright.sync_api import sync_playwright

    found = next((path for name in _PLACES if (path := shutil.which(name))), None)
    if found is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no Chromium: these tests must run in continuous integration")
        pytest.skip("no Chromium on this machine")
    with sync_playwright() as tool:
        opened = tool.chromium.launch(executable_path=found, args=_OFFLINE)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def opened() -> Callable[..., Any]:
    """A function that opens a page of a browser, for as long as a test looks at it."""
    return _opened


@contextmanager
def _opened(browser: Any, path: Path, **options: Any) -> Iterator[Any]:
    """The page, which must ask for nothing and say nothing on the console."""
    context = browser.new_context(**options)
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    yield page
    assert said == []
    assert asked == [path.as_uri()]
    context.close()
