"""The check of a log as a page: what it says, what it never holds, and when it is written."""

import base64
import csv
import hashlib
import itertools
import json
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.check import check_results
from audit.cli import main
from audit.cohort import derive_cohort
from audit.errors import OutputError
from audit.ingest.load import load_visits
from audit.records import AuditResults
from audit.schema.indicators import INDICATORS
from audit.settings import AuditSettings, Layout, read_settings
from reports import write_check
from reports.check_page import render_check
from reports.figures.missingness import SHADES, shade
from reports.one_file import require_replaceable_file, signed
from reports.page import asset
from reports.sections.places import lines_of
from reports.sections.usable import first_fix, usable
from synthetic_data.demo import write_demo

HEADING = "patient_ref,visit_date,visit_kind,insertion_outcome"
DONE, REFUSED, NOT_WRITTEN = 0, 3, 4
Log = Callable[..., Path]


class _Page(HTMLParser):
    """The elements of a page with their attributes, its words outside the style, and what is not closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.broken: list[str] = []
        self.words = ""
        self.feed(text)
        self.words = " ".join(self.words.split())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.broken.append(tag)

    def handle_data(self, data: str) -> None:
        if self.open[-1:] != ["style"]:
            self.words += data if self.open[-1:] in (["strong"], ["a"]) else f" {data}"


@pytest.fixture
def log(tmp_path: Path) -> Log:
    """Write a log of these rows under a heading."""

    def write(*rows: str, heading: str = HEADING, name: str = "visits.csv") -> Path:
        path = tmp_path / name
        path.write_text("\n".join([heading, *rows]) + "\n", encoding="utf-8")
        return path

    return write


def checked(path: Path, settings: AuditSettings | None = None, *, refused: bool = False) -> AuditResults:
    """The tables of a check."""
    rules = settings or AuditSettings()
    visits = load_visits(path, rules, allow_set_aside=True)
    return check_results(visits, derive_cohort(visits, rules), rules, refused=refused)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The log and settings of the invented service."""
    log, settings = write_demo(tmp_path_factory.mktemp("demo"))[:2]
    return log, settings


@pytest.fixture(scope="module")
def demo_check(demo: tuple[Path, Path]) -> AuditResults:
    """The check of the invented service's log."""
    return checked(demo[0], read_settings(demo[1]))


@pytest.fixture(scope="module")
def text(demo_check: AuditResults) -> str:
    """Its page."""
    return render_check(demo_check)


@pytest.fixture(scope="module")
def page(text: str) -> _Page:
    """The same, parsed."""
    return _Page(text)


# What it says


def test_the_head_says_what_was_read_and_whether_it_can_be_used(
    page: _Page, demo_check: AuditResults
) -> None:
    assert f"File 1 14,496 rows, SHA-256 {demo_check.sources[0].sha256[:12]}" in page.words
    assert "Rows 14,481 used, 15 set aside, of 14,496 Data to 14 October 2026" in page.words
    available = demo_check.tables["indicator_availability"]["available"]
    figures = f"for {available.sum()} of {len(INDICATORS)} figures of the audit."
    assert f"This log can be used: 14,481 of 14,496 rows, {figures}" in page.words
    assert "Fix first. “Pregnancy” is missing from 5,411 of 8,430 rows it applies to" in page.words


def test_rows_set_aside_stand_by_reason_with_a_few_lines(page: _Page, demo_check: AuditResults) -> None:
    reasons = demo_check.tables["set_aside"]["reason"].value_counts()
    assert reasons["duplicate_row"] == 6
    assert "The same line twice – 6 3566, 5331, 7505, 8378, 12247 and 1 more" in page.words
    assert (
        "Code not understood How the insertion ended (Result) 3 1055, 3394, 7090 Is not a code" in page.words
    )


def test_points_stand_by_site_under_the_heading_of_the_log(page: _Page) -> None:
    assert "58 points to look up: 35 at HARBOUR and 23 at MEADOW" in page.words
    assert "Out of range Age (Age) 2 735, 9374 Lies outside the possible range." in page.words


