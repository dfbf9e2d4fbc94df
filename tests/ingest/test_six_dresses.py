"""One invented log in six dresses: whatever the format, the same visits and the same results."""

import datetime
import io
import json
import random
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from fhir.resources.R4B import get_fhir_model_class

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.records import VisitLog
from audit.run import run_audit
from audit.settings import AuditSettings, settings_from

Visit = dict[str, Any]
DATES = ("visit_date",)
NUMBERS = (
    "age_years",
    "vaginal_births",
    "caesarean_births",
    "vasovagal_grade",
    "sound_length_mm",
    "pain_score",
)
COLUMNS = (
    "patient_ref",
    "visit_ref",
    "visit_date",
    "visit_kind",
    "site_ref",
    "clinician_ref",
    "age_years",
    "vaginal_births",
    "caesarean_births",
    "device_class",
    "sound_length_mm",
    "insertion_outcome",
    "failure_reason",
    "deferral_reason",
    "vasovagal_grade",
    "perforation_suspected",
    "pain_score",
    "device_in_situ",
    "threads_seen",
    "pregnancy",
    "removal_reason_main",
    "removal_difficult",
)
CODE_SYSTEM = "https://codes.invented.example"
# What the invented service's codes mean; an answer that is our own code needs no line.
CODES: dict[str, str | list[str]] = {
    f"{CODE_SYSTEM}|fit": "visit_kind=insertion",
    f"{CODE_SYSTEM}|take-out": "visit_kind=removal",
    f"{CODE_SYSTEM}|check": "visit_kind=follow_up",
    f"{CODE_SYSTEM}|procedure-visit": [],
    f"{CODE_SYSTEM}|copper-large": "device_class=copper_t_380",
    f"{CODE_SYSTEM}|hormonal": "device_class=lng_52",
    f"{CODE_SYSTEM}|narrow": "failure_reason=could_not_pass_internal_os",
    f"{CODE_SYSTEM}|too-painful": "failure_reason=pain",
    f"{CODE_SYSTEM}|asked-to-stop": "insertion_outcome=stopped_on_request",
    f"{CODE_SYSTEM}|maybe-pregnant": "deferral_reason=pregnancy_not_excluded",
    f"{CODE_SYSTEM}|hole": "perforation_suspected=sound",
    f"{CODE_SYSTEM}|bleeds": "removal_reason_main=bleeding",
    f"{CODE_SYSTEM}|end-of-use": "removal_reason_main=planned_end_of_duration",
    **{f"{CODE_SYSTEM}|{name}": name for name in (*NUMBERS, "device_in_situ", "threads_seen", "pregnancy")},
    f"{CODE_SYSTEM}|no-hole": "perforation_suspected",
}


def insertion(woman: int, day: datetime.date, luck: random.Random) -> Visit:
    """An insertion with one of the ways it can end."""
    endings: list[Visit] = [
        {"insertion_outcome": "placed", "device_class": luck.choice(["copper_t_380", "lng_52"])},
        {"insertion_outcome": "placed", "device_class": "copper_t_380", "perforation_suspected": "sound"},
        {"insertion_outcome": "failed", "failure_reason": "could_not_pass_internal_os"},
        {"insertion_outcome": "failed", "failure_reason": "pain"},
        {"insertion_outcome": "stopped_on_request"},
        {"insertion_outcome": "deferred_not_started", "deferral_reason": "pregnancy_not_excluded"},
    ]
    return {
        "visit_date": day,
        "visit_kind": "insertion",
        "age_years": 18 + woman,
        "vaginal_births": woman % 3,
        "caesarean_births": luck.choice([0, 1]),
        "sound_length_mm": luck.choice([65, 70, 72.5, 80]),
        "vasovagal_grade": luck.choice([0, 0, 0, 1, 3, None]),
        "pain_score": luck.choice([2, 4.5, 7]),
        "perforation_suspected": "no",
        **luck.choices(endings, weights=[12, 1, 2, 1, 1, 1])[0],
    }


