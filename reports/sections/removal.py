"""Removal, described and not judged: a removal a woman asks for is the service doing its work."""

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one, rows
from reports.figures.curves import Curve, steps
from reports.figures.theme import Figure, Plot, nice_top
from reports.sections.follow_up import gate_sentence
from reports.sections.parts import counted_how, empty_section
from reports.sections.section import Block, FigureBlock, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, html_table, incidence_columns
from reports.words_for_codes import stratum, within, word

_TABLE = "removal_incidence"
_YEAR = 365


def removal_section(results: AuditResults) -> Section:
    """How many devices are taken out, why and by when."""
    fixed = {"by": "overall", "censoring": "last_known"}
    found = rows(results, _TABLE, cause="removal", **fixed)
    if not found:
        return empty_section(results, "removal", "Removal", _TABLE)
    if not gate_rules(results):
        seen = wording.plural(found[-1]["cumulative_events"], "removal")
        blocks: tuple[Block, ...] = (Paragraph(gate_sentence(results)), counted_how(_TABLE))
        return Section("removal", "Removal", f"{seen} seen; how many there were, we cannot tell", blocks)
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
            *_endings(results),
            *_devices(results),
            counted_how(_TABLE),
        ),
    )


def removal_heading(results: AuditResults, row: Row | None) -> str:
    """The chance of removal by 12 months."""
    if row is None or not is_known(row["incidence"]) or row["caution"]:
        return "Too few devices have been followed for a year to give the chance of removal"
    other = one(results, _TABLE, by="overall", cause="removal", days=_YEAR, censoring="assumed_in_place")
    if results.gate == "both_as_equals" and other is not None:
        either = f"{wording.percent(row['incidence'])} or {wording.percent(other['incidence'])}"
        return f"By 12 months {either} of 100 devices had been taken out, by how silence is read"
    return (
        f"By 12 months {wording.percent(row['incidence'])} of 100 devices had been taken out "
        f"({wording.span(row['ci_lower'], row['ci_upper'])})"
    )


def _reasons(results: AuditResults) -> list[Block]:
    """One small drawing per reason, on one scale."""
    fixed = {"by": "overall", "censoring": "last_known"}
    at_year = [row for row in rows(results, _TABLE, days=_YEAR, **fixed) if row["cause"] != "removal"]
    if not at_year:
        return []
    floor = results.settings.thresholds.at_risk_floor
    curves = [
        Curve(word(row["cause"]), rows(results, _TABLE, cause=row["cause"], **fixed), "incidence")
        for row in at_year
    ]
    seen = [row for curve in curves for row in curve.rows if row["at_risk"] >= floor and row["days"] <= 730]
    top = nice_top(max((float(row["ci_upper"]) for row in seen), default=0.1))
    plots = tuple(
        Plot(
            f"removal-{number}-plot",
            steps([curve], counts="", floor=floor, top=top, narrow=True, last_day=730),
            150,
            f"{curve.label} · {wording.percent(row['incidence'])}",
        )
        for number, (curve, row) in enumerate(zip(curves, at_year, strict=True), start=1)
    )
    leading = max(at_year, key=lambda row: float(row["incidence"]))
    title = (
        f"The commonest reason in the first year: {within(word(leading['cause']))}, "
        f"{wording.percent(leading['incidence'])} of 100"
    )
    columns = incidence_columns(Column("Reason", lambda row: word(row["cause"]), "label"))
    figure = Figure(
        "removal-by-reason",
        title,
        plots,
        f"{title}. One small step curve of cumulative incidence per reason, on one scale.",
        html_table("Removal by 12 months, by reason, last known", columns, at_year),
        "Taken out for each reason, of 100, over two years, on one scale. The number: by 12 months.",
    )
    return [FigureBlock(figure)]


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
        TableBlock(html_table("Removal for any reason", columns, found)),
    ]


def _endings(results: AuditResults) -> list[Block]:
    """Every way of ending, which with those still in use make up the whole."""
    found = rows(results, "ending_incidence", by="overall", days=_YEAR, censoring=gate_rules(results))
    if not found:
        return []
    columns = incidence_columns(Column("Ending", lambda row: word(row["cause"]), "label"))
    columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    table = html_table(
        "Every way a spell can end, by 12 months",
        columns,
        found,
        foot="Under one rule, the cumulative incidences and those still in use add up to 100.",
    )
    return [Folded("Every way a spell can end", table)]


def _devices(results: AuditResults) -> list[Block]:
    """Reasons by device class at 12 months."""
    found = rows(results, _TABLE, by="device_class", days=_YEAR, censoring="last_known")
    if not found:
        return []
    columns = incidence_columns(Column("Device", lambda row: stratum(row["by"], row["stratum"]), "label"))
    columns.insert(1, Column("Reason", lambda row: word(row["cause"]), "text"))
    return [
        Folded(
            "By device and reason", html_table("Removal by 12 months, last known, by device", columns, found)
        )
    ]
