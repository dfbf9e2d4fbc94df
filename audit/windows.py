"""A measure in each window and by each stratum, its tables one below the other."""

from collections.abc import Callable, Sequence

import pandas as pd

from audit.period import in_period, twelve_months_to
from audit.records import Period
from audit.tallies import stacked

Tables = dict[str, pd.DataFrame]
WHOLE_LOG = "all"


def windows_of(span: Period) -> dict[str, Period | None]:
    """The three windows of dated figures."""
    return {"period": span, "rolling_12_months": twelve_months_to(span), WHOLE_LOG: None}


def in_windows(
    attempts: pd.DataFrame, span: Period, measure: Callable[[pd.DataFrame], pd.DataFrame]
) -> pd.DataFrame:
    """A measure of attempts in each window."""
    tables = [
        with_window(measure(attempts if window is None else in_period(attempts, window)), name)
        for name, window in windows_of(span).items()
    ]
    return stacked(tables)


def with_window(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The table with its window behind what it is about."""
    labelled = table.copy()
    labelled.insert(min(2, len(labelled.columns)), "window", name)
    return labelled


def each(
    measure: Callable[..., pd.DataFrame], frame: pd.DataFrame, bys: Sequence[str], **fixed: object
) -> pd.DataFrame:
    """A measure stratified in several ways, one table below the other."""
    return stacked([measure(frame, by=by, **fixed) for by in bys])
