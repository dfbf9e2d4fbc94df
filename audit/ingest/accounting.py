"""Rows in, used and set aside: they must add up, and not too many may be left out."""

from collections.abc import Sequence

import pandas as pd

from audit.errors import InputRefused
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


def refuse_too_many(accounting: pd.DataFrame, *, where: str, limit: float) -> None:
    """Refuse a log of which too much would be left out.

    Parameters
    ----------
    accounting
        From `account_rows`.
    where
        Name of the first file, for the message.
    limit
        Largest share of the rows that may be set aside, 0 to 1. Repeated rows and those after the last day
        do not count: the first lose nothing, the second were the user's choice.

    Raises
    ------
    InputRefused
        The message gives the three main reasons and how to go on.
    """
    rows_in = int(accounting.loc[accounting["disposition"] == "in", "n"].sum())
    aside = accounting[(accounting["disposition"] == "set_aside") & ~accounting["reason"].isin(_HARMLESS)]
    reasons = aside.groupby("reason")["n"].sum().sort_values(ascending=False, kind="stable")
    if rows_in == 0 or reasons.sum() <= limit * rows_in:
        return
    top = "; ".join(f"{n:,} {reason}" for reason, n in reasons.head(3).items())
    raise InputRefused(
        f"{where}: {int(reasons.sum()):,} of {rows_in:,} rows cannot be used, more than the "
        f"{limit:.0%} that the settings allow. Main reasons: {top}. Correct the log, or run again with "
        "allow_set_aside (--allow-set-aside on the command line)."
    )
