"""The few values of a column that could be identifiers at all, found quickly among a million."""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from audit.ingest.parse import cleaned
from audit.ingest.raw import Integers

SAMPLED_TEXTS = 10_000
# Every form of the rules matches one of these; a test holds it.
_COULD_BE = "|".join(
    (
        r"[^\x00-\x7F]",
        r"@|://|www\.|[0-9]\.[0-9]+\.[0-9]+\.[0-9]|::",
        r"(?:[0-9a-f]{2}[:-]){5}|(?:[0-9a-f]{1,4}:){5}",
        r"[0-9](?:[ ().,/+_-]{0,3}[0-9]){7}",
        r"[a-z]{1,2}[0-9][a-z0-9]?\s?[0-9][a-z]{2}|gir ?0aa",
        r"[a-z]{2}\s?[0-9]{2}\s?[0-9]{2}\s?[0-9]{2}\s?[a-z]|[a-z]{6}[0-9]{2}|[0-9]{7}-?[a-z]",
        r"\b(?:mr|mrs|ms|miss|mx|dr|dra|prof|mme|mlle|herr|frau|sr|sra|mevr|dhr)\b",
        r"\b(?:nurse|sister|doctor|midwife|consultant|schwester|professor)\b",
        r"\bd\.?o\.?b|born|birth|\bne|geb|nacid",
    )
)
_PLAIN_CODE = r"^\s*[A-Za-z]{0,6}[-_/:# ]?[0-9]+\s*$"
_DASHES = re.compile("[\u2010-\u2015\u2212]")


@dataclass(frozen=True)
class Candidates:
    """Values that could be identifiers, cleaned, and the place of each among the distinct texts.

    `distinct` is how many distinct values the column has, brought down in proportion where `cells` are a
    sample.
    """

    cells: tuple[str, ...]
    places: Integers
    distinct: float


def candidates(texts: Sequence[str]) -> Candidates:
    """The values that could be identifiers.

    Parameters
    ----------
    texts
        The distinct texts of a column.

    Returns
    -------
    Candidates

    Notes
    -----
    Every distinct text is screened. Of more than 10,000 suspects that are letters followed by digits, as a
    numbering is, and of more than 10,000 others, an evenly spaced sample of 10,000 is kept.

    Examples
    --------
    >>> candidates(["W00172", "", "ring 020 7946 0018"]).cells
    ('ring 020 7946 0018',)
    """
    array = pa.array(texts, type=pa.string())
    found = np.flatnonzero(_matches(array, _COULD_BE, ignore_case=True))
    blank = int(_matches(array, r"^\s*$").sum())
    code = _matches(array.take(pa.array(found)), _PLAIN_CODE)
    codes, others = _sampled(found[code]), _sampled(found[~code])
    share = len(codes) / code.sum() if code.any() else 1.0
    places = np.sort(np.concatenate([codes, others]))
    return Candidates(
        tuple(_plain(texts[place]) for place in places), places, max(1.0, (len(texts) - blank) * share)
    )


def filled_places(texts: Sequence[str]) -> list[int]:
    """The places of the texts that are more than space.

    Parameters
    ----------
    texts
        The distinct texts of a column.

    Returns
    -------
    list of int

    Examples
    --------
    >>> filled_places(["", "a", " \\u00a0", "b"])
    [1, 3]
    """
    array = pa.array(texts, type=pa.string())
    blank = pc.or_(pc.equal(pc.binary_length(array), 0), pc.utf8_is_space(array))
    places: list[int] = np.flatnonzero(~np.asarray(blank)).tolist()
    return places


def evenly(texts: Sequence[str], *, most: int = SAMPLED_TEXTS) -> list[str]:
    """The texts, or an evenly spaced sample of them, cleaned and without blanks.

    Parameters
    ----------
    texts
        The distinct texts of a column.
    most
        Size of the sample.

    Returns
    -------
    list of str

    Examples
    --------
    >>> evenly([" a", "", "b", "c"], most=2)
    ['a', 'c']
    """
    sample = (_plain(texts[place]) for place in _sampled(np.arange(len(texts)), most))
    return [text for text in sample if text]


def _matches(array: "pa.Array", pattern: str, *, ignore_case: bool = False) -> "np.ndarray":
    """Whether each text holds a match of a pattern of RE2, which takes one pass however long the pattern."""
    found = pc.match_substring_regex(array, pattern=pattern, ignore_case=ignore_case)
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=np.bool_)


def _sampled(places: Integers, most: int = SAMPLED_TEXTS) -> Integers:
    """At most so many of the places, evenly spaced, first and last included."""
    if len(places) <= most:
        return places
    return places[np.linspace(0, len(places) - 1, most).astype(np.int64)]


def _plain(text: str) -> str:
    """The text with plain letters, digits, hyphens and blanks, whatever variants of them were typed."""
    if text.isascii():
        return cleaned(text)
    return cleaned(_DASHES.sub("-", unicodedata.normalize("NFKC", text)))
