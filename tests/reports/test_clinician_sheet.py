"""Each clinician's own sheet: what it says, what it never holds, and the names of its file."""

import base64
import csv
import hashlib
import re
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest

from audit.cli import main
from audit.ingest.load import load_visits
from audit.ingest.parse import cleaned
from audit.records import AuditResults
from audit.run import run_audit
from reports.clinician_sheet import FOR_LEARNING, clinician_pages, clinicians, own_results, render_sheet
from reports.file_names import file_stem, printable
from reports.folder import changed_files

RULE = "at least three other clinicians have 20 or more known outcomes each"


class _Page(HTMLParser):
    """The elements of a page, its words outside the style, and what is not closed."""

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
            self.words += data if self.open[-1:] in (["strong"], ["bdi"], ["a"]) else f" {data}"


@pytest.fixture(scope="module")
def pages(demo_results: AuditResults) -> Mapping[str, str]:
    """The sheets of the invented service."""
    return clinician_pages(demo_results)


@pytest.fixture(scope="module")
def said(pages: Mapping[str, str]) -> dict[str, str]:
    """The words of each sheet, by code."""
    return {Path(name).stem: _Page(text).words for name, text in pages.items()}


def figure(results: AuditResults, code: str, name: str, window: str = "rolling_12_months") -> pd.Series:
    """One own figure from its table."""
    table = results.tables["clinician_figures"]
    own = table[(table["stratum"] == code) & (table["figure"] == name) & (table["window"] == window)]
    return own.iloc[0]


# What it says


def test_everyone_with_an_insertion_in_twelve_months_has_a_sheet_and_a_line_in_the_list(
    pages: Mapping[str, str], demo_results: AuditResults
) -> None:
    counts = demo_results.tables["clinician_volume"]
    codes = sorted(set(counts["stratum"]) - {"not recorded"})
    assert len(codes) > 10
    assert set(pages) == {"clinicians/index.html", *(f"clinicians/{code}.html" for code in codes)}
    links = [
        attributes["href"] for tag, attributes in _Page(pages["clinicians/index.html"]).tags if tag == "a"
    ]
    assert links == [f"{code}.html" for code in codes]


def test_the_own_figure_stands_beside_what_the_service_makes_ordinary(
    said: Mapping[str, str], demo_results: AuditResults
) -> None:
    row = figure(demo_results, "C11", "failed")
    words = said["C11"]
    assert f"{row['events']} of {row['n']} attempts made alone failed" in words
    assert (
        f"Ordinary in {row['n']}: {row['least']:.0f} to {row['most']:.0f}, at the service’s figure" in words
    )
    assert f"(about {100 * row['service']:.0f} in 100)" in words
    assert (
        f"about {row['expected']:.0f} were to be expected; yours are {row['ratio']:.1f} times as many"
        in words
    )
    begun = demo_results.tables["clinician_counts"]
    n = begun[(begun["stratum"] == "C11") & (begun["item"] == "begun")].set_index("window")["n"]
    assert f"Insertions begun {n['period']} {n['rolling_12_months']} {n['all']}" in words


def test_a_mark_is_told_with_the_order_of_looking_and_the_others_lie_within(
    said: Mapping[str, str], demo_results: AuditResults
) -> None:
    table = demo_results.tables["clinician_figures"]
    failed = table[(table["figure"] == "failed") & (table["window"] == "rolling_12_months")]
    marked = set(failed.loc[failed["signal"].isin(["ask", "review"]), "stratum"])
    assert marked == {"C11"}
    assert "More of your attempts failed than chance allows (95% limit)." in said["C11"]
    assert "Look in this order: the data, the women, equipment and setting, chance, practice." in said["C11"]
    within = set(failed.loc[failed["signal"] == "none", "stratum"])
    assert len(within) > 5
    assert all("Your failures lie within what chance allows." in said[code] for code in within)


