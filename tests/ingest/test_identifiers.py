"""The guard on whole files: what is refused in which words, what is left out, and that nothing is echoed."""

from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.errors import IdentifiersFound, InputRefused, MissingColumns
from audit.ingest.identifiers import column_label, looks_like_data
from audit.ingest.load import load_visits
from audit.ingest.masking import masked
from audit.ingest.pseudonyms import PseudonymKey
from audit.settings import AuditSettings, Layout

HEAD = "patient_ref,visit_date,visit_kind,insertion_outcome"
KEY = PseudonymKey("0a1b2c3d", bytes(range(32)))


def written(folder: Path, *lines: str) -> Path:
    """A file of these lines."""
    path = folder / "visits.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def row(number: int, *cells: str) -> str:
    """One visit with further cells."""
    return ",".join((f"W{number}", "2026-07-01", "insertion", "placed", *cells))


def refusal(path: Path, **options: object) -> str:
    """The message with which a file is refused."""
    with pytest.raises(InputRefused) as refused:
        load_visits(path, **options)  # type: ignore[arg-type]
    return str(refused.value)


def test_the_refusal_names_the_column_the_kind_and_the_rows_and_says_how_to_go_on(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD},Contact", row(1, "rose@example.org"), row(2, ""), row(3, "none"))
    assert refusal(path) == (
        "visits.csv: column 'Contact' seems to hold e-mail addresses (1 of 2 filled rows; no value is shown). "
        "A file that can identify a person must not be audited, whether the column is read or not. Take it out "
        'of the export and keep the file elsewhere; or go on without it with --drop-column "Contact" '
        "(drop_columns in Python)."
    )


def test_a_program_can_tell_the_refusal_for_identifiers_from_any_other(tmp_path: Path) -> None:
    with pytest.raises(IdentifiersFound):
        load_visits(written(tmp_path, f"{HEAD},Contact", row(1, "rose@example.org")))
    with pytest.raises(InputRefused) as other:
        load_visits(written(tmp_path, HEAD, "W1,01/07/2026,insertion,placed"))
    assert not isinstance(other.value, IdentifiersFound)


def test_every_such_column_is_named_at_once(tmp_path: Path) -> None:
    path = written(
        tmp_path, f"{HEAD},Surname,Notes", *(row(i, "Example", "rang Rose back twice") for i in (1, 2))
    )
    said = refusal(path)
    assert (
        "column 'Surname' seems to hold names (2 of 2 filled rows; no value is shown), column 'Notes'" in said
    )
    assert 'with --drop-column "Surname" --drop-column "Notes" (' in said
    log = load_visits(path, drop_columns=["surname", "NOTES"])
    assert log.findings["rule"].tolist() == ["columns_left_out"]
    assert "column 'Surname', column 'Notes'" in log.findings["message"][0]


def test_more_than_five_columns_are_counted(tmp_path: Path) -> None:
    headings = ("Surname", "Forename", "E-mail", "Phone", "Postcode", "DOB", "NHS number")
    cells = ("Example", "Rose", "rose@example.org", "01632 960001", "SW1A 1AA", "1990-04-03", "9434765919")
    said = refusal(written(tmp_path, ",".join((HEAD, *headings)), row(1, *cells)))
    assert said.count("seems to hold") == 5
    assert " and 2 more columns. A file" in said
    assert not any(cell in said for cell in cells)


def test_a_required_column_cannot_be_left_out_and_needs_other_codes(tmp_path: Path) -> None:
    health = "943 476 5919,2026-07-01,insertion,placed"
    path = written(tmp_path, HEAD, row(1), health, *(row(i) for i in range(2, 30)))
    said = refusal(path)
    assert (
        "column 'patient_ref' seems to hold health-service or insurance numbers (1 of 30 filled rows;" in said
    )
    assert said.endswith("; or write a code of the service's own, the same at every visit, in its place.")
    assert "--drop-column" not in said
    with pytest.raises(MissingColumns, match="no column for patient_ref"):
        load_visits(path, drop_columns=["patient_ref"])


