"""The guard: a file that can identify a person is refused before anything else is done with it."""

from collections.abc import Sequence

import pandas as pd

from audit.errors import IdentifiersFound, InputRefused
from audit.ingest.identifiers_by_heading import REFERENCES
from audit.ingest.identifiers_columns import STAFF, suspicion_of
from audit.ingest.identifiers_contacts import CONTACT_RULES
from audit.ingest.identifiers_dates import year_of
from audit.ingest.identifiers_file_column import FileColumn, Suspicion
from audit.ingest.identifiers_headings import NAMES, RECORD_NUMBERS
from audit.ingest.identifiers_names import TITLE_RULE
from audit.ingest.identifiers_numbers import NUMBER_RULES
from audit.ingest.identifiers_rules import rule_hits, shape_of
from audit.ingest.identifiers_screen import candidates, evenly
from audit.ingest.identifiers_text import look_hashed
from audit.ingest.masking import masked, shown
from audit.ingest.reasons import FINDINGS
from audit.schema.visits import REQUIRED
from audit.settings import Layout

_NAMED = 5
_REASON = (
    "A file that can identify a person must not be audited, whether the column is read or not. Take it out "
    "of the export and keep the file elsewhere"
)


def refuse_identifiers(
    columns: Sequence[FileColumn], *, where: str, number: int, layout: Layout, keyed: bool = False
) -> pd.DataFrame:
    """Findings on the columns of a file that holds no identifiers, as far as one can see.

    Parameters
    ----------
    columns
        Every column of the file but those left out, read or not.
    where
        Name of the file, for the message.
    number
        Number of the file, from 1, for the findings.
    layout
        Of the settings.
    keyed
        Whether the references of women and staff are replaced by keyed codes as soon as they are read: names
        of staff and hospital record numbers are then let pass, with a finding.

    Returns
    -------
    pandas.DataFrame
        ``rule, severity, source, row, column, message`` with the rules ``unkeyed_hash`` (references that look
        like a hash) and ``identifiers_replaced``. No rows for most files.

    Raises
    ------
    IdentifiersFound
        Names every such column, with its kind and number of rows, never a value; and says how to go on.

    Notes
    -----
    The rules see forms, check digits, dates and words; what has no form (a rare event, a first name alone, a
    number without a check digit) passes. `docs/privacy.md` lists both sides.

    Examples
    --------
    >>> import numpy as np
    >>> from audit.ingest.raw import RawColumn
    >>> contact = RawColumn(("ring rose@example.org",), np.array([0], dtype=np.int32))
    >>> refuse_identifiers([FileColumn(4, "Contact", "", contact)], where="a.csv", number=1, layout=Layout())
    Traceback (most recent call last):
    ...
    audit.errors.IdentifiersFound: a.csv: column 'Contact' seems to hold e-mail addresses (1 of 1 filled rows; ...
    """
    by_name = {column.name: column.raw for column in columns if column.name}
    women = len(by_name["patient_ref"].texts) if "patient_ref" in by_name else 0
    visits = by_name.get("visit_date")
    looked = [suspicion_of(column, layout=layout, visits=visits, women=women) for column in columns]
    found = [suspicion for suspicion in looked if suspicion is not None]
    refused = [suspicion for suspicion in found if not (keyed and _is_replaced(suspicion))]
    if refused:
        raise IdentifiersFound(_refusal(refused, where, keyed))
    replaced = [_finding("identifiers_replaced", number, item.column, _replaced(item)) for item in found]
    hashed = [
        _finding("unkeyed_hash", number, column, _hashed(column))
        for column in columns
        if _may_be_hash(column)
    ]
    return pd.DataFrame([*replaced, *hashed], columns=list(FINDINGS))


def refuse_data_for_headings(headings: Sequence[str], *, where: str, line: int) -> None:
    """Refuse a file whose line of headings holds data, since messages show headings.

    Parameters
    ----------
    headings
        As the file has them.
    where
        Name of the file.
    line
        Line of the headings.

    Raises
    ------
    InputRefused
        A heading is a date or an identifier; it is not shown.

    Examples
    --------
    >>> refuse_data_for_headings(["rose@example.org", "2026-07-01"], where="visits.csv", line=1)
    Traceback (most recent call last):
    ...
    audit.errors.InputRefused: visits.csv: line 1 seems to hold data where the headings should be ...
    """
    if any(looks_like_data(heading) for heading in headings):
        raise InputRefused(
            f"{where}: line {line} seems to hold data where the headings should be (not shown). "
            "Put headings such as patient_ref, visit_date and visit_kind above the rows and run again."
        )


