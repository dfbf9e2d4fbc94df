"""Records counted in the bytes, worked by hand and against Python's own csv module."""

import csv
import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.errors import UnreadableFile
from audit.ingest.structure import find_records


def test_a_quoted_line_end_belongs_to_its_record() -> None:
    records = find_records(b'a,b\n1,"x\ny"\n2,z\n', ",", where="v.csv")
    assert records.lines.tolist() == [1, 2, 4]
    assert records.spans.tolist() == [1, 2, 1]
    assert records.fields.tolist() == [2, 2, 2]


def test_a_delimiter_in_quotes_separates_nothing_and_a_doubled_quote_closes_nothing() -> None:
    records = find_records(b'a,b\n1,"x, ""y"", z"\n2,\n', ",", where="v.csv")
    assert records.fields.tolist() == [2, 2, 2]


def test_a_quote_inside_a_plain_value_is_a_character() -> None:
    records = find_records(b'a,b\n1,5" sound\n2,"q"\n', ",", where="v.csv")
    assert records.lines.tolist() == [1, 2, 3]


def test_blank_lines_and_lines_of_separators_are_empty() -> None:
    records = find_records(b'a,b\n\n , \n"",""\n,\n1,\n', ",", where="v.csv")
    assert records.empty.tolist() == [False, True, True, True, True, False]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (
            b'a,b\n1,"oops\n2,x\n3,y\n',
            "v.csv, line 2: a quoted value opens and never closes. Close or remove",
        ),
        (
            b'a,b\n1,"oops\n' + b"2,x\n" * 87 + b'90,"end\n',
            "v.csv, line 2: a quoted value runs over 88 lines.",
        ),
        (b'a,b\n1,"oops\n' + b"2,x\n" * 30 + b'9,"\n', "v.csv, line 2: a quoted value runs over 31 lines."),
        (b'a,b\n1,"oops\n2,"x\n', "v.csv, line 2: a quoted value runs over 1 line."),
        (
            b"a,b\n1," + b"x" * (1 << 20) + b"\n",
            "v.csv: line 2 is 1,048,578 bytes long; the limit is 1,048,576.",
        ),
    ],
)
def test_quotes_and_lines_that_would_merge_rows_refuse_the_file(content: bytes, sentence: str) -> None:
    with pytest.raises(UnreadableFile, match=sentence.replace(".", r"\.")):
        find_records(content, ",", where="v.csv")


CELLS = st.text(alphabet='ab ,;"\n\u00e9', max_size=6)


@given(
    st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=8),
    st.sampled_from([",", ";", "\t"]),
)
def test_what_the_csv_module_writes_is_counted_as_it_reads_it(rows: list[list[str]], delimiter: str) -> None:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    records = find_records(text.getvalue().encode(), delimiter, where="v.csv")
    assert records.fields.tolist() == [len(row) for row in rows]
    assert int(records.spans.sum()) == text.getvalue().count("\n")
    assert np.all(records.ends[:-1] == records.starts[1:])
