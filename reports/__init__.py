"""Presentation: result tables in, files out. No statistics here."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from audit.records import AuditResults

EDITIONS = ("internal", "clinician", "patient")
DATA_PACKAGE, WORKBOOK = "datapackage.json", "audit.xlsx"

__all__ = ["EDITIONS", "write_check", "write_reports"]


def write_check(
    results: "AuditResults", path: str | Path, *, inputs: Sequence[str | Path] = (), force: bool = False
) -> Path:
    """The check of a log as one HTML page in a file of its own.

    Parameters
    ----------
    results
        What `audit.check.check_results` returned; nothing else is read.
    path
        The file. One that this tool wrote and nobody changed is replaced.
    inputs
        Files that were read, which are never replaced.
    force
        Replace whatever else is there.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OutputError
        The file cannot be written, was read, or is not this tool's.
    """
    from reports.check_page import render_check
    from reports.one_file import require_replaceable_file, signed, write_file

    require_replaceable_file(Path(path), force=force, inputs=inputs)
    write_file(Path(path), signed(render_check(results)))
    return Path(path)


def write_reports(
    results: "AuditResults",
    folder: str | Path,
    *,
    editions: Sequence[str] = EDITIONS,
    pdf: bool = False,
    figures: bool = False,
    force: bool = False,
) -> Path:
    """The output folder of an audit, written whole.

    Parameters
    ----------
    results
        What `audit.run_audit` returned; nothing else is read.
    folder
        Where to write. A folder that this tool wrote and nobody changed is replaced.
    editions
        ``internal``: the report for the clinical lead and the committee. ``clinician``: a sheet for each clinician,
        with nobody else's figure on it. ``patient``: the summary for women, a draft for the service to check.
    pdf
        Print every page to PDF beside it, by a Chromium or Chrome that is on the machine (``IUD_AUDIT_BROWSER`` may
        name it). The files are dated by the data, and the same for the same pages and browser.
    figures
        Write every drawing of the internal edition as ``figures/NAME.svg``.
    force
        Replace whatever the folder holds.

    Returns
    -------
    Path
        The folder, with ``internal/report.html``, ``clinicians/*.html``, ``patient/summary.html``,
        ``tables/*.csv`` and ``datapackage.json`` that describes them, ``audit.xlsx``, ``record.json``,
        ``manifest.json``, and ``actions.next.toml`` where there is an action plan. All of it is exact and not for
        release.

    Raises
    ------
    OutputError
        The folder cannot be written, or holds what this tool did not write; or there is no browser that prints.
    ValueError
        An edition that does not exist.
    """
    from reports.actions_file import NEXT, next_actions_text
    from reports.data_package import data_package_text
    from reports.editions import pages_of
    from reports.export import manifest_text, record_text, table_text
    from reports.figure_files import figure_files
    from reports.folder import MANIFEST, write_folder
    from reports.printing import find_browser, printed
    from reports.workbook import workbook_of

    for edition in editions:
        if edition not in EDITIONS:
            raise ValueError(f"editions must be among {', '.join(EDITIONS)}, got {edition!r}")
    browser = find_browser(os.environ) if pdf else None
    pages = {name: page for edition in editions for name, page in pages_of(edition, results).items()}
    contents = {"record.json": record_text(results).encode()}
    contents |= {name: page.encode() for name, page in pages.items()}
    contents |= {f"tables/{name}.csv": table_text(table).encode() for name, table in results.tables.items()}
    contents |= {DATA_PACKAGE: data_package_text(results, contents).encode(), WORKBOOK: workbook_of(results)}
    contents |= figure_files(results) if figures else {}
    contents |= printed(pages, browser, dated=_day_of(results)) if browser else {}
    if "actions" in results.tables:
        contents[NEXT] = next_actions_text(results).encode()
    contents[MANIFEST] = manifest_text(results, contents).encode()
    write_folder(Path(folder), contents, force=force)
    return Path(folder)


def _day_of(results: "AuditResults") -> "pd.Timestamp":
    """The day the results are of: the freeze, and the end of the period where an empty log has none."""
    return results.data_to if results.data_to == results.data_to else results.period.last_day
