"""Workbooks as clinics keep them: which sheet, which line, what a cell says, and every row accounted for."""

import datetime
import io
import json
import random
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.comments import Comment
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.workbook.defined_name import DefinedName

from audit.errors import AuditError, MissingColumns, UnreadableFile
from audit.ingest.excel import open_excel
from audit.ingest.excel_cells import day_of_serial
from audit.ingest.load import load_visits
from audit.ingest.raw import RawLog, Source
from audit.ingest.read import open_source, read_rows
from audit.settings import AuditSettings, Layout

HEAD = ("patient_ref", "visit_date", "visit_kind", "insertion_outcome")
DAY = datetime.date(2026, 7, 1)
ROW = ("W1", DAY, "insertion", "placed")
Book = openpyxl.Workbook


def filled(*rows: Sequence[Any], title: str = "Log") -> Book:
    """A workbook with these rows on its one sheet."""
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(list(row))
    return book


def saved(book: Book, folder: Path, name: str = "visits.xlsx") -> Path:
    """The workbook as a file."""
    book.save(folder / name)
    return folder / name


def octets_of(book: Book) -> bytes:
    """The workbook as bytes."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read(book: Book, *columns: str, layout: Layout | None = None) -> RawLog:
    """Some columns of a workbook."""
    source = open_excel(octets_of(book), where="visits.xlsx", layout=layout or Layout())
    return read_rows(source, {name: source.headings.index(name) for name in columns})


def texts(log: RawLog, name: str) -> list[str]:
    """The text of every row of a column."""
    return [log.columns[name].texts[code] for code in log.columns[name].codes]


def rezipped(octets: bytes, change: Callable[[str, bytes], bytes], **more: bytes) -> bytes:
    """The archive with its parts changed, and more parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(octets)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, change(name, old.read(name)))
        for name, content in more.items():
            new.writestr(name, content)
    return out.getvalue()


def as_it_is(name: str, content: bytes) -> bytes:
    """A part unchanged."""
    return content


PLAIN = octets_of(filled(HEAD, ROW))


def refusal(octets: bytes, layout: Layout | None = None) -> str:
    """The sentence that refuses a workbook."""
    with pytest.raises(UnreadableFile) as refused:
        open_excel(octets, where="visits.xlsx", layout=layout or Layout())
    message = str(refused.value)
    assert message.startswith("visits.xlsx")
    assert message.endswith((".", "?"))
    return message


def test_a_workbook_is_a_log(tmp_path: Path) -> None:
    log = load_visits(saved(filled(HEAD, ROW, ("W2", DAY, "insertion", "failed")), tmp_path))
    assert log.visits["visit_date"].tolist() == [datetime.datetime(2026, 7, 1)] * 2
    assert log.visits["row"].tolist() == [2, 3]
    assert (log.sources[0].encoding, log.sources[0].rows) == ("xlsx", 2)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (datetime.datetime(2026, 7, 1, 23, 59, 59), "2026-07-01"),
        (DAY, "2026-07-01"),
        (75, "75"),
        (75.0, "75"),
        (7.5, "7.5"),
        (True, "yes"),
        (False, "no"),
        ("007", "007"),
        (" a b ", " a b "),
        (datetime.time(9, 30), "09:30:00"),
        (1234567890123456, "1.23457E+15"),
        ("#N/A", "#N/A"),
        (None, ""),
    ],
)
def test_a_cell_takes_the_form_it_has_in_a_csv(value: object, text: str) -> None:
    assert texts(read(filled((*HEAD, "site_ref"), (*ROW, value)), "site_ref"), "site_ref") == [text]


def test_a_number_has_the_decimal_sign_of_the_log() -> None:
    log = read(filled((*HEAD, "bmi"), (*ROW, 24.125)), "bmi", layout=Layout(decimal_comma=True))
    assert texts(log, "bmi") == ["24,125"]


