"""Whole logs through every step, each worked by hand."""

import hashlib
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from audit.errors import InputRefused, MissingColumns, SettingsError, UnreadableFile
from audit.ingest.accounting import account_rows
from audit.ingest.layout import match_headings
from audit.ingest.load import load_visits
from audit.ingest.read import open_source, read_rows
from audit.ingest.standardise import standardise
from audit.records import VisitLog
from audit.settings import AuditSettings, Layout

HEAD = "patient_ref,visit_date,visit_kind,insertion_outcome"
ROW = "W1,2026-07-01,insertion,placed"


def written(folder: Path, *lines: str, name: str = "visits.csv") -> Path:
    """A file of these lines."""
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    return path


def loaded(
    folder: Path, *lines: str, layout: Layout | None = None, exceptions: tuple[str, ...] = ()
) -> VisitLog:
    """The log of these lines, however much of it must be set aside."""
    settings = AuditSettings(layout=layout or Layout(), charted_by_exception=exceptions)
    return load_visits(written(folder, *lines), settings, allow_set_aside=True)


def counts(log: VisitLog) -> dict[tuple[str, str], int]:
    """The accounting as a mapping."""
    return {(row.disposition, row.reason): row.n for row in log.accounting.itertuples()}


def test_a_small_log_is_read_into_our_types(tmp_path: Path) -> None:
    log = loaded(
        tmp_path,
        f"{HEAD},clinician_ref,age_years,syncope,visit_ref",
        "W2,2026-07-02,Insertion,failed,NA,31,no,V1",
        "W1,2026-07-01,insertion,placed,007,,,",
        "W2,2026-08-02,insertion,placed,NA,31,unknown,V3",
    )
    visits = log.visits
    assert visits["patient_ref"].tolist() == [0, 1, 0]
    assert log.patient_refs.tolist() == ["W2", "W1"]
    assert {name: str(dtype) for name, dtype in visits.dtypes.items()} == {
        "patient_ref": "int64",
        "visit_ref": "object",
        "visit_date": "datetime64[ns]",
        "visit_kind": "category",
        "clinician_ref": "category",
        "age_years": "float64",
        "insertion_outcome": "category",
        "syncope": "boolean",
        "source": "int64",
        "row": "int64",
    }
    assert visits["insertion_outcome"].tolist() == ["failed", "placed", "placed"]
    assert visits["clinician_ref"].tolist() == ["NA", "007", "NA"]
    assert visits["syncope"].tolist() == [False, pd.NA, pd.NA]
    assert visits["visit_ref"].tolist() == ["V1", "", "V3"]
    assert visits["row"].tolist() == [2, 3, 4]
    assert log.data_to == pd.Timestamp("2026-08-02")
    assert counts(log) == {("in", ""): 3, ("used", ""): 3}


def test_the_source_says_what_the_file_was(tmp_path: Path) -> None:
    log = loaded(tmp_path, HEAD, ROW)
    octets = (tmp_path / "visits.csv").read_bytes()
    source = log.sources[0]
    assert (source.name, source.encoding, source.delimiter, source.rows) == ("visits.csv", "utf-8", ",", 1)
    assert (source.sha256, source.size) == (hashlib.sha256(octets).hexdigest(), len(octets))


