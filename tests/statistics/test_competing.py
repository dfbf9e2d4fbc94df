"""Cumulative incidence: worked by hand, against statsmodels and a slow recursion, by property, refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.duration.survfunc import CumIncidenceRight

from audit.statistics.competing import COLUMNS, cumulative_incidence, incidence_at_times
from audit.statistics.survival import GAP, kaplan_meier

spell = st.integers(0, 8).flatmap(
    lambda exit: st.tuples(
        st.just(exit), st.integers(0, 3), st.integers(0, max(exit - 1, 0)), st.integers(1, 4)
    )
)
spells = st.lists(spell, min_size=1, max_size=25)


def arrays(rows):
    """Return durations, endings, entry and weights."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def by_cause(curves, column="incidence"):
    """Return one column per cause and one row per time."""
    return curves.pivot(index="time", columns="cause", values=column)


def slow_incidence(durations, endings, entry, weights, cause):
    """The defining recursion of survival, incidence and their covariance, one time after another.

    Andersen, Borgan, Gill, Keiding 1993, section IV.4.
    """
    survival, incidence, covariance = 1.0, 0.0, np.zeros((2, 2))
    found = []
    for time in np.unique(durations):
        under_risk = ((entry < time) | (entry == 0)) & (durations >= time)
        at_risk = weights[under_risk].sum()
        now = under_risk & (durations == time)
        own = weights[now & (endings == cause)].sum() / at_risk
        every = weights[now & (endings > 0)].sum() / at_risk
        step = np.array([[1 - every, 0.0], [own, 1.0]])
        noise = np.array([[every * (1 - every), -own * (1 - every)], [-own * (1 - every), own * (1 - own)]])
        covariance = step @ covariance @ step.T + survival**2 / at_risk * noise
        survival, incidence = step @ [survival, incidence]
        found.append((time, incidence, np.sqrt(max(covariance[1, 1], 0.0))))
    return pd.DataFrame(found, columns=["time", "incidence", "standard_error"])


def test_four_spells_worked_by_hand():
    # 1  x1          at 1: 1/4 of all end by cause 1
    # 2  --x2        at 2: 3/4 * 1/3 = 1/4 by cause 2, one censored after it
    # 3  --o
    # 4  ------x1    at 4: 1/2 * 1/1 = 1/2 by cause 1
    curves = cumulative_incidence([1, 2, 2, 4], [1, 2, 0, 1])
    assert by_cause(curves)[1].tolist() == pytest.approx([0, 1 / 4, 1 / 4, 3 / 4])
    assert by_cause(curves)[2].tolist() == pytest.approx([0, 0, 1 / 4, 1 / 4])
    first = curves[curves["cause"] == 1]
    assert first["survival"].tolist() == pytest.approx([1, 3 / 4, 1 / 2, 0])
    assert first["events"].tolist() == [0, 1, 0, 1]
    assert first["at_risk"].tolist() == [4, 4, 3, 1]
    assert first["standard_error"].iloc[1] == pytest.approx((1 / 4 * 3 / 4 / 4) ** 0.5)


def test_events_at_time_0_count():
    curves = cumulative_incidence([0, 0, 0, 5], [1, 2, 0, 1])
    assert by_cause(curves).loc[0].tolist() == pytest.approx([1 / 4, 1 / 4])
    assert by_cause(curves).loc[5].tolist() == pytest.approx([3 / 4, 1 / 4])


@pytest.mark.parametrize("seed", range(50))
def test_the_incidence_agrees_with_statsmodels(seed):
    random = np.random.default_rng(seed)
    size = int(random.integers(10, 100))
    durations, endings = random.integers(1, 13, size), random.integers(0, 4, size)
    weights = random.integers(1, 4, size)
    durations, endings, weights = np.append(durations, 14), np.append(endings, 0), np.append(weights, 1)
    ours = cumulative_incidence(durations, endings, weights=weights)
    long_durations, long_endings = np.repeat(durations, weights), np.repeat(endings, weights)
    theirs = CumIncidenceRight(long_durations, long_endings)
    for cause in (1, 2, 3):
        expected = pd.Series(theirs.cinc[cause - 1], index=theirs.times)
        found = by_cause(ours)[cause].reindex(theirs.times)
        np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("seed", range(50))
