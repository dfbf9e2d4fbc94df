"""Questions a clinic asks, answered end to end: a log in, the command line, the figure in record.json.

Outside sources: Wilson, Newcombe, Katz and Fisher limits were computed with R 4.2.2 (prop.test, fisher.test,
epitools) and statsmodels, rounded as shown; cumulative incidences with R's survival and cmprsk.
"""

from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from statsmodels.stats.proportion import proportion_confint

import audit

Table = list[dict[str, Any]]
Audited = Callable[..., dict[str, Table]]
Pick = Callable[..., dict[str, Any]]
Rows = Callable[..., Iterator[dict[str, object]]]
Percent = Callable[..., tuple[float, ...]]


def test_failed_insertions_of_a_quarter_leave_deferred_and_unknown_apart(
    audited: Audited, pick: Pick, insertions: Rows, as_percent: Percent
) -> None:
    rows = [
        *insertions(609, {"insertion_outcome": "placed"}),
        *insertions(31, {"insertion_outcome": "failed", "failure_reason": "pain"}, start=609),
        *insertions(22, {"insertion_outcome": "deferred_not_started"}, start=640),
        *insertions(4, {"insertion_outcome": "unknown"}, start=662),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["failed_insertions"], by="overall", unit="visit", window="period")
    assert (found["events"], found["n"], found["n_deferred"], found["n_unknown"]) == (31, 640, 22, 4)
    assert as_percent(found, "proportion", "ci_lower", "ci_upper") == (4.8, 3.4, 6.8)
    assert (found["ci_lower"], found["ci_upper"]) == pytest.approx(
        proportion_confint(31, 640, method="wilson"), rel=1e-9
    )
    assert (found["exact_lower"], found["exact_upper"]) == pytest.approx(
        proportion_confint(31, 640, method="beta"), rel=1e-9
    )


