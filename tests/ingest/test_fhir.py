"""FHIR as clinics export it: what becomes a visit, what is set aside, and that every resource is accounted for."""

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fhir.resources.R4B import get_fhir_model_class
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.errors import AuditError, IdentifiersFound, MissingColumns, UnreadableFile
from audit.ingest.fhir import open_fhir
from audit.ingest.raw import RawLog
from audit.ingest.read import open_source, read_rows
from audit.ingest.standardise import Standardised, standardise
from audit.settings import AuditSettings, Fhir, settings_from

DOCS = Path(__file__).parents[2] / "docs" / "fhir.md"
Resource = dict[str, Any]
X = "urn:x"
CODES = Fhir(
    {
        "urn:x|fit": "visit_kind=insertion",
        "urn:x|out": "visit_kind=removal",
        "urn:x|check": "visit_kind=follow_up",
        "urn:x|block": "local_anaesthetic=paracervical",
        "urn:x|narrow": "failure_reason=could_not_pass_internal_os",
        "urn:x|unwell": "deferral_reason=infection_suspected",
        "urn:x|worked": "insertion_outcome=placed",
        "urn:x|did-not": "insertion_outcome=failed",
        "urn:x|hole": "perforation_suspected=sound",
        "urn:x|bled": "removal_reason_main=bleeding",
        "urn:x|copper": "device_class=copper_t_380",
        "urn:x|faint": ["vasovagal_grade=3", "syncope=yes"],
        "urn:x|syncope": "syncope",
        "urn:x|sound": "sound_length_mm",
        "urn:x|pain": "pain_score",
        "urn:x|place": "device_in_situ",
        "urn:x|there": "device_in_situ=in_situ_confirmed",
        "urn:x|referred": "referral_date",
        "urn:x|supervising": "supervisor_ref",
        "urn:x|took-over": "completed_by_ref",
        "urn:x|pressure": [],
        "|local": "births",
    }
)


def coded(code: str, system: str = X) -> Resource:
    """A concept with words to display that must appear nowhere."""
    return {"coding": [{"system": system, "code": code, "display": "Jane Doe"}], "text": "Jane Doe"}


def woman(name: str = "W1") -> Resource:
    """A reference to a woman."""
    return {"reference": f"Patient/{name}"}


def resource(kind: str, name: str, **more: Any) -> Resource:
    """A resource of woman W1 with an id."""
    return {"resourceType": kind, "id": name, "subject": woman(), **more}


def procedure(code: str = "fit", name: str = "p", status: str = "completed", **more: Any) -> Resource:
    """A procedure on 1 July 2026."""
    found = {"status": status, "code": coded(code), "performedDateTime": "2026-07-01", **more}
    return resource("Procedure", name, **found)


def encounter(code: str = "check", name: str = "e", day: str = "2026-07-01", **more: Any) -> Resource:
    """An encounter with a type."""
    period = {"start": f"{day}T10:00:00+02:00"}
    more = {"class": {"code": "AMB"}, "type": [coded(code)], "period": period, **more}
    return resource("Encounter", name, status="finished", **more)


def observation(code: str, name: str = "o", **more: Any) -> Resource:
    """An observation on 1 July 2026."""
    return resource(
        "Observation",
        name,
        **{"status": "final", "code": coded(code), "effectiveDateTime": "2026-07-01", **more},
    )


def lines(*resources: Resource) -> bytes:
    """Resources, one per line."""
    return "".join(json.dumps(item) + "\n" for item in resources).encode()


def read(*resources: Resource, octets: bytes = b"", fhir: Fhir = CODES) -> RawLog:
    """The rows of a file of these resources, each checked against HL7's own definitions."""
    for item in resources:
        # The models of the package fhir.resources, made from those definitions.
        get_fhir_model_class(item["resourceType"]).model_validate_json(json.dumps(item))
    source = open_fhir(octets or lines(*resources), where="visits.ndjson", fhir=fhir)
    return read_rows(source, {name: place for place, name in enumerate(source.headings)})


