"""A clinician's own figures on the own sheet: counts, then proportions beside what the service makes ordinary."""

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, limits_of, only_bounds, rows
from reports.figures.marks import Mark, interval_mark
from reports.figures.theme import nice_top, ticks
from reports.sections.clinicians import allowed_for
from reports.sections.parts import CASES_NOT_PEOPLE, PERIOD, ROLLING, WHOLE, WINDOWS_SHOWN
from reports.tables import Column, html_table

FIGURES, COUNTS = "clinician_figures", "clinician_counts"
FAILED = "failed"
_SIGNALS = ("ask", "review")
# figure -> what was counted, with what happened, for one and for several; and in which window it leads.
_SAID = {
    FAILED: ("attempt made alone failed", "attempts made alone failed", ROLLING),
    "failed_supervised": ("attempt under supervision failed", "attempts under supervision failed", ROLLING),
    "first_pass": (
        "attempt placed the device at the first pass",
        "attempts placed the device at the first pass",
        ROLLING,
    ),
    "vasovagal_any": (
        "insertion visit saw a vasovagal reaction, of any grade",
        "insertion visits saw a vasovagal reaction, of any grade",
        ROLLING,
    ),
    "vasovagal_grade_2_plus": (
        "insertion visit saw a reaction of grade 2 or more",
        "insertion visits saw a reaction of grade 2 or more",
        ROLLING,
    ),
    "severe_pain": (
        "woman who gave a score for pain gave 7 or more",
        "women who gave a score for pain gave 7 or more",
        ROLLING,
    ),
    "expulsion_first_year": (
        "device that you placed a year or more ago came out by itself in its first year",
        "devices that you placed a year or more ago came out by themselves in their first year",
        WHOLE,
    ),
}
_BEGUN = {
    "begun": "Insertions begun",
    "placed": "Device placed",
    "failed": "Failed",
    "stopped_on_request": "– stopped at her request",
    "taken_over": "– taken over by a colleague",
    "outcome_unknown": "Outcome not recorded",
    "supervised": "Begun under supervision",
    "went_on": "Gone on with after a colleague",
    "deferred": "Put off before the start",
}
_SEEN = {
    "grade_0": "No reaction (grade 0)",
    "grade_1": "Grade 1: symptoms only",
    "grade_2": "Grade 2: had to lie down",
    "grade_3": "Grade 3: fainted",
    "grade_4": "Grade 4: needed treatment",
    "grade_unknown": "Grade not recorded",
    "perforation_confirmed": "Perforation, confirmed",
    "perforation_suspected": "Perforation, suspected",
    "perforation_unknown": "Perforation, not recorded",
}
# Lines that stand even where nothing is counted: that there was none is worth saying.
_ALWAYS = ("begun", "placed", FAILED, "supervised", "perforation_confirmed", "perforation_suspected")

_Found = Mapping[tuple[str, str], Row]


@dataclass(frozen=True)
class OwnFigure:
    """One figure: the large count, what it counts, the percentage or why there is none, a drawing on its scale,
    what the service makes ordinary, and the other windows."""

    big: str
    words: str
    figure: str
    mark: Markup
    scale: tuple[str, ...]
    beside: str
    windows: str


@dataclass(frozen=True)
class Standing:
    """How the own failures stand, in sentences, and whether they lie beyond a limit."""

    sentences: tuple[str, ...]
    beyond: bool = False


