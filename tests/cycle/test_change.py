"""Change since the last audit: worked by hand, refused where two audits are not alike, pooled over a chain."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis.strategies import SearchStrategy, integers, just, tuples

from audit.cycle import audit_cycle, read_record
from audit.cycle.compare import compared
from audit.cycle.measured import figures_of
from audit.errors import RecordRefused
from audit.records import AuditRecord, AuditResults
from audit.settings import AuditSettings, Thresholds, Windows
from audit.statistics.summaries import BOUNDS_ONLY, with_proportions
from reports.export import record_text

Make = Callable[..., Any]


def counts_of() -> SearchStrategy[tuple[int, int]]:
    """Events and of how many, with enough to compare."""
    return integers(10, 200).flatmap(lambda n: tuples(integers(0, n), just(n)))


def change(now: AuditResults, *then: AuditRecord) -> dict[str, dict[str, Any]]:
    """The comparison by figure."""
    table = audit_cycle(now, previous=then)["change_since_last"]
    return {row["figure"]: row for row in table.to_dict("records")}


def test_forty_two_of_sixty_and_then_fifty_five_of_sixty_two_have_improved(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    # Limits of the difference: method 10 of Newcombe RG, Stat Med 1998;17:873-890, worked from the two Wilson
    # intervals (57.5 to 80.1, 78.5 to 94.4); p from R's fisher.test(matrix(c(55, 7, 42, 18), 2)), from memory,
    # reproduced by computation with scipy.stats.fisher_exact.
    row = change(
        make_audit({"criteria": met({"P6": (55, 62)})}), make_record({"criteria": met({"P6": (42, 60)})})
    )["P6"]
    assert (row["then_proportion"], row["now_proportion"]) == (42 / 60, 55 / 62)
    assert row["difference"] == pytest.approx(55 / 62 - 42 / 60)
    assert [round(100 * row[name], 1) for name in ("difference_lower", "difference_upper")] == [4.3, 32.5]
    assert round(row["p_value"], 3) == 0.013
    assert row["verdict"] == "improved"
    assert row["target"] == 1.0


def test_fishers_p_agrees_with_scipy(make_audit: Make, make_record: Make, met: Make) -> None:
    stats = pytest.importorskip("scipy.stats")
    rng = np.random.default_rng(7)
    for _ in range(20):
        n_then, n_now = rng.integers(12, 90, 2)
        then, now = int(rng.integers(0, n_then + 1)), int(rng.integers(0, n_now + 1))
        row = change(
            make_audit({"criteria": met({"P6": (now, int(n_now))})}),
            make_record({"criteria": met({"P6": (then, int(n_then))})}),
        )["P6"]
        expected = stats.fisher_exact([[now, n_now - now], [then, n_then - then]]).pvalue
        assert row["p_value"] == pytest.approx(expected, rel=1e-9)


def test_fewer_failures_are_better_and_more_are_worse(make_audit: Make, make_record: Make) -> None:
    def failed(events: int, n: int) -> dict[str, pd.DataFrame]:
        row = {"by": "overall", "stratum": "overall", "window": "period", "unit": "visit"}
        return {
            "failed_insertions": with_proportions(
                pd.DataFrame([row | {"events": events, "n": n, "n_unknown": 0}])
            )
        }

    few, many = failed(10, 400), failed(40, 400)
    figure = "failed_insertions_per_visit"
    assert change(make_audit(few), make_record(many))[figure]["verdict"] == "improved"
    assert change(make_audit(many), make_record(few))[figure]["verdict"] == "worse"
    assert change(make_audit(few), make_record(few))[figure]["verdict"] == "no_clear_change"


def curve(figure: str, value: float, lower: float, upper: float, known: int = 85) -> dict[str, pd.DataFrame]:
    """A figure at 12 months with its limits, and how many outcomes are known of 100."""
    row = {"by": "overall", "stratum": "overall", "figure": figure, "placement_kind": "first"}
    row |= {"censoring": "assumed_in_place", "days": 365.0, "at_risk": 200, "events": 20, "caution": ""}
    row |= {"incidence": value, "ci_lower": lower, "ci_upper": upper}
    outcomes = {"by": "overall", "stratum": "overall", "window": "period", "placement_kind": "first"}
    outcomes |= {"events": known, "n": 100, "n_unknown": 0, "proportion": known / 100}
    return {"first_year_in_period": pd.DataFrame([row]), "outcome_known": pd.DataFrame([outcomes])}


def test_continuation_has_changed_and_is_neither_better_nor_worse(
    make_audit: Make, make_record: Make
) -> None:
    now, then = curve("continuation", 0.70, 0.65, 0.75), curve("continuation", 0.85, 0.80, 0.89)
    row = change(make_audit(now), make_record(then))["continuation_12_months"]
    assert row["verdict"] == "changed"
    assert row["difference"] == pytest.approx(-0.15)
    # Square and add: 0.05 and 0.04 below, 0.05 and 0.05 above (Zou GY, Donner A, Stat Med 2008;27:1693-1702).
    assert row["difference_lower"] == pytest.approx(-0.15 - np.hypot(0.05, 0.04))
    assert row["difference_upper"] == pytest.approx(-0.15 + np.hypot(0.05, 0.05))
    assert np.isnan(row["p_value"])


def test_a_curve_is_not_compared_while_too_few_outcomes_are_known(
    make_audit: Make, make_record: Make
) -> None:
    now, then = curve("expulsion", 0.05, 0.03, 0.07, known=55), curve("expulsion", 0.15, 0.12, 0.18, known=58)
    row = change(make_audit(now), make_record(then))["expulsion_12_months"]
    assert (row["verdict"], row["reason"]) == (
        "not_comparable",
        "The outcome at 12 months is known for too few.",
    )


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"definitions_version": "1.00000000"}, "The definition changed between the two audits."),
        ({"period": "2026"}, "The two periods share days."),
    ],
)
def test_audits_that_are_not_alike_are_not_compared(
    make_audit: Make, make_record: Make, met: Make, changes: dict[str, str], reason: str
) -> None:
    now = make_audit({"criteria": met({"P6": (55, 62)})}, period="2026-Q4")
    then = make_record({"criteria": met({"P6": (42, 60)})}, **changes)
    row = change(now, then)["P6"]
    assert (row["verdict"], row["reason"]) == ("not_comparable", reason)
    assert np.isnan(row["difference"])


def test_a_change_of_the_windows_is_a_change_of_definition(
    make_audit: Make, make_record: Make, checked: Make
) -> None:
    later = AuditSettings(service="A service", windows=Windows(check_to_day=70))
    row = change(
        make_audit({"check_done": checked(50, 60)}, settings=later),
        make_record({"check_done": checked(30, 60)}),
    )
    assert row["check_done"]["reason"] == "The definition changed between the two audits."


def test_a_new_version_of_one_criterion_leaves_the_others_comparable(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    table = met({"P6": (55, 62), "P7": (50, 62)})
    newer = table.assign(version=["2", "1"])
    found = change(make_audit({"criteria": newer}), make_record({"criteria": table}))
    assert found["P6"]["verdict"] == "not_comparable"
    assert found["P7"]["verdict"] == "no_clear_change"


@pytest.mark.parametrize(("missing", "verdict"), [(6, "improved"), (8, "not_comparable")])
def test_completeness_may_differ_by_ten_points_and_no_more(
    make_audit: Make, make_record: Make, met: Make, missing: int, verdict: str
) -> None:
    # 60 of 60 + 6 known is 90.9%, of 60 + 8 it is 88.2%.
    now = make_audit({"criteria": met({"P6": (55, 62)})})
    row = change(now, make_record({"criteria": met({"P6": (42, 60)}, not_recorded=missing)}))["P6"]
    assert row["verdict"] == verdict
    assert row["then_completeness"] == pytest.approx(60 / (60 + missing))
    if verdict == "not_comparable":
        assert row["reason"] == "Completeness differs by more than 10 points."


def test_exactly_ten_points_of_completeness_still_compare(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    # In binary 0.8 - 0.7 is a little more than 0.1.
    now = make_audit({"criteria": met({"P6": (75, 80)}, not_recorded=20)})
    then = make_record({"criteria": met({"P6": (42, 70)}, not_recorded=30)})
    assert change(now, then)["P6"]["verdict"] == "improved"


def test_too_few_and_too_little_recorded_are_not_compared(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    now = make_audit({"criteria": met({"P6": (9, 9)})})
    then = make_record({"criteria": met({"P6": (1, 60)})})
    assert change(now, then)["P6"]["reason"] == "Fewer than 10 in one of the two."
    lower = replace(now, settings=AuditSettings(service="A service", thresholds=Thresholds(at_risk_floor=5)))
    assert change(lower, then)["P6"]["verdict"] == "improved"
    bounds = make_record({"criteria": met({"P6": (42, 60)}).assign(caution=BOUNDS_ONLY)})
    assert change(make_audit({"criteria": met({"P6": (55, 62)})}), bounds)["P6"]["reason"] == (
        "Too much is not recorded in one of the two."
    )


def test_a_figure_that_only_one_audit_has_is_named_and_not_compared(
    make_audit: Make, make_record: Make, met: Make, checked: Make
) -> None:
    now = make_audit({"criteria": met({"P6": (55, 62)})})
    found = change(now, make_record({"check_done": checked(30, 60)}))
    assert found["P6"]["reason"] == "Not measured then."
    assert found["check_done"]["reason"] == "Not measured now."


def test_the_last_audit_is_the_latest_of_those_given(make_audit: Make, make_record: Make, met: Make) -> None:
    records = [
        make_record({"criteria": met({"P6": (events, 60)})}, period=period)
        for period, events in (("2026-Q1", 30), ("2026-Q2", 42), ("2025-Q4", 10))
    ]
    now = make_audit({"criteria": met({"P6": (55, 62)})})
    row = change(now, *records)["P6"]
    assert (row["then_period"], row["then_events"]) == ("2026-Q2", 42)
    series = audit_cycle(now, previous=records)["series"]
    assert series["period"].tolist() == ["2025-Q4", "2026-Q1", "2026-Q2", "2026-Q3"]
    assert series["events"].tolist() == [10, 30, 42, 55]


def test_a_chain_of_records_gives_the_same_series_as_all_of_them(
    make_audit: Make, make_record: Make, met: Make, tmp_path: Path
) -> None:
    counts = {"2025-Q4": 10, "2026-Q1": 30, "2026-Q2": 42, "2026-Q3": 55}
    audits = {
        period: make_audit({"criteria": met({"P6": (events, 62)})}, period=period)
        for period, events in counts.items()
    }
    chained: dict[str, pd.DataFrame] = {}
    record: list[AuditRecord] = []
    for period, plain in audits.items():
        chained = audit_cycle(plain, previous=record)
        path = tmp_path / f"{period}.json"
        path.write_text(record_text(replace(plain, tables={**plain.tables, **chained})), encoding="utf-8")
        record = [read_record(path)]
    every = [
        make_record({"criteria": met({"P6": (events, 62)})}, period=period)
        for period, events in counts.items()
        if period != "2026-Q3"
    ]
    whole = audit_cycle(audits["2026-Q3"], previous=every)
    pd.testing.assert_frame_equal(chained["series"], whole["series"])
    pd.testing.assert_frame_equal(chained["change_since_last"], whole["change_since_last"])


def test_the_later_freeze_of_one_period_counts(make_audit: Make, make_record: Make, met: Make) -> None:
    early = make_record({"criteria": met({"P6": (20, 60)})})
    late = make_record({"criteria": met({"P6": (25, 60)})}, data_to=pd.Timestamp("2026-09-01"))
    for records in ([early, late], [late, early]):
        tables = audit_cycle(make_audit({"criteria": met({"P6": (55, 62)})}), previous=records)
        assert tables["series"]["events"].tolist() == [25, 55]
        assert tables["change_since_last"]["then_events"].tolist() == [25]


def test_a_record_of_another_service_or_of_a_later_period_is_refused(
    make_audit: Make, make_record: Make, met: Make
) -> None:
    now = make_audit({"criteria": met({"P6": (55, 62)})})
    with pytest.raises(RecordRefused) as refusal:
        audit_cycle(now, previous=[make_record({}, service="Another")])
    assert str(refusal.value) == (
        "The record of 2026-Q2 is of another service, 'Another'; this audit is of 'A service'. "
        "Give a record of the same service."
    )
    with pytest.raises(RecordRefused, match="is of a later period"):
        audit_cycle(now, previous=[make_record({}, period="2026-09-01/2026-10-05")])
    with pytest.raises(RecordRefused) as refusal:
        audit_cycle(now, previous=[make_record({}, period="2026-Q4")])
    assert str(refusal.value) == (
        "The record of 2026-Q4 is of a later period than 2026-Q3. Give earlier records."
    )


def test_without_an_earlier_audit_and_without_a_plan_there_is_no_table(make_audit: Make, met: Make) -> None:
    assert audit_cycle(make_audit({"criteria": met({"P6": (55, 62)})}), previous=[]) == {}


def test_an_audit_of_nothing_beside_a_record_of_nothing_compares_nothing(
    make_audit: Make, make_record: Make
) -> None:
    tables = audit_cycle(make_audit({}), previous=[make_record({})])
    assert {name: len(table) for name, table in tables.items()} == {"change_since_last": 0, "series": 0}


@pytest.mark.parametrize("counts", [{"events": 90}, {"events": -1}, {"n": -5}])
def test_counts_that_cannot_be_are_no_measurement(
    make_audit: Make, make_record: Make, met: Make, counts: dict[str, int]
) -> None:
    spoilt = make_record({"criteria": met({"P6": (42, 60)}).assign(**counts)})
    assert (
        change(make_audit({"criteria": met({"P6": (55, 62)})}), spoilt)["P6"]["reason"]
        == "Not measured then."
    )


@given(then=counts_of(), now=counts_of())
def test_then_and_now_exchanged_turn_the_difference_and_the_verdict(
    then: tuple[int, int], now: tuple[int, int]
) -> None:
    def side(counts: tuple[int, int], first_day: str, last_day: str) -> dict[str, Any]:
        row = with_proportions(pd.DataFrame([{"events": counts[0], "n": counts[1], "n_unknown": 0}])).iloc[0]
        days = {"first_day": pd.Timestamp(first_day), "last_day": pd.Timestamp(last_day)}
        fixed = {"kind": "proportion", "better": "higher", "definitions_version": "1", "completeness": 1.0}
        return {**row.to_dict(), **fixed, **days}

    quarters = ("2026-01-01", "2026-03-31"), ("2026-04-01", "2026-06-30")
    forth = compared(side(then, *quarters[0]), side(now, *quarters[1]), Thresholds())
    back = compared(side(now, *quarters[0]), side(then, *quarters[1]), Thresholds())
    assert forth.difference == pytest.approx(-back.difference, abs=1e-12)
    assert (forth.lower, forth.upper) == pytest.approx((-back.upper, -back.lower), abs=1e-12)
    assert forth.p_value == pytest.approx(back.p_value, abs=1e-9)
    turned = {"improved": "worse", "worse": "improved"}
    assert back.verdict == turned.get(forth.verdict, forth.verdict)


def test_a_criterion_takes_the_place_of_the_figure_of_its_name_with_its_target_and_version() -> None:
    row = {
        "criterion": "check_done",
        "title": "Check",
        "by": "overall",
        "stratum": "overall",
        "window": "period",
    }
    criteria = pd.DataFrame([{**row, "better": "higher", "version": "2", "target": 0.9, "events": 1, "n": 2}])
    found = [figure for figure in figures_of({"criteria": criteria}) if figure.id == "check_done"]
    assert [figure.table for figure in found] == ["criteria"]
    assert [figure.table for figure in figures_of({}) if figure.id == "check_done"] == ["check_done"]
