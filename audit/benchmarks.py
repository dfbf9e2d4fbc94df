"""Published figures, and this service's own beside those that are like them.

Like with like only: the same outcome, measure, horizon and group of women. "No comparable figure" is an answer.
Both sides are uncertain, so the interval of the difference decides, never the published point.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd

from audit.records import AuditResults
from audit.statistics.differences import difference_from_limits
from audit.statistics.proportions import proportion_interval
from audit.statistics.rates import rate_interval
from audit.statistics.summaries import BOUNDS_ONLY

HIGHER, LOWER, COMPATIBLE, CANNOT_TELL = "higher", "lower", "compatible", "cannot_tell"
NOT_COMPARABLE = "no_comparable_figure"

Published = Mapping[str, object]


@dataclass(frozen=True)
class _OwnFigure:
    """Where this audit holds the figure for an outcome: table, fixed labels, and its value and limits."""

    table: str
    labels: Mapping[str, object]
    columns: tuple[str, str, str] = ("proportion", "ci_lower", "ci_upper")
    follow_up: bool = False
    note: str = ""


_KM = ("one_minus_km", "km_lower", "km_upper")
_CHOSEN = {"placement_kind": "first", "censoring": "last_known"}
_UNITS = {
    "per_operator_attempt": "operator_attempt",
    "per_visit": "visit",
    "per_woman_first_attempt": "woman_first_attempt",
}
_DEFINITIONS = {"syncope_or_similar": "syncope"}
_OWN = {
    ("failed_insertion", "proportion"): _OwnFigure("failed_insertions", {"window": "all"}),
    ("vasovagal", "proportion"): _OwnFigure("vasovagal_by_parity", {"window": "all"}),
    ("perforation", "proportion"): _OwnFigure(
        "perforation",
        {"definition": "confirmed", "window": "all"},
        ("proportion", "exact_lower", "exact_upper"),
        note="Ours counts every perforation found up to the freeze.",
    ),
    ("expulsion", "one_minus_km"): _OwnFigure(
        "expulsion_incidence", {**_CHOSEN, "cause": "expulsion"}, _KM, follow_up=True
    ),
    ("expulsion", "rate"): _OwnFigure(
        "person_time_rates",
        {**_CHOSEN, "cause": "expulsion", "band": "all", "window": "all"},
        ("rate", "ci_lower", "ci_upper"),
        follow_up=True,
    ),
    ("continuation", "survival"): _OwnFigure(
        "continuation_curve", _CHOSEN, ("survival", "ci_lower", "ci_upper"), follow_up=True
    ),
    ("removal_bleeding_or_pain", "one_minus_km"): _OwnFigure(
        "removal_incidence", {**_CHOSEN, "cause": "bleeding_or_pain"}, _KM, follow_up=True
    ),
    ("pregnancy", "rate"): _OwnFigure(
        "pregnancy",
        {"placement_kind": "all", "censoring": "last_known", "band": "0 to 365"},
        ("rate", "ci_lower", "ci_upper"),
        follow_up=True,
    ),
    ("check_done", "proportion"): _OwnFigure("check_done", {"window": "all", "placement_kind": "all"}),
}
_SINCE_BIRTH = {"up to 36": "to", "more than 36": "after"}
_COLUMNS = (
    *("benchmark", "outcome", "measure", "population", "horizon_days"),
    *("published", "published_lower", "published_upper", "published_limits"),
    *("by", "stratum", "censoring", "own", "own_lower", "own_upper", "own_events", "own_n"),
    *("difference", "difference_lower", "difference_upper", "margin", "verdict", "reason"),
    *("definition", "setting", "years", "citation", "identifier", "verified"),
)


@cache
def published_figures() -> tuple[Published, ...]:
    """The published figures that come with the package, in the order of its library."""
    text = files("audit").joinpath("benchmarks.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["benchmark"])


def perforation_strata() -> pd.DataFrame:
    """Published rates of perforation by breastfeeding and time since a birth.

    Returns
    -------
    DataFrame
        ``stratum`` (a code of `audit.schema.derived.PERFORATION_GROUPS`), ``rate`` (0-1), ``benchmark, citation``.

    Examples
    --------
    >>> perforation_strata()["rate"].tolist()
    [0.0056, 0.0017, 0.0016, 0.0007]
    """
    rows = [
        {
            "stratum": f"{_SINCE_BIRTH[str(one['weeks_since_birth'])]}_36_weeks_"
            f"{'' if one['breastfeeding'] else 'not_'}breastfeeding",
            "rate": one["estimate"],
            "benchmark": one["id"],
            "citation": one["citation"],
        }
        for one in published_figures()
        if one["outcome"] == "perforation" and {"breastfeeding", "weeks_since_birth"} <= set(one)
    ]
    return pd.DataFrame(rows)


def compare_with_benchmarks(results: AuditResults) -> pd.DataFrame:
    """Each published figure beside this service's own, and what can be said of the difference.

    Parameters
    ----------
    results
        What `audit.run_audit` returned.

    Returns
    -------
    DataFrame
        One row per published figure: ``benchmark, outcome, measure, population, horizon_days, published,
        published_lower, published_upper, published_limits`` (``printed``, ``computed from its counts`` or ``not
        available``); ``by, stratum, censoring, own, own_lower, own_upper, own_events, own_n``; ``difference,
        difference_lower, difference_upper`` (own less published), ``margin, verdict, reason``; ``definition,
        setting, years, citation, identifier, verified``. Proportions are 0-1, rates per 1 woman-year; figures
        that are not there are nan.

    Notes
    -----
    ``higher`` or ``lower``: the 95% interval of the difference leaves out 0. ``compatible``: it lies within the
    margin the service set for that outcome. Otherwise, or without a margin, ``cannot_tell``. While the outcome
    at 12 months is known for too few women there is no verdict on anything that rests on follow-up, and none
    on a proportion of which too much is not recorded.
    """
    rows = [_compared(published, results) for published in published_figures()]
    return pd.DataFrame(rows, columns=list(_COLUMNS))


def _compared(published: Published, results: AuditResults) -> dict[str, object]:
    """One row of the comparison."""
    lower, upper, limits = _published_limits(published)
    facts = {
        "benchmark": published["id"],
        "outcome": published["outcome"],
        "measure": published["measure"],
        "population": published["population"],
        "horizon_days": published.get("horizon_days", np.nan),
        "published": published["estimate"],
        "published_lower": lower,
        "published_upper": upper,
        "published_limits": limits,
    }
    source = {
        "definition": published["definition"],
        "setting": published["setting"],
        "years": published["years"],
        "citation": published["citation"],
        "identifier": _identifier(published),
        "verified": published["verified"],
    }
    own, why_not = _own_figure(published, results)
    if own is None:
        return {**facts, "verdict": NOT_COMPARABLE, "reason": why_not, **source}
    judged = _judged(facts, own, published, results)
    return {**facts, **own, **judged, **source}


def _published_limits(published: Published) -> tuple[float, float, str]:
    """Limits of a published figure: printed, else from counts that were read, else none."""
    if "ci_lower" in published:
        return float(str(published["ci_lower"])), float(str(published["ci_upper"])), "printed"
    if published.get("counts_source") == "read" and "events" in published:
        events = int(str(published["events"]))
        if published["measure"] == "proportion" and "n" in published:
            lower, upper = proportion_interval(events, int(str(published["n"])))
            return float(lower), float(upper), "computed from its counts"
        if published["measure"] == "rate" and "woman_years" in published:
            lower, upper = rate_interval(events, float(str(published["woman_years"])))
            return float(lower), float(upper), "computed from its counts"
    return np.nan, np.nan, "not available"


def _identifier(published: Published) -> str:
    """DOI, PMID or address of the source."""
    for name, label in (("doi", "doi "), ("pmid", "PMID "), ("url", "")):
        if name in published:
            return f"{label}{published[name]}"
    return ""


def _group(published: Published) -> tuple[str, str] | None:
    """The one group of women a figure is about, in our strata; None where it needs two at once."""
    devices = list(published["device_classes"])  # type: ignore[call-overload]
    asked = []
    if published["parity"] != "any":
        asked.append(("parous", "no" if published["parity"] == "nulliparous" else "yes"))
    if devices == ["copper_any"]:
        asked.append(("device_family", "copper"))
    elif devices != ["any"]:
        asked.append(("device_class", devices[0] if len(devices) == 1 else ""))
    if published["placement_timing"] != "any":
        asked.append(("timing_group", str(published["placement_timing"])))
    if "breastfeeding" in published or "weeks_since_birth" in published or len(asked) > 1:
        return None
    return asked[0] if asked else ("overall", "overall")


def _own_figure(published: Published, results: AuditResults) -> tuple[dict[str, object] | None, str]:
    """This audit's figure for the same outcome, measure, horizon and group, or why there is none."""
    kind = _OWN.get((str(published["outcome"]), str(published["measure"])))
    group = _group(published)
    definition = published.get("definition_key")
    if kind is None or (definition is not None and definition not in _DEFINITIONS):
        return None, "This audit does not measure the outcome as the paper defines it."
    if group is None:
        return None, "The paper's group of women is narrower than any group of this audit."
    table = results.tables.get(kind.table, pd.DataFrame())
    if table.empty:
        return None, "This log does not record it."
    labels: dict[str, object] = {**kind.labels, "by": group[0], "stratum": group[1]}
    if "unit_of_analysis" in published:
        labels["unit"] = _UNITS[str(published["unit_of_analysis"])]
    if definition is not None:
        labels["definition"] = _DEFINITIONS[str(definition)]
    if kind.follow_up and "horizon_days" in published and "days" in table:
        labels["days"] = published["horizon_days"]
    found = _select(table, labels)
    if found.empty or found[kind.columns[0]].isna().all():
        return None, "Nobody of that group was followed that long here, or there is nobody in it."
    return _named(found.iloc[0], kind, labels), ""


