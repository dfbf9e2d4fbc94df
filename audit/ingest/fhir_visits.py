"""Pieces of FHIR joined into visits: by encounter, or by woman and day."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from audit.ingest.fhir_codes import Cell
from audit.ingest.fhir_kinds import KINDS
from audit.ingest.fhir_resources import Piece
from audit.ingest.raw import Note, Rejected
from audit.schema.visits import VISITS

Key = tuple[str, str, str]
# What the statuses of a Procedure mean by the definitions of FHIR R4: one "not-done" ended before its main
# activity began, one "stopped" after some of it.
_OUTCOMES = {"completed": "placed", "stopped": "failed", "not-done": "deferred_not_started"}
_INSERTIONS = ("insertion", "removal_and_replacement")
_MESSAGES = {
    "void": "Its status says that it tells nothing of what happened. Correct the status if it does.",
    "no_patient": "It names no patient, so it belongs to no woman. Export it with its reference to one.",
    "no_date": "It has no encounter and no date, so it belongs to no visit. Export it with one of them.",
    "no_visit_kind": "No code of its encounter or day says what kind of visit it was. Map one under [fhir.codes].",
    "not_done": "It says that a removal was not done, or not whether it was, so it ends nothing. Check its status.",
}


@dataclass(frozen=True)
class Visit:
    """One visit: the line of the resource that leads it, and its cells."""

    line: int
    cells: dict[str, str] = field(repr=False)


@dataclass(frozen=True)
class Joined:
    """Visits, resources set aside, the lines of those joined, and values that contradict each other."""

    visits: tuple[Visit, ...]
    rejected: tuple[Rejected, ...]
    used: frozenset[int]
    notes: tuple[Note, ...] = ()


def join_pieces(pieces: Sequence[Piece]) -> Joined:
    """The visits that resources tell of.

    Parameters
    ----------
    pieces
        From `audit.ingest.fhir_resources.piece_of`.

    Returns
    -------
    Joined
        A resource with an encounter belongs to that; one without to the resource it is part of, to the only
        encounter of the woman on its day, or to the day. Each Procedure that says what kind of visit it was
        makes a row of its own; without one, the Encounter does. A resource neither joined nor set aside has
        no code that the settings map.
    """
    telling = [piece for piece in pieces if piece.cells or piece.kind == "Encounter"]
    problems = {piece.line: _problem(piece) for piece in telling}
    good = [piece for piece in telling if not problems[piece.line]]
    groups: dict[Key, list[Piece]] = {}
    for piece, key in zip(good, _keys(good), strict=True):
        groups.setdefault(key, []).append(piece)
    undated = [piece for (how, _, _), group in groups.items() if how == "" for piece in group]
    built = [_visits_of(group) for (how, _, _), group in groups.items() if how]
    rejected = [
        *(Rejected(line, reason, _MESSAGES[reason]) for line, reason in problems.items() if reason),
        *_rejected(undated, "no_date"),
        *(item for found in built for item in found.rejected),
    ]
    return Joined(
        visits=tuple(
            sorted((visit for found in built for visit in found.visits), key=lambda item: item.line)
        ),
        rejected=tuple(sorted(rejected, key=lambda item: item.line)),
        used=frozenset(line for found in built for line in found.used),
        notes=tuple(note for found in built for note in found.notes),
    )


def _problem(piece: Piece) -> str:
    """Why a resource cannot be used by itself; empty if it can."""
    if piece.status in KINDS[piece.kind].void:
        return "void"
    return "" if piece.patient else "no_patient"


def _rejected(pieces: Iterable[Piece], reason: str) -> list[Rejected]:
    """These resources set aside; an encounter of which nothing is known was only not asked for."""
    return [Rejected(piece.line, reason, _MESSAGES[reason]) for piece in pieces if piece.cells]


def _keys(pieces: Sequence[Piece]) -> list[Key]:
    """The visit that each resource belongs to: how it was found, the woman, and the encounter or day."""
    on_day: dict[tuple[str, str], set[str]] = {}
    for piece in pieces:
        if piece.kind == "Encounter":
            on_day.setdefault((piece.patient, piece.day), set()).add(piece.name)
    own = {piece.name: _own_key(piece, on_day) for piece in pieces}
    keys = []
    for piece in pieces:
        linked = [own[name] for name in piece.parts_of if name in own and own[name][1] == piece.patient]
        keys.append(own[piece.name] if piece.encounter or not linked else linked[0])
    return keys


def _own_key(piece: Piece, on_day: Mapping[tuple[str, str], set[str]]) -> Key:
    """The visit that a resource names itself: by its encounter, else by its day."""
    encounter = piece.name if piece.kind == "Encounter" else piece.encounter
    there = on_day.get((piece.patient, piece.day), set())
    if encounter or (piece.day and len(there) == 1):
        return "encounter", piece.patient, encounter or min(there)
    return "day" if piece.day else "", piece.patient, piece.day


def _visits_of(group: Sequence[Piece]) -> Joined:
    """The visits of one encounter or day."""
    undone = [piece for piece in group if _is_undone(piece)]
    pieces = [piece for piece in group if piece not in undone]
    leads = _leads(pieces)
    if not leads:
        rejected = (*_rejected(undone, "not_done"), *_rejected(pieces, "no_visit_kind"))
        return Joined((), rejected, frozenset())
    rows = [(lead, _start(lead, pieces)) for lead in leads]
    notes = []
    # What leads a row fills it first; the rest follows in the order of the file.
    for piece in (*leads, *(piece for piece in pieces if piece not in leads)):
        for cell in piece.cells:
            notes += _filled(_row_for(piece, cell[0], rows), cell, piece.line)
    return Joined(
        visits=tuple(Visit(lead.line, _with_outcome(lead, cells)) for lead, cells in rows),
        rejected=tuple(_rejected(undone, "not_done")),
        used=frozenset(piece.line for piece in pieces),
        notes=tuple(notes),
    )


def _kind_of_visit(piece: Piece) -> str:
    """The kind of visit that a resource speaks of."""
    return next((text for column, text in piece.cells if column == "visit_kind"), "")


def _is_undone(piece: Piece) -> bool:
    """Whether it is a removal that was not done, or of which nobody says whether it was."""
    removal = piece.kind == "Procedure" and _kind_of_visit(piece) == "removal"
    return removal and piece.status not in ("completed", "stopped")


def _leads(pieces: Sequence[Piece]) -> list[Piece]:
    """The resources that make a row: procedures, else the encounter, else whatever tells the kind of visit."""
    telling = [piece for piece in pieces if _kind_of_visit(piece)]
    procedures = [piece for piece in telling if piece.kind == "Procedure"]
    encounters = [piece for piece in telling if piece.kind == "Encounter"]
    return procedures or encounters[:1] or telling[:1]


def _start(lead: Piece, pieces: Sequence[Piece]) -> dict[str, str]:
    """The cells that a row starts from: woman, day, kind, people and place."""
    encounters = [piece for piece in pieces if piece.kind == "Encounter"]
    days = [piece.day for piece in (lead, *encounters, *pieces) if piece.day]
    cells = {
        "patient_ref": lead.patient,
        "visit_date": next(iter(days), ""),
        "visit_kind": _kind_of_visit(lead),
    }
    for piece in (lead, *encounters):
        for column, text in piece.context:
            cells.setdefault(column, text)
    return cells


def _row_for(piece: Piece, column: str, rows: Sequence[tuple[Piece, dict[str, str]]]) -> dict[str, str]:
    """The row that a cell belongs to: its own, the one it is part of, the first of a fitting kind, the first."""
    fits = [cells for lead, cells in rows if any(part in cells["visit_kind"] for part in VISITS[column].rows)]
    linked = [cells for lead, cells in rows if lead is piece or lead.name in piece.parts_of]
    return next(iter([*linked, *fits, rows[0][1]]))


def _filled(cells: dict[str, str], cell: Cell, line: int) -> list[Note]:
    """A note if the cell holds another value already; the first one counts."""
    column, text = cell
    if column == "visit_kind" or cells.setdefault(column, text) == text:
        return []
    words = f"{column}: the resources of one visit give different values. The first is used. Check them."
    return [Note("conflicting_values", "warning", line, column, words)]


def _with_outcome(lead: Piece, cells: Mapping[str, str]) -> dict[str, str]:
    """The cells with what the status of a Procedure says, unless a code says it."""
    if lead.kind != "Procedure":
        return dict(cells)
    code = lead.outcome.rpartition("|")[2]
    if cells["visit_kind"] in _INSERTIONS:
        # An outcome that nobody mapped may say "failed", so the status must not speak in its place.
        return {"insertion_outcome": code or _outcome(lead.status, cells), **cells}
    if cells["visit_kind"] != "removal":
        return dict(cells)
    told = {"device_in_situ": code} if code else {}
    return {**told, **({"removal_difficult": "failed"} if lead.status == "stopped" else {}), **cells}


def _outcome(status: str, cells: Mapping[str, str]) -> str:
    """How an insertion ended by its status and the reason for it."""
    if status == "not-done" and "failure_reason" in cells and "deferral_reason" not in cells:
        # Many records write "not done" for an insertion that was tried and failed; the reason tells.
        return "failed"
    return _OUTCOMES.get(status, "unknown")
