"""What became of each figure since the last audit, in words."""

from collections.abc import Sequence

from markupsafe import Markup

from audit.records import AuditResults
from audit.schema.criterion import indicator_of
from audit.schema.figures import FIGURES
from audit.schema.indicators import BY_TABLE
from reports import wording
from reports.choosing import Row, is_known, one, rows
from reports.figures.series import HEIGHT, counted, dots_over_periods
from reports.figures.theme import Figure, Plot
from reports.sections.section import Block, FigureBlock, Subheading, TableBlock
from reports.tables import Cell, Column, html_table, linked, plain
from reports.words_for_codes import quarter

CHANGE = "change_since_last"
_SIDE = ("events", "n", "n_unknown", "proportion", "ci_lower", "ci_upper", "exact_lower", "exact_upper")
_VERDICTS = {
    "improved": "improved",
    "no_clear_change": "no clear change",
    "worse": "worse",
    "changed": "changed",
    "not_comparable": "not comparable",
}
# Those that stand on page one, and that a series is drawn of.
_DRAWN = (
    *("failed_insertions_per_visit", "vasovagal_any", "check_done", "outcome_known"),
    *("expulsion_12_months", "continuation_12_months"),
)
_FEWEST_PERIODS = 3
# The declaration of what each figure counts; a year's figures of one table have one each.
_COUNTED = {figure.id: figure.table for figure in FIGURES} | {
    "expulsion_12_months": "expulsion_incidence",
    "continuation_12_months": "continuation_curve",
}


def since_last(results: AuditResults, figure: str) -> str:
    """One figure's change since the last audit as a sentence; nothing where there was none.

    A figure of a curve rests on the time lived in each period, unlike the curve of the whole log.
    """
    row = one(results, CHANGE, figure=figure)
    if row is None:
        return ""
    since = (
        f"Since {quarter(str(row['then_period']))}"
        if is_known(row["then_period"])
        else "Since the last audit"
    )
    where = ", in the time lived in each period" if row["kind"] == "curve" else ""
    if row["verdict"] == "not_comparable":
        return f"{since}: cannot be compared. {row['reason']}"
    return f"{since}{where}: {wording.points(*difference_of(row))}; {verdict_words(row)}."


def difference_of(row: Row) -> tuple[float, float, float]:
    """A difference with its limits."""
    return row["difference"], row["difference_lower"], row["difference_upper"]


def verdict_words(row: Row) -> str:
    """A verdict in words, with where the figure now stands against its target.

    Examples
    --------
    >>> verdict_words({"verdict": "improved", "target": 1.0, "better": "higher", "now_ci_lower": 0.785,
    ...     "now_ci_upper": 0.944})
    'improved, still below the target of 100%'
    """
    verdict = _VERDICTS[str(row["verdict"])]
    against = _against_target(row)
    return f"{verdict}, {against}" if against else verdict


def _against_target(row: Row) -> str:
    """Where the whole interval lies against the target; nothing without one."""
    target, lower, upper = row["target"], row.get("now_ci_lower"), row.get("now_ci_upper")
    if not (is_known(target) and is_known(lower) and is_known(upper)):
        return ""
    told = f"the target of {wording.percent(target)}%"
    if row["better"] == "lower":
        met, short, side = upper <= target, lower > target, "above"
    else:
        met, short, side = lower >= target, upper < target, "below"
    if met:
        return f"meets {told}"
    return f"still {side} {told}" if short else f"{told} lies within its interval"


def change_blocks(results: AuditResults) -> list[Block]:
    """Every figure now and in the last audit, side by side."""
    every = rows(results, CHANGE)
    if not every:
        return []
    found = [row for row in every if row["by"] == "overall" or row["verdict"] in ("improved", "worse")]
    table = html_table(
        "Each figure in the last audit and in this one",
        [
            Column("Figure", _linked_title(results), "label"),
            Column("Last audit", lambda row: _side(row, "then"), "interval"),
            Column("This audit", lambda row: _side(row, "now"), "interval"),
            Column("Difference, points (95% interval)", _points, "interval"),
            Column("p", lambda row: wording.chance_cell(row["p_value"])),
            Column("Verdict", verdict_words, "text"),
            Column("Why", lambda row: _why(row), "note"),
        ],
        found,
        foot=(
            "Differences are this audit less the last, in percentage points with Newcombe's limits; p is Fisher's. "
            "For figures at 12 months the time lived in each period is followed as if it were a first year, and "
            "the limits of the difference come from those of both. The interval decides the verdict. With so many "
            "figures, about one in twenty leaves out 0 by chance alone. Groups of women stand here where they have "
            "changed, and all of them in tables/change_since_last.csv."
        ),
    )
    return [Subheading(_heading(every)), TableBlock(table)]


