"""Proportional hazards regression: against statsmodels, lifelines, the formula written out, and awkward data."""

import warnings

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import CoxPHFitter
from scipy import optimize, stats
from statsmodels.duration.hazard_regression import PHReg

from audit.statistics import risk_patterns
from audit.statistics.cox import cox_regression
from audit.statistics.curve_comparison import log_rank

FIGURES = ["coefficient", "standard_error", "hazard_ratio", "ci_lower", "ci_upper", "p_value"]


def random_spells(seed, *, rows=60, late=False, most=4):
    """Return tied times, some entered late, of rows that stand for several."""
    random = np.random.default_rng(seed)
    table = pd.DataFrame({"a": random.integers(0, 2, rows), "b": random.integers(0, 3, rows)}, dtype=float)
    entry = np.where(random.random(rows) < 0.4, random.integers(1, 5, rows), 0) if late else np.zeros(rows)
    hazard = np.exp(0.5 * table["a"] - 0.3 * table["b"]) / 6
    exits = entry + np.ceil(random.exponential(1 / hazard))
    return table, exits, (random.random(rows) < 0.7).astype(int), entry, random.integers(0, most, rows)


def repeated(columns, exits, events, entry, weights):
    rows = np.repeat(np.arange(len(columns)), weights)
    return columns.iloc[rows].reset_index(drop=True), exits[rows], events[rows], entry[rows]


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("seed", range(12))
def test_counts_agree_with_statsmodels_on_single_spells(seed, ties, late):
    columns, exits, events, entry, weights = random_spells(seed, late=late)
    fit = cox_regression(columns, exits, events, entry=entry, weights=weights, ties=ties)
    rows, times, happened, entered = repeated(columns, exits, events, entry, weights)
    # statsmodels puts who enters at an event time at risk for it; an entry a little later agrees with ours.
    model = PHReg(times, rows, status=happened, entry=entered + 0.25 if late else None, ties=ties)
    other = model.fit(disp=0, tol=1e-8, ridge_factor=0)
    assert fit.caution == ""
    assert fit.n == len(rows)
    assert fit.events == happened.sum()
    assert fit.log_likelihood == pytest.approx(model.loglike(other.params), rel=1e-10)
    assert fit.null_log_likelihood == pytest.approx(model.loglike(np.zeros(2)), rel=1e-10)
    # It stops when its own search does, so that we compare the slope there and the information here too.
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx(other.params, abs=1e-7)
    own = fit.coefficients["coefficient"].to_numpy()
    assert np.abs(model.score(own)).max() < 1e-8 * fit.events
    assert fit.covariance.to_numpy() == pytest.approx(np.linalg.inv(-model.hessian(own)), rel=1e-8)
    assert fit.coefficients["standard_error"].to_numpy() == pytest.approx(other.bse, rel=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_counts_agree_with_lifelines_on_single_spells(seed):
    columns, exits, events, entry, weights = random_spells(seed)
    fit = cox_regression(columns, exits, events, weights=weights)
    rows, times, happened, _ = repeated(columns, exits, events, entry, weights)
    fitter = CoxPHFitter().fit(
        rows.assign(exit=times, event=happened), "exit", "event", fit_options={"precision": 1e-10}
    )
    # lifelines adds a hundredth of a thousandth here and there: it agrees to about 1e-6 and no better.
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx(fitter.params_.to_numpy(), abs=1e-5)
    assert fit.coefficients["standard_error"].to_numpy() == pytest.approx(
        fitter.standard_errors_.to_numpy(), rel=1e-5
    )
    assert fit.log_likelihood == pytest.approx(fitter.log_likelihood_, rel=1e-6)


def written_out(beta, columns, exits, events, entry):
    """Return Efron's log-likelihood of single spells, event time by event time, as in Efron (1977)."""
    hazard = np.exp(columns @ beta)
    total = 0.0
    for time in np.unique(exits[events == 1]):
        at_risk = (exits >= time) & ((entry < time) | (entry == 0))
        tied = (exits == time) & (events == 1)
        total += float((columns[tied] @ beta).sum())
        for place in range(tied.sum()):
            total -= float(np.log(hazard[at_risk].sum() - place / tied.sum() * hazard[tied].sum()))
    return total


@pytest.mark.parametrize("seed", range(8))
def test_the_likelihood_is_efrons_written_out_with_late_entry(seed):
    columns, exits, events, entry, weights = random_spells(seed, rows=25, late=True)
    fit = cox_regression(columns, exits, events, entry=entry, weights=weights)
    rows, times, happened, entered = repeated(columns, exits, events, entry, weights)
    beta = fit.coefficients["coefficient"].to_numpy()
    data = rows.to_numpy(), times, happened, entered
    assert fit.log_likelihood == pytest.approx(written_out(beta, *data), rel=1e-12)
    assert fit.null_log_likelihood == pytest.approx(written_out(np.zeros(2), *data), rel=1e-12)
    step = 1e-5
    for direction in np.eye(2):
        there, back = (written_out(beta + side * step * direction, *data) for side in (1, -1))
        assert max(there, back) <= fit.log_likelihood
        assert abs(there - back) / (2 * step) < 1e-5


@settings(max_examples=25)
@given(seed=st.integers(0, 10**6), ties=st.sampled_from(["efron", "breslow"]))
def test_counts_order_and_labels_change_nothing(seed, ties):
    columns, exits, events, entry, weights = random_spells(seed, rows=30, late=True)
    fit = cox_regression(columns, exits, events, entry=entry, weights=weights, ties=ties)
    rows, times, happened, entered = repeated(columns, exits, events, entry, weights)
    order = np.random.default_rng(seed).permutation(len(rows))
    turned = rows.iloc[order][["b", "a"]].rename(columns={"a": "second", "b": "first"})
    single = cox_regression(turned, times[order], happened[order], entry=entered[order], ties=ties)
    assert single.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-9, abs=1e-9)
    for column in FIGURES:
        assert single.coefficients[column].to_numpy()[::-1] == pytest.approx(
            fit.coefficients[column].to_numpy(), rel=1e-6, abs=1e-9, nan_ok=True
        )


