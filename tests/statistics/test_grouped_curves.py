"""Curves of several groups: what a gap in observation does to their rows."""

import numpy as np
import pandas as pd
import pytest

from audit.statistics.grouped_curves import incidence_by_group, survival_by_group
from audit.statistics.survival import GAP

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