def rows_of(log: RawLog) -> list[dict[str, str]]:
    """The filled cells of every row."""
    cells = {name: [column.texts[code] for code in column.codes] for name, column in log.columns.items()}
    return [{name: texts[at] for name, texts in cells.items() if texts[at]} for at in range(len(log.lines))]


def row_of(*resources: Resource) -> dict[str, str]:
    """The filled cells of the one row."""
    [row] = rows_of(read(*resources))
    return row


def aside(log: RawLog) -> list[tuple[int, str]]:
    """Line and reason of what was set aside."""
    return [(item.line, item.reason) for item in log.rejected]


def notes(log: RawLog, rule: str) -> list[str]:
    """What the notes of one rule say."""
    return [note.message for note in log.notes if note.rule == rule]


def visits_of(*resources: Resource, exceptions: tuple[str, ...] = ()) -> Standardised:
    """The visits of these resources."""
    rules = AuditSettings(fhir=CODES, charted_by_exception=exceptions)
    return standardise([read(*resources)], rules)


def block_of(language: str, number: int = 0) -> str:
    """A block of code of the page in docs."""
    return re.findall(rf"```{language}\n(.*?)```", DOCS.read_text(encoding="utf-8"), re.DOTALL)[number]


def test_the_example_in_the_docs_gives_the_visits_that_it_prints(tmp_path: Path) -> None:
    import tomllib

    rules = settings_from(tomllib.loads(block_of("toml")))
    path = tmp_path / "visits.ndjson"
    path.write_text(block_of("json"), encoding="utf-8")
    for line in block_of("json").splitlines():
        get_fhir_model_class(json.loads(line)["resourceType"]).model_validate_json(line)
    source = open_source(path, settings=rules)
    log = read_rows(source, {name: place for place, name in enumerate(source.headings)})
    result = standardise([log], rules)
    printed = [
        [cell.strip() for cell in line.split("|")[1:-1]]
        for line in DOCS.read_text(encoding="utf-8").partition("gives two visits:")[2].splitlines()
        if line.startswith("|")
    ]
    names, rows = printed[0][2:], printed[2:]
    assert [int(row[0]) for row in rows] == result.visits["row"].tolist()
    assert [row[1] for row in rows] == result.patient_refs.tolist()
    for row, (_, visit) in zip(rows, result.visits.iterrows(), strict=True):
        for name, text in zip(names, row[2:], strict=True):
            value = visit[name]
            found = value.date().isoformat() if name == "visit_date" else value
            assert ("" if value != value or value is None else str(found).removesuffix(".0")) == text
    assert notes(log, "resources_joined")[0].startswith(
        "5 resources in = 5 used, joined into 2 visits + 0 set"
    )


@pytest.mark.parametrize(
    ("status", "more", "outcome"),
    [
        ("completed", {}, "placed"),
        ("stopped", {}, "failed"),
        ("not-done", {}, "deferred_not_started"),
        ("stopped", {"statusReason": coded("narrow")}, "failed"),
        ("not-done", {"statusReason": coded("narrow")}, "failed"),
        ("not-done", {"statusReason": coded("unwell")}, "deferred_not_started"),
        ("in-progress", {}, "unknown"),
        ("unknown", {}, "unknown"),
        ("completed", {"outcome": coded("did-not")}, "failed"),
        ("stopped", {"outcome": coded("worked")}, "placed"),
        ("completed", {"outcome": coded("who-knows")}, "who-knows"),
    ],
)
def test_status_reason_and_outcome_say_how_an_insertion_ended(
    status: str, more: Resource, outcome: str
) -> None:
    assert row_of(procedure(status=status, **more))["insertion_outcome"] == outcome


