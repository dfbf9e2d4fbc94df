"""HL7 FHIR R4 as a visit log: resources joined into visits, by the codes that the settings map."""

import hashlib
import re
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from audit.errors import MissingColumns, counted, name_a_few
from audit.ingest.fhir_codes import Targets, targets_of
from audit.ingest.fhir_entries import Entries, Entry, name_of, read_entries
from audit.ingest.fhir_kinds import DEVICE, KINDS
from audit.ingest.fhir_people import refuse_people
from audit.ingest.fhir_resources import Piece, known_of, piece_of
from audit.ingest.fhir_visits import Joined, Visit, join_pieces
from audit.ingest.masking import masked
from audit.ingest.raw import Note, RawColumn, RawLog, Source
from audit.schema.visits import REQUIRED, VISITS
from audit.settings import Fhir

_TOKEN = re.compile(r"[A-Za-z0-9()][A-Za-z0-9 .,_:/#|()%~?=&+-]{0,119}")
_NOT_READ = "not_asked_for"


def open_fhir(octets: bytes, *, where: str, fhir: Fhir) -> Source:
    """A FHIR file, its resources joined into visits.

    Parameters
    ----------
    octets
        The bytes of a file in NDJSON, or of a Bundle.
    where
        Name of the file.
    fhir
        Of the settings: what the service's codes mean.

    Returns
    -------
    Source
        The headings are our column names: those the settings name for any code, and those that encounters and
        procedures fill by themselves. A row's line is that of the resource which makes it a visit.

    Raises
    ------
    UnreadableFile
        The file holds no FHIR resource.
    IdentifiersFound
        Resources name people.
    MissingColumns
        The settings map no code.
    """
    found = read_entries(octets, where=where)
    refuse_people(found.entries, where=where)
    targets = targets_of(fhir)
    known = known_of(found.entries)
    pieces = [piece_of(entry, targets, known) for entry in found.entries if entry.kind in KINDS]
    if not targets:
        raise MissingColumns(_no_codes(pieces, where))
    joined = join_pieces(pieces)
    headings = _headings(joined.visits, targets)
    return Source(
        name=where,
        form="fhir",
        sha256=hashlib.sha256(octets).hexdigest(),
        size=len(octets),
        encoding="fhir",
        delimiter="",
        headings=headings,
        heading_line=0,
        content=b"",
        rows=_rows(found, joined, pieces, headings),
    )


def read_fhir(source: Source, columns: Mapping[str, int]) -> RawLog:
    """The visits of an opened FHIR file as text.

    Parameters
    ----------
    source
        From `open_fhir`.
    columns
        Our column names and the position (from 0) of the heading that feeds each.

    Returns
    -------
    RawLog
        Its rows are visits and resources set aside; the note ``resources_joined`` accounts for every resource.

    Raises
    ------
    ValueError
        The source is no FHIR file.
    """
    if source.rows is None:
        raise ValueError(f"source must come from open_fhir, got form {source.form!r}")
    rows = source.rows
    return RawLog(
        columns={name: rows.columns[str(place)] for name, place in columns.items()},
        lines=rows.lines,
        rows_in=rows.rows_in,
        rejected=rows.rejected,
        blank_lines=rows.blank_lines,
        notes=rows.notes,
    )


def _no_codes(pieces: Sequence[Piece], where: str) -> str:
    """The sentence for settings without a single code."""
    codes = sorted({_safe(code) for piece in pieces for code in piece.unmapped})
    found = f"Found: {name_a_few(codes)}. " if codes else ""
    return (
        f"{where}: is HL7 FHIR, and the settings do not say what its codes mean. {found}"
        "Map the codes of your service in the settings under [fhir.codes]."
    )


def _headings(visits: Sequence[Visit], targets: Targets) -> tuple[str, ...]:
    """The columns that this log has, in the order of the schema."""
    mapped = {column for wanted in targets.values() for column, _ in wanted}
    filled = {column for visit in visits for column in visit.cells}
    return tuple(name for name in VISITS.names if name in mapped | filled | set(REQUIRED))