def test_none_failed_is_told_with_what_is_still_possible(
    said: Mapping[str, str], demo_results: AuditResults
) -> None:
    row = figure(demo_results, "C12", "failed")
    assert (row["events"], row["n"] >= 20) == (0, True)
    assert "43 placed a device, none failed and the outcome of 2 is not recorded." in said["C12"]
    assert f"None of {row['n']} attempts made alone failed" in said["C12"]
    assert f"up to {100 * row['exact_upper']:.1f}% is still possible; 2 not recorded" in said["C12"]
    assert f"you had none (up to {row['ratio_upper']:.1f} times as many is still possible)" in said["C12"]


def test_below_20_there_are_counts_alone(said: Mapping[str, str], demo_results: AuditResults) -> None:
    row = figure(demo_results, "C14", "failed")
    assert row["n"] < 20
    assert f"None of {row['n']} attempts made alone failed fewer than 20: the counts alone" in said["C14"]
    assert "Fewer than 20 attempts that you made alone have a known outcome" in said["C14"]
    supervised = figure(demo_results, "C14", "failed_supervised")
    assert f"{supervised['events']} of {supervised['n']} attempts under supervision failed" in said["C14"]


def test_own_cases_stand_by_visit_with_the_reason_and_the_woman(
    pages: Mapping[str, str], demo_results: AuditResults
) -> None:
    events = demo_results.tables["clinician_events"]
    own = events[events["clinician_ref"] == "C11"]
    text = pages["clinicians/C11.html"]
    for kind in ("failed", "perforation", "reaction", "expulsion"):
        refs = own.loc[own["kind"] == kind, "visit_ref"]
        assert len(refs)
        assert all(f'<th scope="row">{ref}</th>' in text for ref in refs), kind
    first = (
        '<td class="text">Internal os not passed</td><td class="short">Could not be passed</td>'
        '<td class="text">No births; age 25 to 29; emergency</td>'
    )
    assert first in text
    others = events.loc[events["clinician_ref"] != "C11", "visit_ref"]
    assert not [ref for ref in set(others) - set(own["visit_ref"]) if ref in text]


def test_a_long_list_of_events_is_cut_and_says_so(demo_results: AuditResults) -> None:
    events = demo_results.tables["clinician_events"]
    one = events[events["kind"] == "expulsion"].head(1).assign(clinician_ref="C11", n_of_kind=40)
    many = pd.concat([one.assign(visit_ref=f"X{number:02}") for number in range(25)])
    results = replace(demo_results, tables={**demo_results.tables, "clinician_events": many})
    text = render_sheet(own_results(results, "C11"), "C11")
    assert "The latest of each kind are listed: 12 of 40." in text
    assert ("X11" in text, "X12" in text) == (True, False)


def test_the_least_complete_field_comes_first(said: Mapping[str, str], demo_results: AuditResults) -> None:
    table = demo_results.tables["clinician_completeness"]
    own = table[(table["stratum"] == "C11") & (table["column"] != "all")]
    worst = own.sort_values("proportion").iloc[0]
    assert worst["column"] == "pain_score"
    assert f"Most often left blank: pain score, {worst['n'] - worst['events']} of {worst['n']}" in said["C11"]


def test_the_sentence_for_learning_is_on_top_and_on_every_printed_page(pages: Mapping[str, str]) -> None:
    for name, text in pages.items():
        assert f"<strong>{FOR_LEARNING}</strong>" in text, name
        if "index" not in name:
            assert text.index(FOR_LEARNING) < text.index('<p class="answer">')
            code = Path(name).stem
            foot = re.search(r'@bottom-left \{ content: "([^"]*)"', text)
            assert foot is not None
            assert foot.group(1) == f"Own sheet of {code}. {FOR_LEARNING} Not for release"


def test_nobody_is_ranked_or_judged(said: Mapping[str, str]) -> None:
    unwelcome = re.compile(
        r"\b(rank\w*|best|worst|better|worse|outlier\w*|poor\w*|good|bad|league|peers?|top)\b", re.I
    )
    for code, words in said.items():
        assert unwelcome.findall(words) == [], code
        assert (
            "A signal is a reason to look at cases, never a finding about a person." in words
            or code == "index"
        )