def test_an_outcome_that_nobody_mapped_sets_the_row_aside_rather_than_pass_for_placed() -> None:
    result = visits_of(procedure(outcome=coded("who-knows")), procedure(name="q", subject=woman("W2")))
    assert result.set_aside[["row", "column", "reason"]].to_numpy().tolist() == [
        [1, "insertion_outcome", "unknown_code"]
    ]
    assert result.visits["insertion_outcome"].tolist() == ["placed"]


def test_a_reason_is_kept_with_the_failure() -> None:
    row = row_of(procedure(status="not-done", statusReason=coded("narrow")))
    assert row["failure_reason"] == "could_not_pass_internal_os"


def test_a_removal_that_was_stopped_leaves_the_device_and_one_not_done_is_set_aside() -> None:
    done = row_of(procedure("out", reasonCode=[coded("bled")]))
    assert (done["visit_kind"], done["removal_reason_main"]) == ("removal", "bleeding")
    assert "removal_difficult" not in done
    assert row_of(procedure("out", status="stopped"))["removal_difficult"] == "failed"
    for status in ("not-done", "unknown", "in-progress"):
        assert aside(read(procedure("out", status=status))) == [(1, "not_done")]


def test_resources_join_by_encounter_by_day_and_by_what_they_are_part_of() -> None:
    log = read(
        encounter("none", day="2026-06-30"),
        procedure(encounter={"reference": "Encounter/e"}),
        observation("sound", "o1", encounter={"reference": "Encounter/e"}, valueQuantity={"value": 75}),
        observation("pain", "o2", effectiveDateTime="2026-06-30", valueInteger=4),
        observation("syncope", "o3", partOf=[{"reference": "Procedure/p"}], valueBoolean=True),
        procedure("block", "p2", partOf=[{"reference": "Procedure/p"}], performedDateTime="2026-07-02"),
    )
    [row] = rows_of(log)
    assert row["visit_date"] == "2026-07-01"
    assert (row["sound_length_mm"], row["pain_score"], row["syncope"]) == ("75", "4", "yes")
    assert row["local_anaesthetic"] == "paracervical"
    assert log.lines.tolist() == [2]
    assert not log.rejected


def test_a_resource_of_a_day_with_two_encounters_belongs_to_neither() -> None:
    log = read(encounter(name="e1"), encounter(name="e2"), observation("pain", valueInteger=4))
    assert len(rows_of(log)) == 2
    assert aside(log) == [(3, "no_visit_kind")]


def test_another_womans_resource_at_an_encounter_is_not_joined() -> None:
    other = observation("pain", subject=woman("W2"), encounter={"reference": "Encounter/e"}, valueInteger=4)
    log = read(encounter(), other)
    assert "pain_score" not in rows_of(log)[0]
    assert aside(log) == [(2, "no_visit_kind")]


def test_another_womans_resource_is_no_part_of_a_procedure() -> None:
    part = [{"reference": "Procedure/p"}]
    log = read(procedure(), observation("pain", subject=woman("W2"), partOf=part, valueInteger=4))
    assert "pain_score" not in rows_of(log)[0]
    assert aside(log) == [(2, "no_visit_kind")]


def test_a_procedure_says_more_than_the_type_of_its_encounter() -> None:
    log = read(encounter("check"), procedure(encounter={"reference": "Encounter/e"}))
    assert [row["visit_kind"] for row in rows_of(log)] == ["insertion"]


def test_two_procedures_at_an_encounter_are_two_rows_and_each_takes_what_is_its_own() -> None:
    here = {"encounter": {"reference": "Encounter/e"}}
    log = read(
        encounter("none"),
        procedure("out", "p1", **here, reasonCode=[coded("bled")]),
        procedure("fit", "p2", **here),
        observation("place", "o1", **here, valueCodeableConcept=coded("removed_here")),
        observation("pain", "o2", **here, valueInteger=4),
    )
    removal, insertion = rows_of(log)
    assert (removal["visit_kind"], removal["device_in_situ"]) == ("removal", "removed_here")
    assert (insertion["visit_kind"], insertion["pain_score"]) == ("insertion", "4")
    assert "pain_score" not in removal
    assert "device_in_situ" not in insertion
    assert removal["visit_ref"] == insertion["visit_ref"] == "e"


