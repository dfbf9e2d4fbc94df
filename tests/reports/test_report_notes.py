"""What the page must say beside a figure: rows set aside, blanks read as no, what clinicians are compared with."""

from dataclasses import replace

import pandas as pd
import pytest

from audit.records import AuditResults
from reports.choosing import rows
from reports.editions import render_internal
from reports.figures.funnel import funnel
from reports.sections import clinicians
from reports.sections.data_quality import data_quality_section, set_aside_banner
from reports.sections.methods import methods_section
from reports.sections.page_one import page_one
from reports.sections.safety import perforation_section, pregnancy_section
from reports.sections.vasovagal import vasovagal_section


def _accounted(results: AuditResults, used: int, aside: int) -> AuditResults:
    """The same results from a log with this many rows."""
    accounting = pd.DataFrame(
        {
            "disposition": ["in", "used", "set_aside"],
            "reason": ["", "", "not_a_date"],
            "n": [used + aside, used, aside],
        }
    )
    return replace(results, tables={**results.tables, "row_accounting": accounting})


@pytest.mark.parametrize(
    ("used", "aside", "shown"), [(95, 5, False), (94, 6, True), (0, 0, False), (0, 1, True)]
)
def test_a_banner_stands_where_more_than_the_limit_were_set_aside(
    demo_results: AuditResults, used: int, aside: int, shown: bool
) -> None:
    results = _accounted(demo_results, used, aside)
    assert results.settings.thresholds.set_aside_banner == 0.05
    assert bool(set_aside_banner(results)) == shown
    assert ('class="banner"' in render_internal(results)) == shown
    assert ("caution" in [block.kind for block in data_quality_section(results).blocks]) == shown


def test_the_banner_says_how_many_and_what_it_means(demo_results: AuditResults) -> None:
    assert page_one(_accounted(demo_results, 94, 6)).banner == (
        "6 of 100 rows were set aside (6.0%; this warning appears above 5.0%). What they held is missing "
        "from every figure."
    )


def _charted(results: AuditResults, *columns: str) -> AuditResults:
    """The same results from a service that charts these columns by exception."""
    found = pd.DataFrame(
        [
            {
                "rule": "charted_by_exception",
                "severity": "notice",
                "column": column,
                "n": 1,
                "message": f"{column}: 31 blanks are read as no, as the settings declare.",
            }
            for column in columns
        ]
    )
    settings = replace(results.settings, charted_by_exception=columns)
    return replace(results, settings=settings, tables={**results.tables, "finding_counts": found})


@pytest.mark.parametrize(
    ("column", "make", "said"),
    [
        ("vasovagal_grade", vasovagal_section, "“grade of the vasovagal reaction”: 31 blanks are read as no"),
        ("perforation_suspected", perforation_section, "“perforation suspected”: 31 blanks are read as no"),
        ("pregnancy", pregnancy_section, "Pregnancy: 31 blanks are read as no"),
    ],
)
def test_blanks_read_as_no_are_said_beside_the_figure_they_make(
    demo_results: AuditResults,
    column: str,
    make,
    said: str,  # type: ignore[no-untyped-def]
) -> None:
    def notes(results: AuditResults) -> str:
        return " ".join(block.note for block in make(results).blocks if block.kind == "paragraph")

    assert said in notes(_charted(demo_results, column))
    assert "Charted by exception" not in notes(demo_results)
    assert "Charted by exception" not in notes(_charted(demo_results, "pid_diagnosed"))


def test_page_one_and_the_drawings_say_that_blanks_were_read_as_no(demo_results: AuditResults) -> None:
    charted = _charted(demo_results, "vasovagal_grade", "pregnancy")
    said = {found.section: found.figure for found in page_one(charted).statements}
    assert [name for name, figure in said.items() if "blanks read as no" in figure] == [
        "vasovagal",
        "pregnancy",
    ]
    figures = [block.figure for block in vasovagal_section(charted).blocks if block.kind == "figure"]
    assert figures
    assert all(figure.note.endswith("A blank was read as no.") for figure in figures)
    assert "read as no" not in render_internal(demo_results)


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ("service", "the whole service, their own attempts included"),
        ("service_excluding_own", "the other clinicians together, their own attempts left out"),
        ("0.05", "a fixed proportion, 5.0%, that the service has set"),
    ],
)
def test_what_clinicians_are_compared_with_is_said_in_words(
    demo_results: AuditResults, target: str, words: str
) -> None:
    changed = replace(demo_results, settings=replace(demo_results.settings, funnel_target=target))
    section = clinicians.clinicians_section(changed)
    assert f"compared with {words}" in " ".join(
        block.text for block in section.blocks if block.kind == "paragraph"
    )
    table = next(block.table for block in methods_section(changed).blocks if block.kind == "table")
    assert words in table


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("service", "around the service's 5.2%"),
        ("service_excluding_own", "around the others' 5.2%"),
        ("0.05", "around the fixed 5.2%"),
    ],
)
def test_a_mark_names_its_target(demo_results: AuditResults, kind: str, said: str) -> None:
    found = rows(demo_results, "failed_insertions_by_clinician", window="rolling_12_months")
    (marked, *_) = clinicians.beyond(found)
    assert said in clinicians.mark_sentence({**marked, "target_kind": kind, "target": 0.0522})


def test_the_middle_line_of_the_funnel_is_named_for_what_it_is(demo_results: AuditResults) -> None:
    found = rows(demo_results, "failed_insertions_by_clinician", window="rolling_12_months")
    limits = rows(demo_results, "clinician_limits")
    names = [label["text"] for label in funnel(found, limits, target="set")["layout"]["annotations"]]
    assert [name for name in names if name.startswith("set ")] == [f"set {100 * limits[-1]['target']:.1f}%"]


def test_without_one_target_for_all_no_line_is_drawn_and_the_page_says_why(
    demo_results: AuditResults,
) -> None:
    settings = replace(demo_results.settings, funnel_target="service_excluding_own")
    tables = {**demo_results.tables, "clinician_limits": demo_results.tables["clinician_limits"].iloc[:0]}
    section = clinicians.clinicians_section(replace(demo_results, settings=settings, tables=tables))
    shown = {block.figure.id: block.figure for block in section.blocks if block.kind == "figure"}
    figure = shown["funnel"]
    assert "No lines are drawn" in figure.note
    assert {trace["mode"] for trace in figure.plots[0].drawing["data"]} == {"markers"}
