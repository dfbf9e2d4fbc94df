"""Rows as text: the same as Python's own csv module reads, each distinct text once."""

import csv
import datetime
import decimal
import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.ingest.delimited import open_delimited
from audit.ingest.parquet import text_of
from audit.ingest.raw import RawColumn, RawLog
from audit.ingest.read import open_source, read_rows

CELLS = st.text(alphabet='ab0, ;"\n\u00e9|', max_size=6)


def texts(column: RawColumn) -> list[str]:
    """The text of every row."""
    return [column.texts[code] for code in column.codes]


def read(content: str, *positions: int) -> RawLog:
    """The rows of a comma-separated text, some of its columns."""
    source = open_delimited(content.encode(), where="visits.csv")
    return read_rows(source, {f"column {position}": position for position in positions})


@settings(deadline=None, max_examples=300)
@given(st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=12))
def test_the_csv_module_reads_the_same_cells(rows: list[tuple[str, str, str]]) -> None:
    written = io.StringIO()
    csv.writer(written, lineterminator="\n").writerows([("h1", "h2", "h3"), *rows])
    log = read(written.getvalue(), 0, 1, 2)
    kept = [row for row in csv.reader(io.StringIO(written.getvalue())) if "".join(row).strip(' \n",')][1:]
    columns = [texts(log.columns[f"column {position}"]) for position in range(3)]
    assert [list(row) for row in zip(*columns, strict=True)] == kept
    assert log.rows_in == len(kept)
    assert not log.rejected


def test_nothing_becomes_missing_a_number_or_a_date() -> None:
    cells = ["NA", "007", "1E5", "null", "", "2024-01-01", "TRUE", "9007199254740993", " x "]
    log = read("a,b\n" + "".join(f"{cell},1\n" for cell in cells), 0)
    assert texts(log.columns["column 0"]) == cells


def test_columns_nobody_asked_for_stay_unread() -> None:
    log = read("a,b,c\n1,2,3\n", 1)
    assert list(log.columns) == ["column 1"]
    assert log.unread == ("a", "c")


def test_each_distinct_text_stands_once() -> None:
    column = read("a,b\n" + "x,1\ny,1\n" * 1000, 0).columns["column 0"]
    assert sorted(column.texts) == ["x", "y"]
    assert column.codes.dtype == np.int32


def test_a_file_larger_than_a_block_keeps_its_rows_and_lines() -> None:
    rows = 60_000
    body = "".join(f'W{i},"{"x" * 400}\n{i}"\n' for i in range(rows))
    log = read("a,b\n" + body, 0, 1)
    assert len(body) > 16 << 20
    assert texts(log.columns["column 0"]) == [f"W{i}" for i in range(rows)]
    assert log.lines.tolist() == list(range(2, 2 * rows + 2, 2))


def test_the_content_decides_the_form_not_the_name(tmp_path: Path) -> None:
    (tmp_path / "log.parquet").write_text("a,b\n1,2\n", encoding="utf-8")
    assert open_source(tmp_path / "log.parquet").form == "delimited"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (float("nan"), ""),
        (2, "2"),
        (2.0, "2"),
        (7.5, "7.5"),
        (-0.0, "0"),
        (True, "yes"),
        (False, "no"),
        (datetime.date(2026, 9, 30), "2026-09-30"),
        (datetime.datetime(2026, 9, 30, 23, 59), "2026-09-30"),
        (decimal.Decimal("7.50"), "7.50"),
        ("NA", "NA"),
    ],
)
def test_a_typed_value_takes_the_form_it_has_in_a_csv(value: object, text: str) -> None:
    assert text_of(value) == text