def test_complications_adverse_events_and_conditions_are_events_of_the_visit() -> None:
    event = resource(
        "AdverseEvent", "a", actuality="actual", event=coded("faint"), date="2026-07-01T11:00:00+02:00"
    )
    condition = resource("Condition", "c", code=coded("there"), recordedDate="2026-07-01")
    row = row_of(procedure(complication=[coded("hole")]), event, condition)
    assert row["perforation_suspected"] == "sound"
    assert (row["vasovagal_grade"], row["syncope"], row["device_in_situ"]) == (
        "3",
        "yes",
        "in_situ_confirmed",
    )


def test_a_suspect_procedure_tells_where_an_adverse_event_of_a_later_day_belongs() -> None:
    suspect = [{"instance": {"reference": "Procedure/p"}}]
    event = resource(
        "AdverseEvent", "a", actuality="actual", event=coded("hole"), date="2026-07-20", suspectEntity=suspect
    )
    assert row_of(procedure(), event)["perforation_suspected"] == "sound"


def device(name: str = "d", code: str = "copper") -> Resource:
    """A device of a class."""
    return {"resourceType": "Device", "id": name, "type": coded(code)}


def test_a_device_is_found_by_focal_device_used_reference_statement_and_inside_the_resource() -> None:
    focal = [{"manipulated": {"reference": "Device/d"}}]
    used = [{"reference": "https://example.org/fhir/Device/d/_history/3"}]
    inside = procedure(contained=[device("i")], focalDevice=[{"manipulated": {"reference": "#i"}}])
    statement = resource(
        "DeviceUseStatement",
        "s",
        status="active",
        device={"reference": "Device/d"},
        timingPeriod={"start": "2026-07-01"},
    )
    for found in (
        (device(), procedure(focalDevice=focal)),
        (device(), procedure(usedReference=used)),
        (procedure(usedCode=[coded("copper")]),),
        (inside,),
        (device(), procedure(), statement),
    ):
        log = read(*found)
        assert rows_of(log)[0]["device_class"] == "copper_t_380"
        assert f"{len(found)} resources in = {len(found)} used" in notes(log, "resources_joined")[0]


def test_a_device_that_is_not_in_the_file_is_reported() -> None:
    log = read(procedure(focalDevice=[{"manipulated": {"reference": "Device/gone"}}]))
    assert "device_class" not in rows_of(log)[0]
    assert notes(log, "code_not_mapped")[0].startswith(
        "(a device that is not in the file): stands 1 time in Procedure"
    )


def actor(name: str, function: str = "") -> Resource:
    """Somebody who took part."""
    found: Resource = {"actor": {"reference": f"Practitioner/{name}"}}
    return {**found, "function": coded(function)} if function else found


def test_people_take_part_by_their_function() -> None:
    row = row_of(
        procedure(
            performer=[
                actor("S", "supervising"),
                actor("A"),
                actor("B", "took-over"),
                actor("N", "counting"),
            ],
            location={"reference": "Location/quay"},
        )
    )
    assert (row["clinician_ref"], row["supervisor_ref"], row["completed_by_ref"]) == ("A", "S", "B")
    assert row["site_ref"] == "quay"
    assert "clinician_ref" not in row_of(procedure(performer=[actor("N", "counting")]))


