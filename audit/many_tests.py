"""The p-values of one audit's comparisons, adjusted for how many there are."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from audit.statistics.multiplicity import adjusted_p_values
from audit.windows import WHOLE_LOG

# The family is declared before anybody looks: every comparison of groups, and no term of a model nor check of an
# assumption. Those of one window stand together; curves follow the whole log and stand with it.
FAMILY = (
    *("failed_insertion_contrasts", "vasovagal_contrasts", "vasovagal_adjusted"),
    *("expulsion_tests", "continuation_tests", "continuation_differences"),
)


def with_adjusted_p_values(tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The result tables with ``adjusted_p_value`` behind the p-values of the declared family.

    Parameters
    ----------
    tables
        Result tables by name; those of `FAMILY` that are there are adjusted together, window by window
        (Benjamini and Hochberg), the others stay as they are.

    Returns
    -------
    dict
        The same tables in the same order. An adjusted value is nan where no test could be made.
    """
    family = {name: tables[name] for name in FAMILY if name in tables and len(tables[name])}
    if not family:
        return dict(tables)
    told = pd.concat(
        [
            pd.DataFrame({"table": name, "window": _window(table), "p": table["p_value"].astype("float64")})
            for name, table in family.items()
        ],
        ignore_index=True,
    )
    told["adjusted"] = np.nan
    for rows in told.groupby("window", sort=False).indices.values():
        adjusted = adjusted_p_values(told["p"].to_numpy()[rows])["adjusted_p_value"]
        told.loc[rows, "adjusted"] = adjusted.to_numpy()
    own = {name: rows["adjusted"].to_numpy() for name, rows in told.groupby("table", sort=False)}
    return {name: _beside(table, own[name]) if name in own else table for name, table in tables.items()}


def _window(table: pd.DataFrame) -> pd.Series:
    """The window of each row; that of the whole log where a table has none."""
    return table["window"] if "window" in table else pd.Series(WHOLE_LOG, index=table.index)


def _beside(table: pd.DataFrame, adjusted: np.ndarray) -> pd.DataFrame:
    """The table with the adjusted values behind its p-values."""
    wider = table.copy()
    wider.insert(list(table.columns).index("p_value") + 1, "adjusted_p_value", adjusted)
    return wider
