"""The columns of a log as a draft sees them: a heading, its distinct texts, and on how many rows each stands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from audit.ingest.layout import plain_heading
from audit.ingest.parse import cleaned
from audit.ingest.raw import RawColumn, Source
from audit.ingest.read import read_rows
from audit.schema.terms import BLANK_WORDS, UNKNOWN_KINDS

_SAMPLE = 2000
# Words for a refusal stay: in some columns they are a code.
_NOTHING = frozenset({*BLANK_WORDS, *UNKNOWN_KINDS["not_known"], *UNKNOWN_KINDS["not_recorded"]})


@dataclass(frozen=True)
class FileColumn:
    """One column of a log, as written.

    `texts` are the distinct texts on which anything is written, words for nothing or for unknown left out, and
    `rows` says on how many rows each stands; `written` is their sum. `sample` pairs at most 2,000 texts with
    their rows. `twice` marks a heading that stands on two columns of one file.
    """

    heading: str
    texts: tuple[str, ...] = field(repr=False)
    rows: tuple[int, ...] = field(repr=False)
    written: int
    sample: tuple[tuple[str, int], ...] = field(repr=False)
    twice: bool = False


def file_column(heading: str, counts: Mapping[str, int], *, twice: bool = False) -> FileColumn:
    """A column from the number of rows on which each of its texts stands.

    Parameters
    ----------
    heading
        As the log writes it.
    counts
        Text -> rows.
    twice
        The heading stands on two columns of one file.

    Returns
    -------
    FileColumn

    Examples
    --------
    >>> file_column("Age", {"31": 2, "": 5, "unknown": 1, "40": 1}).written
    3
    """
    texts = tuple(text for text in counts if cleaned(text).casefold() not in _NOTHING)
    rows = tuple(counts[text] for text in texts)
    # Spread evenly, so that a log sorted by date is not judged by its first months.
    step = -(-len(texts) // _SAMPLE) or 1
    sample = tuple(zip(texts[::step], rows[::step], strict=True))
    return FileColumn(heading, texts, rows, sum(rows), sample, twice)


def file_columns(sources: Sequence[Source]) -> tuple[list[FileColumn], int]:
    """Every column of the files that has a heading, and the number of rows.

    Parameters
    ----------
    sources
        The opened files, read as one log.

    Returns
    -------
    columns : list of FileColumn
        In the order in which the headings first appear. Columns of two files under the same heading, whatever
        its case and hyphens, are one.
    rows : int
    """
    counts: dict[str, dict[str, int]] = {}
    headings: dict[str, str] = {}
    twice: set[str] = set()
    total = 0
    for source in sources:
        plain = [plain_heading(heading) for heading in source.headings]
        twice |= {name for name in plain if plain.count(name) > 1}
        log = read_rows(source, {str(position): position for position in range(len(plain))})
        total += len(log.lines)
        for position, name in enumerate(plain):
            if name:
                headings.setdefault(name, source.headings[position])
                _add(counts.setdefault(name, {}), log.columns[str(position)])
    columns = [file_column(headings[name], texts, twice=name in twice) for name, texts in counts.items()]
    return columns, total


def _add(counts: dict[str, int], raw: RawColumn) -> None:
    """Count the rows of each text, in place."""
    rows = np.bincount(raw.codes, minlength=len(raw.texts)).tolist()
    for text, number in zip(raw.texts, rows, strict=True):
        if number:
            counts[text] = counts.get(text, 0) + number
