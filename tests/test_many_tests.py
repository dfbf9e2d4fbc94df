"""P-values of one audit adjusted together."""

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

from audit.many_tests import FAMILY, with_adjusted_p_values


def table(*told: tuple[str, float]) -> pd.DataFrame:
    """Rows of (window, p-value) with a column on either side."""
    return pd.DataFrame(told, columns=["window", "p_value"]).assign(method="any")


TABLES = {
    "row_accounting": pd.DataFrame({"n": [1]}),
    "vasovagal_contrasts": table(("period", 0.01), ("all", 0.04), ("all", float("nan"))),
    "failed_insertion_contrasts": table(("all", 0.002), ("period", 0.5)),
    "continuation_tests": pd.DataFrame({"p_value": [0.03], "method": "log-rank"}),
}


def test_all_comparisons_of_one_window_are_adjusted_together_and_curves_with_the_whole_log() -> None:
    found = with_adjusted_p_values(TABLES)
    # Of the whole log 0.002, 0.03 and 0.04: times 3/1, 3/2 and 3/3. Of the period 0.01 and 0.5: times 2 and 1.
    assert found["failed_insertion_contrasts"]["adjusted_p_value"].tolist() == pytest.approx([0.006, 0.5])
    assert found["continuation_tests"]["adjusted_p_value"].tolist() == pytest.approx([0.04])
    assert found["vasovagal_contrasts"]["adjusted_p_value"].tolist()[:2] == pytest.approx([0.02, 0.04])
    assert np.isnan(found["vasovagal_contrasts"]["adjusted_p_value"].iloc[2])


def test_the_values_are_those_of_statsmodels() -> None:
    # Differential: statsmodels' multipletests, method fdr_bh.
    values = np.random.default_rng(3).random(40) ** 3
    parts = {name: table(*(("all", float(p)) for p in values[place::6])) for place, name in enumerate(FAMILY)}
    found = with_adjusted_p_values(parts)
    own = np.empty(40)
    for place, name in enumerate(FAMILY):
        own[place::6] = found[name]["adjusted_p_value"]
    assert own.tolist() == pytest.approx(multipletests(values, method="fdr_bh")[1].tolist())


def test_other_tables_stay_as_they_are_and_nothing_given_is_changed() -> None:
    found = with_adjusted_p_values(TABLES)
    assert list(found) == list(TABLES)
    assert found["row_accounting"] is TABLES["row_accounting"]
    assert "adjusted_p_value" not in TABLES["continuation_tests"]
    assert list(found["continuation_tests"].columns) == ["p_value", "adjusted_p_value", "method"]


def test_without_a_comparison_nothing_is_adjusted() -> None:
    empty = {"vasovagal_contrasts": table(), "row_accounting": TABLES["row_accounting"]}
    assert with_adjusted_p_values(empty)["vasovagal_contrasts"] is empty["vasovagal_contrasts"]
    unknown = with_adjusted_p_values({"continuation_tests": pd.DataFrame({"p_value": [float("nan")]})})
    assert unknown["continuation_tests"]["adjusted_p_value"].isna().all()
