"""Curves of several groups: what a gap in observation does to their rows."""

import numpy as np
import pandas as pd
import pytest

from audit.statistics.competing import cumulative_incidence
from audit.statistics.curve_comparison import log_rank
from audit.statistics.curves import survival_quantile
from audit.statistics.gray_test import gray_test
from audit.statistics.grouped_curves import (
    compare_groups,
    compare_incidences,
    incidence_by_group,
    median_by_group,
    survival_by_group,
)
from audit.statistics.survival import GAP, kaplan_meier

# Nobody of group a is watched between 5 and 7; all of group b are watched from the origin.
SPELLS = pd.DataFrame(
    {
        "group": ["a", "a", "a", "b", "b"],
        "entry": [0.0, 0.0, 7.0, 0.0, 0.0],
        "exit": [5.0, 5.0, 9.0, 6.0, 9.0],
        "event": [1, 0, 1, 1, 0],
        "cause": [1, 0, 2, 1, 0],
        "n": 1,
    }
)


def at(curve, group, time):
    (row,) = curve[(curve["group"] == group) & (curve["time"] == time)].to_dict("records")
    return row


def test_after_a_gap_a_curve_is_unknown_and_says_why():
    curve = survival_by_group(SPELLS, horizons=[8, 20])
    assert at(curve, "a", 5)["survival"] == 0.5
    assert at(curve, "a", 5)["caution"] == ""
    for time in (8, 9, 20):
        assert np.isnan(at(curve, "a", time)["survival"])
        assert at(curve, "a", time)["caution"] == GAP
    assert at(curve, "b", 8)["survival"] == 0.5
    assert at(curve, "b", 8)["caution"] == ""
    assert at(curve, "b", 20)["caution"] == "Nobody observed this long."


def test_after_a_gap_an_incidence_is_unknown_and_says_why():
    curve = incidence_by_group(SPELLS, causes={"first": 1}, horizons=[8, 20])
    assert at(curve, "a", 8)["caution"] == GAP
    assert np.isnan(at(curve, "a", 8)["incidence"])
    assert at(curve, "b", 8)["incidence"] == 0.5
    assert at(curve, "b", 20)["caution"] == "Nobody observed this long."


def test_few_at_risk_is_said_only_where_the_curve_is_known():
    curve = survival_by_group(SPELLS, horizons=[8, 20], at_risk_floor=3)
    assert at(curve, "b", 8)["caution"] == "Fewer than 3 still under observation."
    assert at(curve, "a", 8)["caution"] == GAP


@pytest.mark.parametrize("curves", [survival_by_group, incidence_by_group])
def test_no_rows_give_no_rows(curves):
    options = {"causes": {"first": 1}} if curves is incidence_by_group else {}
    found = curves(SPELLS.iloc[:0], **options)
    assert found.empty
    assert {"method", "caution"} <= set(found.columns)
    assert found["caution"].dtype == object


# Two groups, b first; rows stand for several, one row of b is observed late.
TALLY = pd.DataFrame(
    {
        "group": ["b", "b", "b", "a", "a", "a"],
        "entry": [0.0, 0.0, 2.0, 0.0, 0.0, 0.0],
        "exit": [1.0, 3.0, 4.0, 2.0, 6.0, 3.0],
        "event": [1, 0, 1, 1, 1, 0],
        "cause": [1, 0, 2, 1, 2, 0],
        "n": [2, 3, 5, 1, 4, 5],
    }
)


def own_rows(group):
    own = TALLY[TALLY["group"] == group]
    return own, {"entry": own["entry"], "weights": own["n"]}


