"""Whether a heading decides what a column holds: it must mean the values, and a value must bear it out."""

import re

from audit.ingest.identifiers_contacts import EMAIL, POSTCODE, TELEPHONE, WEB
from audit.ingest.identifiers_file_column import FileColumn, rows_with
from audit.ingest.identifiers_headings import ADDRESSES, FREE_TEXT, NAMES, RECORD_NUMBERS, kind_of_heading
from audit.ingest.identifiers_numbers import BIRTH_DATES, HEALTH_NUMBERS, NATIONAL_NUMBERS
from audit.ingest.identifiers_text import is_short_list
from audit.ingest.parse import cleaned
from audit.ingest.readings import STAFF_AND_PLACES
from audit.schema.terms import BLANK_WORDS, NO_WORDS, UNKNOWN_WORDS, YES_WORDS
from audit.schema.visits import VISITS

REFERENCES = ("patient_ref", "visit_ref")
_MEANINGLESS = frozenset((*BLANK_WORDS, *YES_WORDS, *NO_WORDS, *UNKNOWN_WORDS))
# What at least one value must show before a heading is believed: "Telephone call made" holds yes and no.
_EVIDENCE = {
    NAMES: r"(?<!\w)[^\W\d_]{2,}(?!\w)",
    EMAIL: r"@",
    WEB: r"\w{3}",
    TELEPHONE: r"(?:\d\D{0,3}){6}",
    POSTCODE: r"\d",
    ADDRESSES: r"\w{3}",
    BIRTH_DATES: r"\d",
    HEALTH_NUMBERS: r"(?:\d\D?){4}",
    NATIONAL_NUMBERS: r"(?:\d\D?){4}",
    RECORD_NUMBERS: r"\d\d",
}


def kind_by_heading(column: FileColumn) -> str:
    """The kind of identifier that a column's heading announces, if the heading is to be believed.

    Parameters
    ----------
    column
        The column.

    Returns
    -------
    str
        Blank when the heading announces nothing, when our own column of that name makes nothing of it, or
        when no value bears it out: "Telephone call made" holds yes and no.

    Examples
    --------
    >>> import numpy as np
    >>> from audit.ingest.raw import RawColumn
    >>> values = RawColumn(("yes", "Example"), np.array([0, 1], dtype=np.int32))
    >>> kind_by_heading(FileColumn(0, "Surname", "", values))
    'names'
    """
    kind = kind_of_heading(column.heading)
    if not kind or not _heading_counts(column.name, kind):
        return ""
    told = {
        number: text
        for number, text in enumerate(column.raw.texts)
        if cleaned(text).casefold() not in _MEANINGLESS
    }
    if kind == FREE_TEXT:
        listed = not told or is_short_list(list(told.values()), filled=rows_with(column, told))
        return "" if listed else kind
    evidence = re.compile(_EVIDENCE[kind])
    return kind if any(evidence.search(text) for text in told.values()) else ""


def _heading_counts(name: str, kind: str) -> bool:
    """Whether the heading of a column read as ours may decide; what holds codes or counts is judged by value."""
    if not name or name in REFERENCES:
        return True
    if name in STAFF_AND_PLACES:
        # Codes of staff and sites are often headed "Clinician name" or "Location".
        return kind in (EMAIL, TELEPHONE, BIRTH_DATES, HEALTH_NUMBERS, NATIONAL_NUMBERS)
    return kind == BIRTH_DATES and VISITS[name].kind == "date" and name != "last_delivery_date"
