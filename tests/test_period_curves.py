"""The first year as the woman-time of one period tells it."""

from pathlib import Path

import pandas as pd
import pytest

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.period import period_from
from audit.period_curves import COLUMNS, first_year_in_period
from audit.settings import AuditSettings

HEAD = "patient_ref,visit_date,visit_kind,insertion_outcome,device_in_situ\n"

OTHERS = "".join(
    f"X{number},{day},insertion,placed,\n"
    for number, day in enumerate(
        ("2026-04-01", "2025-11-15", "2025-09-20", "2025-07-04", "2025-06-10", "2025-04-20", "2025-03-01")
    )
)


def figures(folder: Path, rows: str, period: str, data_to: str) -> pd.DataFrame:
    """The table for a log."""
    path = folder / "visits.csv"
    path.write_text(HEAD + rows, encoding="utf-8")
    rules = AuditSettings()
    log = load_visits(path, rules, data_to=data_to)
    return first_year_in_period(
        derive_cohort(log, rules).placements, rules, period=period_from(period), data_to=log.data_to
    )


def one(table: pd.DataFrame, figure: str) -> pd.Series:
    """The figure under the rule that the cycle follows."""
    return table[(table["figure"] == figure) & (table["censoring"] == "assumed_in_place")].iloc[0]


def test_an_expulsion_counts_in_the_quarter_it_fell_in_and_among_those_who_lived_in_it(
    tmp_path: Path,
) -> None:
    # Placement               2026-Q1      2026-Q2
    # W1  1 Jan  o============|============|==>        in place
    # W2  1 Jan  o============|====x                    expelled on 1 May, day 120
    # W3  1 Jan  o===x                                  expelled on 1 Feb, day 31
    # In the second quarter two are at risk on day 120 and one is expelled: 1/2. In the first, one of three: 1/3.
    # The others live every later day of the year in either quarter, and none of them day 31 or 120 in its quarter.
    rows = (
        "".join(f"W{number},2026-01-01,insertion,placed,\n" for number in (1, 2, 3))
        + "W2,2026-05-01,follow_up,,complete_expulsion\n"
        + "W3,2026-02-01,follow_up,,complete_expulsion\n"
        + OTHERS
    )
    second = figures(tmp_path, rows, "2026-Q2", "2026-12-31")
    assert second.loc[second["censoring"] == "assumed_in_place", "events"].tolist() == [1, 1]
    assert one(second, "expulsion")["incidence"] == pytest.approx(1 / 2)
    assert one(second, "continuation")["incidence"] == pytest.approx(1 / 2)
    first = figures(tmp_path, rows, "2026-Q1", "2026-12-31")
    assert one(first, "expulsion")["incidence"] == pytest.approx(1 / 3)


def test_time_is_read_to_the_reporting_lag_before_the_freeze(tmp_path: Path) -> None:
    rows = (
        "".join(f"W{number},2026-05-01,insertion,placed,\n" for number in range(4))
        + "W0,2026-09-25,follow_up,,complete_expulsion\n"
        + "W9,2025-08-01,insertion,placed,\n"
    )
    # Frozen on 14 October, the period is read to 14 September: the expulsion of the 25th is not part of it yet.
    early = figures(tmp_path, rows, "2026-Q3", "2026-10-14")
    assert one(early, "expulsion")["events"] == 0
    late = figures(tmp_path, rows, "2026-Q3", "2026-10-31")
    assert one(late, "expulsion")["events"] == 1


def test_a_period_in_which_nobody_lived_has_no_rows(tmp_path: Path) -> None:
    table = figures(tmp_path, "W1,2026-05-01,insertion,placed,\n", "2024-Q1", "2026-10-14")
    assert list(table.columns) == list(COLUMNS)
    assert table.empty
