"""Print what share of an audit's time the statistics take, and the time of a single curve.

The log is the invented clinic's with all its columns, over and over with new women. It is read, derived and audited
once in this process. Every function of `audit.statistics` that is called from outside it is timed, from its call to
its return: calls within the statistics are not counted twice. All times are the processor's, so that other work on
the machine disturbs them little. To make a tally of rows is no statistics; a function that takes rows has its own
tallying counted.

A single curve is one call of the functions that make a curve of a group from its risk sets; of these the mean and
the slowest are printed.

    python tests/performance/statistics_share.py
    python tests/performance/statistics_share.py --placements 100000 --lines 40
"""

import argparse
import functools
import resource
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path
from types import FunctionType

from ingest_speed import write_log

from audit import derive_cohort, load_visits, run_audit
from audit.schema.visits import VISITS
from audit.statistics import grouped_curves
from synthetic_data.demo import DEMO_PERIOD

PLACEMENTS = 1_000_000
HOME = "audit.statistics."
MODELS = (
    "hazard_ratios",
    "clustered_incidence",
    "mixture_model",
    "beta_binomial",
    "shrinkage",
    "case_weights",
)
OTHERS = "curves, incidences and tests"
ONE_CURVE = ("risk_sets", "survival_figures", "incidence_figures", "log_rank", "gray_test")


def timed(function, taken, open_calls):
    """Return the function, adding the seconds of each of its outermost calls to a list under its name."""
    name = f"{function.__module__.removeprefix(HOME)}.{function.__name__}"

    @functools.wraps(function)
    def run(*args, **options):
        if open_calls:
            return function(*args, **options)
        open_calls.append(name)
        begun = time.process_time()
        try:
            return function(*args, **options)
        finally:
            taken[name].append(time.process_time() - begun)
            open_calls.clear()

    return run


def statistics_timed() -> dict[str, list[float]]:
    """Put clocks round the statistics wherever they are used from outside, and return what will be measured."""
    taken, open_calls = defaultdict(list), []
    users = [
        module for name, module in sys.modules.items() if name.startswith("audit.") and HOME not in f"{name}."
    ]
    for module in users:
        for name, held in list(vars(module).items()):
            if isinstance(held, FunctionType) and held.__module__.startswith(HOME):
                setattr(module, name, timed(held, taken, open_calls))
    return taken


def curves_timed() -> dict[str, list[float]]:
    """Put clocks round what makes one curve or one test of a tally, and return what will be measured."""
    taken = defaultdict(list)
    for name in ONE_CURVE:
        setattr(grouped_curves, name, timed(getattr(grouped_curves, name), taken, []))
    return taken


def audited(path: Path) -> tuple[dict[str, float], int]:
    """Return the seconds of each step of an audit, and how many placements there were."""
    marks = [time.process_time()]
    log = load_visits(path)
    marks.append(time.process_time())
    cohort = derive_cohort(log)
    marks.append(time.process_time())
    run_audit(log, period=DEMO_PERIOD, cohort=cohort)
    marks.append(time.process_time())
    steps = ("reading", "deriving", "computing")
    taken = {step: after - before for step, before, after in zip(steps, marks, marks[1:], strict=False)}
    return taken, len(cohort.placements)


def shares(taken: dict[str, list[float]]) -> dict[str, float]:
    """Return the seconds of models and of everything else."""
    parts = {OTHERS: 0.0, "models": 0.0}
    for name, times in taken.items():
        parts["models" if name.partition(".")[0] in MODELS else OTHERS] += sum(times)
    return parts


def print_functions(taken: dict[str, list[float]], *, lines: int) -> None:
    """Print the functions that took longest."""
    print(f"\n{'function':55} {'calls':>6} {'seconds':>8} {'mean ms':>8} {'slowest':>8}")
    for name, times in sorted(taken.items(), key=lambda one: -sum(one[1]))[:lines]:
        mean, slowest = 1000 * sum(times) / len(times), 1000 * max(times)
        print(f"{name:55} {len(times):6} {sum(times):8.3f} {mean:8.2f} {slowest:8.2f}")


def main() -> None:
    """Write the log, audit it, print the shares."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--placements", type=int, default=PLACEMENTS)
    parser.add_argument("--lines", type=int, default=25, help="how many functions to list")
    parser.add_argument("--log", type=Path, help="a log that stands ready, with the columns as named here")
    asked = parser.parse_args()
    taken, one_curve = statistics_timed(), curves_timed()
    with tempfile.TemporaryDirectory() as folder:
        path = asked.log or Path(folder, "visits.csv")
        if asked.log is None:
            write_log(path, placements=asked.placements, columns=VISITS.names)
        steps, placements = audited(path)
    whole = sum(steps.values())
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{placements:,} placements, peak {peak:,.0f} MiB, seconds of the processor:")
    for step, seconds in {**steps, "all": whole, **shares(taken)}.items():
        print(f"{step:30} {seconds:8.2f} {100 * seconds / whole:6.1f}%")
    print_functions(taken, lines=asked.lines)
    print_functions(one_curve, lines=asked.lines)


if __name__ == "__main__":
    main()
