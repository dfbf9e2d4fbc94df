"""How completely a clinician's own insertion visits are recorded, the least complete field first."""

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, rows
from reports.sections.section import Block, Paragraph, Section, TableBlock
from reports.tables import Column, html_table, number
from reports.words_for_columns import column_heading, column_words

COMPLETENESS = "clinician_completeness"
_LISTED = 8


def own_records_section(results: AuditResults) -> Section:
    """What is missing from the own records."""
    found = rows(results, COMPLETENESS)
    fields = [row for row in found if row["column"] != "all"]
    whole = next((row for row in found if row["column"] == "all" and row["n"]), None)
    missing = sorted(
        (row for row in fields if row["events"] < row["n"]), key=lambda row: (row["proportion"], -row["n"])
    )
    blocks: list[Block] = []
    if whole is not None:
        filled = f"{wording.count(whole['events'])} of {wording.count(whole['n'])}"
        blocks.append(
            Paragraph(
                f"Of the entries that every log should have, {filled} are filled in at your insertion visits of "
                "these twelve months. “Not known” counts as not filled in."
            )
        )
    if missing:
        blocks.append(TableBlock(_table(missing, len(fields))))
    return Section("records", "Your records", _heading(missing), tuple(blocks))


def _heading(missing: list[Row]) -> str:
    """The field that is most often left blank."""
    if not missing:
        return "Every field that applies is filled in"
    worst = missing[0]
    blank = f"{wording.count(worst['n'] - worst['events'])} of {wording.count(worst['n'])}"
    return f"Most often left blank: {column_words(worst['column'])}, {blank}"


def _table(missing: list[Row], fields: int) -> Markup:
    """The least complete fields."""
    columns = [
        Column("Field", lambda row: column_heading(row["column"]), "label"),
        Column("Filled in", number("events")),
        Column("Of", number("n")),
        Column("Left blank", lambda row: wording.count(row["n"] - row["events"])),
    ]
    shown = missing[:_LISTED]
    rest = len(missing) - len(shown)
    more = f" {wording.plural(rest, 'more has', 'more have')} a gap." if rest else ""
    foot = f"{wording.plural(fields - len(missing), 'field is', 'fields are')} filled in throughout.{more}"
    return html_table("Fields with gaps, the least complete first", columns, shown, foot=foot)
