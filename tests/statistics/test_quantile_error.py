"""Quantiles with a standard error: a textbook's median, an exponential curve, edges, refusals."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.statistics.quantile_error import quantile_with_error
from audit.statistics.survival import kaplan_meier

DATA = Path(__file__).parents[1] / "reference" / "data"


def test_colletts_median_has_the_error_of_the_book():
    # Collett D. Modelling Survival Data in Medical Research: median 93 weeks, standard error 17.13, limits 59 and
    # 127 (printed values from memory, reproduced by computation; in full from R 4.2.2, limits with z = 1.96).
    cohort = pd.read_csv(DATA / "iud18.csv")
    found = quantile_with_error(kaplan_meier(cohort["week"], cohort["event"]))
    assert found.value == 93
    assert found.standard_error == pytest.approx(17.1310558673, rel=1e-9)
    assert (found.ci_lower, found.ci_upper) == pytest.approx((59.4231, 126.5769), abs=1e-3)
    assert [round(x, 0) for x in (found.ci_lower, found.ci_upper)] == [59, 127]


@pytest.mark.parametrize("proportion", [0.25, 0.5, 0.75])
def test_the_error_of_a_quantile_of_many_exponential_times_is_the_theoretical_one(proportion):
    # Asymptotically sqrt(p (1 - p) / n) over the density, (1 - p) / mean; Cox and Hinkley 1974, appendix 2.
    size, mean = 20_000, 30.0
    times = -mean * np.log(1 - (np.arange(size) + 0.5) / size)
    found = quantile_with_error(kaplan_meier(times, np.ones(size)), proportion)
    assert found.value == pytest.approx(-mean * np.log(1 - proportion), rel=1e-3)
    expected = np.sqrt(proportion * (1 - proportion) / size) * mean / (1 - proportion)
    assert found.standard_error == pytest.approx(expected, rel=0.03)


def test_the_unit_of_time_goes_through():
    days, weeks = (kaplan_meier(np.arange(1, 41) * unit, np.ones(40)) for unit in (7, 1))
    assert quantile_with_error(days).standard_error == pytest.approx(
        7 * quantile_with_error(weeks).standard_error
    )


@pytest.mark.parametrize(
    ("curve", "value"),
    [
        (kaplan_meier([], []), np.nan),
        (kaplan_meier([4, 5, 6], [1, 0, 0]), np.nan),
        # At the median the curve is at 0.
        (kaplan_meier([4, 4], [1, 1]), 4),
        # It stops at 0.5.
        (kaplan_meier([1, 2, 3, 4, 9, 9, 9, 9], [1, 1, 1, 1, 0, 0, 0, 0]), 6.5),
    ],
    ids=["nobody", "not reached", "at zero", "too short"],
)
def test_without_a_slope_or_a_quantile_the_error_is_nan(curve, value):
    found = quantile_with_error(curve)
    assert found.value == pytest.approx(value, nan_ok=True)
    assert np.isnan([found.standard_error, found.ci_lower, found.ci_upper]).all()


@pytest.mark.parametrize("name", ["proportion", "about", "confidence"])
def test_a_wrong_argument_is_refused_by_name(name):
    with pytest.raises(ValueError, match=f"{name} must lie between 0 and 1, got 1"):
        quantile_with_error(kaplan_meier([1, 2], [1, 1]), **{name: 1})


@pytest.mark.parametrize("size", [20, 40, 60, 80, 100, 120, 140, 200])
def test_one_event_a_day_falls_by_one_in_n_a_day_whatever_the_rounding(size):
    # The steps at exactly 0.05 above and below the half are taken. Greenwood's error at a half is sqrt(1 / 4n).
    found = quantile_with_error(kaplan_meier(range(1, size + 1), [1] * size))
    assert found.proportion == 0.5
    assert found.standard_error == pytest.approx(np.sqrt(0.25 / size) * size)


def test_the_slope_runs_from_event_to_event_and_from_the_origin_before_the_first():
    # 10 at risk; events on days 10, 20 and 30, one censored on day 12, at survival 9/10.
    curve = kaplan_meier([10, 12, 20, *[30] * 3, *[40] * 4], [1, 0, *[1] * 4, *[0] * 4])
    found = quantile_with_error(curve, 0.15, about=0.05)
    # From 0.9 on day 10, not day 12, to 0.9 * 7/8 on day 20.
    error = 0.9 * 7 / 8 * np.sqrt(1 / 90 + 1 / 56)
    assert (found.value, found.standard_error) == (20, pytest.approx(error / (0.9 / 8 / 10)))
    # From 1 on day 0 to 0.9 on day 10.
    early = quantile_with_error(curve, 0.05, about=0.05)
    assert (early.value, early.standard_error) == (10, pytest.approx(np.sqrt(0.09 / 10) / (0.1 / 10)))
    # The lower limit does not go below 0.
    assert (early.ci_lower, early.ci_upper) == (0, pytest.approx(10 + 1.959964 * early.standard_error))
    assert quantile_with_error(kaplan_meier([], []), 0.3).proportion == 0.3
