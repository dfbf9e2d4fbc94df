"""Which texts of a log a draft may repeat: words that many rows share and that name nobody."""

import re

from audit.ingest.drafting_text import plain_words
from audit.ingest.identifiers_headings import kind_of_heading
from audit.ingest.masking import shown

FEWEST_ROWS = 3
_MOST_WORDS = 6
_TITLES = frozenset({"dr", "mr", "mrs", "ms", "miss", "prof", "nurse", "sister", "mme", "mlle", "sr", "sra"})
_TITLES |= {"srta", "dra", "herr", "frau", "dhr", "mevr"}
_REVEALING = re.compile(r"[0-9]{3}|@|://|\d[/.-]\d+[/.-]\d")


def may_be_shown(text: str, rows: int) -> bool:
    """Whether a text that is not understood may stand in a draft.

    Parameters
    ----------
    text
        As the log writes it, from a column of few different words.
    rows
        On how many rows it stands.

    Returns
    -------
    bool
        False for what stands on fewer than 3 rows, has a title, three figures in a row, a date or an address
        of the net, more than 6 words, or no letter.

    Examples
    --------
    >>> may_be_shown("See letter", 3), may_be_shown("Removed by Dr Jones", 9), may_be_shown("See letter", 1)
    (True, False, False)
    """
    words = plain_words(text)
    return (
        rows >= FEWEST_ROWS
        and 0 < len(words) <= _MOST_WORDS
        and not _TITLES & set(words)
        and not _REVEALING.search(text)
        and any(character.isalpha() for character in text)
    )


def shown_heading(heading: str) -> str:
    """A heading that is not proposed for anything, as a draft prints it.

    Parameters
    ----------
    heading
        As the log writes it; in a file without headings it is a value.

    Returns
    -------
    str
        One that says who a woman is appears as its kind; one that looks like data as its shape.

    Examples
    --------
    >>> shown_heading("Surname"), shown_heading("W00172"), shown_heading("Room")
    ('(a column of names)', "'a99999'", "'Room'")
    """
    kind = kind_of_heading(heading)
    printable = "".join(character if character.isprintable() else " " for character in shown(heading))
    return f"(a column of {kind})" if kind else f"'{printable}'"
