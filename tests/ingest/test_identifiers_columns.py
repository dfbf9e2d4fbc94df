"""One column under the guard: headings, names, dates of birth, free text, and what must pass."""

from collections.abc import Sequence
from random import Random

import numpy as np
import pandas as pd
import pytest

from audit.ingest.identifiers_columns import suspicion_of
from audit.ingest.identifiers_file_column import FileColumn
from audit.ingest.identifiers_headings import heading_words, is_device_number, kind_of_heading
from audit.ingest.identifiers_names import looks_like_a_name
from audit.ingest.raw import RawColumn
from audit.schema.visits import VISITS
from audit.settings import Layout
from synthetic_data.clinic_words import HEADINGS


def raw(values: Sequence[str]) -> RawColumn:
    """A column of text, one value per row."""
    codes, texts = pd.factorize(np.array(values, dtype=object))
    return RawColumn(tuple(texts), codes.astype(np.int32))


def kind(
    values: Sequence[str], *, heading: str = "Extra", name: str = "", layout: Layout | None = None
) -> str:
    """What a column seems to hold, beside visits of July 2026; blank when it passes."""
    column = FileColumn(0, heading, name, raw(values))
    found = suspicion_of(
        column, layout=layout or Layout(), visits=raw(["2026-07-01"] * len(values)), women=len(values)
    )
    return found.kind if found else ""


@pytest.mark.parametrize(
    ("heading", "expected"),
    [
        ("Surname", "names"),
        ("client_first_name", "names"),
        ("PatientName", "names"),
        ("patsurname", "names"),
        ("Name", "names"),
        ("Initials", "names"),
        ("Prénom", "names"),
        ("NACHNAME", "names"),
        ("Apellidos", "names"),
        ("nombre", "names"),
        ("naam", "names"),
        ("D.O.B.", "dates of birth"),
        ("Date of Birth", "dates of birth"),
        ("dateOfBirth", "dates of birth"),
        ("Date de naissance", "dates of birth"),
        ("Geburtsdatum", "dates of birth"),
        ("Fecha de nacimiento", "dates of birth"),
        ("NHS No.", "health-service or insurance numbers"),
        ("Versichertennummer", "health-service or insurance numbers"),
        ("MRN", "hospital record numbers"),
        ("Hospital no", "hospital record numbers"),
        ("SSN", "national personal numbers"),
        ("DNI", "national personal numbers"),
        ("E-mail", "e-mail addresses"),
        ("correo electrónico", "e-mail addresses"),
        ("Mobile no.", "telephone numbers"),
        ("Téléphone", "telephone numbers"),
        ("Handynummer", "telephone numbers"),
        ("Post code", "postcodes"),
        ("PLZ", "postcodes"),
        ("Home address", "addresses"),
        ("Straße", "addresses"),
        ("Notes", "free text"),
        ("Bemerkungen", "free text"),
        ("Observaciones", "free text"),
        # None of these announces anything.
        ("Device name", ""),
        ("Name of clinic", ""),
        ("Nom du dispositif", ""),
        ("Nombre d'accouchements", ""),
        ("Date of last birth", ""),
        ("Last birth date", ""),
        ("No. births", ""),
        ("Children born", ""),
        ("Notes no.", ""),
        ("Initial screening", ""),
        ("Contact", ""),
        ("Client no", ""),
        ("Patient ID", ""),
        ("", ""),
    ],
)
def test_what_a_heading_announces(heading: str, expected: str) -> None:
    assert kind_of_heading(heading) == expected


def test_none_of_our_own_headings_announces_anything() -> None:
    announced = {text: kind_of_heading(text) for text in (*VISITS.names, *HEADINGS.values())}
    assert {text: found for text, found in announced.items() if found} == {}


@pytest.mark.parametrize(
    "heading", ["Lot no.", "LOT", "Batch number", "Serial", "device serial no", "numéro de lot", "UDI"]
)
def test_numbers_of_devices_are_known_by_their_heading(heading: str) -> None:
    assert is_device_number(heading)