# Serial numbers of 1 July 2026. Under "1900" day 1 is 1 January 1900 and 29 February 1900 is counted though it
# never was; under "1904" day 0 is 1 January 1904 (ECMA-376, part 1, 18.17.4.1). The two differ by 1,462 days.
@pytest.mark.parametrize(("from_1904", "serial"), [(False, 46204), (True, 46204 - 1462)])
def test_day_numbers_are_dates_under_both_systems(from_1904: bool, serial: int) -> None:
    book = filled(HEAD, ("W1", serial, "insertion", "placed"), ("W2", serial + 0.75, "insertion", "placed"))
    if from_1904:
        book.epoch = CALENDAR_MAC_1904
    source = open_excel(octets_of(book), where="visits.xlsx", layout=Layout())
    assert source.encoding.endswith("1904") is from_1904
    assert texts(read_rows(source, {"visit_date": 1}), "visit_date") == ["2026-07-01", "2026-07-01"]


@pytest.mark.parametrize("from_1904", [False, True])
def test_real_dates_are_dates_under_both_systems(from_1904: bool) -> None:
    book = filled(HEAD)
    if from_1904:
        book.epoch = CALENDAR_MAC_1904
    book.active.append(ROW)
    assert texts(read(book, "visit_date"), "visit_date") == ["2026-07-01"]


@pytest.mark.parametrize("serial", [0, 60, 59, -5, 0.5])
@pytest.mark.parametrize("shape", ["General", "dd/mm/yyyy"])
def test_serial_numbers_that_are_no_day_set_their_row_aside(
    tmp_path: Path, serial: float, shape: str
) -> None:
    book = filled(HEAD, ROW, ("W2", serial, "insertion", "placed"))
    book.active["B3"].number_format = shape
    log = load_visits(saved(book, tmp_path), allow_set_aside=True)
    assert log.set_aside[["row", "column", "reason"]].to_numpy().tolist() == [[3, "visit_date", "not_a_date"]]


@pytest.mark.parametrize("text", ["2019", "60", "0", "20260701", "W1", "", "46204x"])
def test_what_is_more_likely_no_day_number_stays_as_it_is(text: str) -> None:
    assert day_of_serial(text, from_1904=False) == day_of_serial(text, from_1904=True) == text


def test_day_numbers_are_dates_in_columns_of_dates_only() -> None:
    log = read(filled((*HEAD, "visit_ref"), (*ROW, 46204)), "visit_ref")
    assert texts(log, "visit_ref") == ["46204"]


def test_lines_above_the_headings_are_no_rows_and_are_reported(tmp_path: Path) -> None:
    book = filled(("Visits 2026",), (), ("printed on", DAY), HEAD, ROW, (), (" ", None), ROW[:3], ())
    book.active.merge_cells("A1:D1")
    book.active["B12"].number_format = "dd/mm/yyyy"
    source = open_source(saved(book, tmp_path))
    log = read_rows(source, {"patient_ref": 0})
    assert (source.heading_line, log.lines.tolist(), log.rows_in) == (4, [5, 8], 2)
    assert log.blank_lines == {"blank": 2}
    assert [(note.rule, note.line) for note in log.notes] == [("headings_below", 4)]


def test_headings_may_stand_below_20_lines_and_no_more() -> None:
    title = [("Report",)] * 20
    assert read(filled(*title, HEAD, ROW), "patient_ref").lines.tolist() == [22]
    words = refusal(octets_of(filled(*title, ("Report",), HEAD, ROW)))
    assert "the headings seem to stand on line 22, below more than 20 other lines" in words


def test_a_sheet_without_our_headings_is_refused_in_the_words_of_every_log(tmp_path: Path) -> None:
    with pytest.raises(MissingColumns, match=r"no column for patient_ref.*Found: Woman, Date"):
        load_visits(saved(filled(("Woman", "Date"), ("W1", DAY)), tmp_path))


