"""The stock book: read whole, or refused with the line."""

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest

from audit.errors import InputRefused, MissingColumns, UnreadableFile
from audit.ingest.issued import read_issued


@pytest.fixture(autouse=True)
def longest_cell() -> Iterator[None]:
    """The length of a cell that csv begins with; a library that another test loads raises it for the process."""
    before = csv.field_size_limit(131_072)
    yield
    csv.field_size_limit(before)


def book(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "stock.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_months_of_one_site_are_added_up_and_returns_default_to_none(tmp_path: Path) -> None:
    path = book(tmp_path, "month,site_ref,devices_issued\n2026-07,A,10\n2026-07,A,5\n,,\n2026-08,A,4\n")
    assert read_issued(path).to_numpy().tolist() == [["A", "2026-07", 15, 0], ["A", "2026-08", 4, 0]]


def test_returns_are_read_and_a_blank_one_is_none(tmp_path: Path) -> None:
    path = book(
        tmp_path, "\ufeffsite_ref, month ,devices_issued,devices_returned\nA,2026-07,10,2\nB,2026-07,3,\n"
    )
    assert read_issued(path).to_numpy().tolist() == [["A", "2026-07", 10, 2], ["B", "2026-07", 3, 0]]


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        (
            "site_ref,month\nA,2026-07\n",
            MissingColumns,
            r"no column for devices_issued\. Found: site_ref, month",
        ),
        ("", MissingColumns, "Found: nothing"),
        ("site_ref,month,devices_issued\nA,July,3\n", InputRefused, "line 2, month: is not a month"),
        ("site_ref,month,devices_issued\nA,2026-13,3\n", InputRefused, "line 2, month: is not a month"),
        (
            "site_ref,month,devices_issued\nA,2026-07,-3\n",
            InputRefused,
            "line 2, devices_issued: is not a whole",
        ),
        (
            "site_ref,month,devices_issued\n ,2026-07,3\n",
            InputRefused,
            "line 2, site_ref: nothing is written",
        ),
        (
            f"site_ref,month,devices_issued\nA,2026-07,{'3' * 200_000}\n",
            UnreadableFile,
            r"stock\.csv, line \d: cannot be read as a table\. Check the quotes",
        ),
        ("x" * 3_000_000, UnreadableFile, "has a line of more than 1,048,576 bytes"),
        ("W00172,2026-07-01\n", MissingColumns, "Found: a99999, 9999-99-99"),
    ],
)
def test_what_cannot_be_read_is_refused_by_line(
    tmp_path: Path, text: str, error: type[Exception], message: str
) -> None:
    with pytest.raises(error, match=message):
        read_issued(book(tmp_path, text))


def test_a_file_that_is_not_there_or_not_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableFile, match="cannot be read"):
        read_issued(tmp_path / "none.csv")
    (tmp_path / "stock.csv").write_bytes(b"site_ref\xff")
    with pytest.raises(UnreadableFile, match="is not UTF-8"):
        read_issued(tmp_path / "stock.csv")
