"""Files as clinics really send them: each is accepted, partly set aside or refused in a known way."""

import codecs
import csv
import hashlib
import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from audit.cli import main
from audit.cohort import derive_cohort
from audit.errors import AuditError, InputRefused, SettingsError, UnreadableFile
from audit.ingest.load import load_visits
from audit.run import run_audit
from audit.settings import AuditSettings, Layout, read_settings, settings_from
from synthetic_data.demo import DEMO_PERIOD, write_demo

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


# Every case of the list in data/bad_inputs.csv, through the public doors

CASES_FILE = Path(__file__).parent / "data" / "bad_inputs.csv"
LISTED = {
    row["id"]: row["disposition"]
    for row in csv.DictReader(CASES_FILE.read_text(encoding="utf-8").splitlines())
}
DAY_FIRST = {"layout": {"date_order": "day_month_year"}}


def visit(woman: int | str = 90, **changes: object) -> dict[str, object]:
    """An insertion in July, or what else the changes make of it."""
    plain = {"patient_ref": f"W{woman}", "visit_date": "2026-07-20", "visit_kind": "insertion"}
    return {**plain, "insertion_outcome": "placed", "clinician_ref": "C1", **changes}


def contact(woman: int | str = 90, **changes: object) -> dict[str, object]:
    """A follow-up in September, or what else the changes make of it."""
    return visit(
        woman, **{"visit_date": "2026-09-01", "visit_kind": "follow_up", "insertion_outcome": "", **changes}
    )


def thrice(*clinicians: str) -> list[dict[str, object]]:
    """Three visits of each clinician, in turn: fewer would make one ask for the column."""
    return [visit(90 + n, clinician_ref=code) for n, code in enumerate(clinicians * 3)]


ORDINARY = [visit(n, visit_date=f"2026-07-{n:02}") for n in range(1, 13)]


