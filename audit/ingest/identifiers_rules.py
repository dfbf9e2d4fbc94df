"""When the form of values gives them away: one value at sight, or more of a column than chance explains."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

ALARM = 1e-6  # the chance at which an innocent column of references would be refused
_MIXED_ALARM = 1e-3
_MAJORITY = 0.5
_FEW, _FEW_SHARE = 3, 0.05
_FEWEST_REFERENCES = 6
_PREFIX = r"[a-z]{1,6}[-_/:# ]?"
_NOT_SIGNIFICANT = re.compile(r"[^0-9A-Z]")


@dataclass(frozen=True)
class Rule:
    """One form of identifier.

    `form` is a regular expression for a whole value, read without regard to case. `passes` is given the
    value's digits and capital letters and says whether it is one. `chance` is the share of unrelated values
    of that form that pass all the same; 0 stands for a form that nothing else has. In a column of references
    a rule may judge the column as a whole (`judges_references`) and a value that stands out from the others
    (`judges_odd_references`). `prefixed` numbers may follow letters, as in AB-1234567890.
    """

    kind: str
    form: str
    passes: Callable[[str], bool]
    chance: float
    in_text: bool = True
    judges_references: bool = True
    judges_odd_references: bool = True
    prefixed: bool = False


def words_in(text: str) -> frozenset[str]:
    """The words of a text, as a set.

    Parameters
    ----------
    text
        Words with blanks between them.

    Returns
    -------
    frozenset of str

    Examples
    --------
    >>> sorted(words_in("no nr num"))
    ['no', 'nr', 'num']
    """
    return frozenset(text.split())


def always(significant: str) -> bool:
    """True: the form alone decides."""
    return bool(significant)


def significant(text: str) -> str:
    """The digits and letters of a text, letters as capitals.

    Parameters
    ----------
    text
        A value.

    Returns
    -------
    str

    Examples
    --------
    >>> significant("ab 12-3")
    'AB123'
    """
    return _NOT_SIGNIFICANT.sub("", text.upper())


def tail_probability(passes: int, n: int, chance: float) -> float:
    """The probability that at least so many of n unrelated values pass a rule.

    Parameters
    ----------
    passes
        Values that pass, 0 to n.
    n
        Values of the rule's form.
    chance
        Probability that one passes, 0 to 1, both excluded.

    Returns
    -------
    float
        Upper tail of the binomial distribution, `passes` included; 1 when `passes` is 0.

    Examples
    --------
    >>> tail_probability(10, 20, 1 / 11) > 1e-6 > tail_probability(11, 20, 1 / 11)
    True
    """
    if passes <= 0:
        return 1.0
    log_odds = (math.log(chance), math.log1p(-chance))
    terms = (
        math.lgamma(n + 1)
        - math.lgamma(k + 1)
        - math.lgamma(n - k + 1)
        + k * log_odds[0]
        + (n - k) * log_odds[1]
        for k in range(passes, n + 1)
    )
    return min(1.0, math.fsum(map(math.exp, terms)))


def passes_allowed(n: int, chance: float, *, alarm: float = ALARM) -> int:
    """How many of n values of a column may pass a rule before the column is refused.

    Parameters
    ----------
    n
        Distinct values of the rule's form.
    chance
        Probability that an unrelated value passes.
    alarm
        The probability below which chance is no longer believed.

    Returns
    -------
    int
        n when no number of passes would be refused.

    Examples
    --------
    >>> [passes_allowed(n, 1 / 11) for n in (5, 10, 100)]
    [5, 7, 25]
    """
    allowed = n
    while allowed > 0 and tail_probability(allowed, n, chance) < alarm:
        allowed -= 1
    return allowed


def rule_hits(rule: Rule, cells: Sequence[str], *, distinct: float, references: bool) -> list[int]:
    """The places of the values that a rule holds to be identifiers.

    Parameters
    ----------
    rule
        The rule.
    cells
        Distinct values of a column, as far as they could be identifiers at all.
    distinct
        How many distinct values the column has, those left out of `cells` included.
    references
        Whether the column is the women's or the visits' references.

    Returns
    -------
    list of int
        Places in `cells`; empty when the column passes.

    Notes
    -----
    Most values of the rule's form: they are somebody's numbering, so only more passes than chance explains
    (below 1e-6) refuse the column. Otherwise one value suffices; but among references one in twenty or more
    of that form are taken for an older numbering, and refused below 1e-3.

    Examples
    --------
    >>> rule = Rule("even numbers", "[0-9]{2}", lambda digits: int(digits) % 2 == 0, 0.5)
    >>> rule_hits(rule, ["note 24"], distinct=9, references=False)
    [0]
    >>> rule_hits(rule, [str(number) for number in range(10, 99)], distinct=89, references=True)
    []
    """
    whole = _of_form(rule, cells, "")
    hits = _judged(rule, whole, cells, distinct, references)
    if rule.prefixed:
        prefixed = _of_form(rule, cells, _PREFIX)
        if len(prefixed) >= max(_MAJORITY * distinct, _FEWEST_REFERENCES):
            hits += _beyond_chance(rule, prefixed, cells, ALARM)
        whole += prefixed if references else []
    if rule.in_text:
        hits += _inside(rule, cells, set(whole))
    return hits


def _of_form(rule: Rule, cells: Sequence[str], prefix: str) -> list[int]:
    """The values that are of the rule's form from end to end."""
    form = re.compile(f"(?i:{prefix}(?:{rule.form}))")
    return [place for place, cell in enumerate(cells) if form.fullmatch(cell)]


def _passing(rule: Rule, places: Sequence[int], cells: Sequence[str]) -> list[int]:
    """Those of the values that pass; letters of a prefix are no part of the number."""
    form = re.compile(f"(?i:{rule.form})$")
    found = ((place, form.search(cells[place])) for place in places)
    return [place for place, match in found if match and rule.passes(significant(match[0]))]


def _beyond_chance(rule: Rule, places: Sequence[int], cells: Sequence[str], alarm: float) -> list[int]:
    """The values that pass, if they are more than chance explains."""
    passing = _passing(rule, places, cells)
    if rule.chance and tail_probability(len(passing), len(places), rule.chance) >= alarm:
        return []
    return passing


def _judged(
    rule: Rule, whole: Sequence[int], cells: Sequence[str], distinct: float, references: bool
) -> list[int]:
    """The values of the rule's form that refuse the column."""
    most = len(whole) >= _MAJORITY * distinct
    if not references:
        # A handful of numbers is no numbering.
        alike = most and len(whole) >= _FEWEST_REFERENCES
        return _beyond_chance(rule, whole, cells, ALARM) if alike else _passing(rule, whole, cells)
    if most:
        return _beyond_chance(rule, whole, cells, ALARM) if rule.judges_references else []
    if not rule.judges_odd_references:
        return []
    odd = len(whole) <= _FEW or len(whole) < _FEW_SHARE * distinct
    return _passing(rule, whole, cells) if odd else _beyond_chance(rule, whole, cells, _MIXED_ALARM)


def _inside(rule: Rule, cells: Sequence[str], whole: set[int]) -> list[int]:
    """The values that hold an identifier in the middle of other text."""
    # Not within a longer word, number or hyphenated code, whose parts mean nothing by themselves.
    form = re.compile(rf"(?i:(?<![\w@.+/-])(?:{rule.form})(?![\w@/-]|\.\d))")
    return [
        place
        for place, cell in enumerate(cells)
        if place not in whole and any(rule.passes(significant(match[0])) for match in form.finditer(cell))
    ]
