"""Continuation: for how long devices stay in use, by device."""

from collections.abc import Sequence

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one, rows
from reports.figures.curves import Curve, drawn_rows, steps
from reports.figures.intervals import Line, dots, height
from reports.figures.theme import Figure, Plot
from reports.sections.endings import ending_blocks
from reports.sections.first_year import bounds_section
from reports.sections.method_use import method_beside_device
from reports.sections.modelled import p_column
from reports.sections.observation import as_equals, drawn_rules, gate_sentence, latest_women
from reports.sections.parts import empty_section
from reports.sections.section import Block, FigureBlock, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, estimate_cell, html_table, number, plain
from reports.words_for_codes import stratum, within, word

_TABLE = "continuation_curve"
_YEAR = 365
_MONTHS = 12
_RATES = {"cause_specific": "Net, % (95% interval)", "cause_deleted": "Gross, % (95% interval)"}


def continuation_section(results: AuditResults) -> Section:
    """Curves of devices still in use."""
    found = rows(results, _TABLE, by="overall", placement_kind="first", censoring="last_known")
    if not found:
        return empty_section(results, "continuation", "Continuation", _TABLE)
    if not gate_rules(results):
        return bounds_section(results, "continuation", "Continuation", "any", _TABLE)
    blocks: list[Block] = [
        Paragraph(
            "Continuation is described and not judged. Long use is no merit if a removal is hard to obtain. "
            "Any ending of the device counts, a replacement too.",
            gate_sentence(results),
        ),
        *ending_blocks(results),
        *_overall(results),
        *method_beside_device(results),
        *_families(results),
        *_difference(results),
        *_classes(results),
        *_summary(results),
        *_life_tables(results),
    ]
    return Section("continuation", "Continuation", continuation_heading(results), tuple(blocks))


def continuation_heading(results: AuditResults) -> str:
    """How many are in use at 12 months, under both rules."""
    found = {
        rule: one(results, _TABLE, by="overall", placement_kind="first", censoring=rule, days=_YEAR)
        for rule in gate_rules(results)
    }
    usable = {rule: row for rule, row in found.items() if row is not None and not row["caution"]}
    leading = usable.get("last_known")
    if leading is None:
        return "Too few devices have been followed for a year to say how many stay in use"
    other = usable.get("assumed_in_place")
    if as_equals(results) and other is not None:
        either = f"{wording.percent(leading['survival'])} or {wording.percent(other['survival'])}"
        return f"After 12 months {either} of 100 devices were still in use, depending on what silence means"
    return (
        f"After 12 months {wording.percent(leading['survival'])} of 100 devices were still in use "
        f"({wording.span(leading['ci_lower'], leading['ci_upper'])})"
    )


def _overall(results: AuditResults) -> list[Block]:
    """All devices under both rules, which is what the silence could hide."""
    curves = [
        Curve(word(rule), rows(results, _TABLE, by="overall", placement_kind="first", censoring=rule))
        for rule in gate_rules(results)
    ]
    return _drawn(results, "continuation-rules", _rules_title(results), curves, "censoring")


def _rules_title(results: AuditResults) -> str:
    """How far apart the two rules lie at 12 months."""
    found = [
        row
        for rule in gate_rules(results)
        for row in rows(results, _TABLE, by="overall", placement_kind="first", censoring=rule, days=_YEAR)
        if not row["caution"]
    ]
    if len(found) < 2:
        return "Devices still in use, under both rules of observation"
    said = " or ".join(wording.percent(row["survival"]) for row in found)
    return f"{said} of 100 in use at 12 months, depending on what silence means"


