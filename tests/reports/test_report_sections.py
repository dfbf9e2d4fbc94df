"""Sections: each says what it found, and each says why when it found nothing."""

import html
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

from audit.ingest.load import load_visits
from audit.records import AuditResults
from audit.run import run_audit
from audit.statistics.summaries import with_proportions
from reports.choosing import one, rows
from reports.editions import INTERNAL, render_internal
from reports.sections import benchmarks, clinicians, rates
from reports.sections.expulsion import expulsion_section
from reports.sections.follow_up import site_apart
from reports.sections.insertion import failed_heading, failed_insertions_section
from reports.sections.page_one import page_one
from reports.sections.section import Section
from reports.sections.vasovagal import contrast_sentence
from reports.wording import in_a_hundred

MakeResults = Callable[..., AuditResults]
GATES = ("last_known_leads", "both_as_equals", "bounds_only", "not_yet_due")


def _words(section: Section) -> str:
    """All running text of a section."""
    texts = [section.heading]
    for block in section.blocks:
        if block.kind in ("paragraph", "caution", "subheading"):
            texts.append(block.text)
    return " ".join(texts)


def _without(results: AuditResults, *names: str) -> AuditResults:
    """Results in which some tables are missing, and are said to be off."""
    tables = {name: table for name, table in results.tables.items() if name not in names}
    told = tables["indicator_availability"].copy()
    off = told["indicator"].isin(names)
    told.loc[off, "available"] = False
    told.loc[off, "reason"] = "This log does not record it."
    return replace(results, tables={**tables, "indicator_availability": told})


def test_every_section_renders_without_any_table(make_results) -> None:  # type: ignore[no-untyped-def]
    for make in INTERNAL:
        section = make(make_results())
        assert section.heading
        assert section.blocks


def test_every_section_renders_when_every_table_is_empty(demo_results: AuditResults) -> None:
    tables = {name: table.iloc[:0] for name, table in demo_results.tables.items()}
    for make in INTERNAL:
        assert make(replace(demo_results, tables=tables)).heading


@pytest.mark.slow
def test_the_page_renders_with_any_one_table_missing_or_alone(demo_results: AuditResults) -> None:
    for name, table in demo_results.tables.items():
        others = {other: rest for other, rest in demo_results.tables.items() if other != name}
        for tables in (others, {name: table}):
            changed = replace(demo_results, tables=tables)
            assert all(make(changed).heading for make in INTERNAL)
            assert page_one(changed).believe.sentence


@pytest.mark.parametrize(
    ("table", "label"),
    [
        ("failed_insertions", "Failed insertions"),
        ("vasovagal_by_parity", "Vasovagal reactions"),
        ("perforation", "Perforation"),
        ("expulsion_incidence", "Expulsion"),
        ("removal_incidence", "Removal"),
        ("continuation_curve", "Continuation"),
        ("person_time_rates", "Rates per 100 woman-years"),
        ("failed_insertions_by_clinician", "Clinicians"),
    ],
)
def test_a_figure_that_is_off_says_what_the_log_lacks(
    demo_results: AuditResults, table: str, label: str
) -> None:
    off = _without(demo_results, table)
    section = next(made for make in INTERNAL if (made := make(off)).label == label)
    assert "does not record it" in _words(section)
    assert "not the same as none" in _words(section)


def test_no_expulsion_at_all_is_a_result_and_not_a_gap(demo_results: AuditResults) -> None:
    table = demo_results.tables["expulsion_incidence"].copy()
    zero = ["events", "cumulative_events", "incidence", "ci_lower", "one_minus_km", "km_lower"]
    table[zero] = 0
    changed = replace(demo_results, tables={**demo_results.tables, "expulsion_incidence": table})
    assert expulsion_section(changed).heading.startswith("By 12 months 0 of 100")


