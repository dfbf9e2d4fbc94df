"""Removal in parts: what it was for, how hard it was, and how long she waited."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.sections.observation import drawn_rules
from reports.sections.parts import WHOLE, WINDOWS_SHOWN
from reports.sections.section import Block, Folded, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, incidence_columns, proportion_columns
from reports.words_for_codes import word

_YEAR = 365
_NOTES = {
    "bleeding_or_pain": "Bleeding or pain, main or second reason",
    "hormonal_effects": "Hormonal effects, of hormonal devices",
    "planned": "Wish for a pregnancy, not needed, end of the time",
    "early_request": "At her request, for any reason of hers",
}


def by_purpose(results: AuditResults) -> list[Block]:
    """What removals were for, at the days that each is read."""
    told = rows(results, "removal_by_purpose", by="overall", censoring=drawn_rules(results))
    found = [row for row in told if row["days"] == _YEAR or row["cause"] == "early_request"]
    if not found:
        return []
    columns = incidence_columns(Column("Removal for", lambda row: _NOTES[row["cause"]], "label"))
    columns.insert(1, Column("By", lambda row: wording.since_placement(row["days"]), "short"))
    if len(drawn_rules(results)) > 1:
        columns.insert(2, Column("Observation", lambda row: word(row["censoring"]), "short"))
    return [
        Folded(
            "By purpose", html_table("Removal by purpose", columns, found, counted=("removal_by_purpose",))
        )
    ]


def removal_visits(results: AuditResults) -> list[Block]:
    """Difficult removals and the wait for one, by window."""
    hard = rows(results, "difficult_removal", by="overall", definition="difficult", window=WINDOWS_SHOWN)
    asked = rows(results, "removal_on_request", by="overall", window=WINDOWS_SHOWN)
    found = [
        *(row | {"what": "Difficult"} for row in hard),
        *(row | {"what": "In time after she asked"} for row in asked),
    ]
    found = [row for row in found if row["n"] or row["n_unknown"]]
    if not found:
        return []
    columns = proportion_columns(
        Column("Removals", lambda row: row["what"], "label"), events="Removals", of="Of"
    )
    columns.insert(1, Column("Window", lambda row: word(row["window"]), "short"))
    table = html_table(
        "How removals went",
        columns,
        found,
        foot=PROPORTION_FOOT,
        counted=("difficult_removal", "removal_on_request"),
    )
    return [Subheading(_visits_title(results)), TableBlock(table)]


def _visits_title(results: AuditResults) -> str:
    """How many were difficult, and how long half of those who asked waited."""
    hard = one(results, "difficult_removal", by="overall", definition="difficult", window=WHOLE)
    parts = []
    if hard is not None and hard["n"]:
        parts.append(f"{wording.proportion(hard, noun='removals')} were difficult")
    asked = one(results, "removal_on_request", by="overall", window=WHOLE)
    if asked is not None and asked["n"]:
        limit = results.settings.windows.removal_delay_days
        parts.append(f"{wording.proportion(asked)} were done within {limit} days of asking{_half(asked)}")
    return "; ".join(parts) or "How removals went is not recorded"


def _half(row: Row) -> str:
    """How long half and nine in ten of those who asked waited."""
    if not is_known(row["median"]):
        return ""
    half, most = wording.amount(row["median"]), wording.amount(row["centile"])
    return f", half by {half} days and nine in ten by {most}"