def test_the_page_says_how_dates_and_units_were_read(page: _Page) -> None:
    assert "Dates are read day first, as 30/09/2026: the settings say so." in page.words
    assert "day of the visit (5,217 of 14,487)" in page.words
    assert "Length of the uterus (Sound (cm)) cm the settings say so" in page.words


def test_a_figure_that_is_off_comes_with_the_field_that_would_switch_it_on(
    page: _Page, demo_check: AuditResults
) -> None:
    off = (~demo_check.tables["indicator_availability"]["available"]).sum()
    assert f"{off} of {len(INDICATORS)} figures cannot be given from this log" in page.words
    assert "passes at the visit (attempts_same_visit)" in page.words


def test_the_map_shows_the_share_of_the_table_in_every_cell(text: str, demo_check: AuditResults) -> None:
    table = demo_check.tables["missingness"]
    own = table[(table["by"] == "site_ref") & (table["column"] == "pain_score")]
    cells = [f'<td class="{shade(p)}">{100 * p:.0f}</td>' for p in own["proportion"]]
    assert f'<tr><th scope="row">Pain score</th>{"".join(cells)}</tr>' in text
    counts = [f"<td>{events:,} of {n:,}</td>" for events, n in own[["events", "n"]].to_numpy()]
    assert f'<tr><th scope="row">Pain score</th>{"".join(counts)}</tr>' in text


def test_absent_undue_and_missing_are_told_apart(log: Log) -> None:
    rows = [f"W{n},2026-07-{n:02},insertion,placed,S{n % 2},{'' if n < 7 else 4}," for n in range(1, 13)]
    rows.append("W1,2026-10-05,follow_up,,S1,,in_situ_confirmed")
    text = render_check(checked(log(*rows, heading=f"{HEADING},site_ref,pain_score,device_in_situ")))
    assert '<tr><th scope="row">Age</th><td class="absent" colspan="2">not in this log</td></tr>' in text
    # Each site has six insertions: too few for a percentage.
    assert '<th scope="row">Pain score</th><td class="few">3 of 6</td><td class="few">3 of 6</td>' in text
    # July to October: twelve insertions in the first month, none later.
    undue = '<td class="undue">–</td>' * 3
    assert f'<tr><th scope="row">Pain score</th><td class="m4">50</td>{undue}</tr>' in text


@pytest.mark.parametrize(
    ("share", "expected"), [(0.0, "m0"), (0.049, "m1"), (0.05, "m2"), (0.5, "m4"), (0.8, "m5"), (1.0, "m5")]
)
def test_a_shade_begins_where_the_key_says(share: float, expected: str) -> None:
    assert shade(share) == expected
    assert len(SHADES) == 5


def test_a_log_without_sites_has_a_map_over_time_only(log: Log) -> None:
    text = render_check(checked(log("W1,2026-07-01,insertion,placed", "W2,2026-08-01,insertion,")))
    assert 'id="missing-by-month"' in text
    assert "missing-by-site" not in text


def test_a_long_list_of_sites_and_lines_is_cut_short(log: Log) -> None:
    rows = [
        f"W{n},2026-07-{1 + n % 28:02},insertion,placed,{999 if n % 5 > 2 else 30},SITE{n // 5}"
        for n in range(300)
    ]
    text = render_check(checked(log(*rows, heading=f"{HEADING},age_years,site_ref")))
    words = _Page(text).words
    assert "The 12 sites with the most rows are shown; 48 others not." in words
    assert "36 more sites are not shown." in words
    assert len(text.encode()) < 300_000


# Whether it can be used


def test_a_log_with_headings_only_says_so(log: Log) -> None:
    results = checked(log())
    assert usable(results) == "There is nothing to use: the log has headings and no rows."
    assert first_fix(results) is None
    page = _Page(render_check(results))
    assert (page.broken, page.open) == ([], [])
    assert "Data to – " in page.words


def test_one_row_is_enough_for_a_page(log: Log) -> None:
    results = checked(log("W1,2026-07-01,insertion,placed"))
    told = f"for 1 of {len(INDICATORS)} figures of the audit."
    assert usable(results) == f"This log can be used: its one row, {told}"
    fix = first_fix(results)
    assert fix is not None
    assert (fix.label, fix.section) == ("Add first.", "figures")
    assert "would give 10 more figures" in fix.sentence
    assert _Page(render_check(results)).broken == []


