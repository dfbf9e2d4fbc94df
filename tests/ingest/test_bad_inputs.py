"""Files as clinics really send them: each is accepted, partly set aside or refused in a known way."""

import codecs
from pathlib import Path

import pandas as pd
import pytest

from audit.errors import InputRefused, UnreadableFile
from audit.ingest.load import load_visits
from audit.settings import AuditSettings, Layout

GOLDEN = """patient_ref,visit_date,visit_kind,insertion_outcome,clinician_ref,sound_length_mm,site_ref
W1,2026-07-01,insertion,placed,NA,75.5,Caf\u00e9
W2,2026-07-02,insertion,failed,007,,North
W3,2026-07-03,insertion,placed,NA,80,North
"""


def golden(folder: Path) -> pd.DataFrame:
    """The visits of the clean file."""
    return load_visits(saved(folder, GOLDEN.encode(), "golden.csv")).visits


def saved(folder: Path, octets: bytes, name: str = "visits.csv") -> Path:
    """A file of these bytes."""
    (folder / name).write_bytes(octets)
    return folder / name


TWINS = {
    "UTF-16 with tabs": codecs.BOM_UTF16_LE + GOLDEN.replace(",", "\t").encode("utf-16-le"),
    "UTF-8 with a byte-order mark": codecs.BOM_UTF8 + GOLDEN.encode(),
    "Windows-1252": GOLDEN.encode("cp1252"),
    "semicolons and decimal commas": GOLDEN.replace(",", ";").replace("75.5", "75,5").encode(),
    "tabs": GOLDEN.replace(",", "\t").encode(),
    "pipes": GOLDEN.replace(",", "|").encode(),
    "one separator too many on every line": GOLDEN.replace("\n", ",\n").encode(),
    "one separator too many on every row": GOLDEN.replace("Caf\u00e9\n", "Caf\u00e9,\n")
    .replace("North\n", "North,\n")
    .encode(),
    "CR line ends": GOLDEN.replace("\n", "\r").encode(),
    "CRLF and LF line ends": GOLDEN.replace("\n", "\r\n", 2).encode(),
    "no line end at the end": GOLDEN.rstrip("\n").encode(),
    "every value quoted": "\n".join(
        ",".join(f'"{cell}"' for cell in line.split(",")) for line in GOLDEN.splitlines()
    ).encode(),
    "space and no-break space around values": GOLDEN.replace(",", " ,\u00a0").encode(),
    "time and zone in the date": GOLDEN.replace("2026-07-03", "2026-07-03T23:30:00-05:00").encode(),
    "full-width digits": GOLDEN.replace("80", "\uff18\uff10").encode(),
    "spreadsheet decimals": GOLDEN.replace("80", "80.0").encode(),
}


@pytest.mark.parametrize("name", TWINS)
def test_a_twin_of_the_clean_file_gives_the_same_visits(tmp_path: Path, name: str) -> None:
    log = load_visits(saved(tmp_path, TWINS[name]))
    pd.testing.assert_frame_equal(log.visits, golden(tmp_path))
    assert log.set_aside.empty


def test_the_encoding_that_was_assumed_is_reported(tmp_path: Path) -> None:
    log = load_visits(saved(tmp_path, GOLDEN.encode("cp1252")))
    assert log.findings["rule"].tolist() == ["encoding_assumed"]
    assert log.sources[0].encoding == "windows-1252"


