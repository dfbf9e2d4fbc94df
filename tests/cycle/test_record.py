"""The record of an earlier audit: what goes out comes back, and what is no record is refused in a sentence."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.cycle import read_record
from audit.errors import RecordRefused
from reports.export import record_text

Make = Callable[..., Any]
GIVE = "Give the record.json that an earlier audit wrote."


@pytest.fixture
def written(make_audit: Make, tmp_path: Path) -> Callable[..., Path]:
    """Write an audit's record, changed as asked."""

    def write(tables: dict[str, pd.DataFrame] | None = None, /, **changes: object) -> Path:
        data = json.loads(record_text(make_audit(tables or {}))) | changes
        path = tmp_path / "record.json"
        path.write_text(json.dumps(data), encoding="utf-8")
        return path

    return write


def test_a_table_comes_back_with_its_values_and_dtypes(written: Callable[..., Path]) -> None:
    table = pd.DataFrame(
        {
            "by": ["overall", None],
            "n": pd.Series([3, 4], dtype="int64"),
            "proportion": [0.1, float("nan")],
            "nothing": [float("nan"), float("nan")],
            "flag": pd.array([True, None], dtype="boolean"),
            "day": pd.to_datetime(["2026-07-01", None]),
            "kind": pd.Categorical(["a", "b"]),
        }
    )
    record = read_record(written({"some": table, "empty": table.iloc[:0]}))
    expected = table.assign(kind=["a", "b"])
    pd.testing.assert_frame_equal(record.tables["some"], expected)
    assert list(record.tables["empty"].columns) == list(table.columns)
    assert record.tables["empty"]["n"].dtype == "int64"
    assert record.period.label == "2026-Q3"
    assert record.period.last_day == pd.Timestamp("2026-09-30")
    assert record.data_to == pd.Timestamp("2026-10-14")


def test_single_visits_and_single_clinicians_are_left_behind(written: Callable[..., Path]) -> None:
    visits = pd.DataFrame({"need": ["x"], "visit_ref": ["V1"]})
    lines = pd.DataFrame({"rule": ["x"], "row": [4]})
    people = pd.DataFrame({"by": ["clinician_ref", "overall"], "stratum": ["C1", "overall"], "n": [1, 2]})
    record = read_record(written({"action_list": visits, "query_list": lines, "kept": people}))
    assert list(record.tables) == ["kept"]
    assert record.tables["kept"]["stratum"].tolist() == ["overall"]


def refusal(path: Path) -> str:
    """What is said of a file."""
    with pytest.raises(RecordRefused) as refused:
        read_record(path)
    return str(refused.value)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.json") == (
        "none.json: cannot be read (No such file or directory). Check the path."
    )


@pytest.mark.parametrize("content", [b"", b"not json", b"\xff\xfe\x00", b"[" * 100_000])
def test_what_is_not_json_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "record.json"
    path.write_bytes(content)
    assert refusal(path) == f"record.json: is not JSON. {GIVE}"


@pytest.mark.parametrize("content", ["[]", "3", "{}", '{"record": "another tool", "record_version": 2}'])
def test_json_of_another_making_is_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "record.json"
    path.write_text(content, encoding="utf-8")
    assert refusal(path) == f"record.json: is no record of this tool. {GIVE}"


def test_a_record_of_another_form_is_refused(written: Callable[..., Path]) -> None:
    assert refusal(written(record_version=1)) == (
        "record.json: is a record of form 1, and this version reads form 2. "
        "Run that audit again with this version."
    )


TABLE = {"some": pd.DataFrame({"by": ["overall"], "n": [3]})}


@pytest.mark.parametrize(
    "changes",
    [
        {"period": None},
        {"period": {"label": "x", "first_day": "soon", "last_day": "later"}},
        {"service": 3},
        {"versions": []},
        {"tables": {"some": [{"by": "overall"}]}},
        {"tables": {"some": [{"by": "overall", "n": "three"}]}},
        {"tables": {"some": [{"by": [1], "n": 3}]}},
        {"tables": {"other": []}},
        {"tables": {"some": [3]}},
        {"tables": []},
        {"columns": {"some": {"by": "text", "n": "colour"}}},
        {"columns": None},
        {"data_to": 5},
    ],
    ids=str,
)
def test_a_record_that_was_changed_by_hand_is_refused_and_never_a_fault(
    written: Callable[..., Path], changes: dict[str, object]
) -> None:
    assert refusal(written(TABLE, **changes)) == f"record.json: is not whole, or was changed by hand. {GIVE}"


def test_the_record_of_an_empty_log_has_no_freeze(written: Callable[..., Path]) -> None:
    assert pd.isna(read_record(written(data_to=None)).data_to)


def test_a_record_says_what_its_figures_counted(written: Callable[..., Path]) -> None:
    assert re.fullmatch(r"1\.[0-9a-f]{8}", read_record(written()).definitions_version)