@pytest.mark.parametrize(
    ("row", "column", "reason", "value"),
    [
        (",2026-07-01,insertion,placed,0", "patient_ref", "blank", ""),
        ("?,2026-07-01,insertion,placed,0", "patient_ref", "blank", "?"),
        ("#REF!,2026-07-01,insertion,placed,0", "patient_ref", "spreadsheet_error", "#aaa!"),
        ("9.00720E+15,2026-07-01,insertion,placed,0", "patient_ref", "spreadsheet_number", "9.99999a+99"),
        ("W9,,insertion,placed,0", "visit_date", "blank", ""),
        ("W9,2026-02-30,insertion,placed,0", "visit_date", "not_a_date", "9999-99-99"),
        ("W9,9999-12-31,insertion,placed,0", "visit_date", "out_of_range", "9999-99-99"),
        ("W9,1900-01-01,insertion,placed,0", "visit_date", "out_of_range", "9999-99-99"),
        ("W9,2026-07-01,,placed,0", "visit_kind", "blank", ""),
        ("W9,2026-07-01,unknown,placed,0", "visit_kind", "unknown", "aaaaaaa"),
        ("W9,2026-07-01,fitting,placed,0", "visit_kind", "unknown_code", "aaaaaaa"),
        ("W9,2026-07-01,insertion,XZ9,0", "insertion_outcome", "unknown_code", "aa9"),
        ("W9,2026-07-01,insertion,placed,5", "vasovagal_grade", "out_of_range", "9"),
        ("W9,2026-07-01,insertion,placed,mild", "vasovagal_grade", "not_a_number", "aaaa"),
        ("W9,2026-07-01,insertion,placed,1.5", "vasovagal_grade", "not_a_whole_number", "9.9"),
    ],
)
def test_a_row_that_cannot_be_used_is_set_aside_with_its_line_and_a_shape(
    tmp_path: Path, row: str, column: str, reason: str, value: str
) -> None:
    log = loaded(tmp_path, f"{HEAD},vasovagal_grade", f"{ROW},0", row, "W2,2026-07-02,insertion,placed,1")
    aside = log.set_aside.iloc[0]
    assert aside[["source", "row", "column", "reason", "value"]].tolist() == [1, 3, column, reason, value]
    assert aside["message"].startswith(f"{column}: ")
    assert counts(log) == {("in", ""): 3, ("used", ""): 2, ("set_aside", reason): 1}


def test_a_row_with_many_faults_is_set_aside_once(tmp_path: Path) -> None:
    log = loaded(tmp_path, HEAD, ROW, ",never,fitting,XZ9")
    assert log.set_aside["reason"].tolist() == ["blank"]


@pytest.mark.parametrize(
    ("column", "value", "rule", "severity"),
    [
        ("age_years", "130", "out_of_range", "warning"),
        ("age_years", "65", "implausible", "notice"),
        ("births", "-1", "out_of_range", "warning"),
        ("births", "1.5", "unreadable_value", "warning"),
        ("syncope", "maybe", "unreadable_value", "warning"),
        ("failure_reason", "bad luck", "unknown_code", "warning"),
        ("referral_date", "2026-13-01", "unreadable_value", "warning"),
        ("last_delivery_date", "9999-12-31", "out_of_range", "warning"),
        ("clinician_ref", "#N/A", "unreadable_value", "warning"),
    ],
)
def test_a_value_that_cannot_be_used_is_unknown_and_reported_by_its_shape(
    tmp_path: Path, column: str, value: str, rule: str, severity: str
) -> None:
    log = loaded(tmp_path, f"{HEAD},{column}", f"{ROW},{value}", "W2,2026-07-02,insertion,placed,")
    finding = log.findings[log.findings["rule"] == rule].iloc[0]
    assert log.visits[column].isna().tolist() == [rule != "implausible", True]
    assert finding[["severity", "source", "row", "column"]].tolist() == [severity, 1, 2, column]
    assert value not in finding["message"]


