"""Blocks that several sections share: how a figure is counted, why a section is empty, dots with a table."""

from collections.abc import Callable, Sequence

from audit.records import AuditResults
from audit.schema.indicators import BY_TABLE
from reports import wording
from reports.choosing import Row, is_known, limits_of, only_bounds, rows, why_empty
from reports.figures.intervals import Line, dots, height
from reports.figures.theme import Figure, Plot
from reports.sections.section import Block, FigureBlock, Paragraph, Pointer, Section, Subheading, TableBlock
from reports.tables import PROPORTION_FOOT, Column, html_table, proportion_columns
from reports.words_for_codes import spoken, stratum, within, word

PERIOD, ROLLING, WHOLE = "period", "rolling_12_months", "all"
WINDOWS_SHOWN = (PERIOD, ROLLING, WHOLE)
# Enough to tell a service's files apart; the manifest holds the whole.
_FINGERPRINT = 12
CASES_NOT_PEOPLE = "A signal is a reason to look at cases, never a finding about a person."


def counted_how(table: str) -> Pointer:
    """Where the methods say how a figure is counted: once, so that the page stays small enough to send."""
    return Pointer(f"How “{BY_TABLE[table].title}” is counted", f"how-{table}")


def charting_note(results: AuditResults, table: str) -> str:
    """What was read as no because the service charts by exception; nothing where a figure does not rest on it."""
    columns = {column for needed in BY_TABLE[table].needs for column in needed}
    columns &= set(results.settings.charted_by_exception)
    found = rows(results, "finding_counts", rule="charted_by_exception", column=tuple(sorted(columns)))
    told = " ".join(word(spoken(row["message"])) for row in found)
    return f"Charted by exception. {told}" if told else ""


def files_read(results: AuditResults) -> list[tuple[str, str]]:
    """Each input file by number, with its rows and the head of its fingerprint: a file name can identify."""
    return [
        (
            f"File {number}",
            f"{wording.plural(source.rows, 'row')}, SHA-256 {source.sha256[:_FINGERPRINT]}",
        )
        for number, source in enumerate(results.sources, start=1)
    ]


def empty_section(results: AuditResults, id: str, label: str, table: str) -> Section:
    """A section that has nothing to show, and says why."""
    indicator = BY_TABLE[table]
    return Section(
        id,
        label,
        f"{indicator.title}: nothing to show",
        (Paragraph(f"{indicator.question} {why_empty(results, table)}"), counted_how(table)),
    )


def dot_line(row: Row, label: str, *, tone: str = "ink") -> Line:
    """A row of a proportion as a line of a dot drawing; without enough women, the counts alone."""
    drawn = row["n"] >= wording.FEW and not only_bounds(row)
    lower, upper, _ = limits_of(row) if row["n"] else (float("nan"), float("nan"), "")
    nan = float("nan")
    return Line(
        label,
        float(row["proportion"]) if drawn else nan,
        lower if drawn else nan,
        upper if drawn else nan,
        f"{wording.count(row['events'])} of {wording.count(row['n'])}",
        tone,
    )


def proportion_blocks(
    id: str,
    title: str,
    found: Sequence[Row],
    *,
    caption: str,
    heading: str,
    events: str,
    of: str,
    axis: str,
    counted: tuple[str, ...],
    named: Callable[[Row], str] | None = None,
    note: str = "",
) -> list[Block]:
    """Dots with intervals for the rows of a proportion, with the table of the same rows; the table alone where no
    row has enough to draw."""
    label = named or (lambda row: stratum(row["by"], row["stratum"]))
    # The unknown stand in the table; a handful of them would stretch the scale for everyone.
    drawn = [row for row in found if str(row.get("stratum")) != "unknown"]
    lines = [dot_line(row, label(row)) for row in drawn]
    columns = proportion_columns(Column(heading, label, "label"), events=events, of=of)
    told = "; ".join(f"{within(label(row))} {wording.proportion(row)}" for row in found)
    table = html_table(caption, columns, found, foot=PROPORTION_FOOT, counted=counted)
    if not any(is_known(line.value) for line in lines):
        return [Subheading(title), TableBlock(table)]
    figure = Figure(
        id,
        title,
        (Plot(f"{id}-plot", dots(lines, counts=axis), height(lines)),),
        f"{title}. Dots with 95% intervals: {told}.",
        table,
        note,
        counted=counted,
    )
    return [FigureBlock(figure)]
