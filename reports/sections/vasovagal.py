"""Vasovagal reactions by parity, one definition at a time."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.sections.parts import (
    PERIOD,
    ROLLING,
    charting_note,
    counted_how,
    empty_section,
    proportion_blocks,
)
from reports.sections.section import Block, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, proportion_columns
from reports.words_for_codes import grouping, stratum, within, word

_TABLE = "vasovagal_by_parity"
_DEFINITIONS = ("vasovagal_any", "vasovagal_grade_2_plus", "syncope")
_BLANKS = "A blank was read as no."
_BY = ("parity_group", "parous", "births_group", "timing_group")


def vasovagal_section(results: AuditResults) -> Section:
    """Who reacted, and how badly."""
    if not rows(results, _TABLE, by="overall"):
        return empty_section(results, "vasovagal", "Vasovagal reactions", _TABLE)
    blocks: list[Block] = [
        Paragraph(
            "What counts as a reaction decides the figure, so each definition stands alone and is compared only "
            "with itself.",
            charting_note(results, _TABLE) or "A blank is not a grade 0: it counts as not known.",
        ),
        *_overall(results),
        *[block for definition in _DEFINITIONS for block in _figure(results, definition)],
        *_contrasts(results),
        *_all_groups(results),
        counted_how(_TABLE),
    ]
    return Section("vasovagal", "Vasovagal reactions", _heading(results), tuple(blocks))


def _contrast(results: AuditResults, definition: str) -> Row | None:
    """The comparison by vaginal birth in twelve months."""
    return one(results, "vasovagal_contrasts", by="cervical_parity", definition=definition, window=ROLLING)


def _heading(results: AuditResults) -> str:
    """What the comparison by vaginal birth allows to be said."""
    contrast = _contrast(results, "vasovagal_any")
    if contrast is None or not is_known(contrast["ratio_lower"]):
        now = one(results, _TABLE, by="overall", definition="vasovagal_any", window=PERIOD)
        if now is None or not now["n"]:
            return "No reaction can be counted in this period"
        return f"A reaction at {wording.proportion(now, noun='insertion visits')}"
    return contrast_sentence(contrast)


def contrast_sentence(contrast: Row) -> str:
    """A comparison in a sentence: more often, less often, or no difference larger than chance."""
    seen = (
        f"{_of(contrast['events'], contrast['n'])} against "
        f"{_of(contrast['reference_events'], contrast['reference_n'])}"
    )
    if contrast["ratio_lower"] > 1:
        return f"Women without a vaginal birth reacted more often: {seen}"
    if contrast["ratio_upper"] < 1:
        return f"Women without a vaginal birth reacted less often: {seen}"
    return f"No difference larger than chance between women without and with a vaginal birth: {seen}"


def _overall(results: AuditResults) -> list[Block]:
    """All women, every definition, period and twelve months."""
    found = rows(results, _TABLE, by="overall", window=(PERIOD, ROLLING))
    columns = proportion_columns(
        Column("Reaction", lambda row: word(row["definition"]), "label"), events="Reacted", of="Recorded"
    )
    columns.insert(1, Column("Window", lambda row: word(row["window"]), "short"))
    return [TableBlock(html_table("Vasovagal reactions, all women", columns, found, foot=PROPORTION_FOOT))]


def _figure(results: AuditResults, definition: str) -> list[Block]:
    """Dots by vaginal birth under one definition."""
    found = rows(results, _TABLE, by="cervical_parity", definition=definition, window=ROLLING)
    if not found:
        return []
    contrast = _contrast(results, definition)
    title, note = f"{word(definition)}, by vaginal birth", "Twelve months."
    if contrast is not None and is_known(contrast["ratio"]):
        limits = wording.ratio_span(contrast["ratio_lower"], contrast["ratio_upper"])
        note = f"Twelve months. Ratio {wording.ratio(contrast['ratio'])} (95% interval {limits})."
        title = f"{word(definition)}: {_how_often(contrast)}"
    return proportion_blocks(
        f"reaction-{definition.replace('_', '-')}",
        title,
        found,
        caption=f"{word(definition)}: women with and without a vaginal birth, twelve months",
        heading="Women",
        events="Reacted",
        of="Recorded",
        axis="Reacted, of 100 insertion visits",
        note=f"{note} {_BLANKS}" if charting_note(results, _TABLE) else note,
    )


def _how_often(contrast: Row) -> str:
    """What a comparison allows to be said, for the title of its drawing."""
    if contrast["ratio_lower"] > 1:
        return "more often without a vaginal birth"
    return (
        "less often without a vaginal birth"
        if contrast["ratio_upper"] < 1
        else "no difference larger than chance"
    )


def _contrasts(results: AuditResults) -> list[Block]:
    """All comparisons in one table."""
    found = [_NO_GROUPS | row for row in rows(results, "vasovagal_contrasts", window=ROLLING)]
    if not any(is_known(row["ratio"]) for row in found):
        return [Subheading("No comparison can be made"), Paragraph("One of the groups has no women in it.")]
    return [
        Subheading("The comparisons, with their intervals"),
        TableBlock(html_table("Reactions compared, twelve months", _contrast_columns(), found, foot=_FOOT)),
    ]


# A log in which all women are alike has the trend alone, and no column of two groups.
_NO_GROUPS = dict.fromkeys(
    (
        *("reference_events", "reference_n", "ratio", "ratio_lower", "ratio_upper"),
        *("difference", "difference_lower", "difference_upper"),
    )
)
_FOOT = (
    "Ratio: Katz, or Koopman where a group has none. Difference: Newcombe, in percentage points. p: Fisher's exact "
    "test; over the number of births, the Cochran-Armitage trend."
)


def _contrast_columns() -> list[Column]:
    """The columns of the table of comparisons."""
    return [
        Column("Reaction", lambda row: word(row["definition"]), "label"),
        Column("Compared", _compared, "text"),
        Column("First group", lambda row: _of(row["events"], row["n"])),
        Column("Second group", lambda row: _of(row["reference_events"], row["reference_n"])),
        Column("Ratio (95% interval)", _ratio, "interval"),
        Column("Difference, points (95% interval)", _difference, "interval"),
        Column("p", lambda row: wording.chance_cell(row["p_value"])),
    ]


def _compared(row: Row) -> str:
    """Which groups are compared."""
    if row["group"] == "trend":
        return (
            f"{grouping(row['by'])}, trend: {row['reference']}" if row["reference"] else grouping(row["by"])
        )
    return f"{stratum(row['by'], row['group'])} against {within(stratum(row['by'], row['reference']))}"


def _of(events: float, n: float) -> str:
    """Counts of one group."""
    return f"{wording.count(events)} of {wording.count(n)}" if is_known(n) else wording.NOTHING


def _ratio(row: Row) -> str:
    """A ratio and its interval."""
    if not is_known(row["ratio_lower"]):
        return wording.NOTHING
    return f"{wording.ratio(row['ratio'])} ({wording.ratio_span(row['ratio_lower'], row['ratio_upper'])})"


def _difference(row: Row) -> str:
    """A difference in percentage points and its interval."""
    if not is_known(row["difference"]):
        return wording.NOTHING
    interval = wording.span(row["difference_lower"], row["difference_upper"])
    return f"{wording.percent(row['difference'])} ({interval})"


def _all_groups(results: AuditResults) -> list[Block]:
    """Every other division by births, folded."""
    found = [
        row
        for by in _BY
        for row in rows(results, _TABLE, by=by, definition=_DEFINITIONS, window=(PERIOD, ROLLING))
    ]
    if not found:
        return []
    columns = proportion_columns(
        Column("Group", lambda row: stratum(row["by"], row["stratum"]), "label"),
        events="Reacted",
        of="Recorded",
    )
    columns[1:1] = [
        Column("Reaction", lambda row: word(row["definition"]), "short"),
        Column("Window", lambda row: word(row["window"]), "short"),
    ]
    table = html_table("Vasovagal reactions by births and timing", columns, found, foot=PROPORTION_FOOT)
    return [Folded("By births and timing, every definition", table)]