def test_vasovagal_reactions_are_compared_by_cervical_parity(
    audited: Audited, pick: Pick, insertions: Rows, as_percent: Percent
) -> None:
    placed: dict[str, object] = {"insertion_outcome": "placed"}
    nobody, somebody = placed | {"vaginal_births": 0}, placed | {"vaginal_births": 2}
    rows = [
        *insertions(9, nobody | {"vasovagal_grade": 1}),
        *insertions(111, nobody | {"vasovagal_grade": 0}, start=9),
        *insertions(4, somebody | {"vasovagal_grade": 2}, start=120),
        *insertions(276, somebody | {"vasovagal_grade": 0}, start=124),
        *insertions(5, nobody, start=400),
        *insertions(8, somebody, start=405),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    any_reaction = {"by": "cervical_parity", "definition": "vasovagal_any", "window": "period"}
    without = pick(tables["vasovagal_by_parity"], stratum="no", **any_reaction)
    births = pick(tables["vasovagal_by_parity"], stratum="yes", **any_reaction)
    assert [without[name] for name in ("events", "n", "n_unknown")] == [9, 120, 5]
    assert [births[name] for name in ("events", "n", "n_unknown")] == [4, 280, 8]
    assert as_percent(without, "proportion", "ci_lower", "ci_upper") == (7.5, 4.0, 13.6)
    assert as_percent(births, "proportion", "ci_lower", "ci_upper") == (1.4, 0.6, 3.6)
    contrast = pick(tables["vasovagal_contrasts"], group="no", reference="yes", **any_reaction)
    assert contrast["ratio"] == pytest.approx(5.25, abs=1e-12)
    assert (round(contrast["ratio_lower"], 2), round(contrast["ratio_upper"], 1)) == (1.65, 16.7)
    assert as_percent(contrast, "difference", "difference_lower", "difference_upper") == (6.1, 1.9, 12.3)
    assert round(contrast["p_value"], 4) == 0.0035


# Month and ending of twelve women; "seen" is a check with the device in place.
TWELVE_WOMEN = [
    (1, "expelled"),
    (2, "seen"),
    (3, "removed"),
    (4, "expelled"),
    (6, "removed"),
    (6, "seen"),
    (8, "expelled"),
    (9, "pregnant"),
    *[(12, "seen")] * 4,
]
CONTACT = {
    "expelled": {"visit_kind": "follow_up", "device_in_situ": "complete_expulsion"},
    "seen": {"visit_kind": "follow_up", "device_in_situ": "in_situ_confirmed"},
    "removed": {"visit_kind": "removal", "device_in_situ": "removed_here", "removal_reason_main": "pain"},
    "pregnant": {"visit_kind": "follow_up", "device_in_situ": "in_situ_confirmed", "pregnancy": "ectopic"},
}


def twelve_women() -> Iterator[dict[str, object]]:
    """The twelve women as a log; a month is a twelfth of 365 days."""
    placed = date(2025, 1, 6)
    for woman, (month, ending) in enumerate(TWELVE_WOMEN):
        name = {"patient_ref": f"W{woman}"}
        yield {**name, "visit_date": placed, "visit_kind": "insertion", "insertion_outcome": "placed"}
        yield {**name, "visit_date": placed + timedelta(days=round(month * 365 / 12)), **CONTACT[ending]}


def test_expulsion_by_twelve_months_is_given_as_incidence_and_as_one_minus_kaplan_meier(
    audited: Audited, pick: Pick
) -> None:
    tables = audited(list(twelve_women()), period="2025-Q1", data_to="2026-01-31")
    a_year = {"by": "overall", "placement_kind": "first", "censoring": "last_known", "days": 365}
    expelled = pick(tables["expulsion_incidence"], cause="expulsion", **a_year)
    assert round(expelled["incidence"], 4) == 0.2819
    assert round(expelled["one_minus_km"], 4) == 0.3210
    assert (expelled["at_risk"], expelled["cumulative_events"]) == (4, 3)
    assert expelled["caution"].startswith("Fewer than 10")
    endings = {row["cause"]: row for row in tables["ending_incidence"] if row["days"] == 365}
    by_cause = {
        cause: pick(tables["ending_incidence"], cause=cause, **a_year)["incidence"] for cause in endings
    }
    assert {cause: round(value, 4) for cause, value in by_cause.items() if value} == {
        "expulsion": 0.2819,
        "removal": 0.1833,
        "pregnancy": 0.1069,
    }
    in_use = pick(tables["continuation_curve"], **a_year)
    assert round(in_use["survival"], 4) == 0.4278
    assert sum(by_cause.values()) + in_use["survival"] == pytest.approx(1, abs=1e-12)
    assert expelled["survival"] == pytest.approx(in_use["survival"], abs=1e-12)


def test_an_emergency_placement_is_in_time_by_hours_or_by_ovulation(
    audited: Audited, pick: Pick, insertions: Rows, as_percent: Percent
) -> None:
    emergency: dict[str, object] = {"insertion_outcome": "placed", "indication": "emergency_contraception"}
    rows = [
        *insertions(36, emergency | {"ec_hours_since_upsi": 90}),
        *insertions(1, emergency | {"ec_hours_since_upsi": 150, "ec_days_after_ovulation": 4}, start=36),
        *insertions(1, emergency | {"ec_hours_since_upsi": 130, "visit_ref": "late1"}, start=37),
        *insertions(1, emergency | {"ec_hours_since_upsi": 130, "visit_ref": "late2"}, start=38),
        *insertions(1, emergency | {"visit_ref": "blank"}, start=39),
    ]
    tables = audited(rows, period="2026-Q3", data_to="2026-09-30")
    found = pick(tables["emergency_placement_in_time"], window="period")
    assert (found["events"], found["n"], found["n_by_ovulation"]) == (37, 40, 1)
    assert found["n"] - found["events"] == 3
    assert found["n_not_shown"] == 1
    assert as_percent(found, "proportion", "ci_lower", "ci_upper") == (92.5, 80.1, 97.4)
    assert (found["ci_lower"], found["ci_upper"]) == pytest.approx(
        proportion_confint(37, 40, method="wilson"), rel=1e-9
    )
    listed = {
        row["visit_ref"]
        for row in tables["criteria_cases"]
        if row["criterion"] == "emergency_placement_in_time"
    }
    assert listed == {"late1", "late2", "blank"}


ONE_WOMAN = [
    {
        "visit_date": "2026-03-03",
        "visit_kind": "insertion",
        "clinician_ref": "C01",
        "insertion_outcome": "failed",
        "failure_reason": "could_not_pass_internal_os",
    },
    {
        "visit_date": "2026-03-20",
        "visit_kind": "insertion",
        "clinician_ref": "C04",
        "insertion_outcome": "placed",
    },
    {"visit_date": "2026-05-11", "visit_kind": "follow_up", "device_in_situ": "complete_expulsion"},
    {
        "visit_date": "2026-06-15",
        "visit_kind": "insertion",
        "clinician_ref": "C04",
        "insertion_outcome": "placed",
    },
]


def test_one_woman_may_have_three_attempts_two_devices_and_one_expulsion(
    audited: Audited, pick: Pick
) -> None:
    rows = [{"patient_ref": "W1", **row} for row in ONE_WOMAN]
    tables = audited(rows, period="2026", data_to="2026-12-31")
    whole = {"by": "overall", "window": "period"}
    per_attempt = pick(tables["failed_insertions"], unit="operator_attempt", **whole)
    assert (per_attempt["events"], per_attempt["n"]) == (1, 3)
    clinicians = {
        row["stratum"]: (row["events"], row["n"])
        for row in tables["failed_insertions_by_clinician"]
        if row["window"] == "period"
    }
    assert clinicians == {"C01": (1, 1), "C04": (0, 2)}
    # She had a device within 90 days of the failure; the placement in June opens an episode of its own.
    episodes = pick(tables["failed_insertions"], unit="woman_90_days", **whole)
    assert (episodes["events"], episodes["n"]) == (0, 2)
    load = {row["item"]: row["n"] for row in tables["caseload"] if row["window"] == "period"}
    assert [load[item] for item in ("women", "attempts", "failed", "placed")] == [1, 3, 1, 2]
    assert [load[item] for item in ("first_placements", "repeat_placements")] == [1, 1]
    spell = {"by": "overall", "censoring": "last_known", "cause": "expulsion"}
    first = [
        row
        for row in tables["expulsion_incidence"]
        if row["placement_kind"] == "first" and all(row[name] == value for name, value in spell.items())
    ]
    assert max(row["cumulative_events"] for row in first) == 1
    assert min(row["days"] for row in first if row["events"]) == 52
    hers = pick(tables["continuation_summary"], by="overall", placement_kind="first", censoring="last_known")
    assert (hers["n"], hers["events"]) == (1, 1)
    # Over both devices she is one unit of chance, so that nothing can be said of limits.
    both = [
        row
        for row in tables["expulsion_all_placements"]
        if all(row[name] == value for name, value in spell.items())
    ]
    assert {(row["n"], row["n_women"], row["poolable"]) for row in both} == {(2, 1, False)}
    assert max(row["cumulative_events"] for row in both) == 1
    assert {row["ci_lower"] for row in both} == {None}
    before = {
        row["stratum"]: row["cumulative_events"]
        for row in tables["repeat_expulsion"]
        if row["censoring"] == "last_known" and row["days"] == 365
    }
    assert before == {"not recorded": 1, "yes": 0}


def test_the_second_device_of_a_woman_is_marked_as_one_after_an_expulsion(
    tmp_path: Path, write_log: Callable[..., Path]
) -> None:
    log = audit.load_visits(
        write_log(tmp_path / "v.csv", [{"patient_ref": "W1", **row} for row in ONE_WOMAN])
    )
    placements = audit.derive_cohort(log, audit.AuditSettings()).placements
    assert placements["placement_kind"].tolist() == ["first", "repeat"]
    assert placements["prior_expulsion"].fillna(False).tolist() == [False, True]
    assert placements["ending"].tolist() == ["expulsion_complete", "none"]
