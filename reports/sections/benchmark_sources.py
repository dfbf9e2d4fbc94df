"""Which comparisons with published figures stand first, where all of them come from, and what has none of ours."""

from markupsafe import Markup

from reports import wording
from reports.choosing import Row
from reports.sections.benchmark_cells import can_be_judged, is_drawn
from reports.sections.benchmark_words import APART, identifier, outcome_words, short_citation
from reports.sections.section import Block, Folded, Subheading, TableBlock
from reports.tables import Column, html_table, plain

NONE = "no_comparable_figure"
_FEW_GROUPS = 2


def in_overview(ours: list[Row], floor: int) -> list[Row]:
    """What lies apart; of each other outcome the comparison that says most, or of two groups where none is of all.

    Nothing unlike, and nothing of too few of ours to be drawn.
    """
    chosen: list[Row] = []
    for found in by_outcome(ours).values():
        alike = [row for row in found if row["grade"] != "C" and is_drawn(row, floor)]
        judged = [row for row in alike if can_be_judged(row)]
        ordered = sorted(judged or alike, key=lambda row: (row["by"] != "overall", str(row["grade"])))
        groups = {str(row["stratum"]): row for row in reversed(ordered)}
        of_all = [row for row in ordered[:1] if row["by"] == "overall"]
        apart = [row for row in found if row["verdict"] in APART]
        chosen += apart or of_all or list(reversed(groups.values()))[:_FEW_GROUPS]
    return chosen


def by_outcome(ours: list[Row]) -> dict[tuple[str, str], list[Row]]:
    """The comparisons of each outcome and measure."""
    found: dict[tuple[str, str], list[Row]] = {}
    for row in ours:
        found.setdefault((str(row["outcome"]), str(row["measure"])), []).append(row)
    return found


def without_ours(found: list[Row]) -> list[Block]:
    """Published figures with nothing of ours beside them: how many per outcome, why, and of which papers."""
    alone: dict[tuple[str, str], list[Row]] = {}
    for row in found:
        if row["verdict"] == NONE:
            alone.setdefault((str(row["outcome"]), str(row["reason"])), []).append(row)
    if not alone:
        return []
    number = sum(len(group) for group in alone.values())
    table = html_table(
        "Published figures without one of ours; each with its full source in the table of comparisons",
        [
            Column("Outcome", lambda row: outcome_words(row["outcome"]), "label"),
            Column("Figures", lambda row: wording.count(row["figures"])),
            Column("Why there is none of ours", plain("reason"), "text"),
            Column("Papers", plain("papers"), "text"),
        ],
        [
            {"outcome": outcome, "reason": reason, "figures": len(group), "papers": _papers(group)}
            for (outcome, reason), group in alone.items()
        ],
    )
    return [
        Subheading(f"No comparable figure of ours for {wording.plural(number, 'published figure')}"),
        Folded("Which, of which papers, and why", table),
    ]


def _papers(group: list[Row]) -> str:
    """The papers of some figures, once each."""
    return "; ".join(dict.fromkeys(short_citation(row) for row in group))


def source_blocks(found: list[Row], floor: int) -> list[Block]:
    """Where the published figures that are compared come from, once each; those of the overview in the open."""
    first = _by_paper(in_overview(found, floor))
    shown = list(first.values())
    others = [row for paper, row in _by_paper(found).items() if paper not in first]
    blocks: list[Block] = [Subheading("Where the published figures come from")]
    if shown:
        blocks.append(TableBlock(_source_table("Sources of the figures in the first table", shown)))
    if others:
        table = _source_table("Sources of the other figures compared", others)
        blocks.append(Folded(f"The other {wording.plural(len(others), 'paper')}", table))
    return blocks


def _by_paper(found: list[Row]) -> dict[str, Row]:
    """The first of the comparisons with each paper."""
    once: dict[str, Row] = {}
    for row in found:
        once.setdefault(str(row["citation"]), row)
    return once


def _source_table(caption: str, found: list[Row]) -> Markup:
    """Papers with where, when, and how their figures were checked."""
    return html_table(
        caption,
        [
            Column("Paper", lambda row: f"{row['citation']}. {identifier(row)}", "label"),
            Column("Setting", plain("setting"), "text"),
            Column("Years", plain("years"), "short"),
            Column("How it was checked", plain("verified"), "text"),
        ],
        found,
    )
