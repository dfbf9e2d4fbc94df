"""Time `load_visits` on a large invented log beside DuckDB's bare `count(*)` of the same file.

The log has the fifteen columns of a minimal log (`MINIMAL`). Both are run as whole processes, alternately, after
one warm-up of each; the ratio of each pair, the median ratio and the peak memory of ours are printed. DuckDB is
used here only (`pip install duckdb`).

    python tests/performance/ingest_speed.py
    python tests/performance/ingest_speed.py --placements 100000 --pairs 3 --profile
"""

import argparse
import cProfile
import pstats
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from synthetic_data.demo import DEMO_SEED
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

PLACEMENTS = 1_000_000
MINIMAL = (
    "patient_ref",
    "visit_date",
    "visit_kind",
    "site_ref",
    "clinician_ref",
    "age_years",
    "vaginal_births",
    "caesarean_births",
    "device_class",
    "indication",
    "insertion_outcome",
    "vasovagal_grade",
    "perforation_suspected",
    "device_in_situ",
    "removal_reason_main",
)
_OURS = """
import resource, sys, time
from audit import load_visits
begun = time.perf_counter()
log = load_visits(sys.argv[1])
print(time.perf_counter() - begun, len(log.visits), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
_DUCKDB = """
import sys, time, duckdb
begun = time.perf_counter()
rows = duckdb.sql(f"select count(*) from read_csv('{sys.argv[1]}')").fetchall()[0][0]
print(time.perf_counter() - begun, rows, 0)
"""


def write_log(path: Path, *, placements: int, columns: Sequence[str] = MINIMAL) -> int:
    """Write an invented log of about so many placements, one clinic's log over and over with new women."""
    whole = generate_visits(LARKFIELD, seed=DEMO_SEED)
    visits = whole[[name for name in columns if name in whole]].astype(object)
    per_block = int((visits["insertion_outcome"] == "placed").sum())
    blocks = max(1, round(placements / per_block))
    references = visits[[name for name in ("patient_ref", "visit_ref") if name in visits]]
    for block in range(blocks):
        visits[references.columns] = references + f"{block:03d}"
        visits.to_csv(path, index=False, mode="w" if block == 0 else "a", header=block == 0)
    return blocks * per_block


def timed(code: str, path: Path) -> tuple[float, int, float]:
    """Seconds of the work itself, rows read and peak MiB of one fresh process."""
    done = subprocess.run([sys.executable, "-c", code, str(path)], check=True, capture_output=True, text=True)
    seconds, rows, peak = done.stdout.split()
    return float(seconds), int(rows), float(peak)


def profile(path: Path, *, lines: int = 45) -> None:
    """Print where our time goes."""
    from audit import load_visits

    profiler = cProfile.Profile()
    profiler.enable()
    load_visits(path)
    profiler.disable()
    pstats.Stats(profiler).sort_stats("tottime").print_stats(lines)


def main() -> None:
    """Write the log, run the pairs, print the ratios."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--placements", type=int, default=PLACEMENTS)
    parser.add_argument("--pairs", type=int, default=5)
    parser.add_argument("--profile", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "visits.csv")
        placements = write_log(path, placements=asked.placements)
        print(f"{placements:,} placements, {path.stat().st_size / 1e6:,.0f} MB")
        if asked.profile:
            profile(path)
            return
        timed(_OURS, path), timed(_DUCKDB, path)
        ratios = []
        for _ in range(asked.pairs):
            ours, theirs = timed(_OURS, path), timed(_DUCKDB, path)
            ratios.append(ours[0] / theirs[0])
            print(
                f"ours {ours[0]:.2f} s, {ours[1]:,} rows, peak {ours[2]:,.0f} MiB; DuckDB {theirs[0]:.2f} s"
            )
        print(f"ratio {statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})")


if __name__ == "__main__":
    main()
