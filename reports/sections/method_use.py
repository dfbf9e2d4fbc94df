"""Continuation of the method beside that of the device."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import is_known, rows
from reports.sections.observation import drawn_rules
from reports.sections.section import Block, Subheading, TableBlock
from reports.tables import Column, estimate_cell, html_table
from reports.words_for_codes import word

_YEAR = 365


def method_beside_device(results: AuditResults) -> list[Block]:
    """Still using any device, and still using the first one, on the same days."""
    fixed = {"by": "overall", "placement_kind": "first", "censoring": drawn_rules(results)}
    days = results.settings.windows.horizons
    devices = {
        (row["censoring"], row["days"]): row
        for row in rows(results, "continuation_curve", days=days, **fixed)
    }
    found = [
        {"method": row, "device": devices[row["censoring"], row["days"]]}
        for row in rows(results, "method_continuation", **fixed)
        if (row["censoring"], row["days"]) in devices and is_known(row["survival"])
    ]
    if not found:
        return []
    value = estimate_cell("survival", "ci_lower", "ci_upper")
    columns = [
        Column("By", lambda row: wording.since_placement(row["method"]["days"]), "label"),
        Column("Observation", lambda row: word(row["method"]["censoring"]), "short"),
        Column("Any device, % (95% interval)", lambda row: value(row["method"]), "interval"),
        Column("The first device, %", lambda row: value(row["device"]), "interval"),
        Column("Note", lambda row: str(row["method"]["caution"]), "note"),
    ]
    year = next((row for row in found if row["method"]["days"] == _YEAR), None)
    title = "The method goes on where the device does not"
    if year is not None and not year["method"]["caution"]:
        title = (
            f"At 12 months {wording.percent(year['method']['survival'])} of 100 women used a device, "
            f"{wording.percent(year['device']['survival'])} their first one"
        )
    gap = results.settings.windows.method_gap_days
    foot = f"A new device within {gap} days of the end of the one before continues the method."
    return [
        Subheading(title),
        TableBlock(
            html_table(
                "Method and device",
                columns,
                found,
                foot=foot,
                counted=("method_continuation", "continuation_curve"),
            )
        ),
    ]