def with_sheets(*sheets: tuple[str, Sequence[Any]]) -> Book:
    """A workbook with sheets of one row of headings and one visit each."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, head in sheets:
        sheet = book.create_sheet(name)
        sheet.append(list(head))
        sheet.append(list(ROW))
    return book


def test_the_sheet_with_most_of_our_headings_is_read() -> None:
    book = with_sheets(("Key", ("code", "meaning")), ("Log", HEAD), ("Old", HEAD[:3]))
    log = read(book, "patient_ref")
    assert [(note.rule, note.message) for note in log.notes] == [
        ("sheet_chosen", "The sheet 'Log' was read, one of 3 visible ones.")
    ]


def test_sheets_that_fit_alike_or_not_at_all_are_refused_by_name_and_names_like_data_are_masked() -> None:
    words = refusal(octets_of(with_sheets(("Log", HEAD), ("W00172", HEAD))))
    assert "several sheets fit equally well. Found: 'Log', 'a99999'. Name the sheet in the settings" in words
    words = refusal(octets_of(with_sheets(("A", ("x",)), ("B", ("y",)))))
    assert "no sheet has headings that are known. Found: 'A', 'B'" in words


def test_the_settings_name_the_sheet(tmp_path: Path) -> None:
    book = with_sheets(("Log", HEAD), ("Second", ("Woman", *HEAD[1:])))
    path = saved(book, tmp_path)
    source = open_source(path, settings=AuditSettings(layout=Layout(sheet=" second")))
    assert source.headings[0] == "Woman"
    words = refusal(path.read_bytes(), Layout(sheet="Third"))
    assert "no sheet 'Third', which the settings name. Found: 'Log', 'Second'" in words


def test_a_hidden_sheet_is_neither_chosen_nor_named_nor_looked_into() -> None:
    book = with_sheets(("Key", ("code",)), ("Log", HEAD), ("Secret", HEAD))
    book["Secret"].sheet_state = "hidden"
    spoilt = rezipped(
        octets_of(book), lambda name, content: b"<broken" if name.endswith("sheet3.xml") else content
    )
    source = open_excel(spoilt, where="visits.xlsx", layout=Layout())
    assert source.headings == HEAD
    assert source.rows is not None
    assert "Secret" not in repr(source.rows.notes)
    assert "the sheet 'Secret' is hidden" in refusal(octets_of(book), Layout(sheet="Secret"))
    assert "Secret" not in refusal(octets_of(book), Layout(sheet="None"))


def test_comments_names_properties_and_drawings_are_never_touched() -> None:
    book = filled(HEAD, ROW)
    book.active["A2"].comment = Comment("Jane", "Jane")
    book.defined_names["secret"] = DefinedName("secret", attr_text="Log!$A$1")
    book.properties.creator = "Jane"
    spoiled = ("docProps/core.xml", "docProps/app.xml", "xl/comments/comment1.xml", "xl/theme/theme1.xml")
    octets = rezipped(octets_of(book), lambda name, content: b"<broken Jane" if name in spoiled else content)
    source = open_excel(octets, where="visits.xlsx", layout=Layout())
    assert source.rows is not None
    assert source.rows.rows_in == 1
    assert "Jane" not in repr(source)


def test_rows_that_only_have_values_elsewhere_count_and_columns_without_a_heading_stay_in_sight() -> None:
    book = filled(HEAD, ROW)
    book.active["G4"] = "a stray word"
    source = open_excel(octets_of(book), where="visits.xlsx", layout=Layout())
    assert source.headings == (*HEAD, "", "", "")
    log = read_rows(source, {"patient_ref": 0, "column 7": 6})
    assert (log.rows_in, log.lines.tolist(), log.blank_lines) == (2, [2, 4], {"blank": 1})
    assert texts(log, "column 7") == ["", "a stray word"]
    assert [(note.rule, note.line) for note in log.notes] == [("values_without_heading", 4)]


def with_formulas(*values: str) -> bytes:
    """A workbook with one formula a row in the column insertion_outcome, stored as the XML says."""
    rows = [("W1", DAY, "insertion", f"=A{line}") for line in range(2, len(values) + 2)]
    plain = octets_of(filled((*HEAD, "site_ref"), *rows))

    def stored(name: str, content: bytes) -> bytes:
        if not name.endswith("sheet1.xml"):
            return content
        for line, value in enumerate(values, start=2):
            start = content.index(f'<c r="D{line}"'.encode())
            end = content.index(b"</c>", start) + 4
            content = content[:start] + value.replace("#", str(line)).encode() + content[end:]
        return content

    return rezipped(plain, stored)


def test_a_formula_without_a_stored_value_is_unreadable_and_one_with_it_is_read(tmp_path: Path) -> None:
    (tmp_path / "visits.xlsx").write_bytes(
        with_formulas(
            '<c r="D#" t="str"><f>A#</f><v>placed</v></c>',
            '<c r="D#"><f>A#</f></c>',
            '<c r="D#"><f t="shared" ref="D4:D5" si="0">A#</f><v></v></c>',
            '<c r="D#" t="str"><f t="shared" si="0"/><v></v></c>',
        )
    )
    log = load_visits(tmp_path / "visits.xlsx", allow_set_aside=True)
    assert log.visits["row"].tolist() == [2, 5]
    assert log.visits["insertion_outcome"].isna().tolist() == [False, True]
    assert log.set_aside[["row", "column", "reason"]].to_numpy().tolist() == [
        [3, "insertion_outcome", "spreadsheet_error"],
        [4, "insertion_outcome", "spreadsheet_error"],
    ]
    rows = open_source(tmp_path / "visits.xlsx").rows
    assert rows is not None
    [note] = rows.notes
    assert note.message.startswith(
        "'insertion_outcome': 2 formulas without a stored value (line 3, 4). Open the"
    )


def with_shared_texts(octets: bytes) -> bytes:
    """The workbook as spreadsheet programs write it: texts once, in a part of their own, some in two fonts."""
    with zipfile.ZipFile(io.BytesIO(octets)) as archive:
        cells = archive.read("xl/worksheets/sheet1.xml").decode()
    found = re.findall(r't="inlineStr"><is><t>([^<]*)</t></is>', cells)
    numbers = {text: number for number, text in enumerate(dict.fromkeys(found))}
    items = "".join(
        f"<si><r><rPr><b/></rPr><t>{text[:1]}</t></r><r><t>{text[1:]}</t></r><rPh sb='0' eb='1'><t>x</t></rPh></si>"
        for text in numbers
    )
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    link = f'<Relationship Id="texts" Type="{kind}" Target="sharedStrings.xml"/></Relationships>'

    def change(name: str, content: bytes) -> bytes:
        if name.endswith("workbook.xml.rels"):
            return content.replace(b"</Relationships>", link.encode())
        if not name.endswith("sheet1.xml"):
            return content
        pattern = r't="inlineStr"><is><t>([^<]*)</t></is>'
        return re.sub(pattern, lambda hit: f't="s"><v>{numbers[hit[1]]}</v>', cells).encode()

    return rezipped(octets, change, **{"xl/sharedStrings.xml": f'<sst xmlns="{main}">{items}</sst>'.encode()})


def test_shared_texts_are_read_whole_whatever_their_fonts() -> None:
    rows = [(f"W{number}", DAY, "insertion", "placed") for number in range(5)]
    octets = with_shared_texts(octets_of(filled(HEAD, *rows)))
    source = open_excel(octets, where="visits.xlsx", layout=Layout())
    assert source.headings == HEAD
    assert texts(read_rows(source, {"patient_ref": 0}), "patient_ref") == [row[0] for row in rows]


def test_more_shared_texts_than_a_log_can_have_are_refused() -> None:
    # Beside noise, which does not compress, the ratio alone would let them pass.
    noise = f"<si><t>{random.Random(1).randbytes(300_000).hex()}</t></si>".encode()
    octets = rezipped(
        with_shared_texts(PLAIN),
        lambda name, content: content.replace(b"</sst>", noise + b"<si/>" * 2_100_000 + b"</sst>"),
    )
    assert "has more than 2,097,152 rows or texts" in refusal(octets)


def disordered(name: str, content: bytes) -> bytes:
    """The sheet with the numbers of two rows exchanged."""
    if not name.endswith("sheet1.xml"):
        return content
    return content.replace(b'<row r="2"', b'<row r="9"')


def test_rows_out_of_order_are_refused_since_the_parser_would_drop_them() -> None:
    assert "not in order" in refusal(rezipped(octets_of(filled(HEAD, ROW, ROW)), disordered))


def test_a_size_that_the_sheet_states_wrongly_loses_no_row() -> None:
    octets = octets_of(filled(HEAD, ROW, ROW, ROW))
    short = rezipped(octets, lambda name, content: content.replace(b'ref="A1:D4"', b'ref="A1:B2"'))
    assert short != octets
    source = open_excel(short, where="visits.xlsx", layout=Layout())
    assert source.rows is not None
    assert source.rows.rows_in == 3


def marked(name: str, content: bytes) -> bytes:
    """A workbook that says it holds macros."""
    return content.replace(b"sheet.main+xml", b"sheet.macroEnabled.main+xml")


def strict(name: str, content: bytes) -> bytes:
    """A workbook in the strict form of its format."""
    main = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    return content.replace(main, b"http://purl.oclc.org/ooxml/spreadsheetml/main")


def with_entities(name: str, content: bytes) -> bytes:
    """A sheet whose XML declares an entity that grows."""
    if not name.endswith("sheet1.xml"):
        return content
    return b'<!DOCTYPE a [<!ENTITY b "bb"><!ENTITY c "&b;&b;">]>' + content


OTHER_ARCHIVE = rezipped(PLAIN, as_it_is).replace(b"xl/workbook.xml", b"xx/workbook.xml")


@pytest.mark.parametrize(
    ("octets", "words"),
    [
        (rezipped(PLAIN, marked), "is a macro-enabled or binary workbook. Save it as .xlsx."),
        (rezipped(PLAIN, as_it_is, **{"xl/vbaProject.bin": b"x"}), "is a macro-enabled or binary workbook"),
        (rezipped(PLAIN, strict), "is saved as Strict Open XML"),
        (rezipped(PLAIN, with_entities), "is put together as no spreadsheet program does it"),
        (OTHER_ARCHIVE, "is an archive and no .xlsx workbook"),
        (PLAIN[: len(PLAIN) // 2], "opens as a workbook but cannot be read"),
        (octets_of(openpyxl.Workbook()), "the sheet is empty"),
        (rezipped(PLAIN, lambda name, content: content[:300]), "is damaged"),
        (octets_of(filled(("x",) * 501, ROW)), "has values beyond column 500"),
    ],
)
def test_what_is_no_plain_workbook_is_refused_in_one_sentence(octets: bytes, words: str) -> None:
    assert words in refusal(octets)


def test_old_and_encrypted_workbooks_are_refused_by_their_signature(tmp_path: Path) -> None:
    (tmp_path / "visits.xls").write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    with pytest.raises(UnreadableFile, match="is an old or password-protected workbook"):
        load_visits(tmp_path / "visits.xls")


def bomb(kind: str) -> bytes:
    """Workbooks that expand without end."""
    rows = b'<row r="3"><c r="A3"><v>1</v></c></row>'
    huge = {
        "repeated row": lambda content: content.replace(b"</sheetData>", rows * 6_000_000 + b"</sheetData>"),
        "repeated cell": lambda content: content.replace(
            b"</sheetData>", b"<row>" + b"<c/>" * 30_000_000 + b"</row></sheetData>"
        ),
    }
    if kind == "many parts":
        return rezipped(PLAIN, as_it_is, **{f"xl/media/{i}.txt": b"x" for i in range(2_000)})
    if kind == "false size":
        # The directory says 1,000 bytes; the part inflates to far more.
        honest = bomb("repeated row")
        at = honest.rindex(b"xl/worksheets/sheet1.xml") - 46
        return honest[: at + 24] + (1000).to_bytes(4, "little") + honest[at + 28 :]
    return rezipped(
        PLAIN, lambda name, content: huge[kind](content) if name.endswith("sheet1.xml") else content
    )


MEASURED = """
import json, pathlib, sys, time
from audit.errors import AuditError
from audit.ingest.read import open_source
before = time.perf_counter()
try:
    open_source(sys.argv[1])
    said = "read"