def test_a_column_that_is_read_may_be_left_out_by_the_heading_of_the_log(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD},Fitter", *(row(i, "Anna Example") for i in (1, 2)))
    settings = AuditSettings(layout=Layout(headings={"clinician_ref": "Fitter"}))
    assert "column 'Fitter' seems to hold names (2 of 2 filled rows" in refusal(path, settings=settings)
    log = load_visits(path, settings, drop_columns=["Fitter"])
    assert "clinician_ref" not in log.visits


def test_a_column_may_be_left_out_by_its_number(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD},,x", *(row(i, "rose@example.org", "1") for i in (1, 2)))
    assert "column 5 seems to hold e-mail addresses (2 of 2" in refusal(path)
    assert "with --drop-column 5 (" in refusal(path)
    assert sorted(load_visits(path, drop_columns=["5"]).findings["message"]) == [
        "Left out as asked, and not looked at: column 5.",
        "Not read: x. Map those that matter under [layout.headings].",
    ]


def test_a_column_to_leave_out_must_be_there(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD},x", row(1, "1"))
    for name in ("Sarah", "9", "0"):
        with pytest.raises(MissingColumns) as refused:
            load_visits(path, drop_columns=[name])
        assert str(refused.value) == (
            "visits.csv: no column to leave out under the name given. Found: column 'patient_ref', column "
            "'visit_date', column 'visit_kind', column 'insertion_outcome', column 'x'. Write one of these "
            "headings, or the number of its column, after --drop-column (drop_columns in Python)."
        )
    with pytest.raises(ValueError, match="drop_columns must be a list of headings, got 'x'"):
        load_visits(path, drop_columns="x")


def test_of_several_files_each_is_looked_at(tmp_path: Path) -> None:
    first = written(tmp_path, f"{HEAD},x", row(1, "1"))
    second = tmp_path / "second.csv"
    second.write_text(f"{HEAD},Phone\n{row(2, '07700 900123')}\n", encoding="utf-8")
    assert refusal([first, second]).startswith("second.csv: column 'Phone' seems to hold telephone numbers")  # type: ignore[arg-type]
    log = load_visits([first, second], drop_columns=["phone"])
    assert log.findings[["rule", "source"]].to_numpy().tolist() == [
        ["unread_columns", 1],
        ["columns_left_out", 2],
    ]


def test_numbers_of_devices_are_never_read_and_a_note_says_so(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD},Lot no.", *(row(i, "9434765919") for i in (1, 2)))
    log = load_visits(path)
    assert log.findings[["rule", "severity", "message"]].to_numpy().tolist() == [
        [
            "device_numbers_not_read",
            "notice",
            "Numbers of devices can lead to the woman, so they are not read: column 'Lot no.'.",
        ]
    ]


@pytest.mark.parametrize("size", [32, 40, 64])
def test_references_that_look_like_a_hash_are_a_warning(tmp_path: Path, size: int) -> None:
    hashes = [f"{number * 0x9E3779B97F4A7C15F39CC0605CEDC834:0{size}x}"[:size] for number in range(1, 9)]
    path = written(tmp_path, HEAD, *(f"{text},2026-07-01,insertion,placed" for text in hashes))
    log = load_visits(path)
    found = log.findings.iloc[0]
    assert found[["rule", "severity", "source", "row", "column"]].tolist() == [
        "unkeyed_hash",
        "warning",
        1,
        0,
        "patient_ref",
    ]
    assert not any(text in found["message"] for text in hashes)


