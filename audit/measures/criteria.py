"""Audit criteria: of each standard how often it was met, what that says beside its level, and the visits behind it.

Nothing is counted here: each criterion takes its counts from the result table that holds its figure. Every one has
three answers, met, not met and not recorded; exceptions are counted beside. Continuation and removal have no
criterion, since a target for them would reward reluctance to take a device out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict

import numpy as np
import pandas as pd

from audit.schema.criterion import (
    AT_MOST,
    ATTESTED,
    FIGURES,
    Criterion,
    counted_words,
    indicator_of,
)
from audit.statistics.summaries import with_proportions
from audit.statistics.targets import against_targets
from audit.tallies import OVERALL

NOT_IN_LOG = "not_recorded_in_this_log"
IN_FORCE, RETIRED, LATER = "in_force", "retired", "later"
COLUMNS = (
    *("criterion", "title", "kind", "version", "better", "by", "stratum", "window", "events", "n"),
    *("n_not_met", "n_not_recorded", "n_exceptions", "proportion", "ci_lower", "ci_upper"),
    *("exact_lower", "exact_upper", "bound_lower", "bound_upper", "target", "verdict", "method", "caution"),
)
CASE_COLUMNS = ("criterion", "title", "window", "site_ref", "visit_ref", "date")
DEFINITION_COLUMNS = (
    *("criterion", "title", "kind", "status", "sentence", "figure", "by", "stratum", "numerator"),
    *("denominator", "exceptions", "target", "direction", "source", "version", "effective_from", "changed"),
    *("attested", "attested_on"),
)
_EXCEPTIONS = ("n_exception", "n_in_training")
_UNANSWERED = "The service has not said yes or no."
_ANSWERS = {"yes": "met", "no": "not_met", "": "not_recorded"}
_SITES = "site_ref"
PERIOD = "period"

Tables = Mapping[str, pd.DataFrame]


def criteria_met(
    tables: Tables,
    criteria: Sequence[Criterion],
    *,
    last_day: pd.Timestamp,
    attested_since: pd.Timestamp,
    recorded_floor: float = 0.8,
) -> pd.DataFrame:
    """How often each criterion was met, and whether that reaches its target.

    Population, denominator, unknown: those of the figure that a criterion names. Exceptions are counted in
    ``n_exceptions`` and are no part of ``n``. A criterion whose columns the log lacks has a row that says so.

    Parameters
    ----------
    tables
        Result tables by name, and `indicator_availability`.
    criteria
        What `audit.criteria.criteria_in_force` returned. Retired ones, and those not yet in force, are left out.
    last_day
        The last day of the period.
    attested_since
        A statement of an earlier day carries a caution.
    recorded_floor
        Smallest share recorded at which a verdict is given.

    Returns
    -------
    DataFrame
        Per criterion, stratum (overall, and site where the figure has it) and window: ``criterion, title, kind,
        version, better`` (``higher`` or ``lower``), ``by, stratum, window, events`` (met; with a target not to
        exceed, what should be rare), ``n`` (met and not met), ``n_not_met, n_not_recorded, n_exceptions,
        proportion``, limits and bounds (0-1), ``target``, ``verdict`` (``met, not_met, cannot_tell, described``
        without a target, ``not_recorded, no_cases, not_recorded_in_this_log``), ``method, caution``.

    Notes
    -----
    The interval decides, never the point; see `audit.statistics.targets`. What is attested has no counts: its
    verdict is the answer of the service.
    """
    parts = [_counted(tables, criterion) for criterion in _applying(criteria, last_day)]
    filled = [part for part in parts if part is not None and len(part)]
    if not filled:
        return pd.DataFrame(columns=list(COLUMNS))
    table = pd.concat(filled, ignore_index=True)
    table = with_proportions(table, recorded_floor=recorded_floor)
    table["verdict"] = against_targets(table, recorded_floor=recorded_floor)
    by_id = {criterion.id: criterion for criterion in criteria}
    unavailable = _unavailable(tables)
    for row in table.index[table["window"] == ""]:
        own = by_id[str(table.at[row, "criterion"])]
        verdict, method, caution = _stated(own, attested_since, unavailable)
        table.loc[row, ["verdict", "method", "caution"]] = [verdict, method, caution]
    table["window"] = table["window"].replace("", PERIOD)
    return table.rename(columns={"n_unknown": "n_not_recorded"})[list(COLUMNS)]


def criteria_definitions(criteria: Sequence[Criterion], *, last_day: pd.Timestamp) -> pd.DataFrame:
    """What each criterion says, counts and asks for, in which version, and what the service changed.

    Parameters
    ----------
    criteria
        What `audit.criteria.criteria_in_force` returned.
    last_day
        The last day of the period.

    Returns
    -------
    DataFrame
        ``criterion, title, kind, status`` (``in_force``, ``retired``, or ``later``: in force after the period),
        ``sentence, figure, by, stratum, numerator, denominator, exceptions, target`` (0-1, nan where none),
        ``direction, source, version, effective_from`` (day), ``changed`` (what is local; empty where nothing is),
        ``attested`` (``yes``, ``no`` or empty), ``attested_on`` (day).
    """
    rows = []
    for criterion in criteria:
        numerator, denominator = counted_words(criterion)
        status = RETIRED if criterion.retired else IN_FORCE
        if status == IN_FORCE and pd.Timestamp(criterion.effective_from) > last_day:
            status = LATER
        rows.append(
            asdict(criterion)
            | {
                "criterion": criterion.id,
                "status": status,
                "numerator": numerator,
                "denominator": denominator,
            }
        )
    table = pd.DataFrame(rows, columns=list(DEFINITION_COLUMNS))
    dates = {
        name: pd.to_datetime(table[name].replace("", None)) for name in ("effective_from", "attested_on")
    }
    return table.astype({"target": "float64"}).assign(**dates)


def criteria_cases(
    missed: Sequence[pd.DataFrame], criteria: Sequence[Criterion], *, last_day: pd.Timestamp
) -> pd.DataFrame:
    """The visits behind each "not met" of the criteria that count what was done, found or learned of one woman.

    Parameters
    ----------
    missed
        Tables of ``figure, site_ref, visit_ref, date``, such as `audit.measures.process.care_not_met` returns; a
        column ``window`` where it is not the period; a column for each group of women a criterion may be about.
    criteria, last_day
        As in `criteria_met`.

    Returns
    -------
    DataFrame
        ``criterion, title, window, site_ref, visit_ref, date``, in the order of the criteria, then by date. For
        the internal edition only. Nothing not met gives no rows.
    """
    cases = pd.concat([table for table in missed if len(table)] or missed[:1], ignore_index=True)
    parts = []
    for criterion in _applying(criteria, last_day):
        own = cases[cases["figure"] == criterion.figure]
        # A case that does not say to which group of women it belongs is nobody's.
        if criterion.by != OVERALL:
            own = own[own[criterion.by] == criterion.stratum] if criterion.by in own else own.iloc[:0]
        parts.append(own.assign(criterion=criterion.id, title=criterion.title))
    filled = [part for part in parts if len(part)]
    if not filled:
        return pd.DataFrame(columns=list(CASE_COLUMNS))
    listed = pd.concat(filled, ignore_index=True)
    window = listed["window"].fillna(PERIOD) if "window" in listed else PERIOD
    return listed.assign(window=window)[list(CASE_COLUMNS)]


def _applying(criteria: Sequence[Criterion], last_day: pd.Timestamp) -> list[Criterion]:
    """The criteria that this period is judged by."""
    return [
        criterion
        for criterion in criteria
        if not criterion.retired and pd.Timestamp(criterion.effective_from) <= last_day
    ]


def _counted(tables: Tables, criterion: Criterion) -> pd.DataFrame:
    """The counts of one criterion; one row without a window where there is nothing to take them from."""
    held = _held(tables, criterion)
    if held is None or criterion.by not in set(held["by"]):
        return _labelled(_nothing(""), criterion)
    chosen = held[(held["by"] == criterion.by) & (held["stratum"] == criterion.stratum)]
    if criterion.by == OVERALL:
        chosen = pd.concat([chosen, held[held["by"] == _SITES]])
    return _labelled(chosen if len(chosen) else _nothing(PERIOD), criterion)


def _held(tables: Tables, criterion: Criterion) -> pd.DataFrame | None:
    """The rows of a criterion's figure; None where the audit has none."""
    if criterion.figure == ATTESTED:
        return None
    counted = FIGURES[criterion.figure]
    held = tables.get(counted.table)
    if held is None:
        return None
    for name, value in counted.labels.items():
        held = held[held[name] == value]
    return held if len(held) else None