@pytest.mark.parametrize(
    ("rows", "aside", "used"),
    [
        (b"W4,2026-07-04,insertion,placed,C1,75,\xe9\n", [(5, "undecodable_bytes")], 3),
        (b"W4,2026-07-04,insertion,placed,C1,75,a\0b\n", [(5, "nul_byte")], 3),
        (b"W4,2026-07-04\n", [(5, "wrong_number_of_values")], 3),
        (b"W4,2026-07-04,insertion,placed,C1,75,x,\n", [(5, "wrong_number_of_values")], 3),
        (
            b"\n\nW4\n\n,,,,,,\nW5,2026-07-04,insertion,placed,C1,75,x,y\n",
            [(7, "wrong_number_of_values"), (10, "wrong_number_of_values")],
            3,
        ),
        (b'W4,"2026-07-04,insertion\nW5,2026-07-04,insertion,placed,C1,75,"x"\n', None, 0),
        (b'W4,"2026-07-04,insertion\nW5",placed\n', [(5, "joined_by_quotes"), (6, "joined_by_quotes")], 3),
        (b'W4,2026-07-04,insertion,placed,C1,75,"two\nlines"\n', [], 4),
        (b'W4,2026-07-04,insertion,placed,C1,75,"a, b"\n', [], 4),
        (b'W4,2026-07-04,insertion,placed,C1,75,5" sound\n', [], 4),
        (b'W4,2026-07-04,"inser"tion,placed,C1,75,x\n', [], 4),
        (b"mm,0-10,text,text,text,mm,text\n", [(5, "not_a_date")], 3),
    ],
)
def test_a_spoilt_row_is_set_aside_alone_with_its_own_line(
    tmp_path: Path, rows: bytes, aside: list[tuple[int, str]] | None, used: int
) -> None:
    path = saved(tmp_path, GOLDEN.encode() + rows)
    if aside is None:
        with pytest.raises(
            UnreadableFile, match=r"line 5: a quoted value runs over 1 line\. Check the quotes"
        ):
            load_visits(path, allow_set_aside=True)
        return
    log = load_visits(path, allow_set_aside=True)
    assert list(log.set_aside[["row", "reason"]].itertuples(index=False, name=None)) == aside
    assert len(log.visits) == used


def test_an_extra_value_on_every_row_is_no_trailing_separator(tmp_path: Path) -> None:
    path = saved(
        tmp_path, GOLDEN.replace("Caf\u00e9\n", "Caf\u00e9,x\n").replace("North\n", "North,y\n").encode()
    )
    assert (
        load_visits(path, allow_set_aside=True).set_aside["reason"].tolist() == ["wrong_number_of_values"] * 3
    )


def test_blank_lines_are_counted_and_are_no_rows(tmp_path: Path) -> None:
    log = load_visits(saved(tmp_path, b"\n,,\n" + GOLDEN.encode() + b"\n \n,,,,,,\n"))
    blank = log.accounting[log.accounting["disposition"] == "blank_line"]
    assert dict(zip(blank["reason"], blank["n"], strict=True)) == {"blank": 3, "only_separators": 2}
    assert log.visits["row"].tolist() == [4, 5, 6]
    assert log.sources[0].rows == 3


def test_a_file_cut_short_says_so(tmp_path: Path) -> None:
    log = load_visits(saved(tmp_path, GOLDEN.encode() + b"W4,2026-07-0"), allow_set_aside=True)
    assert log.set_aside[["row", "reason"]].to_numpy().tolist() == [[5, "wrong_number_of_values"]]
    assert "file_cut_short" in log.findings["rule"].tolist()


@pytest.mark.parametrize(
    ("octets", "sentence"),
    [
        (
            GOLDEN.encode() + b'W4,"oops\nW5,2026-07-04,insertion,placed,C1,75,x\n',
            "line 5: a quoted value opens and never closes",
        ),
        (
            GOLDEN.encode() + b'W4,"oops\n' + b"x\n" * 87 + b'W9,"a\n',
            "line 5: a quoted value runs over 88 lines",
        ),
        (b",".join(b"c%d" % i for i in range(501)) + b"\n", "has 501 columns; the limit is 500"),
        (b",".join(b"c%d" % i for i in range(300_000)) + b"\n", "has a line of more than 1,048,576 bytes"),
        (
            GOLDEN.encode() + b"x" * ((1 << 20) + 1) + b"\n",
            "line 5 is 1,048,577 bytes long; the limit is 1,048,576",
        ),
        (b",,,\n;;\n", "has no line of headings"),
        (b'"patient_ref,visit_date\n' + b"x,y\n" * 30, "a quoted heading opens and does not close"),
    ],
)
def test_a_file_whose_rows_cannot_be_told_apart_is_refused(
    tmp_path: Path, octets: bytes, sentence: str
) -> None:
    with pytest.raises(UnreadableFile) as refusal:
        load_visits(saved(tmp_path, octets))
    assert sentence in str(refusal.value)
    assert str(refusal.value).startswith("visits.csv")


