"""Actuarial rates at chosen months, against the life table called directly and by hand."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from audit.statistics.life_table_rates import COLUMNS, DAYS_A_MONTH, life_table_rates
from audit.statistics.life_tables import life_table

CAUSES = {"first": 1, "second": 2}


def drawn(seed: int) -> pd.DataFrame:
    """Tallied spells of two groups."""
    draw = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "group": draw.choice(["a", "b"], 200),
            "exit": draw.integers(0, 900, 200),
            "cause": draw.integers(0, 3, 200),
            "n": draw.integers(1, 6, 200),
        }
    )


def test_by_hand_the_rate_alone_is_the_larger_one() -> None:
    # 100 placed. Month 1: 10 end by the first cause, 20 by the second. Nothing after; all seen for 2 months.
    table = pd.DataFrame({"group": "a", "exit": [10, 20, 70], "cause": [1, 2, 0], "n": [10, 20, 70]})
    found = life_table_rates(table, causes=CAUSES, months=[2]).set_index("cause")
    assert found.at["first", "cause_specific"] == pytest.approx(10 / 100)
    # Those who ended by the other cause count for half the month: 10 of 90.
    assert found.at["first", "cause_deleted"] == pytest.approx(10 / 90)
    assert found.at["second", "cause_deleted"] == pytest.approx(20 / 95)
    assert found["survival"].tolist() == pytest.approx([0.7, 0.7])
    assert found["events"].tolist() == [10, 20]


def test_the_readings_are_those_of_the_life_table_called_directly() -> None:
    table = drawn(1)
    found = life_table_rates(table, causes=CAUSES, months=[12, 24])
    for group, own in table.groupby("group"):
        cuts = [DAYS_A_MONTH * month for month in range(1, 25)]
        whole = life_table(own["exit"], own["cause"], cuts=cuts, causes=CAUSES, weights=own["n"])
        mine = found[(found["group"] == group) & (found["cause"] == "second")]
        direct = whole[whole["cause"] == "second"].iloc[[11, 23]]
        for name in (
            "cause_specific",
            "cause_deleted",
            "survival",
            "exposed",
            "cause_deleted_standard_error",
        ):
            assert mine[name].tolist() == pytest.approx(direct[name].tolist())
        assert (
            mine["events"].iloc[1]
            == own.loc[(own["cause"] == 2) & (own["exit"] <= 24 * DAYS_A_MONTH), "n"].sum()
        )


def test_all_causes_and_survival_add_up_to_1_and_limits_hold_the_rate() -> None:
    found = life_table_rates(drawn(2), causes=CAUSES, months=[12, 24])
    together = found.groupby(["group", "months"])["cause_specific"].sum()
    survival = found.groupby(["group", "months"])["survival"].first()
    assert (together + survival).tolist() == pytest.approx([1] * 4)
    for name in ("cause_specific", "cause_deleted"):
        assert (found[f"{name}_lower"] < found[name]).all()
        assert (found[name] < found[f"{name}_upper"]).all()
    assert (found["cause_deleted"] > found["cause_specific"]).all()


def test_day_365_lies_in_the_twelfth_month_and_day_366_does_not() -> None:
    table = pd.DataFrame({"group": "a", "exit": [365, 366, 800], "cause": [1, 1, 0], "n": [1, 1, 98]})
    assert life_table_rates(table, causes={"first": 1}, months=[12])["events"].tolist() == [1]


def test_a_month_that_nobody_reached_gives_no_figure_and_says_so() -> None:
    table = pd.DataFrame({"group": "a", "exit": [100, 200], "cause": [1, 0], "n": [1, 9]})
    found = life_table_rates(table, causes={"first": 1}, months=[3, 12], at_risk_floor=20)
    assert found["caution"].tolist()[0].startswith("Fewer than 20")
    assert found["caution"].tolist()[1].startswith("Too few were under observation")
    assert found.loc[1, ["cause_specific", "cause_specific_lower", "cause_deleted_upper"]].isna().all()


def test_nobody_gives_no_rows_and_a_month_must_be_a_whole_one() -> None:
    empty = life_table_rates(drawn(3).head(0), causes=CAUSES)
    assert (len(empty), list(empty.columns)) == (0, list(COLUMNS))
    with pytest.raises(ValueError, match=r"^months must be whole numbers of 1 or more, got \[0\]$"):
        life_table_rates(drawn(3), causes=CAUSES, months=[0])


def test_limits_are_log_minus_log_ones_and_exact_where_nothing_or_everything_ended() -> None:
    # a: 30 of 100 end by the second cause in month 1; b: all 30 by the first.
    table = pd.DataFrame(
        {
            "group": ["b", "b", "a", "a"],
            "exit": [10, 20, 20, 70],
            "cause": [1, 1, 2, 0],
            "n": [10, 20, 30, 70],
        }
    )
    found = life_table_rates(table, causes=CAUSES, months=[1], confidence=0.9)
    assert found[["group", "cause", "months", "events"]].to_numpy().tolist() == [
        ["b", "first", 1, 30],
        ["b", "second", 1, 0],
        ["a", "first", 1, 0],
        ["a", "second", 1, 30],
    ]
    assert found["months"].dtype == np.int64
    z = stats.norm.ppf(0.95) * np.sqrt(0.21 / 100) / (0.3 * np.log(0.3))
    second = found.iloc[3]
    for name in ("cause_specific", "cause_deleted"):
        assert (second[f"{name}_lower"], second[f"{name}_upper"]) == pytest.approx(
            (0.3 ** np.exp(-z), 0.3 ** np.exp(z))
        )
    all_of_them, none = found.iloc[0], found.iloc[2]
    assert (all_of_them["cause_specific_lower"], all_of_them["cause_specific_upper"]) == (
        pytest.approx(0.05 ** (1 / 30)),
        1,
    )
    # Where a cause alone would leave nobody, its error is unknown and so are its limits.
    assert all_of_them[["cause_deleted_lower", "cause_deleted_upper"]].isna().all()
    assert all_of_them["cause_deleted"] == 1
    assert (none["cause_specific_lower"], none["cause_specific_upper"]) == (
        0,
        pytest.approx(1 - 0.05 ** (1 / 100)),
    )
    # Those who ended by the other cause count for half of the month: 85 exposed.
    assert none["cause_deleted_upper"] == pytest.approx(1 - 0.05 ** (1 / 85))
    assert set(found["method"]) == {"actuarial life table by months of 30.4375 days, log(-log) 90% limits"}


def test_exactly_as_many_as_the_floor_are_enough_and_without_one_nothing_is_said() -> None:
    table = pd.DataFrame({"group": "a", "exit": [10, 70], "cause": [1, 0], "n": [1, 9]})
    at = {
        floor: life_table_rates(table, causes={"first": 1}, months=[1, 2], at_risk_floor=floor)
        for floor in (9, 10)
    }
    assert at[9]["caution"].tolist() == ["", ""]
    assert at[10]["caution"].tolist() == ["", "Fewer than 10 still under observation."]
    everybody = pd.DataFrame({"group": "a", "exit": [10], "cause": [1], "n": [9]})
    assert life_table_rates(everybody, causes={"first": 1}, months=[2])["caution"].tolist() == [""]


def test_no_month_or_no_cause_gives_no_row() -> None:
    for options in ({"causes": CAUSES, "months": []}, {"causes": {}, "months": [12]}):
        found = life_table_rates(drawn(3), **options)  # type: ignore[arg-type]
        assert (len(found), list(found.columns)) == (0, list(COLUMNS))


def test_what_is_known_of_a_month_is_not_forgotten_in_the_next() -> None:
    # All 30 end by one cause in the first month: the exact limits for 30 hold from then on.
    table = pd.DataFrame({"group": "all", "exit": [10], "cause": [1], "n": [30]})
    found = life_table_rates(table, causes={"first": 1, "second": 2}, months=[1, 2, 3])
    first, second = (found[found["cause"] == cause] for cause in ("first", "second"))
    exact = 0.025 ** (1 / 30)
    assert first["cause_specific_lower"].tolist() == pytest.approx([exact] * 3, rel=1e-12)
    assert second["cause_specific_upper"].tolist() == pytest.approx([1 - exact] * 3, rel=1e-12)
