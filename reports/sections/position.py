"""Position, threads and infection: what the contacts after a placement found."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import gate_rules, is_known, one, rows
from reports.sections.observation import drawn_rules
from reports.sections.parts import empty_section
from reports.sections.section import Block, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, proportion_columns, rate_columns
from reports.words_for_codes import within, word

_DIAGNOSED = {"suspected_or_confirmed": "Suspected or confirmed", "confirmed": "Confirmed"}
_ID, _LABEL = "position", "Position, threads and infection"


def position_section(results: AuditResults) -> Section:
    """Positions verified, threads not seen, malposition among those scanned, and pelvic infection."""
    blocks: list[Block] = [
        *_verified(results),
        *_threads(results),
        *_malposition(results),
        *_infection(results),
    ]
    if not blocks:
        return empty_section(results, _ID, _LABEL, "position_verified")
    return Section(_ID, _LABEL, _heading(results), tuple(blocks))


def _heading(results: AuditResults) -> str:
    """How often the position was verified after the first cycle."""
    row = one(results, "position_verified", by="overall", due="first_cycle", definition="either")
    if row is None:
        return "Whether anyone verified the position is not recorded"
    if not row["n"]:
        return "No placement is old enough for its first cycle to be over"
    return f"The position was verified after the first cycle for {wording.proportion(row)}"


def _verified(results: AuditResults) -> list[Block]:
    """Both windows, by imaging and by the threads."""
    found = [row for row in rows(results, "position_verified", by="overall") if row["n"]]
    if not found:
        return []
    columns = proportion_columns(
        Column("Due", lambda row: word(row["due"]), "label"), events="Verified", of="Still in place"
    )[:-1]
    columns.insert(1, Column("How", lambda row: word(row["definition"]), "short"))
    return [
        Paragraph("Both windows are local standards; no guideline found asks for routine imaging."),
        TableBlock(
            html_table(
                "Position verified", columns, found, foot=PROPORTION_FOOT, counted=("position_verified",)
            )
        ),
    ]


def _threads(results: AuditResults) -> list[Block]:
    """Threads not seen, and what became of those devices."""
    found = rows(results, "threads_not_seen", by="overall")
    if not found or not found[0]["n"]:
        return []
    missed = found[0]
    shown = [missed, *(row for row in found[1:] if row["events"])]
    columns = proportion_columns(
        Column("Threads", lambda row: word(row["definition"]), "label"), events="Devices", of="Of"
    )
    open_ones = next((int(row["events"]) for row in found if row["definition"] == "not_resolved"), 0)
    heading = f"Threads were not seen at some contact for {wording.proportion(missed)}"
    if missed["events"]:
        heading += f"; {wording.number_word(open_ones)} not resolved"
    return [
        Subheading(heading),
        TableBlock(
            html_table(
                "Threads not seen, and what came first after it",
                columns,
                shown,
                counted=("threads_not_seen",),
            )
        ),
    ]


def _malposition(results: AuditResults) -> list[Block]:
    """Malposition among those scanned, by why they were scanned."""
    found = rows(results, "malposition", by="overall")
    shown = [row for row in found if row["n"] and (row["events"] or row["definition"] == "malposition")]
    if not shown:
        return []
    columns = proportion_columns(
        Column("Scans", lambda row: word(row["scanned"]), "label"), events="Found", of="Scanned"
    )
    columns.insert(1, Column("Position", lambda row: word(row["definition"]), "short"))
    whole = [row for row in shown if row["definition"] == "malposition"]
    told = "; ".join(f"{within(word(row['scanned']))} {wording.proportion(row)}" for row in whole)
    return [
        Subheading(f"Malposition, of those scanned: {told}"),
        TableBlock(
            html_table(
                "Where the device lay, of those scanned; never of all",
                columns,
                shown,
                counted=("malposition",),
            )
        ),
    ]


def _infection(results: AuditResults) -> list[Block]:
    """Pelvic infection in the first days and later; confirmed ones over the whole time."""
    told = rows(results, "pelvic_infection", by="overall", censoring=gate_rules(results))
    found = [row for row in told if row["definition"] == "suspected_or_confirmed" or row["band"] == "all"]
    if not any(row["person_years"] for row in found):
        return []
    columns = rate_columns(Column("Days since placement", lambda row: _band(row["band"]), "label"))
    columns[1:1] = [
        Column("Infection", lambda row: _DIAGNOSED[row["definition"]], "short"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
    ]
    early = found[0]
    days = _last_day(early["band"])
    return [
        Subheading(f"Pelvic infection in the first {days} days: {wording.per_hundred_years(early)}"),
        Paragraph(
            f"The rate per 1,000 woman-years is ten times the one per 100. {_by_week(results)}".strip()
        ),
        TableBlock(
            html_table(
                "First pelvic infection with the device in place",
                columns,
                found,
                counted=("pelvic_infection",),
            )
        ),
    ]


def _by_week(results: AuditResults) -> str:
    """The chance of an infection a few weeks after placement."""
    row = one(results, "pelvic_infection_incidence", by="overall", censoring=drawn_rules(results))
    if row is None or not is_known(row["incidence"]) or row["caution"]:
        return ""
    places = wording.decimals(row["ci_upper"])
    limits = wording.span(row["ci_lower"], row["ci_upper"], places=places)
    value = wording.percent(row["incidence"], places=places)
    return f"By {wording.since_placement(row['days'])} {value} of 100 ({limits}) had one, suspected or confirmed."


def _band(code: object) -> str:
    """A band of days since placement."""
    return "All" if code == "all" else str(code).replace("over", "Over")


def _last_day(code: object) -> str:
    """The last day of a band.

    Examples
    --------
    >>> _last_day("0 to 20")
    '20'
    """
    return str(code).rpartition(" ")[2]
