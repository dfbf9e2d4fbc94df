"""Do the statistics keep their promises? By complete enumeration, or by invented cohorts of known truth.

The plan follows ADEMP (Morris TP, White IR, Crowther MJ. Stat Med 2019;38:2074-2102). Aims: coverage, bias, type I
error and power of what the report prints. Data: `Cohorts` below, or binomial counts. Estimands: survival and
cumulative incidence at day 365, a proportion, an odds ratio, a trend. Methods: the package's own functions.
Performance: with a Monte Carlo standard error each; a figure holds within four of them of what it should be.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import exp, sqrt
from statistics import NormalDist

import numpy as np
import pandas as pd

from audit.statistics.binomial_tails import binomial_tail
from audit.statistics.competing import cumulative_incidence
from audit.statistics.cox import cox_regression
from audit.statistics.cox_clusters import with_clustered_errors
from audit.statistics.curve_comparison import log_rank
from audit.statistics.curves import at_times
from audit.statistics.logistic import logistic_regression
from audit.statistics.power_of_rates import power_log_rank
from audit.statistics.proportions import bounds_for_unknowns, proportion_interval
from audit.statistics.survival import kaplan_meier
from audit.statistics.trend import cochran_armitage

YEAR = 365
ERRORS = 4.0


@dataclass(frozen=True)
class Figure:
    """One promise: what was found in how many runs, its Monte Carlo error, and the range that keeps the promise."""

    what: str
    found: float
    error: float
    lowest: float
    highest: float
    runs: int

    @property
    def held(self) -> bool:
        """Whether the promise is kept."""
        return self.lowest <= self.found <= self.highest


def near(what: str, values: np.ndarray, truth: float, slack: float = 0.0) -> Figure:
    """A mean over runs that should lie within four Monte Carlo errors, and perhaps some slack, of the truth."""
    error = float(np.std(values, ddof=1) / sqrt(len(values)))
    room = ERRORS * error + slack
    return Figure(what, float(np.mean(values)), error, truth - room, truth + room, len(values))


def share(what: str, hits: np.ndarray, truth: float, slack: float = 0.0) -> Figure:
    """A share of runs; its error is that of the share it should be."""
    error = sqrt(max(truth * (1 - truth), 1e-4) / len(hits))
    room = ERRORS * error + slack
    return Figure(what, float(np.mean(hits)), error, truth - room, truth + room, len(hits))


@dataclass(frozen=True)
class Cohorts:
    """Two causes with hazards per day that change once, censored evenly over two years from day 200 on."""

    change: float = 60.0
    first: tuple[float, float] = (6e-4, 4e-4)  # cause 1, cause 2
    later: tuple[float, float] = (1.0e-4, 5.5e-4)

    def draw(
        self, size: int, rng: np.random.Generator, *, ratio: float = 1.0
    ) -> tuple[np.ndarray, np.ndarray]:
        """Whole days observed and causes (0 censored) of one cohort; `ratio` multiplies both hazards."""
        target = rng.exponential(size=size)
        early, late = ratio * sum(self.first), ratio * sum(self.later)
        bend = early * self.change
        time = np.where(target < bend, target / early, self.change + (target - bend) / late)
        shares = np.where(
            time < self.change, self.first[0] / sum(self.first), self.later[0] / sum(self.later)
        )
        cause = np.where(rng.random(size) < shares, 1, 2)
        day = np.ceil(time)
        censored = rng.integers(200, 930, size=size)
        return np.minimum(day, censored), np.where(day <= censored, cause, 0)

    def incidence(self, day: float) -> tuple[float, float]:
        """The true cumulative incidence of each cause by a day after the change."""
        early, late = sum(self.first), sum(self.later)
        until = 1 - exp(-early * self.change)
        rest = exp(-early * self.change) * (1 - exp(-late * (day - self.change)))
        return tuple(  # type: ignore[return-value]
            a / early * until + b / late * rest for a, b in zip(self.first, self.later, strict=True)
        )

    def alone(self, day: float) -> float:
        """One minus the true Kaplan-Meier curve of cause 1, the other cause taken for censoring."""
        return 1 - exp(-self.first[0] * self.change - self.later[0] * (day - self.change))


COHORTS = Cohorts()


def enumerated() -> Iterator[Figure]:
    """Coverage of intervals for a proportion from 0.5 to 30%, and size of the exact test, without chance."""
    grid = np.linspace(0.005, 0.30, 591)
    means = {20: 0.9547, 50: 0.9529, 100: 0.9518, 200: 0.9514, 500: 0.9505}
    for n, expected in means.items():
        wilson, exact = (coverage(n, grid, method) for method in ("wilson", "clopper_pearson"))
        mean = float(wilson.mean())
        yield Figure(
            f"Wilson limits, mean coverage, n = {n}",
            mean,
            0,
            expected - 5e-4,
            expected + 5e-4,
            len(grid),
        )
        least = float(wilson.min())
        yield Figure(f"Wilson limits, least coverage, n = {n}", least, 0, 0.84, 1.0, len(grid))
        least = float(exact.min())
        yield Figure(f"exact limits, least coverage, n = {n}", least, 0, 0.95, 1.0, len(grid))
    for n, expected in ((20, 0.095), (100, 0.394)):
        least = float(coverage_of(*normal_limits(n), grid).min())
        what = f"normal limits, which are not offered, least coverage, n = {n}"
        yield Figure(what, least, 0, expected - 5e-4, expected + 5e-4, len(grid))
    misses = 1 - float(coverage(100, np.array([0.01]), "wilson")[0])
    yield Figure("Wilson limits miss 1% of 100 by 7.94% of samples", misses, 0, 0.0793, 0.0795, 1)
    for n, p in ((40, 0.05), (200, 0.02), (500, 0.10)):
        yield Figure(f"exact test of {p:.0%} in {n}: size", size_of_exact_test(n, p), 0, 0, 0.05, n)


def coverage(n: int, truths: np.ndarray, method: str) -> np.ndarray:
    """The exact coverage of an interval at each true proportion."""
    return coverage_of(*proportion_interval(np.arange(n + 1), np.full(n + 1, n), method=method), truths)


def normal_limits(n: int) -> tuple[np.ndarray, np.ndarray]:
    """The limits of old textbooks for each count of n: the estimate and 1.96 of its errors on both sides."""
    found = np.arange(n + 1) / n
    half_width = NormalDist().inv_cdf(0.975) * np.sqrt(found * (1 - found) / n)
    return found - half_width, found + half_width


def coverage_of(lower: np.ndarray, upper: np.ndarray, truths: np.ndarray) -> np.ndarray:
    """The exact coverage of the limits of each count at each true proportion."""
    n = len(lower) - 1
    events = np.arange(n + 1)
    at_most = binomial_tail(events[None, :], n, truths[:, None], tail="lower")
    chance = np.diff(at_most, axis=1, prepend=0.0)
    inside = (lower <= truths[:, None]) & (truths[:, None] <= upper)
    return np.asarray((chance * inside).sum(axis=1))


def size_of_exact_test(n: int, p: float) -> float:
    """The chance that the exact test rejects a benchmark that is true: twice the smaller tail at 5% or less."""
    events = np.arange(n + 1)
    low = binomial_tail(events, n, p, tail="lower")
    high = binomial_tail(events, n, p, tail="upper")
    chance = np.diff(low, prepend=0.0)
    return float(chance[np.minimum(1.0, 2 * np.minimum(low, high)) <= 0.05].sum())


def curves(runs: int, rng: np.random.Generator) -> Iterator[Figure]:
    """Kaplan-Meier at a year: coverage, bias and model error against the spread of the estimates."""
    truth = 1 - sum(COHORTS.incidence(YEAR))
    for size in (50, 200, 1000):
        found = pd.DataFrame([_survival(size, rng) for _ in range(runs)])
        estimate, error = found["survival"].to_numpy(), found["standard_error"].to_numpy()
        inside = ((found["ci_lower"] <= truth) & (truth <= found["ci_upper"])).to_numpy()
        if size == 50:
            plain = np.abs(estimate - truth) <= NormalDist().inv_cdf(0.975) * error
            yield share(
                "survival at a year, plain limits, not the default, n = 50: coverage", plain, 0.92, 0.01
            )
        # The log-log limits of a small cohort cover a little more than they say.
        yield share(f"survival at a year, log-log limits, n = {size}: coverage", inside, 0.95, 0.006)
        yield near(f"survival at a year, n = {size}: estimate of {truth:.4f}", estimate, truth)
        ratio = float(error.mean() / estimate.std(ddof=1))
        yield Figure(f"n = {size}: Greenwood's error / spread of the estimates",
            ratio, 1 / sqrt(2 * runs), 0.95 - ERRORS / sqrt(2 * runs), 1.05 + ERRORS / sqrt(2 * runs), runs,
        )  # fmt: skip


def _survival(size: int, rng: np.random.Generator) -> pd.Series:
    """One cohort's survival at a year."""
    time, cause = COHORTS.draw(size, rng)
    return at_times(kaplan_meier(time, (cause > 0).astype(int)), YEAR).iloc[0]


