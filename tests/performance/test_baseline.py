"""The analyst's baseline and the package give the same figures, so that their times may be compared.

The baseline derives attempts and placements with code of its own and takes its figures from statsmodels,
lifelines and scipy: it is an independent check of the whole way from log to record.
"""

import importlib.util
import json
import subprocess
from pathlib import Path
from types import ModuleType

import pandas as pd
import pytest

pytestmark = pytest.mark.slow

CLOSE = {"check_dtype": False, "check_exact": False, "rtol": 1e-12, "atol": 1e-12}
SPELL = ["by", "stratum", "placement_kind", "censoring"]
# Table of ours, table of the baseline, columns that name a row, figures that must agree.
SAME = [
    (
        "failed_insertions",
        "failed_insertions",
        ["by", "stratum", "window", "unit"],
        ["events", "n", "n_unknown", "n_deferred", "ci_lower", "ci_upper", "exact_lower", "exact_upper"],
    ),
    (
        "failed_insertions_by_clinician",
        "clinicians",
        ["stratum", "window"],
        ["events", "n", "tail_upper", "tail_lower", "expected", "ratio", "ci_lower", "exact_upper"],
    ),
    (
        "vasovagal_by_parity",
        "vasovagal",
        ["by", "stratum", "window", "definition"],
        ["events", "n", "n_unknown", "ci_lower", "ci_upper"],
    ),
    ("check_done", "check_done", ["by", "stratum", "window"], ["events", "n", "ci_lower", "ci_upper"]),
    ("outcome_known", "outcome_known", ["by", "stratum", "window"], ["events", "n", "ci_lower", "ci_upper"]),
    (
        "expulsion_incidence",
        "expulsion_incidence",
        [*SPELL, "cause", "days"],
        ["at_risk", "one_minus_km"],
    ),
    ("removal_incidence", "removal_incidence", [*SPELL, "cause", "days"], ["at_risk", "one_minus_km"]),
    ("continuation_curve", "continuation_curve", [*SPELL, "days"], ["at_risk", "survival"]),
    ("continuation_summary", "continuation_summary", SPELL, ["n", "events", "median_days"]),
    ("continuation_tests", "continuation_tests", ["by", "censoring"], ["statistic", "p_value"]),
    (
        "person_time_rates",
        "rates",
        ["by", "stratum", "window", "censoring", "cause", "band"],
        ["events", "person_years", "ci_lower", "ci_upper"],
    ),
]
WORDS = {
    "unit": {
        "visit": "visit_outcome",
        "operator_attempt": "outcome",
        "woman_first_attempt": "first_visit_outcome",
    },
    "definition": {
        "vasovagal_any": "any_reaction",
        "vasovagal_grade_2_plus": "grade_2_plus",
        "syncope": "syncope_yes",
    },
}


def comparison() -> ModuleType:
    """The module compare.py beside this file."""
    spec = importlib.util.spec_from_file_location("compare", Path(__file__).with_name("compare.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, pd.DataFrame], dict[str, pd.DataFrame]]:
    """The tables of ours and of the baseline, from one log."""
    compare, folder = comparison(), tmp_path_factory.mktemp("both")
    compare.write_log(folder / "visits.csv")
    for command in compare.commands(folder / "visits.csv", folder).values():
        subprocess.run(command, check=True, capture_output=True)
    ours = json.loads((folder / "ours" / "record.json").read_text(encoding="utf-8"))["tables"]
    theirs = json.loads((folder / "baseline" / "record.json").read_text(encoding="utf-8"))
    own = {name: pd.DataFrame(rows).replace(WORDS) for name, rows in ours.items()}
    other = {name: pd.DataFrame(rows) for name, rows in theirs.items()}
    other["rates"] = pd.concat(
        [other["rates"].assign(window="all"), other["period_rates"].assign(window="period")]
    )
    return own, other


@pytest.mark.parametrize(("name", "other", "keys", "figures"), SAME, ids=[row[0] for row in SAME])
def test_the_baseline_gives_the_same_figures(both, name, other, keys, figures):
    ours, theirs = both[0][name], both[1][other]
    merged = theirs.merge(
        ours, on=keys, how="left", suffixes=("", "_ours"), validate="one_to_one", indicator=True
    )
    assert (merged["_merge"] == "both").all()
    # Where nobody is left to observe, ours is missing and lifelines goes on with the last value.
    nobody = merged.get("at_risk", merged.get("person_years", pd.Series(1, merged.index))) == 0
    assert nobody.mean() < 0.3
    merged = merged[~nobody]
    assert len(merged) > 3
    for figure in figures:
        pd.testing.assert_series_equal(merged[figure], merged[f"{figure}_ours"], check_names=False, **CLOSE)


def test_the_baseline_draws_about_as_many_figures_as_the_report(tmp_path: Path) -> None:
    compare = comparison()
    compare.write_log(tmp_path / "visits.csv", women=150)
    for command in compare.commands(tmp_path / "visits.csv", tmp_path).values():
        subprocess.run(command, check=True, capture_output=True)
    # Many of ours are small drawings in the rows of a table.
    ours = (tmp_path / "ours" / "internal" / "report.html").read_text(encoding="utf-8").count("<svg")
    theirs = (
        (tmp_path / "baseline" / "report.html").read_text(encoding="utf-8").count('class="plotly-graph-div"')
    )
    assert 10 < theirs <= ours
