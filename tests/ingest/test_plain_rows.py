"""A plain file is read in one pass; the same file with one quoted heading is walked byte by byte: same rows."""

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.ingest.delimited import open_delimited
from audit.ingest.parse import parse_reference, parse_text
from audit.ingest.plain_texts import are_plain
from audit.ingest.raw import RawLog
from audit.ingest.read import read_rows

COLUMNS = {"patient_ref": 0, "visit_date": 1, "visit_kind": 2}
CELL = st.text(alphabet="a1 -;\té\x0b#", max_size=4)
LINE = st.one_of(
    st.lists(CELL, min_size=3, max_size=3).map(",".join),
    st.lists(CELL, max_size=4).map(",".join),
    st.sampled_from(["", ",,", " , ,", ",", "\x00,a,b"]),
)


def rows(content: bytes, columns: dict[str, int] | None = None) -> RawLog:
    """The rows of a file."""
    return read_rows(open_delimited(content, where="visits.csv"), columns or COLUMNS)


def cells(log: RawLog) -> dict[str, list[str]]:
    """The cells of every column."""
    return {name: [raw.texts[code] for code in raw.codes] for name, raw in log.columns.items()}


@given(lines=st.lists(LINE, max_size=8), ended=st.booleans())
@example(lines=["a,b,c", ",,", "d,e,f"], ended=True)
@example(lines=["a,b,c", "d,e"], ended=False)
@example(lines=["a,b,c,", "d,e,f,"], ended=True)
@settings(max_examples=300, deadline=None)
def test_one_pass_reads_the_rows_that_walking_finds(lines: list[str], ended: bool) -> None:
    body = "\n".join(lines) + ("\n" if ended and lines else "")
    plain = rows(f"patient_ref,visit_date,visit_kind\n{body}".encode())
    walked = rows(f'"patient_ref",visit_date,visit_kind\n{body}'.encode())
    assert cells(plain) == cells(walked)
    np.testing.assert_array_equal(plain.lines, walked.lines)
    assert plain.rows_in == walked.rows_in
    assert (plain.rejected, plain.blank_lines) == (walked.rejected, walked.blank_lines)
    assert (plain.unread, plain.cut_short) == (walked.unread, walked.cut_short)


def test_a_row_blank_in_every_column_read_but_filled_in_another_is_a_row() -> None:
    log = rows(b"patient_ref,visit_date,visit_kind\na,b,c\n,,d\n", {"patient_ref": 0, "visit_date": 1})
    assert (log.rows_in, cells(log)["patient_ref"], log.unread) == (2, ["a", ""], ("visit_kind",))


def test_a_line_of_separators_is_counted_as_blank_and_moves_no_line_number() -> None:
    log = rows(b"patient_ref,visit_date,visit_kind\na,b,c\n , ,\nd,e,f\n")
    assert (log.lines.tolist(), dict(log.blank_lines)) == ([2, 4], {"only_separators": 1})


@given(text=st.text(alphabet="aZ09-_/ .+E#\u00a0\u200bn", max_size=6))
@example(text="n/a")
@example(text="unknown")
@example(text="9E+15")
@example(text="a\n")
def test_a_plain_text_says_what_is_written(text: str) -> None:
    if are_plain([text])[0]:
        assert parse_text(text) == parse_reference(text) == (text, "", "")


def test_words_for_nothing_are_not_plain() -> None:
    assert are_plain(["N/A", "Unknown", "#REF!", "", "a" * 1001, "W1"]).tolist() == [False] * 5 + [True]
