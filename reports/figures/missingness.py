"""A map of what is missing: fields down, sites or months across, shaded by the share of rows that lack the field.

It is a table whose cells are shaded, so it needs no script, is read aloud cell by cell, and keeps its figures on
paper.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from audit.schema.visits import VISITS
from reports import wording
from reports.choosing import Row
from reports.words_for_columns import column_heading

# From which share of rows on a shade begins; the first is for anything above none.
SHADES = (0.0, 0.05, 0.2, 0.5, 0.8)
KEY = ("none", "under 5%", "5 to 20%", "20 to 50%", "50 to 80%", "80% and more")
_SECTIONS = {column.name: column.section for column in VISITS.columns}


@dataclass(frozen=True)
class Cell:
    """What a cell says, and the class that shades it."""

    text: str
    shade: str


@dataclass(frozen=True)
class MapLine:
    """One field; with no cells, a field that is not in the log."""

    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Group:
    """The fields of one part of the log."""

    heading: str
    lines: tuple[MapLine, ...]


@dataclass(frozen=True)
class ShadedMap:
    """A map with its title, what stands across, and the table of the counts behind it."""

    id: str
    title: str
    note: str
    caption: str
    across: tuple[str, ...]
    base: tuple[str, ...]
    groups: tuple[Group, ...]
    key: tuple[tuple[str, str], ...]
    foot: str
    table: Markup


def map_groups(found: Sequence[Row], strata: Sequence[str], columns: Sequence[str]) -> tuple[Group, ...]:
    """The lines of a map, part by part of the log.

    Parameters
    ----------
    found
        Rows of the table ``missingness`` of one kind of strata.
    strata
        Which to show, in order.
    columns
        Which fields to show, in order.

    Returns
    -------
    tuple
        A group for every part of the log that has a field to show.
    """
    cells = {(str(row["column"]), str(row["stratum"])): row for row in found}
    lines: dict[str, list[MapLine]] = {}
    for column in columns:
        own = [cells[column, stratum] for stratum in strata]
        line = MapLine(column_heading(column), tuple(cell(row) for row in own) if own[0]["in_log"] else ())
        lines.setdefault(_SECTIONS[column], []).append(line)
    return tuple(Group(heading, tuple(own)) for heading, own in lines.items())


def cell(row: Row) -> Cell:
    """The share that is missing, in per cent and shaded; counts alone where the rows are few.

    Examples
    --------
    >>> cell({"events": 3, "n": 40, "proportion": 0.075}), cell({"events": 2, "n": 7})
    (Cell(text='8', shade='m2'), Cell(text='2 of 7', shade='few'))
    >>> cell({"events": 0, "n": 0}).text
    '–'
    """
    if row["n"] == 0:
        return Cell(wording.NOTHING, "undue")
    if row["n"] < wording.FEW:
        return Cell(f"{wording.count(row['events'])} of {wording.count(row['n'])}", "few")
    return Cell(wording.percent(row["proportion"], places=0), shade(float(row["proportion"])))


def shade(share: float) -> str:
    """The class of a share, 0 to 1.

    Examples
    --------
    >>> shade(0.0), shade(0.01), shade(0.2), shade(1.0)
    ('m0', 'm1', 'm3', 'm5')
    """
    return "m0" if share == 0 else f"m{sum(share >= least for least in SHADES)}"


def key() -> tuple[tuple[str, str], ...]:
    """Each shade and what it stands for."""
    return tuple((f"m{number}", words) for number, words in enumerate(KEY))
