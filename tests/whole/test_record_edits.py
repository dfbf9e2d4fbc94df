"""Records of an earlier audit changed by hand, at random and always alike: used or refused, never a fault."""

import json
import random
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import audit
from audit.cycle import audit_cycle, read_record
from audit.errors import RecordRefused
from audit.period import period_from
from audit.records import AuditResults
from reports.export import record_text
from reports.sections.actions import decided
from reports.sections.changes import change_blocks, series_blocks, since_last
from synthetic_data.demo import DEMO_PERIOD

Data = dict[str, Any]
Luck = random.Random
EDITS = 200
GIVE = "Give the record.json that an earlier audit wrote."
# The tables that the next audit reads, and no others, so that an edit is likely to touch what matters.
READ = (
    *("failed_insertions", "check_done", "outcome_known", "first_year_in_period"),
    *("process_of_care", "criteria", "series"),
)
ODD = (
    *(None, True, False, -1, 0, 3.5, 10**400, -(10**20), 1e308, float("nan"), float("inf"), "", "n", "12"),
    *("2026-02-30", "overall", [], [1], {}, {"a": []}, "é" * 300),
)
KINDS = ("text", "integer", "number", "flag", "date", "colour", "", None, 3, ["text"])


def overall(table: pd.DataFrame) -> pd.DataFrame:
    """The rows of a table that are about all women and the period."""
    labels = {"by": "overall", "window": "period"}
    return table[
        [all(row.get(name, value) == value for name, value in labels.items()) for _, row in table.iterrows()]
    ]


@pytest.fixture(scope="module")
def last_audit(small_clinic: Any) -> AuditResults:
    """The small clinic's audit of its last quarter, in a few rows of what the audit cycle reads."""
    settings = audit.read_settings(small_clinic.settings)
    log = audit.load_visits(small_clinic.log, settings=settings)
    results = audit.run_audit(log, settings, period=DEMO_PERIOD)
    tables = {name: overall(results.tables[name]) for name in READ if name in results.tables}
    few = {name: tables[name].iloc[::6] for name in ("criteria", "process_of_care")}
    return replace(results, tables={**tables, **few})


@pytest.fixture(scope="module")
def small_record(last_audit: AuditResults, tmp_path_factory: pytest.TempPathFactory) -> Data:
    """The record of the quarter before, itself made with one earlier, with what the next audit reads of it."""
    before, between = (replace(last_audit, period=period_from(label)) for label in ("2026-Q1", "2026-Q2"))
    path = tmp_path_factory.mktemp("earlier") / "record.json"
    path.write_text(record_text(before), encoding="utf-8")
    series = audit_cycle(between, previous=[read_record(path)])["series"]
    data: Data = json.loads(record_text(replace(between, tables={**between.tables, "series": series})))
    return data


@pytest.fixture
def used(last_audit: AuditResults, tmp_path: Path) -> Callable[[Data], Mapping[str, Any]]:
    """Take a record as the last audit's, as a run would: read it, compare with it, write what the page says."""

    def use(data: Data) -> Mapping[str, Any]:
        path = tmp_path / "record.json"
        path.write_text(json.dumps(data), encoding="utf-8")
        tables = audit_cycle(last_audit, previous=[read_record(path)])
        shown = replace(last_audit, tables={**last_audit.tables, **tables})
        change_blocks(shown)
        series_blocks(shown)
        decided(shown)
        for figure in ("failed_insertions_per_visit", "expulsion_12_months", "check_done"):
            since_last(shown, figure)
        return tables

    return use


BARE = {
    "no row": "patient_ref,visit_date,visit_kind,insertion_outcome",
    "follow-ups only": "patient_ref,visit_date,visit_kind,device_in_situ\nW1,2026-05-01,follow_up,unknown",
}


@pytest.mark.parametrize("text", BARE.values(), ids=list(BARE))
def test_the_record_of_a_log_that_holds_next_to_nothing_is_no_record_changed_by_hand(
    tmp_path: Path, text: str
) -> None:
    visits, path = tmp_path / "visits.csv", tmp_path / "record.json"
    visits.write_text(f"{text}\n", encoding="utf-8")
    log = audit.load_visits(visits)
    path.write_text(record_text(audit.run_audit(log, period="2026-Q2")), encoding="utf-8")
    later = audit.run_audit(log, period="2026-Q3", previous=read_record(path))
    # Its series goes into the next record.
    path.write_text(record_text(later), encoding="utf-8")
    assert read_record(path).period.label == "2026-Q3"


# What a hand may do to a record


def swap_kind(luck: Luck, data: Data) -> None:
    """A column is said to hold something else."""
    kinds = data["columns"][luck.choice(list(data["columns"]))]
    kinds[luck.choice(list(kinds))] = luck.choice(KINDS)