def test_a_curve_lists_time_0_each_event_and_each_horizon_with_its_counts():
    curve = survival_by_group(TALLY, horizons=[5, 6])
    assert list(curve.columns) == [
        *("group", "time", "at_risk", "events", "cumulative_events", "cumulative_censored", "survival"),
        *("standard_error", "ci_lower", "ci_upper", "method", "caution"),
    ]
    assert curve.iloc[:, :7].to_numpy().tolist() == [
        # b: 2 of 5 go at 1; 3 are censored at 3; the 5 who came at 2 go at 4.
        ["b", 0.0, 5, 0, 0, 0, 1.0],
        ["b", 1.0, 5, 2, 2, 0, 0.6],
        ["b", 4.0, 5, 5, 7, 3, 0.0],
        ["b", 5.0, 0, 0, 7, 3, 0.0],
        ["b", 6.0, 0, 0, 7, 3, 0.0],
        # a: 1 of 10 goes at 2; 5 are censored at 3; the last 4 go at 6.
        ["a", 0.0, 10, 0, 0, 0, 1.0],
        ["a", 2.0, 10, 1, 1, 0, 0.9],
        ["a", 5.0, 4, 0, 1, 5, 0.9],
        ["a", 6.0, 4, 4, 5, 5, 0.0],
    ]
    assert set(curve["method"]) == {"Kaplan-Meier, Greenwood standard error, log(-log) 95% limits"}
    # Nobody is left at 5 and 6 in b, but the curve is known to be 0: without a floor there is nothing to say.
    assert set(curve["caution"]) == {""}
    # Those censored at a time are counted from that time on.
    assert at(survival_by_group(TALLY, horizons=[3]), "a", 3)["cumulative_censored"] == 5
    own, observed = own_rows("a")
    direct = kaplan_meier(own["exit"], own["event"], **observed).set_index("time").loc[2.0]
    for name in ("standard_error", "ci_lower", "ci_upper"):
        assert at(curve, "a", 5)[name] == direct[name]


def test_exactly_as_many_as_the_floor_are_enough():
    cautions = survival_by_group(TALLY, horizons=[5], at_risk_floor=4)
    assert at(cautions, "a", 5)["caution"] == ""
    assert at(cautions, "b", 5)["caution"] == "Fewer than 4 still under observation."


def test_a_gap_is_said_from_the_moment_somebody_is_watched_again():
    # At 7 itself the third of group a is there.
    assert at(survival_by_group(SPELLS, horizons=[7]), "a", 7)["caution"] == GAP
    assert at(survival_by_group(SPELLS), "a", 0)["caution"] == ""


def test_an_incidence_stands_beside_one_minus_the_curve_of_its_cause_alone():
    curve = incidence_by_group(TALLY, causes={"second": 2}, horizons=[5])
    assert list(curve.columns) == [
        *("group", "cause", "time", "at_risk", "events", "cumulative_events", "survival", "incidence"),
        *(
            "standard_error",
            "ci_lower",
            "ci_upper",
            "one_minus_km",
            "km_lower",
            "km_upper",
            "method",
            "caution",
        ),
    ]
    assert curve[
        ["group", "cause", "time", "at_risk", "events", "cumulative_events"]
    ].to_numpy().tolist() == [
        ["b", "second", 0.0, 5, 0, 0],
        ["b", "second", 4.0, 5, 5, 5],
        ["b", "second", 5.0, 0, 0, 5],
        ["a", "second", 0.0, 10, 0, 0],
        ["a", "second", 5.0, 4, 0, 0],
        ["a", "second", 6.0, 4, 4, 4],
    ]
    # The first cause, not asked for, competes all the same: 0.6 and 0.9 are left for the second.
    assert curve["incidence"].tolist() == pytest.approx([0, 0.6, 0.6, 0, 0, 0.9])
    assert curve["survival"].tolist() == pytest.approx([1, 0, 0, 1, 0.9, 0])
    assert curve["one_minus_km"].tolist() == pytest.approx([0, 1, 1, 0, 0, 1])
    assert set(curve["method"]) == {"Aalen-Johansen, Greenwood-type standard error, log(-log) 95% limits"}
    assert set(curve["caution"]) == {""}


def test_figures_of_a_cause_are_those_of_the_curves_called_directly():
    curve = incidence_by_group(TALLY, causes={"first": 1})
    own, observed = own_rows("b")
    direct = cumulative_incidence(own["exit"], own["cause"], **observed)
    direct = direct[(direct["cause"] == 1) & (direct["time"] == 1)].iloc[0]
    alone = kaplan_meier(own["exit"], own["cause"] == 1, **observed).set_index("time").loc[1.0]
    row = at(curve, "b", 1)
    for name in ("incidence", "standard_error", "ci_lower", "ci_upper"):
        assert row[name] == pytest.approx(direct[name])
    assert row["one_minus_km"] == pytest.approx(0.4)
    assert (row["km_lower"], row["km_upper"]) == pytest.approx((1 - alone["ci_upper"], 1 - alone["ci_lower"]))


