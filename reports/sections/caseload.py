"""Caseload and case mix: how much was done, and for whom."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, one, rows, table
from reports.sections.care import waiting_blocks
from reports.sections.parts import PERIOD, ROLLING, WHOLE
from reports.sections.section import Block, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, number, proportion_columns
from reports.words_for_codes import counted, grouping, stratum, word

_MIX = ("parity_group", "births_group", "device_family", "site_ref")


def caseload_section(results: AuditResults) -> Section:
    """The amount of work in the period, twelve months and the whole log, and the mix of women and devices."""
    blocks: list[Block] = [
        *_work(results),
        *_mix(results),
        *waiting_blocks(results),
        *_emergency(results),
    ]
    return Section("caseload", "Caseload and case mix", _heading(results), tuple(blocks))


def _heading(results: AuditResults) -> str:
    """How much was done in the period."""
    load = {str(row["item"]): int(row["n"]) for row in rows(results, "caseload", window=PERIOD)}
    if not load.get("attempts"):
        return "No insertion was begun in this period"
    return (
        f"{wording.plural(load['attempts'], 'insertion was', 'insertions were')} begun and "
        f"{wording.plural(load.get('placed', 0), 'device')} placed in this period"
    )


def _work(results: AuditResults) -> list[Block]:
    """Counts of work, by window."""
    frame = table(results, "caseload")
    if frame.empty:
        return [Paragraph("This audit holds no caseload.")]
    items: dict[str, Row] = {}
    for row in rows(results, "caseload"):
        items.setdefault(str(row["item"]), {"item": row["item"]})[str(row["window"])] = row["n"]
    columns = [
        Column("Work", lambda row: word(row["item"]), "label"),
        *(Column(word(window), number(window)) for window in (PERIOD, ROLLING, WHOLE)),
    ]
    found = [{PERIOD: None, ROLLING: None, WHOLE: None} | row for row in items.values()]
    return [
        Paragraph("Devices placed elsewhere count as work here, and nowhere else in this report."),
        TableBlock(html_table("Caseload", columns, found)),
    ]


def _mix(results: AuditResults) -> list[Block]:
    """How the visits of the period divide."""
    found = [
        row for by in _MIX for row in rows(results, "failed_insertions", by=by, unit="visit", window=PERIOD)
    ]
    if not found:
        return []
    columns = [
        Column("Divided by", lambda row: grouping(row["by"]), "label"),
        Column("Group", lambda row: stratum(row["by"], row["stratum"]), "text"),
        Column("Visits, outcome known", number("n")),
        Column("Outcome not known", number("n_unknown")),
        Column("Deferred", number("n_deferred")),
    ]
    return [
        Subheading("Who came, and for which device"),
        TableBlock(html_table(f"Case mix of {counted('visit')}, this period", columns, found)),
    ]


def _emergency(results: AuditResults) -> list[Block]:
    """Emergency placements in time."""
    found = rows(results, "emergency_placement_in_time", by="overall")
    now = one(results, "emergency_placement_in_time", by="overall", window=PERIOD)
    if now is None:
        return []
    columns = [
        *proportion_columns(
            Column("Window", lambda row: word(row["window"]), "label"),
            events="In time",
            of="Emergency attempts",
        )[:-1],
        Column("By the ovulation rule", number("n_by_ovulation")),
        Column("Time not shown, so not in time", number("n_not_shown")),
        Column("Placed", number("n_placed")),
        Column("Deferred", number("n_deferred")),
    ]
    heading = (
        f"Emergency placement in time: {wording.proportion(now)}"
        if now["n"]
        else "No emergency placement was tried in this period"
    )
    return [
        Subheading(heading),
        TableBlock(
            html_table(
                "Emergency attempts begun in time",
                columns,
                found,
                foot=PROPORTION_FOOT,
                counted=("emergency_placement_in_time",),
            )
        ),
    ]
