"""Days in use in a first year, copper against hormonal, worked by hand and against the statistics."""

import pandas as pd
import pytest

from audit.measures.continuation import continuation_differences
from audit.statistics.restricted_means import difference_of_restricted_means
from audit.statistics.survival import kaplan_meier

Told = tuple[str, str, int]


def placements(*told: Told) -> pd.DataFrame:
    """Placements from (family, ending, exit day), alike under both rules."""
    frame = pd.DataFrame(told, columns=["device_family", "ending", "exit_day_last_known"])
    return frame.assign(exit_day_assumed_in_place=frame["exit_day_last_known"], placement_kind="first")


FEW = placements(
    ("copper", "expulsion_complete", 100),
    ("copper", "none", 400),
    ("hormonal", "removal", 200),
    ("hormonal", "pregnancy", 300),
    ("hormonal", "none", 400),
    ("hormonal", "none", 400),
)


def test_the_difference_is_the_area_between_the_curves() -> None:
    table = continuation_differences(FEW)
    row = table[table["censoring"] == "last_known"].iloc[0]
    # Copper: 100 days whole, then half of 265. Hormonal: 200 whole, 100 at 3/4, 65 at 1/2.
    assert row["mean"] == pytest.approx(100 + 265 / 2)
    assert row["reference_mean"] == pytest.approx(200 + 75 + 32.5)
    assert row["difference"] == pytest.approx(232.5 - 307.5)
    assert row[["events", "n", "at_risk"]].tolist() == [1, 2, 1]
    assert row[["reference_events", "reference_n", "reference_at_risk"]].tolist() == [2, 4, 2]
    assert row["caution"] == "Fewer than 10 still under observation at the end of that time."


def test_limits_and_p_are_those_of_the_statistics_called_directly() -> None:
    row = continuation_differences(FEW, horizon=350, at_risk_floor=1).iloc[0]
    direct = difference_of_restricted_means(
        kaplan_meier([100, 400], [1, 0]), kaplan_meier([200, 300, 400, 400], [1, 1, 0, 0]), 350
    )
    assert (row["difference_lower"], row["difference_upper"]) == (direct.ci_lower, direct.ci_upper)
    assert (row["p_value"], row["caution"]) == (direct.p_value, "")


def test_death_censors_and_an_unknown_family_is_left_out() -> None:
    more = pd.concat([FEW, placements(("unknown", "removal", 5), ("copper", "death", 0))], ignore_index=True)
    row = continuation_differences(more).iloc[0]
    assert (row["events"], row["n"]) == (1, 3)
    # She was observed for no time at all: nobody else's chance changes.
    assert row["mean"] == pytest.approx(232.5)


def test_a_curve_that_ends_before_the_horizon_gives_no_difference_and_says_so() -> None:
    short = FEW.assign(exit_day_assumed_in_place=FEW["exit_day_assumed_in_place"].clip(upper=350))
    table = continuation_differences(short).set_index("censoring")
    assert table.at["last_known", "difference"] == pytest.approx(-75)
    assert pd.isna(table.at["assumed_in_place", "difference"])
    assert "nobody was observed" in table.at["assumed_in_place", "caution"]


def test_one_family_alone_none_and_all_unknown_give_no_rows() -> None:
    columns = list(continuation_differences(FEW).columns)
    for frame in (FEW.head(2), FEW.head(0), FEW.assign(device_family="unknown")):
        table = continuation_differences(frame)
        assert (len(table), list(table.columns)) == (0, columns)


def test_nobody_whose_device_ended_gives_a_difference_of_0_without_limits() -> None:
    row = continuation_differences(FEW.assign(ending="none", exit_day_last_known=400), at_risk_floor=1).iloc[
        0
    ]
    assert row["difference"] == 0
    assert pd.isna(row["difference_lower"])
    assert pd.isna(row["p_value"])
