"""The headline figures of one audit, and of many, as one table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from audit.records import Action, AuditRecord, AuditResults, Period
from audit.schema.figures import FIGURES, Better, HeadlineFigure
from audit.schema.indicators import BY_TABLE
from audit.settings import definitions_version
from audit.statistics.summaries import share_of

CARE, CRITERIA = "process_of_care", "criteria"
COLUMNS = (
    *("figure", "title", "by", "stratum", "better", "kind", "target", "definitions_version"),
    *("period", "first_day", "last_day", "data_to"),
    *("events", "n", "n_unknown", "proportion", "ci_lower", "ci_upper", "exact_lower", "exact_upper"),
    *("completeness", "caution"),
)
_FIGURES_OF_A_ROW = ("ci_lower", "ci_upper", "exact_lower", "exact_upper", "target")
# What rests on follow-up is as complete as the outcomes known.
_FOLLOWED = ("first_year_in_period", "expulsion_incidence", "removal_incidence", "continuation_curve")


@dataclass(frozen=True)
class _Audit:
    """What dates an audit, whether it is this one or an earlier one."""

    period: Period
    data_to: pd.Timestamp
    definitions_version: str
    tables: Mapping[str, pd.DataFrame]


def figures_of(
    tables: Mapping[str, pd.DataFrame], actions: Sequence[Action] = ()
) -> tuple[HeadlineFigure, ...]:
    """Every figure that can be followed: the declared ones, items of care, criteria, and what actions name.

    A criterion with an upper target, such as one for something that should be rare, says so in a column
    ``better`` of its table; without it, more met is better.
    """
    criteria = _criteria(tables)
    # A criterion is its figure with a target and a version: it takes the place of the figure of its name.
    taken = {criterion.id for criterion in criteria}
    declared = [figure for figure in (*FIGURES, *_care(tables)) if figure.id not in taken]
    return (*declared, *criteria, *(named_by(action) for action in actions if action.measure))


def _care(tables: Mapping[str, pd.DataFrame]) -> list[HeadlineFigure]:
    """The items of care that this audit holds; of each, more met is better."""
    items = tables.get(CARE, pd.DataFrame({"item": []}))["item"].unique()
    return [
        HeadlineFigure(
            str(item),
            BY_TABLE[item].title if item in BY_TABLE else str(item),
            CARE,
            "higher",
            {"item": item, "window": "period"},
        )
        for item in items
    ]


def _criteria(tables: Mapping[str, pd.DataFrame]) -> list[HeadlineFigure]:
    """The criteria as figures."""
    table = tables.get(CRITERIA, pd.DataFrame(columns=["criterion"]))
    overall = _select(table, {name: value for name, value in _OVERALL.items() if name in table})
    found = overall.drop_duplicates("criterion")
    return [
        HeadlineFigure(
            str(row["criterion"]),
            str(row.get("title", row["criterion"])),
            CRITERIA,
            row.get("better", "higher"),
            {"criterion": row["criterion"]} | ({"window": "period"} if "window" in table else {}),
        )
        for _, row in found.iterrows()
    ]


_OVERALL = {"by": "overall", "window": "period"}


def named_by(action: Action) -> HeadlineFigure:
    """The figure that an action's own measure names: a table and its key columns."""
    keys = {name: value for name, value in action.measure.items() if name not in ("table", "by", "stratum")}
    by, stratum = (str(action.measure.get(name, "overall")) for name in ("by", "stratum"))
    table = str(action.measure["table"])
    title = BY_TABLE[table].title if table in BY_TABLE else table
    told = title if by == "overall" else f"{title}, {stratum}"
    better: Better = "lower" if action.better == "lower" else "higher"
    return HeadlineFigure(action.figure, told, table, better, keys, by=by, stratum=stratum)


def measured_now(results: AuditResults, figures: Sequence[HeadlineFigure]) -> pd.DataFrame:
    """The figures of this audit, as `series` has them."""
    version = definitions_version(results.settings)
    return _measured(_Audit(results.period, results.data_to, version, results.tables), figures)


def measured_then(record: AuditRecord, figures: Sequence[HeadlineFigure]) -> pd.DataFrame:
    """The figures of an earlier audit, as `series` has them."""
    return _measured(
        _Audit(record.period, record.data_to, record.definitions_version, record.tables), figures
    )