@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({"valueQuantity": {"value": 75}}, "75"),
        ({"valueQuantity": {"value": 75, "code": "mm", "unit": "mm"}}, "75"),
        ({"valueQuantity": {"value": 7.5, "unit": "cm"}}, "7.5 cm"),
        ({"valueQuantity": {"value": 75, "code": "{length}"}}, "75"),
        ({"valueQuantity": {"value": 75, "code": "1"}}, "75"),
        ({"valueQuantity": {"value": 75, "comparator": "<"}}, "<75"),
        ({"valueInteger": 75}, "75"),
        ({"valueString": "75 mm"}, "75 mm"),
        ({"valueRange": {"low": {"value": 70}}}, "valueRange"),
        ({"dataAbsentReason": coded("asked-unknown")}, "unknown"),
        ({"valueInteger": 0, "dataAbsentReason": coded("error")}, "unknown"),
        ({}, "unknown"),
    ],
)
def test_a_value_is_read_with_its_unit_and_an_absent_one_is_unknown(more: Resource, text: str) -> None:
    assert row_of(procedure(), observation("sound", **more))["sound_length_mm"] == text


def test_components_are_observations_of_their_own() -> None:
    parts = [
        {"code": coded("sound"), "valueQuantity": {"value": 75}},
        {"code": coded("pain"), "dataAbsentReason": coded("unknown")},
    ]
    row = row_of(procedure(), observation("panel", component=parts))
    assert (row["sound_length_mm"], row["pain_score"]) == ("75", "unknown")


def test_a_code_that_says_something_says_it_only_when_the_answer_is_not_no() -> None:
    assert row_of(procedure(), observation("faint", valueBoolean=True))["syncope"] == "yes"
    assert "syncope" not in row_of(procedure(), observation("faint", valueBoolean=False))
    assert "syncope" not in row_of(procedure(), observation("faint", dataAbsentReason=coded("unknown")))


def test_an_absent_value_is_no_blank_where_blanks_read_no() -> None:
    absent = observation("syncope", dataAbsentReason=coded("not-asked"))
    result = visits_of(procedure(), absent, procedure(name="q", subject=woman("W2")), exceptions=("syncope",))
    assert result.visits["syncope"].astype(object).where(result.visits["syncope"].notna(), "?").tolist() == [
        "?",
        False,
    ]


def test_a_column_that_a_code_names_is_in_the_log_though_the_code_never_occurs() -> None:
    assert "perforation_suspected" in read(procedure()).columns


@pytest.mark.parametrize(
    ("found", "day"),
    [
        (procedure(performedDateTime="2026-07-01T23:30:00-05:00"), "2026-07-01"),
        (
            {
                **procedure(performedPeriod={"start": "2026-07-01", "end": "2026-07-02"}),
                "performedDateTime": None,
            },
            "2026-07-01",
        ),
        ({**procedure(performedPeriod={"end": "2026-07-02"}), "performedDateTime": None}, "2026-07-02"),
    ],
)
def test_the_day_is_taken_as_written(found: Resource, day: str) -> None:
    assert row_of({key: value for key, value in found.items() if value is not None})["visit_date"] == day


def test_a_date_that_is_no_whole_date_sets_the_row_aside() -> None:
    result = visits_of(procedure(performedDateTime="2026-07"), procedure(name="q"))
    assert result.set_aside[["row", "reason"]].to_numpy().tolist() == [[1, "not_a_date"]]


