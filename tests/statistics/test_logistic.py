"""Logistic regression: against statsmodels and a linear programme, and what becomes of awkward data."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from audit.statistics.logistic import logistic_regression
from audit.statistics.predicted import expected_counts, predicted_probabilities

FIGURES = ["coefficient", "standard_error", "odds_ratio", "ci_lower", "ci_upper", "p_value"]


def random_table(seed, *, rows=40, terms=3, most=30):
    random = np.random.default_rng(seed)
    columns = pd.DataFrame(
        {
            **{f"x{place}": random.integers(0, 3, rows).astype(float) for place in range(terms - 1)},
            "age": random.normal(30, 6, rows),
        }
    )
    n = random.integers(0, most, rows)
    chance = 1 / (1 + np.exp(1.5 - columns.to_numpy() @ random.normal(0, [0.5] * (terms - 1) + [0.02])))
    return columns, random.binomial(n, chance), n


def expanded(columns, events, n):
    rows = columns.loc[columns.index.repeat(n)].reset_index(drop=True)
    outcomes = np.concatenate([np.repeat([1, 0], [x, total - x]) for x, total in zip(events, n, strict=True)])
    return rows, outcomes.astype(int)


@pytest.mark.parametrize("seed", range(60))
def test_maximum_likelihood_agrees_with_statsmodels(seed):
    columns, events, n = random_table(seed)
    fit = logistic_regression(columns, events, n, method="maximum_likelihood")
    kept = n > 0
    other = sm.GLM(
        np.column_stack([events, n - events])[kept],
        sm.add_constant(columns)[kept],
        family=sm.families.Binomial(),
    ).fit(tol=1e-12, tol_criterion="params", maxiter=100)
    assert fit.caution == ""
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx(other.params.to_numpy(), rel=1e-8)
    assert fit.coefficients["standard_error"].to_numpy() == pytest.approx(other.bse.to_numpy(), rel=1e-8)
    assert fit.coefficients["p_value"].to_numpy() == pytest.approx(other.pvalues.to_numpy(), rel=1e-7)
    limits = np.log(fit.coefficients[["ci_lower", "ci_upper"]].to_numpy())
    assert limits == pytest.approx(other.conf_int().to_numpy(), rel=1e-8, abs=1e-10)
    assert fit.covariance.to_numpy() == pytest.approx(other.cov_params().to_numpy(), rel=1e-7)
    assert np.average(predicted_probabilities(fit, columns), weights=n) == pytest.approx(
        events.sum() / n.sum()
    )
    predicted = other.predict(sm.add_constant(columns))
    assert predicted_probabilities(fit, columns) == pytest.approx(predicted.to_numpy(), rel=1e-8)


@pytest.mark.parametrize("seed", range(10))
def test_the_likelihoods_are_those_of_single_rows_in_statsmodels(seed):
    columns, events, n = random_table(seed)
    rows, outcomes = expanded(columns, events, n)
    other = sm.Logit(outcomes, sm.add_constant(rows)).fit(disp=0, tol=1e-12)
    fit = logistic_regression(columns, events, n, method="maximum_likelihood")
    # statsmodels fits its null model by a search that stops early, hence the millionth.
    assert fit.log_likelihood == pytest.approx(other.llf, rel=1e-10)
    assert fit.null_log_likelihood == pytest.approx(other.llnull, rel=1e-8)
    assert fit.likelihood_ratio.statistic == pytest.approx(other.llr, rel=1e-6)
    assert fit.likelihood_ratio.p_value == pytest.approx(other.llr_pvalue, rel=1e-6)


@pytest.mark.parametrize("method", ["maximum_likelihood", "firth"])
@settings(max_examples=12)
@given(seed=st.integers(0, 10**6))
def test_counts_and_single_rows_give_the_same(method, seed):
    columns, events, n = random_table(seed, rows=12, terms=2, most=8)
    grouped = logistic_regression(columns, events, n, method=method)
    single = logistic_regression(*expanded(columns, events, n), method=method)
    assert (grouped.events, grouped.n, grouped.caution) == (single.events, single.n, single.caution)
    assert grouped.log_likelihood == pytest.approx(single.log_likelihood, rel=1e-9)
    for column in FIGURES:
        assert grouped.coefficients[column].to_numpy() == pytest.approx(
            single.coefficients[column].to_numpy(), rel=1e-5, abs=1e-9, nan_ok=True
        )


@settings(max_examples=12)
@given(seed=st.integers(0, 10**6))
def test_the_order_of_rows_and_of_columns_changes_nothing(seed):
    columns, events, n = random_table(seed, rows=15)
    order = np.random.default_rng(seed).permutation(len(columns))
    fit = logistic_regression(columns, events, n)
    turned = logistic_regression(columns.iloc[order][columns.columns[::-1]], events[order], n[order])
    assert fit.estimator == turned.estimator
    back = turned.coefficients.set_index("term").loc[fit.coefficients["term"]]
    for column in FIGURES:
        assert back[column].to_numpy() == pytest.approx(
            fit.coefficients[column].to_numpy(), rel=1e-6, abs=1e-9, nan_ok=True
        )


@pytest.mark.parametrize("method", ["maximum_likelihood", "firth"])
def test_scale_and_origin_of_a_column_change_only_its_unit(method):
    columns, events, n = random_table(7)
    fit = logistic_regression(columns, events, n, method=method)
    moved = columns.assign(age=1000 * (columns["age"] + 2026))
    other = logistic_regression(moved, events, n, method=method)
    assert other.coefficients["coefficient"].to_numpy()[3] * 1000 == pytest.approx(
        fit.coefficients["coefficient"].to_numpy()[3], rel=1e-8
    )
    assert other.coefficients["p_value"].to_numpy()[1:] == pytest.approx(
        fit.coefficients["p_value"].to_numpy()[1:], rel=1e-7
    )
    assert predicted_probabilities(other, moved) == pytest.approx(predicted_probabilities(fit, columns))


@pytest.mark.parametrize("method", ["maximum_likelihood", "firth"])
def test_events_and_no_events_exchanged_turn_every_sign(method):
    columns, events, n = random_table(3)
    fit = logistic_regression(columns, events, n, method=method)
    turned = logistic_regression(columns, n - events, n, method=method)
    assert turned.coefficients["coefficient"].to_numpy() == pytest.approx(
        -fit.coefficients["coefficient"].to_numpy()
    )
    assert turned.coefficients["ci_upper"].to_numpy() == pytest.approx(
        1 / fit.coefficients["ci_lower"].to_numpy()
    )


def separated(columns, events, n):
    """Return whether some combination of terms separates events, by a linear programme (Konis 2007)."""
    design = np.column_stack([np.ones(len(columns)), columns])
    signed = np.concatenate([design[events > 0], -design[events < n]])
    done = optimize.linprog(-signed.sum(axis=0), A_ub=-signed, b_ub=np.zeros(len(signed)), bounds=(-1, 1))
    return -done.fun > 1e-6


def of_levels(seed):
    random = np.random.default_rng(seed)
    columns = pd.DataFrame(random.integers(0, 3, (9, 2)).astype(float), columns=["a", "b"])
    n = random.integers(1, 4, 9)
    return columns, random.binomial(n, 0.25), n


def of_measurements(seed):
    random = np.random.default_rng(seed)
    columns = pd.DataFrame(random.normal(size=(14, 2)), columns=["a", "b"])
    events = (columns["a"] + random.normal(0, 0.4, 14) > 0).to_numpy().astype(int)
    return columns, events, np.ones(14)


def found_where_it_is(table_of, seeds):
    """Return how often separation was found, having compared each with the linear programme."""
    found = []
    for seed in seeds:
        table = table_of(seed)
        fit = logistic_regression(*table, method="maximum_likelihood")
        endless = fit.caution.startswith("Separation by")
        assert endless == separated(*table), seed
        assert endless == (not np.isfinite(fit.coefficients["coefficient"].dropna()).all()), seed
        found.append(endless)
    return sum(found)


@pytest.mark.parametrize("table_of", [of_levels, of_measurements])
def test_separation_is_found_exactly_where_a_linear_programme_finds_it(table_of):
    assert 10 < found_where_it_is(table_of, range(80)) < 75


@pytest.mark.slow
@pytest.mark.parametrize("table_of", [of_levels, of_measurements])
def test_separation_is_found_in_two_thousand_tables(table_of):
    assert 100 < found_where_it_is(table_of, range(1000, 2000)) < 900


TWO = pd.DataFrame({"treated": [0.0, 1.0]})


def test_enough_events_are_fitted_by_maximum_likelihood():
    fit = logistic_regression(TWO, [8, 2], [100, 100])
    assert (fit.estimator, fit.caution) == ("maximum_likelihood", "")
    assert fit.method == "logistic regression, maximum likelihood, Wald 95% limits"


def test_fewer_than_ten_events_a_term_are_fitted_by_firths_regression():
    fit = logistic_regression(TWO, [7, 2], [100, 100])
    assert fit.estimator == "firth"
    assert fit.caution == (
        "Firth's penalised likelihood, since 9 events for 1 terms are fewer than 10 a term."
    )
    turned = logistic_regression(TWO, [93, 98], [100, 100])
    assert "9 without the event for 1 terms" in turned.caution


def test_separation_is_fitted_by_firths_regression_and_named():
    fit = logistic_regression(TWO, [30, 0], [100, 100])
    assert fit.estimator == "firth"
    assert (
        fit.caution == "Firth's penalised likelihood, since separation by treated leaves no finite estimate."
    )
    # A saturated two-by-two table: Firth's estimate is the log odds ratio with a half added to each cell.
    expected = np.log(0.5 / 100.5) - np.log(30.5 / 70.5)
    assert fit.coefficients["coefficient"][1] == pytest.approx(expected, rel=1e-8)


def test_maximum_likelihood_under_separation_gives_the_sign_and_profile_limits():
    fit = logistic_regression(TWO, [30, 0], [100, 100], method="maximum_likelihood", confidence=0.9)
    row = fit.coefficients.loc[1]
    assert row["coefficient"] == -np.inf
    assert (row["odds_ratio"], row["ci_lower"]) == (0, 0)
    assert np.isnan(row["standard_error"])
    first = fit.coefficients.loc[0]
    assert first["coefficient"] == pytest.approx(np.log(30 / 70))
    assert first["standard_error"] == pytest.approx(np.sqrt(1 / 30 + 1 / 70), rel=1e-6)
    assert fit.caution == (
        "Separation by treated leaves no finite estimate; limits are of the profile likelihood."
    )
    assert np.isnan(predicted_probabilities(fit, TWO)).all()
    # The likelihood has a supremum, so that its ratio test stays right: 30/100 and 0/100.
    supremum = 30 * np.log(0.3) + 70 * np.log(0.7)
    assert fit.log_likelihood == pytest.approx(supremum, abs=1e-5)

    def profile(slope):
        def fall(a):
            return -(30 * a - 100 * np.logaddexp(0, a) - 100 * np.logaddexp(0, a + slope))

        return -optimize.minimize_scalar(
            fall, bounds=(-10, 10), method="bounded", options={"xatol": 1e-10}
        ).fun

    drop = 2 * (supremum - profile(np.log(row["ci_upper"])))
    assert drop == pytest.approx(stats.chi2.ppf(0.9, 1), rel=1e-5)
    assert row["p_value"] == pytest.approx(stats.chi2.sf(2 * (supremum - profile(0.0)), 1), rel=1e-5)
    # The same test of two groups by all terms together.
    assert row["p_value"] == pytest.approx(fit.likelihood_ratio.p_value, rel=1e-5)


def test_a_reference_group_without_events_makes_every_other_group_infinite():
    columns = pd.DataFrame({"b": [0.0, 1, 0], "c": [0.0, 0, 1]})
    fit = logistic_regression(columns, [0, 40, 40], [50, 80, 90], method="maximum_likelihood")
    assert fit.coefficients["coefficient"].tolist() == [-np.inf, np.inf, np.inf]
    assert fit.coefficients["ci_upper"].to_numpy()[1:].tolist() == [np.inf, np.inf]
    assert (fit.coefficients["ci_lower"][1:] > 1).all()
    assert (fit.coefficients["p_value"][1:] < 0.001).all()
    assert logistic_regression(columns, [0, 40, 40], [50, 80, 90]).estimator == "firth"


@pytest.mark.parametrize(("events", "probability"), [([0, 0], 0.0), ([50, 60], 1.0)])
def test_no_events_and_nothing_but_events_are_fitted_and_predict_what_was_seen(events, probability):
    fit = logistic_regression(TWO, events, [50, 60])
    assert fit.estimator == "firth"
    assert np.isfinite(fit.coefficients[FIGURES]).all(axis=None)
    assert predicted_probabilities(fit, TWO).tolist() == [probability, probability]
    plain = logistic_regression(TWO, events, [50, 60], method="maximum_likelihood")
    assert plain.caution == (
        "Separation by the intercept (all have one outcome) leaves no finite estimate; limits are of the profile "
        "likelihood."
    )


def test_an_intercept_alone_is_the_log_odds():
    fit = logistic_regression(pd.DataFrame(index=range(2)), [3, 5], [10, 10])
    row = fit.coefficients.loc[0]
    assert row["coefficient"] == pytest.approx(np.log(8 / 12))
    assert row["standard_error"] == pytest.approx(np.sqrt(1 / 8 + 1 / 12))
    assert fit.likelihood_ratio.degrees_of_freedom == 0
    assert np.isnan(fit.likelihood_ratio.p_value)


@pytest.mark.parametrize("method", ["automatic", "maximum_likelihood", "firth"])
def test_constant_and_dependent_columns_are_named_and_left_out(method):
    columns, events, n = random_table(1)
    wide = columns.assign(
        always=5.0, never=0.0, twice=2 * columns["age"] + 3, sum=columns["x0"] - columns["x1"]
    )
    fit = logistic_regression(wide, events, n, method=method)
    assert fit.caution == (
        "Not estimated, being constant or told by the terms before: always, never, twice, sum."
    )
    assert fit.coefficients.set_index("term").loc[["always", "never", "twice", "sum"]].isna().all(axis=None)
    plain = logistic_regression(columns, events, n, method=method)
    assert fit.coefficients[FIGURES].to_numpy()[:4] == pytest.approx(
        plain.coefficients[FIGURES].to_numpy(), rel=1e-6
    )
    assert predicted_probabilities(fit, wide) == pytest.approx(predicted_probabilities(plain, columns))
    assert fit.likelihood_ratio.degrees_of_freedom == 3


@pytest.mark.parametrize("method", ["automatic", "maximum_likelihood", "firth"])
def test_nobody_gives_no_figures_and_says_so(method):
    for columns, events, n in ((TWO, [0, 0], [0, 0]), (TWO.iloc[:0], [], [])):
        fit = logistic_regression(columns, events, n, method=method)
        assert (fit.caution, fit.n, fit.events) == ("Nobody to fit on.", 0, 0)
        assert fit.coefficients["term"].tolist() == ["intercept", "treated"]
        assert fit.coefficients[FIGURES].isna().all(axis=None)
        assert np.isnan(predicted_probabilities(fit, columns)).all()


def test_more_terms_than_rows_are_fitted_without_the_last_ones():
    columns = pd.DataFrame(np.random.default_rng(1).normal(size=(4, 6)), columns=list("abcdef"))
    fit = logistic_regression(columns, [10, 12, 9, 15], [20, 20, 20, 20])
    assert fit.caution.endswith("told by the terms before: d, e, f.")
    assert predicted_probabilities(fit, columns)[[0, 3]] == pytest.approx([0.5, 0.75], abs=0.03)


@pytest.mark.parametrize("far", [1e3, 1e4, 3e4])
def test_an_outlying_measurement_is_not_taken_for_separation(far):
    for seed in range(15):
        columns, events, n = random_table(seed)
        wild = columns.assign(age=np.append(columns["age"][:-1], far))
        fit = logistic_regression(wild, events, n, method="maximum_likelihood")
        assert fit.caution == ""
        assert np.isfinite(fit.coefficients["coefficient"]).all()
        # At the maximum the terms and the residuals are orthogonal.
        residual = events - n * predicted_probabilities(fit, wild)
        assert np.abs(residual @ wild["age"].to_numpy()) < 1e-7 * far


def test_a_measurement_beside_which_the_others_do_not_differ_is_as_good_as_a_group_of_its_own():
    columns, events, n = random_table(5)
    wild = columns.assign(age=np.append(columns["age"][:-1], 1e9))
    assert logistic_regression(wild, events, n, method="firth").caution == ""
    assert "Separation by age" in logistic_regression(wild, events, n, method="maximum_likelihood").caution


def test_a_million_in_two_rows_are_fitted_as_counts():
    fit = logistic_regression(TWO, [300_000, 1], [500_000, 500_000])
    assert fit.coefficients["coefficient"][1] == pytest.approx(np.log(1 / 499_999) - np.log(1.5), rel=1e-9)
    assert fit.coefficients["standard_error"][1] == pytest.approx(
        np.sqrt(1 + 1 / 499_999 + 1 / 300_000 + 1 / 200_000), rel=1e-7
    )


def test_expected_counts_add_up_to_the_events_seen():
    columns, events, n = random_table(11)
    groups = np.where(np.arange(40) % 3 == 0, "b", "a")
    for method in ("maximum_likelihood", "firth"):
        fit = logistic_regression(columns, events, n, method=method)
        table = expected_counts(fit, columns, events, n, groups=groups)
        assert table["group"].tolist() == ["a", "b"]
        assert table["expected"].sum() == pytest.approx(events.sum())
        assert table[["n", "events"]].sum().tolist() == [n.sum(), events.sum()]
        own = predicted_probabilities(fit, columns) * n
        assert table["expected"][1] == pytest.approx(own[groups == "b"].sum())


def test_expected_counts_are_unknown_where_nothing_could_be_fitted():
    fit = logistic_regression(TWO, [0, 0], [0, 0])
    assert expected_counts(fit, TWO, [1, 2], [5, 5], groups=["a", "b"])["expected"].isna().all()
    empty = expected_counts(logistic_regression(TWO, [30, 20], [50, 50]), TWO.iloc[:0], [], [], groups=[])
    assert empty.columns.tolist() == ["group", "n", "events", "expected"]
    assert len(empty) == 0


REFUSED = [
    ((TWO, [3, 1], [2, 2]), {}, "events must not exceed n, got 3 of 2"),
    ((TWO, [0.5, 1], [2, 2]), {}, "events must be whole numbers of zero or more, got 0.5"),
    ((TWO, [1, 1, 1], None), {}, "columns, events, n must be equally long, got [2, 3, 3]"),
    (
        (TWO.assign(age=[1, None]), [1, 1], None),
        {},
        "columns must be finite numbers without gaps, got some in age",
    ),
    ((TWO.rename(columns={"treated": "intercept"}), [1, 1], None), {}, "columns must have names that differ"),
    ((TWO, [1, 1], None), {"method": "ridge"}, "method must be one of automatic, maximum_likelihood, firth"),
    ((TWO, [1, 1], None), {"confidence": 1.2}, "confidence must lie between 0 and 1, got 1.2"),
]


@pytest.mark.parametrize(("arguments", "options", "message"), REFUSED)
def test_a_wrong_argument_is_refused(arguments, options, message):
    with pytest.raises(ValueError, match=message.replace("[", r"\[").replace("]", r"\]")):
        logistic_regression(*arguments, **options)


def test_predictions_refuse_other_columns_and_missing_groups():
    fit = logistic_regression(TWO, [30, 20], [50, 50])
    with pytest.raises(ValueError, match=r"columns must be the terms of the fit \(treated\), got \['age'\]"):
        predicted_probabilities(fit, pd.DataFrame({"age": [1.0]}))
    with pytest.raises(ValueError, match="groups must not be missing, got 1 that are"):
        expected_counts(fit, TWO, [1, 1], groups=["a", None])
