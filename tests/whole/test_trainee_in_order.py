"""Is trainee T3 ready? Sixty ordered attempts, supervised and not, through the command line into the record."""

import csv
import json
from collections.abc import Callable
from datetime import date, timedelta
from math import log
from pathlib import Path
from typing import Any

import pytest

ATTEMPTS, SUPERVISED = 60, 40
# Of T3's attempts these failed, counted from 1: five while supervised, one alone.
FAILED = (3, 8, 9, 15, 22, 47)
# Two others, 100 attempts each: 5 failures of 40 women without a vaginal birth, 1 of 160 with one.
SETTINGS = """
[cusum]
acceptable = 0.10
unacceptable = 0.25
learning_limit = 3.0
"""


def insertion(
    number: int, day: date, clinician: str, *, failed: bool, births: int, supervised: str
) -> dict[str, Any]:
    """One row of the log."""
    return {
        "patient_ref": f"W{number:04d}",
        "visit_ref": f"V{number:04d}",
        "visit_date": day.isoformat(),
        "visit_kind": "insertion",
        "clinician_ref": clinician,
        "supervised": supervised,
        "vaginal_births": births,
        "caesarean_births": 0,
        "insertion_outcome": "failed" if failed else "placed",
    }


def rows() -> list[dict[str, Any]]:
    """The log: two clinicians who work alone, and T3 with an attempt a day from 1 May 2026."""
    start, told = date(2026, 1, 1), []
    for number in range(200):
        birth = number % 5 != 0
        failed = number in (0, 10, 25, 30, 45, 61)
        day = start + timedelta(days=number % 90)
        clinician = "C1" if number % 2 else "C2"
        told.append(insertion(number, day, clinician, failed=failed, births=int(birth), supervised="no"))
    for number in range(1, ATTEMPTS + 1):
        day = date(2026, 5, 1) + timedelta(days=number)
        alone = "no" if number > SUPERVISED else "yes"
        told.append(
            insertion(1000 + number, day, "T3", failed=number in FAILED, births=number % 2, supervised=alone)
        )
    # One attempt of unknown outcome, which no sum can count.
    unknown = insertion(2000, date(2026, 5, 20), "T3", failed=False, births=1, supervised="yes")
    told.append({**unknown, "insertion_outcome": ""})
    return told


@pytest.fixture
def tables(
    tmp_path: Path, command: Callable[..., Any], write_log: Callable[..., Path]
) -> Callable[[str], tuple[dict[str, Any], str]]:
    """Audit the log with these settings: the tables of record.json, and the report."""

    def run(settings: str) -> tuple[dict[str, Any], str]:
        log_file, out = write_log(tmp_path / "visits.csv", rows()), tmp_path / "out"
        (tmp_path / "clinic.toml").write_text(settings, encoding="utf-8")
        said = command(
            *("run", log_file, "--settings", tmp_path / "clinic.toml", "--period", "2026-Q2"),
            *("--data-to", "2026-07-31", "--out", out, "--force"),
        )
        assert said.code == 0, said.err
        record = json.loads((out / "record.json").read_text(encoding="utf-8"))
        for name in ("learning_curve", "learning_curve_attempts", "cusum_limits", "cusum_signals"):
            with (out / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
                assert len(list(csv.DictReader(file))) == len(record["tables"][name])
        return record["tables"], (out / "internal" / "report.html").read_text(encoding="utf-8")

    return run


def by_hand() -> list[float]:
    """The learning chart of T3: success adds log(0.9 / 0.75), failure log(0.10 / 0.25), never below 0, until 3."""
    sums, total = [], 0.0
    for number in range(1, ATTEMPTS + 1):
        total = max(0.0, total + (log(0.10 / 0.25) if number in FAILED else log(0.9 / 0.75)))
        sums.append(total)
        if total >= 3.0:
            break
    return sums


def test_the_record_holds_the_chart_attempt_by_attempt_with_its_levels_and_limit(
    tables: Callable[[str], tuple[dict[str, Any], str]], pick: Callable[..., dict[str, Any]]
) -> None:
    found, report = tables(SETTINGS)
    own = [row for row in found["learning_curve_attempts"] if row["stratum"] == "T3"]
    assert [row["attempt_number"] for row in own] == list(range(1, ATTEMPTS + 1))
    assert tuple(row["attempt_number"] for row in own if row["failed"]) == FAILED
    assert [row["practice"] for row in own] == ["supervised"] * SUPERVISED + ["independent"] * 20
    sums = by_hand()
    assert [row["learning_cusum"] for row in own[: len(sums)]] == pytest.approx(sums)
    assert [row["learning_cusum"] for row in own[len(sums) :]] == [None] * (ATTEMPTS - len(sums))
    total = 0.0
    for row in own:
        total += row["failed"] - row["expected"]
        assert row["observed_minus_expected"] == pytest.approx(total)
    limits = pick(found["cusum_limits"], chart="learning")
    assert (limits["acceptable"], limits["unacceptable"], limits["limit"]) == (0.10, 0.25, 3.0)
    assert (limits["level"], limits["limit_from"]) == ("set", "set")
    signal = pick(found["cusum_signals"], stratum="T3", chart="learning")
    assert (signal["state"], signal["first_signal"]) == ("signal", len(sums))
    assert signal["latest_signal_date"] == (date(2026, 5, 1) + timedelta(days=len(sums))).isoformat()
    assert f"The learning limit was reached at attempt {len(sums)}." in report
    assert "The service holds 10.0% failed acceptable, and 25.0% not." in report
    assert "no ground for a sign-off" not in report


def test_supervised_attempts_stand_apart_with_what_was_to_be_expected_of_the_women(
    tables: Callable[[str], tuple[dict[str, Any], str]], pick: Callable[..., dict[str, Any]]
) -> None:
    found, report = tables(SETTINGS)
    counts = {
        practice: pick(found["learning_curve"], stratum="T3", practice=practice)
        for practice in ("all", "supervised", "independent")
    }
    assert [(row["events"], row["n"], row["n_unknown"]) for row in counts.values()] == [
        (6, 60, 1),
        (5, 40, 1),
        (1, 20, 0),
    ]
    expected = sum(row["expected"] for row in found["learning_curve_attempts"] if row["stratum"] == "T3")
    assert counts["all"]["expected"] == pytest.approx(expected)
    assert counts["all"]["ratio"] == pytest.approx(6 / expected)
    assert "T3: 5 of 40 supervised and 1 of 20 alone failed" in report


def test_without_a_local_standard_the_service_stands_in_and_nobody_is_signed_off(
    tables: Callable[[str], tuple[dict[str, Any], str]], pick: Callable[..., dict[str, Any]]
) -> None:
    found, report = tables("")
    limits = pick(found["cusum_limits"], chart="learning")
    # 6 of 200 by the others and 1 of 20 by T3 alone.
    assert limits["acceptable"] == pytest.approx(7 / 220)
    assert limits["unacceptable"] == pytest.approx(14 / 213 / (1 + 14 / 213))
    assert (limits["events"], limits["n"], limits["level"]) == (7, 220, "service")
    assert limits["chance_if_false"] <= 0.05
    signal = pick(found["cusum_signals"], stratum="T3", chart="learning")
    assert (signal["state"], signal["first_signal"]) == ("none", None)
    assert "No standard of readiness is set here: reaching a limit is no ground for a sign-off." in report
    assert "That does not show the opposite" in report