def competing(runs: int, rng: np.random.Generator, *, size: int = 1000) -> Iterator[Figure]:
    """Cumulative incidence at a year; and one minus Kaplan-Meier, which must read high by what theory says."""
    truth, alone = COHORTS.incidence(YEAR)[0], COHORTS.alone(YEAR)
    found, naive = [], []
    for _ in range(runs):
        time, cause = COHORTS.draw(size, rng)
        curve = cumulative_incidence(time, cause, causes=[1, 2])
        found.append(at_times(curve[curve["cause"] == 1], YEAR).iloc[0])
        naive.append(
            1 - float(at_times(kaplan_meier(time, (cause == 1).astype(int)), YEAR)["survival"].iloc[0])
        )
    table = pd.DataFrame(found)
    inside = ((table["ci_lower"] <= truth) & (truth <= table["ci_upper"])).to_numpy()
    yield near(f"incidence at a year: estimate of {truth:.4f}", table["incidence"].to_numpy(), truth)
    yield share("incidence at a year, log-log limits: coverage", inside, 0.95, 0.004)
    excess = np.array(naive) / truth - 1
    yield near("one minus Kaplan-Meier, relative excess over the incidence", excess, alone / truth - 1)


def comparisons(runs: int, rng: np.random.Generator) -> Iterator[Figure]:
    """Log-rank: type I error; and power against a hazard ratio of 1.3, by the usual approximation."""
    for size in (200, 1000):
        rejected, _ = _log_rank_runs(runs, rng, size=size, ratio=1.0)
        yield share(f"log-rank, n = {size}: type I error", rejected, 0.05, 0.004)
    rejected, events = _log_rank_runs(runs, rng, size=1000, ratio=1.3)
    expected = float(power_log_rank(events.mean(), hazard_ratio=1.3))
    yield share("log-rank, hazard ratio 1.3, n = 1000: power", rejected, expected, 0.02)


