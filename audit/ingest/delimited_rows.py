"""CSV and its relatives, read: every row as text, or rejected with its line."""

from collections.abc import Mapping, Sequence, Set

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv

from audit.errors import UnreadableFile
from audit.ingest.raw import Flags, RawColumn, RawLog, Rejected, Source
from audit.ingest.structure import Records, find_records, has_long_stretch

# More than the longest line; larger blocks only make the words of one block harder to look up.
_BLOCK = 4 << 20
_TEXT = pa.dictionary(pa.int32(), pa.string())
_BAD_LINES = {
    "undecodable_bytes": "The line holds bytes that are no text. Export the log again as 'CSV UTF-8'.",
    "nul_byte": "The line holds a NUL byte. Export the log again.",
}


def read_delimited(source: Source, columns: Mapping[str, int]) -> RawLog:
    """The rows of a delimited file, as text.

    Parameters
    ----------
    source
        From `open_delimited`.
    columns
        Our column names and the position (from 0) of the heading that feeds each; the rest stays unread.

    Returns
    -------
    RawLog

    Raises
    ------
    UnreadableFile
        Quotes or line lengths show that the rows cannot be told apart.
    """
    whole = source.content.endswith(b"\n")
    content = source.content if whole else source.content + b"\n"
    plain = _plain_rows(content, columns, source)
    return _checked_rows(content, columns, source, whole=whole) if plain is None else plain


def _plain_rows(content: bytes, columns: Mapping[str, int], source: Source) -> RawLog | None:
    """The rows of a file in which every line after the headings is one row; None where it is not so plain.

    Without a quote a line end ends a row, and pyarrow stops at the first line of another width. What is left
    are lines of separators alone, which are no rows: one without any value we read may be such a line.
    """
    if source.heading_line > 1 or source.bad_lines or b'"' in content or has_long_stretch(content):
        return None
    begin = content.index(b"\n") + 1
    rows = content.count(b"\n", begin)
    if rows == 0:
        return None
    try:
        text = pa.py_buffer(memoryview(content)[begin:])
        arrays = _parsed(text, len(source.headings), set(columns.values()), source)
    except pa.ArrowInvalid:
        return None
    if any(len(array) != rows for array in arrays.values()) or _any_all_blank(list(arrays.values())):
        return None
    return RawLog(
        columns={name: _raw_column(arrays[position]) for name, position in columns.items()},
        lines=np.arange(2, 2 + rows, dtype=np.int64),
        rows_in=rows,
        unread=_unread(source, columns),
    )


def _any_all_blank(arrays: Sequence[pa.DictionaryArray]) -> bool:
    """Whether some row has nothing but space in all of the columns; so too where there are none to tell."""
    blank = np.bool_(True)
    for array in arrays:
        empty = pc.match_substring_regex(array.dictionary, pattern=r"^[\x00-\x20]*$")
        blank = blank & np.asarray(empty)[array.indices.to_numpy()]
        if not blank.any():
            return False
    return True


def _checked_rows(content: bytes, columns: Mapping[str, int], source: Source, *, whole: bool) -> RawLog:
    """The rows of any file, found byte by byte."""
    records = find_records(content, source.delimiter, where=source.name)
    is_row = ~records.empty & (records.lines > source.heading_line)
    width, fits = _fitting_rows(records, is_row, content, source)
    bad = _on_bad_lines(records, source)
    keep = is_row & fits & ~bad
    rejected = _rejected(records, is_row & ~keep, len(source.headings), source)
    arrays = _kept(content, records, keep, width, set(columns.values()), source)
    return RawLog(
        columns={name: _raw_column(arrays[position]) for name, position in columns.items()},
        lines=records.lines[keep],
        rows_in=int(keep.sum()) + len(rejected),
        rejected=rejected,
        blank_lines=_blank_lines(records, source.heading_line),
        unread=_unread(source, columns),
        cut_short=not whole and bool(is_row[-1] and not keep[-1]),
    )


def _fitting_rows(records: Records, is_row: Flags, content: bytes, source: Source) -> tuple[int, Flags]:
    """The number of values a row should have, and the rows that have it."""
    width = len(source.headings)
    extra = records.fields == width + 1
    # Some programs end every row, but not the heading, with one more separator.
    if is_row.any() and extra[is_row].all():
        last = np.frombuffer(content, dtype=np.uint8)[records.ends[is_row] - 2]
        if (last == ord(source.delimiter)).all():
            return width + 1, extra
    return width, records.fields == width