@pytest.mark.parametrize(
    "heading", ["Lost before", "A lot of pain", "Allotment", "Serial bleeding", "Number", "Device"]
)
def test_other_headings_are_no_numbers_of_devices(heading: str) -> None:
    assert not is_device_number(heading)


def test_words_of_a_heading_whatever_joins_them() -> None:
    assert (
        heading_words("first-name")
        == heading_words("FIRST_NAME")
        == heading_words("firstName")
        == ("first", "name")
    )


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("Telephone call made", ["yes", "no", "Y"]),
        ("Email consent", ["y", "n"]),
        ("Name", ["C01", "C02"]),
        ("Notes", ["as usual", "late"] * 9),
        ("Note de douleur", [str(number) for number in range(11)]),
        ("Surname", ["", " "]),
        ("Date of birth known", ["yes", "unknown"]),
        ("NHS or private", ["NHS", "private"]),
    ],
)
def test_a_heading_is_believed_only_when_a_value_bears_it_out(heading: str, values: list[str]) -> None:
    assert kind(values, heading=heading) == ""


@pytest.mark.parametrize(
    ("heading", "values", "expected"),
    [
        ("Surname", ["Example"], "names"),
        ("Initials", ["AB", "CD"], "names"),
        ("MRN", ["778812"], "hospital record numbers"),
        ("Phone", ["01632 960001"], "telephone numbers"),
        ("Postcode", ["SW1A"], "postcodes"),
        ("Address", ["Mill House"], "addresses"),
        ("Notes", ["rang", "Rose rang"], "free text"),
    ],
)
def test_a_heading_that_its_values_bear_out_refuses(heading: str, values: list[str], expected: str) -> None:
    assert kind(values, heading=heading) == expected


@pytest.mark.parametrize("name", ["clinician_ref", "supervisor_ref"])
@pytest.mark.parametrize(
    "staff", [["Anna Example", "C01"], ["Example, A.", "C01"], ["ANNA EXAMPLE", "C1"], ["anna example"]]
)
def test_names_of_staff_are_known_by_their_look(name: str, staff: list[str]) -> None:
    assert kind(staff * 5, name=name) == "names"


@pytest.mark.parametrize(
    "text", ["Dr Example", "Mrs. Example", "Nurse Example", "DR EXAMPLE", "Prof Example"]
)
def test_one_title_among_many_codes_is_enough(text: str) -> None:
    codes = [f"C{number:02}" for number in range(30)]
    assert kind([*codes, text], name="clinician_ref") == "names"


@pytest.mark.parametrize(
    "staff",
    [
        ["C01", "C02"],
        ["ANNA", "BERTA"],
        ["DR 01", "DR 02"],
        ["Dr A", "Dr B"],
        ["Nurse A", "Nurse B"],
        ["Fitter One", "Fitter Two"],
        ["Nurse Practitioner", "Senior Registrar"],
        ["Team North", "Team South"],
        ["NA", "na"],
    ],
)
def test_codes_of_staff_are_no_names(staff: list[str]) -> None:
    assert kind(staff * 5, name="clinician_ref") == ""


def test_three_names_in_ten_are_the_most_that_pass() -> None:
    codes = [f"C{number}" for number in range(7)]
    names = ["Anna Example", "Berta Example", "Clara Example"]
    assert kind(codes + names, name="clinician_ref") == ""
    assert kind(codes[:6] + names, name="clinician_ref") == "names"


@pytest.mark.parametrize(
    "sites", [["North Clinic", "Mill Road"], ["Tower Hamlets", "Århus Café"], ["MEADOW", "HARBOUR"]]
)
def test_a_few_places_of_two_words_are_no_names(sites: list[str]) -> None:
    assert kind(sites * 5, name="site_ref") == ""


def test_many_names_in_the_column_of_places_are_persons_in_the_wrong_column() -> None:
    assert kind([f"Anna Example{letter}" for letter in "abcdefg"], name="site_ref") == "names"


@pytest.mark.parametrize(
    "text", ["Ann O'Example", "Anne-Marie Example", "Ana de la Muestra", "J. R. Example", "Zoë Example"]
)
def test_names_have_many_forms(text: str) -> None:
    assert looks_like_a_name(text)


