"""Every figure of the audit in three tables, for the quality officer: counted how often, of how many, how sure."""

from collections.abc import Sequence

from audit.records import AuditResults
from audit.schema.indicators import BY_TABLE, INDICATORS
from reports import wording
from reports.choosing import Row, is_known, rows
from reports.sections.section import Block, Folded, Paragraph, Section
from reports.tables import (
    PROPORTION_FOOT,
    Column,
    html_table,
    incidence_columns,
    linked,
    plain,
    proportion_columns,
    rate_columns,
)
from reports.words_for_codes import within, word

# What tells the rows of one table apart, besides the group; in the order in which it is said.
_APART = (
    *("item", "unit", "definition", "cause", "grade", "phase", "technique", "used", "scanned", "due"),
    *("placement_kind", "censoring", "window"),
)
_YEAR = 365
# Completeness has a table of its own, and standards are counted in theirs.
_PROPORTION = {"events", "n", "n_unknown", "proportion", "exact_lower", "by"}
_RATE = {"events", "person_years", "rate"}


def every_figure_section(results: AuditResults) -> Section:
    """All proportions, rates and incidences over the whole service, each with its file."""
    parts = {
        "proportion": _proportions(results),
        "rate per 100 woman-years": _rates(results),
        "incidence at 12 months": _incidences(results),
    }
    told = wording.listed([wording.plural(len(found), kind, _many(kind)) for kind, found in parts.items()])
    return Section(
        "every-figure",
        "Every figure",
        f"{told}, each with what it is counted of" if any(parts.values()) else "No figure can be given",
        (
            Paragraph(
                "For checking and for comparison: what this report says of the whole service, in this period and "
                "over the whole log. Groups, sites and every step of the curves stand in the files named, in the "
                "folder “tables”.",
            ),
            *_folded(parts),
        ),
    )


def _many(kind: str) -> str:
    """The kind in the plural."""
    first, _, rest = kind.partition(" ")
    return f"{first}s {rest}".strip()


def _folded(parts: dict[str, list[Row]]) -> list[Block]:
    """A table for each kind that has rows."""
    columns = {
        "proportion": proportion_columns(_LABEL, events="Counted"),
        "rate per 100 woman-years": rate_columns(_LABEL),
        "incidence at 12 months": incidence_columns(_LABEL),
    }
    foots = {"proportion": PROPORTION_FOOT}
    file = Column("File", plain("file"), "short")
    return [
        Folded(
            f"Every {kind}",
            html_table(
                f"Every {kind}, whole service", [*columns[kind], file], found, foot=foots.get(kind, "")
            ),
        )
        for kind, found in parts.items()
        if found
    ]


_LABEL = Column("Figure", lambda row: row["figure"], "label")


def _proportions(results: AuditResults) -> list[Row]:
    """Rows of tables of proportions, of the indicators alone."""
    return [
        _named(name, row)
        for name in _indicator_tables(results, _PROPORTION)
        for row in rows(results, name, by="overall")
    ]


def _rates(results: AuditResults) -> list[Row]:
    """Rows of tables of rates; all the time since placement together."""
    return [
        _named(name, row)
        for name in _indicator_tables(results, _RATE)
        for row in rows(results, name, by="overall")
        if str(row.get("band", "all")) == "all"
    ]


# Endings that have no curve of their own, and the figure that says how each is counted.
_ENDING = {"pregnancy": "pregnancy", "perforation": "perforation"}


def _incidences(results: AuditResults) -> list[Row]:
    """The incidences of every cause as they stood at a year."""
    causes = {
        "ending_incidence": {"cause": tuple(_ENDING)},
        "expulsion_incidence": {},
        "removal_incidence": {},
    }
    return [
        _named(name, row)
        for name, chosen in causes.items()
        for row in _at_a_year(rows(results, name, by="overall", **chosen))
    ]


def _at_a_year(found: Sequence[Row]) -> list[Row]:
    """Of each curve the last step that is no later than a year."""
    last: dict[tuple[object, ...], Row] = {}
    for row in found:
        if row["days"] <= _YEAR:
            last[tuple(row.get(column) for column in _APART)] = row
    return list(last.values())


def _indicator_tables(results: AuditResults, needed: set[str]) -> list[str]:
    """The tables of indicators that have these columns, in the order of the audit."""
    told = {indicator.table for indicator in INDICATORS}
    return [name for name, found in results.tables.items() if name in told and needed <= set(found.columns)]


def _named(name: str, row: Row) -> Row:
    """The row with what the figure is called, which leads to how it is counted, and the file that holds it."""
    item = str(row.get("item", ""))
    counted = item if item in BY_TABLE else name
    counted = _ENDING.get(str(row.get("cause")), counted) if name == "ending_incidence" else counted
    title = linked(BY_TABLE[counted].title, counted) if counted in BY_TABLE else word(item)
    apart = [_said(column, str(row[column])) for column in _APART if is_known(row.get(column))]
    told = "; ".join(text for text in apart if text)
    return {**row, "figure": title + (f": {told}" if told else ""), "file": f"{name}.csv"}


# Codes that several columns share and that mean another thing in each; an item is named by its title.
_HERE = {
    ("placement_kind", "all"): "all placements",
    ("placement_kind", "first"): "first placements",
    ("grade", "all"): "any grade",
    ("phase", "all"): "any phase",
    ("cause", "all"): "any cause",
    ("used", "yes"): "used",
    ("used", "no"): "not used",
    ("item", ""): "",
}


def _said(column: str, code: str) -> str:
    """A code of a column that tells rows apart, in words."""
    if column == "item" and code in BY_TABLE:
        return ""
    return _HERE.get((column, code), within(word(code)))
