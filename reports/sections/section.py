"""What a section of the report is made of. Records only."""

from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup

from reports.figures.missingness import ShadedMap
from reports.figures.theme import Figure


@dataclass(frozen=True)
class Paragraph:
    """Running text, with a note in the margin where there is one."""

    text: str
    note: str = ""
    kind: Literal["paragraph"] = "paragraph"


@dataclass(frozen=True)
class Caution:
    """A sentence the reader must not miss."""

    text: str
    kind: Literal["caution"] = "caution"


@dataclass(frozen=True)
class Subheading:
    """A heading inside a section."""

    text: str
    kind: Literal["subheading"] = "subheading"


@dataclass(frozen=True)
class Items:
    """A list of sentences."""

    items: tuple[str, ...]
    kind: Literal["items"] = "items"


@dataclass(frozen=True)
class TableBlock:
    """A table."""

    table: Markup
    kind: Literal["table"] = "table"


@dataclass(frozen=True)
class Folded:
    """A table one click away; left out on paper."""

    summary: str
    table: Markup
    kind: Literal["folded"] = "folded"


@dataclass(frozen=True)
class FigureBlock:
    """A drawing with its table."""

    figure: Figure
    kind: Literal["figure"] = "figure"


@dataclass(frozen=True)
class MapBlock:
    """A map of shaded cells with its counts."""

    map: ShadedMap
    kind: Literal["map"] = "map"


@dataclass(frozen=True)
class Terms:
    """Terms with what they mean; a term with an id can be pointed to."""

    terms: tuple[tuple[str, str], ...]
    ids: tuple[str, ...] = ()
    kind: Literal["terms"] = "terms"


@dataclass(frozen=True)
class Pointer:
    """A line that leads to another place of the page; left out on paper."""

    text: str
    target: str
    kind: Literal["pointer"] = "pointer"


Block = (
    Paragraph | Caution | Subheading | Items | TableBlock | Folded | FigureBlock | MapBlock | Terms | Pointer
)


@dataclass(frozen=True)
class Section:
    """One section: its id, the plain label for navigation, and a heading that says what was found."""

    id: str
    label: str
    heading: str
    blocks: tuple[Block, ...]