@pytest.mark.parametrize("late", [False, True])
def test_a_table_too_large_to_keep_gives_the_same(monkeypatch, late):
    columns, exits, events, entry, weights = random_spells(5, late=late)
    whole = cox_regression(columns, exits, events, entry=entry, weights=weights)
    monkeypatch.setattr(risk_patterns, "LARGEST_TABLE", 0)
    summed = cox_regression(columns, exits, events, entry=entry, weights=weights)
    assert summed.log_likelihood == pytest.approx(whole.log_likelihood, rel=1e-12)
    assert summed.coefficients[FIGURES].to_numpy() == pytest.approx(
        whole.coefficients[FIGURES].to_numpy(), rel=1e-9
    )


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("seed", range(10))
def test_the_score_test_of_untied_groups_is_the_log_rank_test(seed, late):
    random = np.random.default_rng(seed)
    group = random.integers(0, 3, 40)
    entry = np.where(random.random(40) < 0.5, random.random(40), 0.0) if late else np.zeros(40)
    exits, events = entry + random.exponential(1, 40), random.integers(0, 2, 40)
    columns = pd.DataFrame({"b": group == 1, "c": group == 2}, dtype=float)
    fit = cox_regression(columns, exits, events, entry=entry, ties="breslow")
    other = log_rank(exits, events, group, entry=entry)
    assert fit.score.statistic == pytest.approx(other.chi_square, rel=1e-10)
    assert fit.score.degrees_of_freedom == other.degrees_of_freedom
    assert fit.score.p_value == pytest.approx(other.p_value, rel=1e-9)


def test_a_shift_and_a_scale_of_a_column_change_only_its_unit():
    columns, exits, events, entry, weights = random_spells(9, late=True)
    fit = cox_regression(columns, exits, events, entry=entry, weights=weights)
    moved = columns.assign(b=10 * (columns["b"] + 2026))
    other = cox_regression(moved, exits, events, entry=entry, weights=weights)
    assert other.coefficients["coefficient"][1] * 10 == pytest.approx(
        fit.coefficients["coefficient"][1], rel=1e-9
    )
    assert other.coefficients["p_value"].to_numpy() == pytest.approx(fit.coefficients["p_value"].to_numpy())
    assert other.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-12)


def test_other_causes_are_censorings_of_the_cause_specific_hazard():
    columns, exits, _, _, _ = random_spells(3)
    causes = np.random.default_rng(103).integers(0, 3, 60)
    fit = cox_regression(columns, exits, causes == 2)
    other = PHReg(exits, columns, status=(causes == 2).astype(int), ties="efron").fit(
        disp=0, tol=1e-10, ridge_factor=0
    )
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx(other.params, abs=1e-7)