def _rows(found: Entries, joined: Joined, pieces: Sequence[Piece], headings: Sequence[str]) -> RawLog:
    """The visits as text, and what became of every resource."""
    rejected = tuple(sorted((*found.rejected, *joined.rejected), key=lambda item: item.line))
    devices = _used_devices(found.entries, pieces, joined)
    used = len(joined.used) + devices
    rest = len(found) - used - len(rejected)
    if rest < 0:
        raise RuntimeError(f"{len(found)} resources in, {used} used, {len(rejected)} set aside")
    return RawLog(
        columns={str(place): _column(joined.visits, name) for place, name in enumerate(headings)},
        lines=np.array([visit.line for visit in joined.visits], dtype=np.int64),
        rows_in=len(joined.visits) + len(rejected),
        rejected=rejected,
        blank_lines={_NOT_READ: rest} if rest else {},
        notes=(
            _account(len(found), used, len(joined.visits), len(rejected), rest),
            *_page_notes(found),
            *_kind_notes(found.entries),
            *_code_notes(pieces),
            *joined.notes,
        ),
    )


def _used_devices(entries: Sequence[Entry], pieces: Sequence[Piece], joined: Joined) -> int:
    """How many devices of the file belong to a visit."""
    named = {name for piece in pieces if piece.line in joined.used for name in piece.devices}
    return sum(entry.kind == DEVICE and name_of(entry) in named for entry in entries)


def _column(visits: Sequence[Visit], name: str) -> RawColumn:
    """One column, each distinct text once."""
    numbers: dict[str, int] = {}
    codes = [numbers.setdefault(visit.cells.get(name, ""), len(numbers)) for visit in visits]
    return RawColumn(tuple(numbers), np.array(codes, dtype=np.int32))


def _account(resources: int, used: int, visits: int, aside: int, rest: int) -> Note:
    """What became of every resource."""
    words = (
        f"{resources:,} resources in = {used:,} used, joined into {visits:,} visits + {aside:,} set aside + "
        f"{rest:,} not asked for (kinds and codes that the settings do not map)."
    )
    return Note("resources_joined", "notice", 0, "", words)


def _page_notes(found: Entries) -> tuple[Note, ...]:
    """A note if the file is one page of several."""
    words = "The Bundle is one page of several and says that another follows. Are all of them given?"
    return (Note("bundle_is_one_page", "warning", 0, "", words),) if found.one_page else ()


def _kind_notes(entries: Sequence[Entry]) -> tuple[Note, ...]:
    """The kinds of resource that are not read, with their number."""
    kinds = Counter(_safe(entry.kind) for entry in entries if entry.kind not in (*KINDS, DEVICE))
    if not kinds:
        return ()
    words = name_a_few([f"{kind} ({n:,})" for kind, n in sorted(kinds.items())], limit=12)
    return (Note("kinds_not_read", "notice", 0, "", f"Kinds of resource that are not read: {words}."),)


def _code_notes(pieces: Sequence[Piece]) -> tuple[Note, ...]:
    """One note for each code that nobody mapped, with how often and in which kinds of resource it stands."""
    seen: dict[str, Counter[str]] = {}
    for piece in pieces:
        for code in piece.unmapped:
            seen.setdefault(code, Counter())[piece.kind] += 1
    return tuple(
        Note(
            "code_not_mapped",
            "warning",
            0,
            "",
            f"{_safe(code)}: stands {counted(sum(kinds.values()), 'time')} in {', '.join(sorted(kinds))} and is "
            "not read. Map it under [fhir.codes].",
        )
        for code, kinds in sorted(seen.items())
    )


def _safe(code: str) -> str:
    """A code as messages print it; one that does not look like a code only as its shape."""
    return code if _TOKEN.fullmatch(code) else masked(code)
