"""Identifiers planted in logs: every one is refused and none is echoed; clean logs are never refused.

All names, numbers and addresses are invented. Telephone numbers, domains and network addresses are of the
ranges set aside for examples where there are such (RFC 2606, RFC 5737, RFC 3849), else drawn at random.
"""

import csv
import io
import string
import traceback
import uuid
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from audit.errors import IdentifiersFound
from audit.ingest.load import load_visits
from audit.settings import AuditSettings, Layout, settings_from
from synthetic_data.demo import demo_settings
from synthetic_data.flaws import export_as_clinic
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

Table = list[dict[str, str]]
ROWS = 40
EACH = 50
REFUSED = 3


def small_log(random: Random) -> Table:
    """A log of 40 visits with two columns nobody reads."""
    return [
        {
            "patient_ref": f"W{random.randrange(10_000):05}",
            "visit_ref": f"V{number:04}",
            "visit_date": f"2026-{random.randrange(1, 10):02}-{random.randrange(1, 29):02}",
            "visit_kind": "insertion",
            "clinician_ref": random.choice(("C01", "C02", "C03")),
            "site_ref": random.choice(("HARBOUR", "MEADOW")),
            "insertion_outcome": random.choice(("placed", "failed")),
            "failure_reason": "",
            "Session": random.choice(("morning", "afternoon")),
            "Extra": "",
        }
        for number in range(ROWS)
    ]


def digits(random: Random, size: int, *, first: str = string.digits) -> str:
    """Digits at random."""
    return random.choice(first) + "".join(random.choices(string.digits, k=size - 1))


def with_check(stem: str, passes: Callable[[str], bool]) -> str:
    """The stem with the digit behind it that passes; blank when none does."""
    return next((stem + digit for digit in string.digits if passes(stem + digit)), "")


# Written here a second time, from the published rules, so that the guard is not tested against itself.
def mod_11(number: str) -> bool:
    """The rule of the NHS Data Dictionary: weights 10 to 1 over all ten digits give a multiple of 11."""
    return sum(weight * int(digit) for weight, digit in zip(range(10, 0, -1), number, strict=True)) % 11 == 0


def luhn(number: str) -> bool:
    """Luhn's rule by table: twice the digit, its digits added."""
    twice = (0, 2, 4, 6, 8, 1, 3, 5, 7, 9)
    backwards = [int(digit) for digit in reversed(number)]
    return (sum(backwards[0::2]) + sum(twice[digit] for digit in backwards[1::2])) % 10 == 0


SYLLABLES = ("ba", "dro", "fe", "gul", "hin", "kra", "lo", "mi", "nor", "pel", "que", "ri", "sto", "vex")


def word(random: Random) -> str:
    """An invented name."""
    return "".join(random.choices(SYLLABLES, k=random.choice((2, 3)))).capitalize()


def whole_column(table: Table, name: str, values: Sequence[str]) -> Table:
    """The table with a column filled."""
    return [{**row, name: value} for row, value in zip(table, values, strict=True)]


def one_cell(table: Table, name: str, value: str, random: Random) -> Table:
    """The table with one cell of a column changed."""
    at = random.randrange(len(table))
    return [{**row, name: value} if number == at else row for number, row in enumerate(table)]


Planted = tuple[Table, list[str], str]


def in_some_place(table: Table, value: str, random: Random, *, places: Sequence[str]) -> Planted:
    """One value in one of these columns, alone or inside a sentence where the column is nobody's."""
    name = random.choice(places)
    text = f"please use {value} from now on" if name == "Extra" and random.random() < 0.5 else value
    return one_cell(table, name, text, random), [value], name


