"""Which sections each reader gets."""

from collections.abc import Callable, Mapping

from audit.records import AuditResults
from reports.clinician_sheet import clinician_pages
from reports.page import render_page
from reports.patient_page import render_patient
from reports.sections.actions import actions_section
from reports.sections.benchmarks import benchmarks_section
from reports.sections.caseload import caseload_section
from reports.sections.clinicians import clinicians_section
from reports.sections.continuation import continuation_section
from reports.sections.data_quality import data_quality_section
from reports.sections.every_figure import every_figure_section
from reports.sections.expulsion import expulsion_section
from reports.sections.follow_up import follow_up_section
from reports.sections.insertion import failed_insertions_section, failure_reasons_section
from reports.sections.methods import cautions_section, glossary_section, methods_section
from reports.sections.page_one import page_one
from reports.sections.pain import pain_section
from reports.sections.position import position_section
from reports.sections.rates import rates_section
from reports.sections.removal import removal_section
from reports.sections.safety import perforation_section, pregnancy_section
from reports.sections.section import Section
from reports.sections.standards import standards_section
from reports.sections.vasovagal import vasovagal_section

INTERNAL: tuple[Callable[[AuditResults], Section], ...] = (
    data_quality_section,
    caseload_section,
    standards_section,
    failed_insertions_section,
    failure_reasons_section,
    clinicians_section,
    vasovagal_section,
    pain_section,
    perforation_section,
    follow_up_section,
    position_section,
    expulsion_section,
    removal_section,
    continuation_section,
    pregnancy_section,
    rates_section,
    benchmarks_section,
    actions_section,
    every_figure_section,
    methods_section,
    glossary_section,
    cautions_section,
)


def render_internal(results: AuditResults) -> str:
    """The internal edition as one self-contained HTML page.

    Parameters
    ----------
    results
        What `audit.run_audit` returned. Tables it lacks leave their section with a sentence that says why.

    Returns
    -------
    str
        The whole page; the same results always give the same text.
    """
    return render_page(
        results,
        page_one(results),
        tuple(make(results) for make in INTERNAL),
        edition="Internal edition: not for release",
    )


def pages_of(edition: str, results: AuditResults) -> Mapping[str, str]:
    """The pages of an edition, each under its place in the output folder.

    Parameters
    ----------
    edition
        One of `reports.EDITIONS`.
    results
        What `audit.run_audit` returned; nothing else is read.

    Returns
    -------
    Mapping[str, str]
        The text of each page by its name.
    """
    return _PAGES[edition](results)


def _internal(results: AuditResults) -> Mapping[str, str]:
    """The report for the clinical lead, the quality officer and the committee."""
    return {"internal/report.html": render_internal(results)}


def _patient(results: AuditResults) -> Mapping[str, str]:
    """The summary for women, for the service to check before anyone else reads it."""
    return {"patient/summary.html": render_patient(results)}


_PAGES: Mapping[str, Callable[[AuditResults], Mapping[str, str]]] = {
    "internal": _internal,
    "clinician": clinician_pages,
    "patient": _patient,
}