def test_a_heading_may_run_over_two_lines_in_quotes(tmp_path: Path) -> None:
    text = GOLDEN.replace("sound_length_mm", '"sound\nlength mm"')
    log = load_visits(saved(tmp_path, text.encode()))
    assert log.visits["row"].tolist() == [3, 4, 5]
    assert log.visits["sound_length_mm"].tolist()[0] == 75.5


def dated(folder: Path, *dates: str) -> Path:
    """A file with these visit dates."""
    rows = (f"W{i},{date},insertion,placed\n" for i, date in enumerate(dates))
    return saved(folder, ("patient_ref,visit_date,visit_kind,insertion_outcome\n" + "".join(rows)).encode())


def test_ambiguous_dates_are_never_guessed(tmp_path: Path) -> None:
    with pytest.raises(InputRefused) as refusal:
        load_visits(dated(tmp_path, "03/04/2024", "05/06/2024", "2024-04-03"))
    assert str(refusal.value) == (
        "visit_date: 2 of 3 dates have day and month by number, and nothing says which comes first. "
        'Set date_order = "day_month_year" or "month_day_year" in the settings under [layout].'
    )


def test_two_orders_in_one_column_are_refused_with_the_lines_of_each(tmp_path: Path) -> None:
    path = dated(tmp_path, "13/04/2024", "04/13/2024", "01/02/2024")
    with pytest.raises(
        InputRefused, match=r"the declared one \(line 2, 4\) and the other \(line 3\)\. Write all"
    ):
        load_visits(path, AuditSettings(layout=Layout(date_order="day_month_year")))


def test_one_date_in_the_other_order_among_many_is_set_aside(tmp_path: Path) -> None:
    path = dated(tmp_path, *(f"{day:02}/04/2024" for day in range(1, 25)), "04/13/2024")
    log = load_visits(path, AuditSettings(layout=Layout(date_order="day_month_year")))
    assert log.set_aside[["row", "reason"]].to_numpy().tolist() == [[26, "other_date_order"]]


def test_two_women_with_16_digit_numbers_stay_two(tmp_path: Path) -> None:
    head = b"patient_ref,visit_date,visit_kind,insertion_outcome\n"
    rows = b"9007199254740993,2026-07-01,insertion,placed\n9007199254740992,2026-07-01,insertion,placed\n"
    assert load_visits(saved(tmp_path, head + rows)).patient_refs.tolist() == [
        "9007199254740993",
        "9007199254740992",
    ]


def test_no_message_holds_a_reference_a_date_or_a_text_of_the_log(tmp_path: Path) -> None:
    rows = (
        "Sarah1,2026-99-01,insertion,placed,Zoe,75,x\n"
        "Sarah2,2026-07-01,insertion,Sarah fell,Zoe,75,x\n"
        "Sarah3,2026-07-01,insertion,placed,Zoe,Sarah,x\n"
        "Sarah4,2026-07-01\n"
        "Sarah5,2026-07-01,insertion,placed,Zoe,9999,x\n"
    )
    log = load_visits(saved(tmp_path, GOLDEN.encode() + rows.encode()), allow_set_aside=True)
    printed = log.set_aside.astype(str).to_csv() + log.findings.astype(str).to_csv() + repr(log)
    assert len(log.set_aside) == 3
    # repr of the log prints its visits, which hold running numbers and dates but no reference.
    assert not any(text in printed for text in ("Sarah", "2026-99", "9999,x"))
