"""How large a log may be: what is beyond is refused in one sentence, soon and without filling the memory."""

import json
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from audit.errors import UnreadableFile
from audit.ingest import limits
from audit.ingest.load import load_visits
from audit.ingest.read import open_source

HEAD = b"patient_ref,visit_date,visit_kind,insertion_outcome\n"
ROW = b"W1,2026-07-01,insertion,placed\n"


def short_rows(path: Path) -> Path:
    """A CSV of one row too many, each as short as a row can be."""
    path.write_bytes(HEAD + b",,,\n" * (limits.MAX_ROWS + 1))
    return path


def old_rows(path: Path) -> Path:
    """The same with the line ends of an old Macintosh."""
    path.write_bytes((HEAD + b",,,\n" * (limits.MAX_ROWS + 1)).replace(b"\n", b"\r"))
    return path


def resources(path: Path) -> Path:
    """NDJSON of one resource too many."""
    path.write_bytes(b'{"resourceType":"Encounter"}\n' + b"{}\n" * (limits.MAX_ROWS + 1))
    return path


def packed_rows(path: Path) -> Path:
    """Parquet of one row too many: a few kilobytes."""
    text = pa.DictionaryArray.from_arrays(np.zeros(limits.MAX_ROWS + 1, dtype=np.int32), pa.array(["x"]))
    pq.write_table(pa.table({"patient_ref": text}), path)
    return path


def packed_cells(path: Path) -> Path:
    """Parquet of many rows of many empty columns: some kilobytes, and gigabytes once it is read."""
    nothing = pa.nulls(2_000_000, pa.string())
    pq.write_table(pa.table({f"c{number}": nothing for number in range(300)}), path)
    return path


def wide(path: Path) -> Path:
    """Parquet of 501 columns."""
    pq.write_table(pa.table({f"c{number}": ["x"] for number in range(501)}), path)
    return path


def a_long_text(path: Path) -> Path:
    """Parquet with one value that is packed well: some kilobytes, and over 2 GiB once it is read."""
    value = pa.array(["x" * (512 << 20)])
    schema = pa.schema({"patient_ref": pa.string()})
    with pq.ParquetWriter(
        path, schema, compression="zstd", use_dictionary=False, write_statistics=False
    ) as writer:
        for _ in range(5):
            writer.write_table(pa.table({"patient_ref": value}))
    return path


def sparse(path: Path) -> Path:
    """A file that says it is 3 GiB large, and takes no room."""
    with path.open("wb") as file:
        file.write(HEAD)
        file.truncate(3 << 30)
    return path


def one_bundle(path: Path) -> Path:
    """A Bundle over many short lines, too large to be parsed in one piece."""
    path.write_bytes(b'{"resourceType":\n' + b"\n".join([b" " * 1000] * 68_000) + b'"Bundle"}')
    return path


def one_resource(path: Path) -> Path:
    """NDJSON with one resource without end."""
    path.write_bytes(b'{"resourceType":"Encounter","x":"' + b"x" * (130 << 20) + b'"}\n')
    return path


@pytest.mark.parametrize(
    ("write", "sentence"),
    [
        (
            short_rows,
            "has 5,000,002 lines; the limit is 5,000,000 and a line of headings. Is this one clinic's",
        ),
        (
            old_rows,
            "has 5,000,002 lines; the limit is 5,000,000 and a line of headings. Is this one clinic's",
        ),
        (
            resources,
            "has 5,000,002 lines; the limit is 5,000,000 and a line of headings. Is this one clinic's",
        ),
        (
            packed_rows,
            "has 5,000,001 rows; the limit is 5,000,000. Is this one clinic's log? If it is, export",
        ),
        (
            packed_cells,
            "has 2,000,000 rows of 300 columns; the limit is 500,000,000 values. Take out the colu",
        ),
        (wide, "has 501 columns; the limit is 500. Take out those that do not belong to the log."),
        (sparse, "is 3,072 MB large; the limit is 2,048 MB. Is this one clinic's log?"),
        (
            one_bundle,
            "is one piece of 64 MB; the limit is 64 MB. Export it as NDJSON, one resource per line.",
        ),
        (
            one_resource,
            "has a line of more than 67,108,864 bytes. Export it as NDJSON, one resource per line.",
        ),
    ],
)
def test_a_file_larger_than_a_log_is_refused_before_it_is_read(
    tmp_path: Path, write: Callable[[Path], Path], sentence: str
) -> None:
    with pytest.raises(UnreadableFile) as refusal:
        load_visits(write(tmp_path / "visits.log"))
    assert str(refusal.value).startswith(f"visits.log: {sentence}")


