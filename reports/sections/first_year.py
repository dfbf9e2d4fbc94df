"""What became of devices in their first year, as bounds: all that may be said while too few outcomes are known."""

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.sections.observation import gate_sentence
from reports.sections.parts import counted_how
from reports.sections.section import Block, Paragraph, Section, TableBlock
from reports.tables import Column, estimate_cell, html_table, number
from reports.words_for_codes import grouping, stratum

_TABLE = "first_year_endings"
_BY = ("overall", "timing_group", "device_family")
_CAUSES = {"expulsion": "Expelled", "removal": "Taken out", "any": "Ended, in any way"}
HAPPENED = {
    "expulsion": "had their device expelled in the first year",
    "removal": "had their device taken out in the first year, for any reason",
    "any": "no longer used their device after 12 months",
}
_FOOT = (
    "Of women whose device was placed a year and more ago. The lower bound takes it that none of the unknown ended "
    "so, the upper bound that all of them did. Bounds are no interval: chance comes on top."
)


def year_bounds(results: AuditResults, cause: str) -> Row | None:
    """All women's first year under one cause; none where no device is old enough."""
    row = one(results, _TABLE, by="overall", cause=cause, placement_kind="first")
    return row if row is not None and is_known(row["bound_lower"]) else None


def bounds_section(results: AuditResults, id: str, label: str, cause: str, table: str) -> Section:
    """A section that may print bounds only: the sentence, why, and the bounds group by group."""
    row = year_bounds(results, cause)
    blocks: list[Block] = [Paragraph(gate_sentence(results))]
    if row is None:
        heading = f"{label}: how often, we cannot tell"
    else:
        reach = wording.of_women(row["bound_lower"], row["bound_upper"]).capitalize()
        heading = f"{reach} {HAPPENED[cause]}; these data cannot say more"
        blocks += [
            Paragraph(_seen(row)),
            TableBlock(_by_group(results, cause, label)),
        ]
    return Section(id, label, heading, (*blocks, counted_how(table)))


def _seen(row: Row) -> str:
    """How many endings were seen, of how many women the year is known, and of how many there are."""
    old_enough = wording.plural(row["n"] + row["n_unknown"], "woman", "women")
    seen = wording.plural(row["events"], "such ending was", "such endings were")
    known = wording.count(row["n"])
    return f"{seen} seen. The first year is over for {old_enough}, and its outcome is known for {known}."


def _by_group(results: AuditResults, cause: str, label: str) -> Markup:
    """The bounds of one cause, all women and group by group."""
    found = [row for by in _BY for row in rows(results, _TABLE, by=by, cause=cause, placement_kind="first")]
    columns = [
        Column("Women", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Divided by", lambda row: "" if row["by"] == "overall" else grouping(row["by"]), "short"),
        Column("Seen", number("events")),
        Column("Outcome known", number("n")),
        Column("Not known", number("n_unknown")),
        Column("Of 100 women", _bounds, "interval"),
    ]
    return html_table(
        f"{label} in the first year: bounds", columns, found, foot=_FOOT, counted=("outcome_known",)
    )


def _bounds(row: Row) -> str:
    """Both bounds, in per cent."""
    return wording.span(row["bound_lower"], row["bound_upper"])


def three_readings(results: AuditResults) -> list[Block]:
    """The first year read in three ways: the known only, none of the unknown, all of the unknown."""
    found = [row for cause in _CAUSES if (row := year_bounds(results, cause))]
    if not found:
        return []
    columns = [
        Column("In the first year", lambda row: _CAUSES[row["cause"]], "label"),
        Column("Seen", number("events")),
        Column("Outcome known", number("n")),
        Column("Not known", number("n_unknown")),
        Column("Known only, % (95% interval)", _known_only, "interval"),
        Column("None of the unknown, %", lambda row: wording.percent(row["bound_lower"])),
        Column("All of the unknown, %", lambda row: wording.percent(row["bound_upper"])),
    ]
    if results.gate == "bounds_only":
        columns = [column for column in columns if not column.heading.startswith("Known only")]
    table = html_table(
        "The first year, and what the unknown could change",
        columns,
        found,
        foot=_FOOT,
        counted=("outcome_known",),
    )
    return [Paragraph(_readings_sentence(results, found)), TableBlock(table)]


def _known_only(row: Row) -> str:
    """The share among those whose year is known."""
    return estimate_cell("proportion", "ci_lower", "ci_upper")(row)


def _readings_sentence(results: AuditResults, found: list[Row]) -> str:
    """The widest question, any ending, read in each of the ways that the page may show."""
    row = found[-1]
    if not row["n_unknown"]:
        return "The outcome of the first year is known for all, so nothing is left to guess."
    none, every = wording.percent(row["bound_lower"]), wording.percent(row["bound_upper"])
    seen = wording.plural(row["events"], "device is", "devices are")
    unknown = wording.plural(row["n_unknown"], "other", "others")
    known = f" among {wording.count(row['n'])} whose first year is known"
    if results.gate != "bounds_only":
        known += f", {wording.percent(row['proportion'])} in 100"
    return (
        f"{seen} known to have ended in the first year{known}. If none of the {unknown} did, it is {none} in 100 "
        f"of all; if all of them did, {every}."
    )