def test_a_group_without_events_is_infinite_and_the_others_are_as_without_it():
    columns, exits, events, _, weights = random_spells(1)
    last = (columns["b"] == 2).to_numpy()
    coded = pd.DataFrame({"a": columns["a"], "b: 1": columns["b"] == 1, "b: 2": last}, dtype=float)
    fit = cox_regression(coded, exits, np.where(last, 0, events), weights=weights)
    row = fit.coefficients.loc[2]
    assert row["coefficient"] == -np.inf
    assert (row["hazard_ratio"], row["ci_lower"]) == (0, 0)
    assert np.isnan(row["standard_error"])
    assert fit.caution == (
        "The likelihood rises without end: no finite estimate for b: 2; limits are of the profile likelihood."
    )
    rest = cox_regression(
        coded.loc[~last, ["a", "b: 1"]], exits[~last], events[~last], weights=weights[~last]
    )
    assert fit.coefficients[FIGURES].to_numpy()[:2] == pytest.approx(
        rest.coefficients[FIGURES].to_numpy(), rel=1e-5
    )
    assert fit.log_likelihood == pytest.approx(rest.log_likelihood, abs=1e-5)
    assert np.isfinite([fit.score.statistic, fit.likelihood_ratio.statistic]).all()


@pytest.mark.parametrize("sign", [1, -1])
def test_an_infinite_term_has_the_limit_and_p_value_of_the_profile_likelihood(sign):
    columns, exits, events, entry, weights = random_spells(1, rows=25, late=True)
    events = np.where(columns["a"] == 1, 0, events)
    coded = columns.assign(a=sign * columns["a"])
    fit = cox_regression(coded, exits, events, entry=entry, weights=weights, confidence=0.9)
    row = fit.coefficients.loc[0]
    rows, times, happened, entered = repeated(coded, exits, events, entry, weights)

    def drop(coefficient):
        def fall(other):
            beta = np.array([coefficient, other])
            return -written_out(beta, rows.to_numpy(), times, happened, entered)

        top = -optimize.minimize_scalar(fall, bounds=(-5, 5), method="bounded", options={"xatol": 1e-9}).fun
        return 2 * (fit.log_likelihood - top)

    limit, unbounded = ("ci_upper", "ci_lower") if sign > 0 else ("ci_lower", "ci_upper")
    assert row["coefficient"] == -sign * np.inf
    assert row[unbounded] == (0 if sign > 0 else np.inf)
    assert drop(np.log(row[limit])) == pytest.approx(stats.chi2.ppf(0.9, 1), rel=1e-5)
    assert row["p_value"] == pytest.approx(stats.chi2.sf(drop(0.0), 1), rel=1e-5)


def test_a_reference_group_without_events_makes_every_other_group_infinite():
    columns, exits, events, _, _ = random_spells(2)
    coded = pd.DataFrame({"b: 1": columns["b"] == 1, "b: 2": columns["b"] == 2}, dtype=float)
    fit = cox_regression(coded, exits, np.where(columns["b"] == 0, 0, events))
    assert fit.coefficients["coefficient"].tolist() == [np.inf, np.inf]
    assert fit.coefficients["ci_upper"].tolist() == [np.inf, np.inf]
    assert (fit.coefficients["ci_lower"] > 0).all()
    assert fit.coefficients["p_value"].between(0, 1).all()
    assert fit.caution == (
        "The likelihood rises without end: no finite estimate for b: 1, b: 2; limits are of the profile likelihood."
    )


def test_a_measurement_in_the_order_of_the_events_has_no_finite_estimate():
    fit = cox_regression(pd.DataFrame({"x": [5.0, 4, 3, 2, 1]}), [1, 2, 3, 4, 5], [1, 1, 1, 1, 1])
    assert fit.coefficients["coefficient"].tolist() == [np.inf]
    assert fit.log_likelihood == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_all_having_the_event_at_once_is_defined(ties):
    columns = pd.DataFrame({"a": [0.0, 0, 1, 1]})
    fit = cox_regression(columns, [3, 3, 3, 3], [1, 1, 1, 1], ties=ties)
    # Nothing distinguishes the groups: under either rule the coefficient is 0.
    assert fit.coefficients["coefficient"][0] == pytest.approx(0, abs=1e-9)
    assert np.isfinite(fit.coefficients["ci_upper"][0])


def test_events_of_all_are_fitted():
    columns, exits, _, _, _ = random_spells(6)
    fit = cox_regression(columns, exits, np.ones(60))
    other = PHReg(exits, columns, ties="efron").fit(disp=0, tol=1e-8, ridge_factor=0)
    assert fit.coefficients["coefficient"].to_numpy() == pytest.approx(other.params, abs=1e-7)