@pytest.mark.parametrize(
    ("found", "reason"),
    [
        (procedure(status="entered-in-error"), "void"),
        ({**encounter(), "status": "cancelled"}, "void"),
        ({**encounter(), "status": "planned"}, "void"),
        (observation("pain", valueInteger=3, status="cancelled"), "void"),
        (
            resource("AdverseEvent", "a", actuality="potential", event=coded("hole"), date="2026-07-01"),
            "void",
        ),
        (
            resource(
                "Condition",
                "c",
                code=coded("there"),
                recordedDate="2026-07-01",
                verificationStatus=coded("refuted"),
            ),
            "void",
        ),
        ({**procedure(), "subject": {"display": "a woman"}}, "no_patient"),
        (observation("pain", valueInteger=3, effectiveDateTime="2026-08-01"), "no_visit_kind"),
        ({key: value for key, value in observation("pain").items() if "effective" not in key}, "no_date"),
    ],
)
def test_a_resource_that_cannot_be_used_is_set_aside_with_its_line_and_reason(
    found: Resource, reason: str
) -> None:
    good = procedure(name="good", subject=woman("W9"))
    log = read(good, found)
    assert aside(log) == [(2, reason)]
    assert log.rejected[0].message.endswith(".")
    assert (log.rows_in, log.lines.tolist()) == (2, [1])
    assert (
        "2 resources in = 1 used, joined into 1 visits + 1 set aside + 0 not"
        in notes(log, "resources_joined")[0]
    )


def test_lines_that_are_no_resource_are_set_aside() -> None:
    good = lines(procedure())
    bad = (
        b"{oops\n[1]\n\n"
        b'{"a": 1}\n'
        b'{"resourceType": "Procedure", "id": "\xe9"}\n'
        b'{"resourceType": "Procedure", "id": "\\ud800"}\n'
        + b"[" * 100_000
        + b"\n"
        + b'{"resourceType": "Device", "x": '
        + b"9" * 5000
        + b"}\n"
    )
    log = read(octets=b"\xef\xbb\xbf" + good + bad)
    assert aside(log) == [
        (2, "not_json"),
        (3, "not_json"),
        (5, "not_a_resource"),
        (6, "undecodable_bytes"),
        (7, "undecodable_bytes"),
        (8, "not_json"),
    ]
    assert (
        "8 resources in = 1 used, joined into 1 visits + 6 set aside + 1 not"
        in notes(log, "resources_joined")[0]
    )


def bundle(*resources: Resource, **more: Any) -> bytes:
    """A Bundle over many lines."""
    entry = [
        {"fullUrl": f"https://example.org/{item['resourceType']}/{item['id']}", "resource": item}
        for item in resources
    ]
    whole = {"resourceType": "Bundle", "type": "collection", "entry": entry, **more}
    return json.dumps(whole, indent=1).encode()


def test_a_bundle_gives_the_same_visits_and_its_lines_are_the_numbers_of_its_entries() -> None:
    resources = (
        device(),
        encounter("none"),
        procedure(focalDevice=[{"manipulated": {"reference": "Device/d"}}]),
    )
    first, second = read(*resources), read(octets=bundle(*resources))
    assert rows_of(first) == rows_of(second)
    assert first.lines.tolist() == second.lines.tolist() == [3]
    one_line = read(octets=json.dumps(json.loads(bundle(*resources))).encode())
    assert rows_of(one_line) == rows_of(first)


def test_addresses_of_a_bundle_stand_for_its_resources() -> None:
    entry = [
        {"fullUrl": "urn:uuid:1", "resource": {**encounter(), "id": None}},
        {"fullUrl": "urn:uuid:2", "resource": {"resourceType": "Patient"}},
        {
            "fullUrl": "urn:uuid:3",
            "resource": observation("pain", encounter={"reference": "urn:uuid:1"}, valueInteger=4),
        },
        {"fullUrl": "urn:uuid:4"},
    ]
    for item in entry[:3]:
        item["resource"] = {k: v for k, v in item["resource"].items() if v is not None}  # type: ignore[attr-defined]
        if "subject" in item["resource"]:
            item["resource"]["subject"] = {"reference": "urn:uuid:2"}  # type: ignore[index]
    log = read(octets=json.dumps({"resourceType": "Bundle", "entry": entry}).encode())
    [row] = rows_of(log)
    assert (row["patient_ref"], row["pain_score"]) == ("2", "4")
    assert aside(log) == [(4, "not_a_resource")]