def looks_like_data(heading: str) -> bool:
    """Whether a heading is a date or an identifier rather than a heading.

    Parameters
    ----------
    heading
        As the file has it.

    Returns
    -------
    bool

    Examples
    --------
    >>> looks_like_data("Date seen"), looks_like_data("943 476 5919"), looks_like_data("Mrs Example")
    (False, True, True)
    """
    if year_of(heading) >= 0:
        return True
    cells = candidates([heading]).cells
    rules = (*CONTACT_RULES, *NUMBER_RULES, TITLE_RULE)
    shape = shape_of(cells, distinct=len(cells), declared=False)
    return any(rule_hits(rule, cells, shape) for rule in rules)


def column_label(position: int, heading: str) -> str:
    """How messages name a column: by its heading, or by its number when it has none that may be shown.

    Parameters
    ----------
    position
        From 0.
    heading
        As the file has it.

    Returns
    -------
    str

    Examples
    --------
    >>> column_label(3, "Contact"), column_label(3, ""), column_label(3, "W00172")
    ("column 'Contact'", 'column 4', "column 4 (headed 'a99999')")
    """
    if not heading:
        return f"column {position + 1}"
    if looks_like_data(heading) or shown(heading) == masked(heading):
        return f"column {position + 1} (headed '{masked(heading)}')"
    return f"column '{shown(heading)}'"


def _is_replaced(suspicion: Suspicion) -> bool:
    """Whether keyed codes take the place of what was found."""
    name, kind = suspicion.column.name, suspicion.kind
    return (name in STAFF and kind == NAMES) or (name == "patient_ref" and kind == RECORD_NUMBERS)


def _refusal(refused: Sequence[Suspicion], where: str, keyed: bool) -> str:
    """The message: which columns, what they seem to hold, and how to go on."""
    named = [
        f"{column_label(item.column.position, item.column.heading)} seems to hold {item.kind} "
        f"({item.rows:,} of {item.filled:,} filled rows)"
        for item in refused[:_NAMED]
    ]
    more = f" and {len(refused) - _NAMED:,} more columns" if len(refused) > _NAMED else ""
    first = f"{named[0][:-1]}; no value is shown)"
    return f"{where}: {', '.join([first, *named[1:]])}{more}. {_REASON}{_how_to_go_on(refused, keyed)}"


def _how_to_go_on(refused: Sequence[Suspicion], keyed: bool) -> str:
    """What can be done besides taking the columns out."""
    ways = []
    free = [item.column for item in refused if item.column.name not in REQUIRED]
    if free:
        options = " ".join(f"--drop-column {_option(column)}" for column in free[:_NAMED])
        ways.append(f"go on without it with {options} (drop_columns in Python)")
    if len(free) < len(refused):
        ways.append("write a code of the service's own, the same at every visit, in its place")
    if not keyed and any(_is_replaced(item) for item in refused):
        ways.append("have it replaced by keyed codes with --key FILE (key in Python)")
    return f"; or {'; or '.join(ways)}."


def _option(column: FileColumn) -> str:
    """The column as the command line takes it: its heading, or its number where that cannot be shown."""
    label = column_label(column.position, column.heading)
    usable = label == f"column '{column.heading}'" and '"' not in column.heading
    return f'"{column.heading}"' if usable else str(column.position + 1)


def _may_be_hash(column: FileColumn) -> bool:
    """Whether a column of references, or one that is not read, looks hashed."""
    if column.name and column.name not in (*REFERENCES, *STAFF):
        return False
    return look_hashed(evenly(column.raw.texts, most=1000))


def _hashed(column: FileColumn) -> str:
    """The sentence on references that look like a hash."""
    return (
        f"{column_label(column.position, column.heading)}: the values look like a hash. Without a secret key a "
        "hash of a name or a health-service number is undone by trying them all. Were they made with a key?"
    )


def _replaced(item: Suspicion) -> str:
    """The sentence on identifiers that keyed codes replace."""
    return (
        f"{column_label(item.column.position, item.column.heading)}: seems to hold {item.kind} and is replaced "
        "by keyed codes. The file itself still holds them: keep it where such files may be kept."
    )


def _finding(rule: str, number: int, column: FileColumn, message: str) -> tuple[str, str, int, int, str, str]:
    """One finding on a whole column."""
    return (rule, "warning", number, 0, column.name, message)
