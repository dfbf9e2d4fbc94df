"""Periods: their labels, and that what falls into the parts adds up to the whole."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.errors import PeriodError
from audit.period import due_in_period, in_period, observed_in_period, period_from, twelve_months_to
from audit.records import Cohort, Period
from audit.tallies import tally_spells

FIRST_DAY = pd.Timestamp("2025-01-01")
QUARTERS = ("2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4", "2026-Q1", "2026-Q2")
RULES = ("last_known", "assumed_in_place")


@pytest.mark.parametrize(
    ("label", "first", "last"),
    [
        ("2026-Q3", "2026-07-01", "2026-09-30"),
        ("2026q1", "2026-01-01", "2026-03-31"),
        (" 2026-Q4 ", "2026-10-01", "2026-12-31"),
        ("2024-02", "2024-02-01", "2024-02-29"),
        ("2026", "2026-01-01", "2026-12-31"),
        ("2026-07-15/2026-08-01", "2026-07-15", "2026-08-01"),
        ("2026-07-15/2026-07-15", "2026-07-15", "2026-07-15"),
    ],
)
def test_a_label_names_a_period_by_its_first_and_last_day(label: str, first: str, last: str) -> None:
    period = period_from(label)
    assert (period.first_day, period.last_day) == (pd.Timestamp(first), pd.Timestamp(last))


def test_a_quarter_is_labelled_in_one_way() -> None:
    assert period_from("2026q3").label == "2026-Q3"


def test_a_period_is_its_own_label() -> None:
    period = Period("pilot", pd.Timestamp("2026-07-01"), pd.Timestamp("2026-07-31"))
    assert period_from(period) is period


@pytest.mark.parametrize(
    "label",
    ["", "Q3", "2026-Q5", "2026-13", "2026-00", "July 2026", "2026-07-01", "2026-02-30/2026-03-01", "a/b/c"],
)
def test_what_is_no_period_is_refused_with_what_to_write(label: str) -> None:
    with pytest.raises(PeriodError) as refusal:
        period_from(label)
    assert str(refusal.value) == (
        f"period '{label}' is not understood. "
        "Write a quarter (2026-Q3), a month (2026-07), a year (2026) or two dates (2026-07-01/2026-09-30)."
    )


def test_a_period_that_ends_before_it_begins_is_refused() -> None:
    with pytest.raises(
        PeriodError,
        match=r"^period '2026-09-30/2026-07-01' ends before it begins. Put the earlier date first.$",
    ):
        period_from("2026-09-30/2026-07-01")


def test_twelve_months_end_with_the_period() -> None:
    year = twelve_months_to(period_from("2026-Q3"))
    assert (year.first_day, year.last_day) == (pd.Timestamp("2025-10-01"), pd.Timestamp("2026-09-30"))
    assert year.label == "12 months to 2026-Q3"


def test_twelve_months_to_the_end_of_a_leap_february_begin_in_march() -> None:
    assert twelve_months_to(period_from("2024-02")).first_day == pd.Timestamp("2023-03-01")


def test_an_attempt_on_the_first_and_on_the_last_day_falls_into_the_period() -> None:
    days = ["2026-06-30", "2026-07-01", "2026-09-30", "2026-10-01"]
    attempts = pd.DataFrame({"attempt_date": pd.to_datetime(days), "attempt": range(4)})
    assert in_period(attempts, "2026-Q3")["attempt"].tolist() == [1, 2]
    assert in_period(attempts, "2024")["attempt"].tolist() == []


def test_a_check_is_due_in_the_period_that_holds_its_last_day() -> None:
    placements = pd.DataFrame({"placement_date": pd.to_datetime(["2026-05-05", "2026-05-06", "2026-08-05"])})
    # 56 days after 5 May is 30 June, after 6 May 1 July and after 5 August 30 September.
    due = due_in_period(placements, "2026-Q3", days=56)["placement_date"]
    assert due.dt.date.astype(str).tolist() == ["2026-05-06", "2026-08-05"]


def test_the_quarters_of_a_drawn_log_share_out_each_ending_and_each_day(
    cohort_of: Callable[..., Cohort],
) -> None:
    placements = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-03-01 | insertion  | placed            |
        W1          | 2025-04-10 | follow_up  |                   | complete_expulsion
        """
    ).placements
    first, second = (observed_in_period(placements, quarter) for quarter in ("2025-Q1", "2025-Q2"))
    # Placed 31 days before 1 April: 30 days up to 31 March, and 10 more to day 40.
    names = ["entry_day", "exit_day_last_known", "ending"]
    assert first[names].to_numpy().tolist() == [[0, 30, "none"]]
    assert second[names].to_numpy().tolist() == [[30, 40, "expulsion_complete"]]
    assert observed_in_period(placements, "2025-Q3").empty


