"""Can these data be believed: rows used, fields recorded, what was doubtful, and which figures are off."""

from collections.abc import Collection

import numpy as np
import pandas as pd

from audit.schema.column import Column
from audit.schema.indicators import INDICATORS
from audit.schema.visits import VISITS
from audit.statistics.summaries import with_proportions

_ROWS = {
    "insertion": ("insertion", "removal_and_replacement"),
    "follow_up": ("follow_up", "unscheduled", "remote_contact"),
    "removal": ("removal", "removal_and_replacement"),
}
# A blank in these says something only when the event happened.
_CONDITIONAL = {
    "failure_reason": ("insertion_outcome", ("failed", "stopped_on_request")),
    "deferral_reason": ("insertion_outcome", ("deferred_not_started",)),
    "onward_plan": ("insertion_outcome", ("failed", "stopped_on_request", "deferred_not_started")),
    "bridging_method_given": ("insertion_outcome", ("failed", "stopped_on_request", "deferred_not_started")),
    "ec_hours_since_upsi": ("indication", ("emergency_contraception",)),
    "ec_basis": ("indication", ("emergency_contraception",)),
    "ec_days_after_ovulation": ("indication", ("emergency_contraception",)),
}
_ONLY_IF_ANY = (
    "completed_by_ref",
    "supervisor_ref",
    "event_date_reported",
    "pregnancy_conception_est",
    "device_status_at_conception",
    "removal_reason_second",
    "perforation_confirmed",
    "dilation_max_mm",
    "visit_ref",
)


def row_accounting(accounting: pd.DataFrame) -> pd.DataFrame:
    """Rows in, used and set aside with the reason, all files together.

    Parameters
    ----------
    accounting
        ``disposition, reason, n`` per file, from the visit log.

    Returns
    -------
    DataFrame
        ``disposition, reason, n``; rows in equal rows used and rows set aside.
    """
    together = accounting.groupby(["disposition", "reason"], sort=False)["n"].sum().reset_index()
    return together.astype({"n": "int64"})


def field_completeness(visits: pd.DataFrame, *, by: str = "overall") -> pd.DataFrame:
    """How often each field was filled in, of the rows to which it applies.

    Population: rows of the kinds a column belongs to; a failure reason applies to failures only, and so on.
    A code ``unknown`` is not filled in. Columns this log does not have, and those that are blank unless
    something happened, are left out.

    Parameters
    ----------
    visits
        A standardised visit log.
    by
        ``overall`` or ``site_ref``.

    Returns
    -------
    DataFrame
        ``by, stratum, column, requirement, events`` (filled in), ``n, n_unknown, proportion`` and limits (0-1),
        ``method, caution``; in the order of the schema.
    """
    rows = []
    strata = _strata(visits, by)
    for column in VISITS.columns:
        if column.name not in visits or column.name in _ONLY_IF_ANY:
            continue
        applies = _applies(visits, column)
        recorded = applies & _recorded(visits[column.name])
        for stratum, own in strata.items():
            rows.append(
                {
                    "by": by,
                    "stratum": stratum,
                    "column": column.name,
                    "requirement": column.requirement,
                    "events": int((recorded & own).sum()),
                    "n": int((applies & own).sum()),
                    "n_unknown": 0,
                }
            )
    return with_proportions(
        pd.DataFrame(rows, columns=["by", "stratum", "column", "requirement", "events", "n", "n_unknown"])
    )


def core_completeness(fields: pd.DataFrame) -> pd.DataFrame:
    """How much of what every log should record was filled in, all such fields together.

    Population: the cells of the required and recommended columns that this log has, each in the rows it
    applies to.

    Parameters
    ----------
    fields
        What `field_completeness` returned.

    Returns
    -------
    DataFrame
        ``by, stratum, events`` (cells filled in), ``n, n_unknown, proportion`` and limits (0-1), ``method,
        caution``. No field gives no rows.

    Examples
    --------
    >>> fields = pd.DataFrame({"by": "overall", "stratum": "overall", "requirement": ["required", "optional"],
    ...     "events": [9, 0], "n": [10, 10], "n_unknown": [0, 0]})
    >>> core_completeness(fields)[["events", "n"]].values.tolist()
    [[9, 10]]
    """
    core = fields[fields["requirement"].isin(["required", "one_of", "recommended"])]
    total = core.groupby(["by", "stratum"], sort=False)[["events", "n", "n_unknown"]].sum()
    return with_proportions(total.reset_index())


