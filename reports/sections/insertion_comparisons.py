"""Failed insertions compared between groups, sites and quarters, and the devices they cost."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.sections.comparisons import COMPARISON_FOOT, NO_GROUPS, compared, comparison_columns
from reports.sections.parts import PERIOD, ROLLING, WHOLE
from reports.sections.section import Block, Subheading, TableBlock
from reports.tables import Column, html_table, number
from reports.words_for_codes import stratum, within, word

_TABLE = "failed_insertion_contrasts"


def comparison_blocks(results: AuditResults) -> list[Block]:
    """Every comparison in one table: births and sites in twelve months, quarters in the whole log."""
    bys = ("cervical_parity", "parous", "site_ref", "births_group")
    found = [
        NO_GROUPS | row
        for row in [
            *rows(results, _TABLE, by=bys, window=ROLLING),
            *rows(results, _TABLE, by="quarter", window=WHOLE),
        ]
    ]
    if not any(is_known(row["p_value"]) for row in found):
        return []
    columns = comparison_columns()
    columns[0] = Column("Compared", compared, "label")
    table = html_table(
        "Failed insertions compared: twelve months; quarters, the whole log",
        columns,
        found,
        foot=COMPARISON_FOOT,
        counted=("failed_insertions",),
    )
    return [Subheading(_heading(found)), TableBlock(table)]


def _heading(found: list[Row]) -> str:
    """Which comparisons lie beyond chance, and how many were made."""
    apart = [
        row
        for row in found
        if is_known(row["ratio_lower"]) and not row["ratio_lower"] <= 1 <= row["ratio_upper"]
    ]
    made = wording.plural(len(found), "comparison")
    if not apart:
        return f"None of {made} of failed insertions shows a difference larger than chance"
    named = wording.listed([_side(row) for row in apart])
    return f"Of {made}, larger than chance: {named}"


def _side(row: Row) -> str:
    """A group and whether more or fewer failed there."""
    more = "more" if row["ratio_lower"] > 1 else "fewer"
    return f"{more} failed in the group “{within(stratum(row['by'], row['group']))}”"


def wasted_blocks(results: AuditResults) -> list[Block]:
    """Devices opened and not left in place."""
    now = one(results, "devices_wasted", by="overall", window=PERIOD)
    if now is None:
        return []
    found = [
        *rows(results, "devices_wasted", by="overall", window=(PERIOD, ROLLING, WHOLE)),
        *rows(results, "devices_wasted", by="device_family", window=ROLLING),
    ]
    columns = [
        Column("Devices", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Window", lambda row: word(row["window"]), "short"),
        Column("Wasted", number("events")),
        Column("Opened", number("n")),
        Column("Wasted per 100 opened (95% interval)", _per_hundred, "interval"),
        Column("Attempts that do not say", number("n_unknown")),
    ]
    heading = f"Devices wasted: {wording.count(now['events'])} of {wording.count(now['n'])} opened"
    table = html_table("Devices wasted", columns, found, counted=("devices_wasted",))
    return [Subheading(heading), TableBlock(table)]


def _per_hundred(row: Row) -> str:
    """A rate per 100 with its limits."""
    if not is_known(row["rate"]):
        return wording.NOTHING
    return f"{wording.rate(row['rate'])} ({wording.rate(row['ci_lower'])} to {wording.rate(row['ci_upper'])})"