def _drawn(results: AuditResults, id: str, title: str, curves: Sequence[Curve], named: str) -> list[Block]:
    """Curves with the table of the same numbers at the grid of days; the table alone where too few are observed."""
    floor = results.settings.thresholds.at_risk_floor
    days = (0, *results.settings.windows.horizons)
    found = [row for curve in curves for row in curve.rows if round(row["days"]) in days]
    name = (
        Column("Observation", lambda row: word(row["censoring"]), "label")
        if named == "censoring"
        else Column("Device", lambda row: stratum(row["by"], row["stratum"]), "label")
    )
    said = "; ".join(
        f"{within(curve.label)} {wording.percent(row['survival'])} of 100 at 12 months"
        for curve in curves
        if (row := next((row for row in curve.rows if row["days"] == _YEAR and not row["caution"]), None))
    )
    table = html_table(
        f"{title}: numbers behind the curves", [name, *_curve_columns()], found, counted=(_TABLE,)
    )
    if not any(row["days"] for curve in curves for row in drawn_rows(curve.rows, floor)):
        return [Subheading(title), TableBlock(table)]
    figure = Figure(
        id,
        title,
        (Plot(f"{id}-plot", steps(curves, counts="Still using, of 100", floor=floor), 430),),
        f"{title}. Step curves with 95% bands, stopped below {floor} observed: {said or 'none reaches a year'}.",
        table,
        f"Curves stop below {floor} observed. "
        f"{latest_women([row for curve in curves for row in curve.rows], floor, 'falls')}".strip(),
        counted=(_TABLE,),
    )
    return [FigureBlock(figure)]


def _curve_columns() -> list[Column]:
    """The columns behind a curve: at risk, censored and ended on one grid of days."""
    return [
        Column("At", lambda row: wording.since_placement(row["days"]) if row["days"] else "start", "short"),
        Column("Still observed", number("at_risk")),
        Column("No longer observed", number("cumulative_censored")),
        Column("Ended", number("cumulative_events")),
        Column("In use, % (95% interval)", estimate_cell("survival", "ci_lower", "ci_upper"), "interval"),
        Column("Note", plain("caution"), "note"),
    ]


def _families(results: AuditResults) -> list[Block]:
    """Copper and hormonal, last known leading, the other rule folded."""
    blocks: list[Block] = []
    for rule in gate_rules(results):
        fixed = {"by": "device_family", "placement_kind": "first", "censoring": rule}
        present = dict.fromkeys(
            str(row["stratum"]) for row in rows(results, _TABLE, **fixed) if row["stratum"] != "unknown"
        )
        curves = [
            Curve(stratum("device_family", family), rows(results, _TABLE, stratum=family, **fixed))
            for family in present
        ]
        if not curves:
            continue
        title = _test_title(results, "device_family", rule)
        blocks += _drawn(results, f"continuation-family-{rule.replace('_', '-')}", title, curves, "stratum")
    return blocks


def _difference(results: AuditResults) -> list[Block]:
    """Days in use in the first year, copper against hormonal, under both rules."""
    found = rows(results, "continuation_differences", censoring=gate_rules(results))
    if not found:
        return []
    columns = [
        Column("Observation", lambda row: word(row["censoring"]), "label"),
        Column("Copper, days", lambda row: wording.amount(row["mean"])),
        Column("Hormonal, days", lambda row: wording.amount(row["reference_mean"])),
        Column(
            "Copper less hormonal, days (95% interval)",
            lambda row: wording.amounts(row["difference"], row["difference_lower"], row["difference_upper"]),
            "interval",
        ),
        p_column(),
        Column("Note", plain("caution"), "note"),
    ]
    days = wording.count(found[0]["days"])
    foot = f"Restricted means: days in use of the first {days}, on average. Neither is the better."
    return [
        TableBlock(html_table("Days in use in the first year", columns, found, foot=foot, counted=(_TABLE,)))
    ]


def _test_title(results: AuditResults, by: str, rule: str) -> str:
    """What the log-rank test allows to be said."""
    row = one(results, "continuation_tests", by=by, censoring=rule, placement_kind="first")
    groups = "device families" if by == "device_family" else "device classes"
    if row is None or not is_known(row["p_value"]):
        return f"Too few to compare {groups} ({within(word(rule))})"
    told = f"(log-rank {wording.chance(row['p_value'])}, {within(word(rule))})"
    if row["p_value"] < 0.05:
        return f"Continuation differs between {groups} by more than chance {told}"
    return f"No difference larger than chance between {groups} {told}"