def test_the_error_agrees_with_the_recursion_it_is_defined_by(seed):
    random = np.random.default_rng(1000 + seed)
    size = int(random.integers(10, 100))
    durations = np.append(random.integers(1, 13, size), [13, 13])
    endings = np.append(random.integers(0, 4, size), [0, 1])
    entry = np.append(np.minimum(random.integers(0, 9, size), durations[:-2] - 1), [0, 0])
    weights = np.append(random.integers(1, 4, size), [1, 1])
    ours = cumulative_incidence(durations, endings, entry=entry, weights=weights)
    for cause in (1, 2, 3):
        expected = slow_incidence(durations, endings, entry, weights, cause).set_index("time")
        found = ours[ours["cause"] == cause].set_index("time").loc[expected.index]
        np.testing.assert_allclose(found["incidence"], expected["incidence"], rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(found["standard_error"], expected["standard_error"], rtol=1e-8, atol=1e-9)


@given(spells)
def test_incidences_and_survival_add_up_to_1(rows):
    durations, endings, entry, weights = arrays(rows)
    curves = cumulative_incidence(durations, endings, entry=entry, weights=weights, causes=[1, 2, 3])
    total = by_cause(curves).sum(axis=1, skipna=False) + by_cause(curves, "survival")[1]
    defined = total.dropna()
    np.testing.assert_allclose(defined, 1, rtol=0, atol=1e-12)
    curve = kaplan_meier(durations, (endings > 0).astype(int), entry=entry, weights=weights)
    np.testing.assert_allclose(by_cause(curves, "survival")[1], curve["survival"], rtol=1e-12)


@given(spells)
def test_one_cause_is_one_minus_kaplan_meier_with_greenwoods_error(rows):
    durations, endings, entry, weights = arrays(rows)
    events = (endings > 0).astype(int)
    found = cumulative_incidence(durations, events, entry=entry, weights=weights, causes=[1])
    curve = kaplan_meier(durations, events, entry=entry, weights=weights)
    np.testing.assert_allclose(1 - found["incidence"], curve["survival"], atol=1e-12)
    inner = (curve["survival"] > 0).to_numpy()
    np.testing.assert_allclose(
        found["standard_error"][inner], curve["standard_error"][inner], rtol=1e-6, atol=1e-9
    )


@given(spells)
def test_an_incidence_never_exceeds_one_minus_kaplan_meier_of_its_cause(rows):
    durations, endings, entry, weights = arrays(rows)
    curves = cumulative_incidence(durations, endings, entry=entry, weights=weights, causes=[1, 2, 3])
    naive = kaplan_meier(durations, (endings == 1).astype(int), entry=entry, weights=weights)
    excess = by_cause(curves)[1].to_numpy() - (1 - naive["survival"].to_numpy())
    assert not (excess > 1e-12).any()


@given(spells)
def test_an_incidence_rises_from_0_within_its_limits(rows):
    durations, endings, entry, weights = arrays(rows)
    curves = cumulative_incidence(durations, endings, entry=entry, weights=weights, causes=[1, 2, 3])
    for _, curve in curves.groupby("cause"):
        defined = curve[curve["incidence"].notna()]
        assert (defined["incidence"].diff().dropna() >= 0).all()
        assert (defined["ci_lower"] <= defined["incidence"] + 1e-12).all()
        assert (defined["ci_upper"] >= defined["incidence"] - 1e-12).all()
        assert defined[["ci_lower", "ci_upper"]].stack().between(0, 1).all()


@given(spells, st.randoms(use_true_random=False))
def test_order_relabelling_and_tallying_change_nothing(rows, random):
    durations, endings, entry, weights = arrays(rows)
    plain = cumulative_incidence(durations, endings, entry=entry, weights=weights, causes=[1, 2, 3])
    order = list(range(len(rows)))
    random.shuffle(order)
    repeated = np.repeat(order, weights[order])
    shuffled = cumulative_incidence(
        durations[repeated], endings[repeated], entry=entry[repeated], causes=[1, 2, 3]
    )
    pd.testing.assert_frame_equal(shuffled, plain)
    renamed = np.array([0, 3, 1, 2])[endings]
    relabelled = cumulative_incidence(durations, renamed, entry=entry, weights=weights, causes=[3, 1, 2])
    pd.testing.assert_frame_equal(relabelled.drop(columns="cause"), plain.drop(columns="cause"))


def test_merging_two_causes_adds_their_incidences():
    random = np.random.default_rng(5)
    durations, endings = random.integers(0, 10, 80), random.integers(0, 4, 80)
    apart = by_cause(cumulative_incidence(durations, endings))
    merged = by_cause(cumulative_incidence(durations, np.array([0, 1, 1, 2])[endings]))
    np.testing.assert_allclose(merged[1], apart[1] + apart[2], atol=1e-12)


def test_a_cause_never_seen_has_a_curve_at_0_with_an_exact_upper_limit():
    # At time 6 two of five are still watched and two are known to have ended by the other cause.
    curves = cumulative_incidence([1, 2, 3, 6, 6], [1, 1, 0, 0, 0], causes=[1, 2])
    never = curves[curves["cause"] == 2]
    assert never["incidence"].eq(0).all()
    assert never["standard_error"].eq(0).all()
    assert never["ci_lower"].eq(0).all()
    assert never["ci_upper"].tolist() == pytest.approx([1 - 0.025 ** (1 / n) for n in (5, 5, 5, 5, 4)])


def test_those_ended_by_another_cause_at_time_0_are_counted_once_among_the_known():
    curves = cumulative_incidence([0, 0, 5], [1, 1, 0], causes=[1, 2])
    never = curves[curves["cause"] == 2]
    assert never["ci_upper"].tolist() == pytest.approx([1 - 0.025 ** (1 / 3)] * 2)


def test_a_cause_that_took_all_has_an_exact_lower_limit():
    curves = cumulative_incidence([1, 2, 2], [1, 1, 1])
    last = curves.iloc[-1]
    assert last["incidence"] == pytest.approx(1)
    assert last["ci_upper"] == 1
    assert last["ci_lower"] == pytest.approx(0.025 ** (1 / 3))


def test_limits_are_normal_for_the_log_of_minus_the_log_of_the_incidence():
    # R survfit's confidence intervals of type log-log; the formula applied to one figure.
    curves = cumulative_incidence([1, 2, 3, 4, 5], [1, 2, 1, 0, 0])
    row = curves[(curves["cause"] == 1) & (curves["time"] == 3)].iloc[0]
    spread = 1.959963984540054 * row["standard_error"] / (row["incidence"] * np.log(row["incidence"]))
    centre = np.log(-np.log(row["incidence"]))
    expected = np.exp(-np.exp(centre - spread)), np.exp(-np.exp(centre + spread))
    assert (row["ci_lower"], row["ci_upper"]) == pytest.approx(expected)


def test_curves_are_undefined_after_a_gap():
    curves = cumulative_incidence([5, 5, 9], [1, 0, 2], entry=[0, 0, 7])
    assert by_cause(curves)[1].tolist() == pytest.approx([0, 0.5, np.nan, np.nan], nan_ok=True)
    assert by_cause(curves, "survival")[2].isna().tolist() == [False, False, True, True]
    assert by_cause(curves, "ci_upper")[2].isna().tolist() == [False, False, True, True]
    assert by_cause(curves, "caution")[1].tolist() == ["", "", GAP, GAP]


def test_nobody_or_no_cause_gives_an_empty_frame_with_all_columns():
    for curves in (cumulative_incidence([], []), cumulative_incidence([3], [0])):
        assert curves.empty
        assert tuple(curves.columns) == COLUMNS
    assert cumulative_incidence([], [], causes=[1, 2]).empty
    assert incidence_at_times(cumulative_incidence([3], [0], causes=[4]), 2)["incidence"].tolist() == [0]


@pytest.mark.parametrize(
    ("endings", "options", "message"),
    [
        ([1, 3], {"causes": [1, 2]}, r"causes must name every ending seen, got \[1, 2\] without 3"),
        ([1, 2], {"causes": [1, 2, 0]}, r"causes must be distinct codes of 1 or more, got \[1, 2, 0\]"),
        ([1, 2], {"causes": [1, 2, 2]}, "causes must be distinct codes of 1 or more"),
        ([1, -2], {}, "endings must be whole numbers of zero or more, got -2"),
        ([1, 2], {"confidence": 5}, "confidence must lie between 0 and 1, got 5"),
        ([1, 2], {"entry": [0, 5]}, "a positive entry must lie before its duration, got 1 that do not"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(endings, options, message):
    with pytest.raises(ValueError, match=message):
        cumulative_incidence([3, 4], endings, **options)


def test_an_empty_frame_has_the_types_of_one_with_rows():
    assert cumulative_incidence([], []).dtypes.equals(cumulative_incidence([1, 2], [1, 0]).dtypes)


def test_readings_are_numbered_anew():
    curves = cumulative_incidence([1, 2, 3], [1, 2, 0])
    assert incidence_at_times(curves, [1, 2]).index.tolist() == [0, 1, 2, 3]


def test_of_a_single_one_without_an_event_all_but_the_tail_is_possible():
    curve = cumulative_incidence([3], [0], causes=[1])
    assert curve["ci_upper"].tolist() == pytest.approx([0.975, 0.975])
