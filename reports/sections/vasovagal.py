"""Vasovagal reactions by parity, one definition at a time."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.sections.comparisons import COMPARISON_FOOT, NO_GROUPS, comparison_columns, of_both
from reports.sections.modelled import p_column
from reports.sections.parts import (
    PERIOD,
    ROLLING,
    charting_note,
    empty_section,
    proportion_blocks,
)
from reports.sections.reaction_timing import emergency_blocks, phase_blocks, technique_blocks
from reports.sections.section import Block, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, plain, proportion_columns
from reports.words_for_codes import stratum, word

_TABLE = "vasovagal_by_parity"
_DEFINITIONS = ("vasovagal_any", "vasovagal_grade_2_plus", "syncope")
_BLANKS = "A blank was read as no."
_FOOT = (
    "Mantel-Haenszel over age bands; a small last p says that the ratio is not the same at every age. Nothing that "
    "comes after the start of an insertion is adjusted for."
)
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
        *emergency_blocks(results),
        *phase_blocks(results),
        *technique_blocks(results),
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
        f"{of_both(contrast['events'], contrast['n'])} against "
        f"{of_both(contrast['reference_events'], contrast['reference_n'])}"
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
    return [
        TableBlock(
            html_table(
                "Vasovagal reactions, all women", columns, found, foot=PROPORTION_FOOT, counted=(_TABLE,)
            )
        )
    ]


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
        counted=(_TABLE,),
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
    found = [NO_GROUPS | row for row in rows(results, "vasovagal_contrasts", window=ROLLING)]
    reaction = Column("Reaction", lambda row: word(row["definition"]), "label")
    columns = [reaction, *comparison_columns()]
    if not any(is_known(row["ratio"]) for row in found):
        return [Subheading("No comparison can be made"), Paragraph("One of the groups has no women in it.")]
    return [
        Subheading("The comparisons, with their intervals"),
        TableBlock(
            html_table(
                "Reactions compared, twelve months", columns, found, foot=COMPARISON_FOOT, counted=(_TABLE,)
            )
        ),
        *_adjusted(results),
    ]


def _adjusted(results: AuditResults) -> list[Block]:
    """The comparison by vaginal birth with the ages allowed for."""
    found = [row for row in rows(results, "vasovagal_adjusted", window=ROLLING) if row["n_strata_used"]]
    if not found:
        return []
    reaction = Column("Reaction", lambda row: word(row["definition"]), "label")
    columns = [
        reaction,
        *comparison_columns()[1:],
        p_column("homogeneity_p_value", "p that ages differ"),
        Column("Note", plain("caution"), "note"),
    ]
    return [
        TableBlock(
            html_table(
                "Without against with a vaginal birth, age allowed for",
                columns,
                found,
                foot=_FOOT,
                counted=(_TABLE,),
            )
        )
    ]


def _all_groups(results: AuditResults) -> list[Block]:
    """Every other division by births in twelve months, folded; a period alone has too few of each."""
    found = [
        row for by in _BY for row in rows(results, _TABLE, by=by, definition=_DEFINITIONS, window=ROLLING)
    ]
    if not found:
        return []
    columns = proportion_columns(
        Column("Group", lambda row: stratum(row["by"], row["stratum"]), "label"),
        events="Reacted",
        of="Recorded",
    )
    columns.insert(1, Column("Reaction", lambda row: word(row["definition"]), "short"))
    table = html_table(
        "Vasovagal reactions by births and timing, twelve months",
        columns,
        found,
        foot=PROPORTION_FOOT,
        counted=(_TABLE,),
    )
    return [Folded("By births and timing, every definition", table)]
