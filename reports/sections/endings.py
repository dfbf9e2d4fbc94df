"""What became of 100 devices: every way of ending, stacked above those still in use."""

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, one, rows
from reports.figures.stacked import Layer, stacked
from reports.figures.theme import Figure, Plot
from reports.sections.observation import drawn_rules, latest_women
from reports.sections.section import Block, FigureBlock, Subheading, TableBlock
from reports.tables import Column, html_table, incidence_columns
from reports.words_for_codes import within, word

_TABLE, _YEAR, _TWO_YEARS = "ending_incidence", 365, 730
# From the top of the drawing down; what is rare is drawn as one.
_TAKEN_OUT, _EXPELLED = "removal", "expulsion"
_COUNTED = ("removal_incidence", "expulsion_incidence", "pregnancy", "perforation")


def ending_blocks(results: AuditResults) -> list[Block]:
    """The drawing with its table; the table alone where too few are observed for a year."""
    found = rows(results, _TABLE, by="overall", days=_YEAR, censoring=gate_rules(results))
    if not found:
        return []
    plots = tuple(plot for rule in drawn_rules(results) if (plot := _plot(results, rule)) is not None)
    if not plots:
        return [Subheading("Every way the use of a device can end"), TableBlock(_table(found))]
    title = _title(results)
    floor = results.settings.thresholds.at_risk_floor
    figure = Figure(
        "endings",
        title,
        plots,
        f"{title}. Stacked steps from placement on, stopped below {floor} observed: {_told(found)}.",
        _table(found),
        "A device ends in one way, whichever comes first. Below the lowest line: still in use. "
        f"{_beyond(results)}".strip(),
        counted=_COUNTED,
    )
    return [FigureBlock(figure)]


def _title(results: AuditResults) -> str:
    """What had become of them at 12 months, under the rule that is drawn first."""
    rule = drawn_rules(results)[0]
    at = {
        cause: one(results, _TABLE, by="overall", days=_YEAR, censoring=rule, cause=cause)
        for cause in (_TAKEN_OUT, _EXPELLED)
    }
    told = {cause: wording.percent(row["incidence"]) for cause, row in at.items() if row is not None}
    return (
        f"Of 100 devices {told.get(_TAKEN_OUT, wording.NOTHING)} had been taken out and "
        f"{told.get(_EXPELLED, wording.NOTHING)} expelled by 12 months"
    )


def _beyond(results: AuditResults) -> str:
    """What must be said of the second year under the rule that errs then."""
    rule, floor = drawn_rules(results)[0], results.settings.thresholds.at_risk_floor
    return latest_women(rows(results, _TABLE, by="overall", censoring=rule), floor, "falls")


def _plot(results: AuditResults, rule: str) -> Plot | None:
    """The stacked drawing under one rule; none where too few are observed for long enough to see a step."""
    floor = results.settings.thresholds.at_risk_floor
    found = rows(results, _TABLE, by="overall", censoring=rule)
    observed = sorted(found, key=lambda row: float(row["days"]))
    last = max((float(row["days"]) for row in observed if row["at_risk"] >= floor), default=0.0)
    if last < _YEAR:
        return None
    last = min(last, _TWO_YEARS)
    apart = {
        cause: [row for row in found if row["cause"] == cause]
        for cause in dict.fromkeys(str(row["cause"]) for row in found)
    }
    layers = [
        Layer(
            "Ended otherwise",
            _summed([apart[cause] for cause in apart if cause not in (_EXPELLED, _TAKEN_OUT)]),
        ),
        Layer("Expelled", apart.get(_EXPELLED, [])),
        Layer("Taken out", apart.get(_TAKEN_OUT, [])),
    ]
    drawing = stacked(layers, observed, going_on="Still in use", counts="Of 100 devices", last_day=last)
    rules = drawn_rules(results)
    return Plot(f"endings-{rule.replace('_', '-')}-plot", drawing, 430, word(rule) if len(rules) > 1 else "")


def _summed(causes: list[list[Row]]) -> list[Row]:
    """Several causes as one: each step is a step of the sum."""
    steps = sorted(
        (float(row["days"]), number, float(row["incidence"]))
        for number, rows in enumerate(causes)
        for row in rows
    )
    latest: dict[int, float] = {}
    summed: list[Row] = []
    for day, number, incidence in steps:
        latest[number] = incidence
        summed.append({"days": day, "incidence": sum(latest.values())})
    return summed


def _told(found: list[Row]) -> str:
    """Every way of ending at 12 months."""
    return "; ".join(
        f"{within(word(row['cause']))} {wording.percent(row['incidence'])} of 100, {within(word(row['censoring']))}"
        for row in found
    )


def _table(found: list[Row]) -> Markup:
    """Every way of ending at 12 months, with its interval."""
    columns = incidence_columns(Column("Ending", lambda row: word(row["cause"]), "label"))
    columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    return html_table(
        "Every way the use of a device can end, by 12 months",
        columns,
        found,
        foot="Under one rule, the cumulative incidences and those still in use add up to 100.",
        counted=_COUNTED,
    )
