"""What `iud-audit check` says of a log: facts first, then a page of text, and the tables of a page to look at."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from audit.measures.data_quality import (
    calendar_unit,
    core_completeness,
    field_completeness,
    finding_counts,
    indicator_availability,
    missingness,
    query_list,
    row_accounting,
)
from audit.records import AuditResults, Cohort, Period, VisitLog
from audit.settings import AuditSettings


def check_facts(log: VisitLog, cohort: Cohort) -> dict[str, Any]:
    """Everything the page says, as plain values.

    Parameters
    ----------
    log
        What `audit.load_visits` returned.
    cohort
        What `audit.derive_cohort` made of it.

    Returns
    -------
    dict
        ``rows`` (in, used, set_aside, blank_lines), ``set_aside`` (reason and count, with up to five lines of
        the file each), ``findings``, ``fields`` (filled in, of the rows each applies to), ``indicators``,
        ``cohort`` (attempts, placements, contacts) and ``data_to``.
    """
    totals = log.accounting.groupby("disposition")["n"].sum()
    findings = finding_counts(pd.concat([log.findings, cohort.findings], ignore_index=True))
    fields = field_completeness(log.visits)
    return {
        "rows": {name: int(totals.get(name, 0)) for name in ("in", "used", "set_aside", "blank_line")},
        "set_aside": [
            {
                "reason": str(reason),
                "n": len(rows),
                "lines": rows["row"].head(5).astype("int64").tolist(),
                "message": str(rows["message"].iloc[0]),
            }
            for reason, rows in log.set_aside.groupby("reason", sort=True)
        ],
        "findings": findings[["rule", "severity", "column", "n", "message"]].to_dict("records"),
        "fields": [
            {"column": column, "filled_in": events, "of": n}
            for column, events, n in fields[["column", "events", "n"]].to_numpy().tolist()
        ],
        "indicators": indicator_availability(list(log.visits.columns)).to_dict("records"),
        "cohort": {
            "attempts": int((cohort.attempts["outcome"] != "deferred").sum()),
            "deferrals": int((cohort.attempts["outcome"] == "deferred").sum()),
            "placements": len(cohort.placements),
            "contacts": len(cohort.follow_ups),
        },
        "data_to": None if pd.isna(log.data_to) else log.data_to.date().isoformat(),
    }


def check_results(
    log: VisitLog, cohort: Cohort, settings: AuditSettings, *, refused: bool = False
) -> AuditResults:
    """The tables of a check, in the form in which reports take results; no figure of the audit is among them.

    Parameters
    ----------
    log
        What `audit.load_visits` returned.
    cohort
        What `audit.derive_cohort` made of it.
    settings
        The settings it was read with.
    refused
        Whether an audit of the log is refused, as more rows are set aside than the settings allow.

    Returns
    -------
    AuditResults
        ``row_accounting``, ``set_aside`` (``source, row, column, reason, message``, without the values),
        ``indicator_availability``, ``finding_counts``, ``query_list``, ``field_completeness``,
        ``core_completeness`` and ``missingness``, by site where the log has one, and by the finest part of the
        calendar that can be shown. The period is the whole log; ``gate`` is ``usable`` or ``refused``.
    """
    visits, fields = log.visits, field_completeness(log.visits)
    findings = pd.concat([log.findings, cohort.findings], ignore_index=True)
    sites = ("site_ref",) if "site_ref" in visits else ()
    missing = [missingness(visits, by=by) for by in ("overall", *sites, calendar_unit(visits))]
    return AuditResults(
        service=settings.service,
        period=Period("whole log", visits["visit_date"].min(), log.data_to),
        data_to=log.data_to,
        settings=settings,
        tables={
            "row_accounting": row_accounting(log.accounting),
            "set_aside": log.set_aside.drop(columns="value"),
            "indicator_availability": indicator_availability(list(visits.columns)),
            "finding_counts": finding_counts(findings),
            "query_list": query_list(findings, log.set_aside, visits),
            "field_completeness": fields,
            "core_completeness": core_completeness(fields),
            # pandas warns where an empty table would settle a column's type.
            "missingness": pd.concat([table for table in missing if len(table)], ignore_index=True),
        },
        sources=log.sources,
        versions={},
        gate="refused" if refused else "usable",
        key_id=log.key_id,
        synthetic=settings.synthetic,
    )


def check_page(facts: Mapping[str, Any]) -> str:
    """The facts as a page of plain text."""
    rows, cohort = facts["rows"], facts["cohort"]
    lines = [
        f"{rows['in']:,} rows in = {rows['used']:,} used + {rows['set_aside']:,} set aside"
        + (f" ({rows['blank_line']:,} blank lines besides)" if rows["blank_line"] else ""),
        ", ".join(f"{cohort[name]:,} {name}" for name in ("attempts", "deferrals", "placements", "contacts")),
        f"data to {facts['data_to'] or 'no date'}",
        *_section("Rows set aside", [_aside(item) for item in facts["set_aside"]]),
        *_section("Findings (the rows were used)", [_finding(item) for item in facts["findings"]]),
        *_section("Fields filled in", [_field(item) for item in facts["fields"]]),
        *_section("Figures", [_indicator(item) for item in facts["indicators"]]),
    ]
    return "\n".join(lines)


def _section(title: str, items: list[str]) -> list[str]:
    """A titled list; a sentence where there is nothing."""
    return ["", title, *(f"  {item}" for item in items or ["none"])]


def _aside(item: Mapping[str, Any]) -> str:
    """One reason for setting rows aside."""
    lines = ", ".join(str(line) for line in item["lines"])
    more = " ..." if item["n"] > len(item["lines"]) else ""
    return f"{item['n']:>6,}  {item['reason']}: {item['message']} (line {lines}{more})"


def _finding(item: Mapping[str, Any]) -> str:
    """One rule that found something."""
    return f"{item['n']:>6,}  {item['severity']}, {item['rule']}: {item['message']}"


def _field(item: Mapping[str, Any]) -> str:
    """One field."""
    return f"{item['filled_in']:>6,} of {item['of']:>6,}  {item['column']}"


def _indicator(item: Mapping[str, Any]) -> str:
    """One figure, on or off."""
    return f"   on   {item['title']}" if item["available"] else f"   off  {item['title']}: {item['reason']}"
