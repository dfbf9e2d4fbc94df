"""This service's figures beside published ones: like with like only, both sides uncertain."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.figures.intervals import Line, dots, height
from reports.figures.theme import Figure, Plot
from reports.sections.section import Block, FigureBlock, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, plain
from reports.words_for_codes import stratum, within, word

_TABLE = "benchmark_comparison"
_NONE = "no_comparable_figure"
_APART = ("higher", "lower")
# Read off a curve: what stands beside the events is the number still observed.
_CURVES = ("one_minus_km", "survival")


def benchmarks_section(results: AuditResults) -> Section:
    """Each published figure with ours, and what can be said of the difference."""
    found = rows(results, _TABLE)
    ours = [row for row in found if row["verdict"] != _NONE]
    if not ours:
        return Section(
            "benchmarks",
            "Published figures",
            "No published figure can be set beside ours",
            (
                Paragraph("Like is compared with like only; nothing in the library is like this log."),
                *_without(found),
            ),
        )
    blocks: list[Block] = [
        Paragraph(
            "Both sides are uncertain, so the interval of the difference decides. “Compatible” needs a margin the "
            "service has set; without one, or where the interval is too wide, we cannot tell. Continuation and "
            "removal are shown for orientation: there, more is neither better nor worse.",
            "Grey diamonds: published, with its limits where there are any. Dots: ours.",
        ),
        *_forests(results, ours),
        *_without(found),
        *_sources(found),
    ]
    return Section("benchmarks", "Published figures", benchmarks_heading(ours), tuple(blocks))


def apart(results: AuditResults) -> list[Row]:
    """The comparisons whose difference leaves out 0."""
    return rows(results, _TABLE, verdict=_APART)


def judged(results: AuditResults) -> int:
    """How many comparisons have limits on both sides."""
    return len([row for row in rows(results, _TABLE) if is_known(row.get("difference_lower"))])


def benchmarks_heading(ours: list[Row]) -> str:
    """How many comparisons lie apart, and of how many we cannot tell."""
    apart = [row for row in ours if row["verdict"] in _APART]
    unclear = [row for row in ours if row["verdict"] == "cannot_tell"]
    tail = f"for {len(unclear)} we cannot tell" if unclear else "none is unclear"
    if len(unclear) == len(ours):
        return f"We cannot tell whether ours differ from {wording.plural(len(ours), 'published figure')}"
    if not apart:
        return f"None of {wording.plural(len(ours), 'comparison')} lies apart from a published figure; {tail}"
    number = wording.number_word(len(apart)).capitalize()
    of = wording.plural(len(ours), "comparison")
    return f"{number} of {of} {'lies' if len(apart) == 1 else 'lie'} apart; {tail}"


def apart_sentence(row: Row) -> str:
    """One comparison that lies apart, with both figures and the difference."""
    own, published = _own(row), _published(row)
    return (
        f"{word(row['outcome'])}{_of_whom(row)}: ours is {row['verdict']} than published. Ours over the whole log: "
        f"{_counts(row)}, {own}. Published: {published}, {short_citation(row)}."
    )


def _of_whom(row: Row) -> str:
    """The group of women a comparison is about, where it is not all."""
    return "" if row["by"] == "overall" else f", {within(stratum(row['by'], row['stratum']))}"


def short_citation(row: Row) -> str:
    """First author and year of a paper, for running text."""
    names, _, _ = str(row["citation"]).partition(".")
    surname = " ".join(
        part for part in names.split(",")[0].split(" et al")[0].split() if not _is_initials(part)
    )
    others = " et al." if " et al" in names or "," in names else ""
    year = next((part for part in str(row["citation"]).replace(".", " ").split() if _is_year(part)), "")
    return f"{surname}{others} {year}".strip()


def _is_initials(text: str) -> bool:
    """Whether a word is an author's initials."""
    return len(text) <= 3 and text.isupper()


def _is_year(text: str) -> bool:
    """Whether a word is a year."""
    return len(text) == 4 and text.isdigit() and text[:2] in ("19", "20")