@pytest.mark.parametrize("gate", GATES)
def test_the_gate_decides_what_the_page_may_say(demo_results: AuditResults, gate: str) -> None:
    changed = replace(demo_results, gate=gate)
    first = page_one(changed)
    big = " ".join(said.big for said in first.statements)
    continuation = next(made for make in INTERNAL if (made := make(changed)).label == "Continuation")
    drawn = any(block.kind == "figure" for block in continuation.blocks)
    if gate == "bounds_only":
        assert "in 100 devices" not in big
        assert not drawn
        assert "these data cannot say more" in continuation.heading
    else:
        assert drawn
        assert (" or " in big) == (gate != "last_known_leads")
    assert (first.believe.sentence.startswith("Yes")) == (gate == "last_known_leads")
    assert ("no placement is old enough" in first.believe.sentence) == (gate == "not_yet_due")


def test_rules_that_stand_as_equals_are_said_with_the_limits_of_both(demo_results: AuditResults) -> None:
    fixed = {"by": "overall", "placement_kind": "first", "days": 365}
    both = [
        one(demo_results, "continuation_curve", censoring=rule, **fixed)
        for rule in ("last_known", "assumed_in_place")
    ]
    lower, upper = both[0]["ci_lower"], both[1]["ci_upper"]  # type: ignore[index]
    said = {
        found.section: found for found in page_one(replace(demo_results, gate="both_as_equals")).statements
    }
    assert said["continuation"].plainly == f"could be {in_a_hundred(lower, upper)}"


def test_the_heading_of_failures_says_counts() -> None:
    assert (
        failed_heading({"events": 31, "n": 640}) == "31 of 640 visits for an insertion ended without a device"
    )
    assert failed_heading({"events": 0, "n": 12}) == "A device was placed at every one of 12 visits"
    assert failed_heading({"events": 0, "n": 0}) == "No insertion with a known outcome in this period"


@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [(1.2, 3.0, "more often"), (0.2, 0.9, "less often"), (0.8, 1.4, "No difference larger than chance")],
)
def test_a_comparison_says_more_only_when_its_interval_leaves_out_one(
    lower: float, upper: float, said: str
) -> None:
    contrast = {"events": 9, "n": 90, "reference_events": 3, "reference_n": 80}
    assert said in contrast_sentence(contrast | {"ratio_lower": lower, "ratio_upper": upper})


def test_clinicians_come_in_order_of_code_and_a_mark_is_a_reason_to_look(demo_results: AuditResults) -> None:
    found = rows(demo_results, "failed_insertions_by_clinician", window="rolling_12_months")
    codes = [str(row["stratum"]) for row in found if row["stratum"] != "not recorded"]
    assert codes == sorted(codes)
    words = _words(clinicians.clinicians_section(demo_results))
    assert "never a finding about a person" in words
    assert "chance alone would mark some: at most" in words


def test_only_what_crosses_a_limit_stands_under_beyond_chance(demo_results: AuditResults) -> None:
    marked = clinicians.beyond(
        rows(demo_results, "failed_insertions_by_clinician", window="rolling_12_months")
    )
    expected = len(marked) + len(rates.crossed(demo_results)) + len(benchmarks.apart(demo_results))
    assert len(page_one(demo_results).beyond) == expected
    assert "chance alone" in page_one(demo_results).by_chance


def test_a_rate_is_marked_only_where_both_rules_show_it(demo_results: AuditResults) -> None:
    table = demo_results.tables["period_against_earlier"].copy()
    expelled = table["cause"] == "expulsion"
    table[["ratio_lower", "ratio_upper"]] = [0.5, 1.5]
    table.loc[expelled & (table["censoring"] == "last_known"), ["ratio_lower", "ratio_upper"]] = [1.1, 3.0]
    one_rule = replace(demo_results, tables={**demo_results.tables, "period_against_earlier": table})
    assert rates.crossed(one_rule) == []
    both = table.copy()
    both.loc[expelled, ["ratio_lower", "ratio_upper"]] = [1.1, 3.0]
    both_rules = replace(demo_results, tables={**demo_results.tables, "period_against_earlier": both})
    assert [row["cause"] for row in rates.crossed(both_rules)] == ["expulsion"]


