"""A file read under the guard: every column is looked at, and only those we know are kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from audit.errors import InputRefused, MissingColumns, UnreadableFile, name_a_few
from audit.ingest.identifiers import column_label, refuse_data_for_headings, refuse_identifiers
from audit.ingest.identifiers_file_column import FileColumn
from audit.ingest.identifiers_headings import is_device_number
from audit.ingest.joined import stacked
from audit.ingest.layout import match_headings, plain_heading
from audit.ingest.raw import RawLog, Source
from audit.ingest.read import read_rows
from audit.ingest.reasons import FINDINGS
from audit.settings import Layout


@dataclass(frozen=True)
class Opened:
    """An opened file without the columns the user left out, which have no heading any more."""

    source: Source
    number: int
    left_out: Mapping[int, str]


def without_columns(sources: Sequence[Source], drop_columns: Sequence[str]) -> list[Opened]:
    """The opened files without the columns that the user leaves out.

    Parameters
    ----------
    sources
        The opened files.
    drop_columns
        Headings, in any case and spacing; or numbers of columns, from 1, where no file has such a heading.

    Returns
    -------
    list of Opened

    Raises
    ------
    MissingColumns
        No file has such a column.
    InputRefused
        A line of headings holds data.
    """
    for source in sources:
        refuse_data_for_headings(source.headings, where=source.name, line=max(1, source.heading_line))
    found = [_positions(source, drop_columns) for source in sources]
    for name in drop_columns:
        if not any(name in places for places in found):
            have = [column_label(at, text) for at, text in enumerate(sources[0].headings)]
            raise MissingColumns(
                f"{sources[0].name}: no column to leave out under the name given. Found: {name_a_few(have)}. Write "
                "one of these headings, or the number of its column, after --drop-column (drop_columns in Python)."
            )
    return [
        _without(source, number, {at for places in places_of.values() for at in places})
        for number, (source, places_of) in enumerate(zip(sources, found, strict=True), start=1)
    ]


def _positions(source: Source, drop_columns: Sequence[str]) -> dict[str, list[int]]:
    """The columns that each name stands for, the names found only."""
    headings = [plain_heading(heading) for heading in source.headings]
    found = {}
    for name in drop_columns:
        places = [at for at, heading in enumerate(headings) if heading and heading == plain_heading(name)]
        if not places and name.isdecimal() and 1 <= int(name) <= len(headings):
            places = [int(name) - 1]
        if places:
            found[name] = places
    return found


def _without(source: Source, number: int, places: set[int]) -> Opened:
    """The file with these headings taken away."""
    headings = tuple("" if at in places else heading for at, heading in enumerate(source.headings))
    return Opened(
        replace(source, headings=headings), number, {at: source.headings[at] for at in sorted(places)}
    )


def layout_without(layout: Layout, opened: Sequence[Opened]) -> Layout:
    """The layout without the headings that were left out of the files.

    Parameters
    ----------
    layout
        Of the settings.
    opened
        From `without_columns`.

    Returns
    -------
    Layout
    """
    gone = {plain_heading(heading) for file in opened for heading in file.left_out.values()}
    kept = {name: text for name, text in layout.headings.items() if plain_heading(text) not in gone}
    return replace(layout, headings=kept)


def read_guarded(opened: Opened, layout: Layout, *, keyed: bool = False) -> tuple[RawLog, pd.DataFrame]:
    """The rows of a file that holds no identifiers as far as one can see, and findings on its columns.

    Parameters
    ----------
    opened
        From `without_columns`.
    layout
        From `layout_without`.
    keyed
        As in `refuse_identifiers`.

    Returns
    -------
    log : RawLog
        `columns` has ours alone, and `unread` the headings of the others that were looked at.
    findings : pandas.DataFrame
        ``rule, severity, source, row, column, message``: those of `refuse_identifiers`, and
        ``columns_left_out`` and ``device_numbers_not_read`` with the headings.

    Raises
    ------
    IdentifiersFound
        A column seems to identify persons.
    InputRefused
        A column that is not read cannot be looked into.
    UnreadableFile
        The rows cannot be told apart, or a column holds what is no plain value.
    """
    source = opened.source
    matched = match_headings(source, layout)
    taken = {*matched.values(), *opened.left_out}
    free = [at for at in range(len(source.headings)) if at not in taken]
    devices = [at for at in free if is_device_number(source.headings[at])]
    others = {f"column {at + 1}": at for at in free if at not in devices}
    rows = _rows(source, matched, others)
    columns = [
        FileColumn(at, source.headings[at], name if name in matched else "", rows.columns[name])
        for name, at in {**matched, **others}.items()
    ]
    findings = refuse_identifiers(
        columns, where=source.name, number=opened.number, layout=layout, keyed=keyed
    )
    kept = replace(
        rows,
        columns={name: rows.columns[name] for name in matched},
        unread=tuple(source.headings[at] for at in others.values() if source.headings[at]),
    )
    return kept, stacked([findings, _notes(opened, devices)], FINDINGS)


def _rows(source: Source, matched: Mapping[str, int], others: Mapping[str, int]) -> RawLog:
    """The rows with every column; what cannot be looked into must be left out by name."""
    try:
        return read_rows(source, {**matched, **others})
    except UnreadableFile as error:
        # Whatever fails without the columns nobody reads is a fault of the file and raises here.
        read_rows(source, matched)
        raise InputRefused(
            f"{error} The column is not read, but no column may go unseen. Take it out of the export, or "
            "go on without it with --drop-column and its name (drop_columns in Python)."
        ) from None


def _notes(opened: Opened, devices: Sequence[int]) -> pd.DataFrame:
    """What was left unseen, and why."""
    entries = []
    if opened.left_out:
        names = ", ".join(column_label(at, heading) for at, heading in opened.left_out.items())
        entries.append(("columns_left_out", f"Left out as asked, and not looked at: {names}."))
    if devices:
        names = ", ".join(column_label(at, opened.source.headings[at]) for at in devices)
        words = "Numbers of devices can lead to the woman, so they are not read"
        entries.append(("device_numbers_not_read", f"{words}: {names}."))
    rows = [(rule, "notice", opened.number, 0, "", message) for rule, message in entries]
    return pd.DataFrame(rows, columns=list(FINDINGS))