def test_a_bundle_that_is_one_page_of_several_says_so() -> None:
    link = [{"relation": "next", "url": "https://example.org/page2"}]
    assert notes(read(octets=bundle(procedure(), link=link)), "bundle_is_one_page")
    assert not notes(read(octets=bundle(procedure())), "bundle_is_one_page")


def test_of_several_versions_the_newest_is_used() -> None:
    old = procedure(status="in-progress", meta={"lastUpdated": "2026-07-01T09:00:00Z"})
    new = procedure(meta={"lastUpdated": "2026-07-01T10:00:00Z"})
    for versions, line in (((new, old), 2), ((old, new), 1)):
        log = read(*versions)
        assert rows_of(log)[0]["insertion_outcome"] == "placed"
        assert aside(log) == [(line, "duplicate_row")]


def test_codes_that_nobody_mapped_are_counted_and_what_they_display_is_printed_nowhere() -> None:
    pressure, weight = (
        observation("pressure", "o1", valueInteger=1),
        observation("weight", "o2", valueInteger=1),
    )
    odd = observation("Jane Doe born 1990!", "o3", valueInteger=1)
    patient = {"resourceType": "Patient", "id": "W1"}
    nothing = {**observation("x", "o4"), "code": {"text": "Jane Doe"}}
    log = read(procedure(), pressure, weight, {**weight, "id": "o5"}, odd, patient, nothing)
    assert notes(log, "code_not_mapped") == [
        "(no code): stands 1 time in Observation and is not read. Map it under [fhir.codes].",
        "aaa:a|aaaa aaa aaaa : stands 1 time in Observation and is not read. Map it under [fhir.codes].",
        "urn:x|weight: stands 2 times in Observation and is not read. Map it under [fhir.codes].",
    ]
    assert notes(log, "kinds_not_read") == ["Kinds of resource that are not read: Patient (1)."]
    assert log.blank_lines == {"not_asked_for": 6}
    assert "Jane" not in repr([log.notes, log.rejected, rows_of(log)])


def test_another_operation_is_none_of_ours() -> None:
    other = procedure(
        "appendix", "q", complication=[coded("hole")], outcome=coded("bad"), subject=woman("W2")
    )
    log = read(procedure(), other)
    assert len(rows_of(log)) == 1
    assert [text.split(":")[0:2] for text in notes(log, "code_not_mapped")] == [["urn", "x|appendix"]]


def test_a_code_without_a_system_is_mapped_as_such() -> None:
    births = {**observation("x", valueInteger=2), "code": {"coding": [{"code": "local"}]}}
    assert row_of(procedure(), births)["births"] == "2"


def test_values_that_contradict_each_other_are_reported_and_the_first_is_used() -> None:
    log = read(
        procedure(), observation("pain", "o1", valueInteger=4), observation("pain", "o2", valueInteger=6)
    )
    assert rows_of(log)[0]["pain_score"] == "4"
    [note] = [note for note in log.notes if note.rule == "conflicting_values"]
    assert (note.line, note.column) == (3, "pain_score")


def test_a_dates_value_is_a_date() -> None:
    result = visits_of(procedure(), observation("referred", valueDateTime="2026-06-01T08:00:00Z"))
    assert str(result.visits["referral_date"].iloc[0].date()) == "2026-06-01"


def test_settings_without_codes_are_told_which_codes_there_are() -> None:
    with pytest.raises(MissingColumns) as refused:
        read(procedure(), encounter(), fhir=Fhir())
    assert str(refused.value) == (
        "visits.ndjson: is HL7 FHIR, and the settings do not say what its codes mean. Found: urn:x|check, "
        "urn:x|fit. Map the codes of your service in the settings under [fhir.codes]."
    )


