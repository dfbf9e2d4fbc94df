"""What a published figure is: its keys, the words they may hold, what makes one unusable, and those we bring."""

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from audit.schema.terms import COMPARED_OUTCOMES

Entry = Mapping[str, Any]

# Outcomes that papers print and for which no margin can be set: this audit has no figure, a part of another, or a
# score.
_OTHER_OUTCOMES = (
    *("insertion_pain", "severe_insertion_pain", "moderate_or_severe_insertion_pain"),
    *("none_or_mild_insertion_pain", "easy_insertion", "difficult_insertion"),
    *("difficult_or_failed_insertion", "aids_to_insertion", "insertion_complication"),
    *("unnoticed_expulsion", "discontinuation", "removal", "removal_bleeding", "removal_amenorrhoea"),
    *("removal_adverse_event", "removal_medical", "removal_malposition"),
    *("threads_not_seen_device_in_place", "threads_not_seen_expelled", "threads_not_seen_perforated"),
)
PUBLISHED_OUTCOMES = (*COMPARED_OUTCOMES, *_OTHER_OUTCOMES)
PROPORTION_MEASURES = (
    *("proportion", "one_minus_km", "survival", "cumulative_incidence"),
    *("pooled_proportion", "expert_estimate"),
)
PUBLISHED_MEASURES = (*PROPORTION_MEASURES, "rate", "mean", "median")
# As printed; a service's own figures are "own".
STATUSES = ("primary", "secondary", "historical", "own")

_TEXTS = ("id", "outcome", "measure", "population", "definition", "citation")
_NUMBERS = ("estimate", "ci_lower", "ci_upper", "standard_error", "woman_years")
_WHOLE = ("events", "n", "horizon_days")
_CHOICES: dict[str, tuple[str, ...]] = {
    "measure": PUBLISHED_MEASURES,
    "outcome": PUBLISHED_OUTCOMES,
    "horizon": ("mixed",),
    "counts_source": ("read", "inferred"),
    "unit_of_analysis": ("per_operator_attempt", "per_visit", "per_woman_first_attempt", "not_stated"),
    "parity": ("any", "nulliparous", "parous"),
    "placement_timing": ("any", "interval", "postpartum", "post_abortion", "emergency"),
    "censoring_rule": ("last_known", "assumed_in_place"),
    "status": STATUSES,
}
# What a figure need not say, and what is then taken.
DEFAULTS: Entry = {
    "parity": "any",
    "device_classes": ["any"],
    "placement_timing": "any",
    "censoring": "not stated",
    "setting": "not stated",
    "years": "not stated",
    "verified": "entered by this service",
    "note": "None.",
    "status": "own",
    "counts_source": "read",
}
OPTIONAL_KEYS = (
    *("ci_lower", "ci_upper", "standard_error", "events", "n", "woman_years", "horizon_days"),
    *("horizon", "unit_of_analysis", "definition_key", "age_band", "breastfeeding", "weeks_since_birth"),
    *("narrowed_to", "unlike", "measure_assumed", "definition_differs", "definition_unlike"),
    *("censoring_rule", "series", "scale", "vaginal_birth"),
    *("doi", "pmid", "url", "identifier"),
)
# By outcome, in the order of a woman's way through the clinic.
FAMILIES = ("insertion", "perforation", "expulsion", "continuation", "pregnancy", "follow_up")


@cache
def published_figures() -> tuple[Entry, ...]:
    """The published figures that come with the package, family by family."""
    folder = files("audit").joinpath("benchmarks").joinpath("library")
    texts = [folder.joinpath(f"{family}.toml").read_text(encoding="utf-8") for family in FAMILIES]
    return tuple(figure for text in texts for figure in tomllib.loads(text)["benchmark"])