def table(*more: Mapping[str, object], delimiter: str = ",") -> bytes:
    """Twelve ordinary visits and these, as CSV; the first of these stands on line 14."""
    rows = [*ORDINARY, *more]
    text = io.StringIO()
    names = list(dict.fromkeys(name for row in rows for name in row))
    writer = csv.DictWriter(text, names, restval="", delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


@dataclass(frozen=True)
class Case:
    """A log and all that is to come of it: nothing that is not named here may be said against it.

    `reads` are the values of the last rows of a column; `warned` the rule of a warning or of a notice that asks
    a person to look; `told` that of a notice that says what was done.
    """

    octets: bytes
    refused: str = ""
    aside: tuple[tuple[int, str], ...] = ()
    warned: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    reads: Mapping[str, list[object]] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    data_to: str | None = None

    @property
    def outcome(self) -> str:
        """What the case comes to."""
        found = {"refused": self.refused, "set aside": self.aside, "warned": self.warned}
        return next((name for name, value in found.items() if value), "used")


def golden_again(octets: bytes) -> Case:
    """A file that must give the visits of the clean file."""
    return Case(octets, reads=GOLDEN_VALUES)


GOLDEN_VALUES: dict[str, list[object]] = {
    "insertion_outcome": ["placed", "failed", "placed"],
    "clinician_ref": ["NA", "007", "NA"],
    "sound_length_mm": [75.5, None, 80.0],
    "site_ref": ["Caf\u00e9", "North", "North"],
}
SCRAMBLED = """Site Ref; SOUND LENGTH MM ;clinician-ref;Insertion Outcome;VISIT_KIND;\u00a0Patient_Ref;visit  date
Caf\u00e9;75.5;NA;placed;insertion;W1;2026-07-01
North;;007;failed;insertion;W2;2026-07-02
North;80;NA;placed;insertion;W3;2026-07-03
"""
REMOVED = {"visit_kind": "removal", "removal_reason_main": "pain", "insertion_outcome": ""}


def with_check_digit(nine: str) -> str:
    """Nine figures and their check digit, modulo 11 with the weights 10 to 2; "" where there is none."""
    check = -sum(weight * int(figure) for weight, figure in zip(range(10, 1, -1), nine, strict=True)) % 11
    return "" if check == 10 else f"{nine}{check}"


def by_chance(count: int) -> list[dict[str, object]]:
    """Visits whose references are running 10-digit numbers; about one in eleven has a right check digit."""
    return [visit(patient_ref=str(4_000_000_019 + 37 * n)) for n in range(count)]


HEALTH_NUMBER = next(number for n in range(999) if (number := with_check_digit(f"943476{n:03}")))

CASES: dict[str, tuple[Case, ...]] = {
    "utf-16-with-tabs": (golden_again(TWINS["UTF-16 with tabs"]),),
    "utf-8-with-a-mark": (golden_again(TWINS["UTF-8 with a byte-order mark"]),),
    "one-line-in-another-encoding": (
        Case(
            table(visit(site_ref="Caf\u00e9")) + b"W91,2026-07-20,insertion,placed,C1,\xe9\n",
            aside=((15, "undecodable_bytes"),),
        ),
    ),
    "utf-16-without-a-mark": tuple(
        Case(GOLDEN.encode(name), refused="looks like UTF-16 text without the mark that says so")
        for name in ("utf-16-be", "utf-16-le")
    ),
    "encoded-twice": (
        Case(table(visit(site_ref="Caf\u00e9".encode().decode("cp1252"))), warned=("twice_encoded",)),
    ),
    "ebcdic": (Case(GOLDEN.encode("cp037"), refused="visits.csv: "),),
    "semicolons-and-decimal-commas": (golden_again(TWINS["semicolons and decimal commas"]),),
    "tabs-and-pipes": (golden_again(TWINS["tabs"]), golden_again(TWINS["pipes"])),
    "separator-at-the-end-of-each-row": (
        golden_again(TWINS["one separator too many on every row"]),
        golden_again(TWINS["one separator too many on every line"]),
    ),
    "short-row": (Case(table() + b"W90,2026-07-20,insertion\n", aside=((14, "wrong_number_of_values"),)),),
    "headings-in-other-case-and-order": (golden_again(SCRAMBLED.encode()),),
    "required-column-missing": (
        Case(
            table().replace(b"visit_date", b"visit_dt"),
            refused="no column for visit_date. Nearest heading: 'visit_dt'.",
        ),
    ),
    "second-line-of-headings": (
        Case(GOLDEN.encode().replace(b"\n", b"\n,,,,,mm,\n", 1), aside=((2, "blank"),)),
        Case(
            GOLDEN.encode().replace(b"\n", b"\ntext,date,text,text,text,mm,text\n", 1),
            aside=((2, "not_a_date"),),
        ),
    ),
    "lines-above-the-headings": (
        Case(b"Report run\n03/04/2024\n\n" + table(), refused="the headings seem to stand on line 4"),
    ),
    "blank-lines": (Case(table() + b"\n,,,,\n \n"),),
    "line-end-in-quotes": (
        Case(table(visit(site_ref='North,\n"old" wing')), reads={"site_ref": ['North, "old" wing']}),
    ),
    "mixed-line-ends": (golden_again(TWINS["CR line ends"]), golden_again(TWINS["CRLF and LF line ends"])),
    "cut-short": (
        Case(table() + b"W90,2026-07", aside=((14, "wrong_number_of_values"),), warned=("file_cut_short",)),
    ),
    "clinician-called-na": (Case(table(visit(clinician_ref="NA")), reads={"clinician_ref": ["NA"]}),),
    "no-visit-date": (Case(table(visit(visit_date="")), aside=((14, "blank"),)),),
    "invisible-space": (
        Case(
            table(
                *(
                    visit(n, site_ref=blank, age_years=blank)
                    for n, blank in enumerate((" ", "\u00a0", "\u200b \u200b"), 90)
                )
            ),
            reads={"site_ref": [None] * 3, "age_years": [None] * 3},
        ),
        Case(table(visit(clinician_ref="\u00a0C1 \u200b")), reads={"clinician_ref": ["C1", "C1"]}),
        Case(table(visit(patient_ref=" \u200b")), aside=((14, "blank"),)),
    ),
    "leading-zeros": (
        Case(
            table(*thrice("007", "7")),
            reads={"clinician_ref": ["007", "7"]},
        ),
    ),
    "thousands-separators": tuple(
        Case(table(visit(vasovagal_grade=text)), aside=((14, "not_a_number"),))
        for text in ("1,200", "1 200", "1_000")
    )
    + tuple(
        Case(
            table(visit(weeks_since_delivery=text)),
            warned=("unreadable_value",),
            reads={"weeks_since_delivery": [None]},
        )
        for text in ("1,200", "1 200", "1_000")
    ),
    "digits-of-other-scripts": (
        Case(table(visit(age_years="\u0663\u0661")), reads={"age_years": [31.0]}),
        Case(
            table(visit(visit_date="\uff12\uff10\uff12\uff16-07-20")),
            reads={"visit_date": [pd.Timestamp("2026-07-20")]},
        ),
        Case(table(visit(age_years="3\u00b2")), warned=("unreadable_value",), reads={"age_years": [None]}),
        Case(table(visit(vasovagal_grade="\u00b2")), aside=((14, "not_a_number"),)),
    ),
    "endless-number": (
        Case(table(visit(vasovagal_grade="1" * 5_000)), aside=((14, "too_long"),)),
        Case(table(visit(patient_ref="1" * 5_000)), aside=((14, "too_long"),)),
        Case(table(visit(age_years="1" * 300)), warned=("out_of_range",), reads={"age_years": [None]}),
    ),
    "spreadsheet-error": tuple(
        Case(table(visit(insertion_outcome=text)), aside=((14, "spreadsheet_error"),))
        for text in ("#N/A", "#REF!", "#VALUE!", "####", "#NAME?", "#DIV/0!")
    ),
    "ambiguous-dates": (
        Case(
            table().replace(b"2026-07-", b"05/06/20"),
            refused="visit_date: 12 of 12 dates have day and month by number, and nothing says which comes first",
        ),
    ),
    "two-date-orders": (
        Case(
            table(visit(91, visit_date="13/04/2024"), visit(92, visit_date="04/13/2024")),
            refused="two orders of day and month are used in one column",
            settings=DAY_FIRST,
        ),
    ),
    "iso-dates-among-day-first": (
        Case(
            table(visit(91, visit_date="2024-04-03"), visit(92, visit_date="03/04/2024")),
            reads={"visit_date": [pd.Timestamp("2024-04-03")] * 2},
            told=("dates_fit_either_order",),
            settings=DAY_FIRST,
        ),
    ),
    "day-that-never-was": (
        Case(
            table(visit(91, visit_date="60"), visit(92, visit_date="0")),
            aside=((14, "not_a_date"), (15, "not_a_date")),
        ),
    ),
    "impossible-date": tuple(
        Case(table(visit(visit_date=text)), aside=((14, reason),), settings=DAY_FIRST)
        for text, reason in (
            ("29/02/2023", "not_a_date"),
            ("31/04/2024", "not_a_date"),
            ("00/00/0000", "not_a_date"),
            ("9999-12-31", "out_of_range"),
            ("1900-01-01", "out_of_range"),
        )
    ),
    "after-the-last-day": (
        Case(table(visit(visit_date="2026-10-01")), aside=((14, "after_data_to"),), data_to="2026-09-30"),
        Case(table(visit(visit_date="2062-07-20")), warned=("visit_long_after_the_others",)),
    ),
    "time-and-zone": (
        Case(
            table(
                visit(91, visit_date="2024-03-31T23:30:00-05:00"),
                visit(92, visit_date="2024-03-31 00:30:00+14:00"),
            ),
            reads={"visit_date": [pd.Timestamp("2024-03-31")] * 2},
        ),
    ),
    "month-in-another-language": (
        Case(
            table(visit(91, visit_date="3 marca 2024"), visit(92, visit_date="3. maaliskuuta 2024")),
            aside=((14, "not_a_date"), (15, "not_a_date")),
        ),
    ),
    "date-of-birth": (Case(table(visit(dob="1990-03-04")), refused="seems to hold dates of birth"),),
    "negative-age": (
        Case(table(visit(age_years=-3)), warned=("out_of_range",), reads={"age_years": [None]}),
    ),
    "two-devices-at-once": (
        Case(
            table(visit(visit_date="2026-03-01"), visit(visit_date="2026-07-20")),
            warned=("unrecorded_ending",),
        ),
    ),
    "removal-without-insertion": (Case(table(contact(**REMOVED)), warned=("placed_elsewhere",)),),
    "one-visit-code-on-two-visits": (
        Case(
            table(*(visit(60 + n, visit_ref=f"V{n}") for n in range(20)), visit(91, visit_ref="V1")),
            warned=("visit_ref_again",),
        ),
        # Numbers that begin anew for every woman are no codes of visits.
        Case(table(*(visit(60 + n, visit_ref="V1") for n in range(20)))),
        Case(
            table(visit(site_ref="N"), visit(site_ref="S")),
            warned=("same_day_same_kind", "second_row_same_attempt"),
        ),
    ),
    "expelled-on-day-0": (
        Case(table(visit(), contact(visit_date="2026-07-20", device_in_situ="complete_expulsion"))),
    ),
    "expulsion-found-at-removal": (
        Case(
            table(visit(), contact(**REMOVED, device_in_situ="partial_expulsion")),
            told=("expulsion_noted_at_removal",),
        ),
    ),
    "partial-and-complete-expulsion": (
        Case(
            table(
                visit(),
                contact(device_in_situ="partial_expulsion", visit_kind="unscheduled"),
                contact(device_in_situ="complete_expulsion"),
            )
        ),
    ),
    "outcome-of-a-failed-insertion": (
        Case(
            table(visit(insertion_outcome="failed"), contact(device_in_situ="in_situ_confirmed")),
            warned=("placed_elsewhere",),
        ),
    ),
    "expulsion-after-removal": (
        Case(
            table(
                visit(),
                contact(**REMOVED),
                contact(visit_date="2026-12-01", device_in_situ="complete_expulsion"),
            ),
            warned=("event_after_end",),
        ),
    ),
    "another-device-class-meanwhile": (
        Case(
            table(
                visit(device_class="lng_52"),
                contact(device_class="copper_t_380", device_in_situ="in_situ_confirmed"),
            ),
            warned=("other_device_class", "placed_without_class"),
        ),
        *(
            Case(
                table(visit(device_class="lng_52"), contact(device_class=name, **more)),
                warned=("placed_without_class",),
            )
            for name, more in (
                ("lng_52", {"device_in_situ": "in_situ_confirmed"}),
                ("unknown", {"device_in_situ": "in_situ_confirmed"}),
                ("other", {"device_in_situ": "in_situ_confirmed"}),
                (
                    "copper_t_380",
                    {**REMOVED, "visit_kind": "removal_and_replacement", "insertion_outcome": "placed"},
                ),
            )
        ),
    ),
    "twenty-five-years": (
        Case(
            table(visit(visit_date="2001-07-20", device_licensed_years=10), contact(**REMOVED)),
            warned=("kept_longer_than_allowed",),
        ),
        Case(
            table(visit(visit_date="2001-07-20"), contact(**REMOVED)),
            warned=("kept_longer_than_allowed",),
        ),
        # Five years and 43 days: late, as appointments are, and no slip of the pen.
        Case(table(visit(visit_date="2021-07-20", device_licensed_years=5), contact(**REMOVED))),
        Case(table(visit(visit_date="2011-07-20"), contact(**REMOVED))),
    ),
    "impossible-parity": tuple(
        Case(table(visit(parity_text=text)), warned=(rule,), reads={"parity_text": [None]})
        for text, rule in (("-1", "unreadable_value"), ("45", "out_of_range"))
    ),
    "parity-with-a-fraction": (
        Case(table(visit(births="2.0")), reads={"births": [2.0]}),
        Case(table(visit(parity_text="2.0")), reads={"parity_text": [2.0]}),
        Case(table(visit(births="1.5")), warned=("unreadable_value",), reads={"births": [None]}),
    ),
    "gravidity-below-parity": (
        Case(table(visit(parity_text="G1P3")), warned=("more_births",), reads={"parity_text": [3.0]}),
        Case(table(visit(parity_text="G3P3")), reads={"parity_text": [3.0]}),
    ),
    "impossible-sound-length": tuple(
        Case(table(visit(sound_length_mm=text)), warned=("out_of_range",), reads={"sound_length_mm": [None]})
        for text in ("750", "7500")
    ),
    "pain-of-11": (
        Case(table(visit(pain_score=11)), warned=("out_of_range",), reads={"pain_score": [None]}),
        Case(
            table(*(visit(90 + n, pain_score=score) for n, score in enumerate((75, 60, 8)))),
            warned=("wrong_scale",),
            reads={"pain_score": [None] * 3},
        ),
    ),
    "unknown-outcome": (Case(table(visit(insertion_outcome="XZ9")), aside=((14, "unknown_code"),)),),
    "unusual-age": (
        Case(
            table(*(visit(n, age_years=age) for n, age in ((90, 0), (91, 9), (92, 65), (93, 130)))),
            warned=("implausible", "out_of_range"),
            reads={"age_years": [None, 9.0, 65.0, None]},
        ),
    ),
    "spellings-of-a-clinician": (
        Case(
            table(*thrice("dr-01", "DR 01", " Dr01 ")),
            warned=("alike_staff_codes",),
            reads={"clinician_ref": ["dr-01", "DR 01", "Dr01"]},
        ),
    ),
    "two-alphabets-in-a-code": (
        Case(
            table(*thrice("AB1", "\u0410B1")),
            warned=("mixed_scripts",),
            reads={"clinician_ref": ["AB1", "\u0410B1"]},
        ),
    ),
    "a-clinician-a-row": (
        Case(
            table(*(visit(100 + n, clinician_ref=f"K{n % 500}") for n in range(588))),
            warned=("few_attempts_per_clinician",),
        ),
    ),
    "health-service-number": tuple(
        Case(table(visit(**{column: text})), refused=column)
        for column in ("patient_ref", "site_ref", "remarks")
        for text in (HEALTH_NUMBER, f"{HEALTH_NUMBER[:3]} {HEALTH_NUMBER[3:6]} {HEALTH_NUMBER[6:]}")
    ),
    "references-that-pass-by-chance": (Case(table(*by_chance(300))),),
    "contact-details": tuple(
        Case(table(visit(remarks=f"call {text}")), refused="remarks")
        for text in (
            "jane.roe@clinic.example",
            "+44 7700 900123",
            "https://clinic.example/jane",
            "192.0.2.17",
        )
    ),
    "postcode": (
        Case(table(visit(area="SW1A 1AA")), refused="area"),
        Case(table(visit(site_ref="SW1A")), reads={"site_ref": ["SW1A"]}),
    ),
    "free-text-with-names": (Case(table(visit(notes="pt Sarah called, mother Anne")), refused="notes"),),
    "device-serial-number": (Case(table(visit(lot_number="LT-4471")), told=("device_numbers_not_read",)),),
    "word-of-the-script-engine": (
        Case(
            table(*thrice("constructor", "__proto__", "toString")),
            reads={"clinician_ref": ["constructor", "__proto__", "toString"]},
        ),
    ),
    "template-in-a-code": (
        Case(
            table(visit(clinician_ref="{0.__class__}", site_ref="%(x)s", __class__="{{7*7}}")),
            reads={"clinician_ref": ["{0.__class__}"], "site_ref": ["%(x)s"]},
        ),
    ),
    "endless-columns-and-lines": (
        Case(
            b",".join(b"c" for _ in range(1_000_000)) + b"\n", refused="visits.csv: has a line of more than"
        ),
        Case(
            b",".join(b"c" for _ in range(400_000)) + b"\n", refused="has 400,000 columns; the limit is 500"
        ),
    ),
    "quote-never-closed": (
        Case(
            GOLDEN.encode().replace(b"W1,", b'W1,"'),
            refused="line 2: a quoted value opens and never closes. Close or remove the quote and run again.",
        ),
    ),
    "two-stray-quotes": (
        Case(
            GOLDEN.encode() + b'W4,"oops\n' + b"W5,2026-07-04,insertion,placed,C1,75,x\n" * 87 + b'W9,"a\n',
            refused="line 5: a quoted value runs over 88 lines. Check the quotes around it.",
        ),
    ),
    "blank-short-and-long-rows": (
        Case(
            table() + b"\nW90\n\n,,,,\nW91,2026-07-20,insertion,placed,C1,x\n",
            aside=((15, "wrong_number_of_values"), (18, "wrong_number_of_values")),
        ),
    ),
}

# What the list would have otherwise and why it is not so: a row lost costs more than a value marked unknown,
# and no woman's device may vanish from the figures because something beside it is in doubt.
ON_PURPOSE = {
    "separator-at-the-end-of-each-row": "used",  # an empty value on every row is no doubt of anything
    "blank-lines": "used",  # counted as blank lines; what holds nothing is no row that could be set aside
    "overlapping-files": "set aside",  # "removed once" is to set the copy aside, with the line of the other
    "no-clinician": "used",  # the visit happened: it counts for the service, and for "not recorded" in the chart
    "negative-age": "warned",  # the age is unknown; the insertion is not
    "two-devices-at-once": "warned",  # an unrecorded ending of the first device, dated at the second placement
    "one-visit-code-on-two-visits": "warned",  # either may be right, and a take-over is told in two rows too
    "outcome-of-a-failed-insertion": "warned",  # a device that is seen must have been placed elsewhere
    "expulsion-after-removal": "warned",  # the first ending counts; the second is a finding
    "another-device-class-meanwhile": "warned",  # the insertion says what was placed; the rest is a finding
    "impossible-parity": "warned",  # the parity is unknown; the insertion is not
    "impossible-sound-length": "warned",  # as above
    "pain-of-11": "warned",  # as above; on a scale of 100 the whole column is unknown until its unit is declared
    "spellings-of-a-clinician": "warned",  # never merged for the user, since two people may share a stem
    "postcode": "refused",  # nothing is cut down to its allowed half: the column has to go
    "identifier-outside-the-sheet": "used",  # such places are neither read nor printed
}
OUTCOMES = {
    "accept": "used",
    "transform": "used",
    "warn": "warned",
    "set_aside": "set aside",
    "refuse": "refused",
}

EXCEL, FOLDER, COMMANDS = "test_excel.py", "../whole/test_output_folder.py", "../whole/test_command_line.py"
# Cases that need more than a file and a look: the outcome, and the tests that hold it.
TOLD_ELSEWHERE: dict[str, tuple[str, tuple[tuple[str, str], ...]]] = {
    "headings-only": ("used", ((COMMANDS, "test_headings_without_rows_make_a_report_of_no_visits"),)),
    "one-row": ("used", ((COMMANDS, "test_one_row_is_enough_for_a_report"),)),
    "overlapping-files": ("set aside", (("", "test_files_that_overlap_count_each_visit_once"),)),
    "no-clinician": ("used", (("", "test_clinicians_and_the_unrecorded_add_up_to_the_service"),)),
    "sixteen-figures": ("used", (("", "test_two_women_with_16_digit_numbers_stay_two"),)),
    "system-of-1904": (
        "used",
        (
            (EXCEL, "test_day_numbers_are_dates_under_both_systems"),
            (EXCEL, "test_real_dates_are_dates_under_both_systems"),
        ),
    ),
    "ties-in-time": ("used", (("", "test_times_are_whole_days_whatever_the_hour"),)),
    "clinician-of-three-attempts": ("used", (("", "test_three_attempts_are_too_few_for_a_signal"),)),
    "identifier-outside-the-sheet": (
        "used",
        (
            (FOLDER, "test_the_name_of_the_log_stays_out_of_every_file_written"),
            (EXCEL, "test_comments_names_properties_and_drawings_are_never_touched"),
            (EXCEL, "test_a_hidden_sheet_is_neither_chosen_nor_named_nor_looked_into"),
        ),
    ),
    "identifier-in-what-is-said": (
        "safe",
        (
            ("", "test_no_message_holds_a_reference_a_date_or_a_text_of_the_log"),
            (FOLDER, "test_nothing_that_could_name_a_woman_leaves_the_log"),
        ),
    ),
    "markup-in-a-code": (
        "used",
        (
            ("", "test_hostile_codes_stay_text_and_name_no_file"),
            ("../reports/test_report_page.py", "test_hostile_text_in_the_data_stays_text"),
            ("../reports/test_report_browser.py", "test_hostile_text_runs_nothing"),
        ),
    ),
    "markup-in-a-figure": (
        "used",
        (
            ("", "test_hostile_codes_stay_text_and_name_no_file"),
            ("../reports/test_report_page.py", "test_hostile_text_in_the_data_stays_text"),
        ),
    ),
    "path-in-a-code": ("used", (("", "test_hostile_codes_stay_text_and_name_no_file"),)),
    "zip-bomb": ("refused", ((EXCEL, "test_a_bomb_is_refused_in_little_time_and_memory"),)),
    "macros-and-formulas": (
        "refused",
        (
            (EXCEL, "test_what_is_no_plain_workbook_is_refused_in_one_sentence"),
            (EXCEL, "test_a_formula_without_a_stored_value_is_unreadable_and_one_with_it_is_read"),
        ),
    ),
    "endless-columns-and-lines": ("refused", (("", "test_one_line_of_500_mb_is_refused_at_once"),)),
    "old-or-encrypted-workbook": (
        "refused",
        ((EXCEL, "test_old_and_encrypted_workbooks_are_refused_by_their_signature"),),
    ),
    "hostile-settings": ("refused", (("", "test_settings_of_another_language_or_size_are_refused"),)),
    "output-folder-read-only": (
        "safe",
        (("", "test_a_folder_that_may_not_be_written_is_named_and_left_alone"),),
    ),
    "disk-full": (
        "safe",
        ((FOLDER, "test_a_full_disk_leaves_the_old_folder_whole_and_says_so_in_one_sentence"),),
    ),
    "two-runs-at-once": ("safe", (("", "test_two_runs_into_one_folder_leave_one_of_them_whole"),)),
    "file-changed-while-read": (
        "safe",
        (("", "test_a_file_is_read_once_and_its_fingerprint_is_of_what_was_read"),),
    ),
    "locale-and-zone": (
        "used",
        (
            ("", "test_a_run_in_another_locale_and_folder_writes_the_same_bytes"),
            (FOLDER, "test_every_run_writes_the_same_bytes_whatever_the_time_zone_and_the_hash_seed"),
        ),
    ),
    "rows-and-columns-shuffled": (
        "used",
        (
            ("test_load.py", "test_shuffled_rows_and_columns_change_nothing_but_the_lines"),
            (FOLDER, "test_the_order_of_the_rows_changes_no_figure"),
        ),
    ),
    "no-network": ("used", (("", "test_a_run_opens_no_socket"),)),
    "one-gigabyte": ("used", (("", "test_200_000_visits_fit_in_a_gigabyte"),)),
    "previous-release-missing": ("safe", (("", "test_no_cumulative_release_can_be_asked_for"),)),
}


def outcomes() -> dict[str, str]:
    """What every case comes to; a case of several files has the outcome of the first."""
    told = {name: outcome for name, (outcome, _) in TOLD_ELSEWHERE.items()}
    return told | {name: cases[0].outcome for name, cases in CASES.items()}


def test_every_case_of_the_list_has_a_test() -> None:
    assert len(LISTED) == 94
    assert set(outcomes()) == set(LISTED)
    for places in (places for _, places in TOLD_ELSEWHERE.values()):
        for file, test in places:
            path = Path(__file__).parent / file if file else Path(__file__)
            assert f"\ndef {test}(" in path.read_text(encoding="utf-8"), test


def test_every_case_comes_to_what_the_list_says_or_differs_on_purpose() -> None:
    listed = {name: OUTCOMES.get(disposition, disposition) for name, disposition in LISTED.items()}
    assert {name: outcome for name, outcome in outcomes().items() if outcome != listed[name]} == ON_PURPOSE


NUMBERED = {
    f"{name} {n}" if n else name: case for name, cases in CASES.items() for n, case in enumerate(cases)
}


@pytest.mark.parametrize("name", NUMBERED)
def test_a_bad_input_comes_to_what_is_listed(
    tmp_path: Path, name: str, tells_what_to_do: Callable[[str], bool]
) -> None:
    case = NUMBERED[name]
    settings, path = settings_from(case.settings), saved(tmp_path, case.octets)
    if case.refused:
        with pytest.raises(AuditError, match=r"^visit") as refusal:
            load_visits(path, settings, allow_set_aside=True)
        assert case.refused in str(refusal.value)
        assert tells_what_to_do(str(refusal.value))
        assert not {HEALTH_NUMBER, "Sarah", "Anne", "jane", "SW1A"} & set(
            re.findall(r"\w+", str(refusal.value))
        )
        return
    log = load_visits(path, settings, allow_set_aside=True, data_to=case.data_to)
    cohort = derive_cohort(log, settings)
    assert tuple(log.set_aside[["row", "reason"]].itertuples(index=False, name=None)) == case.aside
    found = pd.concat([log.findings, cohort.findings])
    asked = [*log.set_aside["message"], *found.loc[found["severity"] == "warning", "message"]]
    assert [message for message in asked if not tells_what_to_do(message)] == []
    assert set(case.warned) | set(case.told) <= set(found["rule"])
    assert set(found.loc[found["severity"] == "warning", "rule"]) <= set(case.warned)
    assert set(found.loc[found["rule"].isin(case.told), "severity"]) <= {"notice"}
    for column, values in case.reads.items():
        texts = [None if pd.isna(value) else value for value in log.visits[column].tail(len(values))]
        assert texts == values, column


def test_the_ending_of_a_doubtful_sequence_follows_the_rules(tmp_path: Path) -> None:
    def of(name: str) -> list[tuple[str, float]]:
        log = load_visits(saved(tmp_path, CASES[name][0].octets), allow_set_aside=True)
        spells = derive_cohort(log).placements
        own = spells[spells["patient_ref"].map(log.patient_refs) == "W90"]
        return [(str(ending), day) for ending, day in own[["ending", "ending_day"]].itertuples(index=False)]

    assert of("expelled-on-day-0") == [("expulsion_complete", 0.0)]
    assert of("expulsion-found-at-removal") == [("expulsion_partial", 43.0)]
    assert of("partial-and-complete-expulsion") == [("expulsion_complete", 43.0)]
    assert of("expulsion-after-removal") == [("removal", 43.0)]
    assert of("outcome-of-a-failed-insertion") == []
    # 2026-03-01 to 2026-07-20 are 141 days.
    assert of("two-devices-at-once")[0] == ("unrecorded", 141.0)


def test_files_that_overlap_count_each_visit_once(tmp_path: Path) -> None:
    first = saved(tmp_path, table(visit(50)), "q1.csv")
    second = saved(tmp_path, table(visit(51)), "q2.csv")
    log = load_visits([first, second])
    assert len(log.visits) == 14
    assert log.set_aside["reason"].tolist() == ["duplicate_row"] * 12
    assert log.set_aside.loc[11, "message"] == (
        "The same in every column read as line 13 of file 1. Remove one of them."
    )


def by_clinician(folder: Path, *rows: Mapping[str, object]) -> pd.DataFrame:
    """Failed insertions of the quarter, the service first, then each clinician."""
    log = load_visits(saved(folder, table(*rows)))
    tables = run_audit(log, period="2026-Q3").tables
    service = tables["failed_insertions"].query(
        "by == 'overall' and unit == 'operator_attempt' and window == 'period'"
    )
    own = tables["failed_insertions_by_clinician"].query("window == 'period'")
    return pd.concat([service, own], ignore_index=True)


def test_clinicians_and_the_unrecorded_add_up_to_the_service(tmp_path: Path) -> None:
    found = by_clinician(
        tmp_path,
        visit(91, clinician_ref=""),
        visit(92, clinician_ref="", insertion_outcome="failed"),
        visit(93, insertion_outcome="failed"),
    )
    assert found["stratum"].tolist()[1:] == ["C1", "not recorded"]
    assert found["n"].tolist() == [15, 13, 2]
    assert found["events"].tolist() == [2, 1, 1]


def test_three_attempts_are_too_few_for_a_signal(tmp_path: Path) -> None:
    many = [visit(100 + n) for n in range(20)]
    few = [visit(90 + n, clinician_ref="C2", insertion_outcome="failed") for n in range(3)]
    found = by_clinician(tmp_path, *many, *few, visit(95, clinician_ref="C3"), visit(96, clinician_ref="C3"))
    signals = dict(zip(found["stratum"], found["signal"], strict=True))
    assert (signals["C2"], signals["C3"]) == ("too_few_to_classify", "too_few_to_classify")
    assert signals["C1"] != "too_few_to_classify"


def test_times_are_whole_days_whatever_the_hour(tmp_path: Path) -> None:
    late, early = "2026-07-20T23:59:59", "2026-07-20 00:00"
    log = load_visits(
        saved(
            tmp_path,
            table(
                *(visit(woman, visit_date=day) for woman, day in ((90, late), (91, early))),
                *(contact(woman, **REMOVED) for woman in (90, 91)),
            ),
        )
    )
    assert derive_cohort(log).placements["ending_day"].dropna().tolist() == [43.0, 43.0]


HOSTILE = (
    "<script>alert(1)</script>",
    "<img src=x onerror=alert(2)>",
    "</script><script>alert(3)</script>",
    "{{7*7}}",
    '<b>bold</b><br><a href="evil">x</a>',
    "../../etc/cron.d/x",
    "C:\\x",
    "a/b",
    "CON",
    ".",
    "..",
    "constructor",
    "__proto__",
    "{0.__class__}",
    "%(x)s",
)


def test_hostile_codes_stay_text_and_name_no_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain, hostile = tmp_path / "plain", tmp_path / "hostile"
    rows = [visit(100 + n, insertion_outcome="failed") for n in range(len(HOSTILE))]
    changed = [
        {**row, "clinician_ref": code, "site_ref": code} for row, code in zip(rows, HOSTILE, strict=True)
    ]
    for out, visits in ((plain, rows), (hostile, changed)):
        assert (
            main(["run", str(saved(tmp_path, table(*visits))), "--period", "2026-Q3", "--out", str(out)]) == 0
        )
    # Tables differ with the number of clinicians; sheets are named after codes, and safely.
    folders = {Path(name).parts[0] for name in files_of(hostile)}
    assert folders == {Path(name).parts[0] for name in files_of(plain)}
    assert set(files_of(plain)) - set(files_of(hostile)) <= {"clinicians/C1.html"}
    sheets = [name for name in files_of(hostile) if name.startswith("clinicians/")]
    assert len({name.casefold() for name in sheets}) == len(sheets) > len(HOSTILE)
    assert all(re.fullmatch(r"clinicians/[A-Za-z0-9-]+\.html", name) for name in sheets)
    assert capsys.readouterr().err.count("set aside") == 2
    page = (hostile / "internal" / "report.html").read_text(encoding="utf-8")
    assert "alert(1)" in page
    assert not re.search(r"<script>alert|<img src=x|<b>bold|href=\"evil|onerror=alert\(2\)>", page)
    assert "{{7*7}}" in page
    record = json.loads((hostile / "record.json").read_text(encoding="utf-8"))
    told = {row["stratum"] for row in record["tables"]["failed_insertions_by_clinician"]}
    assert set(HOSTILE) <= told


def files_of(folder: Path) -> list[str]:
    """The names of the files in a folder."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())


@pytest.mark.parametrize(
    "text",
    [
        "!!python/object/apply:os.system ['true']\n",
        "a: &a [x, x]\nb: &b [*a, *a]\n",
        "[layout]\nheadings = " + "[" * 5_000 + "]" * 5_000 + "\n",
        "[layout]\n" + "".join(f'x{n} = "{"y" * 100}"\n' for n in range(50_000)),
        "[layout]\nsheet = '" + "\0" + "'\n",
    ],
    ids=["tags", "anchors", "nested", "5 MB", "NUL"],
)
def test_settings_of_another_language_or_size_are_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(SettingsError, match=r"^clinic\.toml"):
        read_settings(saved(tmp_path, text.encode(), "clinic.toml"))


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user of the machine may enter."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_a_folder_that_may_not_be_written_is_named_and_left_alone(
    open_folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log, locked = saved(open_folder, table()), open_folder / "locked"
    arguments = ["run", str(log), "--period", "2026-Q3", "--quiet", "--out"]
    assert main([*arguments, str(open_folder / "first")]) == 0  # so that everything is imported
    locked.mkdir(mode=0o555)
    with as_nobody():
        code = main([*arguments, str(locked / "out")])
    said = capsys.readouterr().err
    assert code == 4
    assert re.fullmatch(
        r"iud-audit: [^\n]*locked[^\n]*cannot be written \(Permission denied\)[^\n]*\.\n", said
    )
    assert list(locked.iterdir()) == []
    locked.chmod(0o755)


@contextmanager
def as_nobody() -> Iterator[None]:
    """Without the rights of the administrator, where the tests have them."""
    user = os.geteuid()
    if user == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(user)


def a_process(code: str, *arguments: object, **more: Any) -> "subprocess.Popen[str]":
    """Python in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **more,
    )