def own_answer(results: AuditResults) -> str:
    """What the clinician did in twelve months, in a sentence or two."""
    n = {row["item"]: row["n"] for row in rows(results, COUNTS, window=ROLLING)}
    until, put_off = wording.day(results.period.last_day), n.get("deferred", 0)
    if not n.get("begun"):
        deferred = f" {wording.plural(put_off, 'was', 'were')} put off before the start." if put_off else ""
        return f"In the twelve months to {until} you began no insertion.{deferred}"
    deferred = (
        f" {wording.plural(put_off, 'more was', 'more were')} put off before the start." if put_off else ""
    )
    parts = [
        f"{wording.count(n.get('placed', 0))} placed a device",
        f"{wording.count(n[FAILED]) if n.get(FAILED) else 'none'} failed",
    ]
    if unknown := n.get("outcome_unknown", 0):
        parts.append(f"the outcome of {wording.count(unknown)} is not recorded")
    begun = wording.plural(n["begun"], "insertion")
    return f"In the twelve months to {until} you began {begun}: {wording.listed(parts)}.{deferred}"


def own_standing(results: AuditResults) -> Standing:
    """Whether the own failures lie within what chance allows, and whether the women explain it."""
    row = _found(results).get((FAILED, ROLLING))
    fewest = results.settings.thresholds.clinician_attempts
    if row is None or row["n"] < fewest:
        few = f"Fewer than {fewest} attempts that you made alone have a known outcome in these months"
        return Standing((f"{few}, so your failures stand as counts and are compared with nothing.",))
    if not row["service_told"]:
        return Standing(
            ("Your failures are compared with nobody’s; “How to read this sheet” at the end says why.",)
        )
    if row["signal"] not in _SIGNALS:
        return Standing(("Your failures lie within what chance allows.",))
    order = "Look in this order: the data, the women, equipment and setting, chance, practice."
    return Standing((_marked(row), f"{CASES_NOT_PEOPLE} {order}"), beyond=True)


def _marked(row: Row) -> str:
    """A mark in a sentence, and what the women explain."""
    more = "More" if row["direction"] == "more" else "Fewer"
    limit = "99.8%" if row["signal"] == "review" else "95%"
    said = f"{more} of your attempts failed than chance allows ({limit} limit)."
    if not is_known(row["expected"]):
        return said
    still = "this still holds" if row["case_mix_signal"] in _SIGNALS else "this no longer holds"
    return f"{said} With {allowed_for(row['expected_by'])} allowed for, {still}."


def own_counts(results: AuditResults) -> tuple[Markup, ...]:
    """The counts of each window side by side: what was begun, and what was seen."""
    n = {(row["item"], row["window"]): row["n"] for row in rows(results, COUNTS)}
    return _counts("Your insertions", _BEGUN, n), _counts("Reactions and perforations", _SEEN, n)


def _counts(caption: str, items: Mapping[str, str], n: Mapping[tuple[str, str], int]) -> Markup:
    """A table of these items."""
    lines = [
        {"item": item, **{window: n.get((item, window), 0) for window in WINDOWS_SHOWN}}
        for item in items
        if item in _ALWAYS or n.get((item, WHOLE))
    ]
    columns = [
        Column("Count of", lambda row: items[row["item"]], "label"),
        Column("This period", lambda row: wording.count(row[PERIOD])),
        Column("Twelve months", lambda row: wording.count(row[ROLLING])),
        Column("Whole log", lambda row: wording.count(row[WHOLE])),
    ]
    return html_table(caption, columns, lines)


def own_statements(results: AuditResults) -> tuple[OwnFigure, ...]:
    """Every figure the log allows, with its drawing."""
    found, fewest = _found(results), results.settings.thresholds.clinician_attempts
    leading = [(figure, found.get((figure, window))) for figure, (*_, window) in _SAID.items()]
    return tuple(
        _own_figure(figure, row, found, fewest) for figure, row in leading if row is not None and row["n"]
    )


def _found(results: AuditResults) -> _Found:
    """The own figures, each by what it is and its window."""
    return {(row["figure"], row["window"]): row for row in rows(results, FIGURES)}


