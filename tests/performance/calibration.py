"""Run every simulation in full and write what was found into docs/validation.md.

    python tests/performance/calibration.py              # about ten minutes on two cores
    python tests/performance/calibration.py --share 0.05 --logs 8 --no-write

Exit code 1 when a figure is not held. Seeds are fixed; `--seed` draws anew.
"""

import argparse
import sys
from math import sqrt
from pathlib import Path

from pipeline_coverage import coverages
from simulations import ERRORS, Figure, all_figures

PAGE = Path(__file__).parents[2] / "docs" / "validation.md"
BEGIN, END = "<!-- calibration: begin -->", "<!-- calibration: end -->"
LOGS = 200


def pipeline_figures(logs: int, *, seed: int) -> list[Figure]:
    """Coverage of the limits printed by the whole audit, per family of figures."""
    figures = []
    for family, found, error, limits in coverages(logs, seed=seed):
        # Tables of few events, as at small n, cover a little more or less than they say.
        room = ERRORS * max(error, sqrt(0.05 * 0.95 / limits))
        what = f"whole audit of {logs} logs, {limits:,} limits of {family}: coverage"
        figures.append(Figure(what, found, error, 0.93 - room, 0.97 + room, logs))
    return figures


def table(figures: list[Figure]) -> str:
    """The figures as a table of Markdown."""
    lines = [
        "| Promise | Found | Monte Carlo error | Must lie in | Runs |",
        "|---|---:|---:|---|---:|",
    ]
    for figure in figures:
        error = f"{figure.error:.4f}" if figure.error else "none"
        span = f"{figure.lowest:.4f} to {figure.highest:.4f}{'' if figure.held else ' **not held**'}"
        lines.append(f"| {figure.what} | {figure.found:.4f} | {error} | {span} | {figure.runs:,} |")
    return "\n".join(lines)


def write(text: str) -> None:
    """Put the table where the page keeps it."""
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(BEGIN)
    after = rest.split(END)[1]
    PAGE.write_text(f"{before}{BEGIN}\n{text}\n{END}{after}", encoding="utf-8")


def main() -> int:
    """Simulate, print, write; 1 when a promise is broken."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--share", type=float, default=1.0, help="share of the runs")
    parser.add_argument("--logs", type=int, default=LOGS, help="logs that go the whole way")
    parser.add_argument("--seed", type=int, default=20260930)
    parser.add_argument("--no-write", action="store_true", help="leave docs/validation.md alone")
    asked = parser.parse_args()
    figures = all_figures(share_of_runs=asked.share, seed=asked.seed)
    figures += pipeline_figures(asked.logs, seed=asked.seed)
    text = table(figures)
    print(text)
    if not asked.no_write:
        write(text)
    return 0 if all(figure.held for figure in figures) else 1


if __name__ == "__main__":
    sys.exit(main())
