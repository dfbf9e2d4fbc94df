"""The table of comparisons: every published figure beside ours, graded and judged."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from audit.benchmarks.case_mix import at_our_mix
from audit.benchmarks.judgement import NOT_COMPARABLE, judged
from audit.benchmarks.library import Published, figures_for, identifier_of, published_limits
from audit.benchmarks.likeness import UNLIKE, likeness
from audit.benchmarks.own_figures import own_figure
from audit.records import AuditResults

Row = Mapping[str, Any]

COLUMNS = (
    *("benchmark", "outcome", "measure", "population", "horizon_days"),
    *(
        "published",
        "published_lower",
        "published_upper",
        "published_limits",
        "published_events",
        "published_n",
        "published_years",
    ),
    *("by", "stratum", "censoring", "own", "own_lower", "own_upper", "own_events", "own_n"),
    *("grade", "differs", "differs_in"),
    *("difference", "difference_lower", "difference_upper", "margin", "verdict", "reason"),
    *("probability_above", "probability_below", "probability_method"),
    *("detectable_lower", "detectable_higher", "more_needed", "can_be_settled"),
    *("papers", "papers_lowest", "papers_highest"),
    *("definition", "setting", "years", "citation", "identifier", "verified", "status"),
)


def compare_with_benchmarks(results: AuditResults) -> pd.DataFrame:
    """Each published figure beside this service's own, and what can be said of the difference.

    Parameters
    ----------
    results
        What `audit.run_audit` returned. Figures that its settings add are compared after the library's.

    Returns
    -------
    DataFrame
        One row per published figure, and one per series of strata put together at this service's mix:
        ``benchmark, outcome, measure, population, horizon_days, published, published_lower, published_upper,
        published_limits`` (``printed``, ``computed from its counts``, ``from its standard error``, ``at our mix,
        from its counts`` or ``at our mix, from the limits of its strata``, or ``not available``),
        ``published_events, published_n`` (attempts or women), ``published_years`` (woman-years);
        ``by, stratum, censoring, own, own_lower, own_upper, own_events, own_n``;
        ``grade`` (A alike, B near, C unlike; missing where there is no figure of ours), ``differs`` (sentences),
        ``differs_in`` (the rules); ``difference, difference_lower, difference_upper`` (own less published),
        ``margin, verdict, reason``; ``probability_above, probability_below`` (of a true difference beyond the
        margin, or beyond 0 where none is set), ``probability_method``; ``detectable_lower, detectable_higher`` (the
        nearest true figures of ours that had an 80% chance of being shown to differ; nan where none had);
        ``more_needed`` (attempts, women or woman-years beyond those so far), ``can_be_settled`` (``yes``, ``no``,
        or blank where nothing is open); ``papers, papers_lowest, papers_highest`` (the published figures of grade A
        or B for the same women of ours at the same time, and how far apart they lie); ``definition, setting, years,
        citation, identifier, verified, status``. Proportions are 0-1, rates per 1
        woman-year; figures that are not there are nan.

    Notes
    -----
    ``higher`` or ``lower``: the 95% interval of the difference leaves out 0. ``compatible``: it lies within the
    margin the service set for that outcome. Otherwise, or without a margin, ``cannot_tell``. While the outcome
    at 12 months is known for too few women there is no verdict on anything that rests on follow-up, none on a
    proportion of which too much is not recorded, and none on a figure of grade C.
    """
    figures = figures_for(results.settings)
    rows = [_compared(published, results) for published in figures]
    rows += at_our_mix(figures, rows, results)
    return pd.DataFrame([{**row, **_spread(row, rows)} for row in rows], columns=list(COLUMNS))


def _spread(row: Row, rows: Sequence[Row]) -> dict[str, Any]:
    """How many figures are published for the same women of ours, judged or not, and how far they lie apart."""
    same = ("outcome", "measure", "by", "stratum")
    alike = [
        other["published"]
        for other in rows
        if other["verdict"] != NOT_COMPARABLE
        and other["grade"] != UNLIKE
        and all(other[name] == row.get(name) for name in same)
        and _same_horizon(other, row)
    ]
    if not alike:
        return {"papers": np.nan, "papers_lowest": np.nan, "papers_highest": np.nan}
    return {"papers": len(alike), "papers_lowest": min(alike), "papers_highest": max(alike)}


def _same_horizon(one: Row, other: Row) -> bool:
    """Whether ours was read at the same day for both; at any day where it is not read off a curve."""
    return bool(one["own_days"] == other.get("own_days") or np.isnan(one["own_days"]))


def _compared(published: Published, results: AuditResults) -> dict[str, Any]:
    """One row of the comparison."""
    lower, upper, limits = published_limits(published)
    facts = {
        "benchmark": published["id"],
        "outcome": published["outcome"],
        "measure": published["measure"],
        "population": published["population"],
        "horizon_days": published.get("horizon_days", np.nan),
        "published": float(published["estimate"]),
        "published_lower": lower,
        "published_upper": upper,
        "published_limits": limits,
        "published_events": published.get("events", np.nan),
        "published_n": published.get("n", np.nan),
        "published_years": published.get("woman_years", np.nan),
    }
    source = {
        **{name: published[name] for name in ("definition", "setting", "years", "citation")},
        "identifier": identifier_of(published),
        "verified": published["verified"],
        "status": published["status"],
    }
    own, why_not = own_figure(published, results)
    if own is None:
        return {**facts, "verdict": NOT_COMPARABLE, "reason": why_not, **source}
    own["grade"], own["differs"], own["differs_in"] = likeness(published, own)
    return {**facts, **own, **judged(facts, own, published, results), **source}
