"""Check digits against published rules, tables and examples."""

import re
import string
from random import Random

import pytest

from audit.ingest.identifiers_contacts import CONTACT_RULES, is_postcode
from audit.ingest.identifiers_numbers import (
    BIRTH_REFERENCE_RULE,
    BIRTH_TEXT_RULE,
    NUMBER_RULES,
    passes_luhn,
    passes_mod_11,
    passes_verhoeff,
)
from audit.ingest.identifiers_rules import Rule, significant


def accepted(text: str, rules: tuple[Rule, ...] = NUMBER_RULES) -> bool:
    """Whether a rule knows the form and takes the number."""
    return any(re.fullmatch(f"(?i:{rule.form})", text) and rule.passes(significant(text)) for rule in rules)


# 943 476 5919: the number of the NHS's own guidance, from memory, reproduced by hand below.
# 943 476 5870 and the wrong 9434765871: examples in python-stdnum 1.20, stdnum/gb/nhs.py.
@pytest.mark.parametrize("number", ["9434765919", "9434765870"])
def test_the_nhs_number_follows_the_data_dictionary(number: str) -> None:
    assert passes_mod_11(number)
    assert [digit for digit in "0123456789" if passes_mod_11(number[:9] + digit)] == [number[9]]


def test_the_check_digit_of_an_nhs_number_by_hand() -> None:
    # NHS Data Model and Dictionary, NHS NUMBER: weights 10 to 2; 9*10+4*9+3*8+4*7+7*6+6*5+5*4+9*3+1*2 = 299;
    # 299 = 27 * 11 + 2; 11 - 2 = 9.
    assert sum(w * int(d) for w, d in zip(range(10, 1, -1), "943476591", strict=True)) % 11 == 2
    assert passes_mod_11("9434765919")
    # 11 less a remainder of 0 counts as 0; 11 less a remainder of 1 is 10, which is never given out.
    assert passes_mod_11("0000000000")
    assert not any(passes_mod_11("000000006" + digit) for digit in "0123456789")


def test_luhn_on_the_usual_examples() -> None:
    # 79927398713 and its nine wrong endings: the example of most descriptions of ISO/IEC 7812-1, from memory.
    assert [digit for digit in "0123456789" if passes_luhn("7992739871" + digit)] == ["3"]
    # 78949 and 7894: examples in python-stdnum 1.20, stdnum/luhn.py.
    assert passes_luhn("78949")
    assert not passes_luhn("7894")


def test_verhoeff_on_the_usual_examples() -> None:
    # 2363 (check digit 3 for 236): the example of most descriptions, from memory. 12340: python-stdnum 1.20,
    # stdnum/verhoeff.py. 234123412346 and the wrong 234123412347: stdnum/in_/aadhaar.py.
    assert passes_verhoeff("2363")
    assert passes_verhoeff("12340")
    assert passes_verhoeff("234123412346")
    assert not passes_verhoeff("234123412347")


def test_verhoeff_on_the_numbers_of_the_encyclopedia_of_sequences() -> None:
    # OEIS A374967, Verhoeff check digit for n = 1, 2, ...; its first term takes 0 to have no digit.
    listed = (
        "5,7,6,3,8,2,0,9,1,9,3,1,2,5,0,6,8,4,7,4,5,7,6,3,8,2,0,9,1,1,7,9,8,0,5,4,2,6,3,8,2,0,1,9,4,5,7,3,6,"
        "5,4,2,3,6,1,7,9,0,8,7,1,4,0,8,3,9,6,2,5,3,9,6,5,2,7,1,4,8,0,0,6,8,7,4,9,3,1"
    )
    assert listed.count(",") == 86
    for number, check in enumerate(listed.split(","), start=1):
        assert passes_verhoeff(f"{number}{check}"), number


def test_verhoeff_finds_every_wrong_digit_and_every_exchange_of_neighbours() -> None:
    # What the code was made for: Verhoeff 1969.
    random = Random(1)
    for _ in range(200):
        stem = "".join(random.choices("0123456789", k=11))
        number = next(stem + digit for digit in "0123456789" if passes_verhoeff(stem + digit))
        at = random.randrange(11)
        wrong = number[:at] + str((int(number[at]) + random.randrange(1, 10)) % 10) + number[at + 1 :]
        swapped = number[:at] + number[at + 1] + number[at] + number[at + 2 :]
        assert not passes_verhoeff(wrong)
        assert swapped == number or not passes_verhoeff(swapped)


