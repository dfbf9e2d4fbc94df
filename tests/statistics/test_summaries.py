"""Tables of counts with figures beside them: by hand, against the methods called directly, and their cautions."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from audit.statistics.proportions import proportion_interval
from audit.statistics.summaries import (
    BOUNDS_ONLY,
    rates_by_group,
    share_of,
    share_without,
    shares_of,
    with_proportions,
    with_rates,
)

nan = np.nan
YEAR = 365.25


def test_a_table_of_counts_gains_its_proportions_limits_and_bounds() -> None:
    table = pd.DataFrame({"site": ["a"], "events": [3], "n": [12], "n_unknown": [4]})
    row = with_proportions(table).iloc[0].to_dict()
    wilson = stats.binomtest(3, 12).proportion_ci(method="wilson")
    exact = stats.binomtest(3, 12).proportion_ci(method="exact")
    assert list(row) == [
        *("site", "events", "n", "n_unknown", "proportion", "ci_lower", "ci_upper"),
        *("exact_lower", "exact_upper", "bound_lower", "bound_upper", "method", "caution"),
    ]
    assert row["proportion"] == 0.25
    assert (row["ci_lower"], row["ci_upper"]) == pytest.approx((wilson.low, wilson.high))
    assert (row["exact_lower"], row["exact_upper"]) == pytest.approx((exact.low, exact.high))
    # None or all of the four unknown: 3 of 16, 7 of 16.
    assert (row["bound_lower"], row["bound_upper"]) == (3 / 16, 7 / 16)
    assert row["method"] == "Wilson 95% limits; exact (Clopper-Pearson) limits beside them"
    assert row["caution"] == ""


def test_a_weak_proportion_says_why_and_the_first_reason_counts() -> None:
    table = pd.DataFrame(
        {"events": [0, 0, 0, 0, 1, 1, 1], "n": [0, 0, 3, 7, 4, 1, 2], "n_unknown": [0, 2, 7, 0, 1, 4, 2]}
    )
    found = with_proportions(table, recorded_floor=0.5)
    assert found["caution"].tolist() == [
        "Nothing to count.",
        "Not recorded for anyone.",
        BOUNDS_ONLY,
        "None seen: the exact upper limit is what is still possible.",
        "",
        BOUNDS_ONLY,
        "",
    ]
    assert found["caution"].dtype == object
    assert with_proportions(table)["caution"].tolist()[5] == ""
    assert found["proportion"].isna().tolist() == [True, True, *[False] * 5]


def test_a_table_of_events_gains_its_rates_and_exact_limits() -> None:
    table = pd.DataFrame({"site": ["a", "b", "c"], "events": [3, 0, 0], "person_years": [12.0, 8.0, 0.0]})
    found = with_rates(table)
    assert list(found.columns) == [
        *("site", "events", "person_years", "rate", "ci_lower", "ci_upper", "method", "caution")
    ]
    assert found["rate"].tolist() == pytest.approx([0.25, 0.0, nan], nan_ok=True)
    # Garwood's limits are quantiles of chi-squared.
    lower, upper = stats.chi2.ppf(0.025, 6) / 24, stats.chi2.ppf(0.975, 8) / 24
    assert found["ci_lower"].tolist() == pytest.approx([lower, 0.0, nan], nan_ok=True)
    assert found["ci_upper"].tolist() == pytest.approx([upper, -np.log(0.025) / 8, nan], nan_ok=True)
    assert set(found["method"]) == {"exact Poisson (Garwood) 95% limits"}
    assert found["caution"].tolist() == [
        "",
        "None seen: the upper limit is what is still possible.",
        "No time under observation.",
    ]


def test_a_rate_may_rest_on_another_exposure_than_time() -> None:
    found = with_rates(pd.DataFrame({"events": [1, 0, 1], "forms": [4, 0, 1]}), exposure="forms")
    assert found["rate"].tolist() == pytest.approx([0.25, nan, 1], nan_ok=True)
    assert found["caution"].tolist() == ["", "Nothing to count.", ""]


def test_rates_by_group_count_each_causes_events_and_the_time_of_everybody() -> None:
    # a: 2 leave on day 30 by the first cause, 1 on day 100 by the second (there from day 10 on), 1 is seen to
    # day 400; b: 3 leave on day 43 by the first cause.
    table = pd.DataFrame(
        {
            "group": ["b", "a", "a", "a"],
            "entry": [0.0, 0.0, 10.0, 0.0],
            "exit": [43.0, 30.0, 100.0, 400.0],
            "cause": [1, 1, 2, 0],
            "n": [3, 2, 1, 1],
        }
    )
    found = rates_by_group(table, causes={"first": 1, "second": 2}, cuts=[42, 365.0])
    assert found[["group", "cause"]].drop_duplicates().to_numpy().tolist() == [
        ["b", "first"],
        ["b", "second"],
        ["a", "first"],
        ["a", "second"],
    ]
    rows = {key: own.set_index("band") for key, own in found.groupby(["group", "cause"])}
    for own in rows.values():
        assert own.index.tolist() == ["0 to 42", "43 to 365", "over 365", "all"]
    assert rows["b", "first"]["events"].tolist() == [0, 3, 0, 3]
    assert rows["b", "second"]["events"].tolist() == [0, 0, 0, 0]
    assert rows["a", "first"]["events"].tolist() == [2, 0, 0, 2]
    assert rows["a", "second"]["events"].tolist() == [0, 1, 0, 1]
    days = {"b": [126, 3, 0, 129], "a": [60 + 32 + 42, 58 + 323, 35, 550]}
    for (group, _), own in rows.items():
        assert (own["person_years"] * YEAR).tolist() == pytest.approx(days[group])
    assert rows["a", "first"].at["all", "rate"] == pytest.approx(2 / 550 * YEAR)
    assert rows["b", "first"].at["over 365", "caution"] == "No time under observation."
    assert found["events"].dtype == np.int64


def test_without_cuts_there_is_one_band_and_without_rows_none() -> None:
    table = pd.DataFrame({"group": ["a"], "entry": 0.0, "exit": [5.0], "cause": [1], "n": [1]})
    found = rates_by_group(table, causes={"first": 1}, cuts=[])
    assert found["band"].tolist() == ["0 and over", "all"]
    nothing = rates_by_group(table.iloc[:0], causes={"first": 1}, cuts=[42])
    assert nothing.empty
    assert list(nothing.columns) == list(found.columns)


def test_a_share_is_a_part_of_a_whole_and_unknown_where_there_is_none() -> None:
    assert share_of(1, 4) == 0.25
    assert np.isnan(share_of(1, 0))
    assert shares_of([1, 0, 2], [4, 0, -1]).tolist() == pytest.approx([0.25, nan, nan], nan_ok=True)
    # 3 of 10 less the own 1 of 2: 2 of 8.
    assert share_without(1, 3, 2, 10) == 0.25
    assert np.isnan(share_without(1, 1, 2, 2))


def test_every_proportion_lies_within_both_of_its_limits() -> None:
    table = pd.DataFrame({"events": range(11), "n": 10, "n_unknown": 0})
    found = with_proportions(table)
    lower, upper = proportion_interval(range(11), 10)
    assert (found["ci_lower"].tolist(), found["ci_upper"].tolist()) == (lower.tolist(), upper.tolist())
    assert (found["exact_lower"] <= found["ci_lower"] + 0.03).all()
    assert found["bound_lower"].tolist() == found["bound_upper"].tolist() == found["proportion"].tolist()
