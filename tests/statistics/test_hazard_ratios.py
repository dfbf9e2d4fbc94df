"""Hazard ratios by level, against the regression called directly and against lifelines."""

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxPHFitter

from audit.statistics.cox import cox_regression
from audit.statistics.gray_test import gray_test
from audit.statistics.grouped_curves import compare_incidences
from audit.statistics.hazard_ratios import COLUMNS, hazard_ratios_by_level


def spells(seed: int, rows: int = 300) -> pd.DataFrame:
    """Drawn spells with two grouping variables."""
    draw = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "site": draw.choice(["a", "b", "c"], rows),
            "age": draw.choice(["old", "young"], rows),
            "entry": 0.0,
            "exit": draw.integers(1, 400, rows).astype(float),
            "cause": draw.choice([0, 1, 2], rows, p=[0.5, 0.3, 0.2]),
            "n": draw.integers(1, 3, rows),
        }
    )


def test_the_ratios_are_those_of_the_regression_called_directly() -> None:
    table = spells(1)
    columns = pd.DataFrame(
        {
            "b": (table["site"] == "b").astype(float),
            "c": (table["site"] == "c").astype(float),
            "young": (table["age"] == "young").astype(float),
        }
    )
    event = (table["cause"] == 1).astype(int)
    direct = cox_regression(columns, table["exit"], event, weights=table["n"]).coefficients
    found = hazard_ratios_by_level(table, references={"site": "a", "age": "old"})
    assert found[["by", "stratum", "reference"]].to_numpy().tolist() == [
        ["site", "b", "a"],
        ["site", "c", "a"],
        ["age", "young", "old"],
    ]
    for name in ("hazard_ratio", "ci_lower", "ci_upper", "p_value"):
        assert found[name].tolist() == pytest.approx(direct[name].tolist())
    young = table[table["age"] == "young"]
    assert found.at[2, "n"] == young["n"].sum()
    assert found.at[2, "events"] == young.loc[young["cause"] == 1, "n"].sum()


def test_the_ratios_are_those_of_lifelines() -> None:
    # Differential: lifelines' Cox fit with Efron ties of single rows, the other cause censored.
    table = spells(2).assign(n=1)
    frame = pd.DataFrame(
        {
            "b": (table["site"] == "b").astype(float),
            "c": (table["site"] == "c").astype(float),
            "young": (table["age"] == "young").astype(float),
            "exit": table["exit"],
            "event": (table["cause"] == 1).astype(int),
        }
    )
    fitted = CoxPHFitter().fit(frame, "exit", "event")
    found = hazard_ratios_by_level(table, references={"site": "a", "age": "old"})
    assert found["hazard_ratio"].tolist() == pytest.approx(fitted.hazard_ratios_.tolist(), rel=1e-5)


def test_a_level_without_an_event_has_the_ratio_0_and_changes_no_other() -> None:
    table = spells(3)
    barren = table.head(40).assign(site="d", cause=2)
    both = pd.concat([table, barren], ignore_index=True)
    found = hazard_ratios_by_level(both, references={"site": "a", "age": "old"})
    last = found.iloc[-1]
    assert last[["by", "stratum", "reference", "events", "hazard_ratio"]].tolist() == ["site", "d", "a", 0, 0]
    assert last["caution"] == "No event: the ratio is 0 and has no limits."
    event = (both["cause"] == 1).astype(int)
    columns = pd.DataFrame({name: (both["site"] == name).astype(float) for name in "bcd"})
    direct = cox_regression(
        columns.assign(young=(both["age"] == "young") * 1.0), both["exit"], event, weights=both["n"]
    )
    ratios = direct.coefficients["hazard_ratio"]
    assert ratios[2] == 0
    assert found["hazard_ratio"].tolist()[:3] == pytest.approx(ratios[[0, 1, 3]].tolist(), rel=1e-6)


def test_a_missing_value_is_a_level_of_its_own() -> None:
    table = spells(4)
    table["age"] = table["age"].mask(table.index % 5 == 0)
    found = hazard_ratios_by_level(table, references={"age": "old"})
    assert found["stratum"].tolist() == ["young", "unknown"]
    assert found.at[1, "n"] == table.loc[table["age"].isna(), "n"].sum()


@pytest.mark.parametrize(("events", "fitted"), [(29, False), (30, True)])
def test_ten_events_a_term_are_needed(events: int, fitted: bool) -> None:
    table = spells(5).assign(n=1, cause=lambda told: [1 if row < events else 0 for row in range(len(told))])
    found = hazard_ratios_by_level(table, references={"site": "a", "age": "old"})
    if fitted:
        assert found["hazard_ratio"].notna().all()
    else:
        assert found[["by", "stratum", "events", "n"]].to_numpy().tolist() == [
            ["overall", "overall", 29, 300]
        ]
        assert found["caution"].tolist() == [
            "29 events for 3 terms, fewer than 10 a term: no model is fitted."
        ]