RUN = "import sys; from audit.cli import main; sys.exit(main(sys.argv[1:]))"


@pytest.mark.slow
def test_two_runs_into_one_folder_leave_one_of_them_whole(tmp_path: Path) -> None:
    logs = [saved(tmp_path, table(*(visit(100 + i) for i in range(n))), f"log{n}.csv") for n in (1, 2)]
    alone = []
    for log in logs:
        assert (
            main(["run", str(log), "--period", "2026-Q3", "--quiet", "--out", str(tmp_path / log.stem)]) == 0
        )
        alone.append((tmp_path / log.stem / "record.json").read_bytes())
    assert alone[0] != alone[1]
    # Over a folder that is there already, so that each run has to put the old one out of the way.
    shared = Path(shutil.copytree(tmp_path / "log1", tmp_path / "shared"))
    runs = [a_process(RUN, "run", log, "--period", "2026-Q3", "--quiet", "--out", shared) for log in logs]
    said = [run.communicate(timeout=120) for run in runs]
    assert {run.returncode for run in runs} <= {0, 4}
    assert 0 in {run.returncode for run in runs}
    assert not any("Traceback" in err or "fault" in err for _, err in said)
    assert (shared / "record.json").read_bytes() in alone
    assert main(["verify", str(shared)]) == 0
    assert {path.name for path in tmp_path.iterdir()} == {"log1.csv", "log2.csv", "log1", "log2", "shared"}


