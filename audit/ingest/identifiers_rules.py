"""When the form of values gives them away: one value at sight, or more of a column than chance explains."""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from audit.ingest.identifiers_chance import ALARM, tail_probability

_MIXED_ALARM = 1e-4
_MAJORITY = 0.5
_FEW, _FEW_SHARE = 3, 0.05
_FEWEST_REFERENCES = 6
_PREFIX = r"[a-z]{1,6}[-_/:# ]?"
# One word with a digit in it, or digits in groups that a few letters may lead.
_CODE = re.compile(r"(?=.*\d)(?:[\w./#-]+|[A-Za-z]{0,6}[-_/:# ]?\d[\d -]*)")
# What may stand beside an identifier inside text: no part of a longer word, number or hyphenated code.
_LOOSE = re.compile(r"[^\w@.+/-]")
_NOT_SIGNIFICANT = re.compile(r"[^0-9A-Z]")


@dataclass(frozen=True)
class Rule:
    """One form of identifier.

    `form` is a regular expression for a whole value, read without regard to case. `passes` is given the
    value's digits and capital letters and says whether it is one. `chance` is the share of unrelated values
    of that form that pass all the same; 0 stands for a form that nothing else has. A column of references in
    that form is judged only by rules that `judges_references`. `prefixed` numbers may follow letters, as in
    AB-1234567890.
    """

    kind: str
    form: str
    passes: Callable[[str], bool]
    chance: float
    in_text: bool = True
    judges_references: bool = True
    prefixed: bool = False


@dataclass(frozen=True)
class Shape:
    """The look of a column: how many distinct values; whether it is declared to hold references; whether most
    values are codes with digits; and the length that most of them have, 0 when there is none."""

    distinct: float
    declared: bool
    coded: bool
    usual_length: int


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


def shape_of(sample: Sequence[str], *, distinct: float, declared: bool) -> Shape:
    """What a column looks like as a whole.

    Parameters
    ----------
    sample
        Distinct values, or a sample of them.
    distinct
        How many distinct values the column has.
    declared
        Whether it is read as the references of women or visits.

    Returns
    -------
    Shape

    Examples
    --------
    >>> shape_of(["W01", "W02"], distinct=2, declared=True)
    Shape(distinct=2, declared=True, coded=True, usual_length=3)
    """
    coded = sum(bool(_CODE.fullmatch(text)) for text in sample) > _MAJORITY * len(sample)
    lengths = Counter(map(len, sample)).most_common(1)
    usual = lengths[0][0] if lengths and lengths[0][1] > _MAJORITY * len(sample) else 0
    return Shape(distinct, declared, coded, usual)


def rule_hits(rule: Rule, cells: Sequence[str], shape: Shape) -> list[int]:
    """The places of the values that a rule holds to be identifiers.

    Parameters
    ----------
    rule
        The rule.
    cells
        Distinct values of a column, as far as they could be identifiers at all.
    shape
        The look of the column they come from.

    Returns
    -------
    list of int
        Places in `cells`; empty when the column passes.

    Notes
    -----
    Where most values are of the rule's form they are somebody's numbering, so only more passes than chance
    explains (below 1e-6) refuse the column. Elsewhere one value suffices; but in a column of codes it must
    stand out: by its length, and as one of three or fewer, or of less than one in twenty. More than that are
    taken for an older numbering, and refused below 1e-4.

    Examples
    --------
    >>> rule = Rule("even numbers", "[0-9]{2}", lambda digits: int(digits) % 2 == 0, 0.5)
    >>> rule_hits(rule, ["note 24"], Shape(distinct=9, declared=False, coded=False, usual_length=0))
    [0]
    >>> numbers = [str(number) for number in range(10, 99)]
    >>> rule_hits(rule, numbers, shape_of(numbers, distinct=89, declared=True))
    []
    """
    whole = _of_form(rule, cells, "")
    hits = _judged(rule, whole, cells, shape)
    if rule.prefixed:
        prefixed = _of_form(rule, cells, _PREFIX)
        if len(prefixed) >= max(_MAJORITY * shape.distinct, _FEWEST_REFERENCES):
            hits += _beyond_chance(rule, prefixed, cells, ALARM)
    return hits + _inside(rule, cells, shape) if rule.in_text else hits


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


def _judged(rule: Rule, whole: Sequence[int], cells: Sequence[str], shape: Shape) -> list[int]:
    """The values of the rule's form that refuse the column."""
    if len(whole) >= _MAJORITY * shape.distinct and (shape.declared or len(whole) >= _FEWEST_REFERENCES):
        judged = rule.judges_references or not shape.declared
        return _beyond_chance(rule, whole, cells, ALARM) if judged else []
    if not shape.coded or shape.distinct < _FEWEST_REFERENCES or not rule.chance:
        return _passing(rule, whole, cells)
    if len(whole) > _FEW and len(whole) >= _FEW_SHARE * shape.distinct:
        return _beyond_chance(rule, whole, cells, _MIXED_ALARM)
    # A random code that happens to be all digits is as long as its neighbours.
    return _passing(rule, [place for place in whole if len(cells[place]) != shape.usual_length], cells)


def _inside(rule: Rule, cells: Sequence[str], shape: Shape) -> list[int]:
    """The values that hold an identifier in the middle of other text."""
    form = re.compile(rf"(?i:(?<![\w@.+/-])(?:{rule.form})(?![\w@/-]|\.\d))")
    return [
        place
        for place, cell in enumerate(cells)
        if _LOOSE.search(cell)
        and not _is_usual_code(cell, shape)
        and any(
            len(match[0]) < len(cell) and rule.passes(significant(match[0])) for match in form.finditer(cell)
        )
    ]


def _is_usual_code(cell: str, shape: Shape) -> bool:
    """Whether a value is one of a column of codes and no longer or shorter than the others."""
    usual = shape.coded and shape.distinct >= _FEWEST_REFERENCES and shape.usual_length in (0, len(cell))
    return usual and bool(_CODE.fullmatch(cell))
