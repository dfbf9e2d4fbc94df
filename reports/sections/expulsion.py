"""Expulsion: interval placements lead; placements soon after a birth or an abortion stand apart."""

from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import Row, gate_rules, is_known, one, rows
from reports.figures.curves import Curve, steps
from reports.figures.theme import Figure, Plot, nice_top
from reports.sections.comparisons import of_both
from reports.sections.expulsion_parts import after_a_birth, more_of_expulsion
from reports.sections.first_year import bounds_section
from reports.sections.modelled import ODDS_FOOT, level, p_column, ratio_with_limits
from reports.sections.observation import as_equals, drawn_rules, latest_women
from reports.sections.parts import empty_section
from reports.sections.section import Block, FigureBlock, Folded, Paragraph, Section, Subheading, TableBlock
from reports.tables import Column, estimate_cell, html_table, incidence_columns, number, plain
from reports.words_for_codes import grouping, stratum, within, word

_TABLE = "expulsion_incidence"
_YEAR = 365
_TIMINGS = ("interval", "postpartum", "post_abortion", "emergency")


def expulsion_section(results: AuditResults) -> Section:
    """How many devices come out by themselves, and by when."""
    if not rows(results, _TABLE, by="overall", cause="expulsion"):
        return empty_section(results, "expulsion", "Expulsion", _TABLE)
    if not gate_rules(results):
        return bounds_section(results, "expulsion", "Expulsion", "expulsion", _TABLE)
    blocks: list[Block] = [
        Paragraph(
            "Two numbers that are not the same. The cumulative incidence is a woman's chance, other endings "
            "allowed for. One minus Kaplan-Meier is what papers mostly print: the chance if nothing else could "
            "end the use.",
            "Interval placements lead: those soon after a birth or an abortion come out more often and are never "
            "pooled with them.",
        ),
        *[block for rule in drawn_rules(results) for block in _timings(results, rule)],
        *after_a_birth(results),
        *_rules(results),
        *_kinds(results),
        *_groups(results),
        *_ratios(results),
        *more_of_expulsion(results),
    ]
    return Section("expulsion", "Expulsion", expulsion_heading(results), tuple(blocks))


def leading_expulsion(results: AuditResults) -> Row | None:
    """Expulsion by 12 months after an interval placement, or overall where timing is not recorded."""
    fixed = {"cause": "expulsion", "days": _YEAR, "censoring": "last_known", "placement_kind": "first"}
    return one(results, _TABLE, by="timing_group", stratum="interval", **fixed) or one(
        results, _TABLE, by="overall", **fixed
    )


def expulsion_heading(results: AuditResults) -> str:
    """The chance of expulsion by 12 months."""
    row = leading_expulsion(results)
    if row is None or not is_known(row["incidence"]) or row["caution"]:
        return "Too few devices have been followed for a year to give the chance of expulsion"
    which = "interval placements" if row["by"] == "timing_group" else "placements"
    same = {name: row[name] for name in ("by", "stratum", "placement_kind", "cause", "days")}
    other = one(results, _TABLE, censoring="assumed_in_place", **same)
    if as_equals(results) and other is not None:
        either = f"{wording.percent(row['incidence'])} or {wording.percent(other['incidence'])}"
        return f"By 12 months {either} of 100 {which} had been expelled, depending on what silence means"
    return (
        f"By 12 months {wording.percent(row['incidence'])} of 100 {which} had been expelled "
        f"({wording.span(row['ci_lower'], row['ci_upper'])})"
    )


