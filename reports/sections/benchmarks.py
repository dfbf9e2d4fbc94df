"""This service's figures beside published ones: like with like only, both sides uncertain."""

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.sections.benchmark_cells import can_be_judged, columns, scale_sentence
from reports.sections.benchmark_words import (
    APART,
    counts,
    grade_words,
    identifier,
    of_whom,
    outcome_words,
    own,
    published,
    short_citation,
)
from reports.sections.section import Block, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, plain

_TABLE = "benchmark_comparison"
_NONE = "no_comparable_figure"


def benchmarks_section(results: AuditResults) -> Section:
    """Each published figure with ours, how alike they are, and what can be said of the difference."""
    found = rows(results, _TABLE)
    ours = [row for row in found if row["verdict"] != _NONE]
    if not ours:
        return Section(
            "benchmarks",
            "Published figures",
            "No published figure can be set beside ours",
            (
                Paragraph("Like is compared with like only; nothing in the library is like this log."),
                *_without(found),
            ),
        )
    blocks: list[Block] = [
        Paragraph(
            "Grade A: the same as far as the paper prints it. B: near, and what differs is named. C: unlike in a "
            "way that moves the figure; shown for orientation, never judged. Both sides are uncertain, so the "
            "interval of the difference decides. “Compatible” needs a margin the service has set; without one, or "
            "where the interval is too wide, we cannot tell. Continuation and removal are described: there, more "
            "is neither better nor worse.",
            "Grey: the published figure, as wide as its interval, or a thin line where it has none. Dot and line: "
            "ours, over the whole log.",
        ),
        *_margins(results),
        *_forests(results, ours),
        *_without(found),
        *_sources(ours),
    ]
    return Section("benchmarks", "Published figures", benchmarks_heading(ours), tuple(blocks))


def apart(results: AuditResults) -> list[Row]:
    """The comparisons whose difference leaves out 0."""
    return rows(results, _TABLE, verdict=APART)


def judged(results: AuditResults) -> int:
    """How many comparisons could have lain apart: limits on both sides, alike enough, not kept open."""
    return len([row for row in rows(results, _TABLE) if row["verdict"] != _NONE and can_be_judged(row)])


def benchmarks_heading(ours: list[Row]) -> str:
    """How many comparisons lie apart, and of how many we cannot tell."""
    apart = [row for row in ours if row["verdict"] in APART]
    unclear = [row for row in ours if row["verdict"] == "cannot_tell"]
    tail = f"for {len(unclear)} we cannot tell" if unclear else "none is unclear"
    if len(unclear) == len(ours):
        return f"We cannot tell whether ours differ from {wording.plural(len(ours), 'published figure')}"
    if not apart:
        return f"None of {wording.plural(len(ours), 'comparison')} lies apart from a published figure; {tail}"
    number = wording.number_word(len(apart)).capitalize()
    of = wording.plural(len(ours), "comparison")
    return f"{number} of {of} {'lies' if len(apart) == 1 else 'lie'} apart; {tail}"


def apart_sentence(row: Row) -> str:
    """One comparison that lies apart, with both figures, the paper and how alike they are."""
    grade = grade_words(row)
    differs_in = (
        f"; differs in {row['differs_in']}" if is_known(row.get("differs_in")) and row["differs_in"] else ""
    )
    alike = f" Likeness: {grade}{differs_in}." if grade else ""
    paper = short_citation(row).removesuffix(".")
    return (
        f"{outcome_words(row['outcome'])}{of_whom(row)}: ours is {row['verdict']} than published. Ours over the "
        f"whole log: "
        f"{counts(row)}, {own(row)}. Published: {published(row)}, {paper}.{alike}"
    )


def _margins(results: AuditResults) -> list[Block]:
    """The margins set, each with its reason where the service gives one."""
    rules = results.settings
    if not rules.margins:
        return [Paragraph("No margin is set, so nothing can be called compatible.")]
    parts = [
        f"{outcome_words(name)} {100 * margin:.3g} in 100"
        + (f" ({rules.margin_reasons[name]})" if name in rules.margin_reasons else "")
        for name, margin in rules.margins.items()
    ]
    return [Paragraph(f"Margins of this service: {'; '.join(parts)}.")]