def test_a_column_on_another_scale_is_not_used_at_all(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed,{pain}" for i, pain in ((1, 75), (2, 60), (3, 8))]
    log = loaded(tmp_path, f"{HEAD},pain_score", *rows)
    assert log.visits["pain_score"].isna().all()
    wrong = log.findings[log.findings["rule"] == "wrong_scale"]
    assert wrong[["source", "row", "column"]].to_numpy().tolist() == [[0, 0, "pain_score"]]
    assert "Declare its unit under [layout.units]" in wrong["message"].iloc[0]


def test_one_score_out_of_range_among_many_is_unknown_alone(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed,{pain}" for i, pain in ((1, 11), (2, 6), (3, 8))]
    log = loaded(tmp_path, f"{HEAD},pain_score", *rows)
    assert log.visits["pain_score"].isna().tolist() == [True, False, False]


def test_a_declared_scale_is_converted(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed,{pain}" for i, pain in ((1, 75), (2, 60), (3, 8))]
    log = loaded(tmp_path, f"{HEAD},pain_score", *rows, layout=Layout(units={"pain_score": "0-100"}))
    assert log.visits["pain_score"].tolist() == pytest.approx([7.5, 6.0, 0.8])


def test_a_sound_length_that_can_only_be_in_cm_is_converted_and_reported(tmp_path: Path) -> None:
    lengths = enumerate(("7.5", "75", "8 cm", "750"), start=1)
    rows = [f"W{i},2026-07-0{i},insertion,placed,{length}" for i, length in lengths]
    log = loaded(tmp_path, f"{HEAD},sound_length_mm", *rows)
    assert log.visits["sound_length_mm"].tolist()[:3] == [75.0, 75.0, 80.0]
    assert pd.isna(log.visits["sound_length_mm"].iloc[3])
    assert log.findings.loc[log.findings["rule"] == "read_as_cm", "row"].tolist() == [2]


def test_a_dilator_of_5_mm_stays_one(tmp_path: Path) -> None:
    assert loaded(tmp_path, f"{HEAD},dilation_max_mm", f"{ROW},5").visits["dilation_max_mm"].tolist() == [5.0]


def test_the_words_of_a_log_are_mapped(tmp_path: Path) -> None:
    layout = Layout(
        headings={"visit_kind": "Type", "visit_date": "Seen on"},
        codes={"visit_kind": {"Fitting": "insertion"}, "insertion_outcome": {"OK": "placed"}},
        date_order="day_month_year",
    )
    log = loaded(
        tmp_path, "patient_ref,Seen on,Type,insertion_outcome", "W1,03/04/2026,fitting,ok", layout=layout
    )
    visit = log.visits.iloc[0]
    assert (visit["visit_kind"], visit["insertion_outcome"]) == ("insertion", "placed")
    assert visit["visit_date"] == pd.Timestamp("2026-04-03")


def test_a_blank_reads_no_only_where_the_settings_say_so_and_on_visits_it_belongs_to(tmp_path: Path) -> None:
    lines = (
        f"{HEAD},perforation_suspected,syncope,vasovagal_grade,resistance_met",
        f"{ROW},,,,",
        "W2,2026-07-02,insertion,placed,sound,unknown,2,firm",
        "W3,2026-07-03,insertion,placed,rubbish,maybe,,",
        "W1,2026-08-03,follow_up,,,,,",
    )
    plain = loaded(tmp_path, *lines)
    assert plain.visits["syncope"].isna().all()
    names = ("perforation_suspected", "syncope", "vasovagal_grade", "resistance_met")
    log = loaded(tmp_path, *lines, exceptions=names)
    assert log.visits["perforation_suspected"].astype(object).fillna("?").tolist() == [
        "no",
        "sound",
        "?",
        "?",
    ]
    assert log.visits["syncope"].tolist() == [False, pd.NA, pd.NA, pd.NA]
    assert log.visits["vasovagal_grade"].fillna(-1).tolist() == [0, 2, 0, -1]
    assert log.visits["resistance_met"].astype(object).fillna("?").tolist() == ["none", "firm", "none", "?"]
    found = log.findings[log.findings["rule"] == "charted_by_exception"].set_index("column")["message"]
    assert found["perforation_suspected"].startswith("perforation_suspected: 1 blank read as no")
    assert found["vasovagal_grade"].startswith("vasovagal_grade: 2 blanks")


def test_charting_a_date_by_exception_makes_no_sense(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match="'referral_date' has no value that means no"):
        loaded(tmp_path, f"{HEAD},referral_date", f"{ROW},", exceptions=("referral_date",))


def test_a_row_that_repeats_another_in_every_column_read_is_used_once(tmp_path: Path) -> None:
    first = written(
        tmp_path, f"{HEAD},age_years,notes", f"{ROW},30,a", "W2,2026-07-01,insertion,placed,,b", name="1.csv"
    )
    second = written(
        tmp_path, f"{HEAD},age_years", "W2,2026-07-01,INSERTION,placed,", f"{ROW},31", name="2.csv"
    )
    log = load_visits([first, second])
    assert log.visits[["source", "row"]].to_numpy().tolist() == [[1, 2], [1, 3], [2, 3]]
    aside = log.set_aside.iloc[0]
    assert aside[["source", "row", "reason"]].tolist() == [2, 2, "duplicate_row"]
    assert aside["message"] == "The same in every column read as line 3 of file 1. Remove one of them."
    assert log.findings.loc[log.findings["rule"] == "same_day_same_kind", "source"].tolist() == [1, 2]


def test_the_same_file_twice_is_not_refused(tmp_path: Path) -> None:
    path = written(tmp_path, HEAD, ROW, "W2,2026-07-02,insertion,failed")
    log = load_visits([path, path])
    assert len(log.visits) == 2
    assert log.set_aside["reason"].tolist() == ["duplicate_row"] * 2


def test_files_may_have_different_columns(tmp_path: Path) -> None:
    first = written(tmp_path, f"{HEAD},age_years", f"{ROW},30", name="insertions.csv")
    second = written(
        tmp_path,
        "patient_ref;visit_date;visit_kind;removal_reason_main;clinician_ref",
        "W1;2027-01-01;removal;bleeding;C1",
        name="removals.csv",
    )
    log = load_visits([first, second])
    assert log.visits["patient_ref"].tolist() == [0, 0]
    assert log.visits["removal_reason_main"].astype(object).fillna("").tolist() == ["", "bleeding"]
    assert log.visits["age_years"].isna().tolist() == [False, True]
    assert [source.delimiter for source in log.sources] == [",", ";"]


def test_rows_after_the_last_day_are_set_aside_and_do_not_refuse_the_log(tmp_path: Path) -> None:
    path = written(tmp_path, HEAD, ROW, "W2,2026-10-01,insertion,placed", "W3,2026-11-01,insertion,placed")
    log = load_visits(path, data_to="2026-09-30")
    assert log.set_aside["reason"].tolist() == ["after_data_to", "after_data_to"]
    assert log.data_to == pd.Timestamp("2026-09-30")


def test_a_log_of_which_too_much_would_be_left_out_is_refused(tmp_path: Path) -> None:
    path = written(
        tmp_path, HEAD, ROW, "W2,never,insertion,placed", ",2026-07-01,insertion,placed", "W3,x,y,z"
    )
    with pytest.raises(InputRefused) as refusal:
        load_visits(path)
    assert str(refusal.value) == (
        "visits.csv: 3 of 4 rows cannot be used, more than the 20% that the settings allow. Most often: "
        "visit_date: is not a date of the calendar (2 rows, first on line 3); patient_ref: nothing is written (1 "
        "row, first on line 4). Correct the log or the settings, or go on without these rows with "
        "--allow-set-aside (allow_set_aside in Python)."
    )
    assert len(load_visits(path, allow_set_aside=True).visits) == 1


def test_headings_only_is_a_log_of_no_visits(tmp_path: Path) -> None:
    log = loaded(tmp_path, f"{HEAD},age_years,syncope,clinician_ref")
    assert len(log.visits) == len(log.set_aside) == len(log.findings) == len(log.patient_refs) == 0
    assert log.visits["visit_date"].dtype == "datetime64[ns]"
    assert log.visits["visit_kind"].cat.categories[0] == "pre_assessment"
    assert pd.isna(log.data_to)
    assert counts(log) == {("in", ""): 0, ("used", ""): 0}
    assert load_visits(tmp_path / "visits.csv", data_to="2026-09-30").data_to == pd.Timestamp("2026-09-30")


def test_a_path_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(
        UnreadableFile, match=r"^nowhere\.csv: cannot be read \(No such file or directory\)\. Check the path"
    ):
        load_visits(tmp_path / "nowhere.csv")


def test_no_path_and_no_day_are_wrong_arguments(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="paths must name at least one file, got none"):
        load_visits([])
    with pytest.raises(ValueError, match="data_to must be a date such as 2026-09-30, got 'soon'"):
        load_visits(written(tmp_path, HEAD, ROW), data_to="soon")


def test_a_heading_the_settings_name_must_be_in_one_of_the_files(tmp_path: Path) -> None:
    first = written(tmp_path, f"{HEAD},Alder", f"{ROW},30", name="1.csv")
    second = written(tmp_path, HEAD, "W2,2026-07-02,insertion,placed", name="2.csv")
    settings = AuditSettings(layout=Layout(headings={"age_years": "Alder"}))
    assert load_visits([first, second], settings).visits["age_years"].isna().tolist() == [False, True]
    with pytest.raises(MissingColumns, match="no heading 'Alder', which the settings name for age_years"):
        load_visits([second], settings)


def test_parquet_gives_the_same_visits_as_its_csv_twin(tmp_path: Path) -> None:
    lines = (
        f"{HEAD},age_years,sound_length_mm,syncope",
        f"{ROW},30,75,yes",
        "W2,2026-07-02,insertion,failed,,72.5,",
    )
    from_csv = loaded(tmp_path, *lines)
    table = pa.table(
        {
            "patient_ref": pa.array(["W1", "W2"]).dictionary_encode(),
            "Visit Date": pa.array(
                [pd.Timestamp("2026-07-01"), pd.Timestamp("2026-07-02")], pa.timestamp("ns")
            ),
            "visit_kind": ["insertion", "insertion"],
            "insertion_outcome": ["placed", "failed"],
            "age_years": pa.array([30.0, None]),
            "sound_length_mm": pa.array([75.0, 72.5]),
            "syncope": pa.array([True, None]),
            "notes": [["a list"], []],
        }
    )
    pq.write_table(table, tmp_path / "visits.parquet")
    # What cannot be looked into may hold anything, so it must be left out by name.
    log = load_visits(tmp_path / "visits.parquet", drop_columns=["notes"])
    pd.testing.assert_frame_equal(log.visits.drop(columns="row"), from_csv.visits.drop(columns="row"))
    assert log.visits["row"].tolist() == [1, 2]
    assert (log.sources[0].encoding, log.sources[0].rows) == ("parquet", 2)
    assert log.findings["message"].tolist() == ["Left out as asked, and not looked at: column 'notes'."]


def test_a_parquet_column_of_lists_or_a_damaged_file_is_refused(tmp_path: Path) -> None:
    lists = pa.table(
        {"patient_ref": ["W1"], "visit_date": [["x"]], "visit_kind": ["a"], "insertion_outcome": ["b"]}
    )
    pq.write_table(lists, tmp_path / "lists.parquet")
    with pytest.raises(UnreadableFile, match=r"column 'visit_date': holds lists, records or bytes \(list<"):
        load_visits(tmp_path / "lists.parquet")
    (tmp_path / "damaged.parquet").write_bytes(b"PAR1 and nothing else")
    with pytest.raises(UnreadableFile, match=r"damaged\.parquet: opens as Parquet but is damaged"):
        load_visits(tmp_path / "damaged.parquet")


def test_shuffled_rows_and_columns_change_nothing_but_the_lines(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed,C{i % 2},{20 + i}" for i in range(1, 8)]
    first = loaded(tmp_path, f"{HEAD},clinician_ref,age_years", *rows)
    turned = [",".join(reversed(row.split(","))) for row in reversed(rows)]
    second = loaded(tmp_path, ",".join(reversed(f"{HEAD},clinician_ref,age_years".split(","))), *turned)
    keep = ["visit_date", "visit_kind", "clinician_ref", "age_years", "insertion_outcome"]
    pd.testing.assert_frame_equal(
        first.visits[keep], second.visits[keep].sort_values("visit_date", ignore_index=True)
    )


def test_just_the_share_that_the_settings_allow_is_not_refused(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed" for i in (1, 2, 3, 4)]
    assert len(load_visits(written(tmp_path, HEAD, *rows, "W5,never,insertion,placed")).visits) == 4


def test_values_below_the_minimum_say_nothing_of_a_scale(tmp_path: Path) -> None:
    rows = [f"W{i},2026-07-0{i},insertion,placed,{births}" for i, births in ((1, -1), (2, -2), (3, 4))]
    log = loaded(tmp_path, f"{HEAD},births", *rows)
    assert log.visits["births"].isna().tolist() == [True, True, False]
    assert log.findings["rule"].tolist() == ["out_of_range", "out_of_range"]


def test_a_clinician_of_rows_set_aside_only_is_no_category(tmp_path: Path) -> None:
    log = loaded(tmp_path, f"{HEAD},clinician_ref", f"{ROW},C1", "W2,never,insertion,placed,C2", f"{ROW},C1")
    assert log.visits["clinician_ref"].cat.categories.tolist() == ["C1"]


def test_rows_that_do_not_add_up_are_a_fault_of_this_package_and_stop_it(tmp_path: Path) -> None:
    source = open_source(written(tmp_path, HEAD, ROW))
    rows = read_rows(source, match_headings(source, Layout()))
    lost = replace(rows, rows_in=2)
    with pytest.raises(RuntimeError, match="row accounting of file 1: 2 rows in, 1 used, 0 set aside"):
        account_rows(
            [lost], standardise([rows], AuditSettings()).visits, loaded(tmp_path, HEAD, ROW).set_aside
        )