def test_nobody_gives_no_rows() -> None:
    found = hazard_ratios_by_level(spells(6).head(0), references={"site": "a"})
    assert (len(found), list(found.columns)) == (0, list(COLUMNS))


def test_no_event_gives_the_statement_alone() -> None:
    found = hazard_ratios_by_level(spells(7).assign(cause=0), references={"site": "a"})
    assert found["by"].tolist() == ["overall"]
    assert found["hazard_ratio"].isna().all()


def test_the_row_of_grays_test_is_the_test_called_directly_with_and_without_strata() -> None:
    table = spells(8).rename(columns={"site": "group"})
    for strata in (None, "age"):
        row = compare_incidences(table, strata=strata)
        direct = gray_test(
            table["exit"],
            table["cause"],
            table["group"],
            cause=1,
            weights=table["n"],
            strata=None if strata is None else table[strata],
        )
        assert (row["statistic"], row["p_value"]) == (direct.chi_square, direct.p_value)
        assert row["events"] == table.loc[table["cause"] == 1, "n"].sum()


def test_late_entries_and_the_confidence_reach_the_regression_and_its_words_come_back() -> None:
    table = spells(9).assign(entry=lambda told: np.floor(told["exit"] / 3))
    columns = pd.DataFrame({"young": (table["age"] == "young").astype(float)})
    event = (table["cause"] == 2).astype(int)
    direct = cox_regression(
        columns, table["exit"], event, entry=table["entry"], weights=table["n"], confidence=0.8
    )
    found = hazard_ratios_by_level(table, references={"age": "old"}, cause=2, confidence=0.8)
    for name in ("hazard_ratio", "ci_lower", "ci_upper", "p_value"):
        assert found[name].tolist() == pytest.approx(direct.coefficients[name].tolist(), rel=1e-9)
    assert found["method"].tolist() == [f"cause-specific {direct.method}"]
    assert found["caution"].tolist() == [direct.caution]


def test_a_row_that_stands_for_nobody_is_no_level_and_no_reference() -> None:
    table = spells(10)
    nobody = table.head(5).assign(site="z", age="none", cause=1, n=0)
    both = pd.concat([nobody, table], ignore_index=True)
    found = hazard_ratios_by_level(both, references={"site": "z", "age": "old"})
    # Of the levels that somebody has, the one with most members stands in for the reference.
    commonest = table.groupby("site")["n"].sum().idxmax()
    assert set(found.loc[found["by"] == "site", "reference"]) == {commonest}
    direct = hazard_ratios_by_level(table, references={"site": commonest, "age": "old"})
    shared = found[found["n"] > 0].reset_index(drop=True)
    pd.testing.assert_frame_equal(shared, direct)


def test_a_level_without_an_event_has_every_column_and_a_fresh_row_number() -> None:
    both = pd.concat([spells(11), spells(12).head(30).assign(site="d", cause=2)], ignore_index=True)
    found = hazard_ratios_by_level(both, references={"site": "a"})
    assert found.index.tolist() == [0, 1, 2]
    last = found.iloc[-1]
    assert (last["n"], last["method"]) == (both.loc[both["site"] == "d", "n"].sum(), "none")
    assert list(found.columns) == list(COLUMNS)
    assert last[["ci_lower", "ci_upper", "p_value"]].isna().all()


def test_the_row_that_says_why_there_is_no_model_has_every_column() -> None:
    row = hazard_ratios_by_level(spells(7).assign(cause=0), references={"site": "a"}).iloc[0]
    assert list(row.index) == list(COLUMNS)
    assert (row["reference"], row["method"]) == ("", "none")
    assert row[["ci_lower", "ci_upper", "p_value", "hazard_ratio"]].isna().all()
    assert isinstance(row["hazard_ratio"], float)


@pytest.mark.parametrize(("events", "said"), [(10, False), (9, True)])
def test_where_no_level_differs_ten_events_are_asked_for_as_for_one_term(events: int, said: bool) -> None:
    table = spells(5).assign(
        n=1, site="a", cause=lambda told: [1 if row < events else 0 for row in range(len(told))]
    )
    found = hazard_ratios_by_level(table, references={"site": "a"})
    assert (len(found) == 1) == said


def test_the_commonest_level_is_that_of_most_people_not_of_most_rows() -> None:
    table = spells(13)
    few_rows = table["site"].isin(["a"]).to_numpy()
    table["n"] = np.where(few_rows & (np.cumsum(few_rows) <= 3), 500, np.where(few_rows, 0, 1))
    assert table.groupby("site")["n"].sum().idxmax() == "a"
    assert table[table["n"] > 0].groupby("site").size().idxmax() != "a"
    found = hazard_ratios_by_level(table, references={"site": "z"})
    assert set(found["reference"]) == {"a"}
