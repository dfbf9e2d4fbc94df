"""Net and gross rates of endings on hand-built placements."""

import pandas as pd
import pytest

from audit.measures.removal import life_table_rates


def placements(*told: tuple[str, str | None, int, int]) -> pd.DataFrame:
    """Placements from (ending, group of reasons, exit day, how many), alike under both rules."""
    rows = [row[:3] for row in told for _ in range(row[3])]
    frame = pd.DataFrame(rows, columns=["ending", "removal_group", "exit_day_last_known"])
    return frame.assign(
        exit_day_assumed_in_place=frame["exit_day_last_known"], placement_kind="first", device_family="copper"
    )


# 100 placements: in the first month 6 expelled, 4 of them in part, and 10 removed for bleeding; 84 go on.
HUNDRED = placements(
    ("expulsion_complete", None, 5, 2),
    ("expulsion_partial", None, 10, 4),
    ("removal", "bleeding_or_pain", 12, 10),
    ("none", None, 1200, 84),
)


def test_net_lets_other_endings_act_and_gross_does_not() -> None:
    found = life_table_rates(HUNDRED, months=(12,))
    found = found[found["censoring"] == "last_known"].set_index("cause")
    assert found.index.tolist() == ["expulsion", "removal_bleeding_or_pain"]
    assert found["cause_specific"].tolist() == pytest.approx([6 / 100, 10 / 100])
    assert found["cause_deleted"].tolist() == pytest.approx([6 / 95, 10 / 97])
    assert found["survival"].tolist() == pytest.approx([0.84, 0.84])
    assert found["events"].tolist() == [6, 10]


def test_both_rules_and_three_readings_stand_side_by_side() -> None:
    found = life_table_rates(HUNDRED, by="device_family")
    assert len(found) == 2 * 2 * 3
    assert found["months"].unique().tolist() == [12, 24, 36]
    assert set(found["stratum"]) == {"copper"}


def test_a_death_competes_and_a_removal_without_a_reason_is_a_cause_of_its_own() -> None:
    more = pd.concat([HUNDRED, placements(("death", None, 3, 1), ("removal", None, 4, 1))], ignore_index=True)
    causes = life_table_rates(more, months=(12,))["cause"].unique().tolist()
    assert causes == ["expulsion", "removal_bleeding_or_pain", "removal_unknown", "death"]


def test_a_tally_gives_what_its_rows_give() -> None:
    tally = HUNDRED.groupby(list(HUNDRED.columns), dropna=False, as_index=False).size()
    pd.testing.assert_frame_equal(
        life_table_rates(HUNDRED), life_table_rates(tally.rename(columns={"size": "n"}))
    )


def test_no_placement_and_no_ending_give_no_rows() -> None:
    assert len(life_table_rates(HUNDRED.head(0))) == 0
    assert len(life_table_rates(HUNDRED.tail(20))) == 0