def _linked_title(results: AuditResults) -> Cell:
    """A cell with the title of a figure, leading to how it is counted where the methods say so."""
    counted = _COUNTED | {
        str(row["criterion"]): indicator_of(str(row["figure"]))
        for row in rows(results, "criteria_definitions")
    }

    def cell(row: Row) -> str:
        name = counted.get(str(row["figure"]), str(row["figure"]))
        return linked(str(row["title"]), name) if name in BY_TABLE else str(row["title"])

    return cell


def _heading(found: Sequence[Row]) -> str:
    """How many figures moved."""
    moved = {verdict: sum(row["verdict"] == verdict for row in found) for verdict in _VERDICTS}
    told = [
        f"{wording.number_word(moved[name])} {_VERDICTS[name]}"
        for name in ("improved", "worse")
        if moved[name]
    ]
    compared = len(found) - moved["not_comparable"]
    if not compared:
        return "No figure can be compared with the last audit"
    of = f"of {wording.plural(compared, 'figure')} compared"
    return (
        f"Since the last audit, {of}: {wording.listed(told)}"
        if told
        else f"No clear change since the last audit {of}"
    )


def _side(row: Row, time: str) -> str:
    """One side of a comparison in words."""
    held = {name: row[f"{time}_{name}"] for name in _SIDE} | {"kind": row["kind"]}
    return counted(held) if is_known(held["n"]) else wording.NOTHING


def _points(row: Row) -> str:
    """The difference, where there is one."""
    return wording.points(*difference_of(row)).replace(" points", "")


def _why(row: Row) -> str:
    """Why two figures cannot be compared."""
    return str(row["reason"]) if row["verdict"] == "not_comparable" else ""


def series_blocks(results: AuditResults) -> list[Block]:
    """The headline figures over every audit on record, from three on."""
    found = {figure: rows(results, "series", figure=figure) for figure in _DRAWN}
    drawn = {figure: own for figure, own in found.items() if len(own) >= _FEWEST_PERIODS}
    if not drawn:
        return []
    plots = (
        Plot(f"series-{name.replace('_', '-')}", dots_over_periods(own), HEIGHT, own[0]["title"])
        for name, own in drawn.items()
    )
    figure = Figure(
        "series",
        f"The last {wording.number_word(max(len(own) for own in drawn.values()))} audits",
        tuple(plots),
        " ".join(_told(own) for own in drawn.values()),
        _series_table(list(drawn.values())),
        "Of 100, with 95% intervals. Neighbouring periods differ by chance; look for what lasts.",
        tuple(_COUNTED[name] for name in drawn),
    )
    return [FigureBlock(figure)]


def _told(own: Sequence[Row]) -> str:
    """A series for those who cannot see it: its first and last measurement."""
    first, last = own[0], own[-1]
    return (
        f"{first['title']}: {counted(first)} in {quarter(first['period'])}, "
        f"{counted(last)} in {quarter(last['period'])}."
    )


def _series_table(drawn: Sequence[Sequence[Row]]) -> Markup:
    """The numbers behind the series: one line per audit, one column per figure."""
    periods = {row["last_day"]: str(row["period"]) for own in drawn for row in own}
    lines: list[Row] = []
    for last_day in sorted(periods):
        held = {own[0]["figure"]: counted(row) for own in drawn for row in own if row["last_day"] == last_day}
        lines.append({"period": quarter(periods[last_day]), **held})
    columns = [Column(own[0]["title"], _cell(str(own[0]["figure"])), "interval") for own in drawn]
    return html_table("Figures by audit", [Column("Period", plain("period"), "label"), *columns], lines)


def _cell(figure: str) -> Cell:
    """A cell that is empty where the audit lacked the figure."""
    return lambda row: str(row.get(figure, wording.NOTHING))
