"""One column of a file under the guard: what it seems to hold, or nothing."""

import re

from audit.ingest.identifiers_by_heading import REFERENCES, kind_by_heading
from audit.ingest.identifiers_contacts import CONTACT_RULES, POSTCODE
from audit.ingest.identifiers_dates import are_birth_dates, year_of
from audit.ingest.identifiers_file_column import FileColumn, Suspicion, kind_of_column, rows_with, suspicion
from audit.ingest.identifiers_headings import (
    FREE_TEXT,
    NAMES,
    heading_words,
)
from audit.ingest.identifiers_names import STAFF_TITLE_RULES, TITLE_RULE, name_places
from audit.ingest.identifiers_numbers import (
    BIRTH_DATES,
    BIRTH_REFERENCE_RULE,
    BIRTH_TEXT_RULE,
    NUMBER_RULES,
)
from audit.ingest.identifiers_rules import Rule, rule_hits, shape_of, words_in
from audit.ingest.identifiers_screen import candidates, evenly, filled_places
from audit.ingest.identifiers_text import is_free_text
from audit.ingest.parse import cleaned
from audit.ingest.raw import RawColumn
from audit.ingest.readings import STAFF_AND_PLACES
from audit.schema.visits import VISITS
from audit.settings import Layout

STAFF = tuple(name for name in STAFF_AND_PLACES if name != "site_ref")
_STAFF_WORDS = words_in(
    "by clinician consultant doctor fitter gp inserter midwife nurse operator practitioner provider staff "
    "supervisor trainer medecin arzt medico"
)
_PLACE_WORDS = words_in(
    "area city county district geography locality location place post postal region residence suburb town zip"
)
_ZIP = re.compile(r"\d{5}(?:-\d{4})?")
_SHAPE_SAMPLE = 1000
_FEWEST_NAMES, _NAMES_PER_WOMAN, _FEWEST_PLACES = 10, 0.4, 5


def suspicion_of(
    column: FileColumn, *, layout: Layout, visits: RawColumn | None, women: int
) -> Suspicion | None:
    """What a column seems to hold that can identify a person.

    Parameters
    ----------
    column
        The column, read or not.
    layout
        Its `codes` are words that the service itself has declared harmless.
    visits
        The dates of the visits, row by row; None when there are none.
    women
        Number of distinct references of women.

    Returns
    -------
    Suspicion or None
        The first kind found, the heading before the values; None when nothing is.

    Examples
    --------
    >>> import numpy as np
    >>> contact = RawColumn(("", "ring rose@example.org"), np.array([0, 1, 1], dtype=np.int32))
    >>> found = suspicion_of(FileColumn(4, "Contact", "", contact), layout=Layout(), visits=None, women=3)
    >>> found.kind, found.rows, found.filled
    ('e-mail addresses', 2, 2)
    """
    numbers = _unexplained(column, layout)
    texts = [column.raw.texts[number] for number in numbers]
    kind = kind_by_heading(column) or _birth_dates(column, visits)
    if kind:
        return suspicion(column, kind, range(len(column.raw.texts)))
    found = _by_rules(column, texts) or _by_names(column, texts, women)
    if found:
        return suspicion(column, found[0], [numbers[place] for place in found[1]])
    kind = _zip_codes(column, texts) or _free_text(column, numbers, texts)
    return suspicion(column, kind, numbers) if kind else None


def _unexplained(column: FileColumn, layout: Layout) -> list[int]:
    """The numbers of the distinct texts that neither the schema nor the settings explain."""
    filled = filled_places(column.raw.texts)
    known = {cleaned(word).casefold() for word in layout.codes.get(column.name, {})}
    if column.name:
        known |= {code.replace("_", " ") for code in VISITS[column.name].codes}
    dates = kind_of_column(column) == "date"
    if not known and not dates:
        return filled
    return [
        number
        for number in filled
        if cleaned(column.raw.texts[number]).casefold() not in known
        and not (dates and _is_date(column.raw.texts[number]))
    ]