def _is_rate(row: Row) -> bool:
    """Whether a comparison is per woman-year."""
    return str(row["measure"]) == "rate"


def _figure_of(row: Row, value: str, lower: str, upper: str) -> str:
    """A figure with its interval, as a percentage or per 100 woman-years."""
    if not is_known(row[value]):
        return wording.NOTHING
    number = wording.rate if _is_rate(row) else _percentage
    unit = " per 100 woman-years" if _is_rate(row) else "%"
    if not is_known(row[lower]):
        return f"{number(row[value])}{unit} (no limits)"
    return f"{number(row[value])}{unit} ({number(row[lower])} to {number(row[upper])})"


def _too_few(row: Row) -> bool:
    """Whether ours is a proportion of so few that no percentage may be printed."""
    return row["measure"] == "proportion" and is_known(row["own_n"]) and row["own_n"] < wording.FEW


def _percentage(value: float) -> str:
    """A percentage with two decimals where it is small."""
    return wording.percent(value, places=2 if value < 0.01 else 1)


def _drawn(row: Row, value: str) -> str:
    """A figure with its interval as a drawing labels it, where the axis carries the unit."""
    return _figure_of(row, value, f"{value}_lower", f"{value}_upper").replace(" per 100 woman-years", "")


def _own(row: Row) -> str:
    """Our figure in words; of fewer than ten, counts alone."""
    if _too_few(row):
        return _counts(row)
    return _figure_of(row, "own", "own_lower", "own_upper")


def _published(row: Row) -> str:
    """The published figure in words."""
    return _figure_of(row, "published", "published_lower", "published_upper")


def _forests(results: AuditResults, ours: list[Row]) -> list[Block]:
    """One forest per outcome and measure, each with its table."""
    blocks: list[Block] = []
    floor = results.settings.thresholds.at_risk_floor
    for key in dict.fromkeys((str(row["outcome"]), str(row["measure"])) for row in ours):
        found = [row for row in ours if (row["outcome"], row["measure"]) == key]
        blocks.append(FigureBlock(_forest(found, "-".join(key).replace("_", "-"), floor)))
    return blocks


def _forest(found: list[Row], key: str, floor: int) -> Figure:
    """Ours and the published figure, one pair after the other."""
    lines = [line for row in found for line in _pair(row, floor)]
    rate = _is_rate(found[0])
    verdicts = [row for row in found if row["verdict"] in _APART]
    what = f"{word(found[0]['outcome'])}{', per 100 woman-years' if rate else ''}"
    title = f"{what}: {_forest_finding(found)}"
    axis = "Per 100 woman-years" if rate else "Of 100"
    return Figure(
        f"forest-{key}",
        title,
        (Plot(f"forest-{key}-plot", dots(lines, counts=axis), height(lines)),),
        f"{title}. " + " ".join(apart_sentence(row) for row in verdicts),
        html_table(f"{what}: ours and published", _columns(), found),
        "",
    )


def _forest_finding(found: list[Row]) -> str:
    """What the comparisons of one outcome allow to be said together."""
    of = wording.plural(len(found), "comparison")
    if len(found) == 1 and found[0]["verdict"] in (*_APART, "compatible"):
        return f"ours is {found[0]['verdict']}"
    said = [
        f"{verdict} in {number} of {of}"
        for verdict in (*_APART, "compatible")
        if (number := sum(row["verdict"] == verdict for row in found))
    ]
    if said:
        return f"ours is {wording.listed(said)}"
    limited = [row for row in found if is_known(row["difference_lower"])]
    if not limited:
        return "nothing can be said, for lack of limits or of women observed"
    if any(row["difference_lower"] > 0 or row["difference_upper"] < 0 for row in limited):
        return "we cannot tell, as the two are not quite alike"
    return "no difference larger than chance can be shown"


