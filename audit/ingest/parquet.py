"""Parquet: typed columns turned back into the text forms of a CSV, so that one path follows."""

import datetime
import hashlib
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from audit.errors import UnreadableFile
from audit.ingest.limits import MAX_CELLS, refuse_large_file, refuse_many_columns, refuse_many_rows
from audit.ingest.masking import shown
from audit.ingest.raw import RawColumn, RawLog, Source

MAGIC = b"PAR1"


def open_parquet(octets: bytes, *, where: str) -> Source:
    """A Parquet file with its column names read.

    Parameters
    ----------
    octets
        The bytes of the file.
    where
        Name of the file.

    Returns
    -------
    Source

    Raises
    ------
    UnreadableFile
        The file is not Parquet, is damaged, or is larger than a log may be (`audit.ingest.limits`).
    """
    try:
        footer = pq.read_metadata(pa.BufferReader(octets))
        names = tuple(footer.schema.to_arrow_schema().names)
    except (pa.ArrowException, OSError):
        raise UnreadableFile(f"{where}: opens as Parquet but is damaged. Export it again.") from None
    _refuse_size(footer, len(names), where)
    return Source(
        name=where,
        form="parquet",
        sha256=hashlib.sha256(octets).hexdigest(),
        size=len(octets),
        encoding="parquet",
        delimiter="",
        headings=names,
        heading_line=0,
        content=octets,
    )


def read_parquet(source: Source, columns: Mapping[str, int]) -> RawLog:
    """The rows of a Parquet file as text; a row's line is its number, from 1.

    Parameters
    ----------
    source
        From `open_parquet`.
    columns
        Our column names and the position (from 0) of the file's column that feeds each.

    Returns
    -------
    RawLog
        Dates are ISO, whole numbers without a decimal point, booleans yes and no, nulls blank.

    Raises
    ------
    UnreadableFile
        The file is damaged, or a wanted column holds lists or records.
    """
    wanted = [source.headings[position] for position in columns.values()]
    try:
        table = pq.read_table(pa.BufferReader(source.content), columns=sorted(set(wanted)))
        raw = {
            name: _raw_column(table.column(heading), f"{source.name}, column '{shown(heading)}'")
            for name, heading in zip(columns, wanted, strict=True)
        }
    except (pa.ArrowException, OSError, KeyError):
        raise UnreadableFile(f"{source.name}: opens as Parquet but is damaged. Export it again.") from None
    return RawLog(
        columns=raw,
        lines=np.arange(1, table.num_rows + 1, dtype=np.int64),
        rows_in=table.num_rows,
        unread=tuple(name for name in source.headings if name not in set(wanted)),
    )


def _refuse_size(footer: pq.FileMetaData, columns: int, where: str) -> None:
    """Refuse a file that would be larger than a log may be once it is read."""
    refuse_many_columns(columns, where=where)
    refuse_many_rows(footer.num_rows, where=where)
    inflated = sum(footer.row_group(number).total_byte_size for number in range(footer.num_row_groups))
    refuse_large_file(inflated, where=where)
    if footer.num_rows * columns > MAX_CELLS:
        raise UnreadableFile(
            f"{where}: has {footer.num_rows:,} rows of {columns} columns; the limit is {MAX_CELLS:,} values. "
            "Take out the columns that do not belong to the log."
        )


def _raw_column(column: pa.ChunkedArray, where: str) -> RawColumn:
    """One typed column as distinct texts and codes."""
    if pa.types.is_nested(column.type) or pa.types.is_binary(column.type):
        raise UnreadableFile(
            f"{where}: holds lists, records or bytes ({column.type}). Export one plain value per row."
        )
    if not pa.types.is_dictionary(column.type):
        column = column.dictionary_encode()
    array = column.unify_dictionaries().combine_chunks()
    texts = [text_of(value) for value in array.dictionary.to_pylist()]
    codes = array.indices.fill_null(len(texts)).to_numpy(zero_copy_only=False).astype(np.int32)
    return RawColumn((*texts, ""), codes)


def text_of(value: Any) -> str:
    """The text form of one typed value.

    Parameters
    ----------
    value
        A value of a Parquet column; None is a null.

    Returns
    -------
    str

    Examples
    --------
    >>> [text_of(value) for value in (2.0, True, None, datetime.date(2026, 9, 30))]
    ['2', 'yes', '', '2026-09-30']
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime.date):
        return value.isoformat()[:10]
    if isinstance(value, float) and value.is_integer() and abs(value) < 2**53:
        return str(int(value))
    return str(value)
