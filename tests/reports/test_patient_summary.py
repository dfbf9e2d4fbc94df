"""The summary for women: right to the count, silent on small counts, and honest about what is not known."""

import base64
import hashlib
import html
import json
import math
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.cli import main
from audit.records import AuditResults
from audit.settings import AuditSettings
from audit.statistics.proportions import proportion_interval
from reports import EDITIONS, patient_words, write_reports
from reports.figures.icons import SHAPES
from reports.patient_page import COPPER, HORMONE, OUTSIDE, WALL, WALL_MILK, patient_page, render_patient
from reports.patient_pictures import Picture
from reports.small_counts import FEWEST, SHOWN_FROM
from reports.wording import shared_out

MakeResults = Callable[..., AuditResults]
GATES = ("last_known_leads", "both_as_equals", "bounds_only")


def text_of(page: str) -> str:
    """The words of a page as they are seen."""
    body = re.sub(r"<svg.*?</svg>", " ", page[page.index("<body") :], flags=re.DOTALL)
    return (
        " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split()).replace(" .", ".").replace(" )", ")")
    )


def picture(results: AuditResults, id: str) -> Picture:
    """One of its pictures."""
    return next(one for one in patient_page(results).pictures if one.id == id)


def hundreds(shown: Picture) -> list[tuple[str, int]]:
    """Its parts with how many of a hundred."""
    return [(part.words, part.of_hundred) for part in shown.parts]


# A log by hand, through the command

HEADING = (
    "patient_ref,visit_date,visit_kind,insertion_outcome,device_in_situ,removal_reason_main,vasovagal_grade"
)