def swap_values(luck: Luck, data: Data) -> None:
    """A whole column becomes text, numbers or a list, and says so or not."""
    name = luck.choice(list(data["tables"]))
    column = luck.choice(list(data["columns"][name]))
    turn: Callable[[Any], Any] = luck.choice([str, lambda value: [value], lambda value: 7, lambda value: 0.5])
    for row in data["tables"][name]:
        row[column] = turn(row[column])
    if luck.random() < 0.5:
        data["columns"][name][column] = luck.choice(["text", "number"])


def odd_value(luck: Luck, data: Data) -> None:
    """Values that do not belong there, in one column of a table."""
    rows = data["tables"][luck.choice(list(data["tables"]))]
    column = luck.choice(list(rows[0])) if rows else "by"
    for row in rows if luck.random() < 0.5 else rows[:1]:
        row[column] = luck.choice(ODD)


def drop_key(luck: Luck, data: Data) -> None:
    """A key of the record, of its period, of a table or of a row is gone."""
    name = luck.choice(list(data["tables"]))
    places = [data, data["period"], data["tables"], data["columns"], data["columns"][name]]
    place = luck.choice([*places, *data["tables"][name][:1]])
    del place[luck.choice(list(place))]


def drop_column(luck: Luck, data: Data) -> None:
    """A column is gone from a table, rows and all."""
    name = luck.choice(list(data["tables"]))
    column = luck.choice(list(data["columns"][name]))
    del data["columns"][name][column]
    for row in data["tables"][name]:
        del row[column]


def odd_key(luck: Luck, data: Data) -> None:
    """A key holds something else altogether."""
    place = luck.choice([data, data["period"], data["tables"], data["columns"]])
    place[luck.choice(list(place))] = luck.choice(ODD)


def repeat_rows(luck: Luck, data: Data) -> None:
    """A row is there twice, or a table is empty."""
    name = luck.choice(list(data["tables"]))
    data["tables"][name] = data["tables"][name][:1] * luck.choice([0, 2, 5])


HANDS = (swap_kind, swap_values, odd_value, drop_key, drop_column, odd_key, repeat_rows)


def edited(number: int, data: Data) -> Data:
    """The record after one or two changes by hand."""
    luck, copy = random.Random(number), json.loads(json.dumps(data))
    for hand in luck.choices(HANDS, k=luck.choice([1, 1, 2])):
        try:
            hand(luck, copy)
        except (KeyError, TypeError, AttributeError, IndexError):
            # The change before has left nothing to change here.
            continue
    return dict(copy)


def ending(used: Callable[[Data], Mapping[str, Any]], data: Data, number: int) -> str:
    """How the audit beside a record ends: with its figures, or with a refusal of one sentence and what to do."""
    try:
        used(data)
    except RecordRefused as refusal:
        return "refused" if str(refusal).count(". ") <= 1 and len(str(refusal)) < 400 else str(refusal)
    except Exception as fault:
        raise AssertionError(f"edit {number} ends in a fault: {type(fault).__name__}, {fault}") from fault
    return "used"


def test_the_record_that_is_edited_is_used_whole(
    used: Callable[[Data], Mapping[str, Any]], small_record: Data
) -> None:
    change = used(small_record)["change_since_last"]
    assert set(small_record["tables"]) == set(READ)
    assert (change["verdict"] != "not_comparable").sum() > 5


def test_200_records_edited_by_hand_are_used_or_refused_in_a_sentence(
    used: Callable[[Data], Mapping[str, Any]], small_record: Data
) -> None:
    ends = Counter(ending(used, edited(number, small_record), number) for number in range(EDITS))
    assert set(ends) == {"used", "refused"}
    # Were all refused, nothing behind the reading would have been tried.
    assert min(ends.values()) > EDITS / 5, ends


def test_a_count_that_is_said_to_be_text_is_refused_by_the_command_line(
    command: Callable[..., Any], small_clinic: Any, small_record: Data, tmp_path: Path
) -> None:
    data = json.loads(json.dumps(small_record))
    data["columns"]["failed_insertions"]["events"] = "text"
    record = tmp_path / "record.json"
    record.write_text(json.dumps(data), encoding="utf-8")
    options = ("--settings", small_clinic.settings, "--period", DEMO_PERIOD, "--out", tmp_path / "out")
    said = command("run", small_clinic.log, *options, "--previous", record)
    assert (said.code, said.err) == (
        3,
        f"iud-audit: record.json: is not whole, or was changed by hand. {GIVE}\n",
    )
    assert not (tmp_path / "out").exists()
