"""Cluster-robust errors of proportional hazards: other libraries, a textbook's residuals, invariances."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from lifelines import CoxPHFitter

from audit.statistics.cox import cox_regression
from audit.statistics.cox_clusters import with_clustered_errors
from audit.statistics.hazard_ratios import hazard_ratios_by_level


def drawn(seed: int, *, rows: int = 150, clusters: int = 40, days: float = 0.0) -> pd.DataFrame:
    """Spells of clusters with a frailty of their own; whole days of that length where one is given."""
    draw = np.random.default_rng(seed)
    cluster = draw.integers(0, clusters, rows)
    frailty = np.exp(draw.normal(0, 0.7, clusters))[cluster]
    table = pd.DataFrame({"a": draw.integers(0, 2, rows).astype(float), "b": draw.normal(0, 1, rows)})
    until = draw.exponential(1 / (frailty * np.exp(0.5 * table["a"] - 0.3 * table["b"])))
    lost = draw.exponential(1.5, rows)
    time = np.minimum(until, lost)
    time = np.ceil(time / days) if days else time
    return table.assign(time=time, event=(until <= lost).astype(int), cluster=cluster)


def robust(
    table: pd.DataFrame, *, clusters: object = None, ties: str = "efron", **more: object
) -> pd.DataFrame:
    """The coefficients with clustered errors."""
    columns = table[["a", "b"]]
    fit = cox_regression(columns, table["time"], table["event"], ties=ties, **more)
    labels = table["cluster"] if clusters is None else clusters
    return with_clustered_errors(
        fit, columns, table["time"], table["event"], clusters=labels, ties=ties, **more
    ).coefficients


@pytest.mark.parametrize("seed", range(5))
def test_untied_errors_are_those_of_lifelines(seed: int) -> None:
    table = drawn(seed)
    other = CoxPHFitter().fit(table, "time", "event", cluster_col="cluster", fit_options={"precision": 1e-12})
    found = robust(table)
    assert found["standard_error"].to_numpy() == pytest.approx(other.standard_errors_.to_numpy(), rel=1e-6)
    limits = np.exp(other.confidence_intervals_.to_numpy())
    assert found[["ci_lower", "ci_upper"]].to_numpy() == pytest.approx(limits, rel=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_errors_with_breslows_ties_are_those_of_statsmodels_with_and_without_late_entry(seed: int) -> None:
    # With Efron's ties statsmodels and lifelines take residuals after Breslow, and differ from each other.
    table = drawn(seed, days=0.1)
    early = np.where(table.index % 3 == 0, np.floor(table["time"] / 2), 0.0)
    for entry in (np.zeros(len(table)), early):
        # There an individual is at risk at the very time of entry.
        after = np.where(entry > 0, entry + 0.5, 0.0)
        model = sm.PHReg(table["time"], table[["a", "b"]], status=table["event"], ties="breslow", entry=after)
        other = model.fit(groups=table["cluster"].to_numpy())
        found = robust(table, ties="breslow", entry=entry)
        assert found["coefficient"].to_numpy() == pytest.approx(other.params, rel=1e-7, abs=1e-9)
        assert found["standard_error"].to_numpy() == pytest.approx(other.bse, rel=1e-7)


# Therneau TM, Grambsch PM. Modeling Survival Data, appendix E.1: six subjects; score residuals at a coefficient of
# 0 as in the tests of R's survival (book1.R, book2.R; from memory, reproduced, and adding up to the slope there).
SIX = pd.DataFrame({"x": [1.0, 1, 1, 0, 0, 0]})
TIMES, EVENTS = [1, 1, 6, 6, 8, 9], [1, 0, 1, 1, 0, 1]
SCORES = {
    "breslow": np.array([10, -2, 7, -1, 5, 5]) / 24,
    "efron": np.array([60, -12, 55, -5, 29, 29]) / 144,
}


@pytest.mark.parametrize("ties", SCORES)
@pytest.mark.parametrize("alone", range(6))
def test_the_residuals_of_the_textbooks_six_subjects_are_reproduced(ties: str, alone: int) -> None:
    fit = cox_regression(SIX, TIMES, EVENTS, ties=ties)
    at_0 = replace(
        fit,
        coefficients=fit.coefficients.assign(coefficient=0.0),
        covariance=pd.DataFrame([[1.0]], index=["x"], columns=["x"]),
    )
    labels = [int(row == alone) for row in range(6)]
    found = with_clustered_errors(at_0, SIX, TIMES, EVENTS, clusters=labels, ties=ties)
    own, all_of_them = SCORES[ties][alone], SCORES[ties].sum()
    assert found.covariance.iloc[0, 0] == pytest.approx(own**2 + (all_of_them - own) ** 2, rel=1e-12)


def slow_residuals(table: pd.DataFrame, beta: np.ndarray, entry: np.ndarray) -> np.ndarray:
    """Each spell's score residual by Efron's ties, event by event as the definition has it."""
    x, time = table[["a", "b"]].to_numpy(), table["time"].to_numpy()
    weight, event = np.exp(x @ beta), table["event"].to_numpy() == 1
    found = np.zeros_like(x)
    for at in np.unique(time[event]):
        there, dying = (entry < at) & (time >= at), event & (time == at)
        for turn in range(dying.sum()):
            share = 1 - turn / dying.sum()
            own = np.where(dying, share, 1.0) * weight * there
            mean = own @ x / own.sum()
            found += (dying / dying.sum())[:, None] * (x - mean) - (own / own.sum())[:, None] * (x - mean)
    return found


@pytest.mark.parametrize("seed", range(10))
def test_errors_with_efrons_ties_are_those_of_the_definition_written_out(seed: int) -> None:
    table = drawn(seed, rows=60, clusters=20, days=0.2)
    entry = np.where(table.index % 2 == 0, np.floor(table["time"] / 3), 0.0)
    columns = table[["a", "b"]]
    fit = cox_regression(columns, table["time"], table["event"], entry=entry)
    # Observed from the origin means at risk at 0 too.
    scores = slow_residuals(table, fit.coefficients["coefficient"].to_numpy(), np.where(entry > 0, entry, -1))
    assert scores.sum(axis=0) == pytest.approx(0, abs=1e-8)
    together = pd.DataFrame(scores @ fit.covariance.to_numpy()).groupby(table["cluster"].to_numpy()).sum()
    found = with_clustered_errors(
        fit, columns, table["time"], table["event"], clusters=table["cluster"], entry=entry
    )
    assert found.covariance.to_numpy() == pytest.approx(together.to_numpy().T @ together.to_numpy(), rel=1e-9)


def test_a_spell_cut_in_two_within_its_cluster_changes_nothing() -> None:
    table = drawn(1, days=0.1)
    cut = np.floor(table["time"] / 2)
    first = table[cut > 0].assign(time=cut[cut > 0], event=0)
    both = pd.concat([table, first], ignore_index=True)
    entry = np.concatenate([cut, np.zeros(len(first))])
    whole, halves = robust(table), robust(both, entry=entry)
    pd.testing.assert_frame_equal(whole, halves, rtol=1e-8)


def test_spells_that_are_all_copied_within_their_clusters_give_the_same_errors() -> None:
    table = drawn(2, days=0.1)
    twice = pd.concat([table, table], ignore_index=True)
    for more in ({}, {"weights": np.ones(2 * len(table))}):
        copied = robust(twice, ties="breslow", **more)
        pd.testing.assert_frame_equal(robust(table, ties="breslow"), copied, rtol=1e-8)
    counted = robust(table, ties="breslow", weights=np.full(len(table), 2))
    pd.testing.assert_frame_equal(copied, counted, rtol=1e-8)


def test_a_row_without_a_label_stands_for_spells_that_stand_alone() -> None:
    table = drawn(3, days=0.2).assign(b=lambda told: np.sign(told["b"]))
    alone = table["cluster"] > 20
    labels = table["cluster"].astype(object).where(~alone)
    each = np.where(alone, 1000 + table.index, table["cluster"])
    expected = robust(table, clusters=each)
    pd.testing.assert_frame_equal(robust(table, clusters=labels), expected, rtol=1e-10)
    keys = ["a", "b", "time", "event", "label"]
    tally = table.assign(label=labels.astype(float)).groupby(keys, dropna=False, as_index=False).size()
    counted = robust(
        tally, clusters=tally["label"].astype(object).where(tally["label"].notna()), weights=tally["size"]
    )
    pd.testing.assert_frame_equal(counted, expected, rtol=1e-8)


def test_few_clusters_are_said_and_one_has_no_limits() -> None:
    table = drawn(4, rows=40, clusters=8)
    fit = cox_regression(table[["a", "b"]], table["time"], table["event"])
    given = table[["a", "b"]], table["time"], table["event"]
    few = with_clustered_errors(fit, *given, clusters=table["cluster"])
    assert few.caution == f"Only {table['cluster'].nunique()} clusters: robust limits can be too narrow."
    one = with_clustered_errors(fit, *given, clusters=["a"] * 40)
    assert one.caution == "Fewer than two clusters: no robust limits."
    assert one.coefficients[["standard_error", "ci_lower", "ci_upper", "p_value"]].isna().all(axis=None)
    assert one.coefficients["coefficient"].equals(fit.coefficients["coefficient"])


def test_a_term_without_a_finite_estimate_has_no_robust_error() -> None:
    table = drawn(5).assign(a=lambda told: told["event"].where(told["event"] == 0, 0.0) * 0.0)
    table["a"] = ((table["event"] == 0) & (table.index % 2 == 0)).astype(float)
    fit = cox_regression(table[["a", "b"]], table["time"], table["event"])
    found = with_clustered_errors(
        fit, table[["a", "b"]], table["time"], table["event"], clusters=table["cluster"]
    )
    assert np.isinf(found.coefficients.at[0, "coefficient"])
    assert found.coefficients["standard_error"].isna().all()
    assert "no finite estimate" in found.caution


def test_what_was_not_fitted_and_lengths_that_differ_are_refused() -> None:
    table = drawn(6, rows=40)
    fit = cox_regression(table[["a", "b"]], table["time"], table["event"])
    with pytest.raises(ValueError, match="columns must be the terms of the fit, in order, got"):
        with_clustered_errors(
            fit, table[["b", "a"]], table["time"], table["event"], clusters=table["cluster"]
        )
    with pytest.raises(ValueError, match="clusters"):
        with_clustered_errors(fit, table[["a", "b"]], table["time"], table["event"], clusters=[1, 2])


def test_hazard_ratios_by_level_take_clusters() -> None:
    table = drawn(7, days=0.1)
    spells = pd.DataFrame(
        {
            "group": np.where(table["a"] == 1, "yes", "no"),
            "entry": 0.0,
            "exit": table["time"],
            "cause": table["event"],
            "n": 1,
            "woman": table["cluster"],
        }
    )
    plain = hazard_ratios_by_level(spells, references={"group": "no"})
    found = hazard_ratios_by_level(spells, references={"group": "no"}, clusters="woman")
    columns = table[["a"]]
    fit = cox_regression(columns, table["time"], table["event"])
    direct = with_clustered_errors(fit, columns, table["time"], table["event"], clusters=table["cluster"])
    assert found["hazard_ratio"].tolist() == plain["hazard_ratio"].tolist()
    assert found.at[0, "ci_upper"] == pytest.approx(direct.coefficients.at[0, "ci_upper"])
    assert found.at[0, "ci_upper"] != pytest.approx(plain.at[0, "ci_upper"], rel=1e-3)
    assert "cluster-robust" in found.at[0, "method"]


def test_a_level_with_few_events_says_that_robust_limits_can_be_too_narrow() -> None:
    table = drawn(8, days=0.1)
    group = np.where(table.index < 6, "few", np.where(table["a"] == 1, "yes", "no"))
    spells = table.rename(columns={"time": "exit", "event": "cause"}).assign(group=group, entry=0.0, n=1)
    assert 0 < spells.loc[spells["group"] == "few", "cause"].sum() < 10
    found = hazard_ratios_by_level(spells, references={"group": "no"}, clusters="cluster").set_index(
        "stratum"
    )
    assert found.at["few", "caution"].endswith("Few events in this group: robust limits can be too narrow.")
    assert "Few events" not in found.at["yes", "caution"]
    plain = hazard_ratios_by_level(spells, references={"group": "no"})
    assert not plain["caution"].str.contains("robust").any()
