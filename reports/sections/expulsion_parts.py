"""Expulsion in parts: after a birth beside perforation, displacement, dates and size."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, is_known, rows, said_of_all
from reports.figures.intervals import Line, dots, height
from reports.figures.theme import Figure, Plot
from reports.sections.observation import drawn_rules
from reports.sections.section import Block, FigureBlock, Folded, Subheading, TableBlock
from reports.tables import Column, estimate_cell, html_table, incidence_columns, number
from reports.words_for_codes import within, word

_YEAR = 365
_NOT_ASSESSABLE = "not_assessable"
_READINGS = {
    "earliest": "Each expulsion at its earliest possible day",
    "put_right_goes_on": "A device put right goes on",
}


def after_a_birth(results: AuditResults) -> list[Block]:
    """Expulsion and perforation in one table, band by band; no row puts the bands together."""
    rule = drawn_rules(results)[0]
    expelled = rows(results, "postpartum_balance", outcome="expulsion", censoring=rule, days=_YEAR)
    perforated = {row["stratum"]: row for row in rows(results, "postpartum_balance", outcome="perforation")}
    if not expelled and not perforated:
        return []
    bands = dict.fromkeys([*(row["stratum"] for row in expelled), *perforated])
    by_band = {row["stratum"]: row for row in expelled}
    found = [{"stratum": band, "e": by_band.get(band), "p": perforated.get(band)} for band in bands]
    value = estimate_cell("estimate", "ci_lower", "ci_upper")
    columns = [
        Column("Since the birth", lambda row: word(row["stratum"]), "label"),
        Column("Expelled by 12 months", lambda row: _of(row["e"])),
        Column("Cumulative incidence, % (95% interval)", lambda row: _cell(row["e"], value), "interval"),
        Column("Perforations", lambda row: _of(row["p"])),
        Column("% (95% interval, exact)", lambda row: _cell(row["p"], value), "interval"),
    ]
    table = html_table(
        f"Expulsion ({within(word(rule))}) and perforation by time since the latest birth",
        columns,
        found,
        foot="Expulsion of first placements; perforation of attempts, whenever found.",
        counted=("postpartum_balance",),
    )
    title = _balance_title(by_band)
    plots = _balance_plots(found)
    if not plots:
        return [Subheading(title), TableBlock(table)]
    told = "; ".join(
        f"{within(word(row['stratum']))} {_of(row['e'])} expelled, {_of(row['p'])} perforated"
        for row in found
    )
    figure = Figure(
        "after-a-birth",
        title,
        plots,
        f"{title}. Two drawings of dots with 95% intervals, side by side in the same order: {told}.",
        table,
        "Both risks change with the time since a birth, and not in the same direction: they are to be weighed "
        "together. The groups are never put into one figure.",
        counted=("postpartum_balance",),
    )
    return [FigureBlock(figure)]


def _balance_plots(found: list[Row]) -> tuple[Plot, ...]:
    """Expulsion and perforation of the same bands in the same order; none where no band has enough to draw."""
    told = {
        "e": ("after-a-birth-expulsion-plot", "Expelled by 12 months, of 100", 100),
        "p": ("after-a-birth-perforation-plot", "Perforated, of 1,000", 1000),
    }
    bands = [row for row in found if row["stratum"] != "unknown"]
    plots = []
    for outcome, (id, counts, scale) in told.items():
        lines = [_line(row["stratum"], row[outcome]) for row in bands]
        if not any(is_known(line.value) for line in lines):
            return ()
        plots.append(Plot(id, dots(lines, counts=counts, scale=scale), height(lines)))
    return tuple(plots)


def _line(band: str, row: Row | None) -> Line:
    """A band as a line of the drawing; its counts alone where there are too few."""
    nan = float("nan")
    if row is None or row["n"] < wording.FEW:
        return Line(word(band), nan, nan, nan, _of(row))
    return Line(word(band), float(row["estimate"]), float(row["ci_lower"]), float(row["ci_upper"]), _of(row))


def _of(row: Row | None) -> str:
    """Events of how many."""
    return f"{wording.count(row['events'])} of {wording.count(row['n'])}" if row else wording.NOTHING


def _cell(row: Row | None, value: object) -> str:
    """An estimate where there are enough women for one."""
    return value(row) if row and row["n"] >= wording.FEW and callable(value) else wording.NOTHING


def _balance_title(by_band: dict[str, Row]) -> str:
    """What the intervals allow to be said of the first days against placements long after a birth."""
    first, late = by_band.get("days_0_to_3"), by_band.get("over_52_weeks_or_no_birth")
    if first is None or late is None or not is_known(first["estimate"]) or not is_known(late["estimate"]):
        return "After a birth: expulsion and perforation side by side"
    said = (
        f"{wording.percent(first['estimate'])} of 100 expelled by 12 months within 3 days of a birth, "
        f"{wording.percent(late['estimate'])} long after one or without one"
    )
    apart = first["ci_lower"] > late["ci_upper"]
    return said if apart else f"No clear difference: {said}"


def more_of_expulsion(results: AuditResults) -> list[Block]:
    """Displacement and the earliest dates, at 12 months; then the size."""
    fixed = {"censoring": drawn_rules(results), "days": _YEAR}
    found = [
        *(row | {"what": word(row["cause"])} for row in rows(results, "displacement_incidence", **fixed)),
        *(
            row | {"what": text}
            for reading, text in _READINGS.items()
            for row in rows(results, "expulsion_sensitivity", reading=reading, **fixed)
        ),
    ]
    if not found:
        return []
    columns = incidence_columns(Column("Expulsion", lambda row: row["what"], "label"))
    if len(drawn_rules(results)) > 1:
        columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    table = html_table(
        "More of expulsion, by 12 months",
        columns,
        found,
        counted=("displacement_incidence", "expulsion_incidence"),
    )
    return [Folded("Displacement and dates", table), *_by_size(results)]


def _by_size(results: AuditResults) -> list[Block]:
    """Expulsion by how the length fits the device, with those that cannot be assessed: exploratory."""
    found = rows(results, "size_mismatch", censoring=drawn_rules(results), days=_YEAR)
    if all(row["stratum"] == _NOT_ASSESSABLE for row in found):
        return []
    said = said_of_all(found)
    columns = incidence_columns(Column("Length by sound", lambda row: word(row["stratum"]), "label"))
    columns[1:1] = [
        Column("Observation", lambda row: word(row["censoring"]), "short"),
        Column("Placements", number("n")),
    ]
    columns[-1] = Column("Note", lambda row: str(row["caution"]).removeprefix(said).strip(), "note")
    table = html_table(
        "Expulsion by 12 months, by size of the uterus and device",
        columns,
        found,
        foot=said,
        counted=("size_mismatch",),
    )
    return [Folded("Device size, exploratory", table)]
