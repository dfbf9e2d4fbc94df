"""Published strata put together at this service's mix, so that both sides have the same women in them."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from audit.benchmarks.judgement import NOT_COMPARABLE, judged
from audit.benchmarks.library import Published, counts_of
from audit.records import AuditResults
from audit.statistics.proportions import proportion_interval
from audit.statistics.standardisation import directly_standardised_rate
from audit.statistics.weighted_sums import weighted_mean_from_limits

Row = Mapping[str, Any]
ALL_STRATA = "at_our_mix"


def at_our_mix(
    figures: Sequence[Published], rows: Sequence[Row], results: AuditResults
) -> list[dict[str, Any]]:
    """A row per series of published proportions of which every stratum has a figure of ours."""
    series: dict[str, list[tuple[Published, Row]]] = {}
    for published, row in zip(figures, rows, strict=True):
        if "series" in published and published["measure"] == "proportion":
            series.setdefault(published["series"], []).append((published, row))
    return [
        _put_together(name, strata, results)
        for name, strata in series.items()
        if len(strata) > 1 and all(row["verdict"] != NOT_COMPARABLE for _, row in strata)
    ]


def _put_together(
    name: str, strata: Sequence[tuple[Published, Row]], results: AuditResults
) -> dict[str, Any]:
    """The comparison of one series: their strata in our proportions, ours as they are."""
    first, published = strata[0][1], strata[0][0]
    sizes = [float(row["own_n"]) for _, row in strata]
    ours = _ours(int(sum(row["own_events"] for _, row in strata)), int(sum(sizes)))
    theirs = _theirs(strata, sizes)
    worst = max(strata, key=lambda pair: pair[1]["grade"])[1]
    facts = {
        **{key: first[key] for key in ("outcome", "measure", "horizon_days")},
        "benchmark": f"{name}_at_our_mix",
        "population": "; ".join(row["population"] for _, row in strata) + "; put together in our proportions",
        **theirs,
    }
    own = {
        **{key: first[key] for key in ("by", "censoring")},
        "stratum": ALL_STRATA,
        **ours,
        **{key: worst[key] for key in ("grade", "differs", "differs_in")},
        "caution": next((row["caution"] for _, row in strata if row["caution"]), ""),
        "at_risk": np.nan,
    }
    # The strata's counts are not the counts of a figure at our mix.
    counted = {key: value for key, value in published.items() if key not in ("events", "n")}
    said = judged(facts, own, counted, results)
    due = theirs["published"] * sum(sizes)
    expected = f"At their rates {due:.1f} of our {sum(sizes):,.0f} were to be expected."
    said["reason"] = f"{said['reason']} {expected}"
    source = ("definition", "setting", "years", "citation", "identifier", "verified", "status")
    return {**facts, **own, **said, **{key: first[key] for key in source}}


def _ours(events: int, n: int) -> dict[str, Any]:
    """Our strata together."""
    lower, upper = proportion_interval(events, n)
    return {
        "own": events / n,
        "own_lower": float(lower),
        "own_upper": float(upper),
        "own_events": events,
        "own_n": n,
        "own_started": n,
        "own_days": np.nan,
    }


def _theirs(strata: Sequence[tuple[Published, Row]], sizes: Sequence[float]) -> dict[str, Any]:
    """Their strata in our proportions, with limits from their counts where all were read, else from theirs."""
    counts = [counts_of(published) for published, _ in strata]
    known = [pair for pair in counts if pair is not None]
    values, lowers, uppers = (
        [row[f"published{side}"] for _, row in strata] for side in ("", "_lower", "_upper")
    )
    whole, source = (
        weighted_mean_from_limits(values, lowers, uppers, sizes),
        "at our mix, from the limits of its strata",
    )
    if len(known) == len(counts):
        events, n = zip(*known, strict=True)
        # Poisson limits are a little wide for proportions, never narrow.
        whole, source = directly_standardised_rate(events, n, sizes), "at our mix, from its counts"
    value, lower, upper = float(whole.value), float(whole.ci_lower), float(whole.ci_upper)
    return {
        "published": value,
        "published_lower": lower,
        "published_upper": upper,
        "published_limits": "not available" if np.isnan(lower) else source,
        "published_events": np.nan,
        "published_n": np.nan,
        "published_years": np.nan,
    }
