"""The clinic's export: its own words throughout, and a ledger that accounts for every flaw."""

import csv
import io
import re

import pandas as pd
import pytest

from audit.schema.visits import VISITS
from synthetic_data.clinic_words import HEADINGS, words_of
from synthetic_data.flaws import ClinicExport, export_as_clinic
from synthetic_data.generate import generate_visits


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    return generate_visits(seed=8)


@pytest.fixture(scope="module")
def export(visits: pd.DataFrame) -> ClinicExport:
    return export_as_clinic(visits, seed=8)


@pytest.fixture(scope="module")
def lines(export: ClinicExport) -> list[list[str]]:
    """Line n of the file is item n - 1."""
    return list(csv.reader(io.StringIO(export.text)))


def test_the_same_log_and_seed_give_the_same_bytes(visits: pd.DataFrame, export: ClinicExport) -> None:
    assert export_as_clinic(visits, seed=8).text == export.text


def test_a_log_too_short_for_its_flaws_is_refused(visits: pd.DataFrame) -> None:
    with pytest.raises(ValueError, match="visits must hold at least 100 insertions, got 10"):
        export_as_clinic(visits.head(10), seed=8)


def test_the_file_holds_each_visit_once_and_the_duplicates_twice(
    visits: pd.DataFrame, export: ClinicExport, lines: list[list[str]]
) -> None:
    assert len(lines) == 1 + len(visits) + (export.ledger["effect"] == "duplicate").sum()


def test_the_ledger_counts_what_was_planned(export: ClinicExport) -> None:
    counts = export.ledger[export.ledger["effect"] != "blank"].groupby("flaw").size().to_dict()
    assert counts == {
        "line twice": 6,
        "short line": 2,
        "visit_date is '31/02/2025'": 2,
        "visit_date left blank": 2,
        "age_years is '230'": 2,
        "insertion_outcome is 'See letter'": 3,
        "sound_length_mm is '75'": 3,
    }


def test_every_line_of_the_ledger_shows_its_flaw_in_the_file(
    export: ClinicExport, lines: list[list[str]]
) -> None:
    columns = {name: lines[0].index(heading) for name, heading in HEADINGS.items()}
    for line, flaw, column, effect in export.ledger.itertuples(index=False):
        cells = lines[line - 1]
        if effect == "duplicate":
            assert cells == lines[line - 2]
        elif flaw == "short line":
            assert len(cells) < len(lines[0])
        elif flaw.endswith("left blank"):
            assert cells[columns[column]] == ""
        else:
            assert f"'{cells[columns[column]]}'" in flaw


def test_the_file_holds_no_flaw_that_the_ledger_does_not_name(
    export: ClinicExport, lines: list[list[str]]
) -> None:
    short = [number for number, cells in enumerate(lines, start=1) if len(cells) != len(lines[0])]
    twice = [n for n in range(2, len(lines) + 1) if lines[n - 1] == lines[n - 2]]
    day = lines[0].index("Date seen")
    spoilt = [n for n in range(2, len(lines) + 1) if lines[n - 1][day] in ("", "31/02/2025")]
    ledger = export.ledger
    assert short == list(ledger.loc[ledger["flaw"] == "short line", "line"])
    assert twice == list(ledger.loc[ledger["effect"] == "duplicate", "line"])
    assert spoilt == list(ledger.loc[ledger["column"] == "visit_date", "line"])


@pytest.mark.parametrize(("name", "share"), [("vasovagal_grade", 0.06), ("perforation_suspected", 0.04)])
def test_the_stated_share_of_a_column_is_blank(
    visits: pd.DataFrame, export: ClinicExport, name: str, share: float
) -> None:
    blanked = ((export.ledger["column"] == name) & (export.ledger["effect"] == "blank")).sum()
    assert blanked == round(share * visits[name].notna().sum())


def test_read_back_through_its_words_the_export_is_the_clean_log(
    visits: pd.DataFrame, export: ClinicExport, lines: list[list[str]]
) -> None:
    flawed = set(export.ledger["line"]) - set(export.ledger.loc[export.ledger["effect"] == "blank", "line"])
    kept = [cells for number, cells in enumerate(lines, 1) if number > 1 and number not in flawed]
    clean = visits.astype(object).fillna("").set_index("visit_ref")
    blanked = set(export.ledger.loc[export.ledger["effect"] == "blank", "column"]) | {"caesarean_births"}
    read = pd.DataFrame(kept, columns=list(visits.columns)).set_index("visit_ref")
    expected = clean.loc[read.index]
    for name in set(read.columns) - blanked:
        assert [_read(name, text) for text in read[name]] == list(expected[name]), name


def _read(name: str, text: str) -> str:
    """The clinic's text in our words, written apart from the code under test."""
    column = VISITS[name]
    if column.kind == "date" and text:
        return "-".join(reversed(text.split("/")))
    if column.kind == "flag":
        return {"y": "yes", "n": "no"}.get(text[:1].lower(), "")
    if column.kind == "code":
        return {word: code for code, word in words_of(name).items()}.get(text, "")
    return f"{float(text) * 10:g}" if column.unit == "mm" and text else text


def test_yes_and_no_are_written_in_more_than_one_way(lines: list[list[str]]) -> None:
    place = lines[0].index("Supervisor in room")
    written = {cells[place] for cells in lines[1:] if len(cells) > place}
    assert written == {"Y", "yes", "Yes", "y", "N", "no", "No", "n", "-", ""}


def test_no_two_codes_share_a_word_and_no_two_columns_a_heading() -> None:
    assert len(set(HEADINGS.values())) == len(HEADINGS)
    for name in HEADINGS:
        words = [word.casefold() for word in words_of(name).values()]
        assert len(set(words)) == len(words), name


def test_devices_are_named_by_what_they_are_and_never_by_a_brand() -> None:
    generic = {"copper", "hormone", "t", "small", "no", "frame", "other", "unknown"}
    for word in words_of("device_class").values():
        parts = re.findall(r"[A-Za-z]+", word)
        assert {part.lower() for part in parts} <= generic, word


def test_no_heading_asks_for_what_identifies_a_woman() -> None:
    words = {word.casefold() for heading in HEADINGS.values() for word in re.findall(r"[A-Za-z]+", heading)}
    assert not words & {"name", "surname", "dob", "address", "postcode", "phone", "email", "nhs"}