def _pair(row: Row, floor: int) -> list[Line]:
    """Two lines: ours, then the published figure in grey. With too few still observed, ours is told, not drawn."""
    limits = is_known(row["published_lower"])
    published = Line(
        f"{short_citation(row)}{_by_when(row)}",
        float(row["published"]),
        float(row["published_lower"] if limits else row["published"]),
        float(row["published_upper"] if limits else row["published"]),
        _drawn(row, "published"),
        "grey",
    )
    whom = f"Ours{_of_whom(row)}"
    if _too_few(row) or (row["measure"] in _CURVES and row["own_n"] < floor):
        nan = float("nan")
        return [Line(whom, nan, nan, nan, _counts(row) if _too_few(row) else "too few observed"), published]
    own = (float(row["own"]), float(row["own_lower"]), float(row["own_upper"]))
    return [Line(whom, *own, _drawn(row, "own"), "accent" if row["verdict"] in _APART else "ink"), published]


def _by_when(row: Row) -> str:
    """The time a figure read off a curve refers to."""
    return f", by {_horizon(row)}" if row["measure"] in _CURVES else ""


def _columns() -> list[Column]:
    """The columns of the comparison."""
    return [
        Column("Published for", lambda row: f"{row['population']} ({short_citation(row)})", "label"),
        Column("By", _horizon, "short"),
        Column("Published", _published, "interval"),
        Column("Its limits", plain("published_limits"), "text"),
        Column("Ours", _own, "interval"),
        Column("Our counts", _counts, "short"),
        Column("Difference (95% interval)", _difference, "interval"),
        Column("Verdict", lambda row: word(row["verdict"]), "short"),
        Column("Why", plain("reason"), "text"),
    ]


def _horizon(row: Row) -> str:
    """The time to which a figure refers."""
    days = row["horizon_days"]
    return wording.since_placement(days) if is_known(days) and days else wording.NOTHING


def _counts(row: Row) -> str:
    """Our events and their denominator: women, woman-years, or those still observed at that day."""
    if not is_known(row["own_events"]):
        return wording.NOTHING
    events, n = wording.count(row["own_events"]), wording.count(row["own_n"])
    if _is_rate(row):
        return f"{events} in {n} woman-years"
    return f"{events} ended, {n} still observed" if row["measure"] in _CURVES else f"{events} of {n}"


def _difference(row: Row) -> str:
    """Ours less theirs, in points or per 100 woman-years."""
    if not is_known(row["difference_lower"]):
        return wording.NOTHING
    value, lower, upper = (row[name] for name in ("difference", "difference_lower", "difference_upper"))
    places = 2 if max(abs(lower), abs(upper)) < 0.01 else 1
    return f"{wording.percent(value, places=places)} ({wording.span(lower, upper, places=places)})"


def _without(found: list[Row]) -> list[Block]:
    """Published figures with nothing of ours beside them."""
    alone = [row for row in found if row["verdict"] == _NONE]
    if not alone:
        return []
    columns = [
        Column("Published for", lambda row: f"{row['population']} ({short_citation(row)})", "label"),
        Column("Outcome", lambda row: word(row["outcome"]), "text"),
        Column("Published", _published, "interval"),
        Column("Why there is none of ours", plain("reason"), "text"),
    ]
    return [
        Subheading(f"No comparable figure of ours for {wording.plural(len(alone), 'published figure')}"),
        TableBlock(html_table("Published figures without one of ours", columns, alone)),
    ]


def _sources(found: list[Row]) -> list[Block]:
    """Where the published figures come from, once each."""
    once = {str(row["citation"]): row for row in found}
    columns = [
        Column("Paper", lambda row: f"{row['citation']}. {row['identifier']}", "label"),
        Column("Setting", plain("setting"), "text"),
        Column("Years", plain("years"), "short"),
        Column("How it was checked", plain("verified"), "text"),
    ]
    if not once:
        return []
    return [
        Subheading("Where the published figures come from"),
        TableBlock(html_table("Sources of the published figures", columns, list(once.values()))),
    ]
