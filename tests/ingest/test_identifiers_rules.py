"""What chance explains in a column, and which values are looked at at all."""

import re
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from audit.ingest.identifiers_chance import ALARM, passes_allowed, tail_probability
from audit.ingest.identifiers_contacts import CONTACT_RULES
from audit.ingest.identifiers_names import STAFF_TITLE_RULES
from audit.ingest.identifiers_numbers import BIRTH_REFERENCE_RULE, BIRTH_TEXT_RULE, NUMBER_RULES
from audit.ingest.identifiers_rules import (
    Rule,
    Shape,
    rule_hits,
    shape_of,
    significant,
)
from audit.ingest.identifiers_screen import SAMPLED_TEXTS, candidates, evenly

HEALTH = NUMBER_RULES[0]
ALL_RULES = (*NUMBER_RULES, *CONTACT_RULES, *STAFF_TITLE_RULES, BIRTH_TEXT_RULE)


@pytest.mark.parametrize(("n", "allowed"), [(10, 7), (20, 10), (50, 17), (100, 25), (500, 79)])
def test_the_passes_allowed_among_ten_digit_numbers(n: int, allowed: int) -> None:
    assert passes_allowed(n, 1 / 11) == allowed
    # The same from the binomial distribution of scipy.
    assert binom.sf(allowed - 1, n, 1 / 11) >= ALARM > binom.sf(allowed, n, 1 / 11)


@given(n=st.integers(1, 2000), share=st.floats(0, 1), chance=st.sampled_from([1 / 11, 0.1, 0.64, 1 / 500]))
def test_the_tail_is_that_of_scipy(n: int, share: float, chance: float) -> None:
    passes = round(n * share)
    assert tail_probability(passes, n, chance) == pytest.approx(
        binom.sf(passes - 1, n, chance), rel=1e-8, abs=1e-300
    )


def test_a_thousand_columns_of_ten_digit_numbers_pass() -> None:
    random = Random(7)
    for _ in range(1000):
        numbers = [str(random.randrange(10**9, 10**10)) for _ in range(random.choice((12, 60, 200)))]
        assert rule_hits(HEALTH, numbers, shape_of(numbers, distinct=len(numbers), declared=True)) == []


def health_number(random: Random) -> str:
    """A number with its check digit."""
    while True:
        number = str(random.randrange(10**9, 10**10))
        if HEALTH.passes(number):
            return number


@pytest.mark.parametrize("n", [6, 10, 60, 500])
def test_a_column_of_health_numbers_is_refused(n: int) -> None:
    random = Random(n)
    numbers = [health_number(random) for _ in range(n)]
    assert len(rule_hits(HEALTH, numbers, shape_of(numbers, distinct=n, declared=True))) == n


def test_a_column_in_which_just_as_many_pass_as_allowed_is_not_refused() -> None:
    random = Random(3)
    right = [health_number(random) for _ in range(26)]
    wrong = [
        number[:9] + str((int(number[9]) + 1) % 10) for number in (health_number(random) for _ in range(75))
    ]
    wrong = [number for number in wrong if not HEALTH.passes(number)]
    for passing, refused in ((25, False), (26, True)):
        column = right[:passing] + wrong[: 100 - passing]
        assert len(column) == 100
        assert bool(rule_hits(HEALTH, column, shape_of(column, distinct=100, declared=True))) is refused


@pytest.mark.parametrize("declared", [True, False])
def test_one_health_number_among_other_codes_stands_out(declared: bool) -> None:
    codes = [f"W{number:05}" for number in range(200)]
    shape = shape_of(codes, distinct=201, declared=declared)
    for text in ("9434765919", "943 476 5919", "943-476-5919", "NHS 9434765919"):
        assert rule_hits(HEALTH, [text], shape) == [0], text
    assert rule_hits(HEALTH, ["9434765918"], shape) == []


def test_a_random_code_of_digits_alone_does_not_stand_out() -> None:
    codes = ["3fa94c01d2", "00bb17e9a5", "9434765919", "41c09d77ee", "5d3c6a1b2f", "e01f7c2a9b"]
    assert rule_hits(HEALTH, codes, shape_of(codes, distinct=6, declared=True)) == []


def test_one_number_in_text_is_enough() -> None:
    shape = Shape(distinct=50, declared=False, coded=False, usual_length=0)
    assert rule_hits(HEALTH, ["hospital wrote about 943 476 5919"], shape) == [0]
    assert rule_hits(HEALTH, ["part AB-9434765919-7 fitted"], shape) == []


@pytest.mark.parametrize("rule", ALL_RULES, ids=lambda rule: f"{rule.kind[:8]} {rule.form[:14]}")
@settings(max_examples=30)
@given(data=st.data())
def test_the_screen_lets_through_whatever_a_rule_would_refuse(rule: Rule, data: st.DataObject) -> None:
    text = data.draw(st.from_regex(re.compile(f"(?i:{rule.form})", re.ASCII), fullmatch=True))
    if rule.passes(significant(text)) and "\n" not in text:
        assert candidates([text]).cells, text


def test_a_sample_keeps_what_differs_from_a_million_alike() -> None:
    codes = [f"{number:010}" for number in range(3 * SAMPLED_TEXTS)]
    found = candidates([*codes, "ring 020 7946 0018"])
    assert len(found.cells) == SAMPLED_TEXTS + 1
    assert "ring 020 7946 0018" in found.cells
    assert found.distinct == pytest.approx(SAMPLED_TEXTS, rel=0.001)
    assert len(evenly(codes)) == SAMPLED_TEXTS >= 10_000


def test_other_letters_digits_and_hyphens_are_read_as_plain_ones() -> None:
    assert candidates(["\uff19\uff14\uff13\u00a0476\u20115919"]).cells == ("943 476-5919",)


def test_a_reference_made_of_a_date_of_birth_is_known_when_most_are() -> None:
    random = Random(2)
    born = [
        f"{random.choice(('AB', 'SMITH', ''))}{random.randrange(1, 29):02}{random.randrange(1, 13):02}"
        f"{random.randrange(1965, 2008)}"
        for _ in range(40)
    ]
    seen = [f"2026{random.randrange(1, 13):02}{random.randrange(1, 29):02}-{number}" for number in range(40)]
    shape = shape_of(born, distinct=len(set(born)), declared=True)
    assert len(rule_hits(BIRTH_REFERENCE_RULE, born, shape)) == 40
    assert rule_hits(BIRTH_REFERENCE_RULE, seen, shape_of(seen, distinct=40, declared=True)) == []


def test_the_page_on_privacy_gives_these_numbers_and_claims_no_more_than_pseudonyms() -> None:
    page = " ".join((Path(__file__).parents[2] / "docs" / "privacy.md").read_text(encoding="utf-8").split())
    allowed = [f"{passes_allowed(n, 1 / 11)} of {n}" for n in (10, 20, 50, 100, 500)]
    assert f"above {', '.join(allowed)}." in page
    assert f"more than {SAMPLED_TEXTS:,} suspects" in page
    assert "pseudonymised working data" in page
    assert "anonym" not in page.replace("pseudonym", "")
