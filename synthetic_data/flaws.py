"""The same log as a clinic would export it: own words, and flaws whose every instance is written down."""

import csv
import io
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from audit.schema.visits import VISITS
from synthetic_data.care import CARE_COLUMNS, STREAM
from synthetic_data.clinic_words import HEADINGS, words_of

YES_SPELLINGS = ("Y", "yes", "Yes", "y")
NO_SPELLINGS = ("N", "no", "No", "n")
BLANK_SPELLINGS = ("", "", "-")

# Shares are of the rows that hold a value there.
BLANKED_SHARES = {
    "vasovagal_grade": 0.06,
    "perforation_suspected": 0.04,
    "insertion_outcome": 0.006,
    "pain_score": 0.03,
    "clinician_ref": 0.002,
}
PARITY_BLANKED = 0.012
# column, what is written instead, how many rows, what an import has to do with them
SPOILT = (
    ("visit_date", "31/02/2025", 2, "row_unusable"),
    ("visit_date", "", 2, "row_unusable"),
    ("age_years", "230", 2, "value_unusable"),
    ("insertion_outcome", "See letter", 3, "row_unusable"),
    ("sound_length_mm", "75", 3, "value_unusable"),
)
DUPLICATED_ROWS = 6
SHORT_ROWS = 2
FEWEST_INSERTIONS = 100
SHORT_ROW_CELLS = 9

Text = npt.NDArray[np.object_]


@dataclass(frozen=True)
class ClinicExport:
    """A clinic's export and its ledger of flaws.

    Attributes
    ----------
    text
        The CSV file: one heading line, then one line per row.
    ledger
        One row per flawed cell or line: ``line`` (of the file, the heading is 1), ``flaw``, ``column`` (ours,
        blank for whole lines), ``effect``: ``row_unusable``, ``value_unusable``, ``blank`` or ``duplicate``.
    """

    text: str
    ledger: pd.DataFrame


def export_as_clinic(visits: pd.DataFrame, *, seed: int) -> ClinicExport:
    """The log as the invented clinic's own system would write it, and the ledger of its flaws.

    Parameters
    ----------
    visits
        A clean log from `synthetic_data.generate.generate_visits`, with at least 100 insertions.
    seed
        Same seed and log, same bytes.

    Returns
    -------
    ClinicExport
        Headings and codes in the clinic's words, dates dd/mm/yyyy, lengths in cm, flags in mixed spellings;
        some cells blank, some impossible, some lines short or twice. A row carries at most one flaw beside
        blanks.

    Raises
    ------
    ValueError
        The log is too short to carry the flaws.

    Examples
    --------
    >>> from synthetic_data.generate import generate_visits
    >>> export = export_as_clinic(generate_visits(seed=1), seed=1)
    >>> export.text[:28]
    'Client no,Visit no,Date seen'
    >>> int((export.ledger["effect"] == "duplicate").sum())
    6
    """
    insertions = int(visits["insertion_outcome"].notna().sum())
    if insertions < FEWEST_INSERTIONS:
        raise ValueError(f"visits must hold at least {FEWEST_INSERTIONS} insertions, got {insertions}")
    rng = np.random.default_rng(seed)
    # Care is spelt from a stream of its own, so that the flaws do not move when its columns change.
    apart = np.random.default_rng([seed, STREAM])
    cells = {name: _spelt(visits, name, apart if name in CARE_COLUMNS else rng) for name in visits.columns}
    ledger = [*_blank_cells(cells, rng), *_blank_parity(cells, rng)]
    flawed = {row for row, *_ in ledger}
    ledger += _spoil_cells(cells, flawed, rng)
    whole = np.array(sorted(set(range(len(visits))) - {row for row, *_ in ledger}))
    chosen = rng.choice(whole, DUPLICATED_ROWS + SHORT_ROWS, replace=False)
    twice, short = chosen[:DUPLICATED_ROWS], chosen[DUPLICATED_ROWS:]
    ledger += [(int(row), "short line", "", "row_unusable") for row in short]
    return _written(cells, ledger, twice, short)


