"""Rows that are in the log twice: an export run over, or two files that overlap."""

import numpy as np
import pandas as pd

from audit.ingest.raw import Flags

_DAYS = 1 << 20


def share_woman_and_day(visits: pd.DataFrame) -> Flags:
    """Which visits share their woman and their day with another.

    Parameters
    ----------
    visits
        The table of visits, its women numbered from 0.

    Returns
    -------
    numpy.ndarray
        One bool per visit.
    """
    days = visits["visit_date"].to_numpy().astype("datetime64[D]").astype(np.int64)
    # One number for both, sorted: several times faster than pandas, which numbers either column first.
    both = visits["patient_ref"].to_numpy(dtype=np.int64) * _DAYS + days
    ordered = np.sort(both)
    shared = ordered[1:][ordered[1:] == ordered[:-1]]
    return pd.Series(both).isin(shared).to_numpy(dtype=np.bool_)


def repeated_rows(visits: pd.DataFrame) -> pd.DataFrame:
    """The visits that repeat an earlier one in every column read, and which.

    Parameters
    ----------
    visits
        The table of visits.

    Returns
    -------
    pandas.DataFrame
        ``source, row`` of the earlier visit, with the index of the visit that repeats it. Two unknown values
        count as equal.
    """
    # Few rows share woman and day, so only those are compared in full.
    candidates = visits[share_woman_and_day(visits)].drop(columns=["source", "row"])
    if candidates.empty:
        return visits.loc[visits.index[:0], ["source", "row"]]
    # As plain numbers, so that two unknowns are alike whatever the dtype.
    numbers = candidates.apply(lambda column: pd.factorize(column, use_na_sentinel=False)[0])
    group = numbers.groupby(list(numbers.columns), sort=False).ngroup()
    repeated = group[group.duplicated()]
    first = group[~group.duplicated()]
    original = repeated.map(pd.Series(first.index, index=first.to_numpy()))
    return visits.loc[original, ["source", "row"]].set_axis(repeated.index)


def repeats_set_aside(visits: pd.DataFrame, repeats: pd.DataFrame) -> pd.DataFrame:
    """The repeated rows in the form of the table of rows set aside.

    Parameters
    ----------
    visits
        The table of visits.
    repeats
        From `repeated_rows`.

    Returns
    -------
    pandas.DataFrame
        ``source, row, column, reason, value, message``.
    """
    messages = [
        f"The same in every column read as line {row} of file {source}. Remove one of them."
        for source, row in zip(repeats["source"], repeats["row"], strict=True)
    ]
    return visits.loc[repeats.index, ["source", "row"]].assign(
        column="", reason="duplicate_row", value="", message=np.array(messages, dtype=object)
    )
