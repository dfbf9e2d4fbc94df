"""Which of a column's codes a text of the log may stand for."""

import re
from dataclasses import dataclass
from functools import cache

from audit.ingest.drafting_code_words import CODE_WORDS
from audit.ingest.drafting_text import Ideas, best_likeness, ideas_of, phrases
from audit.ingest.parse import cleaned
from audit.ingest.parse_words import code_words, flag_words, parse_code
from audit.schema.column import Column
from audit.schema.visits import VISITS

LIKELY_CODE = 0.75
GUESSED_CODE = 0.5
# Two codes that fit about as well as each other: neither is more than a guess.
_TOO_CLOSE = 0.1
# "N - failed": the words behind the answer say more than it does.
_ANSWER = re.compile("^(?:y|yes|n|no|j|ja|nein|nee|o|oui|non|s|si|sim) ?[-:/] ?(?=[a-z])", re.IGNORECASE)
# What yes and no would mean in a column of ours that has neither, and if what it is asked.
_YES_AND_NO = {
    "training_status": {"yes": "in_training", "no": "certified", "if": "the column asks who is in training"},
    "insertion_outcome": {"yes": "placed", "no": "failed", "if": "the column asks whether it was placed"},
}


@dataclass(frozen=True)
class CodeMatch:
    """The code a text may stand for, and how sure that is: ``own``, ``sure``, ``likely``, ``guess`` or ``none``.

    ``own`` is a word that is read without an entry in the settings.
    """

    text: str
    code: str
    certainty: str
    why: str = ""


@cache
def match_code(text: str, name: str) -> CodeMatch:
    """The code of a column that a text may stand for.

    Parameters
    ----------
    text
        As the log writes it.
    name
        One of our columns of kind code.

    Returns
    -------
    CodeMatch
        `code` is "" where the certainty is ``none``, and for a word that means unknown.

    Examples
    --------
    >>> match_code("Could not fit", "insertion_outcome").code
    'failed'
    >>> match_code("Not started today", "insertion_outcome").code
    'deferred_not_started'
    """
    column = VISITS[name]
    own = parse_code(text, words=code_words(column, flag_words((), (), ())))
    if not own.reason:
        return CodeMatch(text, own.value or "", "own", "read without an entry")
    answers = _YES_AND_NO.get(name, {})
    meaning = flag_words((), (), ()).get(cleaned(text).casefold())
    if meaning in answers:
        return CodeMatch(text, answers[meaning], "guess", f"right if {answers['if']}")
    scores = _scores(ideas_of(_ANSWER.sub("", cleaned(text))), column)
    if not scores:
        return CodeMatch(text, "", "none", "no word of it is known for this column")
    code, score = scores[0]
    rivals = [other for other, close in scores[1:] if close > score - _TOO_CLOSE]
    if rivals:
        return CodeMatch(text, code, "guess", f"{' or '.join(rivals[:2])} would fit as well")
    if score == 1.0:
        return CodeMatch(text, code, "sure", "these words mean this code")
    return CodeMatch(
        text, code, "likely" if score >= LIKELY_CODE else "guess", "some of the words mean this code"
    )


def _scores(ideas: Ideas, column: Column) -> list[tuple[str, float]]:
    """The codes that may be meant, the best first; in the order of the schema where they tie."""
    scored = [(code, best_likeness(ideas, _phrases_of(column.name, code))) for code in column.codes]
    return sorted(
        [(code, score) for code, score in scored if score >= GUESSED_CODE], key=lambda item: -item[1]
    )


@cache
def _phrases_of(name: str, code: str) -> tuple[Ideas, ...]:
    """The ideas of every phrase for a code, its own words first."""
    if code == "unknown":
        return ()
    own = re.sub(r"(?<=[0-9])_(?=[0-9])", ".", code).replace("_", " ")
    return phrases("; ".join(filter(None, (own, CODE_WORDS.get(name, {}).get(code, "")))))