@pytest.mark.parametrize("rows", [0, 60])
def test_without_events_or_people_there_are_no_figures_and_a_caution(rows):
    columns, exits, _, _, _ = random_spells(6)
    fit = cox_regression(columns.iloc[:rows], exits[:rows], np.zeros(rows))
    assert fit.caution == "No events: nothing can be estimated."
    assert fit.coefficients["term"].tolist() == ["a", "b"]
    assert fit.coefficients[FIGURES].isna().all(axis=None)
    assert (fit.n, fit.events, fit.log_likelihood) == (rows, 0, 0)
    assert np.isnan([fit.score.p_value, fit.likelihood_ratio.p_value]).all()


@pytest.mark.parametrize("seed", range(4, 14))
def test_constant_dependent_and_never_compared_columns_are_named_and_left_out(seed):
    columns, exits, events, _, _ = random_spells(seed)
    # Different only in those censored before the first event, and so never at risk beside another.
    early = pd.DataFrame({"a": [0.0, 1.0], "b": 0.0})
    wide = pd.concat([columns, early], ignore_index=True)
    wide = wide.assign(always=3.0, twice=2 * wide["a"] - 1, early=[0.0] * 60 + [1.0, 0.0])
    fit = cox_regression(wide, np.append(exits, [0.5, 0.5]), np.append(events, [0, 0]))
    assert fit.caution == ("Not estimated, being constant or told by the terms before: always, twice, early.")
    plain = cox_regression(columns, exits, events)
    assert fit.coefficients[FIGURES].to_numpy()[:2] == pytest.approx(
        plain.coefficients[FIGURES].to_numpy(), rel=1e-8
    )
    assert fit.coefficients[FIGURES][2:].isna().all(axis=None)
    assert fit.likelihood_ratio.degrees_of_freedom == 2


def test_no_columns_give_the_likelihood_of_no_effect():
    fit = cox_regression(pd.DataFrame(index=range(3)), [1, 2, 3], [1, 1, 1])
    assert fit.log_likelihood == pytest.approx(-np.log(6))
    assert len(fit.coefficients) == 0


def test_a_day_0_event_counts_those_observed_from_the_origin():
    columns = pd.DataFrame({"a": [1.0, 0, 1, 0]})
    fit = cox_regression(columns, [0, 2, 3, 4], [1, 1, 1, 1])
    later = cox_regression(columns, [1, 2, 3, 4], [1, 1, 1, 1])
    assert fit.coefficients.equals(later.coefficients)


def test_a_measurement_far_from_all_others_raises_no_warning_and_is_named():
    columns = pd.DataFrame({"x": [0.0, 1e6, 3.0, -40.0, 2.0, 5.0]})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit = cox_regression(columns, [1, 2, 3, 4, 5, 5], [1, 0, 1, 1, 0, 1], weights=[9, 100, 4, 3, 8, 1000])
    assert np.isfinite(fit.coefficients["standard_error"][0]) or "no finite estimate for x" in fit.caution
    assert fit.likelihood_ratio.statistic > 0


REFUSED = [
    ({"ties": "exact"}, "ties must be one of efron, breslow, got 'exact'"),
    ({"confidence": 1}, "confidence must lie between 0 and 1, got 1"),
    ({"entry": [0, 5]}, "a positive entry must lie before its duration"),
    ({"weights": [1, 0.5]}, "weights must be whole numbers of zero or more, got 0.5"),
    ({"weights": [1, 1, 1]}, "durations, endings, entry and weights must be equally long"),
]


@pytest.mark.parametrize(("options", "message"), REFUSED)
def test_a_wrong_argument_is_refused(options, message):
    with pytest.raises(ValueError, match=message):
        cox_regression(pd.DataFrame({"a": [0.0, 1.0]}), [1, 2], [1, 1], **options)


def test_gaps_other_codes_and_other_lengths_are_refused():
    with pytest.raises(ValueError, match="got some in a: code a missing value as a level of its own"):
        cox_regression(pd.DataFrame({"a": [0.0, None]}), [1, 2], [1, 1])
    with pytest.raises(ValueError, match=r"endings must be 0 \(censored\) or 1 \(event\), got 2"):
        cox_regression(pd.DataFrame({"a": [0.0, 1.0]}), [1, 2], [1, 2])
    with pytest.raises(ValueError, match=r"columns, durations must be equally long, got \[1, 2\]"):
        cox_regression(pd.DataFrame({"a": [0.0]}), [1, 2], [1, 1])
