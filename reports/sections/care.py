"""Care given at insertion visits that no standard is about, the safety net after none was placed, and waits."""

from collections.abc import Collection

from audit.records import AuditResults
from audit.schema.indicators import BY_TABLE
from reports import wording
from reports.choosing import Row, is_known, one, rows, why_empty
from reports.figures.marks import three_part_bar
from reports.sections.parts import PERIOD, ROLLING, WHOLE, counted_how
from reports.sections.section import Block, Paragraph, Subheading, TableBlock
from reports.tables import (
    PROPORTION_FOOT,
    Column,
    html_table,
    linked,
    number,
    proportion_columns,
    quantile_cell,
)
from reports.words_for_codes import stratum, within, word

_TABLE, _NET = "process_of_care", "safety_net"
_BAR = "Bar: dark, met; coloured, not met; pale, not recorded. The methods say how each item is counted."


def title_of(row: Row) -> str:
    """What an item is called."""
    return BY_TABLE[row["item"]].title if row["item"] in BY_TABLE else word(row["item"])


def _linked_title(row: Row) -> str:
    """What an item is called, leading to how it is counted."""
    return linked(title_of(row), str(row["item"]))


def other_care_blocks(results: AuditResults, judged: Collection[str]) -> list[Block]:
    """The items of care that no standard of this service is about, and those that this log cannot show."""
    found = [
        row for row in rows(results, _TABLE, by="overall", window=PERIOD) if str(row["item"]) not in judged
    ]
    blocks: list[Block] = []
    if found:
        table = html_table("Items of care, this period", _columns(), found, foot=_foot())
        blocks += [Subheading("Care for which this service has no standard"), TableBlock(table)]
    return [*blocks, *_not_recorded(results)]


def _columns() -> list[Column]:
    """The columns of the items."""
    counted = proportion_columns(Column("Item", _linked_title, "label"), events="Met", of="Recorded")
    return [
        counted[0],
        Column("Drawn, 0 to 100%", _bar, "bar"),
        *counted[1:-1],
        Column("Not met", number("n_not_met")),
        Column("Not recorded", number("n_unknown")),
        Column("Exceptions", number("n_exception")),
        Column("% if a blank is not met", lambda row: wording.percent(row["bound_lower"])),
    ]


def _bar(row: Row) -> str:
    """Met, not met and not recorded as a bar."""
    return three_part_bar((int(row["events"]), int(row["n_not_met"]), int(row["n_unknown"])))


def _foot() -> str:
    """What the bars and the limits are."""
    return f"{_BAR} {PROPORTION_FOOT}"


def _not_recorded(results: AuditResults) -> list[Block]:
    """The items that this log cannot show."""
    told = rows(results, "indicator_availability", available=False)
    names = [row["title"] for row in told if row["indicator"] in BY_TABLE and BY_TABLE[row["indicator"]].item]
    if not names:
        return []
    return [
        Paragraph(f"This log does not record: {wording.listed(names)}. Not recorded is not the same as no.")
    ]


def safety_net_blocks(results: AuditResults) -> list[Block]:
    """The plan and the cover of women who left without a device."""
    now = one(results, _NET, by="overall", item="whole_safety_net", window=PERIOD)
    if now is None:
        return [
            Subheading(f"{BY_TABLE[_NET].title}: nothing to show"),
            Paragraph(why_empty(results, _NET)),
            counted_how(_NET),
        ]
    found = [
        row
        for window in (PERIOD, ROLLING)
        for row in rows(results, _NET, by=("overall", "visit_outcome"), window=window)
        if row["by"] == "overall" or row["item"] == "whole_safety_net"
    ]
    columns = proportion_columns(Column("Left with", _net_words, "label"), events="Met", of="Recorded")
    columns[-1] = Column("Not recorded", number("n_unknown"))
    columns.insert(1, Column("Window", lambda row: word(row["window"]), "short"))
    table = html_table(
        "Women who left without a device", columns, found, foot=PROPORTION_FOOT, counted=(_NET,)
    )
    return [Subheading(_net_heading(now)), TableBlock(table)]


def _net_words(row: Row) -> str:
    """Which part of the safety net, and for whom."""
    if row["by"] == "overall":
        return title_of(row)
    return f"{title_of(row)}: {within(stratum(row['by'], row['stratum']))}"


def _net_heading(now: Row) -> str:
    """How many had all of it."""
    if not now["n"] + now["n_unknown"]:
        return "Every visit of this period placed a device"
    if not now["n"]:
        return "When no device was placed, no plan or cover was recorded for anyone"
    return f"When no device was placed, plan and cover were given at {wording.proportion(now, noun='visits')}"


def waiting_blocks(results: AuditResults) -> list[Block]:
    """How long women waited, by timing of the placement."""
    now = one(results, "waiting_time", by="overall", window=PERIOD)
    if now is None:
        return []
    found = [
        row
        for by, windows in (
            ("overall", (PERIOD, ROLLING, WHOLE)),
            ("timing_group", ROLLING),
            ("site_ref", ROLLING),
        )
        for row in rows(results, "waiting_time", by=by, window=windows)
    ]
    columns = [
        Column("Women", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Window", lambda row: word(row["window"]), "short"),
        Column("Recorded", number("n")),
        Column("Half waited, days (95% interval)", quantile_cell("median"), "interval"),
        Column("Nine in ten waited, days (95% interval)", quantile_cell("centile"), "interval"),
        Column("Not known", number("n_unknown")),
    ]
    heading = "The wait is not recorded for anyone in this period"
    if is_known(now["median"]):
        half, most = wording.amount(now["median"]), wording.amount(now["centile"])
        heading = f"Half of the women waited {half} days or less, nine in ten {most} or less"
    table = html_table(
        "Days from request to first attempt",
        columns,
        found,
        foot="Women who never came are not here.",
        counted=("waiting_time",),
    )
    return [Subheading(heading), TableBlock(table)]