Entry = tuple[int, str, str, str]


def _spelt(visits: pd.DataFrame, name: str, rng: np.random.Generator) -> Text:
    """One column in the clinic's words; blanks as it leaves them."""
    column, values = VISITS[name], visits[name].astype(object).to_numpy()
    blank = pd.isna(values)
    if column.kind == "flag":
        yes, no = (
            rng.choice(np.array(words, dtype=object), len(values)) for words in (YES_SPELLINGS, NO_SPELLINGS)
        )
        empty = rng.choice(np.array(BLANK_SPELLINGS, dtype=object), len(values))
        return np.where(blank, empty, np.where(values == "yes", yes, no))
    words = {value: _word(name, value) for value in pd.unique(values[~blank])}
    return np.array([words.get(value, "") for value in values], dtype=object)


def _word(name: str, value: str) -> str:
    """One value as the clinic writes it."""
    column = VISITS[name]
    if column.kind == "date":
        year, month, day = value.split("-")
        return f"{day}/{month}/{year}"
    if column.kind == "code":
        return words_of(name)[value]
    return f"{float(value) / 10:g}" if column.unit == "mm" else value


def _blank_cells(cells: dict[str, Text], rng: np.random.Generator) -> list[Entry]:
    """Blank a share of some columns, in place."""
    entries = []
    for name, share in BLANKED_SHARES.items():
        held = np.flatnonzero(cells[name] != "")
        rows = np.sort(rng.choice(held, round(share * len(held)), replace=False))
        cells[name][rows] = ""
        entries += [(int(row), f"{name} left blank", name, "blank") for row in rows]
    return entries


def _blank_parity(cells: dict[str, Text], rng: np.random.Generator) -> list[Entry]:
    """Blank both kinds of birth in the same rows, in place."""
    held = np.flatnonzero(cells["vaginal_births"] != "")
    rows = np.sort(rng.choice(held, round(PARITY_BLANKED * len(held)), replace=False))
    for name in ("vaginal_births", "caesarean_births"):
        cells[name][rows] = ""
    return [(int(row), "births left blank", "vaginal_births", "blank") for row in rows]


def _spoil_cells(cells: dict[str, Text], flawed: set[int], rng: np.random.Generator) -> list[Entry]:
    """Write what cannot be, each in rows of its own, in place."""
    entries: list[Entry] = []
    for name, written, count, effect in SPOILT:
        held = set(np.flatnonzero(cells[name] != "").tolist()) - flawed - {entry[0] for entry in entries}
        rows = np.sort(rng.choice(np.array(sorted(held)), count, replace=False))
        cells[name][rows] = written
        flaw = f"{name} is '{written}'" if written else f"{name} left blank"
        entries += [(int(row), flaw, name, effect) for row in rows]
    return entries


def _written(cells: dict[str, Text], ledger: list[Entry], twice: Text, short: Text) -> ClinicExport:
    """The file and the ledger with line numbers of that file."""
    size = len(next(iter(cells.values())))
    order = np.sort(np.concatenate([np.arange(size), twice]))
    line_of = np.searchsorted(order, np.arange(size)) + 2
    entries = [(int(line_of[row]), *rest) for row, *rest in ledger]
    entries += [(int(line_of[row]) + 1, "line twice", "", "duplicate") for row in twice]
    table = pd.DataFrame(entries, columns=["line", "flaw", "column", "effect"])
    rows = np.column_stack(list(cells.values()))
    lines = [
        list(rows[row][:SHORT_ROW_CELLS]) if row in set(short.tolist()) else list(rows[row]) for row in order
    ]
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow([HEADINGS[name] for name in cells])
    writer.writerows(lines)
    return ClinicExport(file.getvalue(), table.sort_values("line", kind="stable", ignore_index=True))
