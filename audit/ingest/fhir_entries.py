"""HL7 FHIR files taken apart: one resource per line, or the entries of a Bundle."""

import codecs
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from audit.errors import UnreadableFile
from audit.ingest.limits import refuse_long_bundle, refuse_long_text
from audit.ingest.raw import Rejected

Body = Mapping[str, Any]
_TRIED = 20
_NO_JSON = "The line is no JSON object. Export the file again."
_NO_RESOURCE = "The line is JSON but no FHIR resource. Export the file again."
_NO_TEXT = "The line holds bytes that are no text. Export the file again as UTF-8."
_NEWER = "The same resource stands in the file again, in a version as new or newer."


@dataclass(frozen=True)
class Entry:
    """One resource: its line (in a Bundle, the number of its entry), kind and content."""

    line: int
    kind: str
    body: Body = field(repr=False)


@dataclass(frozen=True)
class Entries:
    """The resources of a file, what could not be read as one, and whether the file is one page of several."""

    entries: tuple[Entry, ...] = field(repr=False)
    rejected: tuple[Rejected, ...]
    one_page: bool = False

    def __len__(self) -> int:
        return len(self.entries) + len(self.rejected)


def name_of(entry: Entry) -> str:
    """The resource as a reference names it.

    Parameters
    ----------
    entry
        A resource.

    Returns
    -------
    str
        Kind/id. Without an id the last part of its address in the Bundle, or its line, takes the id's place.

    Examples
    --------
    >>> name_of(Entry(3, "Device", {"id": "d1"})), name_of(Entry(3, "Device", {}))
    ('Device/d1', 'Device/ line 3')
    """
    for key in ("id", "fullUrl"):
        text = entry.body.get(key)
        if isinstance(text, str) and text:
            return f"{entry.kind}/{re.split('[/:]', text)[-1]}"
    return f"{entry.kind}/ line {entry.line}"


def is_fhir(octets: bytes) -> bool:
    """Whether a file opens like JSON.

    Parameters
    ----------
    octets
        The bytes of the file.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_fhir(b'{"resourceType": "Encounter"}'), is_fhir(b"patient_ref,visit_date")
    (True, False)
    """
    return octets[:4096].removeprefix(codecs.BOM_UTF8).lstrip()[:1] == b"{"


def read_entries(octets: bytes, *, where: str) -> Entries:
    """The resources of a file.

    Parameters
    ----------
    octets
        NDJSON (one resource per line), a Bundle, or a single resource, as UTF-8.
    where
        Name of the file, for messages.

    Returns
    -------
    Entries
        Of a resource that stands in the file more than once the newest version is kept.

    Raises
    ------
    UnreadableFile
        The file is JSON but holds no FHIR resource, or is larger than a log may be (`audit.ingest.limits`).

    References
    ----------
    HL7 FHIR Release 4 (4.0.1): JSON representation of resources; Bundle; NDJSON. https://hl7.org/fhir/R4/

    Examples
    --------
    >>> read_entries(b'{"resourceType": "Encounter"}\\n{oops', where="visits.ndjson").rejected[0].line
    2
    """
    refuse_long_text(octets, where=where, json=True)
    content = octets.removeprefix(codecs.BOM_UTF8)
    lines = [(number, line) for number, line in enumerate(content.splitlines(), start=1) if line.strip()]
    if any(_is_line_of_ndjson(line) for _, line in lines[:_TRIED]):
        return _newest([_resource(number, _parsed(line)) for number, line in lines])
    refuse_long_bundle(len(content), where=where)
    whole = _parsed(content)
    if isinstance(whole, str) or not isinstance(whole.get("resourceType"), str):
        raise UnreadableFile(
            f"{where}: opens as JSON but holds no FHIR resource. Export it as NDJSON, one resource per line, "
            "or as a Bundle."
        )
    if whole["resourceType"] != "Bundle":
        return Entries((Entry(1, whole["resourceType"], whole),), ())
    return _newest(list(_of_bundle(whole)), one_page=_has_next(whole))


def _parsed(line: bytes) -> Body | str:
    """The JSON object, or what is wrong."""
    try:
        # Numbers stay text: 7.50 is what was written.
        found = json.loads(line.decode("utf-8"), parse_float=str, parse_int=str, parse_constant=str)
        # A lone half of a character passes as JSON and can be written nowhere.
        json.dumps(found, ensure_ascii=False).encode("utf-8")
    except UnicodeError:
        return _NO_TEXT
    except (ValueError, RecursionError):
        return _NO_JSON
    return found if isinstance(found, dict) else _NO_JSON


def _is_line_of_ndjson(line: bytes) -> bool:
    """Whether a line holds a whole resource that is no Bundle."""
    found = _parsed(line)
    kind = None if isinstance(found, str) else found.get("resourceType")
    return isinstance(kind, str) and kind != "Bundle"


def _resource(line: int, found: Any) -> Entry | Rejected:
    """A resource, or why there is none."""
    if isinstance(found, str):
        return Rejected(line, "undecodable_bytes" if found == _NO_TEXT else "not_json", found)
    kind = found.get("resourceType") if isinstance(found, dict) else None
    if not isinstance(kind, str):
        return Rejected(line, "not_a_resource", _NO_RESOURCE)
    return Entry(line, kind, found)


def _of_bundle(bundle: Body) -> Iterator[Entry | Rejected]:
    """The entries of a Bundle; an id given only in an entry's address is kept with its resource."""
    entries = bundle.get("entry")
    for number, entry in enumerate(entries if isinstance(entries, list) else [], start=1):
        item = entry if isinstance(entry, dict) else {}
        body = item.get("resource")
        if isinstance(body, dict) and isinstance(item.get("fullUrl"), str):
            body = {**body, "fullUrl": item["fullUrl"]}
        yield _resource(number, body if isinstance(body, dict) else {})


def _has_next(bundle: Body) -> bool:
    """Whether a Bundle says that more pages follow."""
    links = bundle.get("link")
    return isinstance(links, list) and any(
        isinstance(link, dict) and link.get("relation") == "next" for link in links
    )


def _newest(found: Sequence[Entry | Rejected], *, one_page: bool = False) -> Entries:
    """The resources, of several versions of one only the newest."""
    entries = [item for item in found if isinstance(item, Entry)]
    rejected = [item for item in found if isinstance(item, Rejected)]
    newest: dict[str, Entry] = {}
    for entry in entries:
        key = name_of(entry)
        if key not in newest or _version(entry) >= _version(newest[key]):
            newest[key] = entry
    kept = {entry.line for entry in newest.values()}
    older = [Rejected(entry.line, "duplicate_row", _NEWER) for entry in entries if entry.line not in kept]
    return Entries(
        entries=tuple(entry for entry in entries if entry.line in kept),
        rejected=tuple(sorted([*rejected, *older], key=lambda item: item.line)),
        one_page=one_page,
    )


def _version(entry: Entry) -> str:
    """When the version was made, as text that sorts."""
    meta = entry.body.get("meta")
    made = meta.get("lastUpdated") if isinstance(meta, dict) else None
    return made if isinstance(made, str) else ""
