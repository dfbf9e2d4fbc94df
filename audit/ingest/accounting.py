"""Rows in, used and set aside: they must add up, and not too many may be left out."""

from collections.abc import Sequence

import pandas as pd

from audit.errors import InputRefused, counted
from audit.ingest.raw import RawLog
from audit.ingest.reasons import ACCOUNTING

# Set aside by a rule that the user set or that loses nothing; no sign of a log that was misread.
_HARMLESS = ("duplicate_row", "after_data_to")


def account_rows(logs: Sequence[RawLog], visits: pd.DataFrame, set_aside: pd.DataFrame) -> pd.DataFrame:
    """What became of the rows of each file.

    Parameters
    ----------
    logs
        The rows of each file as text; the first file is number 1.
    visits
        The rows used.
    set_aside
        The rows set aside, with their reasons.

    Returns
    -------
    pandas.DataFrame
        ``source, disposition, reason, n``: per file one line ``in``, one ``used``, one ``set_aside`` for each
        reason, and one ``blank_line`` for each kind of blank line, which are no rows.

    Raises
    ------
    RuntimeError
        Rows in differ from rows used and set aside: a fault of this package, never of the log.
    """
    entries = []
    for number, log in enumerate(logs, start=1):
        aside = set_aside.loc[set_aside["source"] == number, "reason"].value_counts().sort_index()
        used = int((visits["source"] == number).sum())
        if log.rows_in != used + int(aside.sum()):
            raise RuntimeError(
                f"row accounting of file {number}: {log.rows_in} rows in, {used} used, "
                f"{int(aside.sum())} set aside"
            )
        entries += [(number, "in", "", log.rows_in), (number, "used", "", used)]
        entries += [(number, "set_aside", str(reason), int(n)) for reason, n in aside.items()]
        entries += [(number, "blank_line", reason, n) for reason, n in log.blank_lines.items()]
    return pd.DataFrame(entries, columns=list(ACCOUNTING))


def refuse_too_many(accounting: pd.DataFrame, set_aside: pd.DataFrame, *, where: str, limit: float) -> None:
    """Refuse a log of which too much would be left out.

    Parameters
    ----------
    accounting
        From `account_rows`.
    set_aside
        The rows set aside, with the column, the line and the reason of each.
    where
        Name of the first file, for the message.
    limit
        Largest share of the rows that may be set aside, 0 to 1. Repeated rows and those after the last day
        do not count: the first lose nothing, the second were the user's choice.

    Raises
    ------
    InputRefused
        The message gives the three main reasons, each with its first line, and how to go on.
    """
    rows_in = int(accounting.loc[accounting["disposition"] == "in", "n"].sum())
    lost = set_aside[~set_aside["reason"].isin(_HARMLESS)]
    if rows_in == 0 or len(lost) <= limit * rows_in:
        return
    raise InputRefused(
        f"{where}: {len(lost):,} of {rows_in:,} rows cannot be used, more than the {limit:.0%} that the settings "
        f"allow. Most often: {_main_reasons(lost)}. Correct the log or the settings, or go on without these rows "
        "with --allow-set-aside (allow_set_aside in Python)."
    )


def _main_reasons(lost: pd.DataFrame) -> str:
    """The three main reasons for rows set aside: what is wrong where, on how many rows, and on which first."""
    groups = lost.groupby(["column", "reason"], sort=True)
    named = [(len(rows), column, rows.iloc[0]) for (column, _), rows in groups]
    named.sort(key=lambda item: -item[0])
    return "; ".join(
        f"{_what(row['message'], str(column))} ({counted(number, 'row')}, first on line {row['row']})"
        for number, column, row in named[:3]
    )


def _what(message: str, column: str) -> str:
    """The first sentence of a message, which says what is wrong."""
    said = message.partition(". ")[0].removesuffix(".")
    return said if column else f"{said[:1].lower()}{said[1:]}"
