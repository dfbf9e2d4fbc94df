"""Rates per 100 woman-years, split by time since placement, and the period against what came before."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, rows
from reports.sections.observation import gate_sentence
from reports.sections.parts import PERIOD, WHOLE, counted_how, empty_section
from reports.sections.safety import band
from reports.sections.section import Block, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, rate_columns
from reports.words_for_codes import listed_causes, stratum, word

_TABLE = "person_time_rates"
# A removal that a woman asks for is not a signal, so it is described and never marked.
_JUDGED = ("expulsion", "pregnancy", "perforation")


def rates_section(results: AuditResults) -> Section:
    """Endings for the time devices are in use."""
    if not rows(results, _TABLE):
        return empty_section(results, "rates", "Rates per 100 woman-years", _TABLE)
    if not gate_rules(results):
        return Section(
            "rates",
            "Rates per 100 woman-years",
            "Too little is known of the time in use to give rates",
            (Paragraph(gate_sentence(results)), counted_how(_TABLE)),
        )
    blocks: list[Block] = [
        Paragraph(
            "Most endings come early, so a rate over all woman-time rises with the number of new placements. The "
            "bands of time keep that apart.",
            "Limits are exact (Garwood).",
        ),
        *_against_earlier(results),
        *_bands(results),
    ]
    return Section("rates", "Rates per 100 woman-years", rates_heading(results), tuple(blocks))


def crossed(results: AuditResults) -> list[Row]:
    """Causes of which the period saw more, or fewer, than its woman-time would have had, under both rules.

    Under `last_known` the latest women are at risk only if something brought them back, so that rule alone
    overstates every recent rate.
    """
    apart: list[Row] = []
    if not gate_rules(results):
        return apart
    for cause in _JUDGED:
        found = {row["censoring"]: row for row in rows(results, "period_against_earlier", cause=cause)}
        sides = {_side(row) for row in found.values()}
        if len(found) == 2 and len(sides) == 1 and sides != {""}:
            apart.append(found["assumed_in_place"])
    return apart


def _side(row: Row) -> str:
    """On which side of 1 the interval of observed over expected lies."""
    if not is_known(row["ratio_lower"]):
        return ""
    if row["ratio_lower"] > 1:
        return "more"
    return "fewer" if row["ratio_upper"] < 1 else ""


def judged(results: AuditResults) -> int:
    """How many causes were set against the time before."""
    if not gate_rules(results):
        return 0
    return len({row["cause"] for row in rows(results, "period_against_earlier", cause=_JUDGED)})


def crossed_sentence(row: Row) -> str:
    """One cause that lies apart from the time before."""
    return (
        f"{word(row['cause'])}: {wording.count(row['events'])} in this period, {_side(row)} than the "
        f"{row['expected']:.1f} that its woman-time would have had at the earlier rates "
        f"(seen / expected {wording.ratio(row['ratio'])}, "
        f"{wording.ratio_span(row['ratio_lower'], row['ratio_upper'])}; the same under both rules)."
    )


def rates_heading(results: AuditResults) -> str:
    """Whether the period lies apart from the time before."""
    if not judged(results):
        return "There is no earlier time to set this period against"
    apart = crossed(results)
    if not apart:
        return "Expulsion, pregnancy and perforation were as frequent as before, as far as chance lets us see"
    return f"This period lies apart from the time before: {listed_causes([row['cause'] for row in apart])}"


def _against_earlier(results: AuditResults) -> list[Block]:
    """Seen against expected at the service's own earlier rates."""
    found = rows(results, "period_against_earlier", by="overall")
    if not found:
        return [Paragraph("Nothing came before this period, so there is nothing to set it against.")]
    columns = [
        Column("Ending", lambda row: word(row["cause"]), "label"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
        Column("Seen", lambda row: wording.count(row["events"])),
        Column("Expected", lambda row: f"{row['expected']:.1f}"),
        Column("Seen / expected", lambda row: wording.ratio(row["ratio"])),
        Column(
            "95% interval", lambda row: wording.ratio_span(row["ratio_lower"], row["ratio_upper"]), "interval"
        ),
    ]
    order = {"assumed_in_place": 0, "last_known": 1}
    found = sorted(found, key=lambda row: order.get(str(row["censoring"]), 2))
    return [
        Subheading("This period against the time before, band by band"),
        Paragraph(
            "Here “assumed in place” is the fairer of the two rules. Under “last known”, women placed lately count "
            "only if something brought them back, so every recent rate looks too high. A difference is marked only "
            "where both rules show it; removal is described and never marked.",
            "Expected: the service's own earlier rates, taken as known.",
        ),
        TableBlock(
            html_table("Endings in this period, seen and expected", columns, found, counted=(_TABLE,))
        ),
    ]


def _bands(results: AuditResults) -> list[Block]:
    """Rates in each band, for the whole log and the period."""
    blocks: list[Block] = []
    for window, summary in ((WHOLE, "whole log"), (PERIOD, "this period")):
        found = rows(results, _TABLE, by="overall", window=window)
        if not found:
            continue
        columns = rate_columns(Column("Ending", lambda row: word(row["cause"]), "label"))
        columns[1:1] = [
            Column("Days since placement", lambda row: band(row["band"]), "short"),
            Column("Observation", lambda row: word(row["censoring"]), "short"),
        ]
        table = html_table(f"Rates by time since placement, {summary}", columns, found, counted=(_TABLE,))
        blocks.append(Folded(f"Rates by time since placement, {summary}", table))
    by_timing = rows(results, _TABLE, by="timing_group", window=WHOLE, band="all", cause="expulsion")
    if by_timing:
        columns = rate_columns(Column("Placed", lambda row: stratum(row["by"], row["stratum"]), "label"))
        columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
        blocks.append(
            Folded(
                "Expulsion by timing",
                html_table("Expulsion rates by timing, whole log", columns, by_timing, counted=(_TABLE,)),
            )
        )
    return blocks
