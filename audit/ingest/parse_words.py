"""One text to yes, no, unknown or a code, or to the reason why not."""

import re
from collections.abc import Mapping

from audit.ingest.parse import UNKNOWN, Reading, cleaned, plain_text
from audit.schema.column import Column
from audit.schema.terms import NO_WORDS, UNKNOWN_KINDS, YES_WORDS


def parse_flag(text: str, *, words: Mapping[str, str]) -> Reading:
    """Yes or no.

    Parameters
    ----------
    text
        A cell.
    words
        From `flag_words`.

    Returns
    -------
    Reading
        A bool; nothing for a word that means unknown; or ``unknown_word``.

    Examples
    --------
    >>> parse_flag("Y", words=flag_words((), (), ())).value
    True
    """
    plain = plain_text(text, keep=words)
    if isinstance(plain, Reading):
        return plain
    meaning = words.get(plain.casefold())
    if meaning is None:
        return Reading(reason="unknown_word")
    return Reading(meaning == "yes") if meaning in ("yes", "no") else UNKNOWN


def parse_code(text: str, *, words: Mapping[str, str]) -> Reading:
    """One of a column's codes.

    Parameters
    ----------
    text
        A cell.
    words
        From `code_words`.

    Returns
    -------
    Reading
        A str; nothing for a word that means unknown where the column has no code for it; or ``unknown_code``.

    Examples
    --------
    >>> from audit.schema.visits import VISITS
    >>> parse_code("Follow-Up", words=code_words(VISITS["visit_kind"], {})).value
    'follow_up'
    """
    plain = plain_text(text, keep=words)
    if isinstance(plain, Reading):
        return plain
    code = words.get(plain.casefold(), words.get(plain_code(plain)))
    if code is None:
        return Reading(reason="unknown_code")
    return Reading(code) if code else UNKNOWN


def plain_code(text: str) -> str:
    """The text in the form of our codes.

    Parameters
    ----------
    text
        A code as a log writes it.

    Returns
    -------
    str
        Lower case, one underscore for spaces and hyphens.

    Examples
    --------
    >>> plain_code("Removal and-Replacement")
    'removal_and_replacement'
    """
    return re.sub(r"[\s\-_]+", "_", text.strip().casefold())


def flag_words(yes: tuple[str, ...], no: tuple[str, ...], unknown: tuple[str, ...]) -> dict[str, str]:
    """The words for yes, no and unknown.

    Parameters
    ----------
    yes, no, unknown
        A log's own words, which count more than the built-in ones.

    Returns
    -------
    dict
        Word in lower case -> ``yes``, ``no``, ``unknown``, or its kinds ``not_asked`` and ``declined``.

    Examples
    --------
    >>> flag_words(("Oui",), (), ())["oui"]
    'yes'
    """
    groups = (
        ("yes", YES_WORDS),
        ("no", NO_WORDS),
        ("unknown", UNKNOWN_KINDS["not_known"]),
        ("unknown", UNKNOWN_KINDS["not_recorded"]),
        ("not_asked", UNKNOWN_KINDS["not_asked"]),
        ("declined", UNKNOWN_KINDS["declined"]),
        ("yes", yes),
        ("no", no),
        ("unknown", unknown),
    )
    return {cleaned(str(word)).casefold(): meaning for meaning, words in groups for word in words}


def code_words(column: Column, flags: Mapping[str, str]) -> dict[str, str]:
    """The words that mean one of a column's codes.

    Parameters
    ----------
    column
        A column with codes.
    flags
        From `flag_words`. Words for yes and no count where the column has these codes; words for no mean
        ``none`` where it has that one only.

    Returns
    -------
    dict
        Word in lower case -> code, or "" for unknown in a column without a code for it.

    Examples
    --------
    >>> from audit.schema.visits import VISITS
    >>> code_words(VISITS["resistance_met"], {"n": "no"})["n"]
    'none'
    """
    no = "no" if "no" in column.codes else "none"
    stands_for = {"yes": "yes", "no": no, "unknown": "unknown"}
    # "Declined" in an outcome may be the outcome itself, so it is left for the settings to say.
    if column.requirement not in ("required", "one_of"):
        stands_for |= {"not_asked": "unknown", "declined": "unknown"}
    named = {word: stands_for[meaning] for word, meaning in flags.items() if meaning in stands_for}
    words = {word: code for word, code in named.items() if code in column.codes}
    if "unknown" not in column.codes:
        words |= {word: "" for word, code in named.items() if code == "unknown"}
    return words | {plain_code(code): code for code in column.codes}