def _is_date(text: str) -> bool:
    """Whether a text of a column of dates is a date, or eight or more digits that may be one with its time."""
    return year_of(text) >= 0 or (text.isdigit() and text.startswith(("19", "20")))


def _rules(column: FileColumn) -> tuple[Rule, ...]:
    """The rules for the values of the column, the plainest first."""
    rules: tuple[Rule, ...] = (BIRTH_TEXT_RULE, *NUMBER_RULES, *CONTACT_RULES)
    if kind_of_column(column) == "parity":
        rules = tuple(rule for rule in rules if rule.kind != POSTCODE)
    if column.name in REFERENCES:
        return (*rules, BIRTH_REFERENCE_RULE, TITLE_RULE)
    return (*rules, *(STAFF_TITLE_RULES if _is_staff(column) else (TITLE_RULE,)))


def _is_staff(column: FileColumn) -> bool:
    """Whether it is a column of staff, by our name for it or by its heading."""
    return column.name in STAFF or (
        not column.name and bool(_STAFF_WORDS & set(heading_words(column.heading)))
    )


def _by_rules(column: FileColumn, texts: list[str]) -> tuple[str, list[int]] | None:
    """The kind of the first rule that finds something, and the places of what it found."""
    looked = candidates(texts)
    shape = shape_of(
        evenly(texts, most=_SHAPE_SAMPLE), distinct=looked.distinct, declared=column.name in REFERENCES
    )
    for rule in _rules(column) if looked.cells else ():
        hits = rule_hits(rule, looked.cells, shape)
        if hits:
            return rule.kind, [int(looked.places[hit]) for hit in hits]
    return None


def _by_names(column: FileColumn, texts: list[str], women: int) -> tuple[str, list[int]] | None:
    """Names by their look alone, in columns that may hold them."""
    if kind_of_column(column) not in ("", "text", "reference"):
        return None
    if not column.name and not _is_staff(column) and not _as_many_as_women(texts, women):
        return None
    sample = evenly(texts)
    # A few places may well have two words; as many as this are persons in the wrong column.
    if column.name == "site_ref" and len(sample) < _FEWEST_PLACES:
        return None
    found = name_places(sample, any_case=column.name in (*STAFF, "patient_ref"))
    if not found:
        return None
    named = {sample[place] for place in found}
    return NAMES, [place for place, text in enumerate(texts) if cleaned(text) in named]


def _as_many_as_women(texts: list[str], women: int) -> bool:
    """Whether a column nobody has explained has about as many values as there are women, as their names have."""
    return len(texts) >= max(_FEWEST_NAMES, _NAMES_PER_WOMAN * women)


def _birth_dates(column: FileColumn, visits: RawColumn | None) -> str:
    """Dates of birth, if most rows hold a date as long before the visit as women are old."""
    dated = not column.name or (kind_of_column(column) == "date" and column.name != "visit_date")
    spared = column.name == "last_delivery_date"
    found = visits is not None and dated and are_birth_dates(column.raw, visits, spared=spared)
    return BIRTH_DATES if found else ""


def _zip_codes(column: FileColumn, texts: list[str]) -> str:
    """Postcodes, if the heading names a place and most values have five digits."""
    if column.name or not _PLACE_WORDS & set(heading_words(column.heading)):
        return ""
    sample = evenly(texts)
    return POSTCODE if sum(bool(_ZIP.fullmatch(text)) for text in sample) > len(sample) / 2 else ""


def _free_text(column: FileColumn, numbers: list[int], texts: list[str]) -> str:
    """Free text, by its look alone."""
    if kind_of_column(column) not in ("", "text", "reference", "code", "flag"):
        return ""
    filled = rows_with(column, numbers)
    return FREE_TEXT if is_free_text(evenly(texts), distinct=len(texts), filled=filled) else ""
