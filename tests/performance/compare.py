"""Time `iud-audit run` and the baseline on one log, alternately, as whole processes.

Each is run once to warm the file cache and then in pairs, ours first in every other pair. The ratio of each
pair (ours / baseline) and the median ratio are printed. With --profile, where our time goes is printed too.

    python tests/performance/compare.py
    python tests/performance/compare.py --women 4150 --pairs 3 --profile
"""

import argparse
import cProfile
import io
import os
import pstats
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from synthetic_data.demo import DEMO_PERIOD, DEMO_SEED
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

BASELINE = Path(__file__).with_name("baseline.py")
# About 500 placements: two years of a small clinic.
WOMEN = 500


def write_log(path: Path, *, women: int = WOMEN) -> int:
    """Write an invented clean log in the package's own headings; the number of placements in it."""
    visits = generate_visits(replace(LARKFIELD, women=women), seed=DEMO_SEED)
    visits.to_csv(path, index=False)
    return int((visits["insertion_outcome"] == "placed").sum())


def commands(log: Path, folder: Path) -> dict[str, list[str]]:
    """The two commands."""
    asked = [str(log), "--period", DEMO_PERIOD]
    return {
        "ours": [sys.executable, "-m", "audit", "run", *asked, "--force", "--out", str(folder / "ours")],
        "baseline": [sys.executable, str(BASELINE), *asked, "--out", str(folder / "baseline")],
    }


def seconds(command: Sequence[str]) -> float:
    """Wall-clock seconds of one whole process."""
    begun = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - begun


def pairs(both: dict[str, list[str]], number: int) -> list[tuple[float, float]]:
    """Seconds of ours and of the baseline, taken alternately after one warm-up of each."""
    for command in both.values():
        seconds(command)
    taken = []
    for pair in range(number):
        order = ("ours", "baseline") if pair % 2 == 0 else ("baseline", "ours")
        time_of = {name: seconds(both[name]) for name in order}
        taken.append((time_of["ours"], time_of["baseline"]))
    return taken


def profile(log: Path, folder: Path, *, lines: int = 15) -> str:
    """The functions of `iud-audit run` that take most time of their own and in all."""
    from audit.cli import main as run

    profiler = cProfile.Profile()
    profiler.enable()
    run(["run", str(log), "--period", DEMO_PERIOD, "--force", "--quiet", "--out", str(folder / "profiled")])
    profiler.disable()
    text = io.StringIO()
    for order in ("tottime", "cumulative"):
        pstats.Stats(profiler, stream=text).sort_stats(order).print_stats(lines)
    return text.getvalue()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--women", type=int, default=WOMEN)
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--profile", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        placements = write_log(folder / "visits.csv", women=given.women)
        print(f"{placements:,} placements, {os.cpu_count()} cores, Python {sys.version.split()[0]}")
        taken = pairs(commands(folder / "visits.csv", folder), given.pairs)
        for ours, baseline in taken:
            print(f"ours {ours:6.2f} s   baseline {baseline:6.2f} s   ratio {ours / baseline:.3f}")
        print(f"median ratio {statistics.median(ours / baseline for ours, baseline in taken):.3f}")
        if given.profile:
            print(profile(folder / "visits.csv", folder))


if __name__ == "__main__":
    main()
