"""Every rule of plausibility: a log that breaks it, and a like one that does not."""

from pathlib import Path

import pandas as pd
import pytest

from audit.ingest.checks import check_visits
from audit.ingest.load import load_visits

HEAD = "patient_ref,visit_date,visit_kind,insertion_outcome,clinician_ref,site_ref"


def found(folder: Path, *rows: str) -> list[tuple[str, int, str]]:
    """Rule, line and column of what the checks say of these rows."""
    path = folder / "visits.csv"
    path.write_text("\n".join((HEAD, *rows)) + "\n", encoding="utf-8")
    findings = check_visits(load_visits(path).visits)
    assert list(findings.columns) == ["rule", "severity", "source", "row", "column", "message"]
    return list(findings[["rule", "row", "column"]].itertuples(index=False, name=None))


def visit(
    woman: int, date: str = "2026-07-01", clinician: str = "C1", kind: str = "insertion", site: str = "A"
) -> str:
    """One row."""
    return f"W{woman},{date},{kind},{'placed' if kind == 'insertion' else ''},{clinician},{site}"


def test_an_ordinary_log_has_no_findings(tmp_path: Path) -> None:
    assert (
        found(tmp_path, visit(1), visit(2), visit(3, "2026-08-01"), visit(1, "2026-08-01", kind="follow_up"))
        == []
    )


def test_a_lonely_visit_more_than_a_year_after_all_others_is_doubtful(tmp_path: Path) -> None:
    assert found(tmp_path, visit(1), visit(2, "2027-07-01"), visit(3, "2028-07-02")) == [
        ("visit_long_after_the_others", 4, "visit_date")
    ]


def test_a_gap_of_just_a_year_and_a_service_that_went_on_after_a_pause_are_not(tmp_path: Path) -> None:
    assert found(tmp_path, visit(1), visit(2, "2027-07-01")) == []
    assert found(tmp_path, visit(1), visit(2, "2027-08-01"), visit(3, "2027-08-02")) == []


def test_two_different_visits_of_one_kind_on_one_day_are_doubtful(tmp_path: Path) -> None:
    rows = found(tmp_path, visit(1), visit(1, site="B"), visit(2))
    assert rows == [("same_day_same_kind", 2, "visit_kind"), ("same_day_same_kind", 3, "visit_kind")]


def test_a_second_insertion_by_another_clinician_is_a_take_over_and_no_doubt(tmp_path: Path) -> None:
    assert found(tmp_path, visit(1), visit(1, clinician="C2"), visit(2), visit(3)) == []


@pytest.mark.parametrize(("first", "second"), [("DR-01", "DR01"), ("dr 01", "DR 01"), ("Dr.01", "dr_01")])
def test_staff_codes_that_differ_only_in_case_space_or_hyphen_are_doubtful(
    tmp_path: Path, first: str, second: str
) -> None:
    rows = [visit(i, clinician=first) for i in (1, 2, 3)] + [visit(i, clinician=second) for i in (4, 5, 6)]
    assert found(tmp_path, *rows) == [("alike_staff_codes", 5, "clinician_ref")]


def test_different_staff_codes_are_not_alike(tmp_path: Path) -> None:
    rows = [visit(i, clinician="C1") for i in (1, 2, 3)] + [visit(i, clinician="C11") for i in (4, 5, 6)]
    assert found(tmp_path, *rows) == []


def test_a_code_of_two_alphabets_is_doubtful_and_one_of_a_single_alphabet_is_not(tmp_path: Path) -> None:
    mixed = [visit(i, clinician="\u0410B1") for i in (1, 2, 3)]
    assert found(tmp_path, *mixed) == [("mixed_scripts", 2, "clinician_ref")]
    assert found(tmp_path, *(visit(i, clinician="\u0410\u04111") for i in (1, 2, 3))) == []


def test_a_place_encoded_twice_is_doubtful_and_an_accent_is_not(tmp_path: Path) -> None:
    twice = "Caf\u00e9".encode().decode("cp1252")
    assert found(tmp_path, *(visit(i, site=twice) for i in (1, 2, 3))) == [("twice_encoded", 2, "site_ref")]
    assert found(tmp_path, *(visit(i, site="\u00c3rhus Caf\u00e9") for i in (1, 2, 3))) == []


def test_many_clinicians_with_one_attempt_each_suggest_the_wrong_column(tmp_path: Path) -> None:
    rows = [visit(i, clinician=f"X{i}") for i in range(1, 9)]
    assert found(tmp_path, *rows) == [("few_attempts_per_clinician", 0, "clinician_ref")]


def test_no_finding_names_a_woman_a_date_or_a_clinician(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    rows = [
        visit(1),
        visit(1, site="B"),
        *(visit(i, clinician=f"zz-{i}") for i in range(2, 9)),
        visit(9, "2030-01-01", "ZZ2"),
    ]
    path.write_text("\n".join((HEAD, *rows)) + "\n", encoding="utf-8")
    messages = " ".join(load_visits(path).findings["message"])
    assert not any(text in messages for text in ("W1", "W9", "2030", "2026", "zz-2", "ZZ2"))


def test_an_empty_table_has_no_findings() -> None:
    visits = pd.DataFrame(
        {
            "patient_ref": pd.Series(dtype="int64"),
            "visit_date": pd.Series(dtype="datetime64[ns]"),
            "visit_kind": pd.Categorical([]),
            "source": pd.Series(dtype="int64"),
            "row": pd.Series(dtype="int64"),
        }
    )
    assert check_visits(visits).empty