def test_the_rule_of_who_is_told_is_stated(said: Mapping[str, str]) -> None:
    for code in ("C11", "C14"):
        assert RULE in said[code]


# What it never holds


def test_no_other_clinicians_code_is_anywhere_in_a_sheet(
    pages: Mapping[str, str], demo_results: AuditResults
) -> None:
    codes = clinicians(demo_results)
    for code in codes:
        text = pages[f"clinicians/{code}.html"]
        assert [other for other in codes if other != code and re.search(rf"\b{other}\b", text)] == []


def test_a_sheet_does_not_change_with_anything_that_stands_in_anothers_rows(
    pages: Mapping[str, str], demo_results: AuditResults
) -> None:
    def scrambled(table: pd.DataFrame) -> pd.DataFrame:
        key = "clinician_ref" if "clinician_ref" in table else "stratum"
        if key not in table or "C11" not in set(table[key]):
            return table.iloc[:0]
        changed = table.copy()
        others = changed[key] != "C11"
        for name in changed.columns.difference([key, "window", "item", "figure", "kind", "column"]):
            changed.loc[others, name] = changed.loc[others, name].sample(frac=1, random_state=1).to_numpy()
        return changed

    results = replace(
        demo_results,
        tables={name: scrambled(table) for name, table in demo_results.tables.items()},
        sources=(),
        versions={},
        gate="bounds_only",
    )
    assert clinician_pages(results)["clinicians/C11.html"] == pages["clinicians/C11.html"]


def test_a_sheet_is_made_from_own_rows_and_nothing_that_tells_of_others(demo_results: AuditResults) -> None:
    own = own_results(demo_results, "C11")
    assert set(own.tables) == {
        "clinician_counts",
        "clinician_figures",
        "clinician_completeness",
        "clinician_events",
    }
    for name, table in own.tables.items():
        key = "clinician_ref" if name == "clinician_events" else "stratum"
        assert set(table[key]) == {"C11"}, name
    assert (own.sources, own.versions, own.key_id, own.gate) == ((), {}, "", "")
    assert own_results(demo_results, "nobody").tables == {}


def visits(folder: Path, rows: Sequence[tuple[str, str, int]]) -> Path:
    """A log from (clinician, outcome, how many), a day and a woman each."""
    path = folder / "visits.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["patient_ref", "visit_date", "visit_kind", "clinician_ref", "insertion_outcome"])
        women = 0
        for clinician, outcome, number in rows:
            for _ in range(number):
                day = f"2026-{7 + women % 3:02}-{1 + women % 28:02}"
                writer.writerow([f"W{women}", day, "insertion", clinician, outcome])
                women += 1
    return path


def test_with_one_colleague_a_sheet_is_the_same_whatever_the_colleague_did(tmp_path: Path) -> None:
    own = [("A7", "failed", 3), ("A7", "placed", 30)]
    written = []
    for failed in (1, 29):
        log = visits(tmp_path, [*own, ("B8", "failed", failed), ("B8", "placed", 40 - failed)])
        results = run_audit(load_visits([log]), period="2026-Q3")
        written.append(clinician_pages(results)["clinicians/A7.html"])
    assert written[0] == written[1]
    words = _Page(written[0]).words
    assert "3 of 33 attempts made alone failed" in words
    assert "Your failures are compared with nobody’s" in words
    assert f"told only where {RULE}" in words
    assert "Ordinary in" not in words
    assert "to be expected" not in words


# As a file


def test_a_sheet_runs_nothing_and_lets_in_its_own_style_alone(pages: Mapping[str, str]) -> None:
    for name, text in pages.items():
        page = _Page(text)
        assert (page.broken, page.open) == ([], []), name
        tags = [tag for tag, _ in page.tags]
        assert not {"script", "img", "iframe", "link", "object"} & set(tags)
        assert not [
            attributes for _, attributes in page.tags if "style" in attributes or "onload" in attributes
        ]
        policy = next(
            str(attributes["content"])
            for tag, attributes in page.tags
            if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy"
        )
        style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
        assert style is not None
        digest = base64.b64encode(hashlib.sha256(unescape(style.group(1)).encode()).digest()).decode()
        assert f"default-src 'none'; style-src 'sha256-{digest}'" in policy


