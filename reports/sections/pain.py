"""Pain at insertion, by births and by anaesthetic."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, one, rows
from reports.sections.parts import PERIOD, ROLLING, WHOLE, empty_section
from reports.sections.section import Block, Caution, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, proportion_columns, quantile_cell
from reports.words_for_codes import stratum, word

_TABLE, _ID, _LABEL = "pain_scores", "pain", "Pain"


def pain_section(results: AuditResults) -> Section:
    """Median, quartiles and high scores."""
    now = one(results, _TABLE, by="overall", window=PERIOD)
    if now is None:
        return empty_section(results, _ID, _LABEL, _TABLE)
    found = [
        row
        for by, windows in (("overall", (PERIOD, ROLLING, WHOLE)), ("cervical_parity", ROLLING))
        for row in rows(results, _TABLE, by=by, window=windows)
    ]
    blocks: list[Block] = [
        Paragraph(
            "The greatest pain she reported, from 0 to 10. Who gave no score may have hurt more, or less.",
            f"Scored at {wording.count(now['n'])} of {wording.count(now['n'] + now['n_unknown'])} visits.",
        ),
        TableBlock(
            html_table("Pain scores", _columns("Women"), found, foot=PROPORTION_FOOT, counted=(_TABLE,))
        ),
        *_by_anaesthetic(results),
    ]
    return Section(_ID, _LABEL, _heading(now), tuple(blocks))


def _heading(now: Row) -> str:
    """Half of the scores, and how many were high."""
    if not now["n"]:
        return "No pain score was recorded in this period"
    high = wording.proportion(now, noun="who gave a score")
    return f"Half of the pain scores were {wording.amount(now['median'])} or less; 7 or more: {high}"


def _columns(heading: str) -> list[Column]:
    """The columns of pain scores."""
    counted = proportion_columns(
        Column(heading, lambda row: stratum(row["by"], row["stratum"]), "label"),
        events="7 or more",
        of="Scored",
    )
    counted[1:1] = [
        Column("Window", lambda row: word(row["window"]), "short"),
        Column("Median (95% interval)", quantile_cell("median"), "interval"),
        Column("Middle half", _middle, "interval"),
    ]
    return counted


def _middle(row: Row) -> str:
    """The quartiles."""
    if not row["n"]:
        return wording.NOTHING
    return f"{wording.amount(row['lower_quartile'])} to {wording.amount(row['upper_quartile'])}"


def _by_anaesthetic(results: AuditResults) -> list[Block]:
    """Scores by anaesthetic, behind the sentence that says what they cannot show."""
    found = [row for row in rows(results, _TABLE, by="local_anaesthetic", window=ROLLING) if row["n"]]
    if len(found) < 2:
        return []
    return [
        Subheading("By anaesthetic, twelve months"),
        Caution(_sentence(found[0])),
        TableBlock(
            html_table(
                "Pain scores by anaesthetic",
                _columns("Anaesthetic"),
                found,
                foot=PROPORTION_FOOT,
                counted=(_TABLE,),
            )
        ),
    ]


def _sentence(row: Row) -> str:
    """The caution that every row by anaesthetic opens with."""
    return ". ".join(str(row["caution"]).split(". ")[:2]).rstrip(".") + "."