def _classes(results: AuditResults) -> list[Block]:
    """Each device class at 12 months, under both rules where they are equals."""
    fixed = {"by": "device_class", "placement_kind": "first", "days": _YEAR}
    both = [row for rule in gate_rules(results) for row in rows(results, _TABLE, censoring=rule, **fixed)]
    order = list(dict.fromkeys(str(row["stratum"]) for row in both if row["stratum"] != "unknown"))
    drawn = [
        row
        for code in order
        for row in both
        if row["stratum"] == code and row["censoring"] in drawn_rules(results)
    ]
    if not drawn:
        return []
    lines = [_class_line(row, named=as_equals(results)) for row in drawn]
    title = _test_title(results, "device_class", "last_known")
    columns = [
        Column("Device", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
        *_curve_columns()[1:],
    ]
    table = html_table("Devices in use at 12 months, by class", columns, both, counted=(_TABLE,))
    if not any(is_known(line.value) for line in lines):
        return [Subheading(title), TableBlock(table)]
    told = "; ".join(
        f"{within(line.label)} {wording.percent(line.value)}" for line in lines if is_known(line.value)
    )
    plot = dots(lines, counts="Still in use at 12 months, of 100", top=1.0)
    figure = Figure(
        "continuation-class",
        title,
        (Plot("continuation-class-plot", plot, height(lines)),),
        f"{title}. Of 100 still in use at 12 months: {told}.",
        table,
        f"In a fixed order, not by size. {_other_rule(results)}",
        counted=(_TABLE,),
    )
    return [FigureBlock(figure)]


def _other_rule(results: AuditResults) -> str:
    """Which rule is drawn; where both are, the test under the one that the title leaves out."""
    if not as_equals(results):
        return "Last known."
    row = one(
        results, "continuation_tests", by="device_class", censoring="assumed_in_place", placement_kind="first"
    )
    return f"Assumed in place: {wording.chance(row['p_value'] if row else float('nan'))}."


def _class_line(row: Row, *, named: bool) -> Line:
    """One device class at 12 months; its rule of observation is named where there are two."""
    nan = float("nan")
    estimate = (float(row["survival"]), float(row["ci_lower"]), float(row["ci_upper"]))
    which = f", {within(word(row['censoring']))}" if named else ""
    return Line(
        f"{stratum(row['by'], row['stratum'])}{which}",
        *((nan, nan, nan) if row["caution"] else estimate),
        f"{wording.count(row['cumulative_events'])} ended",
    )


def _summary(results: AuditResults) -> list[Block]:
    """Numbers, endings and median time in use."""
    found = rows(results, "continuation_summary", censoring=gate_rules(results))
    if not found:
        return []
    columns = [
        Column("Devices", _which, "label"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
        Column("Placed", number("n")),
        Column("Ended", number("events")),
        Column("Median time in use, months", lambda row: wording.months(row["median_days"])),
        Column("95% interval", _median_interval, "interval"),
    ]
    table = html_table("Median time in use", columns, found, counted=(_TABLE,))
    return [Folded("How long half the devices stay, by device", table)]


def _life_tables(results: AuditResults) -> list[Block]:
    """Every ending at 12 months as older papers print it, under the leading rule."""
    rule = gate_rules(results)[0]
    found = rows(
        results, "life_table_rates", by="overall", placement_kind="first", censoring=rule, months=_MONTHS
    )
    if not found:
        return []
    columns = [
        Column("Ending", lambda row: word(row["cause"]), "label"),
        Column("Ended this way", number("events")),
        *(
            Column(heading, estimate_cell(name, f"{name}_lower", f"{name}_upper"), "interval")
            for name, heading in _RATES.items()
        ),
        Column("Note", plain("caution"), "note"),
    ]
    foot = (
        f"Actuarial, {within(word(rule))}; later months are in the tables. Net: all endings acting. Gross: had "
        "there been no other. So older papers on devices have it; elsewhere net can mean gross."
    )
    table = html_table(f"Life-table rates at {_MONTHS} months", columns, found, foot=foot, counted=(_TABLE,))
    return [Folded("Rates as older papers print them", table)]


def _which(row: Row) -> str:
    """Which placements a row is about."""
    name = stratum(row["by"], row["stratum"])
    kinds = {"replacement": "replacements", "all": "all placements, rows of one woman together"}
    return f"{name}: {kinds[row['placement_kind']]}" if row["placement_kind"] in kinds else name


def _median_interval(row: Row) -> str:
    """Limits of a median, where they are reached."""
    if not is_known(row["median_lower"]):
        return wording.NOTHING
    upper = wording.months(row["median_upper"])
    return f"{wording.months(row['median_lower'])} to {upper}"
