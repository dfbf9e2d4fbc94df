"""Power, sample size, precision and detectable differences: by enumeration, against statsmodels, at the edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines.statistics import power_under_cph, sample_size_necessary_under_cph
from scipy import stats
from statsmodels.stats.proportion import power_proportions_2indep
from statsmodels.stats.rates import power_poisson_ratio_2indep

from audit.statistics.binomial_tails import binomial_tail
from audit.statistics.detectable import detectable_proportions, detectable_second_proportions
from audit.statistics.power import (
    power_one_proportion,
    power_two_proportions,
    sample_size_one_proportion,
    sample_size_two_proportions,
    whole_number,
)
from audit.statistics.power_of_rates import (
    events_for_log_rank,
    exposure_for_two_rates,
    power_log_rank,
    power_two_rates,
)
from audit.statistics.precision import interval_width, sample_size_for_width
from audit.statistics.proportions import proportion_interval

shares = st.floats(0.01, 0.99)


def enumerated_power(n, benchmark, proportion, level):
    """Return the power by testing every count with scipy's binomial."""
    x = np.arange(n + 1)
    low, high = stats.binom.cdf(x, n, benchmark), stats.binom.sf(x - 1, n, benchmark)
    rejected = (low <= level / 2) | (high <= level / 2)
    return stats.binom.pmf(x, n, proportion)[rejected].sum()


def test_500_exact_powers_agree_with_enumeration():
    random = np.random.default_rng(60)
    for _ in range(500):
        n, level = int(random.integers(1, 300)), random.choice([0.05, 0.01, 0.1])
        benchmark, proportion = random.uniform(0.01, 0.99, 2)
        found = power_one_proportion(n, benchmark=benchmark, proportion=proportion, level=level)
        expected = enumerated_power(n, benchmark, proportion, level)
        assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_few_observations_find_nothing():
    # Of 3 even all 3 have a probability of 1/8 at one half.
    assert power_one_proportion(3, benchmark=0.5, proportion=0.99) == 0
    assert power_one_proportion(0, benchmark=0.5, proportion=0.9) == 0
    assert power_one_proportion([], benchmark=0.5, proportion=0.9).shape == (0,)
    assert power_one_proportion([[5, 50]], benchmark=0.5, proportion=0.9).shape == (1, 2)
    assert isinstance(power_one_proportion(5, benchmark=0.5, proportion=0.9), float)


@pytest.mark.parametrize("proportion", [0.0, 1.0])
def test_a_certain_outcome_is_found_as_soon_as_the_test_can_reject(proportion):
    assert power_one_proportion([5, 6], benchmark=0.5, proportion=proportion).tolist() == [0, 1]
    normal = power_one_proportion([3, 4], benchmark=0.5, proportion=proportion, method="normal")
    assert normal.tolist() == [0, 1]


@given(shares, st.integers(1, 3000), st.floats(0.001, 0.2))
def test_a_test_rejects_the_benchmark_itself_no_more_often_than_its_level(benchmark, n, level):
    assert power_one_proportion(n, benchmark=benchmark, proportion=benchmark, level=level) <= level * (
        1 + 1e-9
    )


@settings(max_examples=30)
@given(st.floats(0.02, 0.5), st.floats(0.05, 0.4), st.sampled_from([0.8, 0.9]))
def test_from_the_exact_sample_size_on_the_power_is_never_too_small(benchmark, step, power):
    proportion = min(benchmark + step, 1)
    n = sample_size_one_proportion(benchmark=benchmark, proportion=proportion, power=power)
    after = power_one_proportion(np.arange(n, 2 * n + 200), benchmark=benchmark, proportion=proportion)
    assert after.min() >= power
    if n > 1:
        assert power_one_proportion(n - 1, benchmark=benchmark, proportion=proportion) < power


@given(shares, shares, st.floats(0.5, 0.99))
def test_the_normal_sample_size_is_the_least_with_the_power(benchmark, proportion, power):
    if abs(benchmark - proportion) < 0.002:
        return
    options = {"benchmark": benchmark, "proportion": proportion}
    n = sample_size_one_proportion(**options, power=power, method="normal")
    reached = power_one_proportion([n, n - 1], **options, method="normal")
    assert reached[0] >= power - 1e-9
    assert reached[1] < power or n == 1


