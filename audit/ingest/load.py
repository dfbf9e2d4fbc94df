"""The steps of ingest in order: files in, a visit log out, every row accounted for."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from audit.ingest.accounting import account_rows, refuse_too_many
from audit.ingest.checks import check_visits
from audit.ingest.identifiers_reading import layout_without, read_guarded, without_columns
from audit.ingest.joined import stacked
from audit.ingest.layout import refuse_unknown_headings
from audit.ingest.masking import shown
from audit.ingest.pseudonyms import PseudonymKey, pseudonymise
from audit.ingest.raw import RawLog, Source
from audit.ingest.read import open_source
from audit.ingest.reasons import FINDINGS, SET_ASIDE
from audit.ingest.standardise import standardise
from audit.records import SourceFile, VisitLog
from audit.settings import AuditSettings


def load_visits(
    paths: Sequence[str | Path] | str | Path,
    settings: AuditSettings | None = None,
    *,
    data_to: str | pd.Timestamp | None = None,
    allow_set_aside: bool = False,
    drop_columns: Sequence[str] = (),
    key: PseudonymKey | None = None,
) -> VisitLog:
    """A clinic's visit log, standardised, with every row accounted for.

    Parameters
    ----------
    paths
        One file or several: CSV, TSV, semicolon- or pipe-separated text, or Parquet. Several are read as one
        log; each must have the required columns.
    settings
        How the log is laid out; None for a log with our headings, ISO dates and our codes.
    data_to
        The last day of the data, such as "2026-09-30". Later rows are set aside. None takes the latest visit.
    allow_set_aside
        Go on although more rows than the settings allow had to be set aside.
    drop_columns
        Headings of columns to leave out unseen, or their numbers from 1: what identifies persons and is not
        needed.
    key
        From `audit.ingest.pseudonyms`: the references of women and the codes of staff are replaced by keyed
        codes. None leaves them as they are.

    Returns
    -------
    VisitLog
        `visits` has the columns this log has, then ``source`` (number of the file, from 1) and ``row`` (line
        in it). `accounting` has ``source, disposition, reason, n`` with the dispositions ``in``, ``used``,
        ``set_aside`` (one line per reason) and ``blank_line`` (not a row, so not counted in ``in``). With
        headings only, all tables are empty and `data_to` is NaT unless given. `key_id` names the key, if one
        was given.

    Raises
    ------
    UnreadableFile
        A file that is not a table in a form we read.
    MissingColumns
        A file without the columns every audit needs, or settings that name a heading no file has.
    IdentifiersFound
        A column seems to identify persons.
    InputRefused
        Alike headings, visit dates that would have to be guessed, or too many rows set aside.
    ValueError
        No path, `data_to` is not a date, or `drop_columns` is one text.

    Notes
    -----
    Rows are counted in the bytes of the file before any parser sees them, and must agree with the rows used
    and set aside, whose reasons are in `set_aside`.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.TemporaryDirectory()
    >>> path = Path(folder.name, "visits.csv")
    >>> _ = path.write_text(
    ...     "patient_ref,visit_date,visit_kind,insertion_outcome\\n"
    ...     "A1,2026-07-01,insertion,placed\\n"
    ...     "A2,2026-07-32,insertion,placed\\n"
    ... )
    >>> log = load_visits(path, data_to="2026-09-30")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    audit.errors.InputRefused: visits.csv: 1 of 2 rows cannot be used...
    >>> log = load_visits(path, data_to="2026-09-30", allow_set_aside=True)
    >>> len(log.visits), log.set_aside["reason"].tolist()
    (1, ['not_a_date'])
    >>> folder.cleanup()
    """
    if isinstance(drop_columns, str):
        raise ValueError(f"drop_columns must be a list of headings, got {drop_columns!r}")
    rules = AuditSettings() if settings is None else settings
    last_day = _day(data_to)
    sources, guarded = _read(_listed(paths), rules, drop_columns, keyed=key is not None)
    logs = [log for log, _ in guarded]
    result = standardise(logs, rules, data_to=last_day, decimal_comma=_decimal_comma(sources, rules))
    set_aside = stacked([_rejected(logs), result.set_aside], SET_ASIDE)
    accounting = account_rows(logs, result.visits, set_aside)
    if not allow_set_aside:
        refuse_too_many(
            accounting, set_aside, where=sources[0].name, limit=rules.thresholds.set_aside_refusal
        )
    checked = check_visits(result.visits)
    visits, refs = result.visits, result.patient_refs
    if key is not None:
        visits, refs = pseudonymise(visits, refs, key=key)
    return VisitLog(
        visits=visits,
        set_aside=set_aside,
        findings=stacked(
            [_file_findings(sources, logs), *(found for _, found in guarded), result.findings, checked],
            FINDINGS,
        ),
        accounting=accounting,
        data_to=visits["visit_date"].max() if last_day is None else last_day,
        patient_refs=refs,
        sources=tuple(_source_file(source, log) for source, log in zip(sources, logs, strict=True)),
        key_id="" if key is None else key.key_id,
    )


def _read(
    paths: Sequence[str | Path], rules: AuditSettings, drop_columns: Sequence[str], *, keyed: bool
) -> tuple[list[Source], list[tuple[RawLog, pd.DataFrame]]]:
    """Each file without its content, which a large log has no room for twice, and its rows with what was found."""
    opened = without_columns([open_source(path, settings=rules) for path in paths], drop_columns)
    layout = layout_without(rules.layout, opened)
    refuse_unknown_headings([file.source for file in opened], layout)
    guarded = [read_guarded(file, layout, keyed=keyed) for file in opened]
    return [replace(file.source, content=b"", rows=None) for file in opened], guarded


def _listed(paths: Sequence[str | Path] | str | Path) -> list[str | Path]:
    """The paths as a list."""
    listed = [paths] if isinstance(paths, str | Path) else list(paths)
    if not listed:
        raise ValueError("paths must name at least one file, got none")
    return listed


def _day(data_to: str | pd.Timestamp | None) -> pd.Timestamp | None:
    """The day as a timestamp at midnight."""
    if data_to is None:
        return None
    days = pd.to_datetime(pd.Series([data_to]), errors="coerce", format="ISO8601")
    if days.isna().any():
        raise ValueError(f"data_to must be a date such as 2026-09-30, got {data_to!r}")
    return pd.Timestamp(days.iloc[0]).tz_localize(None).normalize()


def _decimal_comma(sources: Sequence[Source], settings: AuditSettings) -> bool:
    """Whether numbers have a decimal comma: declared, or shown by semicolons that leave the comma free."""
    return settings.layout.decimal_comma or all(source.delimiter == ";" for source in sources)


def _rejected(logs: Sequence[RawLog]) -> pd.DataFrame:
    """The rows that could not be read, in the form of the table of rows set aside."""
    rows = [
        (number, item.line, "", item.reason, "", item.message)
        for number, log in enumerate(logs, start=1)
        for item in log.rejected
    ]
    return pd.DataFrame(rows, columns=list(SET_ASIDE))


def _file_findings(sources: Sequence[Source], logs: Sequence[RawLog]) -> pd.DataFrame:
    """What a person should know of each file."""
    entries = []
    for number, (source, log) in enumerate(zip(sources, logs, strict=True), start=1):
        if log.unread:
            names = ", ".join(shown(name) for name in log.unread)
            entries.append(
                (
                    number,
                    "unread_columns",
                    "notice",
                    f"Not read: {names}. Map those that matter under [layout.headings].",
                )
            )
        if source.encoding == "windows-1252":
            words = "The file is not UTF-8 and was read as Windows-1252. Check names with accents."
            entries.append((number, "encoding_assumed", "notice", words))
        if log.cut_short:
            words = "The last line is incomplete. Was the export cut short?"
            entries.append((number, "file_cut_short", "warning", words))
    rows = [(rule, severity, number, 0, "", message) for number, rule, severity, message in entries]
    rows.extend(
        (note.rule, note.severity, number, note.line, note.column, note.message)
        for number, log in enumerate(logs, start=1)
        for note in log.notes
    )
    return pd.DataFrame(rows, columns=list(FINDINGS))


def _source_file(source: Source, log: RawLog) -> SourceFile:
    """What is kept of a file: what it was, not where it lay."""
    return SourceFile(
        name=source.name,
        sha256=source.sha256,
        size=source.size,
        encoding=source.encoding,
        delimiter=source.delimiter,
        rows=log.rows_in,
    )
