"""Where the records of a delimited file begin and end, counted in its bytes before any parser sees them.

A parser that meets a stray quote merges rows without a word. So rows, fields and quotes are counted here
first, and the parser's own count must agree.
"""

import re
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from audit.errors import UnreadableFile
from audit.ingest.limits import MAX_LINE_BYTES
from audit.ingest.raw import Flags, Integers

MAX_QUOTED_LINES = 20
_NEWLINE, _QUOTE, _SPACE = 10, 34, 32
Octets = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Records:
    """Every record of a file, the heading included.

    `starts` and `ends` are byte positions, `lines` the line each record starts on, `fields` its number of
    values, `empty` whether it holds nothing but delimiters, spaces and quotes.
    """

    starts: Integers = field(repr=False)
    ends: Integers = field(repr=False)
    lines: Integers
    fields: Integers
    empty: Flags
    spans: Integers


def has_long_stretch(content: bytes) -> bool:
    """Whether some line may be longer than 1 MiB; where none can be, nobody needs to measure them all.

    Parameters
    ----------
    content
        Text with ``\\n`` line ends.

    Returns
    -------
    bool

    Examples
    --------
    >>> has_long_stretch(b"a,b\\n")
    False
    """
    stretch = MAX_LINE_BYTES // 2
    starts = range(0, len(content) - stretch, stretch)
    return any(content.find(b"\n", start, start + stretch) == -1 for start in starts)


def find_records(content: bytes, delimiter: str, *, where: str) -> Records:
    """The records of a delimited text.

    Parameters
    ----------
    content
        UTF-8 text that ends with a line feed.
    delimiter
        One ASCII character.
    where
        Name of the file, for messages.

    Returns
    -------
    Records
        `spans` is the number of lines of each record: 1 unless a quoted value holds line ends.

    Raises
    ------
    UnreadableFile
        A line is longer than 1 MiB, a quoted value never closes, runs over more than 20 lines, or runs over
        several lines and closes in the middle of a value.

    Notes
    -----
    Quotes follow RFC 4180: one opens a value only as its first character, and is doubled inside it.

    References
    ----------
    Shafranovich Y. Common format and MIME type for comma-separated values (CSV) files. RFC 4180, 2005.

    Examples
    --------
    >>> find_records(b'a,b\\n1,"x\\ny"\\n', ",", where="visits.csv").lines
    array([1, 2])
    """
    octets = np.frombuffer(content, dtype=np.uint8)
    line_ends = np.flatnonzero(octets == _NEWLINE).astype(np.int64)
    _refuse_long_line(line_ends, where)
    inside = _inside_quotes(octets, content, delimiter, line_ends, where)
    ends = line_ends if inside is None else line_ends[~inside[line_ends]]
    starts = np.concatenate([[0], ends[:-1] + 1]).astype(np.int64)
    first = np.searchsorted(line_ends, starts)
    spans = np.searchsorted(line_ends, ends) - first + 1
    _refuse_long_quote(spans, first, where)
    separators = octets == ord(delimiter)
    if inside is not None:
        separators &= ~inside
    return Records(
        starts=starts,
        ends=ends + 1,
        lines=first + 1,
        fields=_count_per_record(separators, starts) + 1,
        empty=~np.logical_or.reduceat(_is_content(octets, delimiter), starts),
        spans=spans,
    )


def _count_per_record(marks: Flags, starts: Integers) -> Integers:
    """How many bytes are marked in each record."""
    # Ten times faster than np.add.reduceat, which casts every byte.
    places = np.searchsorted(np.flatnonzero(marks), np.append(starts, len(marks)))
    return np.diff(places).astype(np.int64)


def _is_content(octets: Octets, delimiter: str) -> Flags:
    """The bytes that make a record more than an empty one."""
    content: Flags = (octets > _SPACE) & (octets != ord(delimiter)) & (octets != _QUOTE)
    return content