def test_a_file_is_read_once_and_its_fingerprint_is_of_what_was_read(tmp_path: Path) -> None:
    # A pipe gives its bytes a single time: a second reading would find nothing, or wait for ever.
    pipe, octets = tmp_path / "visits.csv", table()
    os.mkfifo(pipe)
    writing = threading.Thread(target=pipe.write_bytes, args=(octets,), daemon=True)
    writing.start()
    signal.alarm(20)
    log = load_visits(pipe)
    signal.alarm(0)
    writing.join(5)
    assert len(log.visits) == 12
    assert log.sources[0].sha256 == hashlib.sha256(octets).hexdigest()


@pytest.mark.slow
def test_a_run_in_another_locale_and_folder_writes_the_same_bytes(tmp_path: Path) -> None:
    log = saved(
        tmp_path, table(visit(90, clinician_ref="i\u0131", site_ref="\u0130zmir"), visit(91, site_ref="I"))
    )
    written = []
    for name, folder in (("tr_TR.UTF-8", tmp_path), ("C", Path("/"))):
        out = tmp_path / name
        language = {"LC_ALL": name, "LANG": name, "PYTHONPATH": os.getcwd()}
        run = a_process(
            RUN, "run", log, "--period", "2026-Q3", "--out", out, cwd=folder, env={**os.environ, **language}
        )
        assert run.communicate(timeout=120)[1] == "14 rows in = 14 used + 0 set aside\n"
        written.append({name: (out / name).read_bytes() for name in files_of(out)})
    assert written[0] == written[1]


