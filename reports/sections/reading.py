"""How the log was read: the order of day and month, units, signs and words, and what was decided for the reader."""

import re

from markupsafe import Markup

from audit.records import AuditResults
from audit.schema.terms import UNITS
from audit.schema.visits import VISITS
from reports import wording
from reports.choosing import rows
from reports.sections.places import field_name, told
from reports.sections.queries import DECIDED
from reports.sections.section import Block, Items, Paragraph, Section, TableBlock
from reports.tables import Column, html_table, plain
from reports.words_for_columns import column_words

_ORDERS = {
    "iso": "year, month, day, as 2026-09-30",
    "day_month_year": "day first, as 30/09/2026",
    "month_day_year": "month first, as 09/30/2026",
}
# Ours, of those that a log may also hold in another unit.
_CONVERTED = {ours for _, ours in UNITS}
_FIT_EITHER = re.compile(r"([0-9,]+) of ([0-9,]+) dates")


def reading_section(results: AuditResults) -> Section:
    """Dates, units, signs and blanks as they were understood."""
    layout = results.settings.layout
    either = rows(results, "finding_counts", rule="dates_fit_either_order")
    fields = wording.plural(len(either), "field has dates", "fields have dates")
    heading = (
        f"{fields} that would be other days in the other order of day and month"
        if either
        else "No date would be another day in the other order of day and month"
    )
    blocks: list[Block] = [
        Paragraph(
            f"Dates are read {_ORDERS[layout.date_order]}: {_who(layout.date_order != 'iso')}. A date is never "
            "guessed: one that does not fit the order counts as unreadable.",
            "Compare a few dates with the notes if the settings were not written by whoever exported the log.",
        ),
        Items(_notes(results)),
    ]
    units = _units(results)
    if units:
        blocks.append(TableBlock(_unit_table(units)))
    return Section("reading", "How the log was read", heading, tuple(blocks))


def _who(declared: bool) -> str:
    """Whether the settings say it."""
    return "the settings say so" if declared else "the settings name no other order"


def _notes(results: AuditResults) -> tuple[str, ...]:
    """A sentence for each thing that was decided."""
    comma = results.settings.layout.decimal_comma
    others = tuple(rule for rule in DECIDED if rule != "dates_fit_either_order")
    return (
        *_either(results),
        *(told(row["message"]) for row in rows(results, "finding_counts", rule=others)),
        "Numbers have a decimal comma, as the settings say."
        if comma
        else "Numbers have a decimal point; where semicolons part the values, a comma is read as one too.",
        _blanks(results),
    )


def _either(results: AuditResults) -> list[str]:
    """In which fields some dates would be other days, and how many of them."""
    found = rows(results, "finding_counts", rule="dates_fit_either_order")
    counts = {str(row["column"]): _FIT_EITHER.search(str(row["message"])) for row in found}
    named = [f"{column_words(name)} ({hit[1]} of {hit[2]})" for name, hit in counts.items() if hit]
    return [f"Dates that fit either order: {wording.listed(named)}."] if named else []


def _blanks(results: AuditResults) -> str:
    """What a blank means."""
    charted = [column_words(name) for name in results.settings.charted_by_exception]
    if not charted:
        return "A blank is unknown in every field; none is declared as charted by exception."
    return f"A blank means no in: {wording.listed(charted)}. In every other field it is unknown."


def _units(results: AuditResults) -> list[dict[str, object]]:
    """The unit of every field of this log that could be in another."""
    layout = results.settings.layout
    here = {str(row["column"]) for row in rows(results, "field_completeness", by="overall")}
    converted = {
        str(row["column"]): int(row["n"]) for row in rows(results, "finding_counts", rule="read_as_cm")
    }
    return [
        {
            "field": field_name(results, column.name),
            "unit": layout.units.get(column.name, column.unit),
            "why": _why_unit(column.name in layout.units, converted.get(column.name, 0)),
        }
        for column in VISITS.columns
        if column.unit in _CONVERTED and column.name in here
    ]


def _why_unit(declared: bool, converted: int) -> str:
    """Who decided the unit."""
    if declared:
        return "the settings say so"
    if converted:
        return f"the default; {wording.plural(converted, 'value')} that can only be in cm read as cm"
    return "the default: the settings name no other unit"


def _unit_table(units: list[dict[str, object]]) -> Markup:
    """The units as a table."""
    return html_table(
        "Units",
        [
            Column("Field (heading in the log)", plain("field"), "label"),
            Column("Read as", plain("unit"), "short"),
            Column("Decided by", plain("why"), "text"),
        ],
        units,
    )
