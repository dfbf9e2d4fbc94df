"""Headings: which feeds what, and what is said when one is missing."""

import pytest

from audit.errors import InputRefused, MissingColumns
from audit.ingest.delimited import open_delimited
from audit.ingest.layout import match_headings, refuse_unknown_headings
from audit.ingest.masking import shown
from audit.ingest.raw import Source
from audit.settings import Layout


def opened(*lines: str) -> Source:
    """A file of these lines."""
    return open_delimited("\n".join(lines).encode(), where="visits.csv")


def test_headings_match_whatever_their_case_space_and_order() -> None:
    source = opened(" Insertion-Outcome ,VISIT KIND,visit__date,Patient_Ref")
    assert match_headings(source, Layout()) == {
        "patient_ref": 3,
        "visit_date": 2,
        "visit_kind": 1,
        "insertion_outcome": 0,
    }


def test_a_heading_of_the_settings_goes_before_our_own_name() -> None:
    source = opened("patient_ref,visit_date,visit_kind,insertion_outcome,age_years,Age at fit")
    assert match_headings(source, Layout(headings={"age_years": "age at fit"}))["age_years"] == 5


def test_one_heading_may_feed_two_columns() -> None:
    source = opened("patient_ref,visit_date,visit_kind,insertion_outcome,Parity")
    matched = match_headings(source, Layout(headings={"births": "Parity", "parity_text": "Parity"}))
    assert matched["births"] == matched["parity_text"] == 4


def test_a_missing_column_is_named_with_the_nearest_heading_and_what_was_found() -> None:
    source = opened("patient_ref,Date of visit,visit_kind,insertion_outcome,a,b,c")
    with pytest.raises(MissingColumns) as refusal:
        match_headings(source, Layout())
    assert str(refusal.value) == (
        "visits.csv: no column for visit_date. Nearest heading: 'Date of visit'. "
        "Found: patient_ref, Date of visit, visit_kind, insertion_outcome, a and 2 more. "
        "Map it in the settings under [layout.headings]; iud-audit draft-settings proposes how."
    )


def test_a_log_without_any_outcome_is_refused() -> None:
    with pytest.raises(
        MissingColumns, match="no column for an outcome; at least one of insertion_outcome, device_in"
    ):
        match_headings(opened("patient_ref,visit_date,visit_kind"), Layout())


def test_headings_further_down_are_found() -> None:
    source = opened("Report of the clinic", "", "patient_ref,visit_date,visit_kind,insertion_outcome")
    with pytest.raises(
        MissingColumns, match=r"the headings seem to stand on line 3\. Remove the lines above them"
    ):
        match_headings(source, Layout())


def test_a_heading_that_stands_twice_is_refused_by_name() -> None:
    source = opened("patient_ref,visit_date,Visit Date,visit_kind,insertion_outcome")
    with pytest.raises(
        InputRefused, match=r"the heading 'visit_date' stands on 2 columns\. Rename or remove"
    ):
        match_headings(source, Layout())


def test_settings_that_name_a_heading_the_file_lacks_are_refused() -> None:
    source = opened("patient_ref,Date seen,visit_kind,insertion_outcome")
    with pytest.raises(MissingColumns) as refusal:
        refuse_unknown_headings([source], Layout(headings={"visit_date": "Date_sen"}))
    assert str(refusal.value).startswith(
        "visits.csv: no heading 'Date_sen', which the settings name for visit_date. Nearest heading: 'Date seen'."
    )


def test_a_file_without_headings_does_not_show_its_first_row() -> None:
    with pytest.raises(MissingColumns) as refusal:
        match_headings(opened("W00172,2026-07-01,insertion,placed"), Layout())
    assert "W00172" not in str(refusal.value)
    assert "2026" not in str(refusal.value)


def test_a_long_heading_is_cut() -> None:
    assert shown("x" * 50) == "x" * 37 + "..."


def test_the_nearest_heading_is_one_that_is_still_free() -> None:
    with pytest.raises(
        MissingColumns, match=r"no column for visit_date\. Nearest heading: 'Date seen'\. Found: "
    ):
        match_headings(opened("patient_ref,Date seen,visit_kind,insertion_outcome"), Layout())


def test_lines_above_the_headings_are_named_when_the_settings_map_headings_too() -> None:
    source = opened("Report of the clinic", "patient_ref,Date seen,visit_kind,insertion_outcome")
    with pytest.raises(MissingColumns, match="the headings seem to stand on line 2"):
        refuse_unknown_headings([source], Layout(headings={"visit_date": "date seen"}))
