"""What happened, in five to seven statements: the count large, the interval in words, a drawing on one scale."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, limits_of, one, only_bounds, rows
from reports.figures.marks import Mark, interval_mark
from reports.figures.theme import nice_top, ticks
from reports.sections.benchmark_words import grade_words, short_citation
from reports.sections.changes import since_last
from reports.sections.followed import Found, followed_statements, reach
from reports.sections.parts import PERIOD, charting_note

_YEAR = 365
# The figure of the audit cycle that a statement is about, by its section.
_FOLLOWED_UP = {
    "failed-insertions": "failed_insertions_per_visit",
    "vasovagal": "vasovagal_any",
    "expulsion": "expulsion_12_months",
    "continuation": "continuation_12_months",
}
# The declaration of what each section's statement counts.
_COUNTED = {
    "failed-insertions": "failed_insertions",
    "vasovagal": "vasovagal_by_parity",
    "expulsion": "expulsion_incidence",
    "removal": "removal_incidence",
    "continuation": "continuation_curve",
}
_VERDICTS = ("higher", "lower", "compatible", "cannot_tell")


@dataclass(frozen=True)
class Statement:
    """One statement: the large count, what it counts, the figure with its interval, a drawing, what stands beside
    it, the section that holds more, and the name of the figure that the methods say how to count."""

    big: str
    words: str
    figure: str
    plainly: str
    mark: Markup
    scale: tuple[str, ...]
    beside: str
    section: str
    counted: str
    since: str = ""


def statements(results: AuditResults) -> tuple[tuple[Statement, ...], float]:
    """The statements of page one, in the order of a woman's way through the clinic, and the end of their scale."""
    made = _all(results)
    uppers = [found.upper for found in made if is_known(found.upper) and not found.whole_scale]
    top = nice_top(max(uppers, default=0.1))
    return tuple(_said(results, found, top) for found in made), top


def _all(results: AuditResults) -> list[Found]:
    """Every statement these results allow."""
    made = [
        _proportion(
            results,
            "failed_insertions",
            "failed-insertions",
            (
                "visit for an insertion ended without a device",
                "visits for an insertion ended without a device",
            ),
            outcome="failed_insertion",
            unit="visit",
        ),
        _proportion(
            results,
            "vasovagal_by_parity",
            "vasovagal",
            (
                "insertion visit saw a vasovagal reaction, of any grade",
                "insertion visits saw a vasovagal reaction, of any grade",
            ),
            outcome="vasovagal",
            definition="vasovagal_any",
        ),
        _proportion(
            results,
            "perforation",
            "perforation",
            (
                "attempt is known to have perforated the uterus",
                "attempts are known to have perforated the uterus",
            ),
            outcome="perforation",
            definition="confirmed",
        ),
        *followed_statements(results),
    ]
    return [found for found in made if found is not None]


def _proportion(
    results: AuditResults, table: str, section: str, words: tuple[str, str], *, outcome: str, **labels: object
) -> Found | None:
    """A proportion of the period as a statement; `words` for one and for several."""
    row = one(results, table, by="overall", window=PERIOD, **labels)
    if row is None or not row["n"]:
        return None
    lower, upper, _ = limits_of(row)
    places = wording.decimals(upper)
    drawn = row["n"] >= wording.FEW and not only_bounds(row)
    unknown = f"{wording.count(row['n_unknown'])} not recorded" if row["n_unknown"] else "all recorded"
    if charting_note(results, table):
        unknown = "blanks read as no" if not row["n_unknown"] else f"{unknown}, blanks read as no"
    nan = float("nan")
    if row["n"] >= wording.FEW and not row["events"] and not only_bounds(row):
        figure = f"up to {wording.percent(upper, places=places)}% is still possible; {unknown}"
    elif only_bounds(row):
        figure = f"between {wording.span(row['bound_lower'], row['bound_upper'])}%: too much is not recorded"
    elif not drawn:
        figure = f"too few for a percentage; {unknown}"
    else:
        figure = (
            f"{wording.percent(row['proportion'], places=places)}% "
            f"({wording.span(lower, upper, places=places)}); {unknown}"
        )
    big = f"{wording.count(row['events']) if row['events'] else 'None'} of {wording.count(row['n'])}"
    return Found(
        big,
        words[row["n"] != 1],
        figure,
        float(row["proportion"]) if drawn else nan,
        lower if drawn else nan,
        upper if drawn else nan,
        section,
        _published(results, outcome),
    )