def test_too_many_rows_set_aside_come_first(log: Log) -> None:
    path = log(*(f"W{n},2026-07-{30 + n},insertion,placed" for n in range(5)))
    results = checked(path, refused=True)
    assert usable(results).startswith("This log cannot be used as it stands: 3 of 5 rows had to be set aside")
    fix = first_fix(results)
    assert fix is not None
    assert fix.sentence.startswith("3 rows set aside (lines 4, 5, 6). “Day of the visit” is not a date")
    assert usable(checked(path)).startswith("This log can be used with care: 3 of 5 rows")


def test_a_log_of_which_nothing_is_used_still_has_a_page(log: Log) -> None:
    results = checked(log("W1,soon,insertion,placed"), refused=True)
    assert usable(results) == "This log cannot be used: 1 of 1 row had to be set aside."
    assert "No row is used, so nothing can be counted" in _Page(render_check(results)).words


def test_a_field_on_the_wrong_scale_is_fixed_before_single_values(log: Log) -> None:
    rows = [f"W{n},2026-07-{n:02},insertion,placed,{400 + n},{'' if n > 1 else 999}" for n in range(1, 10)]
    fix = first_fix(checked(log(*rows, heading=f"{HEADING},sound_length_mm,age_years")))
    assert fix is not None
    assert fix.sentence.startswith("“Length of the uterus” lies above the scale")


def test_a_field_that_a_figure_rests_on_is_named_with_what_rests_on_it(log: Log) -> None:
    rows = [f"W{n},2026-07-{n:02},insertion,placed,{0 if n < 3 else ''}" for n in range(1, 11)]
    fix = first_fix(checked(log(*rows, heading=f"{HEADING},vasovagal_grade")))
    assert fix is not None
    assert fix.sentence == (
        "“Grade of the vasovagal reaction” is missing from 8 of 10 rows it applies to; “Vasovagal reactions”, "
        "“Emergency drug or transfer”, “When reactions began” and 1 more figure rest on it. Fill it in."
    )


def test_lines_of_several_files_name_the_file() -> None:
    rows = [{"source": 2, "row": 7}, {"source": 1, "row": 3}, {"source": 1, "row": 3}]
    assert lines_of(rows, most=5) == "file 1: 3; file 2: 7"
    assert lines_of([{"source": 0, "row": 0}], most=5) == "whole column"


# What it never holds


@pytest.mark.parametrize("order", ["iso", "day_month_year"])
def test_no_reference_day_text_or_bad_value_is_on_the_page(log: Log, order: str) -> None:
    rows = [
        "CANARYWOMAN1,CANARYVISIT1,2026-07-01,insertion,placed,31,CANARYNOTE",
        "CANARYWOMAN2,CANARYVISIT2,CANARYDAY,insertion,placed,31,CANARYNOTE",
        "CANARYWOMAN3,CANARYVISIT3,2026-07-02,CANARYKIND,placed,31,CANARYNOTE",
        "CANARYWOMAN4,CANARYVISIT4,2026-07-03,insertion,CANARYOUTCOME,31,CANARYNOTE",
        "CANARYWOMAN5,CANARYVISIT5,2026-07-04,insertion,placed,731,CANARYNOTE",
        "CANARYWOMAN6,CANARYVISIT6,2026-09-17,insertion,placed,CANARYAGE,CANARYNOTE",
        "CANARYWOMAN7,CANARYVISIT7,2026-09-18,insertion,placed,31,CANARYNOTE,too,many",
    ]
    path = log(
        *rows, heading="patient_ref,visit_ref,visit_date,visit_kind,insertion_outcome,age_years,remark"
    )
    settings = AuditSettings(layout=Layout(date_order=order))  # type: ignore[arg-type]
    words = _Page(render_check(checked(path, settings))).words
    assert "CANARY" not in words
    assert "731" not in words
    # The freeze is the last day that is used, and stands there once.
    assert re.findall(r"\d{4}-\d{2}-\d{2}", words.replace("2026-09-30", "")) == []
    assert re.findall(r"\d+ [A-Z][a-z]+ 2026", words) == ["17 September 2026"]


