"""What is missing, where and since when: maps of fields by site and by time, with the counts behind them."""

from collections.abc import Sequence

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, rows
from reports.figures.missingness import ShadedMap, key, map_groups
from reports.sections.section import Block, MapBlock
from reports.tables import Column, html_table, plain
from reports.words_for_codes import quarter, stratum
from reports.words_for_columns import column_heading, column_words

EXPECTED = ("required", "one_of", "recommended")
_CALENDAR = ("month", "quarter", "year")
_MOST_SITES, _MOST_TIMES = 12, 16


def missing_maps(results: AuditResults) -> list[Block]:
    """A map by site where the log has sites, and one by time; none where there are no visits."""
    found = rows(results, "missingness")
    return [
        MapBlock(_map(own, by, strata))
        for by in ("site_ref", *_CALENDAR)
        if (own := [row for row in found if row["by"] == by]) and (strata := _shown_strata(own, by))
    ]


def site_map(results: AuditResults) -> list[Block]:
    """The map by site; by time where the log has no sites."""
    return missing_maps(results)[:1]


def most_missing(found: Sequence[Row]) -> Row | None:
    """The row with the largest share missing among the fields that every log should have, of ten rows or more."""
    known = [row for row in found if row["requirement"] in EXPECTED and row["n"] >= wording.FEW]
    row = max(known, key=lambda row: float(row["proportion"]), default=None)
    return row if row is not None and row["events"] else None


def nothing_missing(results: AuditResults) -> str:
    """What to say where no expected field lacks anything."""
    overall = rows(results, "missingness", by="overall", requirement=EXPECTED)
    if not any(row["n"] for row in overall):
        return "No row is used, so nothing can be counted"
    absent = sum(not row["in_log"] for row in overall)
    if not absent:
        return "The fields that every log should have are all filled in"
    have = wording.plural(
        absent, "field that every log should have is", "fields that every log should have are"
    )
    return f"{have} not in this log; the others are filled in"


def _shown_strata(found: Sequence[Row], by: str) -> list[str]:
    """The sites with the most rows, or the latest times, as many as a page holds; in the order of the table."""
    rows_of = {str(row["stratum"]): int(row["n"]) for row in found if row["column"] == "visit_kind"}
    if by in _CALENDAR:
        return list(rows_of)[-_MOST_TIMES:]
    largest = sorted(rows_of, key=lambda name: (-rows_of[name], name))[:_MOST_SITES]
    return [name for name in rows_of if name in largest]


def _map(found: list[Row], by: str, strata: list[str]) -> ShadedMap:
    """One map: the fields from which something is missing, and the expected ones that the log does not have."""
    shown = [row for row in found if str(row["stratum"]) in strata]
    columns = list(dict.fromkeys(str(row["column"]) for row in shown))
    gaps = [
        column
        for column in columns
        if any(row["events"] or _lacks(row) for row in shown if row["column"] == column)
    ]
    across = {name: quarter(name) if by in _CALENDAR else stratum(by, name) for name in strata}
    base = {str(row["stratum"]): wording.count(row["n"]) for row in shown if row["column"] == "visit_kind"}
    name = "site" if by == "site_ref" else by
    return ShadedMap(
        id=f"missing-by-{name}",
        title=_title(shown, name, across),
        note=_note(found, by, strata),
        caption=f"Missing, % of the rows to which a field applies, by {name}",
        across=tuple(across.values()),
        base=tuple(base[one] for one in strata),
        groups=map_groups(shown, strata, gaps),
        key=key(),
        foot=_foot(shown, columns, gaps),
        table=html_table(
            f"Missing, of the rows to which a field applies, by {name}",
            [Column("Field", plain("label"), "label"), *(_counts(one, across[one]) for one in strata)],
            _count_rows(shown),
            foot=_absent(shown),
        ),
    )


def _lacks(row: Row) -> bool:
    """Whether a field that every log should have is not in this one."""
    return not row["in_log"] and row["requirement"] in EXPECTED


def _title(shown: Sequence[Row], name: str, across: dict[str, str]) -> str:
    """The finding: where most is missing."""
    row = most_missing(shown)
    if row is None:
        return f"By {name}, the fields that every log should have are filled in, where they are in this log"
    where = f"at {across[str(row['stratum'])]}" if name == "site" else f"in {across[str(row['stratum'])]}"
    return f"By {name}, most is missing {where}: {column_words(row['column'])}, {wording.proportion(row)}"


def _note(found: Sequence[Row], by: str, strata: Sequence[str]) -> str:
    """How many strata are not drawn."""
    left = len({str(row["stratum"]) for row in found}) - len(strata)
    if not left:
        return ""
    if by in _CALENDAR:
        return f"The latest {len(strata)} are shown; {wording.plural(left, f'earlier {by}')} not."
    return f"The {len(strata)} sites with the most rows are shown; {wording.plural(left, 'other')} not."


def _foot(shown: Sequence[Row], columns: Sequence[str], gaps: Sequence[str]) -> str:
    """Which fields are not in the map, and why."""
    here = {str(row["column"]) for row in shown if row["in_log"]}
    due = {str(row["column"]) for row in shown if row["n"]}
    left = [column for column in columns if column not in gaps]
    parts = [
        (sum(column in due for column in left), "filled in wherever they apply"),
        (sum(column in here - due for column in left), "without a row to which they apply"),
        (sum(column not in here for column in left), "optional and not in this log"),
    ]
    said = wording.listed([f"{wording.plural(number, 'field')} {words}" for number, words in parts if number])
    fields = f"Not drawn: {said}; the counts below name them. " if said else ""
    return f"{fields}What is blank unless something happened, such as a second reason for removal, is no gap."


def _absent(shown: Sequence[Row]) -> str:
    """The fields that the log does not have."""
    names = dict.fromkeys(column_words(row["column"]) for row in shown if not row["in_log"])
    return f"Not in this log: {', '.join(names)}." if names else ""


def _count_rows(shown: Sequence[Row]) -> list[Row]:
    """One row per field of the log, with the row of each stratum under its name."""
    columns = dict.fromkeys(str(row["column"]) for row in shown if row["in_log"])
    return [
        {
            "label": column_heading(column),
            "cells": {str(row["stratum"]): row for row in shown if row["column"] == column},
        }
        for column in columns
    ]


def _counts(name: str, heading: str) -> Column:
    """The column of one stratum: how many of how many, or why there is no count."""

    def said(line: Row) -> str:
        row = line["cells"][name]
        if not row["n"]:
            return "no row"
        return f"{wording.count(row['events'])} of {wording.count(row['n'])}"

    return Column(heading, said)