def test_a_spell_is_not_at_risk_on_its_entry_day_so_that_no_event_counts_twice(
    cohort_of: Callable[..., Cohort],
) -> None:
    placements = cohort_of(
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_in_situ
        W1          | 2025-03-01 | insertion  | placed            |
        W1          | 2025-03-31 | follow_up  |                   | complete_expulsion
        W2          | 2025-03-31 | insertion  | placed            |
        W2          | 2025-03-31 | removal    |                   |
        """,
        data_to="2025-12-31",
    ).placements
    # Both end on the last day of the first quarter, W2 on day 0.
    assert _events(placements, "2025-Q1", "last_known") == 2
    assert _events(placements, "2025-Q2", "last_known") == 0


@st.composite
def drawn_placements(draw: st.DrawFn) -> pd.DataFrame:
    """Placements of a year, each with or without an ending, under both rules."""
    size = draw(st.integers(1, 12))
    days = st.integers(0, 330)
    placed, lived, carried = (draw(st.lists(days, min_size=size, max_size=size)) for _ in range(3))
    ended = draw(st.lists(st.booleans(), min_size=size, max_size=size))
    known = np.minimum(lived, 200)
    assumed = np.where(ended, known, np.maximum(known, np.minimum(carried, 200)))
    return pd.DataFrame(
        {
            "placement_date": FIRST_DAY + pd.to_timedelta(placed, unit="D"),
            "ending": np.where(ended, "removal", "none"),
            "ending_day": np.where(ended, known, np.nan).astype("float64"),
            "exit_day_last_known": known.astype("float64"),
            "exit_day_assumed_in_place": assumed.astype("float64"),
        }
    )


def _events(placements: pd.DataFrame, period: str | None, rule: str) -> int:
    """Endings of a period, or of all time."""
    part = placements if period is None else observed_in_period(placements, period)
    tally = tally_spells(part, by="overall", censoring=rule)
    return int(tally.loc[tally["ending"] != "none", "n"].sum())


def _days(placements: pd.DataFrame, period: str | None, rule: str) -> int:
    """Woman-days of a period, or of all time."""
    part = placements if period is None else observed_in_period(placements, period)
    tally = tally_spells(part, by="overall", censoring=rule)
    return int(((tally["exit_day"] - tally["entry_day"]) * tally["n"]).sum())


@pytest.mark.parametrize("rule", RULES)
@settings(max_examples=40)
@given(placements=drawn_placements())
def test_the_quarters_add_up_to_all_endings_and_all_woman_time(placements: pd.DataFrame, rule: str) -> None:
    assert sum(_events(placements, quarter, rule) for quarter in QUARTERS) == _events(placements, None, rule)
    assert sum(_days(placements, quarter, rule) for quarter in QUARTERS) == _days(placements, None, rule)


@pytest.mark.parametrize("rule", RULES)
@settings(max_examples=40)
@given(placements=drawn_placements(), cut=st.integers(0, 500))
def test_any_day_cuts_endings_and_woman_time_in_two(placements: pd.DataFrame, cut: int, rule: str) -> None:
    last = FIRST_DAY + pd.Timedelta(days=cut)
    before = Period("before", FIRST_DAY, last)
    after = Period("after", last + pd.Timedelta(days=1), FIRST_DAY + pd.Timedelta(days=2000))
    for count in (_events, _days):
        assert count(placements, before, rule) + count(placements, after, rule) == count(
            placements, None, rule
        )
