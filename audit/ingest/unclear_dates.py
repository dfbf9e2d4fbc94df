"""Dates are never guessed: a log that would need it is refused with one sentence."""

from audit.errors import InputRefused
from audit.ingest.joined import Joined
from audit.ingest.raw import Flags
from audit.ingest.readings import Readings, is_missing, on_rows

_MIXED_ORDER_SHARE = 0.05


def refuse_unclear_dates(read: Readings, joined: Joined) -> None:
    """Refuse a log whose visit dates would have to be guessed.

    Parameters
    ----------
    read
        The column `visit_date`.
    joined
        Where the rows stand.

    Raises
    ------
    InputRefused
        Most dates have day and month by number and no order is declared; or more than 5 in 100 are dates
        only in the order that is not declared, so that others may be read the wrong way round.
    """
    written = int(on_rows(read, read.reasons != "blank").sum())
    undeclared = on_rows(read, read.reasons == "date_order_not_declared")
    if undeclared.sum() > written / 2:
        raise InputRefused(
            f"visit_date: {int(undeclared.sum()):,} of {written:,} dates have day and month by number, and "
            'nothing says which comes first. Set date_order = "day_month_year" or "month_day_year" '
            "in the settings under [layout]."
        )
    other = on_rows(read, read.reasons == "other_date_order")
    if other.sum() > written * _MIXED_ORDER_SHARE:
        declared = on_rows(read, ~is_missing(read))
        raise InputRefused(
            "visit_date: two orders of day and month are used in one column: the declared one "
            f"({_lines(joined, declared)}) and the other ({_lines(joined, other)}). "
            "Write all dates as 2026-09-30 and run again."
        )


def _lines(joined: Joined, rows: Flags) -> str:
    """The lines of some rows, five at most."""
    lines = joined.row[rows]
    more = f" and {len(lines) - 5:,} more" if len(lines) > 5 else ""
    return f"line {', '.join(str(line) for line in lines[:5])}{more}" if len(lines) else "no line"
