"""Results to print: the invented service's whole audit once, and small ones made by hand."""

import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from audit.ingest.load import load_visits
from audit.records import AuditResults, Period, SourceFile
from audit.run import run_audit
from audit.settings import AuditSettings, read_settings
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
