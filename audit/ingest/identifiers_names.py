"""Values that look like the names of persons: there is no list of names, only the look of them."""

import re
from collections.abc import Sequence

from audit.ingest.identifiers_rules import Rule, words_in

NAMES = "names"
NAME_SHARE = 0.3

# Words of codes for staff and places, which a name does not have.
_NO_NAMES = words_in(
    "a&e advanced all assistant associate avenue branch building campus central centre center city clinic "
    "clinician code college community consultant contraception contraceptive cottage county court "
    "department doctor dr drive east family fellow fitter floor for general gp grove gynaecology "
    "gynecology health home hospital house hub in infirmary inserter junior lane lead led locum lodge "
    "main maternity medical midwife mobile new no north nurse obstetrics of office on one only outreach "
    "park physician place placement planning post practice practitioner primary private provider public "
    "registrar registered research resident road room school senior service sexual site six sister south "
    "specialist square staff station street student suite supervisor surgery team ten the theatre three "
    "trainee trainer training two four five unit university upper lower up village visiting ward west "
    "wing women womens zone unknown other none not known agency appointment decision letter referral "
    "request review advice bank external internal independent certified operator nursing"
)
_PARTICLES = words_in("al bin da de del der den di dos du el la le mac mc o st ten van von y")
_SEPARATORS = re.compile(r"[\s,]+")
_TITLES = r"(?:mrs?|ms|miss|mx|dr|dra|prof|mme|mlle|herr|frau|sra?|señora?|mevr|dhr)"
_STAFF_TITLES = r"(?:nurse|sister|doctor|midwife|consultant|schwester|professor)"
_NAME_WORD = r"(?-i:[A-ZÀ-ÖØ-Þ][a-zß-öø-ÿ'’-]+)"
# Capitals only are a name after a title when they are more than initials.
_CAPITALS = r"(?-i:[A-ZÀ-ÖØ-Þ]{3,})"


def _is_no_role(significant: str) -> bool:
    """Whether what follows the title is no word for a role or a place."""
    return not any(significant.endswith(word.upper()) for word in _NO_NAMES if len(word) > 3)


TITLE_RULE = Rule(NAMES, rf"{_TITLES}\.?\s{_NAME_WORD}(?:\s{_NAME_WORD})*", _is_no_role, 0)
STAFF_TITLE_RULES = (
    TITLE_RULE,
    Rule(NAMES, rf"{_TITLES}\.?\s{_CAPITALS}", _is_no_role, 0),
    Rule(NAMES, rf"{_STAFF_TITLES}\s{_NAME_WORD}", _is_no_role, 0),
)


def looks_like_a_name(text: str, *, any_case: bool = False) -> bool:
    """Whether a text looks like the name of a person: two to four words, capitals first or only, or initials.

    Parameters
    ----------
    text
        A value without space around it.
    any_case
        Count words in small letters too.

    Returns
    -------
    bool
        A single word is never a name here: nothing tells Rose from a code.

    Examples
    --------
    >>> [looks_like_a_name(text) for text in ("Anna Example", "Example, A.", "North Clinic", "TOWER", "C 01")]
    [True, True, False, False, False]
    """
    words = [word for word in _SEPARATORS.split(text) if word]
    if not 2 <= len(words) <= 4 or any(word.casefold().rstrip(".") in _NO_NAMES for word in words):
        return False
    if not all(_is_name_word(word, any_case) for word in words):
        return False
    return sum(len(word.rstrip(".")) > 1 and word.casefold() not in _PARTICLES for word in words) >= 1


def _is_name_word(word: str, any_case: bool) -> bool:
    """Whether a word may be part of a name: a capitalised word, an initial, or a particle such as van."""
    letters = re.sub(r"['’.-]", "", word)
    if not letters.isalpha() or (letters != word and word.strip("'’.-") == ""):
        return False
    if word.casefold() in _PARTICLES or any_case:
        return True
    return letters[0].isupper()


def name_places(texts: Sequence[str], *, any_case: bool = False) -> list[int]:
    """The places of the values that look like names, if they are more than 3 in 10.

    Parameters
    ----------
    texts
        Distinct values of a column.
    any_case
        As in `looks_like_a_name`.

    Returns
    -------
    list of int
        Empty when the column is not one of names.

    Examples
    --------
    >>> name_places(["Anna Example", "C01", "C02"]), name_places(["Anna Example", "C1", "C2", "C3"])
    ([0], [])
    """
    places = [place for place, text in enumerate(texts) if looks_like_a_name(text, any_case=any_case)]
    return places if len(places) > NAME_SHARE * len(texts) else []
