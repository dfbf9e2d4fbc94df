"""Columns of a regression from groups and measurements: reference levels stated, missing a level of its own."""

import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.logistic import logistic_regression
from audit.statistics.model_matrix import Coding, coding_of, model_matrix

TABLE = pd.DataFrame(
    {
        "site": ["b", "a", None, "b", "c"],
        "band": pd.Categorical(["low", "high", "low", None, "low"], categories=["low", "high", "none"]),
        "flag": pd.array([True, None, False, False, True], dtype="boolean"),
        "age": [20.0, 30, 40, 50, 60],
    }
)


def test_levels_are_sorted_after_the_reference_with_unknown_last():
    coding = coding_of(TABLE, categorical={"site": "b", "band": "low", "flag": "False"}, numeric=["age"])
    assert coding.levels == {
        "site": ("b", "a", "c", "unknown"),
        "band": ("low", "high", "unknown"),
        "flag": ("False", "True", "unknown"),
    }
    assert coding.numeric == ("age",)


def test_every_row_is_kept_and_missing_is_a_column():
    coding = coding_of(TABLE, categorical={"site": "b", "band": "low"}, numeric=["age"])
    columns = model_matrix(TABLE, coding)
    assert columns.columns.tolist() == [
        *("site: a", "site: c", "site: unknown", "band: high", "band: unknown", "age"),
    ]
    assert columns.to_numpy().tolist() == [
        [0, 0, 0, 0, 0, 20],
        [1, 0, 0, 1, 0, 30],
        [0, 0, 1, 0, 0, 40],
        [0, 0, 0, 0, 1, 50],
        [0, 1, 0, 0, 0, 60],
    ]


def test_no_reference_takes_the_commonest_known_level():
    table = pd.DataFrame({"site": ["a", "b", None, None, None]})
    assert coding_of(table, categorical={"site": None}).levels == {"site": ("a", "b", "unknown")}
    weighted = coding_of(table, categorical={"site": None}, weights=[1, 2, 9, 9, 9])
    assert weighted.levels == {"site": ("b", "a", "unknown")}


def test_rows_of_nobody_make_no_level():
    table = pd.DataFrame({"site": ["a", "b", "c"]})
    assert coding_of(table, categorical={"site": "a"}, weights=[1, 0, 2]).levels == {"site": ("a", "c")}


def test_unknown_recorded_as_a_word_and_as_a_gap_are_one_level():
    table = pd.DataFrame({"site": ["a", "unknown", None]})
    coding = coding_of(table, categorical={"site": "a"})
    assert coding.levels == {"site": ("a", "unknown")}
    assert model_matrix(table, coding)["site: unknown"].tolist() == [0, 1, 1]


@pytest.mark.parametrize("reference", [None, "unknown"])
def test_a_variable_missing_throughout_has_one_level_and_no_column(reference):
    table = pd.DataFrame({"site": [None, None], "age": [1.0, 2.0]})
    coding = coding_of(table, categorical={"site": reference}, numeric=["age"])
    assert coding.levels == {"site": ("unknown",)}
    assert model_matrix(table, coding).columns.tolist() == ["age"]


def test_another_table_is_coded_alike():
    coding = coding_of(TABLE, categorical={"site": "b"})
    other = model_matrix(pd.DataFrame({"site": ["c"]}, index=[7]), coding)
    assert other.columns.tolist() == ["site: a", "site: c", "site: unknown"]
    assert other.to_numpy().tolist() == [[0, 1, 0]]
    assert other.index.tolist() == [0]
    empty = model_matrix(TABLE.iloc[:0], coding)
    assert empty.shape == (0, 3)


def test_an_empty_table_has_no_levels():
    coding = coding_of(TABLE.iloc[:0], categorical={"site": "b"}, numeric=["age"])
    assert coding == Coding({"site": ()}, ("age",))
    assert model_matrix(TABLE.iloc[:0], coding).columns.tolist() == ["age"]


@given(st.lists(st.sampled_from(["a", "b", "c", None]), min_size=1, max_size=12))
def test_each_row_belongs_to_one_level(values):
    table = pd.DataFrame({"site": pd.Series(values, dtype=object)})
    coding = coding_of(table, categorical={"site": None})
    columns = model_matrix(table, coding)
    reference = 1 - columns.sum(axis=1) if columns.shape[1] else np.ones(len(table))
    assert set(reference) <= {0.0, 1.0}
    counted = columns.sum().sum() + reference.sum()
    assert counted == len(table)


def test_another_reference_level_changes_no_prediction():
    events, n = [3, 8, 5, 9], [20, 20, 20, 30]
    table = pd.DataFrame({"site": ["a", "b", "c", None]})
    fits = {
        reference: logistic_regression(
            model_matrix(table, coding_of(table, categorical={"site": reference})), events, n
        )
        for reference in ("a", "b", "unknown")
    }
    likelihoods = [fit.log_likelihood for fit in fits.values()]
    assert likelihoods == pytest.approx(likelihoods[:1] * 3)
    of_b = dict(zip(fits["a"].coefficients["term"], fits["a"].coefficients["coefficient"], strict=True))
    of_a = dict(zip(fits["b"].coefficients["term"], fits["b"].coefficients["coefficient"], strict=True))
    assert of_b["site: b"] == pytest.approx(-of_a["site: a"])


def test_a_wrong_argument_is_refused():
    with pytest.raises(
        ValueError, match=r"reference level of site must occur in the table, got 'z' beside \['a', 'b'"
    ):
        coding_of(TABLE, categorical={"site": "z"})
    with pytest.raises(ValueError, match="table must hold every variable, got none named room"):
        coding_of(TABLE, categorical={"room": "a"})
    with pytest.raises(ValueError, match="weights must be as long as the table, got 2 and 5"):
        coding_of(TABLE, categorical={"site": "b"}, weights=[1, 2])
    with pytest.raises(ValueError, match="site must hold only levels of the coding, got x"):
        model_matrix(pd.DataFrame({"site": ["x", "b"]}), coding_of(TABLE, categorical={"site": "b"}))
    with pytest.raises(ValueError, match="age must be finite numbers without gaps, got 2 that are not"):
        model_matrix(pd.DataFrame({"age": [1.0, None, np.inf]}), Coding({}, ("age",)))


def test_a_number_that_is_text_or_missing_is_refused_by_its_name():
    for values in (["20", "thirty"], pd.array([20.0, None], dtype="Float64"), [20.0, np.inf]):
        table = pd.DataFrame({"age": values})
        with pytest.raises(
            ValueError, match=r"^age must be finite numbers without gaps, got 1 that are not$"
        ):
            model_matrix(table, Coding({}, ("age",)))


def test_a_refusal_names_five_levels_at_most():
    table = pd.DataFrame({"site": list("abcdefg")})
    message = "the reference level of site must occur in the table, got 'z' beside ['a', 'b', 'c', 'd', 'e']"
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        coding_of(table, categorical={"site": "z"})
    with pytest.raises(ValueError, match=r"^site must hold only levels of the coding, got b, c, d, e, f$"):
        model_matrix(table, Coding({"site": ("a",)}, ()))
