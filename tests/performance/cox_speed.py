"""Time `cox_regression` on a million tallied spells beside lifelines' CoxPHFitter on the same spells one by one.

The spells are invented: exponential times with three covariates of few levels, in whole days up to 1,500, most of
them censored, some entered late. lifelines has them as one row a spell; ours has them once as counts of equal
spells and once as the same single rows. After a warm-up on a hundredth of the data, so that no import or first
call is timed, lifelines runs once and ours five times, of which the median counts. Both are fitted with Efron's
ties; the largest difference of a coefficient is printed beside the times, since a fast wrong answer is worth
nothing.

    python tests/performance/cox_speed.py
    python tests/performance/cox_speed.py --spells 100000 --late-share 0
"""

import argparse
import statistics
import time

import numpy as np
import pandas as pd
from lifelines import CoxPHFitter

from audit.statistics.cox import cox_regression

TERMS = ["older", "earlier", "second_site"]
EFFECTS = np.array([0.4, -0.3, 0.15])
LAST_DAY = 1500


def spells(number: int, *, late_share: float, seed: int = 20260331) -> pd.DataFrame:
    """Return invented spells, one row each."""
    random = np.random.default_rng(seed)
    covariates = random.random((number, 3)) < np.array([0.4, 0.25, 0.5])
    hazard = np.exp(covariates @ EFFECTS) / 4000
    happened = np.floor(random.exponential(1 / hazard))
    observed_to = random.integers(30, LAST_DAY + 1, number)
    entry = np.where(random.random(number) < late_share, random.integers(0, 30, number), 0)
    exits = np.maximum(np.minimum(happened, observed_to), entry + 1)
    table = pd.DataFrame(covariates.astype(float), columns=TERMS)
    return table.assign(entry=entry, exit=exits, event=(happened <= observed_to).astype(int))


def timed(function, table, *, runs):
    """Return what the function gives, and the medians of the seconds passed and of the processor's seconds."""
    passed, worked = [], []
    for _ in range(runs):
        begun, begun_work = time.perf_counter(), time.process_time()
        result = function(table)
        passed.append(time.perf_counter() - begun)
        worked.append(time.process_time() - begun_work)
    return result, statistics.median(passed), statistics.median(worked)


def ours(table: pd.DataFrame):
    """Return our fit of a table of spells or of counts of spells."""
    weights = table.get("n")
    return cox_regression(table[TERMS], table["exit"], table["event"], entry=table["entry"], weights=weights)


def theirs(table: pd.DataFrame):
    """Return lifelines' fit of single spells."""
    # Its way of entering late is by far the slower, so it is spared that where nobody does.
    late = "entry" if table["entry"].any() else None
    used = table if late else table.drop(columns="entry")
    return CoxPHFitter().fit(used, duration_col="exit", event_col="event", entry_col=late)


def main() -> None:
    """Print the times, the ratios and how far the coefficients lie apart."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--spells", type=int, default=1_000_000)
    parser.add_argument("--late-share", type=float, default=0.2, help="share of spells entered late")
    options = parser.parse_args()
    number = options.spells
    rows = spells(number, late_share=options.late_share)
    tally = rows.groupby(list(rows.columns), as_index=False).size().rename(columns={"size": "n"})
    small = rows.iloc[: max(number // 100, 1000)]
    ours(small), theirs(small)
    from_tally, *tally_seconds = timed(ours, tally, runs=5)
    from_rows, *rows_seconds = timed(ours, rows, runs=5)
    fitter, *fitter_seconds = timed(theirs, rows, runs=1)
    own = from_tally.coefficients["coefficient"].to_numpy()
    apart = np.abs(own - fitter.params_[TERMS].to_numpy()).max()
    between = np.abs(own - from_rows.coefficients["coefficient"].to_numpy()).max()
    print(f"{number:,} spells, {from_tally.events:,} events, {len(tally):,} rows of counts")
    print("                    seconds  processor  coefficients apart")
    print("ours, counts        {:7.3f}    {:7.3f}".format(*tally_seconds))
    print("ours, single spells {:7.3f}    {:7.3f}  {:.1e}".format(*rows_seconds, between))
    print("lifelines           {:7.3f}    {:7.3f}  {:.1e}".format(*fitter_seconds, apart))
    for name, seconds in (("counts", tally_seconds), ("single spells", rows_seconds)):
        ratios = (theirs_ / ours_ for theirs_, ours_ in zip(fitter_seconds, seconds, strict=True))
        print("lifelines / ours, {}: {:.0f} by the clock, {:.0f} by the processor".format(name, *ratios))


if __name__ == "__main__":
    main()
