"""What the code promises of itself: who imports whom, where formulas live, how long things are."""

import ast
import subprocess
import sys
import tokenize
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

import audit

ROOT = Path(__file__).parents[1]
PACKAGES = ("audit", "reports", "synthetic_data")
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
MEASURES = sorted((ROOT / "audit" / "measures").glob("*.py"))

# Each part of the package and the parts it may import besides itself.
MAY_IMPORT = {
    "errors": set(),
    "schema": {"errors"},
    "criteria": {"errors", "schema"},
    "settings": {"errors", "schema", "criteria"},
    "records": {"errors", "schema", "settings"},
    "period": {"errors", "records", "settings"},
    "period_curves": {"measures", "period", "records", "settings"},
    "cycle": {"errors", "schema", "settings", "records", "period", "statistics"},
    "ingest": {"errors", "schema", "settings", "records"},
    "cohort": {"errors", "schema", "settings", "records"},
    "tallies": {"errors", "schema", "settings", "records"},
    "statistics": {"errors"},
    "curves": {"schema", "statistics", "tallies"},
    "service_model": {"statistics", "tallies"},
    "measures": {
        *("errors", "schema", "settings", "records", "tallies", "statistics", "curves", "service_model"),
    },
    "benchmarks": {"errors", "schema", "settings", "records", "statistics"},
    "windows": {"records", "period", "tallies"},
    "placement_tables": {"settings", "records", "tallies", "measures", "windows"},
    "attempt_tables": {"settings", "records", "period", "tallies", "measures", "windows"},
    "clinician_tables": {"schema", "settings", "records", "period", "tallies", "measures", "windows"},
    "result_tables": {
        *("settings", "records", "period", "tallies", "measures", "windows", "attempt_tables"),
        *("placement_tables", "clinician_tables", "service_model"),
    },
    "criterion_tables": {"criteria", "schema", "settings", "records", "period", "measures", "windows"},
    "run": {
        *("settings", "records", "period", "period_curves", "cohort", "tallies", "measures"),
        *("benchmarks", "cycle", "result_tables", "windows", "criterion_tables", "many_tests"),
    },
    "many_tests": {"statistics", "windows"},
    "check": {"measures", "records", "settings"},
    "__main__": {"cli"},
}
# The command line joins everything and may import anything.
ANYTHING = {"cli", "commands", "demonstration", "writing"}
# What the two other packages may import of audit, besides its public names.
OF_AUDIT = {"reports": {"records", "schema", "settings", "errors"}, "synthetic_data": {"schema"}}


def named(path: Path) -> str:
    """The path from the root, as shown when a test fails."""
    return path.relative_to(ROOT).as_posix()


