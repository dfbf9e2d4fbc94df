"""Where this audit holds its own figure for a published one, or why it has none."""

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from audit.benchmarks.library import Published
from audit.benchmarks.own_kinds import BREASTFEEDING, DEFINITIONS, OWN, UNITS, OwnKind
from audit.records import AuditResults
from audit.statistics.summaries import with_proportions

# Classes of device together that are no family: no table of ours has them.
_SEVERAL = ""
# A paper's 37 months and our 36 are one horizon, nearly.
NEAR = 0.05
# Rates that are given by time since placement, the first band under the name of its days.
_BANDED = ("pregnancy", "pelvic_infection")
_MEASURED = {outcome for outcome, _ in OWN}
_FORMS = {
    "proportion": "a crude per cent of women followed for unequal times",
    "pooled_proportion": "a figure pooled from studies of unequal length",
    "expert_estimate": "an estimate by experts",
    "rate": "a rate per woman-year",
    "survival": "a life-table figure",
    "one_minus_km": "a life-table figure",
    "cumulative_incidence": "a cumulative incidence",
}


def own_figure(published: Published, results: AuditResults) -> tuple[dict[str, Any] | None, str]:
    """This audit's figure for the same outcome, measure, horizon and group, or why there is none."""
    if why_not := _not_measured(published):
        return None, why_not
    group = _group(published)
    if group is None:
        return None, "The paper's group of women is narrower than any group of this audit."
    kind = OWN[published["outcome"], published["measure"]]
    table = _table(kind, results)
    if table.empty:
        return None, "This log does not record it."
    labels = {"by": group[0], "stratum": group[1], **kind.labels, **_labels(published, results)}
    if group[1] == _SEVERAL or not (table["by"] == group[0]).any():
        return None, "This audit has no figure for that group of women."
    if "days" not in table:
        labels.pop("days", None)
    found = _select(table, labels)
    if found.empty or found[kind.columns[0]].isna().all():
        return None, "Nobody of that group was followed that long here, or there is nobody in it."
    return _named(found.iloc[0], kind, table, labels), ""


def _table(kind: OwnKind, results: AuditResults) -> pd.DataFrame:
    """The result table that holds a kind of figure; with the share that its counts make, where it is one."""
    table = results.tables.get(kind.table, pd.DataFrame())
    if not kind.share_of or table.empty:
        return table
    known = table[kind.share_of].sub(table["n_place_unknown"])
    counted = table[["by", "stratum", *kind.labels, "events"]].assign(
        n=known, n_unknown=table["n_place_unknown"]
    )
    return with_proportions(counted, recorded_floor=results.settings.thresholds.recorded_floor)


def _not_measured(published: Published) -> str:
    """Why this audit has no figure for an outcome in that form; empty where it has."""
    outcome, measure = published["outcome"], published["measure"]
    definition = published.get("definition_key")
    if outcome not in _MEASURED or (definition is not None and (outcome, definition) not in DEFINITIONS):
        return "This audit does not measure the outcome as the paper defines it."
    if (outcome, measure) not in OWN:
        form = _FORMS.get(measure, f"a {measure}")
        return (
            f"The paper prints {form}, and this audit has none to set beside it: like is compared with like."
        )
    return ""


def _group(published: Published) -> tuple[str, str] | None:
    """The one group of women a figure is about, in our strata; None where it needs two at once."""
    if "narrowed_to" in published:
        return None
    if "breastfeeding" in published:
        key = (published.get("weeks_since_birth", ""), published["breastfeeding"])
        return ("perforation_group", BREASTFEEDING[key]) if key in BREASTFEEDING else None
    asked = [*_of_women(published), *_of_devices(published)]
    return asked[0] if len(asked) == 1 else None if asked else ("overall", "overall")


def _of_women(published: Published) -> list[tuple[str, str]]:
    """The groups by parity, timing and age that a figure asks for."""
    asked = []
    if "vaginal_birth" in published:
        asked.append(("cervical_parity", "yes" if published["vaginal_birth"] else "no"))
    if published["parity"] != "any":
        asked.append(("parous", "no" if published["parity"] == "nulliparous" else "yes"))
    if published["placement_timing"] != "any":
        asked.append(("timing_group", published["placement_timing"]))
    if "age_band" in published:
        asked.append(("age_band", published["age_band"]))
    return asked


def _of_devices(published: Published) -> list[tuple[str, str]]:
    """The group by device that a figure asks for."""
    devices = list(published["device_classes"])
    if devices == ["any"]:
        return []
    if devices in (["copper_any"], ["hormonal_any"]):
        return [("device_family", devices[0].removesuffix("_any"))]
    return [("device_class", devices[0] if len(devices) == 1 else _SEVERAL)]


def _labels(published: Published, results: AuditResults) -> dict[str, object]:
    """The labels of our row that the paper's unit, definition, horizon and censoring decide."""
    labels: dict[str, object] = {}
    outcome = published["outcome"]
    if outcome == "failed_insertion":
        labels["unit"] = UNITS[published.get("unit_of_analysis", "not_stated")]
    if outcome in _BANDED and published["measure"] == "rate":
        labels["band"] = f"0 to {published['horizon_days']}" if "horizon_days" in published else "all"
    if "definition_key" in published:
        labels |= DEFINITIONS[outcome, published["definition_key"]]
    if "censoring_rule" in published:
        labels["censoring"] = published["censoring_rule"]
    if "horizon_days" in published:
        labels["days"] = nearest_horizon(published["horizon_days"], results.settings.windows.horizons)
    return labels


def nearest_horizon(days: int, horizons: tuple[int, ...]) -> int:
    """The day at which our curves are read that is the paper's, or nearly; else the paper's own."""
    near = min(horizons, key=lambda horizon: abs(horizon - days), default=days)
    return near if abs(near - days) <= NEAR * days else days


def _select(table: pd.DataFrame, labels: Mapping[str, object]) -> pd.DataFrame:
    """The rows of a result table with these labels."""
    places = np.arange(len(table))
    for name, value in labels.items():
        if name not in table:
            return table.iloc[:0]
        # Each label looks at what the ones before it left: a table of curves has thousands of rows.
        places = places[np.asarray(table[name].array[places] == value, dtype=bool)]
    return table.iloc[places]


def _named(
    row: pd.Series, kind: OwnKind, table: pd.DataFrame, labels: Mapping[str, object]
) -> dict[str, Any]:
    """Our figure in the columns of the comparison, with what its judgement needs."""
    value, lower, upper = (float(row[name]) for name in kind.columns)
    n = row.get("n", row.get("person_years", row.get("at_risk")))
    started = n
    if "days" in table:
        same = {name: at for name, at in labels.items() if name != "days"}
        started = _select(table, same)["at_risk"].max()
    return {
        "by": labels["by"],
        "stratum": labels["stratum"],
        "censoring": row.get("censoring", ""),
        "own": value,
        "own_lower": lower,
        "own_upper": upper,
        "own_events": row.get("cumulative_events", row.get("events")) if kind.counted else np.nan,
        "own_n": n,
        "own_started": started,
        "own_days": row.get("days", np.nan),
        "caution": row.get("caution", ""),
        "at_risk": row.get("at_risk", np.nan),
    }
