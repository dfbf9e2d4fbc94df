"""Whatever the file: every row is accounted for, or the file is refused in words."""

import tempfile
from pathlib import Path

import pandas as pd
from hypothesis import example, given, settings
from hypothesis import strategies as st

from audit.errors import AuditError
from audit.ingest.load import load_visits
from audit.records import VisitLog
from audit.settings import AuditSettings, Layout

HEAD = "patient_ref,visit_date,visit_kind,insertion_outcome,sound_length_mm,clinician_ref,syncope"
CELLS = st.one_of(
    st.sampled_from(
        [
            "",
            "W1",
            "W2",
            "2026-07-01",
            "01/07/2026",
            "insertion",
            "placed",
            "XZ9",
            "75",
            "7,5",
            "yes",
            '"',
            '"a\nb"',
            "\0",
        ]
    ),
    st.text(alphabet='aW1-/ ,;"\n\r\t\u00e9\u200b\ud7ff', max_size=8),
)
ROWS = st.lists(st.lists(CELLS, max_size=9).map(",".join), max_size=8)
GOOD = "W1,2026-07-01,insertion,placed,75,C1,no"


def loaded_or_refused(octets: bytes) -> VisitLog | str:
    """The log of these bytes, or the words that refuse it."""
    rules = AuditSettings(layout=Layout(date_order="day_month_year"), charted_by_exception=("syncope",))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "visits.csv")
        path.write_bytes(octets)
        try:
            return load_visits(path, rules, allow_set_aside=True)
        except AuditError as refusal:
            return str(refusal)


def read(octets: bytes) -> None:
    """Load the bytes as a log and check that its rows add up, or that a sentence refuses it."""
    log = loaded_or_refused(octets)
    if isinstance(log, str):
        assert log.startswith("visits.csv")
        assert log.endswith((".", "?"))
        return
    rows = log.accounting.groupby("disposition")["n"].sum()
    assert rows["in"] == rows["used"] + rows.get("set_aside", 0)
    assert rows["used"] == len(log.visits)
    assert rows.get("set_aside", 0) == len(log.set_aside)
    lines = pd.concat([log.visits["row"], log.set_aside["row"]])
    assert lines.is_unique
    assert log.visits["patient_ref"].isin(log.patient_refs.index).all()


@settings(deadline=None, max_examples=150)
@given(ROWS)
@example(["W1", GOOD, '"', GOOD, '"'])
@example(["", '""', GOOD, ",,,,,,"])
def test_any_rows_under_good_headings_add_up(rows: list[str]) -> None:
    read("\n".join((HEAD, GOOD, *rows)).encode("utf-8"))


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=200))
@example(b"\xff\xfe")
@example(b'"')
@example(b'""')
@example(b"\xef\xbb\xbf")
@example(b"\n,\n")
def test_any_bytes_are_a_log_or_are_refused(octets: bytes) -> None:
    read(octets)


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=80), st.integers(min_value=0, max_value=400))
def test_any_bytes_inside_a_good_log_add_up_or_refuse_it(octets: bytes, place: int) -> None:
    good = "\n".join((HEAD, *(GOOD.replace("W1", f"W{i}") for i in range(8)))).encode()
    read(good[:place] + octets + good[place:])