def finding_counts(findings: pd.DataFrame) -> pd.DataFrame:
    """How often each rule found something doubtful.

    Parameters
    ----------
    findings
        ``rule, severity, source, row, column, message``.

    Returns
    -------
    DataFrame
        ``rule, severity, column, n, message``; most frequent first. No finding gives no rows.
    """
    keys = ["rule", "severity", "column"]
    counted = findings.groupby(keys, sort=False).agg(n=("rule", "size"), message=("message", "first"))
    return counted.reset_index().sort_values(
        ["n", "rule", "column"], ascending=[False, True, True], ignore_index=True
    )


def query_list(findings: pd.DataFrame, set_aside: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """What the clerk of each site should put right in the source, line by line.

    Parameters
    ----------
    findings
        ``rule, severity, source, row, column, message``; only warnings are asked about.
    set_aside
        ``source, row, column, reason, message``.
    visits
        The visits used, which say where a line comes from.

    Returns
    -------
    DataFrame
        ``site_ref`` (blank where the line cannot tell), ``source`` (number of the file), ``row`` (line),
        ``visit_ref``, ``column, rule, used`` (whether the row counts all the same), ``message``; by site, file and
        line. Nothing to ask gives no rows.
    """
    asked = findings[findings["severity"] == "warning"].assign(used=True)
    lost = set_aside.rename(columns={"reason": "rule"}).assign(used=False)
    names = ["source", "row", "column", "rule", "used", "message"]
    filled = [frame[names] for frame in (lost, asked) if len(frame)]
    queries = pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=names)
    place = visits[[name for name in ("source", "row", "site_ref", "visit_ref") if name in visits]]
    placed = queries.astype({"source": "int64", "row": "int64"}).merge(
        place, on=["source", "row"], how="left"
    )
    for name in ("site_ref", "visit_ref"):
        known = placed[name].astype(object) if name in placed else pd.Series("", index=placed.index)
        placed[name] = known.fillna("").astype(str)
    order = ["site_ref", "source", "row", "visit_ref", "column", "rule", "used", "message"]
    return placed[order].sort_values(["site_ref", "source", "row"], kind="stable", ignore_index=True)


def indicator_availability(columns: Collection[str]) -> pd.DataFrame:
    """Which figures this log can give, and what the others lack.

    Parameters
    ----------
    columns
        The columns of the visit log.

    Returns
    -------
    DataFrame
        ``indicator`` (name of its table, or of its item where a table holds several), ``title, available, reason``.
    """
    rows = []
    for indicator in INDICATORS:
        lacking = [group for group in indicator.needs if not set(group) & set(columns)]
        named = "; ".join(" or ".join(group) for group in lacking)
        rows.append(
            {
                "indicator": indicator.item or indicator.table,
                "title": indicator.title,
                "available": not lacking,
                "reason": f"This log does not record {named}." if lacking else "",
            }
        )
    return pd.DataFrame(rows)


def _applies(visits: pd.DataFrame, column: Column) -> np.ndarray:
    """Whether a column belongs to each row."""
    if column.rows == ("all",):
        return np.ones(len(visits), dtype=bool)
    kinds = {kind for part in column.rows for kind in _ROWS[part]}
    applies: np.ndarray = visits["visit_kind"].isin(kinds).to_numpy()
    if column.name in _CONDITIONAL:
        deciding, codes = _CONDITIONAL[column.name]
        if deciding in visits:
            applies = applies & visits[deciding].isin(codes).to_numpy()
    return applies


def _recorded(values: pd.Series) -> np.ndarray:
    """Whether a value is there and says something."""
    there = values.notna().to_numpy()
    if isinstance(values.dtype, pd.CategoricalDtype) or values.dtype == object:
        there = there & ~values.isin(["", "unknown"]).to_numpy()
    return there


def _strata(visits: pd.DataFrame, by: str) -> dict[str, np.ndarray]:
    """The rows of each stratum."""
    if by == "overall":
        return {"overall": np.ones(len(visits), dtype=bool)}
    named = visits[by].astype(object).fillna("not recorded").astype(str).to_numpy()
    return {str(name): named == name for name in sorted(set(named))}