def test_no_reference_of_the_demo_is_on_the_page(demo: tuple[Path, Path], text: str) -> None:
    with demo[0].open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    tokens = set(re.findall(r"\w+", text))
    for heading in ("Client no", "Visit no"):
        assert len({row[heading] for row in rows}) > 1000
        assert not {row[heading] for row in rows} & tokens


def test_the_file_is_numbered_and_never_named(log: Log) -> None:
    path = log("W1,2026-07-01,insertion,placed", "W2,2026-07-33,insertion,placed", name="jane_doe.csv")
    text = render_check(checked(path))
    assert "File 1" in text
    assert "jane" not in text


def test_hostile_codes_of_sites_and_headings_stay_text(log: Log) -> None:
    nasty = "<script>window.hacked=1</script><img src=x onerror=hacked()>{{7*7}}&"
    rows = [f"W{n},2026-07-{n:02},insertion,placed,{nasty},{999 if n < 3 else 30}" for n in range(1, 13)]
    path = log(*rows, heading=f"{HEADING},site_ref,<b>age")
    settings = AuditSettings(service=nasty, layout=Layout(headings={"age_years": "<b>age"}))
    text = render_check(checked(path, settings))
    page = _Page(text)
    assert (page.broken, page.open) == ([], [])
    assert not {"script", "img", "b"} & {tag for tag, _ in page.tags}
    assert "{{7*7}}" in text
    assert "Age (<b>age)" in page.words


def test_nothing_is_fetched_and_nothing_runs(page: _Page, text: str) -> None:
    assert not {"script", "link", "img", "iframe"} & {tag for tag, _ in page.tags}
    assert not [
        name for _, named in page.tags for name in named if name.startswith("on") or name in ("src", "style")
    ]
    assert all(str(named["href"]).startswith("#") for _, named in page.tags if "href" in named)
    style = re.search(r"<style>(.*?)</style>", text, flags=re.DOTALL)
    assert style is not None
    assert "url(" not in style[1]
    assert "@import" not in style[1]
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    policy = next(str(named["content"]) for _, named in page.tags if named.get("http-equiv"))
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


# How it is made


def test_it_is_well_formed_and_every_link_arrives(page: _Page) -> None:
    assert (page.broken, page.open) == ([], [])
    ids = [named["id"] for _, named in page.tags if "id" in named]
    assert len(set(ids)) == len(ids)
    assert {str(named["href"])[1:] for _, named in page.tags if "href" in named} <= set(ids)
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    tags = [tag for tag, _ in page.tags]
    assert tags.count("caption") == tags.count("table")
    assert all(named.get("scope") for tag, named in page.tags if tag == "th")


def test_it_is_small_and_the_same_every_time(demo_check: AuditResults, text: str) -> None:
    assert render_check(demo_check) == text
    assert len(text.encode()) < 300_000