def fault_in(entry: Entry) -> str:
    """The first thing that makes a published figure unusable, and what to do about it; empty where none.

    Parameters
    ----------
    entry
        The keys of one figure as read from TOML.

    Returns
    -------
    str

    Examples
    --------
    >>> fault_in({"id": "national", "outcome": "expulsion"})
    "has no 'measure'. Add it."
    """
    for check in (_missing, _unknown_key, _wrong_type, _wrong_word, _no_horizon, _outside, _counts_at_odds):
        if fault := check(entry):
            return fault
    return ""


def _missing(entry: Entry) -> str:
    """A key that every figure needs."""
    for name in (*_TEXTS, "estimate"):
        if name not in entry or entry[name] == "":
            source = ": a figure without a source cannot be used" if name == "citation" else ""
            return f"has no '{name}'{source}. Add it."
    return ""


def _unknown_key(entry: Entry) -> str:
    """A key that nothing reads."""
    known = {*_TEXTS, "estimate", *DEFAULTS, *OPTIONAL_KEYS}
    unknown = [name for name in entry if name not in known]
    return f"has a key that is not known, '{unknown[0]}'. Correct its name or delete it." if unknown else ""


def _wrong_type(entry: Entry) -> str:
    """A number that is none, or a text that is none."""
    for name in ("estimate", *_NUMBERS, *_WHOLE):
        value = entry.get(name, 0)
        if isinstance(value, bool) or not isinstance(value, int if name in _WHOLE else int | float):
            return f"has '{name}' = {value!r}. Write a {'whole ' if name in _WHOLE else ''}number."
        if not 0 <= value < float("inf"):
            return f"has '{name}' = {value!r}. Write a number from 0 upwards."
    for name in _TEXTS:
        if not isinstance(entry[name], str):
            return f"has '{name}' = {entry[name]!r}. Write text."
    lists = [name for name in ("device_classes", "unlike") if not isinstance(entry.get(name, []), list)]
    return f"has '{lists[0]}' = {entry[lists[0]]!r}. Write a list." if lists else ""


def _wrong_word(entry: Entry) -> str:
    """A word that its key does not know."""
    for name, known in _CHOICES.items():
        if name in entry and entry[name] not in known:
            few, more = ", ".join(known[:9]), f" and {len(known) - 9} more" if len(known) > 9 else ""
            return f"has {name} '{entry[name]}', which is not known. Write one of: {few}{more}."
    return ""


def _no_horizon(entry: Entry) -> str:
    """A figure that does not say by when."""
    if ("horizon_days" in entry) == ("horizon" in entry):
        found = "two horizons" if "horizon" in entry else "no horizon"
        return (
            f"has {found}. Write either horizon_days (0 at insertion, 365 at 12 months) or horizon = 'mixed'."
        )
    return ""


def _outside(entry: Entry) -> str:
    """Limits that do not hold the estimate, or a proportion above 1."""
    if ("ci_lower" in entry) != ("ci_upper" in entry):
        return "has one limit without the other. Add the other."
    estimate = entry["estimate"]
    lower, upper = entry.get("ci_lower", estimate), entry.get("ci_upper", estimate)
    if not lower <= estimate <= upper:
        return f"has limits from {lower} to {upper} that do not hold its estimate, {estimate}. Correct them."
    if entry["measure"] in PROPORTION_MEASURES and upper > 1:
        return f"has {upper} where proportions run from 0 to 1. Write 0.038 for 3.8%."
    return ""


def _counts_at_odds(entry: Entry) -> str:
    """More events than observations, or counts that give another figure."""
    events, n = entry.get("events", 0), entry.get("n")
    if n is None or entry["measure"] != "proportion":
        return ""
    if events > n:
        return f"has {events} events among {n}. Correct the counts."
    # A printed figure is rounded, and at most to a tenth of itself.
    given = "events" in entry and entry.get("counts_source", "read") == "read" and n > 0
    if given and abs(events / n - entry["estimate"]) > 0.1 * max(entry["estimate"], 1 / n):
        return f"has {events} of {n}, which is not its estimate, {entry['estimate']}. Correct one of them."
    return ""
