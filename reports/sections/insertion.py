"""Failed insertions: three figures that are never mixed, by group of women, over time, and why."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, limits_of, one, rows, why_empty
from reports.figures.funnel import quarters
from reports.figures.theme import Figure, Plot
from reports.sections.insertion_comparisons import comparison_blocks, wasted_blocks
from reports.sections.parts import (
    PERIOD,
    ROLLING,
    WHOLE,
    charting_note,
    counted_how,
    empty_section,
    proportion_blocks,
)
from reports.sections.section import Block, FigureBlock, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, number, proportion_columns
from reports.words_for_codes import grouping, stratum, within, word

_UNITS = ("visit", "operator_attempt", "woman_90_days")
_GROUPS = ("parity_group", "births_group", "site_ref", "device_family")


def failed_insertions_section(results: AuditResults) -> Section:
    """How often a device could not be placed."""
    headline = one(results, "failed_insertions", by="overall", unit="visit", window=PERIOD)
    if headline is None:
        return empty_section(results, "failed-insertions", "Failed insertions", "failed_insertions")
    blocks: list[Block] = [
        *_three(results),
        *_by_parity(results),
        *_over_time(results),
        *_first_pass(results),
    ]
    blocks.extend(_groups(results))
    blocks.extend(comparison_blocks(results))
    blocks.extend(wasted_blocks(results))
    return Section("failed-insertions", "Failed insertions", failed_heading(headline), tuple(blocks))


def failed_heading(headline: Row) -> str:
    """The service's headline in one sentence."""
    if not headline["n"]:
        return "No insertion with a known outcome in this period"
    if not headline["events"]:
        every = (
            "the one visit" if headline["n"] == 1 else f"every one of {wording.count(headline['n'])} visits"
        )
        return f"A device was placed at {every}"
    events, n = wording.count(headline["events"]), wording.count(headline["n"])
    visits = "visit" if headline["n"] == 1 else "visits"
    return f"{events} of {n} {visits} for an insertion ended without a device"


def _three(results: AuditResults) -> list[Block]:
    """The three figures side by side."""
    found = [
        row
        for unit in _UNITS
        for row in rows(
            results, "failed_insertions", by="overall", unit=unit, window=(PERIOD, ROLLING, WHOLE)
        )
    ]
    columns = proportion_columns(Column("Counted", lambda row: word(row["unit"]), "label"), events="Failed")
    columns.insert(1, Column("Window", lambda row: word(row["window"]), "short"))
    columns.append(Column("Deferred, or not yet due", _apart))
    return [
        Paragraph(
            "Three figures answer three questions. Per visit: did she leave with a device? Per operator attempt: "
            "did this clinician place it? Per woman: did she have a device within 90 days, whoever placed it?",
            "One taken over by a colleague is a failed attempt and then a placed one, at a single visit.",
        ),
        TableBlock(
            html_table(
                "Failed insertions, counted in three ways",
                columns,
                found,
                foot=PROPORTION_FOOT,
                counted=("failed_insertions",),
            )
        ),
    ]


def _apart(row: Row) -> str:
    """What is counted apart: deferrals, or women whose 90 days are not over."""
    return wording.count(row["n_not_yet_due"] if row["unit"] == "woman_90_days" else row["n_deferred"])


def _by_parity(results: AuditResults) -> list[Block]:
    """Failures by whether the cervix has opened before, in twelve months."""
    found = rows(results, "failed_insertions", by="cervical_parity", unit="visit", window=ROLLING)
    if not found:
        return []
    by_answer = {str(row["stratum"]): row for row in found}
    title = "Failed insertions by vaginal birth"
    if "no" in by_answer and "yes" in by_answer:
        title = (
            f"Without a vaginal birth before, {wording.proportion(by_answer['no'])} failed; "
            f"with one, {wording.proportion(by_answer['yes'])}"
        )
    return proportion_blocks(
        "failed-by-parity",
        title,
        found,
        caption="Failed insertions by vaginal birth, twelve months",
        heading="Women",
        events="Failed",
        of="Visits",
        axis="Failed, of 100 visits",
        counted=("failed_insertions",),
        note="Twelve months to the end of the period.",
    )


def _over_time(results: AuditResults) -> list[Block]:
    """Quarter by quarter."""
    found = [
        row | {"label": stratum("quarter", row["stratum"])}
        for row in rows(results, "failed_insertions", by="quarter", unit="visit")
    ]
    whole = one(results, "failed_insertions", by="overall", unit="visit", window=WHOLE)
    if len(found) < 2 or whole is None:
        return []
    drawing = quarters(found, float(whole["proportion"]), counts="Failed, of 100 visits")
    apart = [
        row["label"]
        for row in found
        if row["n"] and not limits_of(row)[0] <= whole["proportion"] <= limits_of(row)[1]
    ]
    title = (
        f"{wording.number_word(len(apart)).capitalize()} of {len(found)} quarters lie apart from the whole log: "
        f"{wording.listed(apart)}"
        if apart
        else "No quarter lies apart from the whole log"
    )
    table = html_table(
        "Failed insertions per visit, by quarter",
        proportion_columns(
            Column("Quarter", lambda row: str(row["label"]), "label"), events="Failed", of="Visits"
        ),
        found,
        foot=PROPORTION_FOOT,
        counted=("failed_insertions",),
    )
    figure = Figure(
        "failed-by-quarter",
        title,
        (Plot("failed-by-quarter-plot", drawing, 300),),
        f"{title}. Points with 95% intervals for {len(found)} quarters around "
        f"{wording.percent(whole['proportion'])}% in the whole log.",
        table,
        "By chance alone about one interval in twenty lies apart.",
        counted=("failed_insertions",),
    )
    return [FigureBlock(figure)]