def test_with_a_key_names_of_staff_and_hospital_numbers_are_replaced_and_it_is_said(tmp_path: Path) -> None:
    head = "MRN,visit_date,visit_kind,insertion_outcome,clinician_ref"
    rows = [f"7788{i},2026-07-0{i},insertion,placed,Anna Example" for i in range(1, 9)]
    path = written(tmp_path, head, *rows)
    settings = AuditSettings(layout=Layout(headings={"patient_ref": "MRN"}))
    said = refusal(path, settings=settings)
    assert (
        "column 'MRN' seems to hold hospital record numbers (8 of 8 filled rows; no value is shown)" in said
    )
    assert "column 'clinician_ref' seems to hold names (8 of 8 filled rows)" in said
    assert said.endswith("; or have it replaced by keyed codes with --key FILE (key in Python).")
    log = load_visits(path, settings, key=KEY)
    assert log.findings["rule"].tolist().count("identifiers_replaced") == 2
    outward = log.findings.to_csv() + log.visits.to_csv() + log.patient_refs.to_csv() + repr(log)
    assert "Example" not in outward
    assert "7788" not in outward


def test_a_key_excuses_no_health_number_and_no_address(tmp_path: Path) -> None:
    path = written(tmp_path, f"{HEAD},clinician_ref", row(1, "C1"), row(2, "rose@example.org"))
    assert "e-mail addresses" in refusal(path, key=KEY)
    path = written(tmp_path, HEAD, "943 476 5919,2026-07-01,insertion,placed", *(row(i) for i in range(9)))
    assert "health-service or insurance numbers" in refusal(path, key=KEY)


def test_what_cannot_be_looked_into_is_refused_unless_left_out(tmp_path: Path) -> None:
    table = {
        "patient_ref": ["W1"],
        "visit_date": ["2026-07-01"],
        "visit_kind": ["insertion"],
        "insertion_outcome": ["placed"],
        "extra": [["rose@example.org"]],
    }
    path = tmp_path / "visits.parquet"
    pq.write_table(pa.table(table), path)
    said = refusal(path)
    assert "column 'extra': holds lists, records or bytes (list<" in said
    assert "no column may go unseen" in said
    assert len(load_visits(path, drop_columns=["extra"]).visits) == 1


def test_columns_of_parquet_are_looked_at_too(tmp_path: Path) -> None:
    table = {
        "patient_ref": ["W1", "W2"],
        "visit_date": pd.to_datetime(["2026-07-01", "2026-07-02"]),
        "visit_kind": ["insertion"] * 2,
        "insertion_outcome": ["placed"] * 2,
        "seen": pd.to_datetime(["1990-04-03", "1985-12-11"]),
    }
    pd.DataFrame(table).to_parquet(tmp_path / "visits.parquet")
    assert "column 'seen' seems to hold dates of birth (2 of 2 filled rows" in refusal(
        tmp_path / "visits.parquet"
    )


@pytest.mark.parametrize(
    "first",
    [
        "rose@example.org,2026-07-01,insertion,placed",
        "W1,01/07/2026,insertion,placed",
        "W1,insertion,07700 900123,x",
    ],
)
def test_a_file_without_headings_shows_nothing_of_its_first_row(tmp_path: Path, first: str) -> None:
    said = refusal(written(tmp_path, first, row(2)))
    assert said == (
        "visits.csv: line 1 seems to hold data where the headings should be (not shown). "
        "Put headings such as patient_ref, visit_date and visit_kind above the rows and run again."
    )


def test_headings_alone_are_no_reason_to_refuse(tmp_path: Path) -> None:
    assert len(load_visits(written(tmp_path, f"{HEAD},Surname,DOB")).visits) == 0


@given(st.text(min_size=1, max_size=60))
def test_masking_never_returns_a_value(text: str) -> None:
    shape = masked(text)
    assert len(shape) <= 20
    # Of letters and digits none but a and 9 is left, whatever the script.
    assert {character for character in shape if character.isalnum()} <= {"a", "9"}
    if any(character.isalnum() and character not in "a9" for character in text[:20]):
        assert shape != text[:20]


@given(st.text(alphabet="0123456789 -@./aeW", min_size=1, max_size=30))
def test_a_label_shows_no_heading_that_looks_like_data(heading: str) -> None:
    label = column_label(6, heading)
    if looks_like_data(heading) or sum(character.isdigit() for character in heading) >= 3:
        assert label == f"column 7 (headed '{masked(heading)}')"