# Examples in python-stdnum 1.20 and later: the module is named beside each.
@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("54362315-K", "54362315Z"),  # es/dni.py
        ("2 95 10 99 126 111 93", "295109912611199"),  # fr/nir.py
        ("253072B07300470", "253072C07300443"),  # fr/nir.py, Corsica
        ("390.533.447-05", "231.002.999-00"),  # br/cpf.py
        ("36 574 261 809", "36574261890"),  # de/idnr.py
        ("36574261809", "36554266806"),  # de/idnr.py: more digits repeated than allowed
        ("RCCMNL83S18D969H", "RCCMNL83S18D969A"),  # it/codicefiscale.py
        ("536-90-4399", "666-00-0000"),  # us/ssn.py
        ("234123412346", "123412341234"),  # in_/aadhaar.py: never opens with 0 or 1
        ("A123456780", "A123456781"),  # number of sample cards of German health insurance, from memory
        ("X1234567L", "X1234567A"),  # Spanish number of a foreigner, letter modulo 23 worked out by hand
        ("AB123456C", "DA123456C"),  # British insurance number: D is never the first letter, from memory
    ],
)
def test_personal_numbers_of_several_states(right: str, wrong: str) -> None:
    assert accepted(right)
    assert not accepted(wrong)


@pytest.mark.parametrize("stamp", ["20260711103007", "202607111030", "20260711103007123"])
def test_a_date_with_its_time_is_no_card_and_no_personal_number(stamp: str) -> None:
    # Half a thousand of them, of which a tenth would pass by chance.
    stamps = [stamp[:-2] + f"{number:02}" for number in range(100)]
    assert not any(accepted(text) for text in stamps)


# The six forms of BS 7666 address types 2.0, PostCodeType, with the letters each leaves out.
@pytest.mark.parametrize("text", ["M11AA", "B338TH", "W1A1AA", "CR26XH", "DN551PT", "EC1A1BB", "GIR0AA"])
def test_postcodes_of_all_forms(text: str) -> None:
    assert is_postcode(text)


@pytest.mark.parametrize(
    "text", ["Q11AA", "AI11AA", "AZ11AA", "M11AC", "M11IA", "W1I1AA", "EC1C1BB", "SW1A", "M1", ""]
)
def test_letters_that_postcodes_leave_out(text: str) -> None:
    assert not is_postcode(text)


SHAPES = (
    "9" * 8,
    "9" * 10,
    "9" * 11,
    "9" * 12,
    "9" * 15,
    "9" * 16,
    "A" + "9" * 9,
    "9" * 8 + "A",
    "AA999999A",
    "999999-9999",
)
# One form of each rule that chance can pass; the Italian one is left out, since its letters carry most of it.
DRAWN = {
    rule: next(shape for shape in SHAPES if re.fullmatch(f"(?i:{rule.form})", shape))
    for rule in (*NUMBER_RULES, BIRTH_REFERENCE_RULE)
    if rule.chance and "ehlmprst" not in rule.form
}


@pytest.mark.parametrize("rule", DRAWN, ids=lambda rule: rule.form[:20])
def test_the_chance_of_a_rule_is_no_smaller_than_the_share_of_random_numbers_that_pass(rule: Rule) -> None:
    random = Random(rule.form)
    choices = {"A": string.ascii_uppercase, "9": string.digits}
    drawn = ("".join(random.choice(choices.get(mark, mark)) for mark in DRAWN[rule]) for _ in range(20_000))
    passing = sum(rule.passes(significant(text)) for text in drawn) / 20_000
    # Five standard errors of a share.
    assert passing <= rule.chance + 5 * (rule.chance / 20_000) ** 0.5


def test_a_date_of_birth_is_announced_by_a_word() -> None:
    form = re.compile(f"(?i:{BIRTH_TEXT_RULE.form})")
    assert form.search("dob 03/04/1989")
    assert form.search("née le 3-4-1989")
    assert not form.search("seen 03/04/1989")


def test_every_rule_has_a_kind_of_its_own_words() -> None:
    assert {rule.kind for rule in (*NUMBER_RULES, *CONTACT_RULES)} == {
        "card numbers, or other numbers with a check digit",
        "e-mail addresses",
        "health-service or insurance numbers",
        "national personal numbers",
        "postcodes",
        "telephone numbers",
        "web or network addresses",
    }
