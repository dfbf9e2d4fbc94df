"""Pages printed to PDF by a Chromium on the machine: without a network, and with no time of the printing."""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from audit.errors import OutputError

BROWSER = "IUD_AUDIT_BROWSER"
_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
# How long the drawings of a page may take in the browser's own time, and how long a page may take in ours.
_DRAWING_MILLISECONDS, _PAGE_SECONDS = 20_000, 120
_OPTIONS = (
    *("--headless", "--disable-gpu", "--no-pdf-header-footer", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update", "--disable-extensions"),
    *("--disable-dev-shm-usage", "--host-resolver-rules=MAP * ~NOTFOUND", "--proxy-server=127.0.0.1:9"),
    f"--virtual-time-budget={_DRAWING_MILLISECONDS}",
)
_DATED = re.compile(rb"(/(?:CreationDate|ModDate) \(D:)\d{14}(-|[+Z]?)([\d']*)\)")


def find_browser(environment: Mapping[str, str]) -> Path:
    """The browser that prints.

    Parameters
    ----------
    environment
        Variables of the system: ``IUD_AUDIT_BROWSER`` names the program, else it is looked for on ``PATH``.

    Returns
    -------
    Path
        The program.

    Raises
    ------
    OutputError
        There is none.

    Examples
    --------
    >>> find_browser({"IUD_AUDIT_BROWSER": "/no/such/browser"})
    Traceback (most recent call last):
        ...
    audit.errors.OutputError: /no/such/browser: is no program. Let IUD_AUDIT_BROWSER name a Chromium or Chrome.
    """
    named = environment.get(BROWSER, "")
    if named:
        program = shutil.which(named, path=environment.get("PATH", ""))
        if program is None:
            raise OutputError(f"{named}: is no program. Let {BROWSER} name a Chromium or Chrome.")
        return Path(program)
    found = (shutil.which(name, path=environment.get("PATH", "")) for name in _NAMES)
    program = next((path for path in found if path is not None), None)
    if program is None:
        raise OutputError(
            f"--pdf: no Chromium or Chrome was found. Install one, let {BROWSER} name it, or leave --pdf out and "
            "print the page from any browser."
        )
    return Path(program)


def printed(pages: Mapping[str, str], browser: Path, *, dated: pd.Timestamp) -> dict[str, bytes]:
    """Each page as PDF, under its own name with the ending ``.pdf``.

    Parameters
    ----------
    pages
        The text of each page by its name.
    browser
        What `find_browser` found.
    dated
        The day the files say they are of, in place of the time of printing: else no two would be alike.

    Returns
    -------
    dict
        The files by their names.

    Raises
    ------
    OutputError
        The browser fails, or takes longer than two minutes for a page.
    """
    return {
        name.removesuffix(".html") + ".pdf": _dated(_print(name, page, browser), dated)
        for name, page in pages.items()
        if name.endswith(".html")
    }


def _print(name: str, page: str, browser: Path) -> bytes:
    """One page as the browser prints it, in a folder and with a profile of its own."""
    with tempfile.TemporaryDirectory(prefix="audit-print-", ignore_cleanup_errors=True) as folder:
        source, target = Path(folder, "page.html"), Path(folder, "page.pdf")
        source.write_text(page, encoding="utf-8", newline="\n")
        command = [
            str(browser),
            *_OPTIONS,
            f"--user-data-dir={Path(folder, 'profile')}",
            f"--print-to-pdf={target}",
        ]
        # The browser's own walls do not stand for the system's administrator.
        if getattr(os, "geteuid", lambda: 1)() == 0:
            command.append("--no-sandbox")
        try:
            subprocess.run(
                [*command, source.as_uri()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=_PAGE_SECONDS,
                check=True,
            )
            return target.read_bytes()
        except subprocess.TimeoutExpired:
            why = f"took longer than {_PAGE_SECONDS} seconds"
        except (OSError, subprocess.CalledProcessError):
            why = "could not print it"
    raise OutputError(f"{name}: {browser.name} {why}. Leave --pdf out, and print the page from a browser.")


def _dated(content: bytes, day: pd.Timestamp) -> bytes:
    """The file dated by the data; every part stays as long as it was, since the file names places in itself."""
    digits = f"{day:%Y%m%d}000000".encode()

    def fixed(found: re.Match[bytes]) -> bytes:
        sign, zone = found[2].replace(b"-", b"+"), re.sub(rb"\d", b"0", found[3])
        return found[1] + digits + sign + zone + b")"

    return _DATED.sub(fixed, content)