def names(table: Table, random: Random) -> Planted:
    """Names of staff, of women under a heading, of women under none, or with a title."""
    people = [f"{word(random)} {word(random)}" for _ in table]
    way = random.randrange(4)
    if way == 0:
        staff = random.sample(people, 4)
        return (
            whole_column(table, "clinician_ref", [random.choice(staff) for _ in table]),
            staff,
            "clinician_ref",
        )
    if way == 1:
        heading = random.choice(
            ("Surname", "Patient name", "prénom", "Nachname", "apellidos", "client_first_name")
        )
        firsts = [name.split()[0] for name in people]
        return whole_column(table, heading, firsts), firsts, heading
    if way == 2:
        return whole_column(table, "Extra", people), people, "Extra"
    titled = f"{random.choice(('Mrs', 'Dr', 'Ms.', 'Prof', 'Frau', 'Mme'))} {word(random)}"
    return in_some_place(table, titled, random, places=("Extra", "clinician_ref", "failure_reason"))


def birth_dates(table: Table, random: Random) -> Planted:
    """Dates of birth in many forms, with and without a heading that says so."""
    heading = random.choice(("Extra", "DOB", "Date of birth", "date de naissance", "Geburtsdatum", "F. Nac."))
    days = [(random.randrange(1970, 2008), random.randrange(1, 13), random.randrange(1, 29)) for _ in table]
    form = random.choice(
        ("{0}-{1:02}-{2:02}", "{2:02}/{1:02}/{0}", "{1}/{2}/{0}", "{2:02}.{1:02}.{3:02}", "{0}{1:02}{2:02}")
    )
    values = [form.format(*day, day[0] % 100) for day in days]
    return whole_column(table, heading, values), values, heading


def health_numbers(table: Table, random: Random) -> Planted:
    """Ten digits that pass modulo 11: one of them, or a column of them."""
    values: list[str] = []
    while len(values) < len(table):
        number = with_check(digits(random, 9, first="123456789"), mod_11)
        values += [random.choice((number, f"{number[:3]} {number[3:6]} {number[6:]}"))] if number else []
    if random.random() < 0.5:
        return whole_column(table, "patient_ref", values), values, "patient_ref"
    places = ("patient_ref", "Extra", "clinician_ref", "failure_reason")
    return in_some_place(table, values[0], random, places=places)


def card_numbers(table: Table, random: Random) -> Planted:
    """Sixteen digits that pass Luhn's rule."""
    values = [with_check("4" + digits(random, 14), luhn) for _ in table]
    spaced = [" ".join(value[at : at + 4] for at in range(0, 16, 4)) for value in values]
    chosen = random.choice((values, spaced))
    if random.random() < 0.5:
        return whole_column(table, "Extra", chosen), chosen, "Extra"
    return in_some_place(table, chosen[0], random, places=("patient_ref", "Extra", "visit_ref"))


def national_numbers(table: Table, random: Random) -> Planted:
    """Personal numbers of several states."""
    stem, body = digits(random, 8), digits(random, 13, first="12")
    spanish = stem + "TRWAGMYFPDXBNJZSQVHLCKE"[int(stem) % 23]
    french = f"{body}{97 - int(body) % 97:02}"
    american = f"{random.randrange(100, 600)}-{random.randrange(10, 99)}-{random.randrange(1000, 9999)}"
    british = f"AB{digits(random, 6)}{random.choice('ABCD')}"
    value = random.choice((spanish, french, american, british))
    return in_some_place(table, value, random, places=("patient_ref", "Extra", "failure_reason"))


def emails(table: Table, random: Random) -> Planted:
    """Addresses under the domains kept for examples."""
    value = (
        f"{word(random).lower()}.{word(random).lower()}@{random.choice(('example.org', 'mail.example.com'))}"
    )
    return in_some_place(
        table, value, random, places=("patient_ref", "Extra", "clinician_ref", "failure_reason")
    )


def telephones(table: Table, random: Random) -> Planted:
    """Numbers with a country code, or as dialled within a country."""
    value = random.choice(
        (
            f"+44 7700 900{digits(random, 3)}",
            f"07700 900{digits(random, 3)}",
            f"07700900{digits(random, 3)}",
            f"020 7946 0{digits(random, 3)}",
            f"(212) 555-01{digits(random, 2)}",
            f"+1-212-555-01{digits(random, 2)}",
            f"06 12 34 {digits(random, 2)} {digits(random, 2)}",
            f"+491701234{digits(random, 3)}",
        )
    )
    return in_some_place(table, value, random, places=("patient_ref", "Extra", "failure_reason"))


