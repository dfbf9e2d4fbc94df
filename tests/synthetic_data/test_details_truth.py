"""The details of the invented log come back as they were drawn, and move nothing else."""

from dataclasses import replace

import pandas as pd
import pytest

from synthetic_data.details_course import Details
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

OWN = ["device_min_sound_mm", "device_max_sound_mm", "position_finding"]
OWN += ["removal_delay_days", "removal_reason_second"]


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    """The invented log."""
    return generate_visits(LARKFIELD, seed=8)


def test_other_details_move_nothing_else(visits: pd.DataFrame) -> None:
    other = Details(positions=(("low_in_cavity", 1.0),), wait_days=40.0, wait_recorded=1.0, second_reasons=())
    changed = generate_visits(replace(LARKFIELD, details=other), seed=8)
    pd.testing.assert_frame_equal(
        visits.drop(columns=OWN), changed.drop(columns=OWN), check_categorical=False
    )
    assert changed["removal_reason_second"].isna().all()
    assert not (changed["position_finding"] == "fundal").any()


def test_the_truth_of_the_details_comes_back(visits: pd.DataFrame) -> None:
    second = visits["removal_reason_second"][visits["removal_reason_main"] == "bleeding"]
    # Four standard errors of a share of 0.15.
    share = (second == "pain").mean()
    assert share == pytest.approx(0.15, abs=4 * (0.15 * 0.85 / len(second)) ** 0.5)
    wait = visits["removal_delay_days"].dropna().astype(float)
    # An exponential wait of 6 days on average, cut down to whole days, is 1 / (e^(1/6) - 1) days on average.
    assert wait.mean() == pytest.approx(5.51, abs=4 * 6 / len(wait) ** 0.5)
    copper = visits[(visits["device_class"] == "copper_t_380") & visits["insertion_outcome"].notna()]
    assert set(copper["device_min_sound_mm"].dropna()) == {"65"}
