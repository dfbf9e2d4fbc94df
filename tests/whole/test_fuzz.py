"""Good logs spoilt at random, always in the same way: each is read with every row accounted for, or refused."""

import csv
import io
import json
import random
import signal
import subprocess
import sys
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from functools import cache
from pathlib import Path
from types import FrameType

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from audit.cli import main
from audit.cohort import derive_cohort
from audit.errors import AuditError
from audit.ingest.load import load_visits
from audit.records import VisitLog
from audit.settings import AuditSettings, read_settings

SECONDS = 10
EVERY = 50  # one variant in so many goes through the command line too
CODES = "https://codes.invented.example"
SETTINGS = f"""
charted_by_exception = ["syncope"]

[fhir.codes]
"{CODES}|fit" = "visit_kind=insertion"
"{CODES}|take-out" = "visit_kind=removal"
"{CODES}|check" = "visit_kind=follow_up"
"{CODES}|where" = "device_in_situ"
"{CODES}|grade" = "vasovagal_grade"
"{CODES}|pain" = "removal_reason_main=pain"
"""
Cells = list[list[str]]
Luck = random.Random


# The good logs


def insertion(woman: int) -> dict[str, object]:
    """The insertion of a woman; every fifth fails, and one in seven is finished by another."""
    return {
        "visit_date": f"2025-{woman % 9 + 1:02}-{woman % 27 + 1:02}",
        "visit_kind": "insertion",
        "parity_text": ("P0", "P2+1", "G3P2", "1 SVD 1 CS")[woman % 4],
        "device_class": ("lng_52", "copper_t_380")[woman % 2],
        "sound_length_mm": 70 + woman % 9,
        "insertion_outcome": "failed" if woman % 5 == 0 else "placed",
        "vasovagal_grade": woman % 3,
        "syncope": "no",
        "completed_by_ref": "C4" if woman % 7 == 0 else "",
    }


def later(woman: int) -> list[dict[str, object]]:
    """What became of the device: seen, expelled, a pregnancy, a removal or a replacement."""
    check: dict[str, object] = {
        "visit_date": f"2025-10-{woman % 27 + 1:02}",
        "visit_kind": "follow_up",
    }
    end: dict[str, object] = {
        "visit_date": f"2026-03-{woman % 27 + 1:02}",
        "visit_kind": "removal",
        "removal_reason_main": "pain",
    }
    expelled = {"device_in_situ": "complete_expulsion", "event_date_reported": "2025-09-30"}
    pregnant = {"pregnancy": "intrauterine", "pregnancy_conception_est": "2025-09-20"}
    again = {
        "visit_kind": "removal_and_replacement",
        "insertion_outcome": "placed",
        "replacement_at_once": "yes",
    }
    return [
        [check | {"device_in_situ": "in_situ_confirmed"}, end],
        [check | expelled],
        [check | pregnant | {"device_in_situ": "in_situ_confirmed"}, end],
        [check | {"device_in_situ": "in_situ_reported", "perforation_confirmed": "no"}, end | again],
    ][woman % 4]


def good_rows() -> Cells:
    """Headings and about 60 visits."""
    visits = [
        {"patient_ref": f"W{woman}", "site_ref": "Caf\u00e9", "clinician_ref": f"C{woman % 3}", **visit}
        for woman in range(1, 26)
        for visit in (insertion(woman), *later(woman))
    ]
    names = list(dict.fromkeys(name for visit in visits for name in visit))
    return [names, *([str(visit.get(name, "")) for name in names] for visit in visits)]


def as_csv(rows: Cells, luck: Luck | None = None) -> bytes:
    """The rows as text."""
    text = io.StringIO()
    delimiter = luck.choice(",,,;\t|") if luck else ","
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text.getvalue().encode(errors="replace")