def _timings(results: AuditResults, rule: str) -> list[Block]:
    """Curves by timing of placement under one rule of observation, and their values at 12 months."""
    fixed = {"by": "timing_group", "cause": "expulsion", "censoring": rule, "placement_kind": "first"}
    floor = results.settings.thresholds.at_risk_floor
    curves = [
        Curve(stratum("timing_group", timing), found, "incidence")
        for timing in _TIMINGS
        if (found := rows(results, _TABLE, stratum=timing, **fixed))
        and found[-1]["cumulative_events"] >= wording.FEW
    ]
    at_grid = rows(results, _TABLE, days=results.settings.windows.horizons, **fixed)
    if not at_grid:
        return [Paragraph("The timing of placements is not recorded, so they cannot be told apart.")]
    read = within(word(rule))
    table = _grid_table(f"Expulsion by timing of placement, {read}", at_grid)
    title = _timing_title(results, fixed) + (f" ({read})" if as_equals(results) else "")
    if not curves:
        return [Subheading(title), TableBlock(table)]
    top = nice_top(
        max(
            (float(row["ci_upper"]) for curve in curves for row in curve.rows if row["at_risk"] >= floor),
            default=0.1,
        )
    )
    drawn = steps(curves, counts="Expelled, of 100", floor=floor, top=min(top, 1.0))
    id = "expulsion-by-timing" if rule == "last_known" else f"expulsion-by-timing-{rule.replace('_', '-')}"
    late = latest_women([row for curve in curves for row in curve.rows], floor, "rises")
    figure = Figure(
        id,
        title,
        (Plot(f"{id}-plot", drawn, 400),),
        f"{title}. Step curves of cumulative incidence, stopped below {floor} women observed.",
        table,
        f"Groups with fewer than 10 expulsions are in the table only. {late}".strip(),
        counted=(_TABLE,),
    )
    return [FigureBlock(figure)]


def _timing_title(results: AuditResults, fixed: dict[str, str]) -> str:
    """What the intervals at 12 months allow to be said of placements after a birth."""
    interval = one(results, _TABLE, stratum="interval", days=_YEAR, **fixed)
    after = one(results, _TABLE, stratum="postpartum", days=_YEAR, **fixed)
    if interval is None or after is None:
        return "Expulsion by timing of placement"
    said = (
        f"{wording.percent(after['incidence'])} of 100 by 12 months after a birth, "
        f"{wording.percent(interval['incidence'])} of 100 after an interval placement"
    )
    if after["ci_lower"] > interval["ci_upper"]:
        return f"Devices placed soon after a birth came out more often: {said}"
    return f"No clear difference by timing: {said}"


def _grid_table(caption: str, found: list[Row]) -> Markup:
    """Incidence at the horizons, group by group."""
    columns = incidence_columns(Column("Placed", lambda row: stratum(row["by"], row["stratum"]), "label"))
    columns.insert(1, Column("By", lambda row: wording.since_placement(row["days"]), "short"))
    return html_table(caption, columns, found, counted=(_TABLE,))


def _rules(results: AuditResults) -> list[Block]:
    """Both censoring rules, all timings together and interval placements."""
    horizons = results.settings.windows.horizons
    found = [
        row
        for labels in ({"by": "timing_group", "stratum": "interval"}, {"by": "overall"})
        for rule in gate_rules(results)
        for row in rows(
            results,
            _TABLE,
            cause="expulsion",
            censoring=rule,
            placement_kind="first",
            days=horizons,
            **labels,
        )
    ]
    columns = incidence_columns(Column("Placements", lambda row: stratum(row["by"], row["stratum"]), "label"))
    columns[1:1] = [
        Column("Observation", lambda row: word(row["censoring"]), "short"),
        Column("By", lambda row: wording.since_placement(row["days"]), "short"),
    ]
    return [
        Subheading("What silence may mean"),
        Paragraph(
            "Last known: a woman is observed to the last day her device was known in place. Assumed in place: a "
            "woman who reported nothing is taken to have kept it. The truth is likely to lie between.",
        ),
        TableBlock(
            html_table("Expulsion under both rules of observation", columns, found, counted=(_TABLE,))
        ),
    ]


def _kinds(results: AuditResults) -> list[Block]:
    """Complete and partial expulsion, each alone, at 12 months."""
    found = rows(
        results,
        _TABLE,
        by="overall",
        cause=("expulsion_complete", "expulsion_partial"),
        censoring=gate_rules(results),
        placement_kind="first",
        days=_YEAR,
    )
    if not found:
        return []
    columns = incidence_columns(Column("Expulsion", lambda row: word(row["cause"]), "label"))
    columns.insert(1, Column("Observation", lambda row: word(row["censoring"]), "short"))
    return [
        Subheading("Complete and partial"),
        TableBlock(
            html_table("Complete and partial expulsion by 12 months", columns, found, counted=(_TABLE,))
        ),
    ]