def _forests(results: AuditResults, ours: list[Row]) -> list[Block]:
    """One table with drawings per outcome and measure, under what it allows to be said."""
    blocks: list[Block] = []
    floor = results.settings.thresholds.at_risk_floor
    for key in dict.fromkeys((str(row["outcome"]), str(row["measure"])) for row in ours):
        found = [row for row in ours if (row["outcome"], row["measure"]) == key]
        what = f"{outcome_words(key[0])}{', per 100 woman-years' if key[1] == 'rate' else ''}"
        blocks.append(Subheading(f"{what}: {_forest_finding(found)}"))
        blocks += _tables(what, found, floor)
    return blocks


def _tables(what: str, found: list[Row], floor: int) -> list[Block]:
    """The comparisons that can be judged, and those shown for orientation, the most alike first."""
    ordered = sorted(found, key=lambda row: str(row["grade"]))
    judged = [row for row in ordered if can_be_judged(row)]
    others = [row for row in ordered if not can_be_judged(row)]
    blocks: list[Block] = []
    if judged:
        caption = f"{what}: ours and published. {_spread(found)}"
        blocks.append(TableBlock(_table(caption, judged, floor, judged=True)))
    if others:
        table = _table(f"{what}: for orientation only.", others, floor, judged=False)
        summary = f"For orientation only: {wording.plural(len(others), 'published figure')} without a verdict"
        # What has nothing else to show is not hidden.
        blocks.append(Folded(summary, table) if judged else TableBlock(table))
    return blocks


def _table(caption: str, found: list[Row], floor: int, *, judged: bool) -> Markup:
    """One table of comparisons, drawn on one scale."""
    return html_table(
        f"{caption} {scale_sentence(found, floor)}", columns(found, floor, judged=judged), found
    )


def _spread(found: list[Row]) -> str:
    """How far apart the papers are among themselves."""
    if len(found) < 2:
        return ""
    low, high = (which(found, key=lambda row: float(row["published"])) for which in (min, max))
    return f"The papers themselves, of whatever women, run from {_bare(low)} to {_bare(high)}."


def _bare(row: Row) -> str:
    """A published figure without its limits."""
    return published(row).partition(" (")[0]


def _forest_finding(found: list[Row]) -> str:
    """What the comparisons of one outcome allow to be said together."""
    of = wording.plural(len(found), "comparison")
    if len(found) == 1 and found[0]["verdict"] in (*APART, "compatible"):
        return f"ours is {found[0]['verdict']}"
    said = [
        f"{verdict} in {number}"
        for verdict in (*APART, "compatible")
        if (number := sum(row["verdict"] == verdict for row in found))
    ]
    if said:
        return f"ours is {wording.listed(said)} of {of}"
    limited = [row for row in found if is_known(row["difference_lower"])]
    if not limited:
        return "nothing can be said, for lack of limits or of women observed"
    if any(row["difference_lower"] > 0 or row["difference_upper"] < 0 for row in limited):
        return "we cannot tell, as the two are not quite alike"
    return "no difference larger than chance can be shown"


def _without(found: list[Row]) -> list[Block]:
    """Published figures with nothing of ours beside them: how many per outcome, why, and of which papers."""
    alone: dict[tuple[str, str], list[Row]] = {}
    for row in found:
        if row["verdict"] == _NONE:
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


def _sources(found: list[Row]) -> list[Block]:
    """Where the published figures that are compared come from, once each."""
    once: dict[str, Row] = {}
    for row in found:
        once.setdefault(str(row["citation"]), row)
    table = html_table(
        "Sources of the figures compared",
        [
            Column("Paper", lambda row: f"{row['citation']}. {identifier(row)}", "label"),
            Column("Setting", plain("setting"), "text"),
            Column("Years", plain("years"), "short"),
            Column("How it was checked", plain("verified"), "text"),
        ],
        list(once.values()),
    )
    return [Subheading("Where the published figures come from"), TableBlock(table)]
