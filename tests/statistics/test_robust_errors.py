"""Robust standard errors against statsmodels, and what becomes of few clusters."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from audit.statistics.firth import firth_regression
from audit.statistics.logistic import logistic_regression
from audit.statistics.robust import with_robust_errors


def clustered(seed, rows=120, clusters=35):
    random = np.random.default_rng(seed)
    cluster = random.integers(0, clusters, rows)
    columns = pd.DataFrame(
        {"a": random.integers(0, 2, rows).astype(float), "age": random.normal(30, 6, rows)}
    )
    own = random.normal(0, 1, clusters)[cluster]
    chance = 1 / (1 + np.exp(0.4 - 0.6 * columns["a"] - own))
    return columns, (random.random(rows) < chance).to_numpy().astype(int), cluster


@pytest.mark.parametrize("seed", range(30))
def test_cluster_robust_errors_agree_with_statsmodels(seed):
    columns, events, cluster = clustered(seed)
    fit = logistic_regression(columns, events, method="maximum_likelihood")
    robust = with_robust_errors(fit, columns, events, clusters=cluster)
    model = sm.Logit(events, sm.add_constant(columns))
    other = model.fit(disp=0, tol=1e-13, maxiter=100, cov_type="cluster", cov_kwds={"groups": cluster})
    assert robust.covariance.to_numpy() == pytest.approx(np.asarray(other.cov_params()), rel=1e-8)
    groups = len(np.unique(cluster))
    t = np.abs(other.params / other.bse).to_numpy()
    assert robust.coefficients["p_value"].to_numpy() == pytest.approx(2 * stats.t.sf(t, groups - 1), rel=1e-7)
    half_width = stats.t.ppf(0.975, groups - 1) * other.bse.to_numpy()
    upper = np.log(robust.coefficients["ci_upper"].to_numpy())
    assert upper == pytest.approx(other.params.to_numpy() + half_width, rel=1e-7, abs=1e-9)
    assert robust.coefficients["coefficient"].equals(fit.coefficients["coefficient"])


@pytest.mark.parametrize("seed", range(10))
def test_sandwich_errors_agree_with_statsmodels(seed):
    columns, events, _ = clustered(seed)
    fit = logistic_regression(columns, events, method="maximum_likelihood")
    other = sm.Logit(events, sm.add_constant(columns)).fit(disp=0, tol=1e-13, maxiter=100, cov_type="HC0")
    plain = with_robust_errors(fit, columns, events, method="hc0")
    assert plain.covariance.to_numpy() == pytest.approx(np.asarray(other.cov_params()), rel=1e-8)
    assert plain.coefficients["p_value"].to_numpy() == pytest.approx(other.pvalues.to_numpy(), rel=1e-7)
    scaled = with_robust_errors(fit, columns, events, method="hc1")
    # statsmodels gives HC0 under the name HC1 here, so that the factor is checked by itself.
    assert scaled.covariance.to_numpy() == pytest.approx(plain.covariance.to_numpy() * 120 / 117)


@pytest.mark.parametrize("method", ["hc0", "hc1", "cluster"])
def test_counts_give_the_errors_of_single_rows(method):
    columns = pd.DataFrame({"a": [0.0, 1, 0, 1, 1], "b": [1.0, 2, 3, 4, 4]})
    events, n, cluster = [3, 4, 9, 6, 2], [10, 12, 15, 9, 6], ["x", "x", "y", "z", "w"]
    rows = columns.loc[columns.index.repeat(n)]
    outcomes = np.concatenate([np.repeat([1, 0], [x, total - x]) for x, total in zip(events, n, strict=True)])
    grouped = with_robust_errors(
        logistic_regression(columns, events, n), columns, events, n, clusters=cluster, method=method
    )
    single = with_robust_errors(
        logistic_regression(rows, outcomes), rows, outcomes, clusters=np.repeat(cluster, n), method=method
    )
    assert grouped.covariance.to_numpy() == pytest.approx(single.covariance.to_numpy(), rel=1e-9)
    assert grouped.coefficients["p_value"].to_numpy() == pytest.approx(
        single.coefficients["p_value"].to_numpy()
    )


def test_rows_of_nobody_have_no_cluster():
    columns, events, cluster = clustered(6)
    fit = logistic_regression(columns, events)
    plain = with_robust_errors(fit, columns, events, clusters=cluster)
    more = pd.concat([columns.iloc[:3], columns], ignore_index=True)
    n = np.repeat([0, 1], [3, 120])
    counted = np.append([0, 0, 0], events)
    robust = with_robust_errors(fit, more, counted, n, clusters=[90, 91, 92, *cluster])
    assert robust.covariance.to_numpy() == pytest.approx(plain.covariance.to_numpy(), rel=1e-12)
    assert robust.coefficients["p_value"].equals(plain.coefficients["p_value"])


def test_relabelled_and_reordered_clusters_change_nothing():
    columns, events, cluster = clustered(4)
    order = np.random.default_rng(1).permutation(120)
    fit = logistic_regression(columns, events)
    one = with_robust_errors(fit, columns, events, clusters=cluster)
    names = np.array([f"c{9 * code}" for code in cluster])
    two = with_robust_errors(fit, columns.iloc[order], events[order], clusters=names[order])
    assert two.covariance.to_numpy() == pytest.approx(one.covariance.to_numpy(), rel=1e-10)


def test_one_cluster_gives_no_limits_and_few_give_a_caution():
    columns, events, _ = clustered(2)
    fit = logistic_regression(columns, events)
    alone = with_robust_errors(fit, columns, events, clusters=np.zeros(120))
    assert alone.caution == "Fewer than two clusters: no robust limits."
    assert alone.coefficients[["standard_error", "ci_lower", "ci_upper", "p_value"]].isna().all(axis=None)
    few = with_robust_errors(fit, columns, events, clusters=np.arange(120) % 5)
    assert few.caution == "Only 5 clusters: robust limits can be too narrow."
    many = with_robust_errors(fit, columns, events, clusters=np.arange(120) % 30)
    assert many.caution == ""


def test_a_penalised_fit_keeps_its_estimates_and_gets_a_caution():
    columns, events, cluster = clustered(8)
    fit = firth_regression(columns, events)
    robust = with_robust_errors(fit, columns, events, clusters=cluster)
    assert robust.coefficients["odds_ratio"].to_numpy() == pytest.approx(
        fit.coefficients["odds_ratio"].to_numpy()
    )
    assert robust.caution == "Robust limits around a penalised fit are approximate."


def test_what_was_not_estimated_stays_so():
    columns, events, cluster = clustered(8)
    wide = columns.assign(always=1.0)
    robust = with_robust_errors(logistic_regression(wide, events), wide, events, clusters=cluster)
    assert robust.coefficients.iloc[3, 1:].isna().all()
    assert np.isfinite(robust.coefficients.iloc[:3, 1:].to_numpy(dtype=float)).all()
    apart = pd.DataFrame({"a": [0.0, 1.0]})
    endless = logistic_regression(apart, [0, 10], [10, 20], method="maximum_likelihood")
    left = with_robust_errors(endless, apart, [0, 10], [10, 20], clusters=["x", "y"])
    assert left.coefficients["standard_error"].isna().all()
    nobody = logistic_regression(apart, [0, 0], [0, 0])
    assert with_robust_errors(nobody, apart, [0, 0], [0, 0], clusters=[1, 2]).covariance.isna().all(axis=None)


def test_a_wrong_argument_is_refused():
    columns, events, cluster = clustered(1)
    fit = logistic_regression(columns, events)
    with pytest.raises(ValueError, match='clusters must be given for method "cluster", got None'):
        with_robust_errors(fit, columns, events)
    with pytest.raises(ValueError, match="clusters must not be missing, got 1 that are"):
        with_robust_errors(fit, columns, events, clusters=[None, *cluster[1:]])
    with pytest.raises(ValueError, match="columns, clusters must be equally long"):
        with_robust_errors(fit, columns, events, clusters=cluster[1:])
    with pytest.raises(
        ValueError, match=r"columns must be the terms of the fit, in order, got \['age', 'a'\]"
    ):
        with_robust_errors(fit, columns[["age", "a"]], events, clusters=cluster)
    with pytest.raises(ValueError, match="method must be one of hc0, hc1, cluster, got 'hc3'"):
        with_robust_errors(fit, columns, events, method="hc3")


def test_the_method_names_the_model_the_errors_and_the_confidence():
    columns, events, cluster = clustered(3)
    fit = logistic_regression(columns, events, method="maximum_likelihood")
    assert with_robust_errors(fit, columns, events, clusters=cluster, confidence=0.9).method == (
        "logistic regression, cluster-robust standard errors, factor G/(G-1)*(n-1)/(n-k), 90% limits by "
        "Student's t with G-1 degrees of freedom"
    )
    plain = with_robust_errors(fit, columns, events, method="hc0", confidence=0.8)
    assert plain.method == "logistic regression, sandwich standard errors (HC0), normal 80% limits"
    wide = with_robust_errors(fit, columns, events, method="hc0")
    log = {name: np.log(found.coefficients["ci_upper"]) for name, found in (("80", plain), ("95", wide))}
    halves = [log[name] - plain.coefficients["coefficient"] for name in ("80", "95")]
    assert (halves[0] / halves[1]).to_numpy() == pytest.approx(stats.norm.ppf(0.9) / stats.norm.ppf(0.975))


def test_what_was_said_of_the_fit_is_said_of_its_robust_errors_too():
    columns, events, _ = clustered(8)
    wide = columns.assign(always=1.0)
    fit = logistic_regression(wide, events)
    assert fit.caution != ""
    robust = with_robust_errors(fit, wide, events, clusters=np.arange(120))
    assert robust.caution == fit.caution
    penalised = with_robust_errors(
        firth_regression(columns, events), columns, events, clusters=np.arange(120) % 5
    )
    assert penalised.caution == (
        "Robust limits around a penalised fit are approximate. Only 5 clusters: robust limits can be too narrow."
    )


def test_two_clusters_are_enough_for_limits_and_thirty_for_no_caution():
    columns, events, _ = clustered(2)
    fit = logistic_regression(columns, events)
    halves = np.arange(120) % 2
    two = with_robust_errors(fit, columns, events, clusters=halves)
    assert np.isfinite(two.coefficients.iloc[:, 1:].to_numpy(dtype=float)).all()
    assert two.caution == "Only 2 clusters: robust limits can be too narrow."
    other = sm.Logit(events, sm.add_constant(columns)).fit(
        disp=0, tol=1e-13, maxiter=100, cov_type="cluster", cov_kwds={"groups": halves}
    )
    assert two.coefficients["standard_error"].to_numpy() == pytest.approx(other.bse.to_numpy(), rel=1e-6)
    twenty_nine = with_robust_errors(fit, columns, events, clusters=np.arange(120) % 29)
    assert twenty_nine.caution == "Only 29 clusters: robust limits can be too narrow."


def test_with_as_many_terms_as_people_only_the_plain_sandwich_exists():
    apart = pd.DataFrame({"a": [0.0, 1.0]})
    fit = firth_regression(apart, [0, 1])
    errors = {
        method: with_robust_errors(fit, apart, [0, 1], clusters=["x", "y"], method=method).coefficients[
            "standard_error"
        ]
        for method in ("hc0", "hc1", "cluster")
    }
    assert np.isfinite(errors["hc0"]).all()
    assert errors["hc1"].isna().all()
    assert errors["cluster"].isna().all()
