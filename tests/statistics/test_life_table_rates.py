"""Actuarial rates at chosen months, against the life table called directly and by hand."""

import numpy as np
import pandas as pd
import pytest

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
