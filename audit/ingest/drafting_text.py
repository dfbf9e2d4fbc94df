"""Headings and codes as sets of ideas, and how alike two such sets are."""

import re
import unicodedata
from collections.abc import Iterable
from difflib import get_close_matches
from functools import cache

from audit.ingest.drafting_words import BESIDE, COMMON, FILLERS, IDEAS, NEGATIONS

Ideas = frozenset[str]
_TOKEN = re.compile(r"[0-9]+(?:[.,][0-9]+)?|[^\W\d_]+")
_LONGEST = 4
_IDEA_OF = {word: idea for idea, words in IDEAS.items() for word in words.split()}
# A whole set of ideas scores 1; one with something missing or left over at most this.
MOST_OF_A_PART = 0.95
_SPELLING = 0.85
_SHORTEST_MISSPELT = 5
_SHORTEST_HALF = 3


def plain_words(text: str) -> list[str]:
    """The words and numbers of a text in lower case and without accents.

    Parameters
    ----------
    text
        A heading or a code.

    Returns
    -------
    list of str

    Examples
    --------
    >>> plain_words("DateOfVisit (N° de césariennes: 19,5)")
    ['date', 'of', 'visit', 'n', 'de', 'cesariennes', '19.5']
    """
    parted = with_capitals_parted(text)
    bare = "".join(c for c in unicodedata.normalize("NFKD", parted) if not unicodedata.combining(c))
    return [token.replace(",", ".") for token in _TOKEN.findall(bare.casefold())]


def with_capitals_parted(text: str) -> str:
    """The text with a space before each capital inside a word.

    Parameters
    ----------
    text
        A heading such as DateOfVisit.

    Returns
    -------
    str

    Examples
    --------
    >>> with_capitals_parted("DateOfVisit")
    'Date Of Visit'
    """
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text)


@cache
def ideas_of(text: str, *, no: str = "not") -> Ideas:
    """The ideas in a text.

    Parameters
    ----------
    text
        A heading or a code.
    no
        What the word "no" stands for: ``number`` in a heading, ``not`` in a code.

    Returns
    -------
    frozenset of str
        Names of ideas, and the words that stand for themselves.

    Examples
    --------
    >>> sorted(ideas_of("No. births", no="number")), sorted(ideas_of("Could not fit"))
    (['birth', 'number'], ['fit', 'unable'])
    """
    words = plain_words(text)
    # "Para" alone is the obstetric word, not the Spanish one.
    if len(words) == 1 and words[0] in _IDEA_OF:
        return frozenset({_IDEA_OF[words[0]]})
    found: set[str] = set()
    start = 0
    while start < len(words):
        size, ideas = _next_ideas(words[start:], no)
        found |= ideas
        start += size
    return frozenset(found)


def _next_ideas(words: list[str], no: str) -> tuple[int, set[str]]:
    """How many words the next idea takes, and the idea; two for a compound, none for a filler."""
    for size in range(min(_LONGEST, len(words)), 1, -1):
        joined = "_".join(words[:size])
        if joined in _IDEA_OF:
            return size, {_IDEA_OF[joined]}
    word = words[0]
    if word == "no":
        return 1, {no}
    if word in FILLERS:
        return 1, set()
    return 1, _idea(word)


def _idea(word: str) -> set[str]:
    """The idea of one word; of both halves of a compound; else the word without its plural s."""
    single = word[:-1] if len(word) > _SHORTEST_HALF and word.endswith("s") and word[-2] != "s" else word
    for form in (word, single):
        if form in _IDEA_OF:
            return {_IDEA_OF[form]}
    for cut in range(len(word) - _SHORTEST_HALF, _SHORTEST_HALF - 1, -1):
        left, right = word[:cut], word[cut:]
        # German and Dutch may put an s or n between the halves.
        left = left if left in _IDEA_OF else left.removesuffix("s").removesuffix("n")
        if left in _IDEA_OF and right in _IDEA_OF:
            return {_IDEA_OF[left], _IDEA_OF[right]}
    return {single}


@cache
def phrases(words: str, *, no: str = "not") -> tuple[Ideas, ...]:
    """The ideas of each phrase of a list with semicolons; phrases of fillers alone are left out."""
    return tuple(ideas for phrase in words.split("; ") if (ideas := ideas_of(phrase, no=no)))


def likeness(have: Ideas, phrase: Ideas) -> float:
    """How well a set of ideas fits a phrase.

    Parameters
    ----------
    have
        Ideas of a heading or code.
    phrase
        Ideas of a phrase of ours.

    Returns
    -------
    float
        1 when they are the same but for ideas that add nothing; below, the harmonic mean of the shares they
        have in common, common ideas counting half. 0 when nothing is shared, or when one of them denies and
        the other does not: "not fitted" is no kind of "fitted".

    Examples
    --------
    >>> likeness(frozenset({"date", "visit"}), frozenset({"date", "visit"}))
    1.0
    >>> likeness(frozenset({"not", "fit"}), frozenset({"fit"}))
    0.0
    """
    shared = have & phrase
    if not shared or bool(have & NEGATIONS) != bool(phrase & NEGATIONS):
        return 0.0
    if have - BESIDE <= phrase and phrase <= have:
        return 1.0
    return MOST_OF_A_PART * 2 * _weight(shared) / (_weight(have - BESIDE | shared) + _weight(phrase))


def _weight(ideas: Ideas) -> float:
    """How much a set of ideas decides."""
    return sum(0.5 if idea in COMMON else 1.0 for idea in ideas)


def best_likeness(have: Ideas, candidates: Iterable[Ideas]) -> float:
    """The likeness to the phrase that fits best; 0 without any."""
    return max((likeness(have, phrase) for phrase in candidates), default=0.0)


@cache
def respelt(text: str) -> str:
    """The text with each unknown word of five letters or more exchanged for the known one it is spelt like.

    Parameters
    ----------
    text
        A heading.

    Returns
    -------
    str
        The same text when no word is changed.

    Examples
    --------
    >>> respelt("Insertoin date"), respelt("Insertion date")
    ('insertion date', 'Insertion date')
    """
    words = plain_words(text)
    changed = [_respelt_word(word) for word in words]
    return text if changed == words else " ".join(changed)


def _respelt_word(word: str) -> str:
    """The known word that this one is spelt like."""
    if word in _IDEA_OF or word in FILLERS or len(word) < _SHORTEST_MISSPELT or len(_idea(word)) > 1:
        return word
    near = get_close_matches(word, list(_IDEA_OF), n=1, cutoff=_SPELLING)
    return near[0] if near else word