def _first_pass(results: AuditResults) -> list[Block]:
    """How often one pass of one device did; a sentence where the passes are not recorded."""
    found = rows(results, "first_pass_success", by=("overall", "practice"))
    now = one(results, "first_pass_success", by="overall", window=PERIOD)
    if now is None:
        return [
            Subheading("Placed at the first pass: nothing to show"),
            Paragraph(why_empty(results, "first_pass_success")),
            counted_how("first_pass_success"),
        ]
    columns = proportion_columns(
        Column("Attempts", lambda row: stratum(row["by"], row["stratum"]), "label"),
        events="One pass",
        of="Attempts",
    )
    columns.insert(1, Column("Window", lambda row: word(row["window"]), "short"))
    heading = (
        f"One pass placed the device at {wording.proportion(now, noun='attempts')}"
        if now["n"]
        else "No attempt of this period has its passes recorded"
    )
    return [
        Subheading(heading),
        *[Paragraph(note) for note in (charting_note(results, "first_pass_success"),) if note],
        TableBlock(
            html_table(
                "Attempts that needed one pass only",
                columns,
                found,
                foot=PROPORTION_FOOT,
                counted=("first_pass_success",),
            )
        ),
    ]


def _groups(results: AuditResults) -> list[Block]:
    """Every other division, in one folded table."""
    found = [
        row
        for by in _GROUPS
        for row in rows(results, "failed_insertions", by=by, unit="visit", window=(PERIOD, ROLLING))
    ]
    if not found:
        return []
    columns = proportion_columns(
        Column("Group", lambda row: stratum(row["by"], row["stratum"]), "label"), events="Failed", of="Visits"
    )
    columns[1:1] = [
        Column("Divided by", lambda row: grouping(row["by"]), "short"),
        Column("Window", lambda row: word(row["window"]), "short"),
    ]
    return [
        Folded(
            "By births, site and device",
            html_table(
                "Failed insertions per visit, by group",
                columns,
                found,
                foot=PROPORTION_FOOT,
                counted=("failed_insertions",),
            ),
        )
    ]


def failure_reasons_section(results: AuditResults) -> Section:
    """Why attempts failed."""
    found = rows(results, "failure_reasons", window=ROLLING)
    if not found:
        return _no_reasons(results)
    heading = _reasons_heading(found)
    drawn = proportion_blocks(
        "failure-reasons-figure",
        f"What stopped {wording.plural(found[0]['n'], 'failed attempt')}",
        found,
        caption="Reasons for failure, twelve months",
        heading="Reason",
        events="Failed for it",
        of="Failed",
        axis="Of 100 failed attempts",
        counted=("failure_reasons",),
        named=lambda row: word(row["cause"]),
    )
    now = rows(results, "failure_reasons", window=PERIOD)
    columns = [
        Column("Reason", lambda row: word(row["cause"]), "label"),
        Column("Failed for it", number("events")),
        Column("Of failed attempts", number("n")),
    ]
    blocks: list[Block] = [
        Paragraph("Each failed attempt has one main reason, as the clinician wrote it.", "Twelve months."),
        *drawn,
        Subheading("This period alone"),
        TableBlock(
            html_table("Reasons for failure, this period", columns, now, counted=("failure_reasons",))
        ),
    ]
    return Section("failure-reasons", "Why attempts failed", heading, tuple(blocks))


def _no_reasons(results: AuditResults) -> Section:
    """Nothing failed, or reasons are not recorded."""
    empty = empty_section(results, "failure-reasons", "Why attempts failed", "failure_reasons")
    seen = one(results, "failed_insertions", by="overall", unit="operator_attempt", window=ROLLING)
    if seen is None or not seen["n"] or seen["events"]:
        return empty
    attempts = "The one attempt" if seen["n"] == 1 else f"None of {wording.count(seen['n'])} attempts"
    said = f"{attempts} in twelve months {'did not fail' if seen['n'] == 1 else 'failed'}"
    return Section(
        empty.id, empty.label, said, (Paragraph("So there is no reason to give."), empty.blocks[-1])
    )


def _reasons_heading(found: list[Row]) -> str:
    """The commonest reason, with its counts; most only where it is more than half."""
    named = [row for row in found if row["cause"] != "unknown"]
    if not named:
        return "No reason for failure was recorded"
    leading = named[0]
    reason, share = within(word(leading["cause"])), f"{wording.count(leading['events'])} of {leading['n']}"
    if leading["events"] * 2 > leading["n"]:
        return f"Most failures had one reason: {reason} ({share})"
    return f"The commonest reason for failure: {reason} ({share})"
