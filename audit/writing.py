"""Where the commands that write an output folder ask whether they can, and write it."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from audit.records import AuditResults


def require_writable(folder: Path, given: argparse.Namespace) -> None:
    """Refuse, before anything is computed, what could not be written in the end.

    Raises
    ------
    OutputError
        The folder holds what this tool did not write, or pages are to be printed and there is no browser.
    """
    from reports.folder import require_replaceable
    from reports.printing import find_browser

    require_replaceable(folder, force=given.force)
    if given.pdf:
        find_browser(os.environ)


def write_folder(results: "AuditResults", folder: Path, given: argparse.Namespace) -> Path:
    """The output folder as a command's options ask for it; with every edition where none is named."""
    from reports import EDITIONS, write_reports

    return write_reports(
        results,
        folder,
        editions=getattr(given, "edition", None) or EDITIONS,
        pdf=given.pdf,
        figures=given.figures,
        force=given.force,
    )


def to_open(folder: Path, given: argparse.Namespace) -> Path:
    """What a reader opens first: the report, or the folder where it was not asked for."""
    asked = getattr(given, "edition", None) or ("internal",)
    return folder / "internal" / "report.html" if "internal" in asked else folder