def _published(results: AuditResults, outcome: str) -> Row | None:
    """The most alike published figure with limits that is about all women, as ours is; the first of several."""
    found = [
        row
        for row in rows(results, "benchmark_comparison", outcome=outcome, by="overall")
        if is_known(row["published_lower"]) and row["verdict"] != "no_comparable_figure"
    ]
    return min(found, key=lambda row: str(row.get("grade", "")), default=None)


def _said(results: AuditResults, found: Found, shared: float) -> Statement:
    """A statement with its drawing and what stands beside it."""
    top = 1.0 if found.whole_scale else shared
    scale = tuple(f"{100 * tick:.3g}" for tick in ticks(top))
    published = found.published
    band = (published["published_lower"], published["published_upper"]) if published else None
    accent = published is not None and published["verdict"] in ("higher", "lower")
    drawn = is_known(found.upper)
    mark = (
        interval_mark(
            Mark(found.value, found.lower, found.upper, band, accent, found.other), ticks(top), found.figure
        )
        if drawn
        else Markup("")
    )
    per = "women a year" if found.section == "pregnancy" else ""
    plainly = f"could be {wording.in_a_hundred(*reach(found))} {per}".strip() if is_known(found.value) else ""
    beside = found.beside or (_compared(published) if published else _none_alike(results, found))
    since = since_last(results, _FOLLOWED_UP.get(found.section, ""))
    counted = found.counted or _COUNTED.get(found.section, found.section)
    return Statement(
        found.big,
        found.words,
        found.figure,
        plainly,
        mark,
        scale,
        beside.strip(),
        found.section,
        counted,
        since,
    )


def _none_alike(results: AuditResults, found: Found) -> str:
    """Whether there are published figures for other groups of women, or none at all."""
    if rows(results, "benchmark_comparison", outcome=found.section, verdict=_VERDICTS):
        return "Published figures count it differently: see “Published figures”."
    return "No published figure is like it."


def _compared(row: Row) -> str:
    """A published figure in a sentence, with ours counted its way."""
    places = wording.decimals(row["published_upper"])
    published = wording.percent(row["published"], places=places)
    limits = wording.span(row["published_lower"], row["published_upper"], places=places)
    alike = f" (likeness {grade_words(row)})" if grade_words(row) else ""
    paper = f"Published: {published}% ({limits}), {short_citation(row)}{alike}."
    if row["own_n"] < wording.FEW:
        return f"{paper} Ours are too few to compare."
    own = wording.percent(row["own"], places=places)
    verdict = {
        "higher": "higher",
        "lower": "lower",
        "compatible": "compatible",
        "cannot_tell": "we cannot tell them apart",
    }[str(row["verdict"])]
    return f"{paper} Ours, counted that way over the whole log: {own}%, {verdict}."


def legend(said: Sequence[Statement], top: float) -> str:
    """What the small drawings show, as far as there are any."""
    marks = "".join(statement.mark for statement in said)
    if not marks:
        return ""
    parts = [
        (
            "<circle",
            "Dot and line: the figure and its 95% interval (Wilson's, or exact where a count is small).",
        ),
        ("hollow", "Hollow dot: if silence means still in place."),
        ('class="band"', "Grey band: the published figure's interval."),
        ("<circle", f"The scale runs from 0 to {100 * top:.3g} in 100, unless said."),
    ]
    return " ".join(text for sign, text in parts if sign in marks)
