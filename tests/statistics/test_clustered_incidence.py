"""Cumulative incidence with clusters: derivatives by finite differences, Greenwood's error, copies."""

import numpy as np
import pandas as pd
import pytest

from audit.statistics.clustered_incidence import COLUMNS, clustered_incidence
from audit.statistics.competing import cumulative_incidence, incidence_at_times
from audit.statistics.survival import kaplan_meier


def drawn(seed: int, rows: int = 60) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times with ties, endings and clusters."""
    draw = np.random.default_rng(seed)
    return draw.integers(0, 15, rows), draw.integers(0, 3, rows), draw.integers(0, 40, rows)


def weighted_incidence(times: np.ndarray, endings: np.ndarray, weights: np.ndarray, horizon: float) -> float:
    """Aalen-Johansen of cause 1 with any weights, written out without a running sum."""
    survival, incidence = 1.0, 0.0
    for time in sorted(set(times[times <= horizon].tolist())):
        there = weights[times >= time].sum()
        own = weights[(times == time) & (endings == 1)].sum()
        every = weights[(times == time) & (endings > 0)].sum()
        incidence += survival * own / there
        survival *= 1 - every / there
    return incidence


@pytest.mark.parametrize("seed", range(8))
def test_the_standard_error_adds_up_derivatives_found_by_finite_differences(seed: int) -> None:
    times, endings, clusters = drawn(seed)
    step, derivatives = 1e-6, []
    for row in range(times.size):
        up, down = np.ones(times.size), np.ones(times.size)
        up[row] += step
        down[row] -= step
        derivatives.append(
            (weighted_incidence(times, endings, up, 9) - weighted_incidence(times, endings, down, 9))
            / (2 * step)
        )
    names = np.unique(clusters)
    sums = [np.array(derivatives)[clusters == name].sum() for name in names]
    expected = np.sqrt(np.square(sums).sum() * names.size / (names.size - 1))
    row = clustered_incidence(times, endings, clusters, horizons=[9]).iloc[0]
    assert row["standard_error"] == pytest.approx(expected, rel=1e-5)
    assert row["incidence"] == pytest.approx(weighted_incidence(times, endings, np.ones(times.size), 9))


@pytest.mark.parametrize("seed", range(4))
def test_the_incidence_is_that_of_cumulative_incidence(seed: int) -> None:
    times, endings, clusters = drawn(seed)
    found = clustered_incidence(times, endings, clusters, horizons=[0, 3, 9])
    curve = incidence_at_times(cumulative_incidence(times, endings), [0, 3, 9])
    assert found["incidence"].tolist() == pytest.approx(curve.loc[curve["cause"] == 1, "incidence"].tolist())


def test_single_spells_without_ties_have_greenwoods_standard_error() -> None:
    # For the Kaplan-Meier curve the infinitesimal jackknife is Greenwood's error (Therneau and Grambsch 2000).
    times = np.arange(1, 41)
    events = (times % 3 == 0).astype(int)
    row = clustered_incidence(times, events, times, horizons=[30]).iloc[0]
    curve = kaplan_meier(times, events)
    greenwood = float(curve.loc[curve["time"] == 30, "standard_error"].item())
    assert row["standard_error"] == pytest.approx(greenwood * np.sqrt(40 / 39), rel=1e-10)


def test_twins_with_one_fate_tell_no_more_than_one_of_them() -> None:
    times, endings, _ = drawn(5)
    twice = (np.repeat(times, 2), np.repeat(endings, 2), np.repeat(np.arange(60), 2))
    together = clustered_incidence(*twice, horizons=[9]).iloc[0]
    alone = clustered_incidence(times, endings, np.arange(60), horizons=[9]).iloc[0]
    assert together["standard_error"] == pytest.approx(alone["standard_error"])
    assert together["n"] == 120
    apart = clustered_incidence(twice[0], twice[1], np.arange(120), horizons=[9]).iloc[0]
    assert apart["standard_error"] < 0.75 * together["standard_error"]


def test_order_and_labels_change_nothing() -> None:
    times, endings, clusters = drawn(6)
    order = np.random.default_rng(0).permutation(times.size)
    first = clustered_incidence(times, endings, clusters, horizons=[4, 9])
    other = clustered_incidence(
        times[order], endings[order], [f"w{c}" for c in clusters[order]], horizons=[4, 9]
    )
    pd.testing.assert_frame_equal(first, other, check_exact=True)


def test_beyond_the_last_time_nothing_is_known_unless_all_have_ended() -> None:
    open_ended = clustered_incidence([1, 2], [1, 0], [1, 2], horizons=[1, 5])
    assert open_ended["caution"].tolist()[1] == "Nobody observed this long."
    assert np.isnan(open_ended["incidence"].iloc[1])
    over = clustered_incidence([1, 2], [1, 2], [1, 2], horizons=[5])
    assert over["incidence"].tolist() == [0.5]


def test_nothing_seen_has_the_exact_upper_limit_in_clusters() -> None:
    row = clustered_incidence([5] * 50, [0] * 50, range(50), horizons=[3]).iloc[0]
    assert (row["incidence"], row["ci_lower"], row["caution"]) == (0, 0, "")
    assert row["ci_upper"] == pytest.approx(1 - 0.025 ** (1 / 50))


def test_one_cluster_has_no_standard_error_and_none_no_rows() -> None:
    row = clustered_incidence([1, 2, 3], [1, 0, 0], ["a"] * 3, horizons=[2]).iloc[0]
    assert np.isnan(row["standard_error"])
    assert np.isnan(row["ci_upper"])
    assert "Only 1 clusters" in row["caution"]
    assert len(clustered_incidence([], [], [], horizons=[2])) == 0


def test_a_missing_cluster_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^clusters must not be missing, got 1 that are$"):
        clustered_incidence([1, 2], [1, 0], ["a", None], horizons=[1])


@pytest.mark.parametrize("rows", [3, 4, 6])
@pytest.mark.parametrize("clusters", [2, 3])
def test_few_spells_have_the_error_of_finite_differences_to_the_last_one(rows: int, clusters: int) -> None:
    # One spell a day, the last one left alone for a day; read at every day.
    times, endings = np.arange(1, rows + 1), np.array([1, 2, 1, 1, 2, 1])[:rows]
    labels = np.arange(rows) % clusters
    found = clustered_incidence(times, endings, labels, horizons=times.tolist())
    for horizon, error in zip(times, found["standard_error"], strict=True):
        derivatives = np.zeros(rows)
        for row in range(rows):
            for sign in (1, -1):
                moved = np.ones(rows)
                moved[row] += sign * 1e-6
                derivatives[row] += sign * weighted_incidence(times, endings, moved, horizon) / 2e-6
        sums = np.bincount(labels, weights=derivatives)
        expected = np.sqrt(np.square(sums).sum() * clusters / (clusters - 1))
        assert error == pytest.approx(expected, abs=1e-6)


def test_the_counts_are_those_of_the_cause_up_to_and_those_there_at_the_time() -> None:
    found = clustered_incidence([1, 2, 2, 3, 5, 5], [1, 2, 1, 1, 0, 1], list("aabbcc"), horizons=[0, 2, 3, 5])
    assert found["at_risk"].tolist() == [6, 5, 3, 2]
    assert found["cumulative_events"].tolist() == [0, 2, 3, 4]
    assert (found["n"].tolist(), found["n_clusters"].tolist()) == ([6] * 4, [3] * 4)
    assert found["incidence"].tolist() == pytest.approx([0, 1 / 3, 1 / 2, 1 / 2 + (1 / 3) / 2])
    # At the last time itself the curve is known; beyond it is not, since one was still there.
    later = clustered_incidence([1, 2, 2, 3, 5, 5], [1, 2, 1, 1, 0, 1], list("aabbcc"), horizons=[5.5]).iloc[
        0
    ]
    assert later[["incidence", "standard_error", "ci_lower", "ci_upper"]].isna().all()
    assert later["caution"] == "Nobody observed this long."


def test_limits_are_log_minus_log_ones_and_the_method_says_their_confidence() -> None:
    row = clustered_incidence([1, 2, 3, 4], [1, 0, 1, 0], list("aabc"), horizons=[3], confidence=0.8).iloc[0]
    p, error = row["incidence"], row["standard_error"]
    z = 1.2815515655446004 * error / (p * np.log(p))
    assert (row["ci_lower"], row["ci_upper"]) == pytest.approx((p ** np.exp(-z), p ** np.exp(z)))
    assert "80% limits" in row["method"]
    alone = clustered_incidence([1, 2], [1, 0], ["a", "a"], horizons=[1]).iloc[0]
    assert (alone["incidence"], alone["cumulative_events"]) == (0.5, 1)
    assert alone[["standard_error", "ci_lower", "ci_upper"]].isna().all()
    assert isinstance(alone["ci_lower"], float)


def test_few_at_risk_and_few_clusters_are_both_said_and_exactly_enough_are_not() -> None:
    few = "Only 2 clusters: limits can be too narrow."
    two = [1, 2, 2], [1, 0, 0], list("aab")
    assert clustered_incidence(*two, horizons=[2], at_risk_floor=2)["caution"].tolist() == [few]
    both = clustered_incidence(*two, horizons=[2], at_risk_floor=3)["caution"].tolist()
    assert both == [f"Fewer than 3 still under observation. {few}"]
    # After all have ended nobody is there, and without a floor that is nothing to say.
    over = clustered_incidence([1, 2], [1, 2], [1, 2], horizons=[5])["caution"].tolist()
    assert over == [few]
    # However many ended at the last time and at those before, the incidence stays what it is.
    for times, endings, incidence in (([1, 2, 3], [1, 1, 2], 2 / 3), ([1, 2, 3, 3], [1, 1, 2, 1], 3 / 4)):
        row = clustered_incidence(times, endings, times, horizons=[5]).iloc[0]
        assert row["incidence"] == pytest.approx(incidence)
    for clusters, caution in ((30, ""), (29, "Only 29 clusters: limits can be too narrow.")):
        found = clustered_incidence([5] * clusters, [0] * clusters, range(clusters), horizons=[3])
        assert found["caution"].tolist() == [caution]


def test_nobody_gives_every_column_and_lengths_must_agree() -> None:
    assert list(clustered_incidence([], [], [], horizons=[2]).columns) == list(COLUMNS)
    with pytest.raises(ValueError, match=r"^durations, clusters must be equally long, got \[2, 1\]$"):
        clustered_incidence([1, 2], [1, 0], ["a"], horizons=[1])


def test_one_cluster_without_an_event_has_no_limits_either() -> None:
    row = clustered_incidence([5, 5], [0, 0], ["a", "a"], horizons=[3]).iloc[0]
    assert row["incidence"] == 0
    assert row[["ci_lower", "ci_upper"]].isna().all()
