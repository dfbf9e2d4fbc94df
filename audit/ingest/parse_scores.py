"""One text to a grade or a score, in the ways notes write them."""

import re

from audit.ingest.parse import Reading
from audit.schema.terms import GRADE_WORDS, NO_GRADE_WORDS, OUT_OF_WORDS

_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5}
_GRADE = re.compile(rf"(?:(?:{'|'.join(GRADE_WORDS)})[ .:\-]*)?([0-9]{{1,2}}|{'|'.join(_ROMAN)})")
_SCORE = re.compile(
    rf"([0-9]+(?:\.[0-9]+)?) ?(?:{'|'.join(map(re.escape, OUT_OF_WORDS))}) ?(10|100)(?![0-9])"
)


def parse_grade(text: str) -> Reading | None:
    """A grade with its word or in Roman figures; None when the text is written otherwise.

    Parameters
    ----------
    text
        Cleaned text, such as "grade 2", "Gr. II" or "none".

    Returns
    -------
    Reading or None
        A float; a word for none is grade 0. Words for severity are not read: their grades are local.

    Examples
    --------
    >>> parse_grade("Grade II").value, parse_grade("none").value, parse_grade("mild")
    (2.0, 0.0, None)
    """
    word = text.casefold()
    if word in NO_GRADE_WORDS:
        return Reading(0.0)
    found = _GRADE.fullmatch(word)
    return Reading(float(_ROMAN.get(found[1]) or found[1])) if found else None


def parse_score(text: str) -> Reading | None:
    """A score from 0 to 10 written with its total; None when the text has no total.

    Parameters
    ----------
    text
        Cleaned text, such as "7/10" or "65 out of 100".

    Returns
    -------
    Reading or None
        A float on the scale 0 to 10. A plain number has the scale of its column, which only the settings say.

    Examples
    --------
    >>> parse_score("7/10").value, parse_score("65/100").value, parse_score("7")
    (7.0, 6.5, None)
    """
    found = _SCORE.fullmatch(text.casefold())
    return Reading(float(found[1]) * 10 / int(found[2]), note="unit_written") if found else None
