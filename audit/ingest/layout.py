"""Which heading of a clinic's log feeds which of our columns."""

import re
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches

from audit.errors import InputRefused, MissingColumns, name_a_few
from audit.ingest.masking import shown
from audit.ingest.raw import Source
from audit.schema.visits import ONE_OF, REQUIRED, VISITS
from audit.settings import Layout

_GAPS = re.compile(r"[\s_\-]+")
_HINT = "Map it in the settings under [layout.headings]; iud-audit draft-settings proposes how."


def plain_heading(heading: str) -> str:
    """The heading in lower case with single spaces for spaces, underscores and hyphens.

    Parameters
    ----------
    heading
        As the log writes it.

    Returns
    -------
    str

    Examples
    --------
    >>> plain_heading("  Clinician_Code ")
    'clinician code'
    """
    return _GAPS.sub(" ", heading.replace("\u200b", "").replace("\ufeff", "")).strip().casefold()


def match_headings(source: Source, layout: Layout) -> dict[str, int]:
    """The position of the heading that feeds each of our columns, in the order of the schema.

    Parameters
    ----------
    source
        An opened file.
    layout
        `headings` maps our columns to headings; a column it does not name is looked for under its own name.

    Returns
    -------
    dict
        Our column name -> position, from 0. Columns the file does not have are absent.

    Raises
    ------
    InputRefused
        Two headings that would feed the same column are alike.
    MissingColumns
        A required column, or every outcome column, is missing.
    """
    places: dict[str, list[int]] = {}
    for position, heading in enumerate(source.headings):
        places.setdefault(plain_heading(heading), []).append(position)
    matched = {}
    for name in VISITS.names:
        found = places.get(plain_heading(layout.headings.get(name, name)), [])
        if len(found) > 1:
            raise InputRefused(
                f"{source.name}: the heading '{shown(source.headings[found[0]])}' stands on "
                f"{len(found)} columns. Rename or remove all but one."
            )
        if found:
            matched[name] = found[0]
    _refuse_missing(matched, source, layout)
    return matched


def refuse_unknown_headings(sources: Sequence[Source], layout: Layout) -> None:
    """Refuse settings that name a heading which none of the files has.

    Parameters
    ----------
    sources
        The opened files.
    layout
        Of the settings.

    Raises
    ------
    MissingColumns
        The message names the heading, the nearest ones and those found.
    """
    found = {plain_heading(heading) for source in sources for heading in source.headings}
    for name, heading in layout.headings.items():
        if plain_heading(heading) not in found:
            source = sources[0]
            _refuse_lines_above(source, layout)
            raise MissingColumns(
                f"{source.name}: no heading '{heading}', which the settings name for {name}. "
                f"{_nearest(heading, source)}{_found(source)} "
                "Correct it in the settings under [layout.headings]."
            )


def _refuse_missing(matched: Mapping[str, int], source: Source, layout: Layout) -> None:
    """Refuse a file without the columns that every audit needs."""
    missing = [name for name in REQUIRED if name not in matched]
    outcomes = any(name in matched for name in ONE_OF)
    if not missing and outcomes:
        return
    _refuse_lines_above(source, layout)
    if missing:
        near = _nearest(missing[0], source, matched.values())
        raise MissingColumns(
            f"{source.name}: no column for {name_a_few(missing)}. {near}{_found(source)} {_HINT}"
        )
    raise MissingColumns(
        f"{source.name}: no column for an outcome; at least one of {name_a_few(list(ONE_OF))} is needed. "
        f"{_nearest(ONE_OF[0], source, matched.values())}{_found(source)} {_HINT}"
    )


def _refuse_lines_above(source: Source, layout: Layout) -> None:
    """Refuse a file whose headings stand further down."""
    line = _line_of_headings(source, layout)
    if line:
        raise MissingColumns(
            f"{source.name}: the headings seem to stand on line {line}. "
            "Remove the lines above them and run again."
        )


def _line_of_headings(source: Source, layout: Layout) -> int | None:
    """The later line on which the required headings stand, if one of the first lines has them."""
    wanted = {plain_heading(layout.headings.get(name, name)) for name in REQUIRED}
    for number, cells in enumerate(source.first_lines, start=1):
        if number > source.heading_line and wanted <= {plain_heading(cell) for cell in cells}:
            return number
    return None


def _nearest(name: str, source: Source, taken: Iterable[int] = ()) -> str:
    """A sentence with the headings most like a name, those already in use left out."""
    free = [heading for position, heading in enumerate(source.headings) if position not in set(taken)]
    headings = {_sorted_words(heading): heading for heading in reversed(free) if heading}
    near = get_close_matches(_sorted_words(name), list(headings), n=2, cutoff=0.6)
    quoted = " or ".join(f"'{shown(headings[match])}'" for match in near)
    return f"Nearest heading: {quoted}. " if near else ""


def _sorted_words(heading: str) -> str:
    """The words of a heading in order of the alphabet, so that "date of visit" is like "visit date"."""
    return " ".join(sorted(plain_heading(heading).split()))


def _found(source: Source) -> str:
    """A sentence with the headings the file has."""
    return f"Found: {name_a_few([shown(heading) for heading in source.headings if heading])}."