def series(
    now: pd.DataFrame, records: Sequence[AuditRecord], figures: Sequence[HeadlineFigure]
) -> pd.DataFrame:
    """The figures of every audit on record and of this one, oldest first.

    A record that was itself made with earlier ones brings their figures along, so that a chain of records, each
    made with the one before, gives the whole series. Of two measurements of one period the later freeze counts.

    Returns
    -------
    DataFrame
        One row per figure and period: ``figure, title, by, stratum, better, kind`` (``proportion`` or ``curve``),
        ``target, definitions_version, period, first_day, last_day, data_to, events, n, n_unknown, proportion,
        ci_lower, ci_upper, exact_lower, exact_upper, completeness`` (0-1), ``caution``. For a curve ``events`` are
        those up to its day and ``n`` the number still followed then.
    """
    known = {figure.id for figure in figures}
    parts = [now]
    for record in records:
        brought = record.tables.get("series", pd.DataFrame(columns=["figure"]))
        brought = brought[brought["figure"].isin(known)]
        parts += [measured_then(record, figures), brought.reindex(columns=list(COLUMNS))]
    whole = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    whole = whole[whole["last_day"] <= now["last_day"].max()] if len(now) else whole
    latest = whole.sort_values("data_to", kind="stable", ascending=False)
    latest = latest.drop_duplicates(["figure", "first_day", "last_day"])
    places = {figure.id: place for place, figure in enumerate(figures)}
    ordered = latest.assign(place=latest["figure"].map(places))
    return ordered.sort_values(["place", "last_day", "first_day"])[list(COLUMNS)].reset_index(drop=True)


def _measured(audit: _Audit, figures: Sequence[HeadlineFigure]) -> pd.DataFrame:
    """One row per figure that the audit holds."""
    rows = [row for figure in figures if (row := _row(audit, figure)) is not None]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    kinds = {"events": "int64", "n": "int64", "n_unknown": "int64", "target": "float64"}
    dates = dict.fromkeys(("first_day", "last_day", "data_to"), "datetime64[ns]")
    return table.astype(kinds | dates)


def _row(audit: _Audit, figure: HeadlineFigure) -> dict[str, object] | None:
    """One figure of an audit; None where it has none."""
    table = audit.tables.get(figure.table, pd.DataFrame())
    labels = dict(figure.labels)
    if figure.table != CRITERIA or "by" in table:
        labels |= {"by": figure.by, "stratum": figure.stratum}
    counted = "n" if figure.value == "proportion" else "at_risk"
    found = _select(table, labels)
    if found.empty or not {"events", counted, figure.value} <= set(found.columns):
        return None
    held = found.iloc[0]
    curve = figure.value != "proportion"
    unknown = held.get("n_unknown", held.get("n_not_recorded", 0))
    # A record changed by hand must not pass for a measurement; missing counts compare as no.
    counts = 0 <= held["events"] <= (np.inf if curve else held[counted]) and held[counted] >= 0
    if not (counts and unknown >= 0):
        return None
    version = (
        f"{audit.definitions_version}/{held['version']}" if "version" in held else audit.definitions_version
    )
    return {
        "figure": figure.id,
        "title": figure.title,
        "by": figure.by,
        "stratum": figure.stratum,
        "better": figure.better,
        "kind": "curve" if curve else "proportion",
        "definitions_version": version,
        "period": audit.period.label,
        "first_day": audit.period.first_day,
        "last_day": audit.period.last_day,
        "data_to": audit.data_to,
        "events": held["events"],
        "n": held[counted],
        "n_unknown": unknown,
        "proportion": held[figure.value],
        **{name: held.get(name, np.nan) for name in _FIGURES_OF_A_ROW},
        "completeness": _completeness(audit, figure, held, unknown),
        "caution": held.get("caution", ""),
    }


def _completeness(audit: _Audit, figure: HeadlineFigure, held: pd.Series, unknown: int) -> float:
    """Of how many the figure is known: of those counted, or of the outcomes that follow-up should bring."""
    if figure.table not in _FOLLOWED:
        return share_of(held["n"], held["n"] + unknown)
    known = _select(audit.tables.get("outcome_known", pd.DataFrame()), _OVERALL)
    # A record changed by hand may lack the column.
    return float(known["proportion"].iloc[0]) if len(known) and "proportion" in known else float("nan")


def _select(table: pd.DataFrame, labels: Mapping[str, object]) -> pd.DataFrame:
    """The rows of a result table with these labels; none where it lacks one of the columns."""
    if table.empty or not set(labels) <= set(table.columns):
        return table.iloc[:0]
    chosen = pd.Series(True, index=table.index)
    for name, value in labels.items():
        chosen &= table[name] == value
    return table[chosen]
