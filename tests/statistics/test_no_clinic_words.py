"""The statistics know no clinic word, and load nothing slow until it is needed."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import audit.statistics

FOLDER = Path(audit.statistics.__file__).parent
MODULES = sorted(FOLDER.glob("*.py"))
CLINIC_WORDS = (
    "insertion|inserted|wom[ae]n|expulsion|expelled|vasovagal|syncope|clinic|clinician|device|iud|parity|parous"
    "|patient|removal|removed|placement|attempt|visit|perforation|pregnan|contracept|continuation|follow_?up"
    "|operator|nurse|doctor|birth|caesarean|uter"
)
SLOW = {"scipy.stats", "scipy.optimize", "lifelines", "statsmodels", "plotly"}


def names_imported_at_the_top(tree):
    """Return the modules a source file imports when it is loaded."""
    for node in tree.body:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_the_modules_are_found():
    assert {"proportions.py", "survival.py", "competing.py", "rates.py"} <= {path.name for path in MODULES}


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_a_module_holds_no_clinic_word(path):
    found = re.findall(rf"\b(?:{CLINIC_WORDS})\w*", path.read_text(encoding="utf-8"), flags=re.IGNORECASE)
    assert found == []


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_a_module_imports_nothing_slow_at_the_top(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    roots = {
        name for name in names_imported_at_the_top(tree) for slow in SLOW if f"{name}.".startswith(f"{slow}.")
    }
    assert roots == set()


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_a_module_imports_only_the_statistics_and_the_errors_of_the_package(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    own = {name for name in names_imported_at_the_top(tree) if name.split(".")[0] == "audit"}
    assert all(name.startswith(("audit.statistics", "audit.errors")) for name in own)


def test_loading_every_module_loads_nothing_slow():
    names = [f"audit.statistics.{path.stem}" for path in MODULES if path.stem != "__init__"]
    code = f"import importlib, sys\nfor name in {names!r}: importlib.import_module(name)\nprint(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parents[1]
    )
    assert SLOW.isdisjoint(done.stdout.split())
    assert "scipy.special" in done.stdout.split()
