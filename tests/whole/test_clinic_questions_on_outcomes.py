"""More questions a clinic asks, end to end: clinicians, nothing seen, checks done, and what no table can show.

Outside sources: exact and Wilson limits by statsmodels, binomial tails by scipy; both also as rounded in R 4.2.2.
"""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from typing import Any

import pytest
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

Table = list[dict[str, Any]]
Audited = Callable[..., dict[str, Table]]
Pick = Callable[..., dict[str, Any]]
Row = dict[str, object]

FIRST_DAY = date(2026, 7, 1)


def insertions(number: int, values: Row, *, start: int = 0, day: date | None = None) -> Iterator[Row]:
    """Insertion rows of as many women, on one day or spread over the quarter."""
    for woman in range(start, start + number):
        on = FIRST_DAY + timedelta(days=woman % 90) if day is None else day
        yield {"patient_ref": f"W{woman:04d}", "visit_date": on, "visit_kind": "insertion", **values}


def contacts(women: range, day: date, values: Row) -> Iterator[Row]:
    """One contact of each of these women."""
    for woman in women:
        yield {"patient_ref": f"W{woman:04d}", "visit_date": day, "visit_kind": "follow_up", **values}


def test_six_failures_of_48_stand_beside_the_service_with_its_tail_and_no_rank(
    audited: Audited, pick: Pick
) -> None:
    failed, placed = {"insertion_outcome": "failed"}, {"insertion_outcome": "placed"}
    rows = [
        *insertions(6, {**failed, "clinician_ref": "C07"}),
        *insertions(42, {**placed, "clinician_ref": "C07"}, start=6),
        *insertions(25, {**failed, "clinician_ref": "C01"}, start=48),
        *insertions(567, {**placed, "clinician_ref": "C01"}, start=73),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["failed_insertions_by_clinician"], stratum="C07", window="rolling_12_months")
    assert (found["events"], found["n"], found["target_kind"]) == (6, 48, "service")
    assert found["target"] == pytest.approx(31 / 640, rel=1e-12)
    assert found["tail_upper"] == pytest.approx(binom.sf(5, 48, 31 / 640), rel=1e-9)
    # More than 2.5% by chance alone: inside the limits, though hardly.
    assert (round(found["tail_upper"], 4), found["signal"]) == (0.0277, "none")
    assert "rank" not in found
    assert [row["stratum"] for row in tables["failed_insertions_by_clinician"]][:2] == ["C01", "C07"]


def test_no_perforation_in_240_is_no_proof_of_fewer_than_published(audited: Audited, pick: Pick) -> None:
    rows = list(insertions(240, {"insertion_outcome": "placed", "perforation_suspected": "no"}))
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["perforation"], by="overall", definition="confirmed", window="period")
    assert (found["events"], found["n"]) == (0, 240)
    assert found["exact_upper"] == pytest.approx(proportion_confint(0, 240, method="beta")[1], rel=1e-9)
    assert round(100 * found["exact_upper"], 1) == 1.5
    compared = [row for row in tables["benchmark_comparison"] if row["outcome"] == "perforation"]
    judged = {row["verdict"] for row in compared if row["own_n"] == 240}
    assert judged == {"cannot_tell"}


def test_of_214_checks_due_in_the_quarter_171_were_done(audited: Audited, pick: Pick) -> None:
    placed: Row = {"insertion_outcome": "placed"}
    seen: Row = {"device_in_situ": "in_situ_confirmed"}
    june = date(2026, 6, 1)
    rows = [
        *insertions(214, placed, day=june),
        *contacts(range(171), june + timedelta(days=30), seen),
        # Not due: too recent, or expelled before the check.
        *insertions(10, placed, start=214, day=date(2026, 9, 15)),
        *insertions(3, placed, start=224, day=june),
        *contacts(range(224, 227), june + timedelta(days=10), {"device_in_situ": "complete_expulsion"}),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["check_done"], by="overall", window="period")
    assert (found["events"], found["n"]) == (171, 214)
    assert [round(100 * found[name], 1) for name in ("proportion", "ci_lower", "ci_upper")] == [
        79.9,
        74.0,
        84.7,
    ]
    assert (found["ci_lower"], found["ci_upper"]) == pytest.approx(
        proportion_confint(171, 214, method="wilson"), rel=1e-9
    )


def test_whether_dilation_makes_women_faint_no_table_says(audited: Audited, pick: Pick) -> None:
    placed: Row = {"insertion_outcome": "placed", "vaginal_births": 0}
    dilated, plain = placed | {"dilation": "graduated_metal"}, placed | {"dilation": "none"}
    rows = [
        *insertions(12, dilated | {"vasovagal_grade": 1, "onset_phase": "dilation"}),
        *insertions(4, dilated | {"vasovagal_grade": 1, "onset_phase": "sounding"}, start=12),
        *insertions(3, dilated | {"vasovagal_grade": 1, "onset_phase": "tenaculum"}, start=16),
        *insertions(81, dilated | {"vasovagal_grade": 0}, start=19),
        *insertions(10, plain | {"vasovagal_grade": 1, "onset_phase": "device_placement"}, start=100),
        *insertions(190, plain | {"vasovagal_grade": 0}, start=110),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    for name in ("vasovagal_by_technique", "vasovagal_technique_contrasts"):
        about = [row for row in tables[name] if row["technique"] == "dilation"]
        assert about
        for row in about:
            assert "difficulty was expected" in row["caution"]
            assert "does not show what dilation causes" in row["caution"]
    used = {"by": "overall", "technique": "dilation", "window": "rolling_12_months"}
    yes, no = (pick(tables["vasovagal_by_technique"], used=word, **used) for word in ("yes", "no"))
    assert (no["events"], no["n"]) == (10, 200)
    # A reaction at the tenaculum came before the dilation and cannot be laid at its door.
    assert (yes["events"], yes["n"], yes["n_earlier"]) == (16, 97, 3)
