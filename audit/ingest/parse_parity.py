"""One text of an obstetric history to numbers of births, by route where the text says it."""

import re
from typing import NamedTuple

from audit.ingest.parse import Reading, known_text
from audit.schema.terms import CAESAREAN_WORDS, NULLIPARA_WORDS, PRIMIPARA_WORDS, VAGINAL_WORDS

_TOTAL = re.compile(r"([0-9]{1,2})(?:\.0+)?(?: ?\+ ?[0-9]{1,2})?")
_GRAVIDA = r"(?:g(?:ravida)? ?([0-9]{1,2})[ ,/]*)"
_PREGNANCIES = re.compile(r"g(?:ravida)?[ :=]*([0-9]{1,2})")
_PARA = r"p(?:ara)? ?([0-9]{1,2})"
_PREFIX = re.compile(_GRAVIDA + "?" + _PARA + r"(?: ?\+ ?[0-9]{1,2})?(?: ?a ?[0-9]{1,2})?(?![0-9])")
_BY_LETTER = re.compile(_GRAVIDA + _PARA + r"[ ,/]*c ?([0-9]{1,2})(?:[ ,/]*a ?([0-9]{1,2}))?")
_ROUTE_OF = dict.fromkeys(VAGINAL_WORDS, "vaginal") | dict.fromkeys(CAESAREAN_WORDS, "caesarean")
_ROUTE = "|".join(re.escape(word) for word in sorted(_ROUTE_OF, key=len, reverse=True))
_BEFORE = re.compile(rf"([0-9]{{1,2}}) ?x? ?({_ROUTE})(?:e?s)?(?![a-z])")
_BEHIND = re.compile(rf"({_ROUTE})(?:e?s)? ?x? ?([0-9]{{1,2}})(?![0-9])")
_ALONE = re.compile(rf"({_ROUTE})(?![a-z0-9])")


class Births(NamedTuple):
    """Births in all and by route; None where the text does not say."""

    total: int | None = None
    vaginal: int | None = None
    caesarean: int | None = None


NOT_SAID = Births()


def parse_parity(text: str) -> Reading:
    """The number of births in a parity as notes write it.

    Parameters
    ----------
    text
        Such as P2+1, G3P2, para 2, nullip, 1 SVD 1 CS or 2.

    Returns
    -------
    Reading
        A float; nothing for a word that means unknown; or ``not_a_parity``. The note ``more_births`` marks
        more births than pregnancies, which twins explain.

    Examples
    --------
    >>> parse_parity("G3P2+1").value
    2.0
    """
    plain = known_text(text)
    if isinstance(plain, Reading):
        return plain
    births = births_in(plain)
    if births.total is None:
        return Reading(reason="not_a_parity")
    gravida = _PREGNANCIES.match(plain.casefold())
    more = gravida is not None and int(gravida[1]) < births.total
    return Reading(float(births.total), note="more_births" if more else "")


def births_in(text: str) -> Births:
    """The births that a text tells, in all and by route.

    Parameters
    ----------
    text
        A cell of an obstetric history.

    Returns
    -------
    Births
        All None when the text is not understood in full, or contradicts itself.

    Notes
    -----
    In "P2+1" the figure after the plus sign counts pregnancies that did not reach viability, so it adds no
    birth. In "G3P1C1A1" P counts vaginal and C caesarean births, which holds only when gravida is the sum.
    Routes without a total are taken as the whole history. With a total, caesareans alone leave the rest
    vaginal; vaginal births alone leave the rest unsaid. (All common practice, no source.)

    Examples
    --------
    >>> births_in("1 SVD 1 CS")
    Births(total=2, vaginal=1, caesarean=1)
    >>> births_in("P3 (1 LSCS)")
    Births(total=3, vaginal=2, caesarean=1)
    """
    word = " ".join(re.sub(r"[(),;:=]|(?<!^)-", " ", text.casefold().replace("×", "x")).split())
    if word in NULLIPARA_WORDS:
        return Births(0, 0, 0)
    if word in PRIMIPARA_WORDS:
        return Births(1)
    if found := _TOTAL.fullmatch(word):
        return _with_total(int(found[1]), "")
    if found := _BY_LETTER.fullmatch(word):
        return _by_letter(*(int(number or 0) for number in found.groups()))
    found = _PREFIX.match(word)
    return _with_total(int(found[2]), word[found.end() :]) if found else _of_routes(word)


def _by_letter(gravida: int, vaginal: int, caesarean: int, ended_early: int) -> Births:
    """Births of the G P C A notation, if its figures add up."""
    adds_up = gravida == vaginal + caesarean + ended_early
    return Births(vaginal + caesarean, vaginal, caesarean) if adds_up else NOT_SAID


def _with_total(total: int, rest: str) -> Births:
    """Births of which the number is said, and perhaps routes behind it."""
    if total == 0 and not rest:
        return Births(0, 0, 0)
    if not rest:
        return Births(total)
    routes = _routes(rest.strip())
    if routes is None or sum(routes.values()) > total:
        return NOT_SAID
    vaginal, caesarean = routes.get("vaginal"), routes.get("caesarean")
    if vaginal is None and caesarean is not None:
        vaginal = total - caesarean
    if caesarean is None and vaginal == total:
        caesarean = 0
    contradicts = None not in (vaginal, caesarean) and (vaginal or 0) + (caesarean or 0) != total
    return NOT_SAID if contradicts else Births(total, vaginal, caesarean)


def _of_routes(word: str) -> Births:
    """Births listed by route alone."""
    routes = _routes(word)
    if not routes:
        return NOT_SAID
    return Births(sum(routes.values()), routes.get("vaginal", 0), routes.get("caesarean", 0))


def _routes(word: str) -> dict[str, int] | None:
    """Births by route: every route with its number before it, every one behind, or none with a number."""
    for pattern, route, number in ((_BEFORE, 2, 1), (_BEHIND, 1, 2), (_ALONE, 1, 0)):
        # What is left must be nothing but "and" and its like, or part of the text was not understood.
        if re.sub(r"\band\b|[ +&/.]", "", pattern.sub("", word)) == "" and pattern.search(word):
            counts: dict[str, int] = {}
            for found in pattern.finditer(word):
                way = _ROUTE_OF[found[route]]
                counts[way] = counts.get(way, 0) + (int(found[number]) if number else 1)
            return counts
    return None
