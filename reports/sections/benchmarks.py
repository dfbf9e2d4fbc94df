"""This service's figures beside published ones: like with like only, both sides uncertain."""

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.sections.benchmark_cells import (
    can_be_judged,
    columns,
    overview_columns,
    scale_sentence,
)
from reports.sections.benchmark_sources import NONE, by_outcome, in_overview, source_blocks, without_ours
from reports.sections.benchmark_words import (
    APART,
    counts,
    grade_words,
    of_whom,
    outcome_words,
    own,
    published,
    short_citation,
)
from reports.sections.section import Block, Folded, Paragraph, Section, TableBlock
from reports.tables import html_table
from reports.words_for_codes import within

_TABLE = "benchmark_comparison"
# The declaration of ours beside each outcome, where it has another name.
_COUNTED = {
    "failed_insertion": "failed_insertions",
    "vasovagal": "vasovagal_by_parity",
    "expulsion": "expulsion_incidence",
    "continuation": "continuation_curve",
    "removal_bleeding_or_pain": "removal_incidence",
    "pregnancy_after_emergency_placement": "pregnancy_after_emergency",
    "ectopic_share_of_pregnancies": "ectopic_pregnancy",
    "threads_not_seen_device_in_place": "threads_not_seen",
    "threads_not_seen_expelled": "threads_not_seen",
    "threads_not_seen_perforated": "threads_not_seen",
    "insertion_pain": "pain_scores",
    "severe_insertion_pain": "pain_scores",
}


def benchmarks_section(results: AuditResults) -> Section:
    """Each published figure with ours, how alike they are, and what can be said of the difference."""
    found = rows(results, _TABLE)
    ours = [row for row in found if row["verdict"] != NONE]
    if not ours:
        return Section(
            "benchmarks",
            "Published figures",
            "No published figure can be set beside ours",
            (
                Paragraph("Like is compared with like only; nothing in the library is like this log."),
                *without_ours(found),
            ),
        )
    blocks: list[Block] = [
        Paragraph(
            "Both sides are uncertain, so the interval of the difference decides. “Compatible” needs a margin the "
            "service has set; without one, or where the interval is too wide, we cannot tell. Continuation and "
            "removal are described: there, more is neither better nor worse.",
            "Likeness A: the same as far as the paper prints it. B: near, and what differs is named. C: unlike in "
            "a way that moves the figure; shown for orientation, never judged.",
        ),
        *_margins(results),
        *_overview(results, ours),
        *_forests(results, ours),
        *without_ours(found),
        *source_blocks(ours, results.settings.thresholds.at_risk_floor),
    ]
    return Section("benchmarks", "Published figures", benchmarks_heading(ours), tuple(blocks))


def _overview(results: AuditResults, ours: list[Row]) -> list[Block]:
    """One table with the comparisons that say most."""
    floor = results.settings.thresholds.at_risk_floor
    chosen = in_overview(ours, floor)
    if not chosen:
        return []
    table = html_table(
        "What lies apart; of each other outcome, the paper most like us",
        overview_columns(floor),
        chosen,
        foot=(
            "Grey: the published figure, as wide as its interval, or a thin line where it has none. Dot and line: "
            "ours, over the whole log. Each row is drawn on a scale of its own, from 0. Last column: the nearest "
            "true figures of ours that our numbers had an 80% chance of telling from the published one; where the "
            "paper prints no limits it is taken as exact. Every comparison stands in the table of comparisons in "
            "the folder “tables”; on paper, those of this table alone."
        ),
        counted=tuple(dict.fromkeys(_counted(row) for row in chosen)),
    )
    return [TableBlock(table)]


def apart(results: AuditResults) -> list[Row]:
    """The comparisons whose difference leaves out 0."""
    return rows(results, _TABLE, verdict=APART)


def judged(results: AuditResults) -> int:
    """How many comparisons could have lain apart: limits on both sides, alike enough, not kept open."""
    return len([row for row in rows(results, _TABLE) if row["verdict"] != NONE and can_be_judged(row)])


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
    """Every comparison, outcome by outcome, one click away; those for orientation only together."""
    floor = results.settings.thresholds.at_risk_floor
    blocks: list[Block] = []
    unlike: dict[str, Markup] = {}
    for (outcome, measure), found in by_outcome(ours).items():
        what = f"{outcome_words(outcome)}{', per 100 woman-years' if measure == 'rate' else ''}"
        tables = _tables(what, found, floor)
        if all(row["grade"] == "C" for row in found):
            unlike[what] = tables
            continue
        finding = _forest_finding(found)
        of = "" if "comparison" in finding else f" ({wording.plural(len(found), 'comparison')})"
        blocks.append(Folded(f"{what}: {finding}{of}", tables))
    if unlike:
        names = "; ".join(within(what) for what in unlike)
        blocks.append(Folded(f"Unlike ours, for orientation only: {names}", Markup("").join(unlike.values())))
    return blocks


def _tables(what: str, found: list[Row], floor: int) -> Markup:
    """The comparisons that can be judged, and those shown for orientation, the most alike first."""
    ordered = sorted(found, key=lambda row: str(row["grade"]))
    judged = [row for row in ordered if can_be_judged(row)]
    others = [row for row in ordered if not can_be_judged(row)]
    made = []
    if judged:
        made.append(_table(f"{what}: ours and published. {_spread(found)}", judged, floor, judged=True))
    if others:
        made.append(_table(f"{what}: for orientation, without a verdict.", others, floor, judged=False))
    return Markup("").join(made)


def _table(caption: str, found: list[Row], floor: int, *, judged: bool) -> Markup:
    """One table of comparisons, drawn on one scale."""
    return html_table(
        f"{caption} {scale_sentence(found, floor)}",
        columns(found, floor, judged=judged),
        found,
        counted=tuple(dict.fromkeys(_counted(row) for row in found)),
    )


def _counted(row: Row) -> str:
    """The declaration of what ours counts."""
    if row["measure"] == "rate" and row["outcome"] in ("expulsion", "perforation"):
        return "person_time_rates"
    return _COUNTED.get(str(row["outcome"]), str(row["outcome"]))


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