def test_a_removal_is_never_marked(demo_results: AuditResults) -> None:
    table = demo_results.tables["period_against_earlier"].copy()
    table[["ratio_lower", "ratio_upper"]] = [5.0, 9.0]
    changed = replace(demo_results, tables={**demo_results.tables, "period_against_earlier": table})
    assert "removal" not in [row["cause"] for row in rates.crossed(changed)]


def test_every_visit_that_needs_action_stands_on_page_one(demo_results: AuditResults) -> None:
    listed = str(page_one(demo_results).actions)
    visits = demo_results.tables["action_list"]["visit_ref"]
    assert len(visits) > 0
    assert all(str(visit) in listed for visit in visits)


def test_page_one_holds_five_to_seven_statements_with_their_counts(demo_results: AuditResults) -> None:
    said = page_one(demo_results).statements
    assert 5 <= len(said) <= 7
    headline = one(demo_results, "failed_insertions", by="overall", unit="visit", window="period")
    assert headline is not None
    assert said[0].big == f"{headline['events']} of {headline['n']}"


def test_a_verdict_needs_an_interval_on_both_sides() -> None:
    row = {"verdict": "higher", "by": "overall", "stratum": "overall", "outcome": "failed_insertion"}
    row |= {"measure": "proportion", "own": 0.06, "own_lower": 0.05, "own_upper": 0.07}
    row |= {"own_events": 60, "own_n": 1000}
    row |= {"published": 0.04, "published_lower": 0.03, "published_upper": 0.05}
    row |= {"citation": "Smith AB, Jones C. 2015. A journal 1:1"}
    assert benchmarks.apart_sentence(row) == (
        "Failed insertion: ours is higher than published. Ours over the whole log: 60 of 1,000, 6.0% (5.0 to 7.0). "
        "Published: 4.0% (3.0 to 5.0), Smith et al. 2015."
    )


def _compared(verdict: str, lower: float, upper: float) -> dict[str, object]:
    """What the title of a comparison reads."""
    return {"verdict": verdict, "difference_lower": lower, "difference_upper": upper}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (
            [_compared("higher", 0.1, 0.2), _compared("compatible", -0.1, 0.1)],
            "higher in 1 and compatible in 1 of 2 comparisons",
        ),
        ([_compared("cannot_tell", -0.1, 0.2)], "no difference larger than chance"),
        ([_compared("cannot_tell", 0.1, 0.2)], "we cannot tell, as the two are not quite alike"),
        ([_compared("cannot_tell", float("nan"), float("nan"))], "nothing can be said"),
    ],
)
def test_the_title_of_a_comparison_says_no_more_than_its_verdicts(
    found: list[dict[str, object]], said: str
) -> None:
    assert said in benchmarks._forest_finding(found)


def test_invented_data_are_announced_and_real_data_are_not(demo_results: AuditResults) -> None:
    assert "Everything here is invented" in render_internal(demo_results)
    assert "Everything here is invented" not in render_internal(replace(demo_results, synthetic=False))


