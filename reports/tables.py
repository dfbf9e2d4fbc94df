"""Result rows into HTML tables. The only place where text becomes HTML."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from audit.schema.indicators import BY_TABLE
from reports import wording
from reports.choosing import Row, is_known, limits_of, only_bounds

Cell = Callable[[Row], str]


@dataclass(frozen=True)
class Column:
    """One column of a printed table: its heading with the unit, how a row's cell reads, and what it holds.

    `kind` is ``label`` (row heading), ``number`` (right-aligned), ``interval``, ``short`` (a few words on one
    line), ``text``, or ``note``: printed only where some row has one.
    """

    heading: str
    cell: Cell
    kind: str = "number"


def html_table(
    caption: str,
    columns: Sequence[Column],
    rows: Sequence[Row],
    *,
    foot: str = "",
    counted: Sequence[str] = (),
) -> Markup:
    """A table with a caption, headings for columns and rows, and a note below.

    Parameters
    ----------
    caption
        What the table shows, as plain text.
    columns
        What to print; the first one holds the row headings.
    rows
        The rows of a result table; with none, the table says so.
    foot
        A note below, as plain text.
    counted
        The figures it holds, by their names in `audit.schema.indicators.BY_TABLE`: the caption leads to how each
        is counted.

    Returns
    -------
    Markup
        HTML in which every text of the data is escaped.

    Examples
    --------
    >>> print(html_table("Sites", [Column("Site", lambda row: row["site"], "label")], [{"site": "<b>"}]))
    <div class="scroll"><table><caption>Sites</caption>
    <thead><tr><th scope="col" class="label">Site</th></tr></thead>
    <tbody><tr><th scope="row">&lt;b&gt;</th></tr></tbody></table></div>
    """
    columns = [
        column for column in columns if column.kind != "note" or any(column.cell(row).strip() for row in rows)
    ]
    heads = "".join(f'<th scope="col"{_class(column)}>{escape(column.heading)}</th>' for column in columns)
    body = "\n".join(_line(columns, row) for row in rows)
    if not rows:
        body = f'<tr><td colspan="{len(columns)}">No rows.</td></tr>'
    note = Markup('<p class="foot">{}</p>').format(foot) if foot else Markup("")
    return Markup(
        '<div class="scroll"><table><caption>{caption}{how}</caption>\n'
        "<thead><tr>{heads}</tr></thead>\n<tbody>{body}</tbody></table></div>{note}"
    ).format(caption=caption, how=how_counted(counted), heads=Markup(heads), body=Markup(body), note=note)


def _line(columns: Sequence[Column], row: Row) -> str:
    """One row of a table as HTML; its first cell is the heading of the row."""
    # A page has thousands of cells, and to format each as Markup takes several times as long.
    cells = (f"<td{_class(column)}>{escape(column.cell(row))}</td>" for column in columns[1:])
    return f'<tr><th scope="row">{escape(columns[0].cell(row))}</th>{"".join(cells)}</tr>'


def _class(column: Column) -> str:
    """The class of a column's cells; numbers and intervals, which most are, have none: it keeps the page small."""
    return "" if column.kind in ("number", "interval") else f' class="{escape(column.kind)}"'


def how_counted(names: Sequence[str]) -> Markup:
    """The way to where the methods say how figures are counted; nothing for none.

    Examples
    --------
    >>> print(how_counted(["perforation"]).strip())
    <span class="counted"><a href="#how-perforation">How it is counted</a></span>
    """
    if not names:
        return Markup("")
    if len(names) == 1:
        return Markup(' <span class="counted">{}</span>').format(linked("How it is counted", names[0]))
    links = Markup(", ").join(linked(BY_TABLE[name].title, name) for name in names)
    return Markup(' <span class="counted">How they are counted: {}</span>').format(links)


def linked(text: str, name: str) -> Markup:
    """A text that leads to where the methods say how a figure is counted."""
    return Markup('<a href="#how-{}">{}</a>').format(name, text)


def number(column: str) -> Cell:
    """A cell that holds a count."""
    return lambda row: wording.count(row[column])


def plain(column: str) -> Cell:
    """A cell that holds a text as it stands."""
    return lambda row: str(row[column]) if is_known(row[column]) else wording.NOTHING


def proportion_columns(label: Column, *, events: str, of: str = "Of") -> list[Column]:
    """The columns of any table of proportions: counts, percentage, interval, unknown, note."""
    return [
        label,
        Column(events, number("events")),
        Column(of, number("n")),
        Column("%", _percentage),
        Column("95% interval, %", _interval, "interval"),
        Column("Not known", number("n_unknown")),
    ]


PROPORTION_FOOT = (
    "Limits are Wilson's; those marked e are exact (Clopper-Pearson), where either count is 5 or fewer or the "
    "denominator is below 30. Below 10 no percentage is given."
)


def _percentage(row: Row) -> str:
    """The percentage, where it may be printed."""
    if row["n"] < wording.FEW or only_bounds(row):
        return wording.NOTHING
    return wording.percent(row["proportion"], places=wording.decimals(limits_of(row)[1]))


def _interval(row: Row) -> str:
    """The interval with its mark, or the bounds where only those may be printed."""
    if row["n"] == 0:
        return wording.NOTHING
    if only_bounds(row):
        return f"{wording.span(row['bound_lower'], row['bound_upper'])} (bounds)"
    lower, upper, whose = limits_of(row)
    text = wording.span(lower, upper, places=wording.decimals(upper))
    return f"{text} e" if whose == "exact" else text


def rate_columns(label: Column) -> list[Column]:
    """The columns of any table of rates per 100 woman-years."""
    return [
        label,
        Column("Events", number("events")),
        Column("Woman-years", number("person_years")),
        Column("Per 100 woman-years", lambda row: wording.rate(row["rate"])),
        Column(
            "95% interval",
            lambda row: (
                f"{wording.rate(row['ci_lower'])} to {wording.rate(row['ci_upper'])}"
                if is_known(row["ci_lower"])
                else wording.NOTHING
            ),
            "interval",
        ),
    ]


def estimate_cell(value: str, lower: str, upper: str) -> Cell:
    """A cell with a proportion and its interval, in per cent, from three columns."""

    def cell(row: Row) -> str:
        if not is_known(row[value]):
            return wording.NOTHING
        places = wording.decimals(row[upper])
        interval = wording.span(row[lower], row[upper], places=places)
        return f"{wording.percent(row[value], places=places)} ({interval})"

    return cell


def quantile_cell(name: str) -> Cell:
    """A cell with a quantile of days or scores and its limits."""
    return lambda row: wording.amounts(row[name], row[f"{name}_lower"], row[f"{name}_upper"])


def incidence_columns(label: Column) -> list[Column]:
    """The columns of any table of cumulative incidence read at a day."""
    return [
        label,
        Column("Ended this way so far", number("cumulative_events")),
        Column("Still observed", number("at_risk")),
        Column(
            "Cumulative incidence, % (95% interval)",
            estimate_cell("incidence", "ci_lower", "ci_upper"),
            "interval",
        ),
        Column(
            "1 − Kaplan-Meier, % (95% interval)",
            estimate_cell("one_minus_km", "km_lower", "km_upper"),
            "interval",
        ),
        Column("Note", plain("caution"), "note"),
    ]


def escaped(text: object) -> str:
    """Text made safe for a drawing, whose labels read a little HTML.

    Examples
    --------
    >>> escaped("<b>A & B</b>")
    '&lt;b&gt;A &amp; B&lt;/b&gt;'
    """
    return str(escape(str(text)))
