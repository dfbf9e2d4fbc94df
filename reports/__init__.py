"""Presentation: result tables in, files out. No statistics here."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from audit.records import AuditResults

EDITIONS = ("internal", "clinician")

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
    results: "AuditResults", folder: str | Path, *, editions: Sequence[str] = EDITIONS, force: bool = False
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
        with nobody else's figure on it.
    force
        Replace whatever the folder holds.

    Returns
    -------
    Path
        The folder, with ``internal/report.html``, ``clinicians/*.html``, ``tables/*.csv``, ``record.json``,
        ``manifest.json``, and ``actions.next.toml`` where there is an action plan. All of it is exact and not for
        release.

    Raises
    ------
    OutputError
        The folder cannot be written, or holds what this tool did not write.
    ValueError
        An edition that does not exist.
    """
    from reports.actions_file import NEXT, next_actions_text
    from reports.editions import pages_of
    from reports.export import manifest_text, record_text, table_text
    from reports.folder import MANIFEST, write_folder

    for edition in editions:
        if edition not in EDITIONS:
            raise ValueError(f"editions must be among {', '.join(EDITIONS)}, got {edition!r}")
    contents = {"record.json": record_text(results).encode()}
    for edition in editions:
        contents |= {name: page.encode() for name, page in pages_of(edition, results).items()}
    contents |= {f"tables/{name}.csv": table_text(table).encode() for name, table in results.tables.items()}
    if "actions" in results.tables:
        contents[NEXT] = next_actions_text(results).encode()
    contents[MANIFEST] = manifest_text(results, contents).encode()
    write_folder(Path(folder), contents, force=force)
    return Path(folder)