def _log(scale: int) -> Iterator[str]:
    """Women who came in spring 2026 (50 at once, 6 later, 4 not) and in early 2024 (60, of whom 12 are lost).

    Of the 48 of 2024 whose year is known, 30 kept it, 8 had it come out and 10 had it taken out; times `scale`.
    """
    for number in range(60 * scale):
        day = f"2026-04-{1 + number % 28:02}"
        outcome = "placed" if number < 50 * scale else "failed"
        faint = 1 if number % 6 == 0 else 0
        yield f"N{number},{day},insertion,{outcome},,,{faint}"
        if 50 * scale <= number < 56 * scale:
            yield f"N{number},2026-05-30,insertion,placed,,,0"
    for number in range(60 * scale):
        yield f"E{number},2024-01-{1 + number % 28:02},insertion,placed,,,"
        if number < 30 * scale:
            yield f"E{number},2025-02-20,follow_up,,in_situ_confirmed,,"
        elif number < 38 * scale:
            yield f"E{number},2024-03-10,follow_up,,complete_expulsion,,"
        elif number < 48 * scale:
            yield f"E{number},2024-06-10,removal,,removed_here,pain,"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The output folder of that log, twice as many women, written by the command."""
    folder = tmp_path_factory.mktemp("by_hand")
    path, out = folder / "visits.csv", folder / "out"
    path.write_text("\n".join([HEADING, *_log(2)]) + "\n", encoding="utf-8")
    arguments = ["run", str(path), "--period", "2026-Q3", "--data-to", "2026-10-14", "--quiet"]
    assert main([*arguments, "--out", str(out)]) == 0
    return out


@pytest.fixture(scope="module")
def by_hand(written: Path) -> str:
    """Its page for women."""
    return (written / "patient" / "summary.html").read_text(encoding="utf-8")


def test_both_editions_are_written_and_in_the_manifest(written: Path) -> None:
    files = json.loads((written / "manifest.json").read_text(encoding="utf-8"))["files"]
    assert {"internal/report.html", "patient/summary.html"} <= set(files)
    assert main(["verify", str(written)]) == 0


def test_the_parts_of_a_hundred_are_those_of_a_log_by_hand(by_hand: str) -> None:
    said = text_of(by_hand)
    # 100, 12 and 8 of 120. Wilson's limits of 100 of 120 are 0.757 and 0.890, of 20 of 132 0.100 and 0.222.
    assert "83 of 100 had it fitted at the first visit (could be 75 to 89)." in said
    assert "10 of 100 did not, but had it fitted within 90 days" in said
    assert "7 of 100 did not have it fitted within 90 days" in said
    assert (
        "So 17 of 100 did not have it fitted at first (could be 11 to 25). Of these 17, 10 had it fitted later."
        in said
    )
    assert "We counted about 120 women." in said
    # 20 of 132 visits: 120, and 12 second ones.
    assert "15 of 100 felt faint or passed out (could be 10 to 23)." in said
    assert "We counted about 130 visits." in said


def test_the_unknown_are_part_of_the_hundred_and_said_again(by_hand: str) -> None:
    said = text_of(by_hand)
    # Of 120: 60 kept it, 16 came out, 20 were taken out, 24 are lost, so that 4 in 5 are known.
    assert "50 of 100 still had the same device." in said
    assert "13 of 100 had it come out by itself, or partly come out." in said
    assert "17 of 100 had it taken out, or stopped in some other way." in said
    assert "20 of 100 we do not know about." in said
    assert "We do not know how the year went for 20 of 100 women." in said


def test_the_year_is_told_as_gain_and_as_loss(by_hand: str) -> None:
    said = text_of(by_hand)
    kept, gone = (
        re.search(rf"about (\d+) in 100 {words} \(could be (\d+) to (\d+)\)", said)
        for words in ("still had the same device", "did not")
    )
    assert kept is not None
    assert gone is not None
    assert int(kept[1]) + int(gone[1]) == 100
    assert (int(kept[2]) + int(gone[3]), int(kept[3]) + int(gone[2])) == (100, 100)
    assert patient_words.BOTH_FINE in said


def test_the_page_is_an_edition_of_its_own_and_marked_as_a_draft(
    by_hand: str, demo_results: AuditResults, tmp_path: Path
) -> None:
    assert "patient" in EDITIONS
    out = write_reports(demo_results, tmp_path / "out", editions=("patient",))
    assert (out / "patient" / "summary.html").is_file()
    assert not (out / "internal").exists()
    assert text_of(by_hand).count("Internal draft: not for release") == 2
    assert 'content: "Internal draft: not for release"' in by_hand


# What may be shown

small = st.one_of(st.integers(0, 12), st.integers(0, 300))


@st.composite
def counts(draw: st.DrawFn) -> dict[str, object]:
    """Counts of all kinds, small ones often."""
    faint = draw(st.tuples(small, small, small))
    return {
        "fitted": draw(st.tuples(small, small, small, small)),
        "faint": faint,
        "passed_out": draw(st.integers(0, min(faint[0], 12))),
        "year": draw(st.tuples(small, small, small, small)),
        "gate": draw(st.sampled_from(GATES)),
    }


CELLS = {
    "fitted": ("first_visit", "later", "not_fitted", "unknown"),
    "faint": ("yes", "no", "unknown"),
    "year": ("using", "came_out", "stopped", "unknown"),
}


@settings(max_examples=80, deadline=None)
@given(counts())
def test_no_count_from_1_to_7_is_shown_nor_got_by_adding_and_taking_away(
    counted_results: MakeResults, given_counts: dict[str, object]
) -> None:
    page = patient_page(counted_results(**given_counts))
    for shown in page.pictures:
        cells = dict(zip(CELLS[shown.id], given_counts[shown.id], strict=True))  # type: ignore[call-overload]
        groups = [part.group for part in shown.parts]
        if not groups:
            assert not re.search(r"\d+ of 100|\d+ in 100", " ".join(shown.said))
            continue
        # All that could be known by one who turns hundreds back into women without any error: each group, and so
        # their whole. What follows from it is spanned by the groups.
        known = np.array([[name in group for name in cells] for group in groups], dtype=float)
        for place, name in enumerate(cells):
            follows = np.linalg.matrix_rank(
                np.vstack([known, np.eye(len(cells))[place]])
            ) == np.linalg.matrix_rank(known)
            assert not (follows and 0 < cells[name] < SHOWN_FROM)
        for subset in range(1, 2 ** len(groups)):
            together = sum(
                cells[name] for bit, group in enumerate(groups) if subset >> bit & 1 for name in group
            )
            assert together == 0 or together >= SHOWN_FROM
        assert sum(cells.values()) - cells["unknown"] >= FEWEST
    passed_out, faint = given_counts["passed_out"], given_counts["faint"]
    if any("pass out?" in said for said in page.pictures[1].said):
        visits = faint[0] + faint[1]  # type: ignore[call-overload]
        for number in (passed_out, visits - passed_out, faint[0] - passed_out):  # type: ignore[operator, index]
            assert number == 0 or number >= SHOWN_FROM


@pytest.mark.parametrize(
    ("faint", "passed_out", "said"),
    [(20, 12, True), (20, 13, False), (20, 7, False), (20, 20, True), (20, 0, True), (7, 0, False)],
)
def test_who_passed_out_is_told_only_where_those_who_only_felt_faint_are_not_few(
    counted_results: MakeResults, faint: int, passed_out: int, said: bool
) -> None:
    shown = picture(counted_results(faint=(faint, 200, 0), passed_out=passed_out), "faint")
    assert ("pass out?" in " ".join(shown.said)) is said


few = st.integers(1, SHOWN_FROM - 1)


@settings(max_examples=10, deadline=None)
@given(few, few, st.integers(SHOWN_FROM, 60), st.integers(40, 300))
def test_the_page_is_the_same_whatever_a_hidden_count_put_together_with_another_is(
    counted_results: MakeResults, one: int, other: int, rest: int, main_part: int
) -> None:
    whole = rest + SHOWN_FROM
    pages = {
        render_patient(
            counted_results(
                fitted=(main_part, hidden, whole - hidden, 0), year=(main_part, whole - hidden, hidden, 50)
            )
        ).replace("\n", "")
        for hidden in (one, other)
    }
    assert len(pages) == 1


@settings(max_examples=6, deadline=None)
@given(few, few, st.integers(40, 300))
def test_the_page_is_the_same_whatever_a_hidden_count_is(
    counted_results: MakeResults, one: int, other: int, main_part: int
) -> None:
    for id, where in (("fitted", 3), ("faint", 2), ("fitted", 1), ("faint", 0), ("year", 1)):
        pages = set()
        for hidden in (one, other):
            cells = [0] * len(CELLS[id])
            largest = 1 if id == "faint" else 0
            # A hidden part of the known leaves the same whole behind; the unknown are beside it.
            cells[largest] = main_part + (SHOWN_FROM - hidden if CELLS[id][where] != "unknown" else 0)
            cells[where] = hidden
            pages.add(render_patient(counted_results(**{id: tuple(cells)})))
        assert len(pages) == 1


@pytest.mark.parametrize(
    ("cells", "shown"),
    [
        ((150, 20, 10, 20), ["first_visit", "later", "not_fitted", "unknown"]),
        ((150, 20, 10, 7), ["first_visit", "later", "not_fitted"]),
        ((150, 20, 10, 0), ["first_visit", "later", "not_fitted"]),
        ((150, 20, 7, 20), ["first_visit", "later+not_fitted", "unknown"]),
        ((150, 4, 4, 7), ["first_visit", "later+not_fitted"]),
        ((150, 4, 3, 20), []),
        ((150, 30, 0, 0), ["first_visit", "later", "not_fitted"]),
        ((7, 150, 30, 0), []),
        ((21, 0, 8, 0), []),
        ((22, 0, 8, 0), ["first_visit", "later", "not_fitted"]),
    ],
)
def test_parts_are_put_together_until_none_is_small(
    counted_results: MakeResults, cells: tuple[int, int, int, int], shown: list[str]
) -> None:
    parts = picture(counted_results(fitted=cells), "fitted").parts
    assert ["+".join(part.group) for part in parts] == shown


@pytest.mark.parametrize(
    ("unknown", "said"), [(0, patient_words.ALL_KNOWN), (7, patient_words.FEW_UNKNOWN), (8, "")]
)
def test_whether_some_are_not_known_is_said_beside_how_many_were_counted(
    counted_results: MakeResults, unknown: int, said: str
) -> None:
    counted = picture(counted_results(fitted=(150, 20, 10, unknown)), "fitted").counted
    assert counted == f"We counted about 180 women. {said}".strip()


def test_where_nothing_may_be_shown_the_page_says_so_in_words(counted_results: MakeResults) -> None:
    hidden = {"fitted": (150, 3, 1, 0), "faint": (3, 200, 0), "year": (200, 3, 1, 0)}
    for id, cells in hidden.items():
        shown = picture(counted_results(**{id: cells}), id)
        assert (shown.parts, shown.drawing) == ((), None)
        assert shown.said[0].startswith(patient_words.MOST[id])
    # Too few to say what most did.
    assert (
        picture(counted_results(fitted=(4, 30, 30, 0)), "fitted")
        .said[0]
        .startswith(patient_words.SOME_TOO_FEW)
    )


@pytest.mark.parametrize("id", CELLS)
def test_fewer_than_30_give_no_number_and_30_do(counted_results: MakeResults, id: str) -> None:
    for known, drawn in ((FEWEST - 1, False), (FEWEST, True)):
        cells = [0] * len(CELLS[id])
        cells[0], cells[1] = (known - 12, 12)
        shown = picture(counted_results(**{id: tuple(cells)}), id)
        assert bool(shown.parts) is drawn
        assert (patient_words.TOO_FEW_COUNTED[id] in " ".join(shown.said)) is not drawn


def test_the_words_name_the_limits_that_the_code_keeps() -> None:
    assert f"stands for 1 to {SHOWN_FROM - 1} women" in patient_words.COUNTING[0]
    for said in patient_words.TOO_FEW_COUNTED.values():
        assert said.startswith(f"Fewer than {FEWEST} ")


# Zero events, rounding, ranges


def test_no_event_is_none_of_so_many_with_what_is_still_possible(counted_results: MakeResults) -> None:
    said = text_of(render_patient(counted_results(faint=(0, 240, 0), passed_out=0)))
    # Exact upper limit of 0 of 240: 1 - 0.025 ** (1 / 240), which is 1.5 in 100.
    assert math.ceil(100 * (1 - 0.025 ** (1 / 240))) == 2
    assert "0 of 100 felt faint or passed out (could be up to 2)." in said
    assert "No one did. It could be up to 2 in 100." in said
    assert "We counted about 240 visits." in said


def test_of_one_in_a_hundred_it_is_not_told_what_came_later(counted_results: MakeResults) -> None:
    said = picture(counted_results(fitted=(3000, 20, 8, 0)), "fitted").said
    assert said == ("So 1 of 100 did not have it fitted at first (could be up to 2).",)


def test_some_events_are_never_rounded_to_none(counted_results: MakeResults) -> None:
    said = text_of(render_patient(counted_results(faint=(8, 3000, 0))))
    assert "Fewer than 1 of 100 felt faint or passed out (could be up to 1)." in said


@settings(max_examples=200, deadline=None)
@given(st.lists(st.integers(0, 5000), min_size=1, max_size=5))
def test_parts_of_a_hundred_add_up_and_lie_next_to_their_share(amounts: list[int]) -> None:
    parts = shared_out(amounts)
    assert sum(parts) == (100 if sum(amounts) else 0)
    for part, amount in zip(parts, amounts, strict=True):
        share = Fraction(100 * amount, sum(amounts) or 1)
        assert math.floor(share) <= part <= math.ceil(share)


@settings(max_examples=30, deadline=None)
@given(counts())
def test_every_range_holds_its_number(counted_results: MakeResults, given_counts: dict[str, object]) -> None:
    results = counted_results(**given_counts)
    for shown in patient_page(results).pictures:
        for part in shown.parts:
            found = re.findall(r"\d+", part.range)
            if found:
                low, high = (int(found[0]), int(found[1])) if len(found) == 2 else (0, int(found[0]))
                assert low <= part.of_hundred <= high
    for number, low, high in re.findall(
        r"about (\d+) in 1?0?00 [^(]*\(could be (\d+) to (\d+)\)", text_of(render_patient(results))
    ):
        assert int(low) <= int(number) <= int(high)


# What is not known, and the gate


def test_while_too_many_are_lost_there_is_no_figure_for_the_year(counted_results: MakeResults) -> None:
    results = counted_results(year=(60, 12, 28, 140), gate="bounds_only")
    shown = picture(results, "year")
    assert (shown.parts, shown.said) == ((), (patient_words.YEAR_CLOSED,))
    assert "We do not know how the year went for 58 of 100 women." in text_of(render_patient(results))
    # Nor is the share of the lost told where those we know of are few.
    assert "how the year went for" not in " ".join(
        patient_page(counted_results(year=(3, 1, 1, 140), gate="bounds_only")).not_known
    )


def test_between_the_gates_there_are_ranges_that_hold_both_readings(counted_results: MakeResults) -> None:
    results = counted_results(year=(120, 16, 24, 80), gate="both_as_equals")
    said = " ".join(picture(results, "year").said)
    # 40 of 160 known, or of all 240: the lowest and the highest of both Wilson limits.
    low, high = proportion_interval(40, 240)[0], proportion_interval(40, 160)[1]
    assert f"From {math.floor(100 * float(low))} to {math.ceil(100 * float(high))} in 100 did not." in said
    assert "about" not in said


def test_before_anyone_has_had_a_year_it_says_so(counted_results: MakeResults) -> None:
    shown = picture(counted_results(year=(0, 0, 0, 0), gate="not_yet_due"), "year")
    assert shown.said == (patient_words.YEAR_NOT_OVER,)


def test_what_was_too_seldom_written_down_gives_no_number(counted_results: MakeResults) -> None:
    results = counted_results(faint=(20, 100, 60), fitted=(100, 20, 10, 60))
    for id in ("faint", "fitted"):
        shown = picture(results, id)
        assert (shown.parts, shown.said) == ((), (patient_words.NOT_WRITTEN_DOWN,))


def test_where_no_one_could_record_that_a_device_came_out_it_is_not_told_apart(
    counted_results: MakeResults,
) -> None:
    results = counted_results(year=(120, 0, 40, 40))
    available = (
        results.tables["first_year_endings"].head(1).assign(indicator="expulsion_incidence", available=False)
    )
    tables = {**results.tables, "indicator_availability": available}
    shown = picture(replace(results, tables=tables), "year")
    assert [part.group for part in shown.parts] == [("using",), ("came_out", "stopped"), ("unknown",)]
    assert "come out" not in " ".join(shown.said)
    assert patient_words.NOT_SPLIT not in shown.said


def test_an_audit_without_tables_gives_a_page_that_says_so(make_results: MakeResults) -> None:
    page = patient_page(make_results())
    assert [shown.said for shown in page.pictures] == [(patient_words.NOT_HELD,)] * 3
    assert (page.rare, page.studies) == ((), ())
    assert patient_words.RARE_NONE in text_of(render_patient(make_results()))


def test_what_a_blank_was_taken_for_is_said(counted_results: MakeResults, demo_results: AuditResults) -> None:
    results = counted_results(settings=AuditSettings(charted_by_exception=("vasovagal_grade",)))
    told = demo_results.tables["finding_counts"].head(1)
    told = told.assign(rule="charted_by_exception", column="vasovagal_grade", message="3 blanks read as no.")
    with_blanks = replace(results, tables={**results.tables, "finding_counts": told})
    assert patient_words.BLANK_IS_NO not in patient_page(results).counting
    assert patient_words.BLANK_IS_NO in patient_page(with_blanks).counting


# Rare problems


def test_rare_problems_are_those_of_the_published_studies_and_never_our_own(
    demo_results: AuditResults,
) -> None:
    said = text_of(render_patient(demo_results))
    # 81 of 61,448 and 34 of 6,047 fittings; 5.2 per 1,000 woman-years; 0.6, at most 0.9.
    assert "after about 1 in 1,000 fittings (could be 1 to 2). After 999 it was not. (Study 1)" in said
    assert "less than 36 weeks ago, it was about 6 in 1,000 (could be 3 to 8). (Study 2)" in said
    assert (
        "about 5 in 1,000 women with a copper device got pregnant (could be 4 to 7). And 995 did not." in said
    )
    assert "fewer than 1 in 1,000 women with one kind of hormone device got pregnant. (Study 3)" in said
    assert "This was fewer than 1 in 1,000 women in one year: 21 of 58,324." in said
    for own in ("perforation", "pregnancy", "ectopic_pregnancy"):
        poisoned = demo_results.tables[own].assign(events=5000, n=5001)
        assert render_patient(
            replace(demo_results, tables={**demo_results.tables, own: poisoned})
        ) == render_patient(demo_results)


def test_the_studies_named_were_read_and_are_what_the_words_say(demo_results: AuditResults) -> None:
    found = demo_results.tables["benchmark_comparison"].set_index("benchmark")
    for name in (WALL, WALL_MILK, HORMONE, COPPER):
        row = found.loc[name]
        assert "checked a second time" in row["verified"]
        assert "six European countries" in row["setting"]
    outside, women = found.loc[list(OUTSIDE)], found.loc[[HORMONE, COPPER]]
    assert all("read in abstract" in verified for verified in outside["verified"])
    assert set(outside["citation"]) == set(women["citation"])
    events, n = outside["published_events"].sum(), women["published_n"].sum()
    assert (events, n) == (21, 58324)
    # Even the upper limit is below 1 in 1,000.
    assert float(proportion_interval(events, n, method="clopper_pearson")[1]) < 0.001
    page = render_patient(demo_results)
    assert all(study[:-1] in html.unescape(page) for study in patient_page(demo_results).studies)
    assert len(patient_page(demo_results).studies) == 3


# What stands on every page


def test_urgent_advice_stands_on_every_page(counted_results: MakeResults, make_results: MakeResults) -> None:
    for results in (counted_results(), make_results()):
        box = re.search(r'<aside id="help".*?</aside>', render_patient(results), flags=re.DOTALL)
        assert box is not None
        said = text_of(f"<body>{box[0]}")
        for sign in ("very bad pain", "fever", "bleed a lot", "might be pregnant", "cannot feel the threads"):
            assert sign in said
        assert said.endswith("Call the clinic or the local urgent care team. Do not wait.")


def test_there_is_no_percentage_decimal_clinician_or_site(demo_results: AuditResults) -> None:
    said = text_of(render_patient(demo_results))
    figures = re.sub(r"<cite>.*?</cite>", "", render_patient(demo_results))
    assert "%" not in said
    assert re.findall(r"\d\.\d", text_of(figures)) == []
    codes = demo_results.tables["failed_insertions_by_clinician"]["stratum"].astype(str).unique()
    sites = demo_results.tables["failed_insertions"].query("by == 'site_ref'")["stratum"].astype(str).unique()
    assert len(codes) > 3
    assert len(sites) > 1
    for code in (*codes, *sites):
        assert not re.search(rf"\b{re.escape(code)}\b", said)


def test_a_picture_has_a_hundred_shapes_as_its_words_say(demo_results: AuditResults) -> None:
    page = render_patient(demo_results)
    drawings = re.findall(r'<svg class="icons".*?</svg>', page, flags=re.DOTALL)
    assert len(drawings) == 3
    for drawing, shown in zip(drawings, patient_page(demo_results).pictures, strict=True):
        assert drawing.count("<g ") == 100 == sum(part.of_hundred for part in shown.parts)
        described = html.unescape(re.search(r'aria-label="(.*?)"', drawing)[1])  # type: ignore[index]
        for part in shown.parts:
            assert f"{part.number} " in described
            assert part.words in described
    # Shapes tell apart what colour alone must not.
    assert len(set(SHAPES.values())) == len(SHAPES)


def test_differences_of_the_numbers_counted_tell_of_no_few(demo_results: AuditResults) -> None:
    counted = [
        int(number.replace(",", ""))
        for number in re.findall(r"counted about ([\d,]+)", text_of(render_patient(demo_results)))
    ]
    assert len(counted) == 3
    assert all(number % 10 == 0 for number in counted)


def test_the_page_fetches_nothing_and_runs_nothing(demo_results: AuditResults) -> None:
    page = render_patient(demo_results)
    style = re.search(r"<style>(.*?)</style>", page, flags=re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"default-src 'none'; style-src 'sha256-{digest}'" in html.unescape(page)
    assert not re.search(r"<(script|img|link|iframe)\b|\son\w+=|\sstyle=|url\(|@import", page)
    assert len(page.encode()) < 100_000


def test_hostile_texts_of_the_log_stay_text(hostile_results: AuditResults) -> None:
    page = render_patient(hostile_results)
    assert not re.search(r"<(script|img)\b", page)
    assert "{{7*7}}" in page


def test_the_same_results_give_the_same_page_in_less_than_a_tenth_of_a_second(
    demo_results: AuditResults,
) -> None:
    first = render_patient(demo_results)
    times = []
    for _ in range(3):
        start = time.perf_counter()
        assert render_patient(demo_results) == first
        times.append(time.perf_counter() - start)
    assert min(times) < 0.1
