"""Can these data be believed: rows used, fields recorded, what was doubtful, and which figures are off."""

from collections.abc import Collection

import numpy as np
import pandas as pd

from audit.schema.applies import KINDS_OF_ROWS, NOT_WHERE, ONLY_IF_ANY, ONLY_WHERE
from audit.schema.column import Column
from audit.schema.indicators import INDICATORS
from audit.schema.visits import VISITS
from audit.statistics.summaries import with_proportions


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

    Population: rows of the kinds a column belongs to; a failure reason applies to failures only, what is noted
    during a procedure not to an insertion that was not begun, where the device is not to a call that nobody
    answered (`audit.schema.applies` declares it). A code ``unknown`` is not filled in. Columns this log does not
    have, and those that are blank unless something happened, are left out.

    Parameters
    ----------
    visits
        A standardised visit log.
    by
        ``overall``, ``site_ref`` or ``clinician_ref``.

    Returns
    -------
    DataFrame
        ``by, stratum, column, requirement, events`` (filled in), ``n, n_unknown, proportion`` and limits (0-1),
        ``method, caution``; in the order of the schema.
    """
    counts = _cells(visits, by)
    return with_proportions(
        counts[counts["in_log"]].rename(columns={"recorded": "events"}).drop(columns=["in_log", "missing"])
    )


def missingness(visits: pd.DataFrame, *, by: str = "overall") -> pd.DataFrame:
    """How often each field is missing, of the rows to which it applies, with the fields this log does not have.

    Population: as `field_completeness`. A field that the log does not have is not missing from rows; nothing is
    known of it, so its rows stand under ``n_unknown`` and it has no proportion.

    Parameters
    ----------
    visits
        A standardised visit log.
    by
        ``overall``, ``site_ref``, ``clinician_ref``, or the calendar of the visits: ``month``, ``quarter`` or
        ``year``, every one from the first visit to the last.

    Returns
    -------
    DataFrame
        ``by, stratum, column, requirement, in_log, events`` (missing: blank, unreadable or said to be unknown),
        ``n`` (rows the field applies to; 0 where there is none), ``n_unknown`` (the same rows, for a field that
        is not in the log), ``proportion`` and limits (0-1), ``method, caution``; in the order of the schema,
        then of the strata. Without visits, only ``overall`` has rows.

    Raises
    ------
    ValueError
        `by` is none of these.

    Examples
    --------
    >>> visits = pd.DataFrame({"visit_kind": ["insertion"] * 4, "site_ref": ["A", "A", "B", "B"],
    ...     "age_years": [31.0, None, 28.0, 40.0]})
    >>> table = missingness(visits, by="site_ref")
    >>> table.loc[table["column"] == "age_years", ["stratum", "events", "n"]].values.tolist()
    [['A', 1, 2], ['B', 0, 2]]
    >>> table.loc[table["column"] == "pain_score", ["in_log", "n", "n_unknown"]].values.tolist()
    [[False, 0, 2], [False, 0, 2]]
    """
    counts = _cells(visits, by)
    return with_proportions(counts.rename(columns={"missing": "events"}).drop(columns=["recorded"]))


def calendar_unit(visits: pd.DataFrame, *, most: int = 16) -> str:
    """The finest part of the calendar of which the visits span no more than `most`: month, quarter or year.

    Parameters
    ----------
    visits
        A standardised visit log.
    most
        How many months or quarters may be shown, 1 or more.

    Returns
    -------
    str
        A value for `missingness`; ``year`` where even the quarters are too many, ``month`` without visits.

    Examples
    --------
    >>> days = pd.DataFrame({"visit_date": pd.to_datetime(["2025-01-31", "2026-11-01"])})
    >>> calendar_unit(days), calendar_unit(days, most=6)
    ('quarter', 'year')
    """
    spans = {unit: len(_calendar(visits, unit)[0]) for unit in ("month", "quarter")}
    return next((unit for unit, length in spans.items() if length <= most), "year")


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
    applies = np.ones(len(visits), dtype=bool)
    if column.rows != ("all",):
        kinds = {kind for part in column.rows for kind in KINDS_OF_ROWS[part]}
        applies = visits["visit_kind"].isin(kinds).to_numpy()
    for deciding, codes in ONLY_WHERE.get(column.name, ()):
        if deciding in visits:
            applies = applies & visits[deciding].isin(codes).to_numpy()
    for deciding, codes in NOT_WHERE.get(column.name, ()):
        if deciding in visits:
            applies = applies & ~visits[deciding].isin(codes).to_numpy()
    return applies


def _recorded(values: pd.Series) -> np.ndarray:
    """Whether a value is there and says something."""
    there = values.notna().to_numpy()
    if isinstance(values.dtype, pd.CategoricalDtype) or values.dtype == object:
        there = there & ~values.isin(["", "unknown"]).to_numpy()
    return there


_CALENDAR = {"month": "M", "quarter": "Q", "year": "Y"}
# Strata that the log names itself.
_FREE = ("site_ref", "clinician_ref")


def _cells(visits: pd.DataFrame, by: str) -> pd.DataFrame:
    """Each column in each stratum: the rows it applies to, and how many are recorded and missing."""
    names, places = _strata(visits, by)

    def per_stratum(rows: np.ndarray) -> np.ndarray:
        return np.bincount(places[rows], minlength=len(names))

    parts, nowhere = [], np.zeros(len(visits), dtype=bool)
    columns = [column for column in VISITS.columns if column.name not in ONLY_IF_ANY]
    for column in columns:
        applies, here = _applies(visits, column), column.name in visits
        recorded = applies & _recorded(visits[column.name]) if here else nowhere
        states = {
            "recorded": recorded,
            "missing": applies & ~recorded if here else nowhere,
            "n": applies if here else nowhere,
            "n_unknown": nowhere if here else applies,
        }
        parts.append({state: per_stratum(rows) for state, rows in states.items()})
    size = len(names)
    return pd.DataFrame(
        {
            "by": by,
            "stratum": np.tile(np.array(names, dtype=object), len(columns)),
            "column": np.repeat(np.array([column.name for column in columns], dtype=object), size),
            "requirement": np.repeat(
                np.array([column.requirement for column in columns], dtype=object), size
            ),
            "in_log": np.repeat([column.name in visits for column in columns], size),
            **{state: np.concatenate([part[state] for part in parts]) for state in parts[0]},
        }
    )


def _strata(visits: pd.DataFrame, by: str) -> tuple[list[str], np.ndarray]:
    """The strata in order, and the place among them of each row's own."""
    if by == "overall":
        return ["overall"], np.zeros(len(visits), dtype=np.int64)
    if by in _CALENDAR:
        return _calendar(visits, by)
    if by not in _FREE:
        raise ValueError(f"by must be overall, site_ref, clinician_ref, month, quarter or year, got {by!r}")
    places, names = pd.factorize(
        visits[by].astype(object).fillna("not recorded").astype(str).to_numpy(), sort=True
    )
    return [str(name) for name in names], places


def _calendar(visits: pd.DataFrame, unit: str) -> tuple[list[str], np.ndarray]:
    """Every month, quarter or year from the first visit to the last, and the place of each row's own."""
    if not len(visits):
        return [], np.zeros(0, dtype=np.int64)
    days = visits["visit_date"].dt.to_period(_CALENDAR[unit])
    spanned = pd.period_range(days.min(), days.max(), freq=_CALENDAR[unit])
    return [str(period) for period in spanned], spanned.get_indexer(pd.PeriodIndex(days))