def course(woman: int, luck: random.Random) -> list[Visit]:
    """The visits of one woman."""
    day = datetime.date(2025, 9, 1) + datetime.timedelta(days=11 * woman)
    visits = [insertion(woman, day, luck)]
    if visits[0]["insertion_outcome"] == "placed":
        seen = luck.choice(["in_situ_confirmed", "in_situ_confirmed", "complete_expulsion", "unknown"])
        check = {"device_in_situ": seen, "threads_seen": luck.choice(["yes", "no"]), "pregnancy": "none"}
        visits.append({"visit_date": day + datetime.timedelta(days=35), "visit_kind": "follow_up", **check})
        if seen == "in_situ_confirmed" and woman % 2:
            removal = {
                "removal_reason_main": luck.choice(["bleeding", "planned_end_of_duration"]),
                "removal_difficult": luck.choice(["", "failed"]),
            }
            visits.append(
                {"visit_date": day + datetime.timedelta(days=90), "visit_kind": "removal", **removal}
            )
    return [{**visit, "patient_ref": f"W{woman}"} for visit in visits]


def invented_log() -> list[Visit]:
    """About 60 visits in order of their days."""
    luck = random.Random(20)
    visits = sorted(
        (visit for woman in range(33) for visit in course(woman, luck)), key=lambda v: v["visit_date"]
    )
    staff = [
        {
            "visit_ref": f"V{n}",
            "site_ref": luck.choice(["north", "quay"]),
            "clinician_ref": f"C{luck.randint(1, 3)}",
        }
        for n in range(len(visits))
    ]
    return [
        {column: {**visit, **more}.get(column) for column in COLUMNS}
        for visit, more in zip(visits, staff, strict=True)
    ]


VISITS = invented_log()


def as_text(log: list[Visit], delimiter: str = ",", **forms: Callable[[Any], str]) -> str:
    """The log as delimited text; `forms` write some columns in a form of their own."""
    plain: Callable[[Any], str] = lambda value: "" if value is None else str(value)  # noqa: E731
    rows = [[forms.get(column, plain)(visit[column]) for column in COLUMNS] for visit in log]
    return "\n".join(delimiter.join(row) for row in [list(COLUMNS), *rows]) + "\n"


def in_cm(length: float | None) -> str:
    """A length in centimetres."""
    return "" if length is None else str(length / 10)


def day_first(day: datetime.date) -> str:
    """A date as 31/12/2025."""
    return f"{day:%d/%m/%Y}"