def test_500_powers_of_two_groups_agree_with_statsmodels():
    random = np.random.default_rng(61)
    for _ in range(500):
        p_1, p_2 = random.uniform(0.02, 0.98, 2)
        n_1, ratio = int(random.integers(5, 800)), random.uniform(0.3, 3)
        ours = power_two_proportions(n_1, n_1 * ratio, proportion_1=p_1, proportion_2=p_2)
        # One-sided at half the level, since both sides together add the chance of being wrong about the side.
        side = "larger" if p_1 > p_2 else "smaller"
        theirs = power_proportions_2indep(
            p_1 - p_2, p_2, n_1, ratio=ratio, alpha=0.025, alternative=side, return_results=False
        )
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-12)


@given(shares, shares, st.floats(0.2, 5), st.floats(0.5, 0.99))
def test_the_sample_sizes_of_two_groups_have_the_power(p_1, p_2, ratio, power):
    if abs(p_1 - p_2) < 0.002:
        return
    n_1, n_2 = sample_size_two_proportions(proportion_1=p_1, proportion_2=p_2, ratio=ratio, power=power)
    assert power_two_proportions(n_1, n_1 * ratio, proportion_1=p_1, proportion_2=p_2) >= power - 1e-9
    assert abs(n_2 - n_1 * ratio) <= max(1, ratio)


def test_an_empty_group_has_no_power():
    found = power_two_proportions([0, 50], [50, 50], proportion_1=0.1, proportion_2=[0.4, 0.4])
    assert np.isnan(found[0])
    assert found[1] > 0.9
    below, above = detectable_second_proportions(0, 50, proportion_1=0.1)
    assert np.isnan([below, above]).all()


@settings(max_examples=50)
@given(st.integers(5, 2000), shares, st.sampled_from([0.8, 0.9]))
def test_a_detectable_proportion_is_found_with_the_power_and_a_nearer_one_less_often(n, benchmark, power):
    below, above = detectable_proportions(n, benchmark=benchmark, power=power)
    for side, found in (("lower", below), ("upper", above)):
        counts = np.arange(n + 1)
        rejected = counts[binomial_tail(counts, n, benchmark, tail=side) <= 0.025]
        if np.isnan(found):
            assert rejected.size == 0
        else:
            edge = rejected.max() if side == "lower" else rejected.min()
            assert binomial_tail(edge, n, found, tail=side) == pytest.approx(power, rel=1e-8)
            assert (found < benchmark) == (side == "lower")


def test_nothing_rarer_than_a_rare_benchmark_can_be_found_in_few():
    below, above = detectable_proportions([50, 400], benchmark=0.02)
    assert np.isnan(below[0])
    assert 0 < below[1] < 0.02
    assert (above > 0.02).all()
    assert detectable_proportions([], benchmark=0.02)[0].shape == (0,)


@settings(max_examples=50)
@given(st.integers(20, 2000), st.integers(20, 2000), shares)
def test_a_detectable_second_proportion_has_the_power_and_lies_on_its_side(n_1, n_2, proportion):
    for side, found in enumerate(detectable_second_proportions(n_1, n_2, proportion_1=proportion)):
        edge = float(side)
        if np.isnan(found):
            assert power_two_proportions(n_1, n_2, proportion_1=proportion, proportion_2=edge) < 0.8
        else:
            power = power_two_proportions(n_1, n_2, proportion_1=proportion, proportion_2=found)
            # With no spread left at the edge the power jumps.
            assert power == pytest.approx(0.8, abs=1e-6) or found == pytest.approx(edge, abs=1e-6)
            assert min(proportion, edge) <= found <= max(proportion, edge)


