"""Which of our columns each column of a log may feed: words of the heading first, then what its values say."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from audit.ingest.drafting_columns import FileColumn
from audit.ingest.drafting_evidence import NOTHING_WRITTEN, Evidence, evidence_of
from audit.ingest.drafting_numbers import without_key
from audit.ingest.drafting_text import (
    best_likeness,
    ideas_of,
    phrases,
    plain_words,
    respelt,
    with_capitals_parted,
)
from audit.ingest.identifiers_headings import kind_of_heading
from audit.ingest.layout import plain_heading
from audit.schema.column import Column
from audit.schema.terms import HEADING_WORDS
from audit.schema.visits import VISITS

SURE, LIKELY, GUESS = "sure", "likely", "guess"
FITS, HALF = 0.9, 0.5
MOSTLY_ALIKE, PARTLY_ALIKE = 0.6, 0.4
# A misspelt heading is never sure: two of our words may be a letter apart.
_MISSPELT = 0.8
_WEIGHT_OF_VALUES = 0.4
_TOO_CLOSE = 0.1
# A second reason looks just like the main one, so its heading must say that it is the second.
_ONLY_IF_SAID = {"removal_reason_second": "second"}
# Units, scales and forms say how a value is written, not what it is.
_FORMS = re.compile(
    r"[(\[][^)\]]*[)\]]|\b[0-9]+ ?[-–/] ?[0-9]+\b|\b(?:mm|cm|kg/m2)\b|"
    r"\b(?:y/n|yes/no|o/n|oui/non|s/n|si/no|j/n|ja/nein)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Proposal:
    """A column of the log for one of ours: how sure, why, and its place among its rivals."""

    column: Column
    values: FileColumn = field(repr=False)
    certainty: str
    why: str
    rank: float


def propose_columns(columns: Sequence[FileColumn]) -> list[Proposal]:
    """The best proposal for each of our columns, each heading and each column used at most once.

    Parameters
    ----------
    columns
        The columns of the log.

    Returns
    -------
    list of Proposal
        In the order of the schema. Words outweigh values, and values decide between words that are alike.
    """
    usable = [values for values in columns if not values.twice and not kind_of_heading(values.heading)]
    found = [
        proposal
        for values in usable
        for column in VISITS.columns
        if (proposal := _proposal(values, column)) is not None
    ]
    # Python's sort keeps the order of headings and schema among equals, so a draft never depends on chance.
    ranked = sorted(found, key=lambda proposal: -proposal.rank)
    taken: list[Proposal] = []
    for proposal in ranked:
        if not any(_rivals(proposal, other) for other in taken):
            taken.append(proposal)
    taken += _only_dates(usable, taken)
    settled = [_with_rivals(proposal, ranked, taken) for proposal in taken]
    return sorted(settled, key=lambda proposal: VISITS.names.index(proposal.column.name))


def _only_dates(columns: Sequence[FileColumn], taken: Sequence[Proposal]) -> list[Proposal]:
    """The one column of dates that is left, for the date of the visit where no heading says it."""
    used = {proposal.values.heading for proposal in taken}
    date = VISITS["visit_date"]
    if any(proposal.column.name == date.name for proposal in taken):
        return []
    dates = [
        values
        for values in columns
        if values.heading not in used and values.written and evidence_of(values, date).share >= FITS
    ]
    if len(dates) != 1:
        return []
    why = "the heading says nothing; no other column that is left holds dates"
    return [Proposal(date, dates[0], GUESS, why, 0.0)]


def _rivals(one: Proposal, other: Proposal) -> bool:
    """Whether two proposals share a heading or one of our columns."""
    return one.column.name == other.column.name or one.values.heading == other.values.heading


def _with_rivals(proposal: Proposal, ranked: list[Proposal], taken: list[Proposal]) -> Proposal:
    """The proposal, no longer sure where another heading or column fits about as well and is still free."""
    free = [
        other
        for other in ranked
        if other is not proposal
        and _rivals(proposal, other)
        and other.rank > proposal.rank - _TOO_CLOSE
        and not any(_rivals(other, third) for third in taken if third is not proposal)
    ]
    if not free or proposal.certainty != SURE:
        return proposal
    other = free[0]
    named = (
        f"the heading also fits {other.column.name}"
        if other.values.heading == proposal.values.heading
        else "another heading fits as well"
    )
    return Proposal(proposal.column, proposal.values, LIKELY, f"{proposal.why}; {named}", proposal.rank)


def _proposal(values: FileColumn, column: Column) -> Proposal | None:
    """One column of the log for one of ours; None where nothing speaks for it."""
    alike, spelt = heading_likeness(values.heading, column)
    if column.name in _ONLY_IF_SAID and _ONLY_IF_SAID[column.name] not in _ideas(values.heading):
        return None
    if alike < PARTLY_ALIKE and column.kind != "code":
        return None
    evidence = evidence_of(values, column)
    certainty = _certainty(alike, evidence)
    if not certainty:
        return None
    if spelt and certainty == SURE:
        certainty = LIKELY
    rank = alike + _WEIGHT_OF_VALUES * evidence.share + (0.1 if evidence.telling else 0.0)
    return Proposal(column, values, certainty, _why(alike, spelt, evidence), rank)


def heading_likeness(heading: str, column: Column) -> tuple[float, bool]:
    """How well a heading fits one of our columns (0-1), and whether only after its spelling was mended.

    Parameters
    ----------
    heading
        As the log writes it.
    column
        One of ours.

    Returns
    -------
    tuple of float and bool
        Our own name fits fully. Words are compared by what they mean, so "No. births" is a number of births
        and nothing else, however its letters fall.

    Examples
    --------
    >>> heading_likeness("No. births", VISITS["births"])
    (1.0, False)
    >>> heading_likeness("No. births", VISITS["removal_reason_main"])
    (0.0, False)
    """
    own = column.name.replace("_", " ")
    if plain_heading(heading) == own:
        return 1.0, False
    known = phrases(HEADING_WORDS.get(column.name, own), no="number")
    alike = best_likeness(_ideas(heading), known)
    mended = respelt(heading)
    if mended == heading or alike == 1.0:
        return alike, False
    after = _MISSPELT * best_likeness(_ideas(mended), known)
    return (after, True) if after > alike else (alike, False)


def _ideas(heading: str) -> frozenset[str]:
    """The ideas of a heading without its units, scales and forms."""
    parted = with_capitals_parted(without_key(heading)).replace("_", " ")
    bare = _FORMS.sub(" ", parted)
    return ideas_of(bare if plain_words(bare) else heading, no="number")


def _certainty(alike: float, evidence: Evidence) -> str:
    """How sure a proposal is; nothing where it should not be made."""
    if evidence == NOTHING_WRITTEN:
        return LIKELY if alike == 1.0 else GUESS if alike >= MOSTLY_ALIKE else ""
    if evidence.telling and evidence.exact >= FITS:
        return SURE if alike >= MOSTLY_ALIKE else LIKELY
    if alike == 1.0:
        # Words for several codes of one column do not come together by chance.
        enough = HALF if evidence.telling else FITS
        return SURE if evidence.share >= enough else LIKELY if evidence.share >= HALF else GUESS
    if alike >= MOSTLY_ALIKE and evidence.share >= HALF:
        return LIKELY if evidence.share >= FITS else GUESS
    return GUESS if alike >= PARTLY_ALIKE and evidence.share >= FITS else ""


def _why(alike: float, spelt: bool, evidence: Evidence) -> str:
    """The reason for a proposal."""
    if spelt:
        words = "the heading is spelt nearly like it"
    elif alike == 1.0:
        words = "the heading means it"
    else:
        words = "the heading says part of it" if alike >= PARTLY_ALIKE else "the heading says nothing"
    return f"{words}; {evidence.why or 'nothing is written in it'}"
