"""Rare events in parts: perforations against published rates, ectopic pregnancies, and emergency placements."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import is_known, one, rows
from reports.sections.parts import WHOLE, counted_how
from reports.sections.section import Block, Paragraph, Subheading, TableBlock
from reports.tables import Column, html_table, number
from reports.words_for_codes import word

_TOGETHER = "all_with_a_published_rate"


def against_published(results: AuditResults) -> list[Block]:
    """Perforations seen and expected, by breastfeeding and time since a birth."""
    found = rows(results, "perforation_expected", window=WHOLE)
    whole = next((row for row in found if row["stratum"] == _TOGETHER), None)
    if whole is None:
        return []
    columns = [
        Column("Since a birth", lambda row: word(row["stratum"]), "label"),
        Column("Attempts", number("n")),
        Column("Seen", number("events")),
        Column("Published, per 1,000", lambda row: _thousand(row["published_rate"])),
        Column("Expected", lambda row: wording.ratio(row["expected"])),
        Column("Seen / expected", lambda row: wording.ratio(row["ratio"])),
        Column(
            "95% interval", lambda row: wording.ratio_span(row["ratio_lower"], row["ratio_upper"]), "interval"
        ),
    ]
    source = next((row["citation"] for row in found if row["citation"]), "")
    table = html_table(
        "Confirmed perforations against published rates, whole log",
        columns,
        found,
        foot=f"Groups without a published rate are left out of the whole. Rates within 12 months: {source}",
        counted=("perforation_expected",),
    )
    limits = wording.ratio_span(whole["ratio_lower"], whole["ratio_upper"])
    title = (
        f"Perforations: {wording.number_word(int(whole['events']))} seen where published rates expect "
        f"{wording.ratio(whole['expected'])} (ratio {wording.ratio(whole['ratio'])}, {limits})"
    )
    return [Subheading(title), TableBlock(table)]


def _thousand(rate: float) -> str:
    """A proportion per 1,000."""
    return f"{1000 * rate:.1f}" if is_known(rate) else wording.NOTHING


def ectopic_and_emergency(results: AuditResults) -> list[Block]:
    """Ectopic pregnancies per woman-year, and pregnancies of the cycle of an emergency placement."""
    told: dict[str, str] = {}
    ectopic = one(results, "ectopic_pregnancy", by="overall", censoring="last_known")
    if ectopic is not None:
        pregnancies = wording.plural(ectopic["n_pregnancies"], "pregnancy", "pregnancies")
        rate = wording.per_hundred_years(ectopic)
        told["ectopic_pregnancy"] = f"Ectopic, of {pregnancies}: {rate}, last known."
    emergency = one(results, "pregnancy_after_emergency", by="overall")
    if emergency is not None and (emergency["n"] or emergency["n_unknown"]):
        unknown = wording.count(emergency["n_unknown"])
        told["pregnancy_after_emergency"] = (
            f"Pregnancy in the cycle of an emergency placement: {wording.proportion(emergency)} of which it is "
            f"known; for {unknown} it is not."
        )
    return [block for name, text in told.items() for block in (Paragraph(text), counted_how(name))]
