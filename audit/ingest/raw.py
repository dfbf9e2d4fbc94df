"""What a file holds before anything is interpreted: frozen records of text."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Source:
    """One file, opened: its headings are known, its rows are not yet read.

    `content` is UTF-8 text with ``\\n`` line ends for a delimited file, the file's own bytes for Parquet.
    `bad_lines` gives, per line number, why that line cannot be decoded. `first_lines` are the cells of the
    first lines, kept to find headings that do not stand on the first one. `rows` holds the rows of a form
    that has to be read whole before its headings are known, its columns keyed by position.
    """

    name: str
    form: str
    sha256: str
    size: int
    encoding: str
    delimiter: str
    headings: tuple[str, ...]
    heading_line: int
    content: bytes = field(repr=False)
    bad_lines: Mapping[int, str] = field(default_factory=dict, repr=False)
    first_lines: tuple[tuple[str, ...], ...] = field(default=(), repr=False)
    rows: "RawLog | None" = field(default=None, repr=False)


@dataclass(frozen=True)
class RawColumn:
    """One column of text, each distinct text once, and the number of the text on each record."""

    texts: tuple[str, ...] = field(repr=False)
    codes: npt.NDArray[np.int32] = field(repr=False)


@dataclass(frozen=True)
class Rejected:
    """A row that could not be read: its line, why, and the sentence that says so."""

    line: int
    reason: str
    message: str


@dataclass(frozen=True)
class Note:
    """What a person should know of a file as a whole or of one of its lines; line 0 is the whole file."""

    rule: str
    severity: str
    line: int
    column: str
    message: str


@dataclass(frozen=True)
class RawLog:
    """The rows of one file as text.

    `columns` is keyed by our column names and `lines` gives the line each record starts on. `rows_in` is the
    number of rows counted in the bytes before parsing, so that ``rows_in == len(lines) + len(rejected)``.
    """

    columns: Mapping[str, RawColumn]
    lines: Integers
    rows_in: int
    rejected: tuple[Rejected, ...] = ()
    blank_lines: Mapping[str, int] = field(default_factory=dict)
    unread: tuple[str, ...] = ()
    cut_short: bool = False
    notes: tuple[Note, ...] = ()
