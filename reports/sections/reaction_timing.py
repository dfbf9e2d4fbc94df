"""Emergency treatment, the step at which reactions began, and reactions with and without a technique."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, only_bounds, rows, said_of_all
from reports.sections.comparisons import of_both, ratio_cell
from reports.sections.parts import PERIOD, ROLLING, WHOLE
from reports.sections.section import Block, Caution, Subheading, TableBlock
from reports.tables import Column, html_table, number
from reports.words_for_codes import stratum, word


def emergency_blocks(results: AuditResults) -> list[Block]:
    """Atropine, a transfer or a grade 4 reaction, per 1,000 visits."""
    now = one(results, "emergency_treatment", by="overall", window=PERIOD)
    if now is None:
        return []
    found = rows(results, "emergency_treatment", by="overall", window=(PERIOD, ROLLING, WHOLE))
    columns = [
        Column("Window", lambda row: word(row["window"]), "label"),
        Column("Visits with it", number("events")),
        Column("Visits", number("n")),
        Column("Per 1,000 (exact 95% interval)", _per_thousand, "interval"),
        Column("Not known", number("n_unknown")),
    ]
    told = (
        f"{wording.plural(now['events'], 'visit')} of {wording.count(now['n'])}"
        if now["events"]
        else (f"none of {wording.plural(now['n'], 'visit')}")
    )
    heading = (
        f"Emergency drug or transfer: {told}" if now["n"] else "Emergency treatment: nothing can be counted"
    )
    table = html_table(
        "Emergency drug or transfer at insertion", columns, found, counted=("emergency_treatment",)
    )
    return [Subheading(heading), TableBlock(table)]


def _per_thousand(row: Row) -> str:
    """The proportion and its exact limits per 1,000; the bounds where only they may be used."""
    if only_bounds(row):
        return f"{wording.per_thousand(row['bound_lower'])} to {wording.per_thousand(row['bound_upper'])} (bounds)"
    if not is_known(row["exact_lower"]):
        return wording.NOTHING
    limits = f"{wording.per_thousand(row['exact_lower'])} to {wording.per_thousand(row['exact_upper'])}"
    return f"{wording.per_thousand(row['proportion'])} ({limits})"


def phase_blocks(results: AuditResults) -> list[Block]:
    """A row for each group and grade, a column for each step."""
    found = rows(results, "vasovagal_by_phase", by="cervical_parity", window=WHOLE)
    if not found:
        return []
    phases = list(dict.fromkeys(str(row["phase"]) for row in found))
    lines: dict[tuple[str, str], Row] = {}
    for row in found:
        line = lines.setdefault((str(row["stratum"]), str(row["grade"])), dict.fromkeys(phases, None) | row)
        line[str(row["phase"])] = row["events"]
    told = [line for line in lines.values() if line["n"] + line["n_unknown"]]
    columns = [
        Column("Women", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Grade", lambda row: _grade(row["grade"]), "short"),
        *(Column(word(phase), number(phase)) for phase in phases),
        Column("Step not known", number("n_unknown")),
    ]
    caption = "Reactions by the step at which they began, whole log"
    return [
        Subheading("The step at which reactions began"),
        TableBlock(
            html_table(caption, columns, told, foot=said_of_all(found), counted=("vasovagal_by_phase",))
        ),
    ]


def _grade(code: object) -> str:
    """A grade as a row calls it."""
    return {"all": "All", "not_graded": "Not graded"}.get(str(code), str(code))


def technique_blocks(results: AuditResults) -> list[Block]:
    """Reactions with and without dilation or an anaesthetic, each behind its caution."""
    blocks: list[Block] = []
    for pooled in rows(results, "vasovagal_technique_contrasts", window=WHOLE):
        found = rows(results, "vasovagal_by_technique", technique=pooled["technique"], window=WHOLE)
        told = [row for row in found if row["n"] + row["n_unknown"] + row["n_earlier"]]
        if not is_known(pooled["ratio"]) or not told:
            continue
        name = word(pooled["technique"])
        columns = [
            Column("Women", lambda row: stratum(row["by"], row["stratum"]), "label"),
            Column(name, lambda row: word(row["used"]), "short"),
            Column("Reacted at that step or after", lambda row: of_both(row["events"], row["n"])),
            Column("Reacted before it", number("n_earlier")),
            Column("Not known", number("n_unknown")),
        ]
        blocks += [
            Subheading(f"{name} and reactions: ratio {ratio_cell(pooled)}, vaginal birth allowed for"),
            Caution(str(pooled["caution"])),
            TableBlock(
                html_table(
                    f"Reactions with and without: {name.lower()}, whole log",
                    columns,
                    told,
                    counted=("vasovagal_by_technique",),
                )
            ),
        ]
    return blocks