def _on_bad_lines(records: Records, source: Source) -> Flags:
    """The records that touch a line which could not be decoded."""
    bad = np.zeros(len(records.lines), dtype=np.bool_)
    lines = np.array(sorted(source.bad_lines), dtype=np.int64)
    bad[np.searchsorted(records.lines, lines, side="right") - 1] = True
    return bad


def _rejected(records: Records, out: Flags, width: int, source: Source) -> tuple[Rejected, ...]:
    """One entry for every line of the records that could not be read."""
    entries = []
    for number in np.flatnonzero(out):
        line, span = int(records.lines[number]), int(records.spans[number])
        for at in range(line, line + span):
            entries.append(_reason(at, span, int(records.fields[number]), width, source))
    return tuple(entries)


def _reason(line: int, span: int, values: int, width: int, source: Source) -> Rejected:
    """Why the row on that line could not be read."""
    if line in source.bad_lines:
        reason = source.bad_lines[line]
        return Rejected(line, reason, _BAD_LINES[reason])
    if span > 1:
        # A stray quote has joined these lines: each is counted, none is believed.
        return Rejected(
            line, "joined_by_quotes", "Quotes join this line to its neighbours. Check the quotes."
        )
    return Rejected(line, "wrong_number_of_values", _count(values, width))


def _count(values: int, width: int) -> str:
    """The sentence for a row of the wrong width."""
    return f"{values} values where {width} were expected. Check the separators and quotes of the line."


def _kept(
    content: bytes, records: Records, keep: Flags, width: int, positions: Set[int], source: Source
) -> dict[int, pa.DictionaryArray]:
    """The kept rows through pyarrow's parser."""
    if not keep.any():
        return dict.fromkeys(positions, pa.array([], type=_TEXT))
    several = bool((records.spans[keep] > 1).any())
    arrays = _parsed(_bytes_of(content, records, keep), width, positions, source, several=several)
    for array in arrays.values():
        if len(array) != int(keep.sum()):
            raise UnreadableFile(
                f"{source.name}: {int(keep.sum()):,} rows were counted but {len(array):,} could be read. Check the "
                "quotes around values."
            )
    return arrays


def _parsed(
    text: pa.Buffer, width: int, positions: Set[int], source: Source, *, several: bool = False
) -> dict[int, pa.DictionaryArray]:
    """Columns through pyarrow's parser, dictionary encoded; `several` where a value may run over lines."""
    names = [str(position) for position in range(width)]
    wanted = [names[position] for position in sorted(positions)]
    table = pa_csv.read_csv(
        pa.BufferReader(text),
        read_options=pa_csv.ReadOptions(column_names=names, block_size=_BLOCK),
        parse_options=pa_csv.ParseOptions(
            delimiter=source.delimiter, newlines_in_values=several, ignore_empty_lines=False
        ),
        convert_options=pa_csv.ConvertOptions(
            column_types=dict.fromkeys(wanted, _TEXT),
            include_columns=wanted,
            null_values=[],
            strings_can_be_null=False,
        ),
    )
    parts = dict(zip(sorted(positions), table.columns, strict=True))
    del table
    # One after the other, each part let go once it is joined, so that no large log stands in memory twice.
    return {
        position: parts.pop(position).unify_dictionaries().combine_chunks() for position in sorted(positions)
    }


def _bytes_of(content: bytes, records: Records, keep: Flags) -> pa.Buffer:
    """The text of the kept records only."""
    first = int(np.flatnonzero(keep)[0])
    if keep[first:].all():
        return pa.py_buffer(memoryview(content)[int(records.starts[first]) :])
    mask = np.repeat(keep, records.ends - records.starts)
    return pa.py_buffer(np.frombuffer(content, dtype=np.uint8)[mask])


def _raw_column(array: pa.DictionaryArray) -> RawColumn:
    """One column of the parsed rows."""
    return RawColumn(tuple(array.dictionary.to_pylist()), array.indices.to_numpy(zero_copy_only=False))


def _blank_lines(records: Records, heading_line: int) -> dict[str, int]:
    """How many lines hold nothing, and how many nothing but separators."""
    blank = records.empty & (records.fields == 1)
    only_separators = ~blank & (records.empty | (records.lines < heading_line))
    counts = {"blank": int(blank.sum()), "only_separators": int(only_separators.sum())}
    return {reason: count for reason, count in counts.items() if count}


def _unread(source: Source, columns: Mapping[str, int]) -> tuple[str, ...]:
    """The headings nobody asked for."""
    read = set(columns.values())
    return tuple(
        heading for position, heading in enumerate(source.headings) if position not in read and heading
    )