def _select(table: pd.DataFrame, labels: Mapping[str, object]) -> pd.DataFrame:
    """The rows of a result table with these labels."""
    chosen = pd.Series(True, index=table.index)
    for name, value in labels.items():
        chosen &= (table[name] == value) if name in table else False
    return table[chosen]


def _named(row: pd.Series, kind: _OwnFigure, labels: Mapping[str, object]) -> dict[str, object]:
    """Our figure in the columns of the comparison."""
    value, lower, upper = (float(row[name]) for name in kind.columns)
    events = row.get("cumulative_events", row.get("events"))
    return {
        "by": labels["by"],
        "stratum": labels["stratum"],
        "censoring": row.get("censoring", ""),
        "own": value,
        "own_lower": lower,
        "own_upper": upper,
        "own_events": events,
        "caution": row.get("caution", ""),
        "at_risk": row.get("at_risk", np.nan),
        "own_n": row.get("n", row.get("person_years", row.get("at_risk"))),
    }


def _judged(
    facts: Mapping[str, object],
    own: Mapping[str, object],
    published: Published,
    results: AuditResults,
) -> dict[str, object]:
    """Difference, margin, verdict and the reason for it."""
    outcome = str(facts["outcome"])
    kind = _OWN[(outcome, str(facts["measure"]))]
    difference = difference_from_limits(
        *(float(str(own[name])) for name in ("own", "own_lower", "own_upper")),
        *(float(str(facts[name])) for name in ("published", "published_lower", "published_upper")),
    )
    margin = results.settings.margins.get(outcome, np.nan)
    lower, upper = float(difference.ci_lower), float(difference.ci_upper)
    verdict, reason = _verdict(lower, upper, margin)
    if kept_open := _kept_open(kind, own, published, results):
        verdict, reason = CANNOT_TELL, kept_open
    return {
        "difference": float(difference.value),
        "difference_lower": lower,
        "difference_upper": upper,
        "margin": margin,
        "verdict": verdict,
        "reason": f"{reason} {kind.note}".strip(),
    }


def _kept_open(
    kind: _OwnFigure, own: Mapping[str, object], published: Published, results: AuditResults
) -> str:
    """Why no verdict is given whatever the figures; empty where one may be."""
    if kind.follow_up and results.gate != "last_known_leads":
        return "The outcome at 12 months is known for too few women to judge anything that needs follow-up."
    if kind.follow_up and "horizon_days" not in published:
        return "The paper followed women for mixed lengths of time, and rates fall with time since placement."
    few = float(str(own["at_risk"])) < results.settings.thresholds.at_risk_floor
    # Other cautions, such as that none were seen, say how to read a figure and not that it cannot be judged.
    return str(own["caution"]) if few or own["caution"] == BOUNDS_ONLY else ""


def _verdict(lower: float, upper: float, margin: float) -> tuple[str, str]:
    """What the interval of the difference allows to be said."""
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