WITHOUT_NETWORK = """
import socket, sys
class Refused(socket.socket):
    def __init__(self, *arguments, **more):
        raise RuntimeError("a socket was opened")
def refused(*arguments, **more):
    raise RuntimeError("a name was looked up")
socket.socket, socket.create_connection, socket.getaddrinfo = Refused, refused, refused
from audit.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.slow
def test_a_run_opens_no_socket(tmp_path: Path) -> None:
    proxies = dict.fromkeys(("http_proxy", "https_proxy", "ALL_PROXY"), "http://192.0.2.1:9")
    log, out = saved(tmp_path, table()), tmp_path / "out"
    run = a_process(
        WITHOUT_NETWORK, "run", log, "--period", "2026-Q3", "--out", out, env={**os.environ, **proxies}
    )
    assert run.communicate(timeout=120)[1] == "12 rows in = 12 used + 0 set aside\n"
    assert run.returncode == 0


def test_no_cumulative_release_can_be_asked_for(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # Without the release before it nothing can be held against differencing, so there is no such edition.
    arguments = ["run", str(saved(tmp_path, table())), "--period", "2026-Q3", "--out", str(tmp_path / "out")]
    assert main([*arguments, "--edition", "release"]) == 2
    assert "release edition" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


LIMITED = """
import json, pathlib, re, resource, sys, time
# What a process holds; the addresses it merely reserves cost nothing.
resource.setrlimit(resource.RLIMIT_DATA, (int(sys.argv[1]), int(sys.argv[1])))
from audit.cli import main
begun = time.perf_counter()
code = main(sys.argv[2:])
seconds = time.perf_counter() - begun
# The peak of this process alone; what getrusage tells includes the one that started it.
peak = re.search(r"VmHWM:\\s+([0-9]+)", pathlib.Path("/proc/self/status").read_text())
print(json.dumps([code, seconds, int(peak[1])]))
"""


@pytest.mark.slow
def test_one_line_of_500_mb_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "visits.csv"
    with path.open("wb") as file:
        file.write(table())
        for _ in range(500):
            file.write(b"x" * 1_000_000)
    run = a_process(LIMITED, 1 << 30, "check", path)
    out, err = run.communicate(timeout=60)
    code, seconds, kilobytes = json.loads(out)
    assert code == 3
    assert err.startswith("iud-audit: visits.csv: has a line of more than 1,048,576 bytes.")
    assert seconds < 5
    assert kilobytes < 1_000_000


@pytest.mark.slow
def test_200_000_visits_fit_in_a_gigabyte(tmp_path: Path) -> None:
    log, settings = write_demo(tmp_path / "demo")
    heading, *lines = log.read_text(encoding="utf-8").splitlines(keepends=True)
    at = next(csv.reader([heading])).index("Client no")
    repeats = 200_000 // len(lines) + 1
    with (tmp_path / "visits.csv").open("w", encoding="utf-8", newline="") as file:
        file.write(heading)
        writer = csv.writer(file, lineterminator="\n")
        for number in range(repeats):
            for row in csv.reader(lines):
                writer.writerow([f"{cell}x{number}" if n == at else cell for n, cell in enumerate(row)])
    run = a_process(
        LIMITED,
        1 << 30,
        "run",
        tmp_path / "visits.csv",
        "--settings",
        settings,
        "--period",
        DEMO_PERIOD,
        "--out",
        tmp_path / "out",
        "--quiet",
    )
    out, err = run.communicate(timeout=600)
    assert err == ""
    code, _, kilobytes = json.loads(out.splitlines()[-1])
    assert code == 0
    assert kilobytes < 1_000_000
