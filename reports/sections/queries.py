"""What the clerk should put right in the source: rows set aside, and points to check, with their lines."""

from collections.abc import Sequence

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, rows
from reports.sections.data_quality import accounted
from reports.sections.places import asked, field_name, lines_of
from reports.sections.section import Block, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, number, plain
from reports.words_for_codes import word

_FEW_LINES, _LINES, _MOST_SITES, _MOST_GROUPS = 5, 20, 24, 30
_KINDS = {"warning": "To check", "notice": "To know"}
# Told where the page says how the log was read.
DECIDED = (
    "dates_fit_either_order",
    "dates_from_serials",
    "encoding_assumed",
    "charted_by_exception",
    "unknown_kinds",
)


def set_aside_section(results: AuditResults) -> Section:
    """Rows that could not be used, reason by reason, with a few of their lines."""
    into, _, aside = accounted(results)
    heading = (
        f"{wording.count(aside)} of {wording.plural(into, 'row')} set aside"
        if aside
        else "No row was set aside"
    )
    blocks: list[Block] = [
        Paragraph(
            "What these rows hold is missing from every figure. Each is counted for its first reason only."
            if aside
            else "Every row of the log can be used."
            if into
            else "The log holds no rows."
        )
    ]
    groups = _groups(results, rows(results, "set_aside"), "reason", lines=_FEW_LINES)
    if groups:
        blocks.append(TableBlock(_table("Rows set aside, by reason", groups, first="Reason")))
    return Section("set-aside", "Rows set aside", heading, tuple(blocks))


def findings_section(results: AuditResults) -> Section:
    """What was doubtful, rule by rule: what to check first, then what to know."""
    every = rows(results, "finding_counts")
    found = [row for row in every if row["rule"] not in DECIDED]
    told = [row for row in every if row["rule"] in DECIDED]
    kinds = {kind: [row for row in found if row["severity"] == kind] for kind in _KINDS}
    check, know = (sum(int(row["n"]) for row in own) for own in kinds.values())
    more = f"{wording.count(len(told))} more, on how whole columns were read, stand below." if told else ""
    if not found:
        said = f"All rules were run on all rows. {more}".strip()
        return Section("findings", "Findings, by rule", "Nothing doubtful was found", (Paragraph(said),))
    table = html_table(
        "What was found, by rule",
        [
            Column("Rule", lambda row: word(row["rule"]), "label"),
            Column("Kind", lambda row: _KINDS[str(row["severity"])], "short"),
            Column("Field (heading in the log)", lambda row: field_name(results, row["column"]), "text"),
            Column("Points", number("n")),
            Column("What to do, in one example", lambda row: asked(row["message"]), "text"),
        ],
        [row for own in kinds.values() for row in own],
    )
    return Section(
        "findings",
        "Findings, by rule",
        f"{wording.plural(check, 'point')} to check, {wording.count(know)} only to know",
        (Paragraph(f"The rows were used. {more}".strip()), TableBlock(table)),
    )


def queries_section(results: AuditResults) -> Section:
    """The lines to look up, site by site."""
    found = [row for row in rows(results, "query_list") if row["used"]]
    sites = list(dict.fromkeys(str(row["site_ref"]) for row in found))
    if not found:
        return Section(
            "queries",
            "Query list",
            "No line needs looking up",
            (Paragraph("All rules were run on all rows."),),
        )
    blocks: list[Block] = [
        Paragraph(
            "Look the line up in the file, and in the notes where the file does not answer; correct the source, "
            "not the export. These rows are used meanwhile; those set aside stand above.",
            "A line is counted as a spreadsheet counts it: the heading is line 1.",
        )
    ]
    for site in sites[:_MOST_SITES]:
        own = [row for row in found if row["site_ref"] == site]
        groups = _groups(results, own, "rule", lines=_LINES)
        blocks.append(Subheading(f"{site or _nowhere(sites)}: {wording.plural(len(own), 'point')}"))
        blocks.append(
            TableBlock(_table(f"Points to check, {site or _nowhere(sites)}", groups[:_MOST_GROUPS]))
        )
        if left := len(groups) - min(len(groups), _MOST_GROUPS):
            blocks.append(
                Paragraph(f"{wording.plural(left, 'kind of point', 'kinds of points')} more not shown.")
            )
    if left := len(sites) - min(len(sites), _MOST_SITES):
        blocks.append(Paragraph(f"{wording.plural(left, 'more site is', 'more sites are')} not shown."))
    return Section("queries", "Query list", _to_look_up(found, sites), tuple(blocks))


def _to_look_up(found: Sequence[Row], sites: Sequence[str]) -> str:
    """The heading: how many points there are, and where."""
    points = f"{wording.plural(len(found), 'point')} to look up"
    if not any(sites) or len(sites) > 4:
        return points
    counts = {site: sum(row["site_ref"] == site for row in found) for site in sites}
    named = [f"{n} at {site}" if site else f"{n} elsewhere" for site, n in counts.items()]
    return f"{points}: {wording.listed(named)}"


def _nowhere(sites: Sequence[str]) -> str:
    """What stands in the place of a site that is not known."""
    return "Site not recorded, or the log as a whole" if any(sites) else "The whole log"


def _groups(results: AuditResults, found: Sequence[Row], kind: str, *, lines: int) -> list[Row]:
    """Rows of one reason and field together, most frequent first."""
    together: dict[tuple[str, str], list[Row]] = {}
    for row in found:
        together.setdefault((str(row[kind]), str(row["column"])), []).append(row)
    groups = [
        {
            "what": word(code),
            "field": field_name(results, column),
            "n": len(own),
            "lines": lines_of(own, most=lines),
            "todo": asked(own[0]["message"]),
        }
        for (code, column), own in together.items()
    ]
    return sorted(groups, key=lambda group: (-int(str(group["n"])), str(group["what"]), str(group["field"])))


def _table(caption: str, groups: Sequence[Row], *, first: str = "Point") -> Markup:
    """The groups as a table."""
    return html_table(
        caption,
        [
            Column(first, plain("what"), "label"),
            Column("Field (heading in the log)", plain("field"), "text"),
            Column("Rows", number("n")),
            Column("Lines", plain("lines"), "text"),
            Column("What to do, in one example", plain("todo"), "text"),
        ],
        groups,
    )