def as_workbook(log: list[Visit]) -> bytes:
    """The log on one of two sheets, with a title above its headings, real dates and real numbers."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Log"
    sheet.append(["Visits of the invented service"])
    sheet.merge_cells("A1:E1")
    sheet.append([])
    sheet.append(list(COLUMNS))
    for visit in log:
        sheet.append([visit[column] for column in COLUMNS])
    book.create_sheet("Key").append(["code", "meaning"])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def as_parquet(log: list[Visit]) -> bytes:
    """The log as typed columns."""
    types = {name: pa.date32() for name in DATES} | {name: pa.float64() for name in NUMBERS}
    table = pa.table(
        {name: pa.array([visit[name] for visit in log], types.get(name, pa.string())) for name in COLUMNS}
    )
    out = io.BytesIO()
    pq.write_table(table, out)
    return out.getvalue()


def concept(code: str) -> dict[str, Any]:
    """A concept of the invented service, with words that must be read nowhere."""
    return {"coding": [{"system": CODE_SYSTEM, "code": code, "display": "as displayed"}]}


def observation(visit: Visit, column: str, value: dict[str, Any], code: str = "") -> dict[str, Any]:
    """An observation at a visit."""
    return {
        "resourceType": "Observation",
        "id": f"{visit['visit_ref']}-{column.replace('_', '-')}",
        "status": "final",
        "code": concept(code or column),
        "subject": {"reference": f"Patient/{visit['patient_ref']}"},
        "encounter": {"reference": f"Encounter/{visit['visit_ref']}"},
        "effectiveDateTime": f"{visit['visit_date']}T09:30:00+01:00",
        **value,
    }


def observations(visit: Visit) -> list[dict[str, Any]]:
    """What was measured and seen at a visit; a grade not recorded is said to be absent."""
    found = [
        observation(visit, column, {"valueQuantity": {"value": visit[column]}})
        for column in NUMBERS
        if visit[column] is not None
    ]
    for column in ("device_in_situ", "threads_seen", "pregnancy"):
        if visit[column] is not None:
            found.append(observation(visit, column, {"valueCodeableConcept": concept(visit[column])}))
    if visit["visit_kind"] == "insertion" and visit["vasovagal_grade"] is None:
        found.append(observation(visit, "vasovagal_grade", {"dataAbsentReason": concept("not-asked")}))
    if visit["perforation_suspected"] == "no":
        found.append(observation(visit, "perforation_suspected", {"valueBoolean": False}, "no-hole"))
    return found


def words_of(visit: Visit) -> dict[str, Any]:
    """How a procedure went, in codes and statuses."""
    code = {text.split("=")[1]: key.split("|")[1] for key, text in CODES.items() if "=" in str(text)}
    said: dict[str, Any] = {"status": "completed"}
    if visit["insertion_outcome"] == "failed":
        # Half of the records of failed insertions say "stopped" and half "not done".
        said = {"status": "stopped" if visit["age_years"] % 2 else "not-done"}
        said["statusReason"] = concept(code[visit["failure_reason"]])
    if visit["insertion_outcome"] == "deferred_not_started":
        said = {"status": "not-done", "statusReason": concept(code[visit["deferral_reason"]])}
    if visit["insertion_outcome"] == "stopped_on_request":
        said = {"status": "stopped", "outcome": concept("asked-to-stop")}
    if visit["perforation_suspected"] == "sound":
        said["complication"] = [concept("hole")]
    if visit["device_class"]:
        said["focalDevice"] = [
            {"manipulated": {"reference": f"Device/{visit['device_class'].replace('_', '-')}"}}
        ]
    if visit["removal_reason_main"]:
        said |= {"reasonCode": [concept(code[visit["removal_reason_main"]])]}
        said |= {"status": "stopped"} if visit["removal_difficult"] == "failed" else {}
    return said


def procedure(visit: Visit) -> dict[str, Any]:
    """The insertion or removal of a visit."""
    return {
        "resourceType": "Procedure",
        "id": f"{visit['visit_ref']}-procedure",
        "code": concept("fit" if visit["visit_kind"] == "insertion" else "take-out"),
        "subject": {"reference": f"Patient/{visit['patient_ref']}"},
        "encounter": {"reference": f"Encounter/{visit['visit_ref']}"},
        "performedPeriod": {"start": f"{visit['visit_date']}T09:00:00+01:00"},
        "performer": [{"actor": {"reference": f"Practitioner/{visit['clinician_ref']}"}}],
        "location": {"reference": f"Location/{visit['site_ref']}"},
        **words_of(visit),
    }


def encounter(visit: Visit) -> dict[str, Any]:
    """The encounter of a visit."""
    is_check = visit["visit_kind"] == "follow_up"
    return {
        "resourceType": "Encounter",
        "id": visit["visit_ref"],
        "status": "finished",
        "class": {"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "AMB"},
        "type": [concept("check" if is_check else "procedure-visit")],
        "subject": {"reference": f"Patient/{visit['patient_ref']}"},
        "period": {"start": f"{visit['visit_date']}T09:00:00+01:00"},
        "participant": [{"individual": {"reference": f"Practitioner/{visit['clinician_ref']}"}}],
        "location": [{"location": {"reference": f"Location/{visit['site_ref']}"}}],
    }


def as_resources(log: list[Visit]) -> list[dict[str, Any]]:
    """The log as FHIR resources, each visit's encounter first."""
    devices = [
        {"resourceType": "Device", "id": name.replace("_", "-"), "type": concept(code)}
        for name, code in (("copper_t_380", "copper-large"), ("lng_52", "hormonal"))
    ]
    for visit in log:
        devices.append(encounter(visit))
        devices += [] if visit["visit_kind"] == "follow_up" else [procedure(visit)]
        devices += observations(visit)
    return devices