@given(st.integers(1, 500).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_width_is_that_of_the_interval(pair):
    x, n = pair
    for method in ("wilson", "clopper_pearson", "jeffreys", "agresti_coull"):
        lower, upper = proportion_interval(x, n, method=method)
        found = interval_width(n, proportion=x / n, method=method)
        assert found == pytest.approx(upper - lower, abs=1e-9)


@settings(max_examples=60)
@given(st.floats(0, 1), st.floats(0.02, 0.6), st.sampled_from(["wilson", "clopper_pearson", "jeffreys"]))
def test_the_sample_size_for_a_width_is_the_least(proportion, width, method):
    n = sample_size_for_width(proportion=proportion, width=width, method=method)
    assert interval_width(n, proportion=proportion, method=method) <= width
    if n > 1:
        assert interval_width(n - 1, proportion=proportion, method=method) > width


def test_no_observation_has_no_width():
    assert np.isnan(interval_width(0, proportion=0.1))
    assert interval_width([], proportion=0.1).shape == (0,)


def test_500_powers_of_two_rates_agree_with_statsmodels():
    random = np.random.default_rng(62)
    for _ in range(500):
        rate_1, rate_2 = random.uniform(0.005, 0.3, 2)
        time_1, ratio = random.uniform(50, 3000), random.uniform(0.3, 3)
        ours = power_two_rates(time_1, time_1 * ratio, rate_1=rate_1, rate_2=rate_2)
        # One-sided at half the level, the larger rate first: then both leave out the wrong side.
        first, second = (time_1, time_1 * ratio) if rate_1 > rate_2 else (time_1 * ratio, time_1)
        theirs = power_poisson_ratio_2indep(
            max(rate_1, rate_2),
            min(rate_1, rate_2),
            first,
            nobs_ratio=second / first,
            value=1,
            alpha=0.025,
            alternative="larger",
            return_results=False,
        )
        assert ours == pytest.approx(theirs, rel=1e-9)


@given(st.floats(0.001, 5), st.floats(0.001, 5), st.floats(0.1, 10), st.floats(0.5, 0.99))
def test_the_exposure_for_two_rates_has_the_power(rate_1, rate_2, ratio, power):
    if abs(rate_1 / rate_2 - 1) < 1e-3:
        return
    exposures = exposure_for_two_rates(rate_1=rate_1, rate_2=rate_2, ratio=ratio, power=power)
    assert power_two_rates(*exposures, rate_1=rate_1, rate_2=rate_2) == pytest.approx(power, rel=1e-9)


def test_freedmans_power_and_events_agree_with_lifelines():
    random = np.random.default_rng(63)
    for _ in range(500):
        n_1, n_2 = random.integers(10, 400, 2)
        hazard_ratio = float(np.exp(random.normal(0, 0.7)))
        theirs = power_under_cph(n_1, n_2, 1.0, 1.0, hazard_ratio)
        ours = power_log_rank(n_1 + n_2, hazard_ratio=hazard_ratio, ratio=n_1 / n_2, method="freedman")
        assert ours == pytest.approx(theirs, rel=1e-9)
        if abs(np.log(hazard_ratio)) > 0.05:
            first, second = sample_size_necessary_under_cph(0.8, 1.0, 1.0, 1.0, hazard_ratio)
            events = events_for_log_rank(hazard_ratio=hazard_ratio, method="freedman")
            assert events <= first + second <= events + 2


@given(st.floats(0.05, 20), st.floats(0.1, 10), st.sampled_from(["schoenfeld", "freedman"]))
def test_the_events_for_a_log_rank_test_are_the_least_with_the_power(hazard_ratio, ratio, method):
    if abs(np.log(hazard_ratio)) < 0.01:
        return
    options = {"hazard_ratio": hazard_ratio, "ratio": ratio, "method": method}
    events = events_for_log_rank(**options)
    assert power_log_rank(events, **options) >= 0.8 - 1e-9
    assert power_log_rank(events - 1, **options) < 0.8 or events == 1


@given(st.floats(0.1, 10), st.floats(0.2, 5))
def test_exchanging_the_groups_leaves_the_log_rank_power_as_it_is(hazard_ratio, ratio):
    for method in ("schoenfeld", "freedman"):
        found = power_log_rank(80, hazard_ratio=hazard_ratio, ratio=ratio, method=method)
        swapped = power_log_rank(80, hazard_ratio=1 / hazard_ratio, ratio=1 / ratio, method=method)
        assert swapped == pytest.approx(found, rel=1e-9)


def test_no_exposure_has_no_power_and_no_event_only_half_the_level():
    assert np.isnan(power_two_rates(0, 10, rate_1=1, rate_2=2))
    assert power_log_rank(0, hazard_ratio=2) == pytest.approx(0.025)
    assert power_log_rank([], hazard_ratio=2).shape == (0,)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: power_one_proportion(1.5, benchmark=0.1, proportion=0.2),
            "n must be whole numbers of zero or more, got 1.5",
        ),
        (
            lambda: power_one_proportion(5, benchmark=1.1, proportion=0.2),
            "benchmark must lie from 0 to 1, got 1.1",
        ),
        (
            lambda: power_one_proportion(5, benchmark=0.1, proportion=0.2, method="score"),
            "method must be one of exact, normal, got 'score'",
        ),
        (
            lambda: sample_size_one_proportion(benchmark=0.1, proportion=0.1),
            r"proportion must differ from benchmark \(0.1\), got 0.1",
        ),
        (
            lambda: sample_size_one_proportion(benchmark=0, proportion=0.1),
            "benchmark must lie between 0 and 1, got 0",
        ),
        (
            lambda: sample_size_one_proportion(benchmark=0.1, proportion=0.10001, method="normal"),
            "the difference must be findable with 10000000 observations, got .* needed",
        ),
        (
            lambda: sample_size_one_proportion(benchmark=0.1, proportion=0.101),
            "the difference must be findable with 200000 observations, got .* needed",
        ),
        (
            lambda: sample_size_two_proportions(proportion_1=0.1, proportion_2=0.1),
            r"proportion_2 must differ from proportion_1 \(0.1\), got 0.1",
        ),
        (
            lambda: sample_size_two_proportions(proportion_1=0.1, proportion_2=0.2, ratio=0),
            "ratio must be finite and above 0, got 0",
        ),
        (
            lambda: sample_size_two_proportions(proportion_1=0.1, proportion_2=0.2, power=80),
            "power must lie between 0 and 1, got 80",
        ),
        (
            lambda: power_two_proportions(5, 5, proportion_1=0.1, proportion_2=2),
            "proportion_2 must lie from 0 to 1, got 2",
        ),
        (lambda: detectable_proportions(5, benchmark=0.1, level=5), "level must lie between 0 and 1, got 5"),
        (
            lambda: detectable_second_proportions(5, 5, proportion_1=0.1, power=1),
            "power must lie between 0 and 1, got 1",
        ),
        (
            lambda: interval_width(5, proportion=0.1, method="mid_p"),
            "method must be one of wilson, clopper_pearson, jeffreys, agresti_coull, got 'mid_p'",
        ),
        (lambda: sample_size_for_width(proportion=0.1, width=0), "width must lie between 0 and 1, got 0"),
        (
            lambda: power_two_rates(5, 5, rate_1=0, rate_2=1),
            "rate_1 must be finite and above 0, got 0",
        ),
        (
            lambda: exposure_for_two_rates(rate_1=1, rate_2=1),
            r"rate_2 must differ from rate_1 \(1.0\), got 1.0",
        ),
        (lambda: power_log_rank(5, hazard_ratio=-1), "hazard_ratio must be finite and above 0, got -1"),
        (lambda: events_for_log_rank(hazard_ratio=1), "hazard_ratio must differ from 1, got 1"),
        (
            lambda: events_for_log_rank(hazard_ratio=2, method="cox"),
            "method must be one of schoenfeld, freedman, got 'cox'",
        ),
    ],
)
def test_a_wrong_argument_is_refused_by_name(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_a_whole_number_is_the_next_one_but_for_rounding():
    assert [whole_number(needed) for needed in (0.2, 3.0, 3.1, 0.1 * 3 * 10, 41 * (1 + 1e-13))] == [
        1,
        3,
        4,
        3,
        41,
    ]
    assert whole_number(0.1 * 3 * 10, 3.1) == 3
    assert whole_number(10_000_000) == 10_000_000
    with pytest.raises(
        ValueError, match=r"^the difference must be findable with 7 observations, got 7\.5 needed$"
    ):
        whole_number(7.5, 7)


@pytest.mark.parametrize(("level", "power"), [(0.01, 0.8), (0.1, 0.9)])
def test_the_exact_sample_size_holds_at_other_levels_too(level, power):
    n = sample_size_one_proportion(benchmark=0.1, proportion=0.25, level=level, power=power)
    reached = [enumerated_power(m, 0.1, 0.25, level) >= power for m in range(n - 1, 2 * n + 100)]
    assert (reached[0], all(reached[1:])) == (False, True)


def test_a_sample_size_is_found_below_the_normal_answer_and_beside_a_benchmark_near_1():
    # Counting the opposite changes nothing.
    for benchmark, proportion in ((0.1, 0.6), (0.02, 0.12), (0.3, 0.36)):
        n = sample_size_one_proportion(benchmark=benchmark, proportion=proportion)
        assert n == sample_size_one_proportion(benchmark=1 - benchmark, proportion=1 - proportion)
    # One in two against certainty: six in six is the first to be rarer than 1 in 40.
    assert sample_size_one_proportion(benchmark=0.5, proportion=1.0) == 6


def test_neither_group_may_be_empty():
    assert np.isnan(power_two_proportions([50, 50], [0, 50], proportion_1=0.1, proportion_2=0.4)[0])
    assert np.isnan(power_two_proportions(0, 0, proportion_1=0.1, proportion_2=0.4))
    half = power_two_proportions(0.5, 900, proportion_1=0.1, proportion_2=0.4)
    assert 0 < half < 0.2
    assert power_two_proportions(900, 0.5, proportion_1=0.4, proportion_2=0.1) == pytest.approx(half)


@pytest.mark.parametrize("level", [0.01, 0.2])
def test_a_second_proportion_is_found_at_the_level_asked_for(level):
    for found in detectable_second_proportions(300, 400, proportion_1=0.3, level=level):
        power = power_two_proportions(300, 400, proportion_1=0.3, proportion_2=found, level=level)
        assert power == pytest.approx(0.8)


@pytest.mark.parametrize(("confidence", "width"), [(0.8, 0.2), (0.99, 0.1)])
def test_the_sample_size_for_a_width_takes_the_confidence_and_is_a_whole_number(confidence, width):
    n = sample_size_for_width(proportion=0.3, width=width, confidence=confidence)
    assert type(n) is int
    # Wilson's width by scipy at a whole count near the planned one.
    options = {"proportion": 0.3, "confidence": confidence}
    assert interval_width(n, **options) <= width < interval_width(n - 1, **options)
    # By the formula for the width of Wilson's interval.
    z = stats.norm.ppf((1 + confidence) / 2)
    for size in (n, n - 1):
        by_hand = 2 * z * np.sqrt(0.21 / size + z**2 / (4 * size**2)) / (1 + z**2 / size)
        assert interval_width(size, **options) == pytest.approx(by_hand)


def test_the_usual_width_is_wilsons_and_one_observation_can_be_enough():
    sizes = [sample_size_for_width(proportion=0.05, width=0.06, method=m) for m in ("wilson", "jeffreys")]
    assert sample_size_for_width(proportion=0.05, width=0.06) == sizes[0] != sizes[1]
    assert sample_size_for_width(proportion=0.0, width=0.9) == 1
    # A width reached exactly is narrow enough.
    assert sample_size_for_width(proportion=0.3, width=float(interval_width(57, proportion=0.3))) == 57


def test_equal_exposures_are_the_usual_plan():
    assert exposure_for_two_rates(rate_1=0.05, rate_2=0.03) == exposure_for_two_rates(
        rate_1=0.05, rate_2=0.03, ratio=1, power=0.8
    )
    first, second = exposure_for_two_rates(rate_1=0.05, rate_2=0.03)
    assert first == second
    # (1.96 + 0.8416)^2 (1 / 0.05 + 1 / 0.03) / log(5 / 3)^2.
    by_hand = (stats.norm.ppf(0.975) + stats.norm.ppf(0.8)) ** 2 * (20 + 100 / 3) / np.log(5 / 3) ** 2
    assert first == pytest.approx(by_hand)