def _log_rank_runs(
    runs: int, rng: np.random.Generator, *, size: int, ratio: float
) -> tuple[np.ndarray, np.ndarray]:
    """Whether each run rejects at 5%, and its events."""
    rejected, events = [], []
    groups = np.repeat(["a", "b"], size // 2)
    for _ in range(runs):
        first, second = COHORTS.draw(size // 2, rng), COHORTS.draw(size // 2, rng, ratio=ratio)
        time, ended = (np.concatenate(parts) for parts in zip(first, second, strict=True))
        rejected.append(log_rank(time, (ended > 0).astype(int), groups).p_value < 0.05)
        events.append((ended > 0).sum())
    return np.array(rejected), np.array(events)


def trends(runs: int, rng: np.random.Generator) -> Iterator[Figure]:
    """Cochran-Armitage over births 0, 1, 2, 3 and more: type I error at 4%, and power as births lower the odds."""
    shares = np.array([0.42, 0.22, 0.22, 0.14])
    for n in (300, 1000, 3000):
        sizes = np.round(n * shares).astype(int)
        flat = _trend_runs(runs, rng, sizes, np.full(4, 0.04))
        yield share(f"trend over births, n = {n}: type I error", flat, 0.05, 0.005)
        odds = 0.04 / 0.96 * 0.67 ** np.arange(4)
        steep, power = odds / (1 + odds), trend_power(sizes, odds / (1 + odds))
        found = _trend_runs(runs, rng, sizes, steep)
        yield share(f"trend over births, odds ratio 0.67, n = {n}: power", found, power, 0.03)


def trend_power(sizes: np.ndarray, chance: np.ndarray) -> float:
    """The normal approximation to the power of the trend test at 5% (Nam J-M. Biometrics 1987;43:701-705)."""
    place = np.arange(len(sizes)) - np.average(np.arange(len(sizes)), weights=sizes)
    mean = np.average(chance, weights=sizes)
    distance = abs((sizes * place * chance).sum())
    flat = sqrt(mean * (1 - mean) * (sizes * place**2).sum())
    spread = sqrt((sizes * place**2 * chance * (1 - chance)).sum())
    return NormalDist().cdf((distance - NormalDist().inv_cdf(0.975) * flat) / spread)


def _trend_runs(runs: int, rng: np.random.Generator, sizes: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Whether each run finds a trend at 5%; a run without an event finds none."""
    found = [
        cochran_armitage(events, sizes).p_value for events in rng.binomial(sizes, chance, (runs, len(sizes)))
    ]
    return np.array([value < 0.05 for value in found])


def regressions(runs: int, rng: np.random.Generator) -> Iterator[Figure]:
    """Odds ratios: coverage with many events, and with few, where the penalised fit must take over by itself."""
    for n, chance, ratio in ((400, 0.15, 2.0), (60, 0.06, 3.0)):
        inside = np.array([_covers(n, chance, ratio, rng) for _ in range(runs)])
        yield Figure(f"odds ratio {ratio}, n = {n} a group, {chance:.0%}: coverage",
            float(inside.mean()), sqrt(0.05 * 0.95 / runs), 0.93 - ERRORS * sqrt(0.05 * 0.95 / runs), 0.99, runs,
        )  # fmt: skip


def _covers(n: int, chance: float, ratio: float, rng: np.random.Generator) -> bool:
    """Whether the limits of one run hold the true odds ratio."""
    odds = chance / (1 - chance) * ratio
    events = rng.binomial(n, [chance, odds / (1 + odds)])
    fit = logistic_regression(pd.DataFrame({"second_group": [0.0, 1.0]}), events, [n, n])
    row = fit.coefficients.set_index("term").loc["second_group"]
    return bool(row["ci_lower"] <= ratio <= row["ci_upper"])


def separated(runs: int, rng: np.random.Generator) -> Iterator[Figure]:
    """Groups without an event: no run may give finite limits without saying that the fit was penalised."""
    silent = 0
    for _ in range(runs):
        events = rng.permutation([0, int(rng.integers(1, 12))])
        fit = logistic_regression(pd.DataFrame({"second_group": [0.0, 1.0]}), events, [12, 12])
        limits = fit.coefficients[["ci_lower", "ci_upper"]].to_numpy()
        silent += bool(np.isfinite(limits).all() and (fit.estimator != "firth" or not fit.method))
    yield Figure("one group without events: fits with silent Wald limits", silent / runs, 0, 0, 0, runs)


def repeated(runs: int, rng: np.random.Generator, *, women: int = 150) -> Iterator[Figure]:
    """Two spells of each woman, alike in how long they last: type I error of a ratio between groups of women."""
    columns = pd.DataFrame({"second_group": np.repeat(np.arange(women) % 2, 2).astype(float)})
    rejected, naive = [], []
    for _ in range(runs):
        until = rng.exponential(1 / np.repeat(rng.gamma(1.0, 1.0, women), 2))
        lost = rng.exponential(2.0, 2 * women)
        given = columns, np.minimum(until, lost), (until <= lost).astype(int)
        fit = cox_regression(*given)
        robust = with_clustered_errors(fit, *given, clusters=np.repeat(np.arange(women), 2))
        rejected.append(robust.coefficients.at[0, "p_value"] < 0.05)
        naive.append(fit.coefficients.at[0, "p_value"] < 0.05)
    yield share(
        "hazard ratio, women with two spells, clustered: type I error", np.array(rejected), 0.05, 0.01
    )
    error = sqrt(0.05 * 0.95 / runs)
    what = "the same, spells taken as independent (must be above 0.05, else nothing was proved)"
    yield Figure(what, float(np.mean(naive)), error, 0.07 - ERRORS * error, 1, runs)


def bounds(runs: int, rng: np.random.Generator, *, size: int = 300) -> Iterator[Figure]:
    """Women lost because of what happened: the bounds for unknowns must hold the sample's truth in every run."""
    inside, naive = [], []
    for _ in range(runs):
        happened = rng.random(size) < 0.08
        lost = rng.random(size) < np.where(happened, 0.5, 0.28)
        events, known = int((happened & ~lost).sum()), int((~lost).sum())
        least, most = bounds_for_unknowns(events, known, size - known)
        inside.append(least <= happened.mean() <= most)
        naive.append(events / known - happened.mean())
    held = np.array(inside)
    yield Figure("bounds with 30% lost selectively: runs that hold the truth", held.mean(), 0, 1, 1, runs)
    low = np.array(naive)
    yield Figure("known only, same runs: mean error (must be below 0, else nothing was proved)",
        low.mean(), low.std() / sqrt(runs), -1, -0.01, runs,
    )  # fmt: skip


SIMULATIONS: tuple[tuple[Callable[[int, np.random.Generator], Iterator[Figure]], int], ...] = (
    (curves, 4000),
    (competing, 4000),
    (comparisons, 4000),
    (trends, 20000),
    (regressions, 2000),
    (bounds, 1000),
    (separated, 300),
    (repeated, 2000),
)


def all_figures(*, share_of_runs: float = 1.0, seed: int = 20260930) -> list[Figure]:
    """Every figure, with all runs or a share of them."""
    figures = list(enumerated())
    for number, (simulation, runs) in enumerate(SIMULATIONS):
        rng = np.random.default_rng([seed, number])
        figures += simulation(max(50, round(runs * share_of_runs)), rng)
    return figures