def test_a_sheet_is_small_and_thirty_take_less_than_a_second(demo_results: AuditResults) -> None:
    pages = clinician_pages(demo_results)
    assert max(len(text.encode()) for text in pages.values()) < 80_000
    began = time.process_time()
    again = clinician_pages(demo_results)
    each = (time.process_time() - began) / len(again)
    assert again == pages
    assert 30 * each < 1.0


def test_nothing_of_the_results_is_changed(demo_results: AuditResults) -> None:
    before = {name: table.copy() for name, table in demo_results.tables.items()}
    clinician_pages(demo_results)
    for name, table in demo_results.tables.items():
        pd.testing.assert_frame_equal(before[name], table)


def test_without_clinicians_the_list_says_why(make_results: Callable[..., AuditResults]) -> None:
    none = make_results()
    pages = clinician_pages(none)
    assert set(pages) == {"clinicians/index.html"}
    assert "There is no sheet." in pages["clinicians/index.html"]
    volume = pd.DataFrame({"stratum": ["C1", "C2", "not recorded"]})
    words = _Page(clinician_pages(make_results({"clinician_volume": volume}))["clinicians/index.html"]).words
    assert "There are 2 codes of clinicians in twelve months, too many for people." in words


def test_a_clinician_without_an_event_has_a_sheet_that_says_so(
    make_results: Callable[..., AuditResults],
) -> None:
    counts = pd.DataFrame(
        {"by": "clinician_ref", "stratum": ["C1"], "window": "rolling_12_months", "item": "deferred", "n": 2}
    )
    pages = clinician_pages(make_results({"clinician_counts": counts}))
    words = _Page(pages["clinicians/C1.html"]).words
    assert (
        "In the twelve months to 30 September 2026 you began no insertion. 2 were put off before the start."
        in words
    )
    assert "No outcome of yours is recorded." in words
    assert "No case to look at again" in words


HOSTILE = [
    "</title><script>window.hacked=1</script>",
    "<img src=x onerror=hacked()>",
    "../../outside",
    "..\\outside",
    "/etc/passwd",
    "\u202eC1",
    "X" * 300,
    "CON",
    "nul.",
    "COM1",
    "index",
    "a",
    "A",
    "é",
    "e\u0301",
    "{{7*7}}",
    '"; } body { background: url(//x) } @page { content: "',
]


def test_hostile_codes_make_safe_files_through_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = visits(tmp_path, [(code, "placed", 2) for code in HOSTILE])
    out = tmp_path / "out"
    arguments = ["run", log, "--period", "2026-Q3", "--out", out, "--quiet", "--edition", "clinician"]
    assert main([str(argument) for argument in arguments]) == 0
    assert capsys.readouterr().out == f"Open {out}\n"
    assert changed_files(out) == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "visits.csv"]
    found = {path.name for path in (out / "clinicians").iterdir()}
    assert len({name.casefold() for name in found}) == len(found)
    assert not (out / "internal").exists()
    # What turns the direction of letters is left out where a log is read.
    read = {cleaned(code) for code in HOSTILE}
    assert {f"{file_stem(code)}.html" for code in read} <= found
    assert len(found) == len(read) + 1
    for code in read:
        text = (out / "clinicians" / f"{file_stem(code)}.html").read_text(encoding="utf-8")
        page = _Page(text)
        assert (page.broken, page.open) == ([], []), code
        assert not {"script", "img"} & {tag for tag, _ in page.tags}
        assert printable(code) in page.words
        assert "\u202e" not in text
        style = text[text.index("<style>") : text.index("</style>")]
        assert "//x" not in style
    links = [
        attributes["href"]
        for tag, attributes in _Page((out / "clinicians/index.html").read_text()).tags
        if tag == "a"
    ]
    assert sorted(map(str, links)) == sorted(found - {"index.html"})