BANNED = re.compile(
    r"\b(rank(ed|ing|s)?|worst|best|outliers?|poor(ly|er)?|significan\w*|league|underperform\w*)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("gate", GATES)
def test_no_word_on_the_page_judges_a_person(demo_results: AuditResults, gate: str) -> None:
    page = render_internal(replace(demo_results, gate=gate))
    # Titles of papers and journals are theirs, so only what this report says itself is read.
    body = re.sub(r"<script.*?</script>|<style.*?</style>", " ", page, flags=re.DOTALL)
    words = html.unescape(re.sub(r"<[^>]+>", " ", body)).replace("log-rank", "").replace("Log-rank", "")
    assert BANNED.findall(words) == []
    assert "nan" not in re.findall(r"[A-Za-z]+", words)
    # A finding's own message may name a column of the log.
    for message in demo_results.tables["finding_counts"]["message"]:
        words = words.replace(message, "")
    # A file is named as it is.
    assert re.findall(r"\w*[a-z]_[a-z]\w*(?!\w|\.csv)", words) == []


def test_one_clinician_and_one_site_are_enough_for_a_page(demo_results: AuditResults) -> None:
    def only_one(table: pd.DataFrame) -> pd.DataFrame:
        if not {"by", "stratum"} <= set(table.columns):
            return table
        kept = ~table["by"].isin(["site_ref", "clinician_ref"]) | table["stratum"].isin(["HARBOUR", "C01"])
        return table[kept].reset_index(drop=True)

    tables = {name: only_one(table) for name, table in demo_results.tables.items()}
    page = render_internal(replace(demo_results, tables=tables))
    assert "The one clinician is the service, so there is nobody to compare with" in page
    assert "outcome-known-by-site" not in page


def test_a_site_is_named_only_when_it_lies_apart_from_all_the_others(demo_results: AuditResults) -> None:
    sites = rows(demo_results, "outcome_known", by="site_ref", window="all")
    apart = site_apart(sites)
    assert apart is not None
    assert apart["stratum"] == "TOWER"
    assert f"fewest at TOWER, {apart['events']} of {apart['n']}" in str(
        page_one(demo_results).believe.figures
    )
    assert site_apart([row for row in sites if row["stratum"] != "TOWER"]) is None
    assert site_apart(sites[:1]) is None


def _first_pass() -> pd.DataFrame:
    """40 of 50 attempts with one pass in each window, 30 of 35 of them by those in independent practice."""
    labels = [
        {"by": by, "stratum": stratum, "window": window, "events": events, "n": n, "n_unknown": 2}
        for window in ("period", "rolling_12_months", "all")
        for by, stratum, events, n in (("overall", "overall", 40, 50), ("practice", "independent", 30, 35))
    ]
    return with_proportions(pd.DataFrame(labels))


def test_first_passes_are_shown_where_they_are_recorded(demo_results: AuditResults) -> None:
    tables = {**demo_results.tables, "first_pass_success": _first_pass()}
    section = failed_insertions_section(replace(demo_results, tables=tables))
    # Wilson limits of 40 of 50: 67.0 to 88.8, by hand from the closed form.
    assert "One pass placed the device at 40 of 50 attempts (80.0%, 67.0 to 88.8)" in _words(section)
    (table,) = [
        block.table for block in section.blocks if block.kind == "table" and "one pass" in block.table
    ]
    assert "Independent practice" in table


def test_first_passes_that_are_not_recorded_are_said_to_be_so(demo_results: AuditResults) -> None:
    assert "first_pass_success" not in demo_results.tables
    words = _words(failed_insertions_section(demo_results))
    assert "Placed at the first pass: nothing to show" in words
    assert "does not record “passes at the visit”" in words


def test_one_woman_is_said_in_the_singular(make_results: MakeResults) -> None:
    log = pd.DataFrame({"disposition": ["in", "used"], "reason": "", "n": 1})
    counts = pd.DataFrame({"events": [0], "n": [1], "n_unknown": [0]})
    labels = {"by": "overall", "stratum": "overall", "window": "period", "unit": "visit", "n_deferred": 0}
    failed = with_proportions(counts.assign(**labels))
    attempts = failed.assign(unit="operator_attempt", window="rolling_12_months")
    whole = failed.assign(definition="confirmed", window="all")
    tables = {
        "row_accounting": log,
        "failed_insertions": pd.concat([failed, attempts], ignore_index=True),
        "perforation": pd.concat([whole.assign(window="period"), whole], ignore_index=True),
    }
    results = make_results(tables)
    headings = [make(results).heading for make in INTERNAL]
    assert "The one row of the log was used" in headings
    assert "A device was placed at the one visit" in headings
    assert "The one attempt in twelve months did not fail" in headings
    assert "No perforation confirmed in this period; none in the whole log of 1 attempt" in headings
    said = [f"{found.big} {found.words}" for found in page_one(results).statements]
    assert "None of 1 visit for an insertion ended without a device" in said


def test_a_clinician_among_others_with_too_few_attempts_is_compared(demo_results: AuditResults) -> None:
    found = rows(demo_results, "failed_insertions_by_clinician", window="rolling_12_months")
    within = next(row for row in found if row["signal"] == "none")
    few = {**within, "stratum": "C99", "signal": "too_few_to_classify"}
    assert clinicians.judged([within]) == 0
    assert clinicians.judged([{**within, "target_kind": "0.05"}]) == 1
    assert clinicians.judged([within, few]) == 1
    assert "lies within the limits of chance" in clinicians.clinicians_heading([within, few])
    assert "nobody to compare with" in clinicians.clinicians_heading([within])


def test_a_percentage_of_ours_is_not_printed_for_fewer_than_ten(demo_results: AuditResults) -> None:
    table = demo_results.tables["benchmark_comparison"].copy()
    ours = table["measure"] == "proportion"
    table.loc[ours & table["own"].notna(), ["own_events", "own_n", "own", "own_lower", "own_upper"]] = [
        1,
        4,
        0.25,
        0,
        1,
    ]
    few = replace(demo_results, tables={**demo_results.tables, "benchmark_comparison": table})
    section = benchmarks.benchmarks_section(few)
    (first,) = [
        block.table
        for block in section.blocks
        if block.kind == "folded" and block.summary.startswith("Failed insertion")
    ]
    assert "1 of 4" in first
    assert "25.0%" not in first
    # The published figure's band is drawn, and no dot of ours.
    assert 'class="band"' in first
    assert "<circle" not in first
    assert "Ours are too few to compare" in page_one(few).statements[0].beside


def test_a_drawing_without_anything_to_draw_is_a_table(demo_results: AuditResults) -> None:
    curves = demo_results.tables["continuation_curve"].assign(at_risk=3, caution="Fewer than 10.")
    ends = demo_results.tables["ending_incidence"].assign(at_risk=3)
    sites = demo_results.tables["outcome_known"].assign(n=4, events=1)
    changed = {"continuation_curve": curves, "ending_incidence": ends, "outcome_known": sites}
    tables = {**demo_results.tables, **changed}
    sections = [make(replace(demo_results, tables=tables)) for make in INTERNAL]
    continuation = next(section for section in sections if section.label == "Continuation")
    assert {block.kind for block in continuation.blocks} == {
        "paragraph",
        "subheading",
        "table",
        "folded",
    }
    ids = [block.figure.id for section in sections for block in section.blocks if block.kind == "figure"]
    assert "outcome-known-by-site" not in ids
    assert "check-done-by-site" in ids


def test_page_one_explains_only_the_marks_it_draws(
    make_results: MakeResults, demo_results: AuditResults
) -> None:
    assert page_one(make_results()).legend == ""
    assert "Hollow dot" in page_one(demo_results).legend
    bounds = page_one(replace(demo_results, gate="bounds_only")).legend
    assert "Hollow dot" not in bounds
    assert "Grey band" in bounds


def test_a_reader_in_a_hurry_sees_at_once_how_much_is_open(
    make_results: MakeResults, demo_results: AuditResults
) -> None:
    first = page_one(demo_results)
    assert [value for _, value, _ in first.at_once][1:] == [
        str(len(first.beyond)),
        str(len(demo_results.tables["action_list"])),
    ]
    assert [value for _, value, _ in page_one(make_results()).at_once] == ["none", "none"]


@pytest.mark.parametrize("women", [1, 12])
def test_a_log_of_placements_on_its_last_days_gives_a_page(tmp_path: Path, women: int) -> None:
    lines = ["patient_ref,visit_date,visit_kind,insertion_outcome,clinician_ref,vasovagal_grade,births"]
    lines += [f"W{n},2026-07-{n:02},insertion,placed,C1,0,0" for n in range(1, women + 1)]
    log = tmp_path / "visits.csv"
    log.write_text("\n".join(lines) + "\n", encoding="utf-8")
    page = render_internal(run_audit(load_visits([log]), period="2026-Q3"))
    text = html.unescape(re.sub(r"<script.*?</script>|<style.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL))
    assert "No comparison can be made" in text
    assert not re.search(r"\b1 (rows|visits|women|attempts|devices|points|figures|comparisons)\b", text)
    assert "nan" not in re.findall(r"[A-Za-z]+", text)