except AuditError as refused:
    said = str(refused)
seconds = time.perf_counter() - before
status = pathlib.Path("/proc/self/status")
# The most memory ever held, where the system tells it for this process alone.
held = [line.split()[1] for line in status.read_text().splitlines() if "VmHWM" in line] if status.exists() else []
print(json.dumps([said, seconds, int((held or [0])[0])]))
"""


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("repeated row", "expands"),
        ("repeated cell", "expands more than 100-fold"),
        ("many parts", "parts; the limit is 2,000"),
        ("false size", ""),
    ],
)
def test_a_bomb_is_refused_in_little_time_and_memory(tmp_path: Path, kind: str, words: str) -> None:
    (tmp_path / "visits.xlsx").write_bytes(bomb(kind))
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(tmp_path / "visits.xlsx")],
        capture_output=True,
        text=True,
        check=True,
    )
    said, seconds, kilobytes = json.loads(done.stdout)
    assert said.startswith("visits.xlsx: ")
    assert words in said
    assert seconds < 5
    assert kilobytes < 1_000_000


def test_a_sheet_within_the_limits_but_with_an_endless_row_is_refused() -> None:
    cells = b'<row r="3">' + b"".join(b"<c><v>%d</v></c>" % number for number in range(160_000)) + b"</row>"
    octets = rezipped(PLAIN, lambda name, content: content.replace(b"</sheetData>", cells + b"</sheetData>"))
    assert "has a row or a text of more than 1,048,576 bytes" in refusal(octets)


def test_a_sheet_that_expands_too_far_is_refused_though_the_rest_of_the_file_hides_it() -> None:
    rows = b"<row><c><v>1</v></c></row>" * 500_000
    octets = rezipped(
        PLAIN,
        lambda name, content: content.replace(b"</sheetData>", rows + b"</sheetData>"),
        **{"docProps/padding.bin": random.Random(1).randbytes(300_000)},
    )
    assert len(octets) * 100 > 2 * len(rows)
    assert "expands more than 100-fold" in refusal(octets)


def test_the_library_for_workbooks_is_loaded_for_workbooks_only(tmp_path: Path) -> None:
    (tmp_path / "visits.csv").write_text(
        f"{','.join(HEAD)}\nW1,2026-07-01,insertion,placed\n", encoding="utf-8"
    )
    code = "import sys, audit\naudit.load_visits(sys.argv[1])\nprint('openpyxl' in sys.modules)"
    for path, loaded in ((tmp_path / "visits.csv", "False"), (saved(filled(HEAD, ROW), tmp_path), "True")):
        done = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
        )
        assert done.stdout.strip() == loaded


def opened_or_refused(octets: bytes) -> Source | str:
    """The opened workbook, or the sentence that refuses it."""
    try:
        return open_excel(octets, where="visits.xlsx", layout=Layout())
    except AuditError as refused:
        return str(refused)


@settings(deadline=None, max_examples=200)
@given(
    st.integers(0, 10_000),
    st.binary(min_size=1, max_size=12),
    st.sampled_from(["sheet1", "workbook", "styles"]),
)
def test_any_bytes_inside_a_workbook_are_read_or_refused(place: int, spoilt: bytes, part: str) -> None:
    def change(name: str, content: bytes) -> bytes:
        if not name.endswith(f"{part}.xml"):
            return content
        at = place % len(content)
        return content[:at] + spoilt + content[at:]

    opened = opened_or_refused(rezipped(PLAIN, change))
    if isinstance(opened, str):
        assert opened.startswith("visits.xlsx")
        return
    assert opened.rows is not None
    assert opened.rows.rows_in == len(opened.rows.lines)


CELLS = st.one_of(
    st.none(),
    st.text(alphabet="aW1-/ ,;\u00e9", max_size=5),
    st.integers(-9999, 99999),
    st.booleans(),
    st.dates(datetime.date(2000, 1, 1), datetime.date(2090, 1, 1)),
)


@settings(deadline=None, max_examples=80)
@given(st.lists(st.lists(CELLS, max_size=6), max_size=10))
def test_every_row_with_any_value_is_a_row(rows: list[list[object]]) -> None:
    source = open_excel(octets_of(filled(HEAD, *rows)), where="visits.xlsx", layout=Layout())
    assert source.rows is not None
    with_values = [
        line
        for line, row in enumerate(rows, start=2)
        if any(cell is not None and str(cell).strip() for cell in row)
    ]
    assert source.rows.lines.tolist() == with_values
    last = with_values[-1] if with_values else 1
    assert source.rows.blank_lines.get("blank", 0) == last - 1 - len(with_values)
