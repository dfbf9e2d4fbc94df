"""Charting by exception: columns in which a service writes only what happened, so that a blank means no."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from audit.errors import SettingsError, counted
from audit.ingest.raw import Flags
from audit.ingest.reasons import FINDINGS
from audit.schema.column import Column
from audit.schema.visits import VISITS
from audit.settings import AuditSettings

_KINDS = {
    "insertion": ("insertion", "removal_and_replacement"),
    "follow_up": ("follow_up", "unscheduled", "remote_contact"),
    "removal": ("removal", "removal_and_replacement"),
}


def charted_by_exception(
    visits: pd.DataFrame, blank: Mapping[str, Flags], settings: AuditSettings
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Visits in which a blank of the declared columns reads no, and one finding per column with the count.

    Parameters
    ----------
    visits
        The table of visits.
    blank
        For each declared column, the rows on which nothing is written. What is written but unknown, or
        cannot be read, is no blank.
    settings
        `charted_by_exception` names the columns.

    Returns
    -------
    visits : pandas.DataFrame
        Filled only on visits of the kind the column belongs to.
    findings : pandas.DataFrame
        ``rule, severity, source, row, column, message``; source and row are 0, for the whole log.

    Raises
    ------
    SettingsError
        A declared column has no value that means no.
    """
    if not blank:
        return visits, pd.DataFrame(columns=list(FINDINGS))
    filled = visits.copy()
    findings = []
    for name, cells in blank.items():
        rows = cells & _belongs(visits, VISITS[name])
        filled.loc[rows, name] = _no(VISITS[name])
        findings.append(
            {
                "rule": "charted_by_exception",
                "severity": "notice",
                "source": 0,
                "row": 0,
                "column": name,
                "message": f"{name}: {counted(int(rows.sum()), 'blank')} read as no, as the settings declare.",
            }
        )
    return filled, pd.DataFrame(findings, columns=list(FINDINGS))


def _no(column: Column) -> str | bool | float:
    """The value of a column that means no."""
    if column.kind == "flag":
        return False
    if column.kind in ("integer", "number"):
        return 0.0
    for code in ("no", "none"):
        if code in column.codes:
            return code
    raise SettingsError(
        f"settings, charted_by_exception: '{column.name}' has no value that means no. Take it off the list."
    )


def _belongs(visits: pd.DataFrame, column: Column) -> Flags:
    """The visits of the kinds that the column belongs to."""
    if column.rows == ("all",):
        return np.ones(len(visits), dtype=np.bool_)
    kinds = [kind for rows in column.rows for kind in _KINDS[rows]]
    return visits["visit_kind"].isin(kinds).to_numpy(dtype=np.bool_)