def parsed(path: Path) -> ast.Module:
    """The syntax tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(path: Path) -> Iterator[str]:
    """Every module that a module imports, whole names, at any depth of the code."""
    for node in ast.walk(parsed(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{named(path)} imports relatively"
            yield str(node.module)
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def part(path: Path) -> str:
    """The part of its package that a module belongs to."""
    return path.relative_to(ROOT).with_suffix("").parts[1]


def parts_of_audit(path: Path) -> set[str]:
    """The parts of audit that a module imports; public names come from audit itself and are no part."""
    names = [name.split(".") for name in imported(path)]
    return {name[1] for name in names if name[0] == "audit" and len(name) > 1} - set(audit.__all__)


@pytest.mark.parametrize("path", [path for path in MODULES if path.is_relative_to(ROOT / "audit")], ids=named)
def test_imports_in_audit_point_one_way(path: Path) -> None:
    own = part(path)
    if own in ANYTHING:
        return
    others = {name.split(".")[0] for name in imported(path)} & {"reports", "synthetic_data", "plotly", "dask"}
    assert not others
    if own != "__init__":
        assert parts_of_audit(path) - {own} <= MAY_IMPORT[own]


@pytest.mark.parametrize(
    "path", [path for path in MODULES if not path.is_relative_to(ROOT / "audit")], ids=named
)
def test_reports_and_synthetic_data_read_only_what_is_meant_for_them(path: Path) -> None:
    package = path.relative_to(ROOT).parts[0]
    assert parts_of_audit(path) <= OF_AUDIT[package]
    other = "synthetic_data" if package == "reports" else "reports"
    assert other not in {name.split(".")[0] for name in imported(path)}


@pytest.mark.parametrize("path", MEASURES, ids=named)
def test_no_measure_imports_another(path: Path) -> None:
    assert not [name for name in imported(path) if name.startswith("audit.measures")]


def _only_in(libraries: set[str], places: tuple[str, ...]) -> list[str]:
    """Modules outside these places that import one of the libraries."""
    return [
        named(path)
        for path in MODULES
        if path.is_relative_to(ROOT / "audit")
        and part(path) not in places
        and libraries & {name.split(".")[0] for name in imported(path)}
    ]


def test_libraries_of_statistics_are_imported_in_statistics_only() -> None:
    assert not _only_in({"scipy", "statsmodels", "lifelines"}, ("statistics",))


def test_files_of_data_are_read_in_ingest_and_tallies_only() -> None:
    assert not _only_in({"pyarrow", "openpyxl"}, ("ingest", "tallies"))


def test_every_part_of_audit_has_a_rule() -> None:
    parts = {part(path) for path in MODULES if path.is_relative_to(ROOT / "audit")}
    assert parts == {*MAY_IMPORT, *ANYTHING, "__init__"}


ARITHMETIC = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod, ast.Pow, ast.MatMult)


def arithmetic(tree: ast.AST) -> list[ast.AST]:
    """Arithmetic on figures; text joined to text is none, since a figure cannot be added to text."""
    found: list[ast.AST] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ARITHMETIC):
            joins_text = isinstance(node.op, ast.Add) and any(
                isinstance(side, ast.JoinedStr)
                or (isinstance(side, ast.Constant) and isinstance(side.value, str))
                for side in (node.left, node.right)
            )
            if not joins_text:
                found.append(node)
        elif isinstance(node, ast.AugAssign) and isinstance(node.op, ARITHMETIC):
            found.append(node)
    return found


def literals(tree: ast.AST) -> list[ast.Constant]:
    """Numbers written in the code but 0 and 1.

    Two places are no part of a figure: the default of a parameter, which the caller may set and the docstring
    names, and the place at which `DataFrame.insert` puts a column.
    """
    allowed: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.arguments):
            defaults = [*node.defaults, *(default for default in node.kw_defaults if default)]
            allowed |= {id(inner) for default in defaults for inner in ast.walk(default)}
        elif (
            isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "insert"
        ):
            allowed.add(id(node.args[0]))
    return [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, int | float)
        and not isinstance(node.value, bool)
        and node.value not in (0, 1)
        and id(node) not in allowed
    ]


@pytest.mark.parametrize("path", MEASURES, ids=named)
def test_a_measure_holds_no_formula(path: Path) -> None:
    tree = parsed(path)
    assert [ast.unparse(node) for node in arithmetic(tree)] == []
    assert [node.value for node in literals(tree)] == []


def test_the_search_for_formulas_finds_them() -> None:
    found = arithmetic(ast.parse("x = a / b\ny = 'removal_' + c\nz -= 1"))
    assert {ast.unparse(node) for node in found} == {"a / b", "z -= 1"}
    code = "def f(x, *, floor=0.8):\n    table.insert(2, 'by', x)\n    return x * 3 + x[-2] + 1"
    assert [node.value for node in literals(ast.parse(code))] == [3, 2]


def test_the_public_names_are_sorted_and_each_has_a_home() -> None:
    names = list(audit.__all__)
    assert names == sorted(names)
    assert set(names) == set(audit._HOME)
    assert dir(audit) == names


@pytest.mark.parametrize("name", audit.__all__)
def test_a_public_name_is_the_one_that_its_home_defines(name: str) -> None:
    found = getattr(audit, name)
    assert found is getattr(import_module(f"audit.{audit._HOME[name]}"), name)
    assert found.__doc__


def test_what_type_checkers_see_is_what_is_loaded() -> None:
    tree = parsed(ROOT / "audit" / "__init__.py")
    block = next(node for node in tree.body if isinstance(node, ast.If))
    seen = {
        alias.name: str(node.module)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert seen == {name: f"audit.{home}" for name, home in audit._HOME.items()}


def test_a_name_that_is_not_public_is_no_attribute() -> None:
    with pytest.raises(AttributeError, match=r"^module 'audit' has no attribute 'no_such_measure'$"):
        audit.no_such_measure  # noqa: B018 - the look-up is the test


def loaded_after(code: str, tmp_path: Path) -> set[str]:
    """The modules loaded in a new interpreter after this code."""
    done = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint('\\n'.join(sys.modules))"],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )
    return set(done.stdout.split())


def test_importing_the_package_loads_no_library(tmp_path: Path) -> None:
    loaded = loaded_after("import audit", tmp_path)
    assert "audit" in loaded
    assert not loaded & {"pandas", "numpy", "scipy", "pyarrow", "plotly"}


def test_an_audit_needs_no_modelling_and_no_drawing_library(tmp_path: Path) -> None:
    (tmp_path / "visits.csv").write_text(
        "patient_ref,visit_date,visit_kind,insertion_outcome,device_in_situ,clinician_ref,vasovagal_grade,births\n"
        "W1,2026-07-01,insertion,placed,,C1,0,0\n"
        "W2,2026-07-02,insertion,failed,,C2,1,2\n"
        "W1,2026-08-10,follow_up,,complete_expulsion,,,\n",
        encoding="utf-8",
    )
    loaded = loaded_after(
        "import audit\naudit.run_audit(audit.load_visits('visits.csv'), period='2026-Q3')", tmp_path
    )
    assert {"pandas", "scipy.special"} <= loaded
    assert not loaded & {"lifelines", "statsmodels", "scipy.stats", "matplotlib", "plotly"}


def code_lines(path: Path) -> set[int]:
    """The lines of a module that hold code: no blank line, comment or docstring."""
    skipped = (tokenize.COMMENT, tokenize.NL, tokenize.NEWLINE, tokenize.INDENT, tokenize.DEDENT)
    with path.open("rb") as file:
        tokens = [
            token
            for token in tokenize.tokenize(file.readline)
            if token.type not in (*skipped, tokenize.ENCODING, tokenize.ENDMARKER)
        ]
    lines = {line for token in tokens for line in range(token.start[0], token.end[0] + 1)}
    for node in ast.walk(parsed(path)):
        if (
            isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            and ast.get_docstring(node) is not None
        ):
            lines -= set(range(node.body[0].lineno, (node.body[0].end_lineno or 0) + 1))
    return lines


@pytest.mark.parametrize("path", MODULES, ids=named)
def test_no_function_is_longer_than_50_lines_of_code(path: Path) -> None:
    lines = code_lines(path)
    long = [
        node.name
        for node in ast.walk(parsed(path))
        if isinstance(node, ast.FunctionDef)
        and len(lines & set(range(node.lineno, (node.end_lineno or 0) + 1))) > 50
    ]
    assert long == []


# One table, declared in one place: a list of columns is read, not followed.
DECLARATIONS = {"audit/schema/visits.py"}


@pytest.mark.parametrize("path", [path for path in MODULES if named(path) not in DECLARATIONS], ids=named)
def test_no_module_is_longer_than_300_lines_of_code(path: Path) -> None:
    assert len(code_lines(path)) <= 300