def test_a_short_list_of_two_words_is_no_list_of_names() -> None:
    assert kind(["White British", "Black African", "Not Stated"] * 30) == ""


YEARS = [1966, 1975, 1981, 1988, 1990, 1994, 1999, 2003, 2007, 1979]
FORMS = ("{}-04-03", "03/04/{}", "3.4.{}", "3 April {}", "03-Apr-{}", "{}-04-03 00:00:00", "{}0403")


@pytest.mark.parametrize("form", FORMS)
def test_a_column_of_dates_as_old_as_women_is_one_of_dates_of_birth(form: str) -> None:
    assert kind([form.format(year) for year in YEARS]) == "dates of birth"
    assert kind([form.format(year) for year in range(2016, 2026)]) == ""


def test_two_figures_for_the_year_will_do() -> None:
    assert kind([f"03/04/{year % 100:02}" for year in YEARS]) == "dates of birth"


def test_dates_of_birth_are_known_under_our_own_columns_of_dates() -> None:
    born = [f"{year}-04-03" for year in YEARS] * 3
    assert kind(born, name="referral_date") == "dates of birth"
    assert kind(born, name="last_delivery_date") == "dates of birth"
    assert kind(born, name="visit_date") == ""
    # Of many births some lie long ago: never nearly all.
    births = [f"{year}-04-03" for year in range(2000, 2026)]
    assert kind(births, name="last_delivery_date") == ""
    assert kind(births[:12] + births[-3:], name="last_delivery_date") == ""


def test_the_heading_of_a_date_read_as_ours_counts_too() -> None:
    assert kind(["2025-04-03"], heading="Date of birth", name="referral_date") == "dates of birth"
    assert kind(["2025-04-03"], heading="Birth date", name="last_delivery_date") == ""


def test_free_text_is_long_of_several_words_and_seldom_the_same_twice() -> None:
    random = Random(4)
    words = [
        "rang",
        "late",
        "device",
        "string",
        "check",
        "said",
        "fine",
        "partner",
        "mother",
        "better",
        "worse",
        "again",
    ]
    notes = [" ".join(random.choices(words, k=6)) for _ in range(40)]
    assert kind(notes) == "free text"
    assert kind(notes, name="removal_reason_main") == "free text"
    assert kind(notes[:4] * 20) == ""
    assert kind([note.replace(" ", "_") for note in notes]) == ""
    assert kind([f"2026-07-01 10:{number:02}:00.000000 +0100" for number in range(40)]) == ""


def test_words_that_the_settings_explain_are_not_looked_at() -> None:
    words = {f"Removed at the request of Dr Example {letter * 3}": "bleeding" for letter in "abcdefgh"}
    assert kind(list(words), name="removal_reason_main") == "names"
    layout = Layout(codes={"removal_reason_main": words})
    assert kind(list(words), name="removal_reason_main", layout=layout) == ""


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("visit_date", ["02/10/2023", "2026-07-01T10:30:00", "20260701103000", "45201"]),
        ("age_years", ["27", "61", "230", "-"]),
        ("sound_length_mm", ["75", "7,5 cm", "75.50"]),
        ("parity_text", ["P2+1", "G3P2", "P2 0SB", "nullip", "1 SVD 1 CS"]),
        ("pain_score", ["4", "10/10", "0"]),
        ("insertion_outcome", ["placed", "See letter", "Coil fitted"]),
        ("syncope", ["yes", "NO", "x", "?"]),
        ("bmi", ["27.2", "31.04"]),
    ],
)
def test_what_the_schema_explains_passes(name: str, values: list[str]) -> None:
    assert kind(values * 5, name=name) == ""


@pytest.mark.parametrize("name", ["age_years", "removal_reason_main", "visit_date", "syncope", "parity_text"])
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("rose@example.org", "e-mail addresses"),
        ("943 476 5919", "health-service or insurance numbers"),
        ("07700 900123", "telephone numbers"),
        ("born 03/04/1989", "dates of birth"),
    ],
)
def test_one_identifier_in_a_column_of_codes_counts_or_dates_refuses(
    name: str, text: str, expected: str
) -> None:
    assert kind(["1", "2", text], name=name) == expected


