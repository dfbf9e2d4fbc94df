"""The descriptor of the CSV files, held against an outside reader of such descriptors: the library frictionless.

Data Package standard, version 1: Tabular Data Package. https://specs.frictionlessdata.io/tabular-data-package/
"""

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import frictionless
import pandas as pd
import pytest

from audit.ingest.issued import read_issued
from audit.ingest.load import load_visits
from audit.records import AuditResults
from audit.run import run_audit
from audit.schema.result_columns import result_column
from reports.data_package import data_package_text
from reports.export import kind_of, table_text
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

ONE_ROW = "patient_ref,visit_date,visit_kind,insertion_outcome\nW1,2026-07-01,insertion,placed\n"


@pytest.fixture(scope="module")
def almost_empty(tmp_path_factory: pytest.TempPathFactory) -> AuditResults:
    """The audit of a log with one row of four columns."""
    log = tmp_path_factory.mktemp("one") / "visits.csv"
    log.write_text(ONE_ROW, encoding="utf-8")
    return run_audit(load_visits(log), period="2026-Q3")


@pytest.fixture(scope="module")
def with_stock_book(tmp_path_factory: pytest.TempPathFactory) -> AuditResults:
    """The audit of another invented log, with a stock book beside it."""
    folder = tmp_path_factory.mktemp("stock")
    generate_visits(replace(LARKFIELD, women=300), seed=8).to_csv(folder / "visits.csv", index=False)
    (folder / "issued.csv").write_text("site_ref,month,devices_issued\nMEADOW,2026-07,10\n", encoding="utf-8")
    log = load_visits(folder / "visits.csv")
    return run_audit(log, period="2026-Q3", issued=read_issued(folder / "issued.csv"))


def describe(results: AuditResults, folder: Path) -> Path:
    """Write the tables of an audit and their descriptor."""
    (folder / "tables").mkdir(parents=True)
    written = {f"tables/{name}.csv": table_text(table).encode() for name, table in results.tables.items()}
    for name, content in written.items():
        (folder / name).write_bytes(content)
    path = folder / "datapackage.json"
    path.write_text(data_package_text(results, written), encoding="utf-8")
    return path


def faults(descriptor: Path, **options: Any) -> list[list[object]]:
    """What the outside reader finds wrong: row, column, kind of error."""
    report = frictionless.validate(str(descriptor), **options)
    found: list[list[object]] = report.flatten(["rowNumber", "fieldName", "type"])
    return found


@pytest.fixture(scope="module")
def described(demo_results: AuditResults, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return describe(demo_results, tmp_path_factory.mktemp("described") / "out")


@pytest.fixture
def copied(described: Path, tmp_path: Path) -> Path:
    """A copy of the described tables that a test may spoil."""
    return Path(shutil.copytree(described.parent, tmp_path / "out")) / "datapackage.json"


def test_every_table_of_the_demo_is_as_its_descriptor_says(
    described: Path, demo_results: AuditResults
) -> None:
    package = frictionless.Package(str(described))
    assert package.profile == "tabular-data-package"
    assert {one.path for one in package.resources} == {f"tables/{name}.csv" for name in demo_results.tables}
    assert faults(described) == []


def test_every_table_of_an_almost_empty_audit_is_as_its_descriptor_says(
    almost_empty: AuditResults, tmp_path: Path
) -> None:
    assert sum(table.empty for table in almost_empty.tables.values()) > 3
    assert faults(describe(almost_empty, tmp_path / "out")) == []


def test_every_table_of_another_log_is_as_its_descriptor_says(
    with_stock_book: AuditResults, tmp_path: Path
) -> None:
    assert "case_ascertainment" in with_stock_book.tables
    assert faults(describe(with_stock_book, tmp_path / "out")) == []


def test_every_column_is_declared_and_is_of_the_kind_its_table_has(
    demo_results: AuditResults, almost_empty: AuditResults, with_stock_book: AuditResults
) -> None:
    for results in (demo_results, almost_empty, with_stock_book):
        for name, table in results.tables.items():
            for column in table.columns:
                declared = result_column(name, column, list(table.columns))
                assert declared is not None, (name, column)
                kinds = {"code": {"text"}, "number": {"number", "integer"}}.get(
                    declared.kind, {declared.kind}
                )
                assert table.empty or kind_of(table[column]) in kinds, (name, column)
                assert declared.meaning.endswith((".", "?")), (name, column)


def test_a_descriptor_says_what_a_column_means_in_which_unit_and_within_which_limits(described: Path) -> None:
    package = json.loads(described.read_text(encoding="utf-8"))
    (table,) = [one for one in package["resources"] if one["path"] == "tables/expulsion_incidence.csv"]
    fields = {field["name"]: field for field in table["schema"]["fields"]}
    assert fields["ci_lower"] == {
        "name": "ci_lower",
        "type": "number",
        "title": "CI lower",
        "description": "Lower 95% limit of incidence.",
        "unit": "proportion, 0 to 1",
        "constraints": {"minimum": 0, "maximum": 1},
    }
    assert fields["censoring"]["constraints"] == {"enum": ["last_known", "assumed_in_place"]}
    assert fields["days"]["unit"] == "days"
    assert table["schema"]["primaryKey"] == ["by", "stratum", "placement_kind", "censoring", "cause", "days"]
    assert table["title"] == "Expulsion"
    assert "Not for release" in package["description"]


@pytest.mark.parametrize(
    ("table", "column", "value", "error"),
    [
        ("failed_insertions", "proportion", "1.2", "constraint-error"),
        ("failed_insertions", "events", "2.5", "type-error"),
        ("failed_insertions", "window", "last year", "constraint-error"),
        ("outcome_known", "ci_upper", "-0.1", "constraint-error"),
        ("action_list", "date", "05/02/2024", "type-error"),
        ("missingness", "in_log", "yes", "type-error"),
        ("criteria", "better", "bigger", "constraint-error"),
    ],
)
def test_a_spoilt_cell_is_refused(copied: Path, table: str, column: str, value: str, error: str) -> None:
    path = copied.parent / "tables" / f"{table}.csv"
    cells = pd.read_csv(path, dtype=str, keep_default_na=False)
    cells.loc[1, column] = value
    cells.to_csv(path, index=False, lineterminator="\n")
    found = faults(copied, resource_name=table.replace("_", "-"))
    assert [3, column, error] in found


def test_a_changed_file_is_told_by_its_size_and_fingerprint(copied: Path) -> None:
    path = copied.parent / "tables" / "caseload.csv"
    path.write_text(path.read_text(encoding="utf-8") + "women,1,of ours\n", encoding="utf-8")
    kinds = {fault[2] for fault in faults(copied, resource_name="caseload")}
    assert {"hash-count", "byte-count"} <= kinds


def test_a_row_given_twice_breaks_the_key(copied: Path) -> None:
    path = copied.parent / "tables" / "caseload.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join([*lines, lines[1]]), encoding="utf-8")
    assert "primary-key" in {fault[2] for fault in faults(copied, resource_name="caseload")}
