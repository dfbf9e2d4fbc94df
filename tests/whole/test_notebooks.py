"""The notebooks run from top to bottom, hold no output and no path, and define nothing that others could need."""

import ast
import asyncio
import csv
import re
from collections import Counter
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbclient import NotebookClient

from synthetic_data.demo import write_demo

NOTEBOOKS = sorted((Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


def notebook(path: Path) -> Any:
    return nbformat.reads(path.read_text(encoding="utf-8"), as_version=4)  # type: ignore[no-untyped-call]


def code_of(path: Path) -> list[Any]:
    return [cell for cell in notebook(path).cells if cell.cell_type == "code"]


def test_there_is_a_notebook() -> None:
    assert [path.name for path in NOTEBOOKS] == ["explore_the_demo.ipynb"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_holds_no_output_and_no_path_of_a_machine(path: Path) -> None:
    assert all(not cell.outputs and cell.execution_count is None for cell in code_of(path))
    assert not re.search(
        r"(?<![\w.])/(?:home|root|tmp|Users|work)\b|[A-Z]:\\\\", path.read_text(encoding="utf-8")
    )


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_begins_with_its_parameters_and_defines_nothing(path: Path) -> None:
    first, *others = [ast.parse(cell.source) for cell in code_of(path)]
    assert all(isinstance(line, ast.Assign) for line in first.body)
    defined = [
        node
        for cell in others
        for node in ast.walk(cell)
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.Lambda)
    ]
    assert defined == []


@pytest.fixture(scope="module")
def explored(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The demonstration's notebook after it ran."""
    (path,) = NOTEBOOKS
    run = notebook(path)
    folder = tmp_path_factory.mktemp("notebook")
    client = NotebookClient(
        run, timeout=120, kernel_name="python3", resources={"metadata": {"path": str(folder)}}
    )
    asyncio.run(client.async_execute())
    return run


def shown(run: Any) -> str:
    """The plain text of everything the cells show."""
    return "\n".join(
        output.data.get("text/plain", "")
        for cell in run.cells
        if cell.cell_type == "code"
        for output in cell.outputs
        if output.output_type == "execute_result"
    )


def test_the_notebook_tells_the_failed_insertions_of_the_quarter(explored: Any, tmp_path: Path) -> None:
    # Counted by hand from the clinic's own words: one row a visit, whoever finished it; a taken-over visit
    # that ended with a device is no failed visit.
    log, _ = write_demo(tmp_path)
    with log.open(encoding="utf-8", newline="") as file:
        rows = {tuple(row.items()) for row in csv.DictReader(file)}
    visits = [dict(row) for row in rows if re.search(r"/0?[789]/2026$", dict(row)["Date seen"])]
    results = Counter(row["Result"] for row in visits)
    failed = results["Could not fit"] + results["Asked to stop"]
    tried = failed + results["Coil fitted"]
    assert f"{failed} of {tried} insertion visits in 2026-Q3 failed" in shown(explored)
    assert (failed, tried) == (20, 374)


def test_the_notebook_draws_its_four_figures_without_a_word_of_warning(explored: Any) -> None:
    outputs = [output for cell in explored.cells if cell.cell_type == "code" for output in cell.outputs]
    drawn = [output for output in outputs if "application/vnd.plotly.v1+json" in output.get("data", {})]
    assert len(drawn) == 4
    assert all(output["data"]["application/vnd.plotly.v1+json"]["data"] for output in drawn)
    assert [output for output in outputs if output.output_type == "stream" and output.name == "stderr"] == []