def test_five_figures_are_a_postcode_only_under_the_heading_of_a_place() -> None:
    values = [f"{number}" for number in range(20_001, 20_041)]
    assert kind(values, heading="Home area") == "postcodes"
    assert kind(values, heading="Session") == ""


def test_a_blank_column_passes_whatever_its_heading() -> None:
    assert kind(["", "", " "], heading="NHS number") == ""
    assert kind([], heading="NHS number") == ""


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("rose@example.org", "e-mail addresses"),
        ("mailto:rose.e+clinic@mail.example.co", "e-mail addresses"),
        ("https://example.org/rose", "web or network addresses"),
        ("www.example.org/rose", "web or network addresses"),
        ("192.0.2.17", "web or network addresses"),
        ("2001:db8::17", "web or network addresses"),
        ("2001:db8:0:0:0:0:0:17", "web or network addresses"),
        ("00:1b:44:11:3a:b7", "web or network addresses"),
        ("00-1B-44-11-3A-B7", "web or network addresses"),
        # Numbers of the ranges kept for drama and examples, where a country has them (Ofcom, NANPA).
        ("+44 7700 900123", "telephone numbers"),
        ("+44 (0)20 7946 0018", "telephone numbers"),
        ("+12125550123", "telephone numbers"),
        ("020 7946 0018", "telephone numbers"),
        ("(020) 7946 0018", "telephone numbers"),
        ("020-7946-0018", "telephone numbers"),
        ("07700900123", "telephone numbers"),
        ("0171/1234567", "telephone numbers"),
        ("06 12 34 56 78", "telephone numbers"),
        ("06.12.34.56.78", "telephone numbers"),
        ("(212) 555-0123", "telephone numbers"),
        ("212-555-0124", "telephone numbers"),
        ("612 345 678", "telephone numbers"),
        ("rang 07700 900123 twice", "telephone numbers"),
        ("SW1A 1AA", "postcodes"),
        ("sw1a 1aa", "postcodes"),
        ("SW1A1AA", "postcodes"),
        ("moved to SW1A 1AA in May", "postcodes"),
        ("GIR 0AA", "postcodes"),
        ("943-476-5919", "health-service or insurance numbers"),
        ("NHS: 943 476 5919", "health-service or insurance numbers"),
        ("A123456780", "health-service or insurance numbers"),
        # Numbers that card schemes keep for tests, from memory.
        ("4111 1111 1111 1111", "card numbers, or other numbers with a check digit"),
        ("378282246310005", "card numbers, or other numbers with a check digit"),
        ("2341 2341 2346", "national personal numbers"),
        ("RCCMNL83S18D969H", "national personal numbers"),
        ("2 95 10 99 126 111 93", "national personal numbers"),
        ("54362315-K", "national personal numbers"),
        ("390.533.447-05", "national personal numbers"),
        ("36 574 261 809", "national personal numbers"),
        ("030489-1234", "national personal numbers"),
        ("536-90-4399", "national personal numbers"),
        ("AB 12 34 56 C", "national personal numbers"),
        ("spoke to Mrs Example", "names"),
        ("dob: 03/04/1989", "dates of birth"),
    ],
)
def test_one_value_in_a_column_nobody_reads_refuses(text: str, expected: str) -> None:
    assert kind(["", "late", text]) == expected


@pytest.mark.parametrize(
    "text",
    [
        "2026-07-01 10:30:00",
        "01.07.2026 10:30",
        "01/07/2026 10:30:15",
        "20260701103007",
        "10:30:00",
        "1.4.2.0",
        "W1 2",
        "for L5 1yr",
        "part AB-9434765919-7",
        "75 mm, 7.5 cm",
        "12-34-56-78-90-12",
        "120/80",
        "1234567",
        "SW1A",
        "Miss a pill",
        "Dr requested",
        "P2+1",
    ],
)
def test_what_looks_a_little_like_an_identifier_passes(text: str) -> None:
    assert kind(["", "late", text]) == ""
