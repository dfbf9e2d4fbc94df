"""Follow-up: who was checked, and of how many the first year's outcome is known."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, limits_of, one, rows
from reports.sections.first_year import three_readings
from reports.sections.lost import time_followed, tipping_points
from reports.sections.observation import gate_sentence
from reports.sections.parts import PERIOD, ROLLING, WHOLE, counted_how, empty_section, proportion_blocks
from reports.sections.section import Block, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, number, proportion_columns
from reports.words_for_codes import stratum, word


def follow_up_section(results: AuditResults) -> Section:
    """Outcome known at 12 months, and checks done."""
    whole = one(results, "outcome_known", by="overall", window=WHOLE)
    if whole is None and not rows(results, "check_done"):
        return empty_section(results, "follow-up", "Follow-up", "outcome_known")
    blocks: list[Block] = [
        Paragraph(
            gate_sentence(results),
            "Women in trouble come back: what those who return tell is not what happened to all.",
        ),
        *_measured(results, "outcome_known", "Known", "Placements old enough"),
        *_first_year(results),
        *time_followed(results),
        *_check(results),
        *_higher_risk(results),
        *_unlinked(results),
    ]
    return Section("follow-up", "Follow-up", _heading(whole), tuple(blocks))


def _heading(whole: Row | None) -> str:
    """Of how many the outcome is known."""
    if whole is None or not whole["n"]:
        return "No placement is old enough for its first year to be over"
    return f"The outcome at 12 months is known for {wording.proportion(whole, noun='women')}"


def _first_year(results: AuditResults) -> list[Block]:
    """What the unknown outcomes could change."""
    blocks = three_readings(results)
    if not blocks:
        return []
    return [Subheading("What the unknown outcomes could change"), *blocks, *tipping_points(results)]


def _check(results: AuditResults) -> list[Block]:
    """Checks at 4 to 6 weeks."""
    now = one(results, "check_done", by="overall", window=PERIOD)
    if now is None:
        return []
    heading = (
        f"A check at 4 to 6 weeks was done for {wording.proportion(now, noun='women')} whose check fell due"
        if now["n"]
        else "No check fell due in this period"
    )
    return [Subheading(heading), *_measured(results, "check_done", "Checked", "Due")]


def _higher_risk(results: AuditResults) -> list[Block]:
    """Whether the women at higher risk were checked more often than the others."""
    found = [
        row
        for row in rows(results, "check_in_higher_risk")
        if row["n"] and (row["by"] == "higher_risk" or row["stratum"] == "yes")
    ]
    risky = next((row for row in found if row["stratum"] == "yes"), None)
    if risky is None:
        return []
    columns = proportion_columns(
        Column("Women", lambda row: stratum(row["by"], row["stratum"]), "label"), events="Checked", of="Due"
    )[:-1]
    title = f"Of women at higher risk {wording.proportion(risky)} were checked"
    table = html_table(
        "Check at 4 to 6 weeks, by risk, whole log",
        columns,
        found,
        foot=PROPORTION_FOOT,
        counted=("check_in_higher_risk",),
    )
    return [Subheading(title), TableBlock(table)]


def _unlinked(results: AuditResults) -> list[Block]:
    """Contacts about devices placed elsewhere."""
    row = one(results, "unlinked_contacts", by="overall", window=PERIOD)
    if row is None or not row["n"]:
        return []
    return [
        Paragraph(
            f"Contacts and removals in this period of women with no earlier placement in the log: "
            f"{wording.proportion(row)}. They count as work and in no figure that rests on a placement."
        ),
        counted_how("unlinked_contacts"),
    ]


def _measured(results: AuditResults, name: str, events: str, of: str) -> list[Block]:
    """One measure by window, and by site as dots."""
    overall = rows(results, name, by="overall", window=(PERIOD, ROLLING, WHOLE))
    if not overall:
        return []
    columns = [
        *proportion_columns(
            Column("Fell due in", lambda row: word(row["window"]), "label"), events=events, of=of
        )[:-1],
        Column("Not due yet", number("n_not_due")),
    ]
    caption = "Outcome known at 12 months" if name == "outcome_known" else "Check at 4 to 6 weeks"
    blocks: list[Block] = [
        TableBlock(html_table(caption, columns, overall, foot=PROPORTION_FOOT, counted=(name,)))
    ]
    sites = [row for row in rows(results, name, by="site_ref", window=ROLLING) if row["n"]]
    if len(sites) > 1:
        blocks += proportion_blocks(
            f"{name.replace('_', '-')}-by-site",
            _site_title(sites, name),
            sites,
            caption=f"{caption}, by site, twelve months",
            heading="Site",
            events=events,
            of=of,
            axis=f"{events}, of 100",
            counted=(name,),
            note="Fell due in the twelve months to the end of the period.",
        )
    return blocks


def site_apart(sites: list[Row]) -> Row | None:
    """The site whose interval lies below those of all the others, if there is one."""
    for row in sites:
        others = [other for other in sites if other is not row]
        if others and all(limits_of(row)[1] < limits_of(other)[0] for other in others):
            return row
    return None


def _site_title(sites: list[Row], name: str) -> str:
    """Which site's figure lies apart from all the others, if one does."""
    what = "known" if name == "outcome_known" else "checked"
    row = site_apart(sites)
    if row is None:
        return "No site lies apart from all the others"
    return f"Fewest are {what} at {stratum(row['by'], row['stratum'])}: {wording.proportion(row)}"