def _ratios(results: AuditResults) -> list[Block]:
    """Gray's tests and the hazard ratios, each adjusted for the others."""
    rule = gate_rules(results)[0]
    tests = [
        f"{grouping(row['by'])}{', within each timing' if row['within'] else ''}: {wording.chance(row['p_value'])}"
        for row in rows(results, "expulsion_tests", censoring=rule)
        if is_known(row["p_value"])
    ]
    found = rows(results, "expulsion_hazard_ratios", censoring=rule, placement_kind="first")
    every = rows(results, "expulsion_hazard_ratios", censoring=rule, placement_kind="all")
    not_fitted = [
        f"{word(row['population'])}: {within(row['caution'])}" for row in found if row["stratum"] == "overall"
    ]
    told = [f"Gray's test ({within(word(rule))}). {'; '.join(tests)}."] if tests else []
    return [
        *([Paragraph(" ".join([*told, *not_fitted]))] if told or not_fitted else []),
        *_ratio_table(found, "Hazard ratios, each adjusted for the others", f"{within(word(rule))}"),
        *_ratio_table(
            every,
            "The same of all placements, repeats included",
            f"{within(word(rule))}; placements of one woman taken together",
        ),
    ]


def _ratio_table(found: list[Row], summary: str, how: str) -> list[Block]:
    """The fitted ratios of one kind of placements, folded."""
    fitted = [row for row in found if is_known(row["hazard_ratio"])]
    if not fitted:
        return []
    columns = [
        Column("Group", level, "label"),
        Column("Among", lambda row: word(row["population"]), "short"),
        Column("Expelled", lambda row: of_both(row["events"], row["n"])),
        Column(
            "Hazard ratio (95% interval)",
            ratio_with_limits("hazard_ratio", "ci_lower", "ci_upper"),
            "interval",
        ),
        p_column(),
        Column("Note", plain("caution"), "note"),
    ]
    foot = f"Cox, cause-specific, {how}; each adjusted for age, births and device. {ODDS_FOOT}"
    return [
        Folded(summary, html_table("Expulsion: hazard ratios", columns, fitted, foot=foot, counted=(_TABLE,)))
    ]


def _groups(results: AuditResults) -> list[Block]:
    """By device, births and age, at 12 months; replacements apart."""
    found = [
        row
        for by in ("device_class", "parous", "age_band")
        for row in rows(
            results,
            _TABLE,
            by=by,
            cause="expulsion",
            censoring=drawn_rules(results),
            placement_kind="first",
            days=_YEAR,
        )
    ]
    if not found:
        return []
    columns = incidence_columns(Column("Group", lambda row: stratum(row["by"], row["stratum"]), "label"))
    columns[1:1] = [
        Column("Divided by", lambda row: grouping(row["by"]), "short"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
    ]
    table = html_table("Expulsion by 12 months, by group", columns, found, counted=(_TABLE,))
    blocks: list[Block] = [Folded("By device, births and age", table)]
    later = rows(results, _TABLE, by="overall", placement_kind="replacement", cause="expulsion", days=_YEAR)
    if later:
        again = incidence_columns(Column("Observation", lambda row: word(row["censoring"]), "label"))
        blocks.append(
            Folded(
                "Replacements, apart",
                html_table("Expulsion of replacements by 12 months", again, later, counted=(_TABLE,)),
            )
        )
    return [*blocks, *_every_placement(results)]


def _every_placement(results: AuditResults) -> list[Block]:
    """All placements, and those after an earlier expulsion, those of one woman together, at 12 months."""
    found = [
        row
        for table in ("expulsion_all_placements", "repeat_expulsion")
        for row in rows(results, table, censoring=drawn_rules(results), days=_YEAR)
    ]
    if not found:
        return []
    columns = [
        Column("Placed", lambda row: stratum(row["by"], row["stratum"]), "label"),
        Column("Observation", lambda row: word(row["censoring"]), "short"),
        Column("Placements", number("n")),
        Column("Women", number("n_women")),
        Column("Expelled so far", number("cumulative_events")),
        Column(
            "%, women as units (95% interval)", estimate_cell("incidence", "ci_lower", "ci_upper"), "interval"
        ),
        Column("Note", plain("caution"), "note"),
    ]
    table = html_table(
        "Expulsion of all placements by 12 months", columns, found, counted=(_TABLE, "repeat_expulsion")
    )
    return [Folded("All placements, repeats included", table)]