def _refuse_long_line(line_ends: Integers, where: str) -> None:
    """Refuse a line that no log has."""
    lengths = np.diff(line_ends, prepend=-1) - 1
    longest = int(lengths.argmax())
    if lengths[longest] > MAX_LINE_BYTES:
        raise UnreadableFile(
            f"{where}: line {longest + 1} is {lengths[longest]:,} bytes long; the limit is "
            f"{MAX_LINE_BYTES:,}. Export the log again, with one visit per line."
        )


def _refuse_long_quote(spans: Integers, first: Integers, where: str) -> None:
    """Refuse a record that a stray quote has stretched over many lines."""
    too_long = np.flatnonzero(spans - 1 > MAX_QUOTED_LINES)
    if too_long.size:
        record = too_long[0]
        raise UnreadableFile(
            f"{where}, line {first[record] + 1}: a quoted value runs over {spans[record] - 1} lines. "
            "Check the quotes around it."
        )


def _inside_quotes(
    octets: Octets, content: bytes, delimiter: str, line_ends: Integers, where: str
) -> Flags | None:
    """Which bytes lie inside quoted values; None when the file has no quote."""
    quotes = octets == _QUOTE
    positions = np.flatnonzero(quotes)
    if positions.size == 0:
        return None
    if _pairs_are_regular(octets, positions, delimiter):
        # The parity of the quotes so far; eight bits may overflow, parity survives it.
        return (np.cumsum(quotes, dtype=np.uint8) & 1).astype(np.bool_)
    return _walked_quotes(content, delimiter, line_ends, where)


def _pairs_are_regular(octets: Octets, positions: Integers, delimiter: str) -> bool:
    """Whether quotes alternate between opening at a value's first byte and closing at its last."""
    if positions.size % 2:
        return False
    opens, closes = positions[0::2], positions[1::2]
    edges = np.array([_NEWLINE, ord(delimiter)], dtype=np.uint8)
    doubled = np.concatenate([[False], closes[:-1] + 1 == opens[1:]])
    opens_well = doubled | (opens == 0) | np.isin(octets[opens - 1], edges)
    closes_well = np.append(doubled[1:], False) | np.isin(octets[closes + 1], edges)
    return bool(opens_well.all() and closes_well.all())


def _walked_quotes(content: bytes, delimiter: str, line_ends: Integers, where: str) -> Flags:
    """The same by walking from quote to quote, for files in which quotes also stand inside plain values."""
    opening = re.compile(rb"(?:^|(?<=[\n" + re.escape(delimiter.encode()) + rb']))"')
    change = np.zeros(len(content) + 1, dtype=np.int8)
    found = opening.search(content)
    while found is not None:
        start = found.start()
        close = _closing_quote(content, start + 1)
        _refuse_stray_quote(content, delimiter, line_ends, start, close, where)
        change[start] += 1
        change[close] -= 1
        found = opening.search(content, close + 1)
    return np.cumsum(change[:-1], dtype=np.int8).astype(np.bool_)


def _closing_quote(content: bytes, start: int) -> int:
    """Where the quoted value that starts there closes; -1 when it never does."""
    close = content.find(b'"', start)
    while close != -1 and content[close + 1 : close + 2] == b'"':
        close = content.find(b'"', close + 2)
    return close


def _refuse_stray_quote(
    content: bytes, delimiter: str, line_ends: Integers, start: int, close: int, where: str
) -> None:
    """Refuse a quote that never closes, or that swallowed lines and closes in the middle of a value."""
    line = int(np.searchsorted(line_ends, start)) + 1
    if close == -1:
        raise UnreadableFile(
            f"{where}, line {line}: a quoted value opens and never closes. "
            "Close or remove the quote and run again."
        )
    lines = int(np.searchsorted(line_ends, close)) + 1 - line
    if lines and content[close + 1 : close + 2] not in (b"\n", delimiter.encode()):
        raise UnreadableFile(
            f"{where}, line {line}: a quoted value runs over {lines} "
            f"{'line' if lines == 1 else 'lines'}. Check the quotes around it."
        )
