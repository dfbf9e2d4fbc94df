"""What names a person in FHIR resources, so that a file with names goes no further."""

from collections.abc import Iterator, Sequence
from typing import Any

from audit.errors import IdentifiersFound, counted, name_a_few
from audit.ingest.fhir_codes import as_dict, as_list, text_in
from audit.ingest.fhir_entries import Entry

_PEOPLE = ("Patient", "Person", "Practitioner", "PractitionerRole", "RelatedPerson")
_IDENTIFYING = ("name", "telecom", "address", "birthDate", "photo", "contact")
_DEPTH = 12


def refuse_people(entries: Sequence[Entry], *, where: str) -> None:
    """Refuse a file that names people.

    Parameters
    ----------
    entries
        All resources, read or not.
    where
        Name of the file, for messages.

    Raises
    ------
    IdentifiersFound
        A resource about a person holds a name, an address, a telephone or a date of birth, or a reference to
        one carries a name. The message gives the elements, how many resources, and the first line; no value.

    Examples
    --------
    >>> refuse_people([Entry(1, "Patient", {"id": "w1"})], where="visits.ndjson")
    """
    lines: dict[str, list[int]] = {}
    for entry in entries:
        for element in {*_of_resource(entry), *_named(entry.body)}:
            lines.setdefault(element, []).append(entry.line)
    if lines:
        count = len({line for found in lines.values() for line in found})
        raise IdentifiersFound(
            f"{where}: people are named in {counted(count, 'resource')} ({name_a_few(sorted(lines))}), first on "
            f"line {min(line for found in lines.values() for line in found)}. The whole file is refused, since it "
            "should not leave the record system. Export it without these elements and run again."
        )


def _of_resource(entry: Entry) -> Iterator[str]:
    """The identifying elements of a resource about a person."""
    if entry.kind in _PEOPLE:
        yield from (f"{entry.kind}.{name}" for name in _IDENTIFYING if entry.body.get(name))


def _named(value: Any, depth: int = 0) -> Iterator[str]:
    """Whether any reference to a person, at any depth, carries a name to show."""
    found = as_dict(value)
    target = f"{text_in(found, 'reference')}/{text_in(found, 'type')}"
    if found.get("display") and any(f"{kind}/" in f"{target}/" for kind in _PEOPLE):
        yield "display of a reference to a person"
    if depth < _DEPTH:
        for inner in found.values():
            for item in as_list(inner) if isinstance(inner, dict | list) else []:
                yield from _named(item, depth + 1)
