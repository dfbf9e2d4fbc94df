"""Each clinician's own sheet as a page without a script, and the list of the sheets for whoever hands them out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd
from markupsafe import Markup

from audit.records import AuditResults
from reports import wording
from reports.choosing import rows, table, why_empty
from reports.file_names import file_stem, printable
from reports.page import render_without_scripts
from reports.sections.own_cases import EVENTS, own_cases_section
from reports.sections.own_figures import (
    COUNTS,
    FIGURES,
    OwnFigure,
    Standing,
    own_answer,
    own_counts,
    own_standing,
    own_statements,
)
from reports.sections.own_reading import own_questions_section, own_reading_section
from reports.sections.own_records import COMPLETENESS, own_records_section
from reports.words_for_codes import quarter

FOR_LEARNING = "For learning; not an appraisal score."
FOLDER = "clinicians"
_LONGEST_CODE = 24


@dataclass(frozen=True)
class Sheet:
    """What the head of a sheet says."""

    code: str
    facts: tuple[tuple[str, str], ...]
    answer: str
    standing: Standing
    counts: tuple[Markup, ...]
    figures: tuple[OwnFigure, ...]


def clinician_pages(results: AuditResults) -> Mapping[str, str]:
    """The sheets of all clinicians, and the list of them.

    Parameters
    ----------
    results
        What `audit.run_audit` returned; nothing else is read.

    Returns
    -------
    Mapping[str, str]
        The text of each page by its place: ``clinicians/CODE.html``, the code made fit for a file name, and
        ``clinicians/index.html``, which says whose is which. Without clinicians the list alone, which says why.
    """
    files = {code: f"{file_stem(code)}.html" for code in clinicians(results)}
    own = _own_tables(results)
    sheets = {
        f"{FOLDER}/{name}": render_sheet(_with(results, own[code]), code) for code, name in files.items()
    }
    return {f"{FOLDER}/index.html": _render_list(results, files), **sheets}


def clinicians(results: AuditResults) -> list[str]:
    """The codes of those who have a sheet, in order."""
    counted = table(results, COUNTS)
    return sorted(set(counted["stratum"])) if len(counted) else []


def own_results(results: AuditResults, code: str) -> AuditResults:
    """The results with the rows of one clinician alone: no page made from them can hold another's.

    Parameters
    ----------
    results
        What `audit.run_audit` returned.
    code
        The clinician.

    Returns
    -------
    AuditResults
        Four tables; no source, version or key.
    """
    return _with(results, _own_tables(results).get(code, {}))


def render_sheet(own: AuditResults, code: str) -> str:
    """The sheet of one clinician as one HTML page.

    Parameters
    ----------
    own
        From `own_results`.
    code
        The clinician.

    Returns
    -------
    str
        A page that asks for nothing outside itself and runs nothing. The same results always give the same text.
    """
    sheet = Sheet(
        printable(code) or "–",
        _facts(own),
        own_answer(own),
        own_standing(own),
        own_counts(own),
        own_statements(own),
    )
    sections = tuple(
        make(own)
        for make in (own_cases_section, own_records_section, own_questions_section, own_reading_section)
    )
    edition = f"Own sheet of {printable(code, longest=_LONGEST_CODE)}. {FOR_LEARNING} Not for release"
    values = {"sheet": sheet, "sections": sections, "for_learning": FOR_LEARNING}
    return render_without_scripts("sheet.html.j2", own, values, edition=edition, styles=("sheet.css",))


_BY_STRATUM = (COUNTS, FIGURES, COMPLETENESS)


def _own_tables(results: AuditResults) -> dict[str, dict[str, pd.DataFrame]]:
    """The tables of each clinician by code: every table is gone through once, whatever the number of sheets."""
    own: dict[str, dict[str, pd.DataFrame]] = {code: {} for code in clinicians(results)}
    for name in (*_BY_STRATUM, EVENTS):
        whole = table(results, name)
        key = "clinician_ref" if name == EVENTS else "stratum"
        for code, part in whole.groupby(key, sort=False) if len(whole) else ():
            if code in own:
                own[str(code)][name] = part
    return own


def _with(results: AuditResults, tables: Mapping[str, pd.DataFrame]) -> AuditResults:
    """The results with these tables and nothing that tells of the others."""
    return replace(results, tables=tables, sources=(), versions={}, key_id="", gate="")


def _facts(results: AuditResults) -> tuple[tuple[str, str], ...]:
    """Period and freeze."""
    period = results.period
    dates = f"{wording.day(period.first_day)} to {wording.day(period.last_day)}"
    return (("Period", f"{quarter(period.label)} ({dates})"), ("Data to", wording.day(results.data_to)))


def _render_list(results: AuditResults, files: Mapping[str, str]) -> str:
    """The list of the sheets."""
    values = {
        "facts": _facts(results),
        "sheets": [(printable(code) or "–", name) for code, name in files.items()],
        "why_none": "" if files else _why_none(results),
        "for_learning": FOR_LEARNING,
    }
    edition = "List of the clinicians’ own sheets: not for release"
    return render_without_scripts("sheets.html.j2", results, values, edition=edition, styles=("sheet.css",))


def _why_none(results: AuditResults) -> str:
    """Why nobody has a sheet."""
    codes = len([row for row in rows(results, "clinician_volume") if row["stratum"] != "not recorded"])
    if codes:
        return (
            f"There are {wording.count(codes)} codes of clinicians in twelve months, too many for people. "
            "Check which column holds the clinician's code."
        )
    return why_empty(results, FIGURES)
