"""The c-statistic, the Brier score and calibration: against scipy, statsmodels and the definitions."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from audit.statistics.calibration import calibration_line, calibration_table
from audit.statistics.discrimination import brier_score, c_statistic
from audit.statistics.logistic import logistic_regression
from audit.statistics.predicted import expected_counts, predicted_probabilities


def random_predictions(seed, rows=25, most=6):
    random = np.random.default_rng(seed)
    predicted = np.round(random.uniform(0.05, 0.7, rows), 1)
    n = random.integers(0, most, rows)
    return predicted, random.binomial(n, 1.3 * predicted), n


def expanded(predicted, events, n):
    outcomes = [np.repeat([1, 0], [x, total - x]) for x, total in zip(events, n, strict=True)]
    return np.repeat(predicted, n), np.concatenate(outcomes).astype(int)


def test_the_example_of_scikit_learns_documentation_is_reproduced():
    # scikit-learn, documentation of roc_auc_score (scores .1, .4, .35, .8 of 0, 0, 1, 1) and of brier_score_loss
    # (.1, .9, .8, .3 of 0, 1, 1, 0): 0.75 and 0.0375. From memory, reproduced by computation.
    assert float(c_statistic([0.1, 0.4, 0.35, 0.8], [0, 0, 1, 1])[0].value) == 0.75
    assert brier_score([0.1, 0.9, 0.8, 0.3], [0, 1, 1, 0]) == pytest.approx(0.0375)


@pytest.mark.parametrize("seed", range(30))
def test_the_c_statistic_is_mann_and_whitneys(seed):
    predicted, events, n = random_predictions(seed)
    area, _ = c_statistic(predicted, events, n)
    rows, outcomes = expanded(predicted, events, n)
    cases, others = rows[outcomes == 1], rows[outcomes == 0]
    expected = stats.mannwhitneyu(cases, others).statistic / (len(cases) * len(others))
    assert float(area.value) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("seed", range(10))
def test_delongs_error_is_the_spread_of_each_ones_share_of_pairs(seed):
    # DeLong, DeLong and Clarke-Pearson (1988), equations 4 to 6, pair by pair.
    predicted, events, n = random_predictions(seed)
    rows, outcomes = expanded(predicted, events, n)
    cases, others = rows[outcomes == 1], rows[outcomes == 0]
    pairs = (cases[:, None] > others) + 0.5 * (cases[:, None] == others)
    variance = pairs.mean(axis=1).var(ddof=1) / len(cases) + pairs.mean(axis=0).var(ddof=1) / len(others)
    area, error = c_statistic(predicted, events, n)
    assert error == pytest.approx(np.sqrt(variance), rel=1e-10)
    value = float(area.value)
    half_width = 1.959963984540054 * error / (value * (1 - value))
    assert special.logit(float(area.ci_upper)) == pytest.approx(special.logit(value) + half_width)
    assert special.logit(float(area.ci_lower)) == pytest.approx(special.logit(value) - half_width)


def test_the_two_errors_are_close_in_a_large_sample_of_exponential_scores():
    # Hanley and McNeil's error assumes exponential scores, for which it should meet the distribution-free one.
    random = np.random.default_rng(5)
    scores = np.concatenate([random.exponential(2, 4000), random.exponential(1, 6000)])
    predicted, outcomes = scores / scores.max(), np.repeat([1, 0], [4000, 6000])
    errors = [c_statistic(predicted, outcomes, method=method)[1] for method in ("delong", "hanley_mcneil")]
    assert errors[0] == pytest.approx(errors[1], rel=0.03)


@settings(max_examples=50)
@given(seed=st.integers(0, 10**6))
def test_order_grouping_and_reversal_change_what_they_should(seed):
    predicted, events, n = random_predictions(seed)
    area, error = c_statistic(predicted, events, n)
    single, single_error = c_statistic(*expanded(predicted, events, n))
    turned, turned_error = c_statistic(1 - predicted, events, n)
    exchanged, _ = c_statistic(predicted, n - events, n)
    assert [float(single.value), single_error] == pytest.approx([float(area.value), error], nan_ok=True)
    assert [float(turned.value), turned_error] == pytest.approx([1 - float(area.value), error], nan_ok=True)
    assert float(exchanged.value) == pytest.approx(1 - float(area.value), nan_ok=True)
    assert brier_score(predicted, events, n) == pytest.approx(brier_score(*expanded(predicted, events, n)))


@pytest.mark.parametrize(("events", "n"), [([0, 0], [5, 5]), ([5, 5], [5, 5]), ([0, 0], [0, 0])])
def test_without_both_outcomes_there_is_no_c_statistic(events, n):
    area, error = c_statistic([0.2, 0.4], events, n)
    assert np.isnan([float(area.value), float(area.ci_lower), float(area.ci_upper), error]).all()


def test_perfect_discrimination_has_no_limits_and_one_case_no_delong_error():
    area, error = c_statistic([0.2, 0.4], [0, 5], [5, 5])
    assert (float(area.value), error) == (1.0, 0.0)
    assert np.isnan([float(area.ci_lower), float(area.ci_upper)]).all()
    area, error = c_statistic([0.2, 0.4, 0.3], [0, 0, 1], [5, 5, 1])
    assert float(area.value) == 0.5
    assert np.isnan([error, float(area.ci_lower)]).all()
    assert c_statistic([0.2, 0.4, 0.3], [0, 0, 1], [5, 5, 1], method="hanley_mcneil")[1] > 0


def test_brier_of_one_probability_is_its_spread_and_of_nobody_is_missing():
    assert brier_score([0.3], [3], [10]) == pytest.approx(0.21)
    assert np.isnan(brier_score([0.3], [0], [0]))


@pytest.mark.parametrize("seed", range(15))
def test_the_calibration_line_agrees_with_statsmodels(seed):
    predicted, events, n = random_predictions(seed, rows=40)
    rows, outcomes = expanded(predicted, events, n)
    logits = special.logit(rows)
    intercept = sm.GLM(outcomes, np.ones(len(rows)), family=sm.families.Binomial(), offset=logits).fit(
        tol=1e-12, tol_criterion="params"
    )
    slope = sm.Logit(outcomes, sm.add_constant(logits)).fit(disp=0, tol=1e-12)
    line = calibration_line(predicted, events, n)
    assert line.intercept == pytest.approx(intercept.params[0], rel=1e-8, abs=1e-10)
    assert [line.intercept_lower, line.intercept_upper] == pytest.approx(
        list(intercept.conf_int()[0]), rel=1e-7
    )
    assert line.slope == pytest.approx(slope.params[1], rel=1e-8)
    assert [line.slope_lower, line.slope_upper] == pytest.approx(list(slope.conf_int()[1]), rel=1e-7)
    assert line.caution == ""


def test_a_model_is_calibrated_on_its_own_data():
    columns = pd.DataFrame({"a": [0.0, 1, 0, 1], "b": [0.0, 0, 1, 3]})
    events, n = [10, 20, 12, 29], [60, 60, 60, 50]
    predicted = predicted_probabilities(logistic_regression(columns, events, n), columns)
    line = calibration_line(predicted, events, n)
    assert [line.intercept, line.slope] == pytest.approx([0, 1], abs=1e-8)
    table = calibration_table(predicted, events, n)
    assert table["expected"].sum() == pytest.approx(table["events"].sum())


def test_a_line_that_does_not_exist_is_missing_with_a_caution():
    none = calibration_line([0.2, 0.4], [0, 0], [5, 5])
    assert np.isnan([none.intercept, none.intercept_lower, none.slope, none.slope_upper]).all()
    assert none.caution.startswith(
        "Separation by the intercept (all have one outcome) leaves no finite estimate"
    )
    level = calibration_line([0.2, 0.2], [1, 3], [10, 10])
    assert level.intercept == pytest.approx(0, abs=1e-10)
    assert np.isnan(level.slope)
    assert level.caution.endswith("predicted log odds.")
    apart = calibration_line([0.2, 0.4], [0, 5], [5, 5])
    assert np.isfinite(apart.intercept)
    assert np.isnan(apart.slope)
    assert apart.caution.startswith("Separation by predicted log odds leaves no finite estimate")
    assert calibration_line([], [], []).caution == "Nobody to fit on."


def test_tenths_hold_a_tenth_each_where_probabilities_differ():
    predicted = np.arange(1, 101) / 200
    events = (np.arange(100) % 3 == 0).astype(int)
    table = calibration_table(predicted, events)
    assert table["group"].tolist() == list(range(1, 11))
    assert table["n"].tolist() == [10] * 10
    assert table["predicted_lowest"].tolist() == pytest.approx(predicted[::10].tolist())
    assert table["predicted_highest"].tolist() == pytest.approx(predicted[9::10].tolist())
    assert table["expected"].to_numpy() == pytest.approx(10 * table["predicted_mean"].to_numpy())
    assert table["proportion"].to_numpy() == pytest.approx(table["events"] / 10)
    assert (table["ci_lower"] <= table["proportion"]).all()


@settings(max_examples=50)
@given(seed=st.integers(0, 10**6), groups=st.integers(1, 12))
def test_groups_keep_everyone_and_equal_probabilities_together(seed, groups):
    predicted, events, n = random_predictions(seed)
    table = calibration_table(predicted, events, n, groups=groups)
    assert [table["n"].sum(), table["events"].sum()] == [n.sum(), events.sum()]
    assert table["expected"].sum() == pytest.approx(predicted @ n)
    assert (table["predicted_highest"].to_numpy()[:-1] < table["predicted_lowest"].to_numpy()[1:]).all()
    assert len(table) <= groups
    assert table.equals(calibration_table(*expanded(predicted, events, n), groups=groups))


def test_nobody_gives_no_rows():
    table = calibration_table([], [], [])
    assert len(table) == 0
    assert table.columns.tolist() == [
        *("group", "predicted_lowest", "predicted_mean", "predicted_highest", "n", "events", "expected"),
        *("proportion", "ci_lower", "ci_upper"),
    ]


def test_a_wrong_argument_is_refused():
    with pytest.raises(ValueError, match=r"predicted must lie from 0 to 1, got 1\.5"):
        brier_score([1.5], [1])
    with pytest.raises(ValueError, match="events must not exceed n, got 2 of 1"):
        c_statistic([0.5], [2])
    with pytest.raises(ValueError, match=r"predicted, events, n must be equally long, got \[2, 1, 1\]"):
        calibration_table([0.5, 0.2], [1])
    with pytest.raises(ValueError, match="groups must be a whole number of 1 or more, got 0"):
        calibration_table([0.5], [1], groups=0)
    with pytest.raises(ValueError, match="predicted must lie between 0 and 1, got 1"):
        calibration_line([1.0, 0.5], [1, 1])
    with pytest.raises(ValueError, match="method must be one of delong, hanley_mcneil, got 'bootstrap'"):
        c_statistic([0.5], [1], method="bootstrap")
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, got 2"):
        calibration_line([0.5], [1], confidence=2)


def test_groups_are_by_the_middle_rank_and_come_in_order_with_whole_counts():
    # Ranks: 0.3 takes 1 to 4 of 8 (middle 2 of 8), 0.1 is given last but comes first.
    table = calibration_table([0.3, 0.6, 0.1], [1, 2, 0], [2, 4, 2], groups=4)
    assert table["group"].tolist() == [1, 2, 4]
    assert table[["n", "events"]].to_numpy().tolist() == [[2, 0], [2, 1], [4, 2]]
    assert table["expected"].tolist() == pytest.approx([0.2, 0.6, 2.4])
    assert [str(table[name].dtype) for name in ("group", "n", "events")] == ["int64"] * 3
    wilson = [stats.binomtest(x, n).proportion_ci(method="wilson") for x, n in ((0, 2), (1, 2), (2, 4))]
    assert table["ci_lower"].tolist() == pytest.approx([each.low for each in wilson])
    assert table["ci_upper"].tolist() == pytest.approx([each.high for each in wilson])


def test_the_confidence_asked_for_is_the_one_given_and_said():
    table = calibration_table([0.3], [1], [4], groups=1, confidence=0.8)
    narrow = stats.binomtest(1, 4).proportion_ci(0.8, method="wilson")
    assert (table["ci_lower"][0], table["ci_upper"][0]) == pytest.approx((narrow.low, narrow.high))
    rows = [0.2, 0.4, 0.6, 0.8], [0, 1, 0, 1]
    wide, narrow = calibration_line(*rows), calibration_line(*rows, confidence=0.8)
    assert wide.method == "logistic recalibration, Wald 95% limits"
    assert narrow.method == "logistic recalibration, Wald 80% limits"
    ratio = stats.norm.ppf(0.9) / stats.norm.ppf(0.975)
    for name in ("intercept", "slope"):
        halves = [getattr(line, f"{name}_upper") - getattr(line, name) for line in (narrow, wide)]
        assert halves[0] / halves[1] == pytest.approx(ratio)


def test_a_probability_of_0_has_no_log_odds():
    with pytest.raises(ValueError, match=r"^predicted must lie between 0 and 1, got 0\.0$"):
        calibration_line([0.0, 0.5], [0, 1])


def test_hanley_and_mcneils_error_is_their_formula():
    # Hanley and McNeil (1982), equation 1, for 2 cases and 3 others.
    area, error = c_statistic([0.1, 0.4, 0.35, 0.8, 0.2], [0, 0, 1, 1, 0], method="hanley_mcneil")
    a = float(area.value)
    assert a == pytest.approx(5 / 6)
    q_1, q_2 = a / (2 - a), 2 * a**2 / (1 + a)
    assert error == pytest.approx(np.sqrt((a * (1 - a) + 1 * (q_1 - a**2) + 2 * (q_2 - a**2)) / 6))
    assert area.method == "hanley_mcneil, logit limits"
    # Perfect order has no spread by this formula either.
    assert c_statistic([0.1, 0.9], [0, 1], method="hanley_mcneil")[1] == 0


def test_two_of_each_are_enough_for_delongs_error_and_the_method_is_said():
    area, error = c_statistic([0.1, 0.4, 0.35, 0.8], [0, 0, 1, 1])
    # Shares 0.5 and 1 of the cases, 1 and 0.5 of the others: variance 0.125 / 2 twice.
    assert error == pytest.approx(np.sqrt(0.125))
    assert area.method == "delong, logit limits"
    assert c_statistic([0.1], [0])[0].method == "delong"


def test_groups_must_be_as_many_as_rows():
    columns = pd.DataFrame({"a": [0.0, 1.0]})
    fit = logistic_regression(columns, [30, 15], [100, 100])
    with pytest.raises(ValueError, match=r"^columns, groups must be equally long, got \[2, 1\]$"):
        expected_counts(fit, columns, [9, 1], [20, 10], groups=["a"])
