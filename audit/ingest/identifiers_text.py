"""Columns judged by the texture of their text: free text, and references that may be a hash."""

import re
from collections.abc import Sequence

_MEAN_LENGTH = 25
_DISTINCT_SHARE = 0.5
_FEWEST = 5
_MOST = 0.5
_SHORT_LIST = 10
_USES = 5
_WORDS = 3
_WORD = re.compile(r"(?<!\w)[^\W\d_]{2,}(?!\w)")
_HEXADECIMAL = re.compile(r"(?=.*[a-f])(?:[0-9a-f]{64}|[0-9a-f]{40}|[0-9a-f]{32})", re.IGNORECASE)


def is_free_text(texts: Sequence[str], *, distinct: int, filled: int) -> bool:
    """Whether a column is text that people wrote freely: long, of several words, and seldom the same twice.

    Parameters
    ----------
    texts
        Distinct values, or a sample of them.
    distinct
        Number of distinct values.
    filled
        Rows with a value.

    Returns
    -------
    bool
        True above 25 characters on average, with more than half of the rows distinct and more than half of
        the values of three words or more. Fewer than 5 rows are no column of text.

    Examples
    --------
    >>> notes = [f"called and said that all was well, {number}" for number in range(9)]
    >>> is_free_text(notes, distinct=9, filled=9), is_free_text(notes, distinct=9, filled=90)
    (True, False)
    """
    if filled < _FEWEST or distinct <= _DISTINCT_SHARE * filled or not texts:
        return False
    long = sum(map(len, texts)) > _MEAN_LENGTH * len(texts)
    return long and sum(len(_WORD.findall(text)) >= _WORDS for text in texts) > _MOST * len(texts)


def is_short_list(texts: Sequence[str], *, filled: int) -> bool:
    """Whether the values under a heading such as "Notes" are nevertheless a short list of words, or numbers.

    Parameters
    ----------
    texts
        Distinct values.
    filled
        Rows with a value.

    Returns
    -------
    bool
        True when no value holds a word, or when at most 10 values of at most 25 characters are single words,
        or are each used five times or more on average.

    Examples
    --------
    >>> is_short_list(["as usual", "late"], filled=40), is_short_list(["Rose rang"], filled=1)
    (True, False)
    """
    if not any(_WORD.search(text) for text in texts):
        return True
    if len(texts) > _SHORT_LIST or max(map(len, texts)) > _MEAN_LENGTH:
        return False
    return filled >= _USES * len(texts) or not any(" " in text for text in texts)


def look_hashed(texts: Sequence[str]) -> bool:
    """Whether most references are hexadecimal and as long as an MD5, SHA-1 or SHA-256 digest.

    Parameters
    ----------
    texts
        Distinct references, or a sample of them.

    Returns
    -------
    bool

    Examples
    --------
    >>> look_hashed(["d41d8cd98f00b204e9800998ecf8427e"]), look_hashed(["W00172"]), look_hashed([])
    (True, False, False)
    """
    return sum(bool(_HEXADECIMAL.fullmatch(text)) for text in texts) > _MOST * len(texts)
