"""The page, parsed: every published figure and every standard shows where it comes from, or that it has no source.

What is looked for is taken from the result tables; where it stands is read from the HTML alone.
"""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any

import pytest

from audit.records import AuditResults
from reports.editions import render_internal
from reports.sections.benchmark_words import identifier, short_citation

Row = dict[str, Any]
NONE = "no_comparable_figure"


@dataclass
class Table:
    """One table of the page: the section it stands in, its caption, its headings and its cells, row by row."""

    section: str
    caption: str = ""
    heads: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)

    def column(self, heading: str) -> list[str]:
        """The cells below a heading."""
        place = self.heads.index(heading)
        return [row[place] for row in self.rows]


class _Tables(HTMLParser):
    """Every table of a page; a line break inside a cell stays one."""

    def __init__(self) -> None:
        super().__init__()
        self.section = ""
        self.tables: list[Table] = []
        self.text: list[str] | None = None
        self.in_head = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "section":
            self.section = dict(attrs).get("id") or ""
        elif tag == "table":
            self.tables.append(Table(self.section))
        elif tag == "thead":
            self.in_head = True
        elif tag == "tr" and not self.in_head:
            self.tables[-1].rows.append([])
        elif tag in ("caption", "th", "td"):
            self.text = []
        elif tag == "br" and self.text is not None:
            self.text.append("\n")

    def handle_endtag(self, tag: str) -> None:
        if tag == "thead":
            self.in_head = False
        elif tag in ("caption", "th", "td") and self.text is not None:
            said, self.text = "".join(self.text).strip(), None
            if tag == "caption":
                self.tables[-1].caption = said
            elif self.in_head:
                self.tables[-1].heads.append(said)
            else:
                self.tables[-1].rows[-1].append(said)

    def handle_data(self, data: str) -> None:
        if self.text is not None:
            self.text.append(data)


@pytest.fixture(scope="module")
def tables(demo_results: AuditResults) -> list[Table]:
    """Every table of the internal edition of the demonstration."""
    parser = _Tables()
    parser.feed(render_internal(demo_results))
    return parser.tables


def figures(results: AuditResults, *, compared: bool) -> list[Row]:
    """The published figures with one of ours beside them, or those without."""
    table = results.tables["benchmark_comparison"]
    found: list[Row] = table[(table["verdict"] != NONE) == compared].to_dict("records")
    return found


def of_section(tables: list[Table], section: str, *heads: str) -> list[Table]:
    """The tables of a section that have these headings."""
    return [table for table in tables if table.section == section and set(heads) <= set(table.heads)]


def paper_of(cell: str) -> str:
    """The line of a cell that names a paper and its women."""
    # The first table names the outcome above, and each says below how alike the two are.
    lines = [line for line in cell.split("\n") if line.strip()]
    return lines[-2]


def test_every_comparison_on_the_page_names_its_paper_and_every_paper_stands_among_the_sources(
    demo_results: AuditResults, tables: list[Table]
) -> None:
    compared = figures(demo_results, compared=True)
    papers = {f"{short_citation(row)}: {row['population']}": row for row in compared}
    sources = [
        cell
        for table in of_section(tables, "benchmarks", "Paper", "Setting")
        for cell in table.column("Paper")
    ]
    assert len(sources) == len(set(sources)) == len({row["citation"] for row in compared})
    printed = [row[0] for table in of_section(tables, "benchmarks", "Drawn", "Ours") for row in table.rows]
    assert len(printed) > len(compared)
    for cell in printed:
        row = papers[paper_of(cell)]
        assert f"{row['citation']}. {identifier(row)}" in sources
    assert {paper_of(cell) for cell in printed} == papers.keys()


def test_a_paper_that_cannot_be_found_by_a_number_says_so(
    demo_results: AuditResults, tables: list[Table]
) -> None:
    sources = [
        cell
        for table in of_section(tables, "benchmarks", "Paper", "Setting")
        for cell in table.column("Paper")
    ]
    for cell in sources:
        assert any(
            mark in cell for mark in ("doi 10.", "PMID ", "https://", "PMC", "PII", "No DOI or PMID seen")
        )
    unnumbered = {
        row["citation"] for row in figures(demo_results, compared=True) if row["identifier"] == "none seen"
    }
    assert sum(cell.endswith("No DOI or PMID seen") for cell in sources) == len(unnumbered) > 0


def test_every_source_says_how_its_figures_were_checked(tables: list[Table]) -> None:
    for table in of_section(tables, "benchmarks", "Paper", "How it was checked"):
        assert all(
            "read" in cell or "entered by this service" in cell for cell in table.column("How it was checked")
        )


def test_every_figure_without_one_of_ours_is_counted_with_its_papers_and_why(
    demo_results: AuditResults, tables: list[Table]
) -> None:
    alone = figures(demo_results, compared=False)
    (table,) = of_section(tables, "benchmarks", "Papers", "Why there is none of ours")
    assert sum(int(cell) for cell in table.column("Figures")) == len(alone)
    assert all(table.column("Papers"))
    assert all(table.column("Why there is none of ours"))
    named = {paper for cell in table.column("Papers") for paper in cell.split("; ")}
    assert named == {short_citation(row) for row in alone}


def test_every_standard_on_the_page_stands_with_its_source_or_that_it_has_none(
    demo_results: AuditResults, tables: list[Table]
) -> None:
    told = demo_results.tables["criteria_definitions"]
    in_force = told[told["status"] == "in_force"]
    (table,) = of_section(tables, "standards", "Standard", "It asks", "Source")
    printed = dict(zip(table.column("Standard"), table.column("Source"), strict=True))
    assert {title: source.lower() for title, source in printed.items()} == {
        row["title"]: row["source"].lower() for row in in_force.to_dict("records")
    }
    without = [source for source in printed.values() if "no source" in source]
    assert len(without) > 5
    for source in printed.values():
        assert "no source" in source or any(
            mark in source for mark in ("(read", "read)", "memory", "abstract read", "Published figures")
        ), source


def test_no_standard_is_judged_counted_or_stated_without_its_definition_beside(
    tables: list[Table],
) -> None:
    (table,) = of_section(tables, "standards", "Standard", "It asks", "Source")
    defined, asked = set(table.column("Standard")), set(table.column("It asks"))
    judged = of_section(tables, "standards", "Standard", "Verdict", "Target, %")
    cases = of_section(tables, "standards", "Standard", "Which")
    described = [
        one for one in of_section(tables, "standards", "What") if one.caption == "Described, not judged"
    ]
    shown = [row[0] for one in (*judged, *cases, *described) for row in one.rows]
    assert len(judged) == 2
    assert len(cases) == len(described) == 1
    # A window or a site may stand behind the title.
    assert [title for title in shown if not any(title.startswith(name) for name in defined)] == []
    stated = [row[0] for one in of_section(tables, "standards", "Standard", "Answer") for row in one.rows]
    assert set(stated) <= asked
