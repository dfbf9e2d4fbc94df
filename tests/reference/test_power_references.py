"""Power, sample size and precision against printed examples."""

import numpy as np
import pytest

from audit.statistics.funnel import funnel_limits
from audit.statistics.power import (
    power_one_proportion,
    power_two_proportions,
    sample_size_one_proportion,
    sample_size_two_proportions,
)
from audit.statistics.power_of_rates import events_for_log_rank, power_log_rank
from audit.statistics.precision import interval_width


def test_the_sample_size_of_rosners_formula_is_reproduced():
    # Rosner B. Fundamentals of Biostatistics, equation 7.46 (number from memory): .05 against .02 with 90% power
    # takes 341. Computed in R: 340.651800322 before rounding; power at 500 by equation 7.45.
    options = {"benchmark": 0.02, "proportion": 0.05, "method": "normal"}
    assert sample_size_one_proportion(**options, power=0.9) == 341
    assert power_one_proportion(340.651800322, **options) == pytest.approx(0.9, rel=1e-10)
    assert power_one_proportion(500, **options) == pytest.approx(0.96553853625, rel=1e-10)


def test_the_sample_size_of_two_proportions_is_that_of_rs_power_prop_test():
    # R prints n = 434.43 for .10 against .05 with 80% power: 435 in each group.
    assert sample_size_two_proportions(proportion_1=0.10, proportion_2=0.05) == (435, 435)
    n = 434.432022439
    power = power_two_proportions(n, n, proportion_1=0.10, proportion_2=0.05)
    # R's own search for n stops at about 1e-7.
    assert power == pytest.approx(0.8, rel=1e-8)


# A'Hern RP. Sample size tables for exact single-stage phase II designs. Stat Med 2001;20:859-866: count needed and
# least number, one-sided 5% (from memory, reproduced by computation).
A_HERN = [(0.05, 0.20, 0.8, 4, 27), (0.20, 0.40, 0.8, 12, 35), (0.10, 0.30, 0.9, 7, 33)]


@pytest.mark.parametrize(("benchmark", "proportion", "power", "count", "n"), A_HERN)
def test_the_exact_one_sample_designs_of_a_hern_are_reproduced(benchmark, proportion, power, count, n):
    numbers = np.arange(1, n + 1)
    # Against a better proportion the other side's chance of rejection is nothing to speak of.
    reached = power_one_proportion(numbers, benchmark=benchmark, proportion=proportion, level=0.1) >= power
    assert reached[-1]
    assert not reached[:-1].any()
    assert funnel_limits(n, benchmark, tail_probability=0.05)["upper_count"].tolist() == [count]


def test_a_planned_wilson_interval_has_the_limits_that_presize_prints():
    # The R package presize prints for n = 10: p .2, .05668215 to .5098375; p .4, .16818033 to .6873262.
    found = interval_width(10, proportion=[0.2, 0.4])
    assert found.tolist() == pytest.approx([0.5098375 - 0.05668215, 0.6873262 - 0.16818033], abs=1e-7)


def test_freedmans_power_is_that_of_the_r_package_powersurvepi():
    # Its manual's example, quoted by lifelines' tests: 12 and 12 followed, event probabilities .8 and .2, ratio
    # .139 give .744937; 12 and 20 with ratio 1.2 give .05178317.
    assert power_log_rank(12, hazard_ratio=0.139, method="freedman") == pytest.approx(0.744937, abs=5e-7)
    events = 12 * 0.8 + 20 * 0.2
    found = power_log_rank(events, hazard_ratio=1.2, ratio=12 / 20, method="freedman")
    assert found == pytest.approx(0.05178317, abs=5e-9)


def test_schoenfelds_events_are_those_of_a_textbook_example():
    # Collett D. Modelling Survival Data in Medical Research, example on chronic active hepatitis: log hazard
    # ratio -.562, 90% power, 133 deaths (from memory, reproduced by computation: the formula gives 133.07).
    ratio = float(np.exp(-0.562))
    assert power_log_rank(133.07, hazard_ratio=ratio) == pytest.approx(0.9, abs=5e-5)
    assert events_for_log_rank(hazard_ratio=ratio, power=0.9) == 134
