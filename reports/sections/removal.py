"""Removal, described and not judged: a removal a woman asks for is the service doing its work."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one, rows
from reports.figures.curves import Curve, steps
from reports.figures.theme import Figure, Plot, nice_top
from reports.sections.first_year import bounds_section
from reports.sections.observation import as_equals, drawn_rules, latest_women
from reports.sections.parts import empty_section
from reports.sections.removal_parts import by_purpose, removal_visits
from reports.sections.section import Block, FigureBlock, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, incidence_columns
from reports.words_for_codes import stratum, within, word

_TABLE = "removal_incidence"
_YEAR, _TWO_YEARS = 365, 730


def removal_section(results: AuditResults) -> Section:
    """How many devices are taken out, why and by when."""
    fixed = {"by": "overall", "censoring": "last_known"}
    found = rows(results, _TABLE, cause="removal", **fixed)
    if not found:
        return empty_section(results, "removal", "Removal", _TABLE)
    if not gate_rules(results):
        return bounds_section(results, "removal", "Removal", "removal", _TABLE)
    at_year = one(results, _TABLE, cause="removal", days=_YEAR, **fixed)
    return Section(
        "removal",
        "Removal",
        removal_heading(results, at_year),
        (
            Paragraph(
                "Removal is described and not judged: there is no target, and neither more nor less is better. A "
                "removal for partial expulsion, pregnancy or perforation counts as that ending instead.",
                "A replacement at once ends the device, not the use of the method.",
            ),
            *_reasons(results),
            *_rules(results),
            *_devices(results),
            *by_purpose(results),
            *removal_visits(results),
        ),
    )


def removal_heading(results: AuditResults, row: Row | None) -> str:
    """The chance of removal by 12 months."""
    if row is None or not is_known(row["incidence"]) or row["caution"]:
        return "Too few devices have been followed for a year to give the chance of removal"
    other = one(results, _TABLE, by="overall", cause="removal", days=_YEAR, censoring="assumed_in_place")
    if as_equals(results) and other is not None:
        either = f"{wording.percent(row['incidence'])} or {wording.percent(other['incidence'])}"
        return f"By 12 months {either} of 100 devices had been taken out, depending on what silence means"
    return (
        f"By 12 months {wording.percent(row['incidence'])} of 100 devices had been taken out "
        f"({wording.span(row['ci_lower'], row['ci_upper'])})"
    )


def _reasons(results: AuditResults) -> list[Block]:
    """One small drawing per reason, on one scale; both rules in it where they are equals."""
    at_year = [
        row
        for rule in drawn_rules(results)
        for row in rows(results, _TABLE, by="overall", censoring=rule, days=_YEAR)
        if row["cause"] != "removal"
    ]
    columns = incidence_columns(Column("Reason", lambda row: word(row["cause"]), "label"))
    columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    table = html_table("Removal by 12 months, by reason", columns, at_year, counted=(_TABLE,))
    seen = [row for row in at_year if row["cumulative_events"]]
    if not seen:
        return [TableBlock(table)] if at_year else []
    leading = max(
        (row for row in seen if row["censoring"] == seen[0]["censoring"]),
        key=lambda row: float(row["incidence"]),
    )
    title = (
        f"The commonest reason in the first year: {within(word(leading['cause']))}, "
        f"{_either([row for row in seen if row['cause'] == leading['cause']])} of 100"
    )
    plots, late = _panels(results, seen)
    rules = " Solid: last known. Dashed: assumed in place." if as_equals(results) else ""
    figure = Figure(
        "removal-by-reason",
        title,
        plots,
        f"{title}. One small step curve of cumulative incidence per reason, on one scale.",
        table,
        "Taken out for each reason, of 100, over two years, on one scale. The number: by 12 months."
        f"{rules} {late}".strip(),
        counted=(_TABLE,),
    )
    return [FigureBlock(figure)]


def _panels(results: AuditResults, seen: list[Row]) -> tuple[tuple[Plot, ...], str]:
    """The small drawings of the reasons seen, and what must be said beside them."""
    floor = results.settings.thresholds.at_risk_floor
    causes = dict.fromkeys(str(row["cause"]) for row in seen)
    curves = {
        cause: [
            Curve(word(cause), rows(results, _TABLE, by="overall", censoring=rule, cause=cause), "incidence")
            for rule in drawn_rules(results)
        ]
        for cause in causes
    }
    shown = [
        row
        for drawn in curves.values()
        for curve in drawn
        for row in curve.rows
        if row["at_risk"] >= floor and row["days"] <= _TWO_YEARS
    ]
    top = nice_top(max((float(row["ci_upper"]) for row in shown), default=0.1))
    plots = tuple(
        Plot(
            f"removal-{number}-plot",
            steps(curves[cause], counts="", floor=floor, top=top, narrow=True, last_day=_TWO_YEARS),
            150,
            f"{word(cause)} · {_either([row for row in seen if row['cause'] == cause])}",
        )
        for number, cause in enumerate(causes, start=1)
    )
    return plots, latest_women(shown, floor, "rises")


def _either(found: list[Row]) -> str:
    """A percentage, or one under each rule of observation."""
    return " or ".join(wording.percent(row["incidence"]) for row in found)


def _rules(results: AuditResults) -> list[Block]:
    """Any removal under both rules."""
    found = [
        row
        for rule in gate_rules(results)
        for row in rows(
            results,
            _TABLE,
            by="overall",
            cause="removal",
            censoring=rule,
            days=results.settings.windows.horizons,
        )
    ]
    columns = incidence_columns(Column("By", lambda row: wording.since_placement(row["days"]), "label"))
    columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    return [
        Subheading("Removal for any reason, under both rules of observation"),
        TableBlock(html_table("Removal for any reason", columns, found, counted=(_TABLE,))),
    ]


def _devices(results: AuditResults) -> list[Block]:
    """Reasons by device class at 12 months, those that occurred."""
    told = rows(results, _TABLE, by="device_class", days=_YEAR, censoring=drawn_rules(results))
    found = [row for row in told if row["cumulative_events"] or row["cause"] == "removal"]
    if not found:
        return []
    columns = incidence_columns(Column("Device", lambda row: stratum(row["by"], row["stratum"]), "label"))
    columns[1:1] = [
        Column("Reason", lambda row: word(row["cause"]), "text"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
    ]
    return [
        Folded(
            "By device and reason",
            html_table("Removal by 12 months, by device", columns, found, counted=(_TABLE,)),
        )
    ]