def _luminance(colour: str) -> float:
    """Relative luminance as the Web Content Accessibility Guidelines 2.2 define it."""
    channels = np.array([int(colour[place : place + 2], 16) for place in (1, 3, 5)]) / 255
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def _contrast(one: str, two: str) -> float:
    """Contrast ratio of the same guidelines."""
    low, high = sorted((_luminance(one), _luminance(two)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
def test_shades_deepen_steadily_and_their_figures_can_be_read(theme: int) -> None:
    # Luminance alone tells them apart, so that it does not matter how a reader sees the hue.
    style = asset("page.css")
    named = {
        name: re.findall(rf"--{name}: (#[0-9a-f]{{6}})", style)[theme] for name in ("ink", "paper", "on-deep")
    }
    shades = [re.findall(rf"--m{number}: (#[0-9a-f]{{6}})", style)[theme] for number in range(1, 6)]
    lights = [_luminance(colour) for colour in (named["paper"], *shades)]
    assert lights == sorted(lights, reverse=theme == 0)
    assert (
        min(_contrast(one, two) for one, two in zip((named["paper"], *shades), shades, strict=False)) > 1.15
    )
    words = [named["ink"]] * 3 + [named["on-deep"]] * 2
    assert min(_contrast(word, colour) for word, colour in zip(words, shades, strict=True)) >= 4.5


# When it is written


def test_the_command_writes_the_page_and_the_same_bytes_again(
    log: Log, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, out = log("W1,2026-07-01,insertion,placed"), tmp_path / "made" / "check.html"
    arguments = ["check", str(path), "--html", str(out)]
    assert main(arguments) == DONE
    first = out.read_bytes()
    assert capsys.readouterr().out == f"1 rows in = 1 used + 0 set aside\nOpen {out}\n"
    assert main(arguments) == DONE
    assert out.read_bytes() == first
    assert sorted(path.name for path in out.parent.iterdir()) == ["check.html"]
    assert main([*arguments, "--json"]) == DONE
    assert json.loads(capsys.readouterr().out.split("\n", 2)[2])["html"] == str(out)


def test_with_too_many_rows_set_aside_the_page_is_written_and_the_log_refused(
    log: Log, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "check.html"
    path = log("W1,2026-07-01,insertion,placed", "W2,2026-07-32,insertion,placed")
    assert main(["check", str(path), "--html", str(out)]) == REFUSED
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.endswith(f"Open {out} to see which rows.\n")
    assert "cannot be used as it stands" in out.read_text(encoding="utf-8")
    assert main(["check", str(path), "--html", str(out), "--allow-set-aside"]) == DONE
    assert "can be used with care" in out.read_text(encoding="utf-8")


def test_a_log_with_identifiers_gets_no_page(log: Log, tmp_path: Path) -> None:
    out = tmp_path / "check.html"
    rows = [f"W{n},2026-07-{n:02},insertion,placed,woman{n}@example.org" for n in range(1, 9)]
    assert main(["check", str(log(*rows, heading=f"{HEADING},email")), "--html", str(out)]) == REFUSED
    assert not out.exists()


def test_a_file_of_someone_else_or_one_that_was_changed_is_left_as_it_is(log: Log, tmp_path: Path) -> None:
    out, arguments = tmp_path / "check.html", ["check", str(log("W1,2026-07-01,insertion,placed")), "--html"]
    for held in ("my own page", signed("<p>ours</p>").decode().replace("ours", "changed")):
        out.write_text(held, encoding="utf-8")
        assert main([*arguments, str(out)]) == NOT_WRITTEN
        assert out.read_text(encoding="utf-8") == held
    assert main([*arguments, str(out), "--force"]) == DONE
    assert main([*arguments, str(tmp_path), "--force"]) == NOT_WRITTEN


def test_a_file_that_was_read_is_never_replaced(log: Log, tmp_path: Path) -> None:
    path = log("W1,2026-07-01,insertion,placed")
    held = path.read_bytes()
    assert main(["check", str(path), "--html", str(path), "--force"]) == NOT_WRITTEN
    assert path.read_bytes() == held
    with pytest.raises(OutputError, match=r"is a file that was read"):
        require_replaceable_file(path, force=True, inputs=[path])


def test_a_place_that_cannot_be_written_is_said_so(log: Log, tmp_path: Path) -> None:
    path = log("W1,2026-07-01,insertion,placed")
    with pytest.raises(OutputError, match=r"cannot be written"):
        write_check(checked(path), path / "check.html")


def test_the_check_of_the_same_log_under_another_name_is_the_same_page(
    demo_check: AuditResults, text: str
) -> None:
    renamed = tuple(replace(source, name="other.csv") for source in demo_check.sources)
    assert render_check(replace(demo_check, sources=renamed)) == text


def test_the_tables_hold_no_value_and_no_frame_is_changed(log: Log) -> None:
    results = checked(log("W1,2026-07-01,insertion,placed", "W2,2026-07-33,insertion,placed"))
    assert list(results.tables["set_aside"].columns) == ["source", "row", "column", "reason", "message"]
    before = {name: table.copy() for name, table in results.tables.items()}
    render_check(results)
    for name, table in results.tables.items():
        pd.testing.assert_frame_equal(table, before[name])