@pytest.mark.parametrize("line_end", [b"\n", b"\r", b"\r\n"])
def test_as_many_rows_as_are_allowed_are_let_in_and_not_one_more(tmp_path: Path, line_end: bytes) -> None:
    path = tmp_path / "visits.csv"
    allowed = (HEAD + b",,,\n" * limits.MAX_ROWS).replace(b"\n", line_end)
    for octets in (allowed, allowed.removesuffix(line_end)):
        path.write_bytes(octets)
        assert len(open_source(path).headings) == 4
    path.write_bytes(allowed + b",,,")
    with pytest.raises(UnreadableFile, match="has 5,000,002 lines"):
        open_source(path)


MEASURED = """
import json, pathlib, re, sys, time
from audit.cli import main
begun = time.perf_counter()
code = main(sys.argv[1:])
seconds = time.perf_counter() - begun
# The peak of this process alone; what getrusage tells includes the one that started it.
peak = re.search(r"VmHWM:\\s+([0-9]+)", pathlib.Path("/proc/self/status").read_text())
print(json.dumps([code, seconds, int(peak[1])]))
"""


def measured(path: Path) -> tuple[int, float, int, str]:
    """Exit code, seconds and kilobytes of `check` on a file, and what it says."""
    run = subprocess.run(
        [sys.executable, "-c", MEASURED, "check", str(path)], capture_output=True, text=True, timeout=120
    )
    code, seconds, kilobytes = json.loads(run.stdout)
    return code, seconds, kilobytes, run.stderr


def half_a_gigabyte(head: bytes, tail: bytes) -> Callable[[Path], Path]:
    """A writer of a file with one line of 500 MB."""

    def write(path: Path) -> Path:
        with path.open("wb") as file:
            file.write(head)
            for _ in range(500):
                file.write(b"x" * 1_000_000)
            file.write(tail)
        return path

    return write


def a_million_columns(path: Path) -> Path:
    """A CSV of a million columns."""
    path.write_bytes(b",".join(b"c%d" % number for number in range(1_000_000)) + b"\n")
    return path


def a_bomb(path: Path) -> Path:
    """A workbook of half a megabyte that expands to 500 MB."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", "<workbook/>")
        with archive.open("xl/worksheets/sheet1.xml", "w") as part:
            for _ in range(500):
                part.write(b" " * 1_000_000)
    return path


# A minute in all, most of it spent on writing the files.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("write", "sentence"),
    [
        (half_a_gigabyte(HEAD, b"\n"), "has a line of more than 1,048,576 bytes. Export the log again"),
        (half_a_gigabyte(HEAD + ROW * 9000, b"\n" + ROW), "has a line of more than 1,048,576 bytes."),
        (half_a_gigabyte(b'{"resourceType":"X","x":"', b'"}\n'), "has a line of more than 67,108,864 bytes."),
        (a_million_columns, "has a line of more than 1,048,576 bytes. Export the log again"),
        (a_bomb, "expands beyond 200 MB."),
        (a_long_text, "is 2,560 MB large; the limit is 2,048 MB."),
        (sparse, "is 3,072 MB large"),
        (packed_cells, "has 2,000,000 rows of 300 columns"),
        (short_rows, "has 5,000,002 lines"),
    ],
)
def test_a_refusal_takes_less_than_5_seconds_and_1_gigabyte(
    tmp_path: Path, write: Callable[[Path], Path], sentence: str
) -> None:
    code, seconds, kilobytes, said = measured(write(tmp_path / "visits.log"))
    assert code == 3
    assert f"visits.log: {sentence}" in said
    assert seconds < 5
    assert kilobytes < 1_000_000


def test_a_parquet_file_of_two_groups_is_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "visits.parquet"
    table = pa.table(
        {
            "patient_ref": ["A", "B"],
            "visit_date": ["2026-07-01"] * 2,
            "visit_kind": ["insertion"] * 2,
            "insertion_outcome": ["placed", "failed"],
        }
    )
    pq.write_table(table, path, row_group_size=1)
    assert open_source(path).headings == tuple(table.column_names)
    assert load_visits(path).visits["insertion_outcome"].tolist() == ["placed", "failed"]