def as_ndjson(log: list[Visit]) -> bytes:
    """The log as FHIR, one resource per line."""
    return "".join(json.dumps(resource) + "\n" for resource in as_resources(log)).encode()


PLAIN = {"fhir": {"codes": CODES}}
DRESSES: dict[str, tuple[bytes, Mapping[str, Any]]] = {
    "CSV with ISO dates": (as_text(VISITS).encode(), PLAIN),
    "CSV with day first and centimetres": (
        as_text(VISITS, visit_date=day_first, sound_length_mm=in_cm).encode(),
        {"layout": {"date_order": "day_month_year", "units": {"sound_length_mm": "cm"}}},
    ),
    "UTF-16 with tabs": (as_text(VISITS, "\t").encode("utf-16"), PLAIN),
    "workbook": (as_workbook(VISITS), PLAIN),
    "Parquet": (as_parquet(VISITS), PLAIN),
    "FHIR": (as_ndjson(VISITS), PLAIN),
}
# What a file says of itself, not of its visits.
OF_THE_FILE = {
    *("resources_joined", "sheet_chosen", "headings_below"),
    *("unknown_kinds", "dates_fit_either_order", "dates_from_serials"),
}


def loaded(path: Path, settings: AuditSettings) -> VisitLog:
    """The log of a file."""
    return load_visits(path, settings)


def dressed(folder: Path, name: str) -> VisitLog:
    """The log in one of its dresses."""
    octets, data = DRESSES[name]
    (folder / "visits").write_bytes(octets)
    return loaded(folder / "visits", settings_from(data))


def tables_of(log: VisitLog, settings: AuditSettings) -> dict[str, bytes]:
    """Every result table of a run as bytes, without the lines of the file."""
    cohort = derive_cohort(log, settings)
    tables = run_audit(log, settings, period="2026-Q1", cohort=cohort).tables
    plain = {name: table.drop(columns=["row"], errors="ignore") for name, table in tables.items()}
    plain = {
        name: table[~table["rule"].isin(OF_THE_FILE)] if "rule" in table else table
        for name, table in plain.items()
    }
    return {name: table.to_csv(index=False).encode() for name, table in plain.items()}


def test_the_log_is_as_large_and_varied_as_it_is_meant_to_be() -> None:
    assert 55 <= len(VISITS) <= 70
    assert {visit["insertion_outcome"] for visit in VISITS} >= {"placed", "failed", "deferred_not_started"}
    assert all(any(visit[column] not in (None, "") for visit in VISITS) for column in COLUMNS)


def test_the_fhir_dress_is_valid_r4b() -> None:
    # The models of the package fhir.resources, made from HL7's own definitions, judge our resources.
    for resource in as_resources(VISITS):
        model = get_fhir_model_class(resource["resourceType"])
        assert model.model_validate_json(json.dumps(resource)).id == resource["id"]


@pytest.mark.parametrize("name", [name for name in DRESSES if name != "CSV with ISO dates"])
def test_every_dress_gives_the_same_visits_and_the_same_results(tmp_path: Path, name: str) -> None:
    first, other = dressed(tmp_path, "CSV with ISO dates"), dressed(tmp_path, name)
    assert len(first.visits) == len(VISITS)
    pd.testing.assert_frame_equal(
        other.visits.drop(columns=["source", "row"]), first.visits.drop(columns=["source", "row"])
    )
    assert other.set_aside.empty
    pd.testing.assert_series_equal(other.patient_refs, first.patient_refs)
    pd.testing.assert_frame_equal(other.accounting, first.accounting)
    tables = tables_of(first, AuditSettings())
    assert len(tables) > 10
    assert tables_of(other, AuditSettings()) == tables
