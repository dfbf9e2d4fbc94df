"""What may be said of the difference between two figures, and what these numbers could have shown."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from audit.benchmarks.library import Published, counts_of
from audit.benchmarks.likeness import UNLIKE
from audit.benchmarks.own_kinds import OWN
from audit.records import AuditResults
from audit.statistics.detectable import detectable_proportions, detectable_second_proportions
from audit.statistics.differences import difference_from_limits
from audit.statistics.margins import (
    detectable_difference,
    exceedance,
    exceedance_of_proportions,
    observations_to_settle,
)
from audit.statistics.summaries import BOUNDS_ONLY

HIGHER, LOWER, COMPATIBLE, CANNOT_TELL = "higher", "lower", "compatible", "cannot_tell"
NOT_COMPARABLE = "no_comparable_figure"
BETA, NORMAL = "beta posteriors (Jeffreys)", "normal approximation on the difference"

Figure = Mapping[str, Any]


def judged(facts: Figure, own: Figure, published: Published, results: AuditResults) -> dict[str, Any]:
    """Difference, margin, verdict and its reason, chances beyond the margin, and what could be shown."""
    outcome = facts["outcome"]
    margin = float(results.settings.margins.get(outcome, np.nan))
    ours, theirs = _three(own, "own"), _three(facts, "published")
    difference = difference_from_limits(*ours, *theirs)
    limits = (float(difference.value), float(difference.ci_lower), float(difference.ci_upper))
    verdict, reason = verdict_on(limits[1], limits[2], margin)
    closed = kept_open(own, published, results)
    if closed:
        verdict, reason = CANNOT_TELL, closed
    chances = _no_chances() if closed else _chances(limits, own, published, margin)
    needed = observations_to_settle(own["own_started"], ours, theirs, margin=margin)
    return {
        **dict(zip(("difference", "difference_lower", "difference_upper"), limits, strict=True)),
        "margin": margin,
        "verdict": verdict,
        "reason": reason,
        **chances,
        **_detectable(limits, facts, own, published),
        **_more(float(needed), float(own["own_started"]), closed == "" and verdict == CANNOT_TELL),
    }


def _three(figure: Figure, name: str) -> tuple[float, float, float]:
    """A figure with its limits."""
    return float(figure[name]), float(figure[f"{name}_lower"]), float(figure[f"{name}_upper"])


def verdict_on(lower: float, upper: float, margin: float) -> tuple[str, str]:
    """What the interval of a difference allows to be said."""
    if np.isnan(lower):
        return CANNOT_TELL, "The paper prints no limits and no counts to compute them from."
    if lower > 0:
        return HIGHER, "The interval of the difference lies above 0."
    if upper < 0:
        return LOWER, "The interval of the difference lies below 0."
    if np.isnan(margin):
        return CANNOT_TELL, "The interval of the difference holds 0, and no margin is set for this outcome."
    if max(-lower, upper) <= margin:
        return COMPATIBLE, "The interval of the difference lies within the margin set."
    return CANNOT_TELL, "The interval of the difference holds 0 but is wider than the margin set."


def kept_open(own: Figure, published: Published, results: AuditResults) -> str:
    """Why no verdict is given whatever the figures; empty where one may be."""
    kind = OWN[published["outcome"], published["measure"]]
    if kind.follow_up and results.gate != "last_known_leads":
        return "The outcome at 12 months is known for too few women to judge anything that needs follow-up."
    if kind.follow_up and "horizon_days" not in published:
        return "The paper followed women for mixed lengths of time, and rates fall with time since placement."
    if own["grade"] == UNLIKE:
        return f"This study differs in {own['differs_in']}; shown for orientation."
    few = float(own["at_risk"]) < results.settings.thresholds.at_risk_floor
    # Other cautions, such as that none were seen, say how to read a figure and not that it cannot be judged.
    return str(own["caution"]) if few or own["caution"] == BOUNDS_ONLY else ""


def _no_chances() -> dict[str, Any]:
    """No chance is given where there is no verdict to qualify."""
    return {"probability_above": np.nan, "probability_below": np.nan, "probability_method": ""}


def _chances(
    limits: tuple[float, float, float], own: Figure, published: Published, margin: float
) -> dict[str, Any]:
    """How likely ours is higher, and lower, by more than the margin; by more than 0 where none is set."""
    edge = 0.0 if np.isnan(margin) else margin
    counts = counts_of(published)
    if published["measure"] == "proportion" and counts is not None:
        above, below = exceedance_of_proportions(own["own_events"], own["own_n"], *counts, margin=edge)
        return _named_chances(float(above), float(below), BETA)
    above, below = exceedance(*limits, margin=edge)
    if np.isnan(above):
        return _no_chances()
    return _named_chances(float(above), float(below), NORMAL)


def _named_chances(above: float, below: float, method: str) -> dict[str, Any]:
    """Both chances with the method that made them."""
    return {"probability_above": above, "probability_below": below, "probability_method": method}


def _detectable(
    limits: tuple[float, float, float], facts: Figure, own: Figure, published: Published
) -> dict[str, Any]:
    """The nearest true figures of ours, below and above the published one, that would be shown to differ."""
    figure = float(facts["published"])
    if facts["measure"] == "proportion":
        counts = counts_of(published)
        n = float(own["own_n"])
        below, above = (
            detectable_proportions(n, benchmark=figure)
            if counts is None
            else detectable_second_proportions(counts[1], n, proportion_1=figure)
        )
        return {"detectable_lower": float(below), "detectable_higher": float(above)}
    if facts["measure"] == "median":
        return {"detectable_lower": np.nan, "detectable_higher": np.nan}
    lower, upper = limits[1], limits[2]
    if np.isnan(lower):
        # Without limits the published figure is taken as exact, as for proportions without counts.
        lower, upper = float(own["own_lower"]) - figure, float(own["own_upper"]) - figure
    reach = float(detectable_difference(lower, upper))
    highest = np.inf if facts["measure"] == "rate" else 1.0
    return {
        "detectable_lower": figure - reach if figure - reach >= 0 else np.nan,
        "detectable_higher": figure + reach if figure + reach <= highest else np.nan,
    }


def _more(needed: float, so_far: float, is_open: bool) -> dict[str, Any]:
    """How many more of ours would settle an open comparison; nan where none would, or nothing is open."""
    if not is_open or np.isnan(needed):
        return {"more_needed": np.nan, "can_be_settled": ""}
    if np.isinf(needed):
        return {"more_needed": np.nan, "can_be_settled": "no"}
    return {"more_needed": float(np.ceil(max(needed - so_far, 0.0))), "can_be_settled": "yes"}
