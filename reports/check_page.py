"""The check of a log as one self-contained HTML file without a script, for the clerk and the clinical lead."""

from dataclasses import dataclass

from markupsafe import Markup

from audit.records import AuditResults
from audit.schema.indicators import BY_TABLE
from reports import wording
from reports.choosing import Row, rows
from reports.page import render_without_scripts
from reports.sections.data_quality import accounted
from reports.sections.missing import missing_maps, most_missing, nothing_missing
from reports.sections.parts import files_read
from reports.sections.queries import findings_section, queries_section, set_aside_section
from reports.sections.reading import reading_section
from reports.sections.section import Block, Folded, Paragraph, Section, TableBlock
from reports.sections.usable import Fix, figures, first_fix, usable
from reports.tables import PROPORTION_FOOT, Column, html_table, plain, proportion_columns
from reports.words_for_codes import within
from reports.words_for_columns import column_heading, column_words

EDITION = "Check of a visit log: not for release"


@dataclass(frozen=True)
class Answer:
    """What the head of the page says."""

    sentence: str
    fix: Fix | None
    used: int
    figures: tuple[tuple[str, str], ...]


def render_check(results: AuditResults) -> str:
    """The check of a log as one HTML page.

    Parameters
    ----------
    results
        From `audit.check.check_results`.

    Returns
    -------
    str
        A page that asks for nothing outside itself and runs nothing. It holds lines, columns and codes of places,
        never a reference, a day or a text of the log. The same results always give the same text.
    """
    values = {
        "facts": _facts(results),
        "answer": Answer(usable(results), first_fix(results), accounted(results)[1], figures(results)),
        "sections": (sections := _sections(results)),
        "section_classes": {section.id: "listed" for section in sections if section.id != "missing"},
    }
    return render_without_scripts("check.html.j2", results, values, edition=EDITION, styles=("check.css",))


def _facts(results: AuditResults) -> tuple[tuple[str, str], ...]:
    """Files by number, and the last day of the data."""
    into, used, aside = (wording.count(number) for number in accounted(results))
    return (
        *files_read(results),
        ("Rows", f"{used} used, {aside} set aside, of {into}"),
        ("Data to", wording.day(results.data_to)),
    )


def _sections(results: AuditResults) -> tuple[Section, ...]:
    """The sections, in order of what the clerk can do about it."""
    return (
        set_aside_section(results),
        _missing(results),
        findings_section(results),
        queries_section(results),
        reading_section(results),
        _figures(results),
    )


def _missing(results: AuditResults) -> Section:
    """The maps of what is missing, and how complete each field is."""
    most = most_missing(rows(results, "missingness", by="overall"))
    heading = nothing_missing(results)
    if most is not None:
        heading = f"Most often missing: {column_words(most['column'])}, {wording.proportion(most)}"
    blocks: list[Block] = [
        Paragraph(
            "A field counts only for the rows to which it applies: a reason for failure for failures only, what is "
            "noted during an insertion only where one was begun. Missing is what is blank, cannot be read, or is "
            "said to be unknown."
        ),
        *missing_maps(results),
        *_completeness(results),
    ]
    return Section("missing", "What is missing", heading, tuple(blocks))


def _completeness(results: AuditResults) -> list[Block]:
    """How often each field was filled in, with its interval."""
    found = rows(results, "field_completeness", by="overall")
    columns = proportion_columns(
        Column("Field", lambda row: column_heading(row["column"]), "label"), events="Filled in"
    )
    columns = [column for column in columns if column.heading != "Not known"]
    table = html_table("Fields of this log", columns, found, foot=PROPORTION_FOOT)
    return [Folded("How complete every field is, with intervals", table)] if found else []


def _figures(results: AuditResults) -> Section:
    """Which figures of the audit the fields of this log allow, and which fields would give the others."""
    found = rows(results, "indicator_availability")
    on, off = ([row for row in found if bool(row["available"]) is given] for given in (True, False))
    heading = (
        f"{len(off)} of {wording.plural(len(found), 'figure')} cannot be given from this log"
        if off
        else f"All {len(found)} figures can be given from this log"
    )
    blocks: list[Block] = (
        [Paragraph(f"Given: {wording.listed([within(str(row['title'])) for row in on])}.")] if on else []
    )
    if off:
        blocks.append(TableBlock(_off_table(results, off)))
    return Section("figures", "Figures this log allows", heading, tuple(blocks))


def _off_table(results: AuditResults, off: list[Row]) -> Markup:
    """The figures that are off, and the fields that would switch each on."""
    here = {str(row["column"]) for row in rows(results, "missingness", by="overall") if row["in_log"]}

    def lacking(row: Row) -> str:
        needs = [group for group in BY_TABLE[str(row["indicator"])].needs if not here & set(group)]
        return "; and ".join(
            " or ".join(f"{column_words(name)} ({name})" for name in group) for group in needs
        )

    return html_table(
        "Figures that are off, and the fields that would switch them on",
        [
            Column("Figure", plain("title"), "label"),
            Column("What it would tell", lambda row: BY_TABLE[str(row["indicator"])].question, "text"),
            Column("Field to record (its name in a settings file)", lacking, "text"),
        ],
        off,
    )
