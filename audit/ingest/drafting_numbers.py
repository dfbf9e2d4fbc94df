"""Columns in which a number stands for every code: what the heading says of them, and what is left to say."""

import re
from collections.abc import Sequence

from audit.ingest.drafting_codes import CodeMatch, match_code
from audit.ingest.drafting_columns import FileColumn
from audit.ingest.parse import cleaned
from audit.ingest.parse_words import flag_words

# At most two digits: such a number can stand for a code and points at nobody.
_NUMBER = re.compile(r"[0-9]{1,2}(?:[.,]0)?")
_KEY = re.compile(r"(?<![0-9])([0-9]{1,2}) ?[=:] ?([^\W\d_][^,;/|()\[\]0-9]*)")
_KEY_BEHIND = re.compile(r"([^\W\d_][^=:,;/|()\[\]0-9]*?) ?[=:] ?([0-9]{1,2})(?![0-9])")
_UNSAID = "only a number"
# Common practice, no source: 1 and 0, or 1 and 2, for yes and no, and 9 for unknown.
_USUAL = {"2": "no", "9": "unknown"}
_FLAGS = ({"0", "1", "9"}, {"1", "2", "9"})


def is_number(text: str) -> bool:
    """Whether a text is a number of one or two digits, which can stand for a code.

    Parameters
    ----------
    text
        As the log writes it.

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_number(text) for text in ("1", "02", "3.0", "117", "placed")]
    [True, True, True, False, False]
    """
    return _NUMBER.fullmatch(cleaned(text)) is not None


def are_numbers(values: FileColumn) -> bool:
    """Whether every text of a column is such a number."""
    return bool(values.texts) and all(is_number(text) for text in values.texts)


def without_key(heading: str) -> str:
    """The heading without the key to its numbers, if it has one.

    Parameters
    ----------
    heading
        As the log writes it.

    Returns
    -------
    str

    Examples
    --------
    >>> without_key("Outcome 1=placed 2=failed")
    'Outcome '
    """
    found = _KEY.search(heading)
    return heading[: found.start()] if found else heading


def key_of(heading: str) -> dict[str, str]:
    """What a heading says that its numbers mean.

    Parameters
    ----------
    heading
        As the log writes it.

    Returns
    -------
    dict
        Number without leading zeros -> the word for it; empty for most headings.

    Examples
    --------
    >>> key_of("Outcome (1=placed, 2=failed)"), key_of("Type: fit=1; check=2"), key_of("Pain (0-10)")
    ({'1': 'placed', '2': 'failed'}, {'1': 'fit', '2': 'check'}, {})
    """
    ahead = [(number, word) for number, word in _KEY.findall(heading)]
    found = ahead or [(number, word) for word, number in _KEY_BEHIND.findall(heading)]
    return {_bare(number): word.strip() for number, word in found}


def match_text(text: str, name: str, heading: str) -> CodeMatch:
    """The code of a column that a text, or the number which the heading explains, may stand for.

    Parameters
    ----------
    text
        As the log writes it.
    name
        One of our columns of kind code.
    heading
        The heading above the text.

    Returns
    -------
    CodeMatch

    Examples
    --------
    >>> match_text("2", "insertion_outcome", "Outcome (1=placed, 2=failed)").code
    'failed'
    >>> match_text("2", "insertion_outcome", "Outcome").why
    'only a number'
    """
    match = match_code(text, name)
    if not is_number(text):
        return match
    word = key_of(heading).get(_bare(cleaned(text)))
    if word is None:
        return match if match.certainty == "own" else CodeMatch(text, "", "none", _UNSAID)
    said = match_code(word, name)
    certainty = "sure" if said.certainty == "own" else said.certainty
    return CodeMatch(text, said.code, certainty, f"the heading says so ({said.why})")


def flags_by_number(values: FileColumn) -> str:
    """How a column of numbers may say yes and no.

    Parameters
    ----------
    values
        A column of the log.

    Returns
    -------
    str
        ``one_and_zero`` or ``one_and_two`` for a column with these numbers alone (and 9); ``more`` for other
        numbers; "" for a column that is not of numbers.

    Examples
    --------
    >>> from audit.ingest.drafting_columns import file_column
    >>> flags_by_number(file_column("Syncope", {"1": 5, "2": 90})), flags_by_number(file_column("VV", {"3": 1}))
    ('one_and_two', 'more')
    """
    if not are_numbers(values):
        return ""
    numbers = {_bare(cleaned(text)) for text in values.texts}
    if numbers <= _FLAGS[0]:
        return "one_and_zero"
    return "one_and_two" if numbers <= _FLAGS[1] else "more"


def meanings_of_numbers(columns: Sequence[FileColumn]) -> list[tuple[str, str, int, bool]]:
    """What numbers in columns of yes and no may mean, where it is not what they are read as.

    Parameters
    ----------
    columns
        The columns of the log that may say yes and no.

    Returns
    -------
    list of tuple
        Text, ``yes``, ``no`` or ``unknown``, rows, and whether a heading says so; else it is a usual practice.

    Examples
    --------
    >>> from audit.ingest.drafting_columns import file_column
    >>> meanings_of_numbers([file_column("Syncope", {"1": 5, "2": 90})])
    [('2', 'no', 90, False)]
    >>> meanings_of_numbers([file_column("Syncope (0=yes, 1=no)", {"0": 5, "1": 90})])
    [('0', 'yes', 5, True), ('1', 'no', 90, True)]
    """
    known = flag_words((), (), ())
    found: dict[tuple[str, str, bool], int] = {}
    for values in columns:
        key = key_of(values.heading)
        for text, rows in zip(values.texts, values.rows, strict=True):
            if not is_number(text):
                continue
            number = _bare(cleaned(text))
            usual = known.get(number, _USUAL.get(number, ""))
            said = known.get(key.get(number, "").casefold(), "")
            if said not in ("", known.get(number)) or (usual and not said and number not in known):
                item = (cleaned(text), said or usual, bool(said))
                found[item] = found.get(item, 0) + rows
    return [(text, meaning, rows, said) for (text, meaning, said), rows in sorted(found.items())]


def _bare(number: str) -> str:
    """The number without leading zeros and decimals."""
    return str(int(float(number.replace(",", "."))))