def as_workbook(rows: Cells) -> bytes:
    """The rows as the sheet of a workbook."""
    book = openpyxl.Workbook()
    for row in rows:
        # The library itself refuses control characters in a cell.
        book.active.append(["".join(filter(str.isprintable, cell)) or None for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def as_parquet(rows: Cells) -> bytes:
    """The rows as columns of text; what is missing at the end of a row is null."""
    heading, *cells = rows
    columns = {
        name: [row[at] if at < len(row) else None for row in cells] for at, name in enumerate(heading) if name
    }
    out = io.BytesIO()
    pq.write_table(pa.table({name: pa.array(values, pa.string()) for name, values in columns.items()}), out)
    return out.getvalue()


def as_resources(rows: Cells) -> bytes:
    """The rows as FHIR, one resource per line."""
    lines = []
    for number, row in enumerate(rows[1:]):
        visit = dict(zip(rows[0], row, strict=False))
        kind = {"insertion": "fit", "removal": "take-out"}.get(visit.get("visit_kind", ""), "check")
        shared = {
            "subject": {"reference": f"Patient/{visit.get('patient_ref', '')}"},
            "encounter": {"reference": f"Encounter/E{number}"},
        }
        seen = {"system": CODES, "code": "where" if kind == "check" else "grade"}
        value = visit.get("device_in_situ", "") if kind == "check" else visit.get("vasovagal_grade", "")
        lines += [
            {"resourceType": "Encounter", "id": f"E{number}", "status": "finished"}
            | {"subject": shared["subject"], "period": {"start": visit.get("visit_date", "")}}
            | ({"type": [{"coding": [{"system": CODES, "code": kind}]}]} if kind == "check" else {}),
            {"resourceType": "Observation", "id": f"O{number}", "status": "final", **shared}
            | {"code": {"coding": [seen]}, "valueString": value},
        ]
        if kind != "check":
            done = {"status": "completed", "performedDateTime": visit.get("visit_date", "")}
            lines.append(
                {"resourceType": "Procedure", "id": f"P{number}", **shared, **done}
                | {"code": {"coding": [{"system": CODES, "code": kind}]}}
            )
    return "".join(json.dumps(line) + "\n" for line in lines).encode()


# The ways to spoil one

NASTY = (
    *(
        "",
        " ",
        "\u00a0",
        "\u200b",
        '"',
        '""',
        "'",
        ",",
        ";",
        "\t",
        "\n",
        "\r\n",
        "\r",
        "\0",
        "\x1a",
        "\ufeff",
    ),
    *(
        "NA",
        "unknown",
        "XZ9",
        "-1",
        "1e400",
        "nan",
        "inf",
        "1_000",
        "1,5",
        "9" * 400,
        "\u0663",
        "\u00b2",
        "=1+1",
    ),
    *(
        "31/04/2024",
        "03/04/2024",
        "9999-12-31",
        "0000-00-00",
        "2026-02-29",
        "45383",
        "60",
        "2025-07-01T23:59+14:00",
    ),
    *("insertion", "removal_and_replacement", "follow_up", "placed", "deferred_not_started", "died", "yes"),
    *(
        "complete_expulsion",
        "partial_expulsion",
        "not_in_uterus",
        "ectopic",
        "complete_extrauterine",
        "perforation",
    ),
    *(
        "W1",
        "C1",
        "\U0001f600",
        "\u202e",
        "\ud7ff",
        "a" * 1_200,
        "2000-01-01",
        "2099-12-31",
        "pain of 11",
        "\u2028",
    ),
)
PIECES = (
    b'"',
    b"\n",
    b"\r",
    b"\0",
    b"\xff",
    b"\xef\xbb\xbf",
    b"\xff\xfe",
    b",",
    b"PK\x03\x04",
    b"PAR1",
    b"{",
    b"\x1a",
)
ENCODINGS = (
    "utf-16",
    "utf-16-le",
    "utf-16-be",
    "utf-8-sig",
    "cp1252",
    "latin-1",
    "cp037",
    "utf-7",
    "utf-32",
    "cp850",
)


def flipped(octets: bytes, luck: Luck) -> bytes:
    """A few bytes changed."""
    spoilt = bytearray(octets)
    for _ in range(luck.randint(1, 8)):
        spoilt[luck.randrange(len(spoilt))] = luck.randrange(256)
    return bytes(spoilt)


def span(octets: bytes, luck: Luck) -> tuple[int, int]:
    """Where a piece begins and ends."""
    start = luck.randrange(len(octets))
    return start, min(len(octets), start + luck.choice((1, 7, 60, 700)))


def cut(octets: bytes, luck: Luck) -> bytes:
    """Broken off, or with a piece missing."""
    start, end = span(octets, luck)
    return octets[:start] + luck.choice((b"", octets[end:]))


def doubled(octets: bytes, luck: Luck) -> bytes:
    """A piece twice."""
    start, end = span(octets, luck)
    return octets[:end] + octets[start:]


def spliced(octets: bytes, luck: Luck) -> bytes:
    """A piece of somewhere else put in."""
    start, end = span(octets, luck)
    at = luck.randrange(len(octets) + 1)
    piece = luck.choice((octets[start:end], luck.choice(PIECES), luck.randbytes(luck.randint(1, 30))))
    return octets[:at] + piece + octets[at:]


def recoded(octets: bytes, luck: Luck) -> bytes:
    """In another encoding, or some lines of it in another."""
    text, name = octets.decode("utf-8", errors="replace"), luck.choice(ENCODINGS)
    if luck.random() < 0.5:
        return text.encode(name, errors="replace")
    lines = text.splitlines(keepends=True)
    return b"".join(line.encode(name if luck.random() < 0.1 else "utf-8", errors="replace") for line in lines)


def respaced(octets: bytes, luck: Luck) -> bytes:
    """With other line ends, on some lines or on all."""
    lines, ends = octets.split(b"\n"), (b"\r", b"\r\n", b"\n\n", b"\n\r", b"")
    share, end = luck.choice((0.05, 1.0)), luck.choice(ends)
    return b"".join(line + (end if luck.random() < share else b"\n") for line in lines)


BYTES: tuple[Callable[[bytes, Luck], bytes], ...] = (flipped, cut, doubled, spliced)


def place(rows: Cells, luck: Luck) -> tuple[int, int]:
    """Row and column of a cell; one in ten is a heading."""
    row = 0 if luck.random() < 0.1 else luck.randrange(len(rows))
    return row, luck.randrange(max(1, len(rows[row])))


def other_cells(rows: Cells, luck: Luck) -> None:
    """Cells replaced, taken out, put in or swapped."""
    for _ in range(luck.choice((1, 3, 20, 80))):
        (row, at), (other, there) = place(rows, luck), place(rows, luck)
        if not rows[row] or not rows[other]:
            continue
        match luck.randrange(6):
            case 0:
                del rows[row][at]
            case 1:
                rows[row].insert(at, luck.choice(NASTY))
            case 2:
                rows[row][at], rows[other][there] = rows[other][there], rows[row][at]
            case 3 if at < len(rows[other]):
                # The same column: what looks right and is wrong.
                rows[row][at], rows[other][at] = rows[other][at], rows[row][at]
            case _:
                rows[row][at] = luck.choice(NASTY)


def other_lines(rows: Cells, luck: Luck) -> None:
    """Lines taken out, doubled, moved or all shuffled; columns too."""
    for _ in range(luck.choice((1, 3, 20))):
        match luck.randrange(5):
            case 0 if len(rows) > 1:
                del rows[luck.randrange(len(rows))]
            case 1:
                rows.insert(luck.randrange(len(rows) + 1), list(luck.choice(rows)))
            case 2:
                rows[1:] = luck.sample(rows[1:], len(rows) - 1)
            case 3:
                at = luck.randrange(max(1, len(rows[0])))
                for row in rows:
                    del row[at : at + 1]
            case _:
                first, second = luck.randrange(len(rows)), luck.randrange(len(rows))
                rows[first], rows[second] = rows[second], rows[first]


def one_value(rows: Cells, luck: Luck) -> None:
    """The same value all down a column, or on all but a few rows."""
    at, value = luck.randrange(len(rows[0])), luck.choice((*NASTY, *(row[-1] for row in rows[:9] if row)))
    for row in rows[1:]:
        if at < len(row) and luck.random() < 0.9:
            row[at] = value


CELLS: tuple[Callable[[Cells, Luck], None], ...] = (other_cells, other_cells, other_lines, one_value)


def spoilt_parts(octets: bytes, luck: Luck) -> bytes:
    """A workbook with the inside of one part spoilt, sound as an archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(octets)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        names = old.namelist()
        chosen = luck.choice((*names, *["xl/worksheets/sheet1.xml"] * 6))
        for name in names:
            content = old.read(name)
            new.writestr(name, luck.choice(BYTES)(content, luck) if name == chosen else content)
    return out.getvalue()


@cache
def good(form: str) -> bytes:
    """The good log in one form."""
    makers = {"csv": as_csv, "xlsx": as_workbook, "parquet": as_parquet, "ndjson": as_resources}
    return makers[form](good_rows())


def variant(seed: int) -> tuple[str, bytes]:
    """A form, and a log of that form spoilt in one to three ways."""
    luck = Luck(seed)
    form = luck.choices(("csv", "xlsx", "parquet", "ndjson"), (14, 2, 2, 3))[0]
    octets = good(form)
    if luck.random() < 0.6:
        rows = good_rows()
        for _ in range(luck.randint(1, 2)):
            luck.choice(CELLS)(rows, luck)
            rows = rows or [["patient_ref"]]
        octets = {"csv": lambda cells: as_csv(cells, luck), "xlsx": as_workbook, "parquet": as_parquet}.get(
            form, as_resources
        )(rows)
        if luck.random() < 0.6:
            return form, octets
    if form == "xlsx" and luck.random() < 0.7:
        return form, spoilt_parts(octets, luck)
    ways = (*BYTES, recoded, respaced) if form in ("csv", "ndjson") else BYTES
    for _ in range(luck.randint(1, 2)):
        octets = luck.choice(ways)(octets, luck) or b"\n"
    return form, octets


# What must hold


@contextmanager
def in_time(seed: int) -> Iterator[None]:
    """Stop what takes too long."""

    def late(number: int, frame: FrameType | None) -> None:
        raise AssertionError(f"variant {seed} takes more than {SECONDS} seconds")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def check_rows(log: VisitLog, octets: bytes) -> None:
    """Every row is used or set aside, once, and there are as many as the file has."""
    rows = Counter[str]()
    for disposition, n in zip(log.accounting["disposition"], log.accounting["n"], strict=True):
        rows[disposition] += n
    assert rows["in"] == rows["used"] + rows["set_aside"] == log.sources[0].rows
    assert (rows["used"], rows["set_aside"]) == (len(log.visits), len(log.set_aside))
    lines = [*log.visits["row"], *log.set_aside["row"]]
    assert len(set(lines)) == len(lines)
    assert set(log.visits["patient_ref"]) <= set(log.patient_refs.index)
    if log.sources[0].encoding == "parquet":
        assert rows["in"] == pq.read_metadata(io.BytesIO(octets)).num_rows
    if log.sources[0].delimiter and log.sources[0].encoding.startswith("utf-8") and b'"' not in octets:
        # Without quotes a line is a row: the headings, the rows and the blank lines are all there is.
        text = octets.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        physical = text.count(b"\n") + (not text.endswith(b"\n"))
        assert physical == 1 + rows["in"] + rows["blank_line"]


def outcome(seed: int, folder: Path, settings: AuditSettings) -> str:
    """Whether a variant is read, with all its rows, or refused in words."""
    form, octets = variant(seed)
    path = folder / "visits"
    path.write_bytes(octets)
    with in_time(seed):
        try:
            log = load_visits(path, settings, allow_set_aside=True)
        except AuditError as refusal:
            return f"{form} refused" if str(refusal).endswith((".", "?")) else "refused without a sentence"
        check_rows(log, octets)
        cohort = derive_cohort(log, settings)
    told = set(zip(log.visits["source"], log.visits["row"], strict=True))
    assert set(zip(cohort.attempts["source"], cohort.attempts["row"], strict=True)) <= told
    assert (cohort.placements["exit_day_last_known"] >= 0).all()
    return f"{form} read"


def by_command(seed: int, folder: Path) -> int:
    """The exit code of the command line on the variant that lies in the folder."""
    words = ["check", str(folder / "visits"), "--settings", str(folder / "clinic.toml"), "--allow-set-aside"]
    if seed // EVERY % 4 == 0:
        words = ["run", *words[1:], "--period", "2025-Q3", "--out", str(folder / "out"), "--force"]
    said = io.StringIO()
    with redirect_stdout(io.StringIO()), redirect_stderr(said):
        code = main(words)
    assert code in (0, 2, 3), said.getvalue()
    assert "Traceback" not in said.getvalue()
    return code


def survey(seeds: Iterable[int], folder: Path) -> Counter[str]:
    """The outcomes of many variants, some of them by the command line."""
    folder.mkdir(exist_ok=True)
    (folder / "clinic.toml").write_text(SETTINGS, encoding="utf-8")
    settings, found = read_settings(folder / "clinic.toml"), Counter[str]()
    for seed in seeds:
        try:
            found[outcome(seed, folder, settings)] += 1
            if seed % EVERY == 0:
                found[f"command {by_command(seed, folder)}"] += 1
        except Exception as fault:
            raise AssertionError(f"variant {seed}: {type(fault).__name__}: {fault}") from fault
    return found


def survey_in_halves(first: int, last: int, folder: Path) -> Counter[str]:
    """The same with the second half in a process of its own: two cores are what a machine for tests has."""
    middle = (first + last) // 2
    words = [sys.executable, "-W", "error", __file__, str(middle), str(last), str(folder / "half")]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        found = survey(range(first, middle), folder)
        out, err = process.communicate()
    assert process.returncode == 0, err
    return found + Counter(json.loads(out))


def test_the_good_logs_are_read_whole(tmp_path: Path) -> None:
    (tmp_path / "clinic.toml").write_text(SETTINGS, encoding="utf-8")
    settings = read_settings(tmp_path / "clinic.toml")
    for form in ("csv", "xlsx", "parquet", "ndjson"):
        (tmp_path / "visits").write_bytes(good(form))
        log = load_visits(tmp_path / "visits", settings)
        assert (len(log.visits), len(log.set_aside)) == (len(good_rows()) - 1, 0), form


def test_100_spoilt_logs_are_read_with_every_row_or_refused(tmp_path: Path) -> None:
    found = survey_in_halves(0, 100, tmp_path)
    assert found["refused without a sentence"] == 0
    # A generator whose files were all refused, or all fine, would test little.
    assert found["csv read"] > 25
    assert found["csv refused"] > 10
    assert min(found[f"{form} read"] for form in ("xlsx", "parquet", "ndjson")) > 0
    assert found["command 0"] + found["command 3"] == 2


@pytest.mark.slow
def test_2000_spoilt_logs_are_read_with_every_row_or_refused(tmp_path: Path) -> None:
    found = survey_in_halves(1_000, 3_000, tmp_path)
    assert found["refused without a sentence"] == 0
    assert found["csv read"] > 600
    assert found["command 0"] + found["command 3"] == 40


if __name__ == "__main__":
    sys.stdout.write(json.dumps(survey(range(int(sys.argv[1]), int(sys.argv[2])), Path(sys.argv[3]))))
