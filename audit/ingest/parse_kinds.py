"""The kinds of unknown, told apart by the word that is written."""

from audit.ingest.parse import Reading, cleaned
from audit.schema.terms import UNKNOWN_KINDS

_KIND_OF = {word: kind for kind, words in UNKNOWN_KINDS.items() for word in words}


def unknown_kind(text: str, reading: Reading) -> str:
    """Why a value is not there, as far as the text says it.

    Parameters
    ----------
    text
        A cell.
    reading
        What it was read as.

    Returns
    -------
    str
        ``not_known``, ``not_recorded``, ``not_asked``, ``declined`` or ``not_applicable``; "" for a value, an
        empty cell, and a text that cannot be read.

    Examples
    --------
    >>> unknown_kind("Not asked", Reading()), unknown_kind("n/a", Reading(reason="blank"))
    ('not_asked', 'not_applicable')
    >>> unknown_kind("declined", Reading("declined"))
    ''
    """
    if reading.reason not in ("", "blank") or reading.value not in (None, "unknown"):
        return ""
    # A word that the settings declare as unknown says no more than that.
    otherwise = "" if reading.reason else "not_known"
    return _KIND_OF.get(cleaned(text).casefold(), otherwise)