@pytest.mark.parametrize(
    "person",
    [
        {"resourceType": "Patient", "id": "W1", "name": [{"family": "Rosebud"}]},
        {"resourceType": "Patient", "id": "W1", "birthDate": "1990-01-01"},
        {"resourceType": "Practitioner", "id": "C1", "telecom": [{"system": "phone", "value": "Rosebud"}]},
        procedure(subject={"reference": "Patient/W1", "display": "Rosebud"}),
        procedure(
            performer=[
                {"actor": {"type": "Practitioner", "identifier": {"value": "C1"}, "display": "Rosebud"}}
            ]
        ),
    ],
)
def test_a_file_that_names_people_is_refused_without_a_name(person: Resource) -> None:
    with pytest.raises(IdentifiersFound) as refused:
        read(encounter(), person)
    assert str(refused.value).startswith("visits.ndjson: people are named in 1 resource (")
    assert "first on line 2" in str(refused.value)
    assert "Rosebud" not in str(refused.value)
    assert "1990" not in str(refused.value)


@pytest.mark.parametrize("octets", [b"{}", b'{"a": 1}\n{"b": 2}', b"{oops", b'{"resourceType": [1]}'])
def test_json_without_resources_is_refused(octets: bytes) -> None:
    with pytest.raises(UnreadableFile, match=r"^visits\.ndjson: opens as JSON but holds no FHIR resource"):
        read(octets=octets)


POOL = [
    device(),
    encounter(),
    encounter("none", "e2", "2026-08-01"),
    procedure(),
    procedure("out", "p2", status="not-done"),
    procedure(name="p3", status="stopped", subject=woman("W2"), encounter={"reference": "Encounter/e2"}),
    procedure("appendix", "p4"),
    observation("pain", "o1", valueInteger=4),
    observation("pain", "o2", valueInteger=4, encounter={"reference": "Encounter/e2"}),
    observation("place", "o3", valueCodeableConcept=coded("there"), subject=woman("W2")),
    observation("weight", "o4", valueInteger=4),
    {"resourceType": "Patient", "id": "W1"},
]
STRANGE = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.text(max_size=5), st.just("Encounter/e")),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(["coding", "code", "start", "x"]), inner)
    ),
    max_leaves=6,
)
SPOILT = st.builds(
    lambda base, key, value: {**base, key: value},
    st.sampled_from(POOL),
    st.sampled_from(
        ["code", "subject", "encounter", "status", "performer", "component", "id", "type", "period"]
    ),
    STRANGE,
)


@settings(deadline=None, max_examples=300)
@given(
    st.lists(
        st.one_of(st.sampled_from(POOL), SPOILT, st.sampled_from([{}, {"resourceType": 3}])), max_size=14
    )
)
def test_every_resource_is_used_set_aside_or_not_asked_for(resources: list[Resource]) -> None:
    octets = lines(procedure(name="first", subject=woman("W8")), *resources)
    log = read(octets=octets)
    counts = [
        int(number.replace(",", ""))
        for number in re.findall(
            r"([\d,]+) (?:resources|used|visits|set aside|not asked)", notes(log, "resources_joined")[0]
        )
    ]
    total, used, visits, rejected, rest = counts
    assert total == len(resources) + 1 == used + rejected + rest
    assert (visits, rejected, rest) == (
        len(log.lines),
        len(log.rejected),
        log.blank_lines.get("not_asked_for", 0),
    )
    assert log.rows_in == visits + rejected
    everywhere = [*log.lines.tolist(), *(item.line for item in log.rejected)]
    assert len(set(everywhere)) == len(everywhere)
    assert np.all(np.diff(log.lines) > 0)


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=60), st.integers(0, 2000))
def test_any_bytes_inside_a_file_are_read_or_refused(spoilt: bytes, place: int) -> None:
    whole = lines(*POOL)
    octets = whole[: place % len(whole)] + spoilt + whole[place % len(whole) :]
    try:
        log = read(octets=octets)
    except AuditError as refused:
        words = str(refused)
    else:
        words = "visits.ndjson"
        assert log.rows_in == len(log.lines) + len(log.rejected)
    assert words.startswith("visits.ndjson")
