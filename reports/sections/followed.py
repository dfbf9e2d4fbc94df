"""What page one says of devices followed over time, as far as the known outcomes allow."""

from dataclasses import dataclass, replace

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one
from reports.sections.expulsion import leading_expulsion
from reports.sections.first_year import HAPPENED, year_bounds
from reports.sections.observation import as_equals
from reports.sections.parts import charting_note

_YEAR = 365


@dataclass(frozen=True)
class Found:
    """An estimate ready to be said: its limits, the published figure that is like it, and the same estimate under
    the other rule of observation, which stands as its equal or beside it."""

    big: str
    words: str
    figure: str
    value: float
    lower: float
    upper: float
    section: str
    published: Row | None = None
    beside: str = ""
    whole_scale: bool = False
    other: tuple[float, float, float] | None = None
    equals: bool = False
    counted: str = ""


def reach(found: Found) -> tuple[float, float]:
    """The limits to say in words: of both rules together where they stand as equals."""
    if found.other is None or not found.equals:
        return found.lower, found.upper
    return min(found.lower, found.other[1]), max(found.upper, found.other[2])


def followed_statements(results: AuditResults) -> list[Found]:
    """Expulsion, removal, pregnancy and continuation; bounds alone while too few outcomes are known."""
    if not gate_rules(results):
        return _bounds_alone(results)
    expelled, removed = "had been expelled by 12 months", "had been taken out by 12 months, for any reason"
    made = (
        _incidence(results, leading_expulsion(results), "expulsion", expelled),
        _incidence(results, _removal(results), "removal", removed),
        _pregnancy(results),
        _continuation(results),
    )
    return [found for found in made if found is not None]


_BOUNDED = {"expulsion": "expulsion", "removal": "removal", "any": "continuation"}


def _bounds_alone(results: AuditResults) -> list[Found]:
    """The first year as bounds: the least and the most that each figure could be."""
    found = ((cause, year_bounds(results, cause)) for cause in _BOUNDED)
    return [_bounded(row, _BOUNDED[cause], HAPPENED[cause]) for cause, row in found if row is not None]


def _bounded(row: Row, section: str, words: str) -> Found:
    """One ending of the first year as bounds, drawn without a dot on a scale of its own."""
    seen = wording.count(row["events"]) if row["events"] else "none"
    known, unknown = wording.count(row["n"]), wording.count(row["n_unknown"])
    return Found(
        wording.of_women(row["bound_lower"], row["bound_upper"]).capitalize(),
        words,
        f"{seen} seen among {known} whose first year is known; for {unknown} it is not",
        float("nan"),
        float(row["bound_lower"]),
        float(row["bound_upper"]),
        section,
        beside="The least and the most it could be. The scale runs to 100.",
        whole_scale=True,
        counted="outcome_known",
    )


def _removal(results: AuditResults) -> Row | None:
    """Removal for any reason by 12 months."""
    return one(
        results, "removal_incidence", by="overall", cause="removal", days=_YEAR, censoring="last_known"
    )


def _incidence(results: AuditResults, row: Row | None, section: str, words: str) -> Found | None:
    """A cumulative incidence at 12 months as a statement, if the numbers allow one."""
    if row is None or row["caution"] or not is_known(row["incidence"]):
        return None
    same = {name: row[name] for name in ("by", "stratum", "placement_kind", "cause", "days")}
    other = one(results, f"{section}_incidence", censoring="assumed_in_place", **same)
    told = (
        "Not counting those placed soon after a birth or an abortion." if row["by"] == "timing_group" else ""
    )
    if section == "removal":
        told = "Described, not judged."
    return _followed(results, (row, other), "incidence", (section, words, "seen", told))


def _continuation(results: AuditResults) -> Found | None:
    """Devices still in use at 12 months as a statement, on a scale of its own."""
    fixed = {"by": "overall", "placement_kind": "first", "days": _YEAR}
    row = one(results, "continuation_curve", censoring="last_known", **fixed)
    if row is None or row["caution"]:
        return None
    other = one(results, "continuation_curve", censoring="assumed_in_place", **fixed)
    told = "Described, not judged. The scale runs to 100."
    words = ("continuation", "were still in use at 12 months", "ended", told)
    return replace(_followed(results, (row, other), "survival", words), whole_scale=True)


def _followed(
    results: AuditResults, pair: tuple[Row, Row | None], value: str, words: tuple[str, str, str, str]
) -> Found:
    """A figure read off a curve at 12 months, under both rules of observation."""
    (row, other), (section, what, ended, told) = pair, words
    number, limits = wording.percent(row[value]), wording.span(row["ci_lower"], row["ci_upper"])
    limits = f"95% interval {limits}"
    beside, second = told, None
    equals = as_equals(results)
    if other is not None:
        second = (float(other[value]), float(other["ci_lower"]), float(other["ci_upper"]))
        others = wording.span(other["ci_lower"], other["ci_upper"])
        if equals:
            number, limits = f"{number} or {wording.percent(other[value])}", f"{limits}, or {others}"
        else:
            beside = f"If silence means still in place: {wording.percent(other[value])} ({others}). {told}"
    events = wording.count(row["cumulative_events"]) if row["cumulative_events"] else "none"
    return Found(
        f"{number} in 100 devices",
        what,
        f"{limits}; {events} {ended}, {wording.count(row['at_risk'])} still observed",
        float(row[value]),
        float(row["ci_lower"]),
        float(row["ci_upper"]),
        section,
        beside=beside.strip(),
        other=second,
        equals=equals,
    )


def _pregnancy(results: AuditResults) -> Found | None:
    """Pregnancies per 100 woman-years as a statement."""
    fixed = {"by": "overall", "band": "all"}
    row = one(results, "pregnancy", censoring="last_known", **fixed)
    if row is None or not is_known(row["rate"]):
        return None
    other = one(results, "pregnancy", censoring="assumed_in_place", **fixed)
    figure, beside, second = _rate(row), "", None
    if other is not None and is_known(other["rate"]):
        second = (float(other["rate"]), float(other["ci_lower"]), float(other["ci_upper"]))
        if as_equals(results):
            figure = f"{figure}, or {_rate(other)}"
        else:
            beside = f"If silence means still in place: {_rate(other)}."
    return Found(
        wording.count(row["events"]) if row["events"] else "None",
        f"{'pregnancy' if row['events'] == 1 else 'pregnancies'} with a device, in "
        f"{wording.plural(row['person_years'], 'woman-year')}",
        f"{figure} per 100 woman-years{'; blanks read as no' if charting_note(results, 'pregnancy') else ''}",
        float(row["rate"]),
        float(row["ci_lower"]),
        float(row["ci_upper"]),
        "pregnancy",
        beside=beside,
        other=second,
        equals=as_equals(results),
    )


def _rate(row: Row) -> str:
    """A rate with its interval."""
    return f"{wording.rate(row['rate'])} ({wording.rate(row['ci_lower'])} to {wording.rate(row['ci_upper'])})"