def _nothing(window: str) -> pd.DataFrame:
    """A row of zeros."""
    labels = {"by": [OVERALL], "stratum": [OVERALL], "window": [window]}
    return pd.DataFrame({**labels, "events": [0], "n": [0], "n_unknown": [0]})


def _labelled(rows: pd.DataFrame, criterion: Criterion) -> pd.DataFrame:
    """Counts with what they are counts of."""
    rare = criterion.direction == AT_MOST
    events = rows["events"]
    if criterion.figure in FIGURES and FIGURES[criterion.figure].others:
        events = rows["n"].sub(events)
    apart = rows[[name for name in _EXCEPTIONS if name in rows]].sum(axis=1)
    return pd.DataFrame(
        {
            "criterion": criterion.id,
            "title": criterion.title,
            "kind": criterion.kind,
            "version": criterion.version,
            "better": "lower" if rare else "higher",
            "by": rows["by"],
            "stratum": rows["stratum"],
            "window": rows.get("window", "all"),
            "events": events,
            "n": rows["n"],
            "n_unknown": rows["n_unknown"],
            "n_not_met": events if rare else rows["n"].sub(events),
            "n_exceptions": apart.astype("int64"),
            "target": np.nan if criterion.target is None else criterion.target,
            "at_most": rare,
        }
    )


def _unavailable(tables: Tables) -> dict[str, str]:
    """Why each figure that this log cannot give is missing."""
    told = tables["indicator_availability"]
    off = told[~told["available"].astype(bool)]
    return dict(zip(off["indicator"], off["reason"], strict=True))


def _stated(
    criterion: Criterion, attested_since: pd.Timestamp, unavailable: Mapping[str, str]
) -> tuple[str, str, str]:
    """Verdict, method and caution of a criterion without counts."""
    if criterion.figure != ATTESTED:
        why = f"This audit does not count it by {criterion.by}."
        return NOT_IN_LOG, "", unavailable.get(indicator_of(criterion.figure), why)
    verdict, day = _ANSWERS[criterion.attested], criterion.attested_on
    if not criterion.attested:
        return verdict, "", _UNANSWERED
    if not day:
        return verdict, "stated by the service", "The day of the statement is not given."
    old = pd.Timestamp(day) < attested_since
    caution = "Stated more than a year before the freeze: ask again." if old else ""
    return verdict, f"stated by the service on {day}", caution