def postcodes(table: Table, random: Random) -> Planted:
    """Full postcodes of the United Kingdom, and five digits under the heading of a place."""
    letters = "ABDEFGHJLNPQRSTUWXYZ"
    area = random.choice(("SW1A", "M1", "B33", "CR2", "DN55", "EC1A", "W1A"))
    value = f"{area} {random.randrange(10)}{random.choice(letters)}{random.choice(letters)}"
    if random.random() < 0.2:
        heading = random.choice(("Home area", "Town code", "zip"))
        values = [digits(random, 5) for _ in table]
        return whole_column(table, heading, values), values, heading
    return in_some_place(table, value, random, places=("site_ref", "Extra", "failure_reason"))


def web_addresses(table: Table, random: Random) -> Planted:
    """Addresses of pages and machines."""
    pairs = [digits(random, 2) for _ in range(6)]
    value = random.choice(
        (
            f"https://example.org/{word(random).lower()}",
            f"www.example.com/{word(random).lower()}",
            f"192.0.2.{random.randrange(10, 255)}",
            f"2001:db8::{digits(random, 4)}",
            ":".join(pairs),
        )
    )
    bare = value.startswith("2001") or value.count(":") == 5
    return in_some_place(
        table, value, random, places=("clinician_ref",) if bare else ("clinician_ref", "Extra")
    )


def free_text(table: Table, random: Random) -> Planted:
    """Sentences, with and without a heading that says so."""
    heading = random.choice(("Extra", "Notes", "Comments", "Bemerkungen", "commentaire"))
    values = [f"pt {word(random)} called, mother {word(random)} came along" for _ in table]
    return whole_column(table, heading, values), values, heading


CLASSES = (
    names,
    birth_dates,
    health_numbers,
    card_numbers,
    national_numbers,
    emails,
    telephones,
    postcodes,
    web_addresses,
    free_text,
)


