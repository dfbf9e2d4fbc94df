"""Perforation and pregnancy: rare events, counted before anything else."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one, rows
from reports.sections.observation import gate_sentence
from reports.sections.parts import PERIOD, ROLLING, WHOLE, charting_note, counted_how, empty_section
from reports.sections.safety_parts import against_published, ectopic_and_emergency
from reports.sections.section import Block, Folded, Paragraph, Section, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, number, proportion_columns, rate_columns
from reports.words_for_codes import stratum, word


def perforation_section(results: AuditResults) -> Section:
    """Perforations of the period, twelve months and the whole log."""
    found = rows(results, "perforation", by="overall", window=(PERIOD, ROLLING, WHOLE))
    if not found:
        return empty_section(results, "perforation", "Perforation", "perforation")
    columns = proportion_columns(
        Column("Perforation", lambda row: word(row["definition"]), "label"), events="Cases", of="Attempts"
    )
    columns.insert(1, Column("Window", lambda row: word(row["window"]), "short"))
    blocks: list[Block] = [
        Paragraph(
            "Each perforation counts once, against its own insertion, whenever it was found. One service cannot "
            "measure so rare an event: the counts come first, and nothing is given per clinician.",
            f"{_suspected(results)} {charting_note(results, 'perforation')}".strip(),
        ),
        TableBlock(
            html_table("Perforations", columns, found, foot=PROPORTION_FOOT, counted=("perforation",))
        ),
    ]
    devices = rows(results, "perforation", by="device_class", definition="confirmed", window=WHOLE)
    if devices:
        by_device = proportion_columns(
            Column("Device", lambda row: stratum(row["by"], row["stratum"]), "label"),
            events="Cases",
            of="Attempts",
        )
        table = html_table(
            "Confirmed perforations by device, whole log",
            by_device,
            devices,
            foot=PROPORTION_FOOT,
            counted=("perforation",),
        )
        blocks.append(Folded("By device, whole log", table))
    blocks += against_published(results)
    return Section("perforation", "Perforation", perforation_heading(results), tuple(blocks))


def perforation_heading(results: AuditResults) -> str:
    """How many were confirmed, in the period and in the whole log."""
    now = one(results, "perforation", by="overall", definition="confirmed", window=PERIOD)
    whole = one(results, "perforation", by="overall", definition="confirmed", window=WHOLE)
    if now is None or whole is None or not whole["n"]:
        return "There is no attempt at which a perforation could be counted"
    return (
        f"{_number(now)} confirmed in this period; {wording.number_word(int(whole['events']))} in the whole log of "
        f"{wording.plural(whole['n'], 'attempt')}"
    )


def _number(row: Row) -> str:
    """The number of perforations with its noun, as a sentence opens."""
    events = int(row["events"])
    if not events:
        return "No perforation"
    return f"{wording.number_word(events).capitalize()} perforation{'s' if events > 1 else ''}"


def _suspected(results: AuditResults) -> str:
    """How many suspicions are open."""
    row = one(results, "perforation", by="overall", definition="suspected_unresolved", window=WHOLE)
    if row is None or not row["events"]:
        return "No suspicion is unresolved."
    return f"Suspected and not resolved: {wording.count(row['events'])}. See “Needs action today”."


def pregnancy_section(results: AuditResults) -> Section:
    """Pregnancies with a device, per woman-year."""
    found = rows(results, "pregnancy", by="overall")
    if not found:
        return empty_section(results, "pregnancy", "Pregnancy with a device", "pregnancy")
    if not gate_rules(results):
        events = wording.number_word(int(found[-1]["events"]))
        heading = f"Pregnancies: {events} seen; how many there were, we cannot tell"
        blocked = (Paragraph(gate_sentence(results)), counted_how("pregnancy"))
        return Section("pregnancy", "Pregnancy with a device", heading, blocked)
    columns = rate_columns(Column("Days since placement", lambda row: band(row["band"]), "label"))
    columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    columns.append(Column("After an unnoticed expulsion", number("n_after_unnoticed_expulsion")))
    columns.append(Column("Ectopic", number("n_ectopic")))
    blocks: list[Block] = [
        Paragraph(
            "Counted from conception. One conceived before the placement is a matter of excluding pregnancy and is "
            "not counted; one conceived after an expulsion nobody noticed is.",
            f"Limits are exact (Garwood). The last two columns count all bands together. "
            f"{charting_note(results, 'pregnancy')}".strip(),
        ),
        TableBlock(html_table("Pregnancies with a device", columns, found, counted=("pregnancy",))),
    ]
    devices = rows(results, "pregnancy", by="device_class", band="all")
    if devices:
        by_device = rate_columns(Column("Device", lambda row: stratum(row["by"], row["stratum"]), "label"))
        by_device.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
        blocks.append(
            Folded(
                "By device", html_table("Pregnancies by device", by_device, devices, counted=("pregnancy",))
            )
        )
    blocks += ectopic_and_emergency(results)
    leading = one(results, "pregnancy", by="overall", band="all", censoring="last_known")
    if leading is None:
        heading = "Pregnancies with a device"
    elif not is_known(leading["rate"]):
        heading = "No time with a device has been observed, so pregnancies cannot be counted"
    else:
        heading = f"Pregnancies: {wording.per_hundred_years(leading)}"
    return Section("pregnancy", "Pregnancy with a device", heading, tuple(blocks))


def band(code: object) -> str:
    """A band of days since placement.

    Examples
    --------
    >>> band("43 to 182"), band("all")
    ('43 to 182', 'All')
    """
    return "All" if code == "all" else str(code).replace("over", "Over")
