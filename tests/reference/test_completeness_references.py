"""Time under observation against R's survival package and the definition of the completeness index.

Reversed curves: Schemper M, Smith TL. Control Clin Trials 1996;17:343-346; full values computed in R 4.2.2 with
survival 3.5-3, its default limits (log). The index: Clark TG, Altman DG, De Stavola BL. Lancet 2002;359:1309-1310
(definition; the ten individuals are made up, no printed value).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.statistics.completeness import completeness_index, reverse_kaplan_meier
from audit.statistics.curves import survival_quantile
from audit.statistics.survival import kaplan_meier

DATA = Path(__file__).parent / "data"
COLLETT = pd.read_csv(DATA / "iud18.csv").rename(columns={"week": "time"})
GEHAN = pd.read_csv(DATA / "gehan.csv").rename(columns={"weeks": "time", "relapse": "event"})
TREATED = GEHAN[GEHAN["group"] == "treated"]
TEN = pd.read_csv(DATA / "completeness10.csv").rename(columns={"obs": "time", "ev": "event"})
nan = np.nan


@pytest.mark.parametrize(
    ("data", "median", "lower", "upper"),
    [(COLLETT, 104, 54, nan), (TEN, 185, 60, nan), (TREATED, 25, 17, nan)],
    ids=["collett", "ten", "treated"],
)
def test_the_median_time_observed_is_that_of_r(data, median, lower, upper):
    found = survival_quantile(reverse_kaplan_meier(data["time"], data["event"], transform="log"))
    expected = [median, lower, upper]
    assert [found.value, found.ci_lower, found.ci_upper] == pytest.approx(expected, nan_ok=True)


def test_events_come_before_the_ends_of_observation_as_swapped_codes_would_not_have_it():
    last = reverse_kaplan_meier(COLLETT["time"], COLLETT["event"]).iloc[-1]
    assert (last["time"], last["at_risk"], last["survival"]) == (107, 2, 0)
    swapped = kaplan_meier(COLLETT["time"], 1 - COLLETT["event"]).iloc[-1]
    assert (swapped["at_risk"], swapped["survival"]) == (3, pytest.approx(0.148968678380, rel=1e-9))


def test_the_completeness_index_is_observed_over_potential_time():
    found = completeness_index(TEN["time"], TEN["event"], TEN["pot"])
    assert (found.observed_time, found.potential_time) == (1795, 2330)
    assert found.index == pytest.approx(0.770386266094, rel=1e-9)
    assert (found.complete, found.n, found.share) == (7, 10, 0.7)


def test_events_credited_with_their_time_to_closing_would_raise_the_index():
    to_closing = 365 - TEN["entry"]
    credited = np.where(TEN["event"], to_closing, TEN["time"])
    assert completeness_index(credited, TEN["event"], to_closing).index == pytest.approx(0.791015625)
