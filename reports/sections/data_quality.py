"""Can these data be believed: rows, doubtful values, completeness, and the way from a log row to a placement."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, one, rows
from reports.sections.flow import flow_blocks
from reports.sections.missing import site_map
from reports.sections.parts import files_read
from reports.sections.places import asked
from reports.sections.section import Block, Caution, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, linked, number, proportion_columns
from reports.words_for_codes import spoken, word
from reports.words_for_columns import column_heading, column_words

_KINDS = {"warning": "Check", "notice": "Know"}
_EXPECTED = ("required", "one_of", "recommended")


def data_quality_section(results: AuditResults) -> Section:
    """Rows used and set aside, findings, completeness, figures on and off, and the flow to placements."""
    blocks: list[Block] = [
        *[Caution(warning) for warning in (set_aside_banner(results),) if warning],
        *_rows(results),
        *_findings(results),
        *_completeness(results),
        *site_map(results),
        *_available(results),
        *flow_blocks(results),
    ]
    return Section("data-quality", "The data", rows_used(results), tuple(blocks))


def accounted(results: AuditResults) -> tuple[int, int, int]:
    """Rows in, used and set aside."""
    found = {"in": 0, "used": 0, "set_aside": 0}
    for row in rows(results, "row_accounting"):
        found[str(row["disposition"])] = found.get(str(row["disposition"]), 0) + int(row["n"])
    return found["in"], found["used"], found["set_aside"]


def set_aside_banner(results: AuditResults) -> str:
    """A warning where more rows were set aside than the settings let pass in silence."""
    into, _, aside = accounted(results)
    limit = results.settings.thresholds.set_aside_banner
    if not into or aside <= limit * into:
        return ""
    were = "row was" if aside == 1 else "rows were"
    return (
        f"{wording.count(aside)} of {wording.count(into)} {were} set aside ({wording.percent(aside / into)}%; this "
        f"warning appears above {wording.percent(limit)}%). What they held is missing from every figure."
    )


def rows_used(results: AuditResults) -> str:
    """The heading: how many rows of the log were used."""
    into, used, aside = accounted(results)
    if not into:
        return "The log holds no rows"
    if not aside:
        return (
            "The one row of the log was used"
            if into == 1
            else f"All {wording.count(into)} rows of the log were used"
        )
    were = "was" if used == 1 else "were"
    return f"{wording.count(used)} of {wording.plural(into, 'row')} {were} used, {wording.count(aside)} set aside"


def _rows(results: AuditResults) -> list[Block]:
    """Rows in, used and set aside by reason."""
    told = {"in": "Rows in the log", "used": "Used", "set_aside": "Set aside"}

    def name(row: Row) -> str:
        reason = f": {word(row['reason']).lower()}" if row["reason"] else ""
        return told.get(str(row["disposition"]), word(row["disposition"])) + reason

    files = wording.listed([f"{name} ({which})" for name, which in files_read(results)])
    table = html_table(
        "Rows of the log",
        [Column("Rows", name, "label"), Column("Number", number("n"))],
        rows(results, "row_accounting"),
    )
    return [
        Paragraph(
            "Every row of the log is either used or set aside with a reason; none is lost.",
            f"Read from {files}." if files else "",
        ),
        TableBlock(table),
    ]


def _findings(results: AuditResults) -> list[Block]:
    """What was doubtful, rule by rule."""
    found = rows(results, "finding_counts")
    if not found:
        return [Subheading("Nothing doubtful was found"), Paragraph("All rules were run on all rows.")]
    table = html_table(
        "Points to check and to know, by rule",
        [
            Column("Rule", lambda row: word(row["rule"]), "label"),
            Column("Kind", lambda row: _KINDS.get(str(row["severity"]), word(row["severity"])), "short"),
            Column("Field", lambda row: column_heading(row["column"]), "text"),
            Column("Rows", number("n")),
            Column("What it means, in one example", lambda row: asked(row["message"]), "text"),
        ],
        found,
    )
    return [
        Subheading(_doubts(found)),
        Paragraph(
            "These rows were used. The clerk who has the notes can put most of them right in the source."
        ),
        TableBlock(table),
    ]


def _doubts(found: list[Row]) -> str:
    """How many points there are to check, and how many only to know."""
    check, know = (sum(int(row["n"]) for row in found if row["severity"] == kind) for kind in _KINDS)
    points = wording.plural(check, "point")
    return (
        f"{points} to check in the source, {wording.count(know)} only to know"
        if know
        else f"{points} to check"
    )


def least_complete(results: AuditResults) -> Row | None:
    """The required or recommended field that is filled in least often."""
    found = rows(results, "field_completeness", by="overall", requirement=_EXPECTED)
    found = [row for row in found if row["n"]]
    return min(found, key=lambda row: float(row["proportion"]), default=None)


def filled_in(results: AuditResults) -> Row | None:
    """How much of what every log should record was filled in."""
    row = one(results, "core_completeness", by="overall")
    return row if row is not None and row["n"] else None


def _completeness(results: AuditResults) -> list[Block]:
    """How often each field was filled in."""
    found = rows(results, "field_completeness", by="overall")
    if not found:
        return []
    least = least_complete(results)
    columns = proportion_columns(
        Column("Field", lambda row: column_heading(row["column"]), "label"), events="Filled in"
    )
    columns = [column for column in columns if column.heading != "Not known"]
    expected = [row for row in found if row["requirement"] in _EXPECTED]
    others = [row for row in found if row["requirement"] not in _EXPECTED]
    heading = "How complete the fields are"
    if least is not None:
        heading = f"Least often filled in: {column_words(least['column'])}, {wording.proportion(least)}"
    blocks: list[Block] = [
        Subheading(heading),
        Paragraph(
            "A field counts only for the rows to which it applies: a reason for failure for failures only."
        ),
        TableBlock(
            html_table("Fields that are required or recommended", columns, expected, foot=PROPORTION_FOOT)
        ),
    ]
    if others:
        blocks.append(Folded("All other fields", html_table("Optional fields", columns, others)))
    return blocks


def _available(results: AuditResults) -> list[Block]:
    """Which figures this log can give."""
    found = rows(results, "indicator_availability")
    if not found:
        return []
    off = [row for row in found if not row["available"]]
    table = html_table(
        "Figures this log can and cannot give",
        [
            Column("Figure", lambda row: linked(str(row["title"]), str(row["indicator"])), "label"),
            Column("Given", lambda row: "yes" if row["available"] else "no", "short"),
            Column("Why not", lambda row: spoken(row["reason"]) or wording.NOTHING, "text"),
        ],
        found,
    )
    heading = (
        f"{len(off)} of {wording.plural(len(found), 'figure')} cannot be given from this log"
        if off
        else f"All {len(found)} figures can be given from this log"
    )
    return [Subheading(heading), Folded("Figure by figure", table) if not off else TableBlock(table)]