def test_a_median_is_that_of_the_groups_own_curve():
    found = median_by_group(TALLY)
    assert list(found.columns) == ["group", "n", "events", "median", "median_lower", "median_upper"]
    assert found[["group", "n", "events", "median"]].to_numpy().tolist() == [
        ["b", 10, 7, 4.0],
        ["a", 10, 5, 6.0],
    ]
    for group, row in zip("ba", found.to_dict("records"), strict=True):
        own, observed = own_rows(group)
        middle = survival_quantile(kaplan_meier(own["exit"], own["event"], **observed))
        assert row["median_lower"] == pytest.approx(float(middle.ci_lower), nan_ok=True)
        assert row["median_upper"] == pytest.approx(float(middle.ci_upper), nan_ok=True)
    # Ten of ten, one a day: rank limits 3 and 8 of the curve's log(-log) limits are known on both sides.
    ten = pd.DataFrame({"group": "a", "entry": 0.0, "exit": np.arange(1.0, 11.0), "event": 1, "n": 1})
    row = median_by_group(ten).iloc[0]
    direct = survival_quantile(kaplan_meier(ten["exit"], ten["event"]))
    assert (row["median_lower"], row["median_upper"]) == (float(direct.ci_lower), float(direct.ci_upper))
    assert row["median_lower"] < row["median"] < row["median_upper"]


def test_a_median_leaves_out_those_not_yet_watched():
    # Without the two who come at 3 the curve is at a half on day 1; with them it would be at 3/4.
    late = pd.DataFrame({"group": "a", "entry": [0, 0, 3, 3], "exit": [1, 4, 5, 6], "event": 1, "n": 1})
    assert median_by_group(late)["median"].tolist() == [pytest.approx(2.5)]
    nobody = median_by_group(late.iloc[:0])
    assert list(nobody.columns) == ["group", "n", "events", "median", "median_lower", "median_upper"]


def test_a_group_whose_rows_stand_for_nobody_has_a_row_at_0_that_knows_nothing():
    nobody = survival_by_group(TALLY.assign(n=0))
    assert nobody[
        ["group", "time", "at_risk", "events", "cumulative_events", "cumulative_censored"]
    ].to_numpy().tolist() == [
        ["b", 0, 0, 0, 0, 0],
        ["a", 0, 0, 0, 0, 0],
    ]
    assert nobody["survival"].isna().all()
    assert set(nobody["caution"]) == {"Nobody observed this long."}


def test_a_comparison_of_curves_is_the_log_rank_test_of_the_rows():
    found = compare_groups(TALLY)
    direct = log_rank(TALLY["exit"], TALLY["event"], TALLY["group"], entry=TALLY["entry"], weights=TALLY["n"])
    assert found == {
        "statistic": direct.chi_square,
        "degrees_of_freedom": 1,
        "p_value": direct.p_value,
        "groups": 2,
        "n": 20,
        "method": "log-rank, hypergeometric variance",
    }


def test_a_comparison_of_incidences_is_grays_test_of_the_rows():
    table = TALLY.assign(entry=0.0, layer=["x", "y", "x", "y", "x", "y"])
    found = compare_incidences(table)
    direct = gray_test(table["exit"], table["cause"], table["group"], cause=1, weights=table["n"])
    assert found == {
        "statistic": direct.chi_square,
        "degrees_of_freedom": 1,
        "p_value": direct.p_value,
        "groups": 2,
        "events": 3,
        "n": 20,
        "method": "Gray, rho 0",
    }
    within = compare_incidences(table, cause=2, strata="layer")
    layered = gray_test(
        table["exit"], table["cause"], table["group"], cause=2, weights=table["n"], strata=table["layer"]
    )
    assert (within["statistic"], within["p_value"]) == (layered.chi_square, layered.p_value)
    assert (within["events"], within["method"]) == (9, "Gray, rho 0, stratified")
