"""A picture of page one of the demonstration, for the documents. Run by hand, after a change to page one:

    python tests/performance/picture.py

It needs a Chromium. It writes ``docs/images/page-one.png``: 1200 pixels wide, in a palette of 64 colours so that
the file stays small. Another folder may be named as the one argument.
"""

import shutil
import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image

import audit
from reports.editions import render_internal
from synthetic_data.demo import DEMO_PERIOD, write_demo

WIDTH, COLOURS, MOST_BYTES = 1200, 64, 300_000
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
IMAGES = Path(__file__).parents[2] / "docs" / "images"


def demo_page(folder: Path) -> Path:
    """The report of the invented service as a file in a folder."""
    log, settings_file = write_demo(folder)
    settings = audit.read_settings(settings_file)
    results = audit.run_audit(audit.load_visits([log], settings), settings, period=DEMO_PERIOD)
    path = folder / "report.html"
    path.write_text(render_internal(results), encoding="utf-8")
    return path


def photographed(page: Path) -> bytes:
    """The page from its top to the end of what happened and what lies beyond chance, as a PNG."""
    from playwright.sync_api import sync_playwright

    found = next((place for name in BROWSERS if (place := shutil.which(name))), None)
    if found is None:
        raise SystemExit("No Chromium on this machine: install one and run this again.")
    with sync_playwright() as tool:
        browser = tool.chromium.launch(executable_path=found, args=["--no-sandbox", "--disable-gpu"])
        shown = browser.new_page(viewport={"width": WIDTH, "height": 1000}, color_scheme="light")
        shown.goto(page.as_uri())
        end = shown.evaluate(
            "document.querySelector('#action-heading').getBoundingClientRect().top + scrollY - 30"
        )
        shown.set_viewport_size({"width": WIDTH, "height": round(end)})
        taken: bytes = shown.screenshot()
        browser.close()
    return taken


def with_palette(picture: bytes) -> bytes:
    """The same picture with few colours, the rarest kept (the accent is one), and nothing that dates it."""
    out = BytesIO()
    few = (
        Image.open(BytesIO(picture))
        .convert("RGB")
        .quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE)
    )
    few.save(out, "PNG", optimize=True)
    return out.getvalue()


def main(folder: Path) -> None:
    """Write the picture and say how large it is."""
    with tempfile.TemporaryDirectory() as scratch:
        picture = with_palette(photographed(demo_page(Path(scratch))))
    if len(picture) > MOST_BYTES:
        raise SystemExit(
            f"The picture has {len(picture):,} bytes, more than {MOST_BYTES:,}: use fewer colours."
        )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "page-one.png").write_bytes(picture)
    print(f"{folder.name}/page-one.png: {len(picture):,} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else IMAGES)