def text_of(table: Table) -> str:
    """The table as CSV."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(table[0]), lineterminator="\n", restval="")
    writer.writeheader()
    writer.writerows(table)
    return text.getvalue()


@pytest.mark.parametrize("plant", CLASSES, ids=lambda plant: plant.__name__)
def test_every_planted_identifier_is_refused_and_none_is_echoed(
    tmp_path: Path, command: Callable[..., object], plant: Callable[[Table, Random], Planted]
) -> None:
    path = tmp_path / "visits.csv"
    missed, echoed = [], []
    for seed in range(EACH):
        random = Random(f"{plant.__name__} {seed}")
        table, values, name = plant(small_log(random), random)
        path.write_text(text_of(table), encoding="utf-8")
        said = command("check", path)
        missed += [seed] if said.code != REFUSED or "seems to hold" not in said.err else []
        outward = said.out + said.err
        if seed % 5 == 0:
            outward += raised(path) + (without(path, name) if name != "patient_ref" else "")
        echoed += [seed for value in values if value in outward]
    assert (missed, echoed) == ([], [])


def raised(path: Path) -> str:
    """All that Python prints of the refusal, but for the lines of code."""
    with pytest.raises(IdentifiersFound) as refusal:
        load_visits(path)
    lines = "".join(traceback.format_exception(refusal.value, chain=True))
    return lines[lines.rindex("audit.errors.") :]


def without(path: Path, name: str) -> str:
    """All that a log carries outward once the column is left out by name: it is not refused any more."""
    log = load_visits(path, drop_columns=[name], allow_set_aside=True)
    assert len(log.visits) == ROWS
    frames = (log.set_aside, log.findings, log.accounting)
    return "".join(frame.astype(str).to_csv() for frame in frames) + repr(log.sources)


def test_fifty_of_each_of_ten_classes_are_planted() -> None:
    assert len(CLASSES) * EACH == 500


# Clean logs

LETTERS_AND_DIGITS = string.ascii_uppercase + string.digits
REFERENCES: dict[str, Callable[[Random, int], str]] = {
    "ten digits": lambda random, number: digits(random, 10, first="123456789"),
    "ten digits in a row": lambda random, number: str(4_000_000_000 + number),
    "hyphenated codes": lambda random, number: f"{digits(random, 3)}-{digits(random, 3)}-{digits(random, 4)}",
    "a site and ten digits": lambda random, number: f"SITE-{digits(random, 10)}",
    "sixteen digits": lambda random, number: digits(random, 16),
    "nine digits": lambda random, number: digits(random, 9),
    "twelve hexadecimal digits": lambda random, number: f"{random.getrandbits(48):012x}",
    "UUIDs": lambda random, number: str(uuid.UUID(int=random.getrandbits(128))),
    "letters and digits": lambda random, number: "".join(random.choices(LETTERS_AND_DIGITS, k=7)),
    "eight digits and a letter": lambda random, number: (
        digits(random, 8) + random.choice(string.ascii_uppercase)
    ),
}
HARMLESS: dict[str, Callable[[Random, int], str]] = {
    "Entered at": lambda random, number: f"2026-0{random.randrange(1, 9)}-11 10:{random.randrange(60):02}:07",
    "Ethnicity": lambda random, number: random.choice(("White British", "Black African", "Not Stated")),
    "Telephone call made": lambda random, number: random.choice(("yes", "no")),
    "E-mail consent": lambda random, number: random.choice(("Y", "N", "")),
    "Date of last birth": lambda random, number: (
        f"{random.randrange(2012, 2026)}-03-0{random.randrange(1, 9)}"
    ),
    "Version": lambda random, number: "2.4.1.0",
    "Lot no.": lambda random, number: f"TU0{digits(random, 4)}",
    "Notes seen": lambda random, number: random.choice(("yes", "no")),
}


def demo(seed: int) -> tuple[str, AuditSettings]:
    """The demonstration with other women."""
    import tomllib

    visits = generate_visits(replace(LARKFIELD, women=300), seed=seed)
    settings = settings_from(tomllib.loads(demo_settings(visits)))
    return export_as_clinic(visits, seed=seed).text, settings


@pytest.mark.parametrize("seed", range(10))
def test_the_demonstration_is_clean_whoever_the_women_are(tmp_path: Path, seed: int) -> None:
    text, settings = demo(seed)
    (tmp_path / "visits.csv").write_text(text, encoding="utf-8")
    assert len(load_visits(tmp_path / "visits.csv", settings).visits) > 500


@pytest.mark.parametrize("name", REFERENCES)
def test_logs_with_ordinary_references_and_columns_are_clean(tmp_path: Path, name: str) -> None:
    path = tmp_path / "visits.csv"
    for seed in range(5):
        random = Random(f"{name} {seed}")
        women = [REFERENCES[name](random, number) for number in range(150)]
        table = [
            {
                **row,
                "patient_ref": random.choice(women),
                "visit_ref": REFERENCES[name](random, number),
                **{heading: value(random, number) for heading, value in HARMLESS.items()},
            }
            for number, row in enumerate(small_log(random) * 10)
        ]
        path.write_text(text_of(table), encoding="utf-8")
        log = load_visits(path)
        assert len(log.visits) == 10 * ROWS
        assert "device_numbers_not_read" in log.findings["rule"].tolist()


def test_a_map_of_headings_keeps_columns_clean_whose_names_sound_personal(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    headings = {"clinician_ref": "Clinician name", "site_ref": "Clinic name"}
    table = [{headings.get(name, name): text for name, text in row.items()} for row in small_log(Random(1))]
    path.write_text(text_of(table), encoding="utf-8")
    log = load_visits(path, AuditSettings(layout=Layout(headings=headings)))
    assert log.visits["clinician_ref"].nunique() == 3
