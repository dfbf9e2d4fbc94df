"""Whole-column readings on their way through a whole log, worked by hand."""

from pathlib import Path

import pandas as pd

from audit.cohort.derive import derive_cohort
from audit.ingest.load import load_visits
from audit.records import VisitLog
from audit.settings import AuditSettings, Layout

HEAD = "patient_ref,visit_date,visit_kind,insertion_outcome"


def loaded(folder: Path, *lines: str, layout: Layout | None = None) -> VisitLog:
    """The log of these lines."""
    path = folder / "visits.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return load_visits(path, AuditSettings(layout=layout or Layout()), allow_set_aside=True)


def test_kinds_of_unknown_are_a_finding_and_the_visits_keep_one_unknown(tmp_path: Path) -> None:
    log = loaded(
        tmp_path,
        f"{HEAD},breastfeeding,vasovagal_grade",
        "W1,2026-07-01,insertion,placed,not asked,0",
        "W2,2026-07-02,insertion,placed,declined,not recorded",
        "W3,2026-07-03,insertion,placed,n/a,",
        "W4,2026-07-04,insertion,placed,yes,grade II",
    )
    assert log.visits["breastfeeding"].isna().tolist() == [True, True, True, False]
    assert log.visits["vasovagal_grade"].fillna(-1).tolist() == [0, -1, -1, 2]
    kinds = log.findings[log.findings["rule"] == "unknown_kinds"]
    assert dict(zip(kinds["column"], kinds["message"], strict=True)) == {
        "breastfeeding": "breastfeeding: 1 not asked, 1 declined, 1 not applicable. "
        "All count as unknown; empty cells are not among them.",
        "vasovagal_grade": "vasovagal_grade: 1 not recorded. "
        "All count as unknown; empty cells are not among them.",
    }
    assert set(log.findings["rule"]) == {"unknown_kinds"}


def test_a_log_of_spreadsheet_days_is_read_and_said(tmp_path: Path) -> None:
    log = loaded(tmp_path, HEAD, *(f"W{i},4629{i},insertion,placed" for i in range(4)))
    # 46204 is 2026-07-01, by the day count from 1970-01-01 = 25569.
    first = pd.Timestamp("1970-01-01") + pd.Timedelta(days=46290 - 25569)
    assert log.visits["visit_date"].tolist() == [first + pd.Timedelta(days=i) for i in range(4)]
    assert "dates_from_serials" in set(log.findings["rule"])


def test_one_spreadsheet_day_among_dates_is_set_aside(tmp_path: Path) -> None:
    log = loaded(tmp_path, HEAD, "W1,2026-07-01,insertion,placed", "W2,46205,insertion,placed")
    assert log.set_aside["reason"].tolist() == ["not_a_date"]


def test_dates_of_either_order_are_counted_in_a_finding(tmp_path: Path) -> None:
    log = loaded(
        tmp_path,
        HEAD,
        "W1,03/07/2026,insertion,placed",
        "W2,31/07/2026,insertion,placed",
        layout=Layout(date_order="day_month_year"),
    )
    finding = log.findings[log.findings["rule"] == "dates_fit_either_order"].iloc[0]
    assert finding["message"].startswith("visit_date: 1 of 2 dates would be another day")
    assert finding[["source", "row"]].tolist() == [0, 0]


def test_births_by_route_from_the_parity_reach_the_parity_groups(tmp_path: Path) -> None:
    log = loaded(
        tmp_path,
        f"{HEAD},parity_text",
        "W1,2026-07-01,insertion,placed,1 SVD 1 CS",
        "W2,2026-07-02,insertion,placed,2 CS",
        "W3,2026-07-03,insertion,placed,P2",
        "W4,2026-07-04,insertion,placed,nullip",
    )
    attempts = derive_cohort(log, AuditSettings()).attempts
    assert attempts["parity_group"].tolist() == [
        "any_vaginal_birth",
        "caesarean_only",
        "parous_route_unknown",
        "nulliparous",
    ]
