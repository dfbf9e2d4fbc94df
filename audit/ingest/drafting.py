"""A settings file drafted from the headings and codes of a log, for a person to read and correct."""

from collections.abc import Sequence
from pathlib import Path

from audit.errors import MissingColumns
from audit.ingest.drafting_columns import FileColumn, file_columns
from audit.ingest.drafting_headings import PARTLY_ALIKE, SURE, Proposal, heading_likeness, propose_columns
from audit.ingest.drafting_page import draft_page
from audit.ingest.drafting_privacy import shown_heading
from audit.ingest.identifiers_headings import kind_of_heading
from audit.ingest.raw import Source
from audit.ingest.read import open_source
from audit.schema.indicators import INDICATORS
from audit.schema.visits import ONE_OF, REQUIRED, VISITS
from audit.settings import AuditSettings, Layout


def draft_settings(paths: Sequence[str | Path] | str | Path, *, sheet: str = "") -> str:
    """A settings file for a log, proposed from its headings and codes.

    Parameters
    ----------
    paths
        One file or several that are read as one log: CSV and its relatives, .xlsx or Parquet.
    sheet
        Name of the sheet of a workbook; "" where there is only one.

    Returns
    -------
    str
        TOML that `audit.read_settings` accepts. What is sure is active; what is likely or a guess stands
        behind a #, each with its reason. Below it stands what is left unmapped and which figures that costs.
        The same files give the same text.

    Raises
    ------
    UnreadableFile
        A file that is not a table in a form we read.
    MissingColumns
        No heading is recognised, or a later line seems to hold the headings.
    ValueError
        No path.

    Notes
    -----
    Words are compared by what they mean before values have a say, and letters come last. The order of day and
    month, the decimal sign and the units are judged on whole columns, never on a cell. A draft repeats no
    reference, date or free text: only headings, and words of columns with 40 different ones at most.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "log.csv")
    ...     lines = ["Client no,Date seen,Visit type,Result", "A1,31/07/2026,Fitting,Coil fitted"]
    ...     _ = path.write_text("\\n".join([*lines, "A2,30/07/2026,Fitting,Could not fit"]) + "\\n")
    ...     draft = draft_settings(path)
    >>> [line for line in draft.splitlines() if line.startswith('"')]  # doctest: +NORMALIZE_WHITESPACE
    ['"Fitting" = "insertion"  # sure: 2 rows; these words mean this code',
     '"Coil fitted" = "placed"  # sure: 1 row; these words mean this code',
     '"Could not fit" = "failed"  # sure: 1 row; these words mean this code']
    """
    listed = [paths] if isinstance(paths, str | Path) else list(paths)
    if not listed:
        raise ValueError("paths must name at least one file, got none")
    settings = AuditSettings(layout=Layout(sheet=sheet))
    sources = [open_source(path, settings=settings) for path in listed]
    _refuse_unknown_headings(sources)
    columns, rows = file_columns(sources)
    proposals = propose_columns(columns)
    page = draft_page(proposals, files=len(sources), rows=rows, sheet=sheet)
    return page + "\n".join(["", *_left_out(columns, proposals), *_costs(proposals)]) + "\n"


def _refuse_unknown_headings(sources: Sequence[Source]) -> None:
    """Refuse a file whose first line holds none of our headings, and say where they seem to stand."""
    for source in sources:
        if _recognised(source.headings) >= len(REQUIRED):
            continue
        for number, cells in enumerate(source.first_lines, start=1):
            if number > source.heading_line and _recognised(cells) >= len(REQUIRED):
                raise MissingColumns(
                    f"{source.name}: the headings seem to stand on line {number}. "
                    "Remove the lines above them and run again."
                )
        if not _recognised(source.headings):
            raise MissingColumns(
                f"{source.name}: no heading is recognised. Is the first line a line of headings? "
                "If it is, write the settings by hand, starting from the data dictionary."
            )


def _recognised(headings: Sequence[str]) -> int:
    """How many headings mean one of our columns, at least in part."""
    return sum(
        any(heading_likeness(heading, column)[0] > PARTLY_ALIKE for column in VISITS.columns)
        for heading in headings
        if heading and not kind_of_heading(heading)
    )


def _left_out(columns: Sequence[FileColumn], proposals: Sequence[Proposal]) -> list[str]:
    """The headings that are proposed for nothing, with what to do about those that may not be here at all."""
    used = {proposal.values.heading for proposal in proposals}
    left = [values for values in columns if values.heading not in used]
    persons = [values.heading for values in left if kind_of_heading(values.heading)]
    twice = [values.heading for values in left if values.twice]
    others = [
        values.heading for values in left if values.heading not in persons and values.heading not in twice
    ]
    lines = _listed("Headings that are left unmapped", others)
    lines += _listed("Headings that stand on two columns; rename one and draft again", twice)
    lines += _listed("Columns that may say who a woman is; take them out of the export", persons)
    return lines


def _listed(title: str, headings: Sequence[str]) -> list[str]:
    """A titled list of headings; nothing when it is empty."""
    return (
        ["#", f"# {title}:", *(f"#   {shown_heading(heading)}" for heading in headings)] if headings else []
    )


def _costs(proposals: Sequence[Proposal]) -> list[str]:
    """What the log cannot give with the sure lines alone, and what the other lines would add."""
    sure = {proposal.column.name for proposal in proposals if proposal.certainty == SURE}
    all_names = {proposal.column.name for proposal in proposals}
    lines = []
    missing = [name for name in REQUIRED if name not in sure]
    if missing:
        lines.append(f"#   no audit at all without {' and '.join(missing)}{_hint(missing, all_names)}")
    if not sure & set(ONE_OF):
        lines.append(f"#   no audit at all without one of {', '.join(ONE_OF)}{_hint(ONE_OF, all_names)}")
    for indicator in INDICATORS:
        lacking = [group for group in indicator.needs if not sure & set(group)]
        if lacking:
            needed = "; ".join(" or ".join(group) for group in lacking)
            hint = " (a line above would add it)" if all(all_names & set(group) for group in lacking) else ""
            lines.append(f"#   {indicator.title}: needs {needed}{hint}")
    title = (
        "# With the active lines alone these figures are missing:" if lines else "# Every figure can be made."
    )
    return ["#", title, *lines]


def _hint(names: Sequence[str], proposed: set[str]) -> str:
    """Words that point at a proposal behind a #."""
    return " (see the lines behind a # above)" if proposed & set(names) else ""
