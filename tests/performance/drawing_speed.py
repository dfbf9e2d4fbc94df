"""How soon the report is drawn, against the same page with the whole drawing library written out in it.

    python tests/performance/drawing_speed.py            # five pairs, alternately, in one browser

It needs a Chromium. Prints the median ratio of the times from opening the file to the last drawing.
"""

import re
import sys
import tempfile
from importlib.resources import files
from pathlib import Path
from statistics import median
from typing import Any

from picture import BROWSERS, demo_page

PAIRS = 5
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')
_PACKED = re.compile(r'<script type="application/gzip" id="drawing-library">.*?</script>', re.DOTALL)
_UNPACKING = re.compile(r"const packed = .*?document\.head\.append\(library\);", re.DOTALL)
_DRAWN = 'document.documentElement.dataset.drawn = "yes";'


def timed(page: str) -> str:
    """The page without its policy, which would forbid the other variant, noting when all is drawn."""
    assert _DRAWN in page
    return _POLICY.sub("", page).replace(_DRAWN, f"{_DRAWN} window.drawnAt = performance.now();")


def written_out(page: str) -> str:
    """The same page with the whole library, as published and uncompressed, in the place of the packed part."""
    library = files("plotly").joinpath("package_data", "plotly.min.js").read_text(encoding="utf-8")
    parts = _PACKED.split(page)
    assert len(parts) == 2
    assert len(_UNPACKING.findall(parts[1])) == 1
    return f"{parts[0]}<script>{library}</script>{_UNPACKING.sub('', parts[1])}"


def drawn_after(browser: Any, page: Path) -> float:
    """Milliseconds from opening the page to its last drawing."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    shown = context.new_page()
    shown.goto(page.as_uri())
    shown.wait_for_function("window.drawnAt !== undefined", timeout=60_000)
    assert shown.evaluate("document.querySelectorAll('.plot .main-svg').length") > 20
    after = float(shown.evaluate("window.drawnAt"))
    context.close()
    return after


def main() -> int:
    """Print the ratio; 1 when it is over three quarters."""
    import shutil

    from playwright.sync_api import sync_playwright

    found = next((place for name in BROWSERS if (place := shutil.which(name))), None)
    if found is None:
        raise SystemExit("No Chromium on this machine: install one and run this again.")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as tool:
        text = timed(demo_page(Path(folder)).read_text(encoding="utf-8"))
        ours, whole = Path(folder, "ours.html"), Path(folder, "whole.html")
        ours.write_text(text, encoding="utf-8")
        whole.write_text(written_out(text), encoding="utf-8")
        browser = tool.chromium.launch(executable_path=found, args=["--no-sandbox", "--disable-gpu"])
        pairs = [(drawn_after(browser, ours), drawn_after(browser, whole)) for _ in range(PAIRS)]
        browser.close()
    ratios = [one / other for one, other in pairs]
    print("ours, whole (ms): " + "; ".join(f"{one:.0f}, {other:.0f}" for one, other in pairs))
    print(f"ratio {median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f}, {PAIRS} pairs)")
    return int(median(ratios) > 0.75)


if __name__ == "__main__":
    sys.exit(main())