def _own_figure(figure: str, row: Row, found: _Found, fewest: int) -> OwnFigure:
    """One figure of the sheet."""
    drawn = row["n"] >= fewest and not only_bounds(row)
    compared = drawn and is_known(row["most"])
    mark, scale = _drawn(row, compared) if drawn else (Markup(""), ())
    return OwnFigure(
        f"{wording.count(row['events']) if row['events'] else 'None'} of {wording.count(row['n'])}",
        _SAID[figure][row["n"] != 1],
        _percentage(row, fewest),
        mark,
        scale,
        _beside(row) if compared else "",
        _windows(figure, found, fewest),
    )


def _percentage(row: Row, fewest: int) -> str:
    """The percentage with its interval, or why there is none."""
    unknown = f"{wording.count(row['n_unknown'])} not recorded" if row["n_unknown"] else "all recorded"
    if row["n"] < fewest:
        return f"fewer than {fewest}: the counts alone; {unknown}"
    if only_bounds(row):
        return f"{unknown}: too many for a percentage"
    lower, upper, _ = limits_of(row)
    places = wording.decimals(upper)
    if not row["events"]:
        return f"up to {wording.percent(upper, places=places)}% is still possible; {unknown}"
    value = wording.percent(row["proportion"], places=places)
    return f"{value}% (could be {wording.span(lower, upper, places=places)}); {unknown}"


def _drawn(row: Row, compared: bool) -> tuple[Markup, tuple[str, ...]]:
    """The own interval over the range of ordinary counts, on a scale of its own."""
    lower, upper, _ = limits_of(row)
    band = (row["least"] / row["n"], row["most"] / row["n"]) if compared else None
    scale = ticks(nice_top(max(upper, band[1] if band else 0.0)))
    outside = compared and not row["least"] <= row["events"] <= row["most"]
    said = wording.proportion(row)
    if band:
        said = f"{said}; ordinary: {wording.count(row['least'])} to {wording.count(row['most'])}"
    mark = interval_mark(Mark(float(row["proportion"]), lower, upper, band, outside), scale, said)
    return mark, tuple(f"{100 * tick:.3g}" for tick in scale)


def _beside(row: Row) -> str:
    """What the service's figure makes ordinary in so many, and what the women make likely."""
    named = {"": "the service’s figure", "service": "the service’s figure"}
    named["service_excluding_own"] = "the other clinicians’ figure"
    whose = f"{named.get(row['target_kind'], 'the figure the service has set')} ({_about(row['service'])})"
    ordinary = f"{wording.count(row['least'])} to {wording.count(row['most'])}"
    said = f"Ordinary in {wording.count(row['n'])}: {ordinary}, at {whose}."
    if not is_known(row["expected"]):
        return said
    expected = f"{said} In women like yours about {_whole(row['expected'])} were to be expected;"
    if not row["events"]:
        return f"{expected} you had none (up to {row['ratio_upper']:.1f} times as many is still possible)."
    return (
        f"{expected} yours are {row['ratio']:.1f} times as many "
        f"({row['ratio_lower']:.1f} to {row['ratio_upper']:.1f})."
    )


def _about(share: float) -> str:
    """The service's figure in whole numbers: it is not to be worked back from."""
    return f"about {100 * share:.0f} in 100" if share >= 0.005 else "fewer than 1 in 100"


def _whole(expected: float) -> str:
    """Expected failures in whole numbers."""
    return wording.count(expected) if expected >= 0.5 else "none"


def _windows(figure: str, found: _Found, fewest: int) -> str:
    """The same figure in the other windows."""
    said, leads = [], _SAID[figure][2]
    most = found[figure, leads]["n"]
    for window, words in ((PERIOD, "This period"), (WHOLE, "Whole log")):
        row = found.get((figure, window))
        # A new clinician's whole log is these twelve months.
        if row is None or window == leads or not row["n"] or (window == WHOLE and row["n"] == most):
            continue
        few = row["n"] < fewest or only_bounds(row)
        counts = f"{wording.count(row['events']) if row['events'] else 'none'} of {wording.count(row['n'])}"
        said.append(f"{words}: {counts if few else wording.proportion(row)}.")
    return " ".join(said)
