"""One FHIR resource to what it says of a visit: whose, when, at which encounter, and in which cells."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from audit.ingest.fhir_codes import (
    Cell,
    Meaning,
    Targets,
    as_dict,
    as_list,
    meaning,
    reference_of,
    short,
    text_in,
    value_of,
)
from audit.ingest.fhir_entries import Entry, name_of
from audit.ingest.fhir_kinds import DEVICE, KINDS

NO_DEVICE = "(a device that is not in the file)"
NO_VALUE = "(a code that the settings give a column, where no value is recorded)"


_PEOPLE = ("clinician_ref", "completed_by_ref", "supervisor_ref")


@dataclass(frozen=True)
class Piece:
    """What one resource says of a visit."""

    line: int
    kind: str
    name: str
    status: str
    patient: str
    encounter: str
    day: str
    parts_of: tuple[str, ...] = ()
    cells: tuple[Cell, ...] = field(default=(), repr=False)
    context: tuple[Cell, ...] = field(default=(), repr=False)
    unmapped: tuple[str, ...] = ()
    devices: tuple[str, ...] = ()
    outcome: str = ""


@dataclass(frozen=True)
class Said:
    """Cells, and the codes that nobody mapped."""

    cells: tuple[Cell, ...] = ()
    unmapped: tuple[str, ...] = ()


@dataclass(frozen=True)
class Known:
    """What resources refer to: the addresses of a Bundle, and the devices of the file by name."""

    addresses: Mapping[str, str] = field(default_factory=dict, repr=False)
    devices: Mapping[str, Any] = field(default_factory=dict, repr=False)


def known_of(entries: Sequence[Entry]) -> Known:
    """The addresses and devices of a file.

    Parameters
    ----------
    entries
        All resources.

    Returns
    -------
    Known
    """
    return Known(
        addresses={
            text_in(entry.body, "fullUrl"): name_of(entry) for entry in entries if "fullUrl" in entry.body
        },
        devices={name_of(entry): entry.body for entry in entries if entry.kind == DEVICE},
    )


def piece_of(entry: Entry, targets: Targets, known: Known) -> Piece:
    """What a resource says of a visit.

    Parameters
    ----------
    entry
        A resource of one of `KINDS`.
    targets
        From `audit.ingest.fhir_codes.targets_of`.
    known
        From `known_of`.

    Returns
    -------
    Piece
        `cells` come from codes that the settings map; `context` holds place and people, which tell nothing
        of a visit by themselves; `outcome` is the code of a Procedure's outcome that nobody mapped.
    """
    body, kind = entry.body, KINDS[entry.kind]
    found = {name: [meaning(item, targets) for item in as_list(body.get(name))] for name in kind.codes}
    references = _device_references(entry)
    if entry.kind == "Procedure" and not any(item.cells for item in found["code"]):
        # An operation that is none of ours: its complications and devices are nobody's business here.
        found, references = {"code": found["code"]}, []
    parts = [
        *(_coded(items) for items in found.values()),
        *(
            _coded([meaning(item, targets)], quiet=True)
            for name in kind.quiet
            for item in as_list(body.get(name))
        ),
        *(_observed(item, targets) for item in _observations(entry)),
        *(_device(item, entry, targets, known) for item in references),
    ]
    people = _people(body, kind.people, targets, known)
    return Piece(
        line=entry.line,
        kind=entry.kind,
        name=name_of(entry),
        status=_status(entry),
        patient=short(reference_of(body.get("subject"), known.addresses)),
        encounter=reference_of(body.get("encounter"), known.addresses),
        day=_day(body, kind.dates),
        parts_of=_parts_of(body, known),
        cells=tuple(cell for part in parts for cell in part.cells),
        context=(*people.cells, *_places(entry, known)),
        unmapped=tuple(code for part in (*parts, people) for code in part.unmapped),
        devices=tuple(reference_of(item, known.addresses) for item in references),
        outcome=next((item.unmapped for item in found.get("outcome", []) if item.unmapped), ""),
    )


def _coded(found: Sequence[Meaning], *, quiet: bool = False) -> Said:
    """The cells of some concepts; a column without a code waits for a value that these do not have."""
    missed = [item.unmapped or NO_VALUE for item in found if item.unmapped or item.columns]
    return Said(tuple(cell for item in found for cell in item.cells), () if quiet else tuple(missed))


def _observations(entry: Entry) -> list[Mapping[str, Any]]:
    """An Observation and its components, each with a code and a value."""
    if entry.kind != "Observation":
        return []
    components = [as_dict(item) for item in as_list(entry.body.get("component"))]
    valued = any(key.startswith(("value", "dataAbsentReason")) for key in entry.body)
    return [entry.body, *components] if valued or not components else components


def _observed(item: Mapping[str, Any], targets: Targets) -> Said:
    """The cells of an Observation or a component."""
    found = meaning(item.get("code"), targets)
    # What a code stands for is so only if the answer is not "no" and not missing.
    denied = item.get("valueBoolean") is False or "dataAbsentReason" in item
    cells = (*(() if denied else found.cells), *value_of(item, found.columns, targets))
    return Said(cells, (found.unmapped,) if found.unmapped else ())


def _device_references(entry: Entry) -> list[Any]:
    """The references to devices of a Procedure or a DeviceUseStatement."""
    manipulated = [as_dict(item).get("manipulated") for item in as_list(entry.body.get("focalDevice"))]
    return [*manipulated, *as_list(entry.body.get("usedReference")), *as_list(entry.body.get("device"))]


def _device(reference: Any, entry: Entry, targets: Targets, known: Known) -> Said:
    """The cells of a device, in the file or contained in the resource."""
    name = reference_of(reference, known.addresses)
    inside = {f"#{text_in(as_dict(item), 'id')}": item for item in as_list(entry.body.get("contained"))}
    body = inside.get(name, known.devices.get(name))
    if body is not None:
        return _coded([meaning(as_dict(body).get("type"), targets)])
    return Said((), (NO_DEVICE,) if name.startswith(("#", f"{DEVICE}/")) else ())


def _people(body: Mapping[str, Any], names: tuple[str, str, str], targets: Targets, known: Known) -> Said:
    """Who did what: one without a function is the clinician, one with a function what the settings say."""
    cells, missed = [], []
    for item in as_list(body.get(names[0])):
        who = short(reference_of(as_dict(item).get(names[1]), known.addresses))
        functions = [meaning(concept, targets) for concept in as_list(as_dict(item).get(names[2]))]
        columns = [column for found in functions for column in found.columns if column in _PEOPLE]
        cells += [(column, who) for column in (columns if functions else ["clinician_ref"]) if who]
        missed += [found.unmapped for found in functions if found.unmapped]
    return Said(tuple(cells), tuple(missed))


def _places(entry: Entry, known: Known) -> tuple[Cell, ...]:
    """Where it was, and the reference of the visit."""
    places = as_list(entry.body.get("location"))
    if entry.kind == "Encounter":
        places = [as_dict(item).get("location") for item in places]
    sites = [short(reference_of(place, known.addresses)) for place in places]
    visit = short(name_of(entry)) if entry.kind == "Encounter" and "id" in entry.body else ""
    return tuple(
        (name, text) for name, text in (("visit_ref", visit), ("site_ref", next(iter(sites), ""))) if text
    )


def _status(entry: Entry) -> str:
    """The status of a resource, wherever its kind keeps it."""
    if entry.kind == "Condition":
        codings = as_list(as_dict(entry.body.get("verificationStatus")).get("coding"))
        return next((text_in(as_dict(item), "code") for item in codings), "")
    return text_in(entry.body, "actuality" if entry.kind == "AdverseEvent" else "status")


def _day(body: Mapping[str, Any], names: Sequence[str]) -> str:
    """The first date there is, as written but for its time; of a period its start, or else its end."""
    for name in names:
        value = body.get(name)
        text = (
            value
            if isinstance(value, str)
            else text_in(as_dict(value), "start") or text_in(as_dict(value), "end")
        )
        if text:
            return text[:10]
    return ""


def _parts_of(body: Mapping[str, Any], known: Known) -> tuple[str, ...]:
    """The resources that this one is a part or a consequence of."""
    suspects = [as_dict(item).get("instance") for item in as_list(body.get("suspectEntity"))]
    links = [item for name in ("partOf", "basedOn", "derivedFrom") for item in as_list(body.get(name))]
    return tuple(name for item in (*links, *suspects) if (name := reference_of(item, known.addresses)))
