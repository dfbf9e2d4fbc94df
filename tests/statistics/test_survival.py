"""Kaplan-Meier curves: worked by hand, against lifelines and statsmodels, by property, refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from scipy import stats
from statsmodels.duration.survfunc import SurvfuncRight

from audit.statistics.survival import COLUMNS, GAP, TRANSFORMS, kaplan_meier

# time, event, entry, weight: few distinct times, so that nearly everything is tied.
spell = st.integers(0, 8).flatmap(
    lambda exit: st.tuples(
        st.just(exit), st.integers(0, 1), st.integers(0, max(exit - 1, 0)), st.integers(1, 4)
    )
)
spells = st.lists(spell, min_size=1, max_size=25)


def arrays(rows):
    """Return durations, endings, entry and weights."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def random_spells(seed, *, entry):
    """Return heavily tied random spells, with someone in view from the origin to the end."""
    random = np.random.default_rng(seed)
    size = int(random.integers(5, 80))
    durations = random.integers(1, 13, size)
    endings = (random.uniform(size=size) < random.uniform(0.2, 0.9)).astype(int)
    entries = np.minimum(random.integers(0, 8, size), durations - 1) if entry else np.zeros(size, dtype=int)
    weights = random.integers(1, 4, size)
    # Two who are there all along, so that the risk set is never empty and the curve not used up.
    return (
        np.append(durations, [13, 13]),
        np.append(endings, [0, 0]),
        np.append(entries, [0, 0]),
        np.append(weights, [1, 1]),
    )


def figures(curve):
    return curve[["survival", "standard_error", "ci_lower", "ci_upper"]]


def test_four_spells_worked_by_hand():
    # 1  x         at 1: 4 at risk, 1 event  -> 3/4
    # 2  --x       at 2: 3 at risk, 1 event, 1 censored after it -> 3/4 * 2/3 = 1/2
    # 3  --o
    # 4  -----x    at 4: 1 at risk, 1 event  -> 0
    curve = kaplan_meier([1, 2, 2, 4], [1, 1, 0, 1])
    assert curve["time"].tolist() == [0, 1, 2, 4]
    assert curve["at_risk"].tolist() == [4, 4, 3, 1]
    assert curve["entered"].tolist() == [4, 0, 0, 0]
    assert curve["events"].tolist() == [0, 1, 1, 1]
    assert curve["censored"].tolist() == [0, 0, 1, 0]
    assert curve["survival"].tolist() == pytest.approx([1, 3 / 4, 1 / 2, 0])
    # Greenwood: S^2 (1 / (4 * 3)) and S^2 (1 / (4 * 3) + 1 / (3 * 2)).
    expected = [0, 3 / 4 * (1 / 12) ** 0.5, 1 / 2 * (1 / 12 + 1 / 6) ** 0.5, np.nan]
    assert curve["standard_error"].tolist() == pytest.approx(expected, nan_ok=True)


def test_an_event_at_time_0_is_an_event_of_somebody_at_risk():
    curve = kaplan_meier([0, 0, 3], [1, 0, 1])
    assert curve["at_risk"].tolist() == [3, 1]
    assert curve["survival"].tolist() == pytest.approx([2 / 3, 0])
    for entry in ([0, 0, 0], [np.nan, np.nan, np.nan]):
        pd.testing.assert_frame_equal(kaplan_meier([0, 0, 3], [1, 0, 1], entry=entry), curve)


def test_a_late_entrant_is_not_at_risk_at_her_entry_time():
    # 1  0-----5x      at 2: 1 and 2 at risk, 3 only just enters
    # 2  0--2x
    # 3     2---6o
    curve = kaplan_meier([5, 2, 6], [1, 1, 0], entry=[0, 0, 2])
    assert curve["time"].tolist() == [0, 2, 5, 6]
    assert curve["at_risk"].tolist() == [2, 2, 2, 1]
    assert curve["entered"].tolist() == [2, 1, 0, 0]
    assert curve["survival"].tolist() == pytest.approx([1, 1 / 2, 1 / 4, 1 / 4])


@pytest.mark.parametrize(
    ("durations", "endings", "entry", "survival"),
    [
        # Nobody is watched between 5 and 7.
        ([5, 5, 9], [1, 0, 1], [0, 0, 7], [1, 1 / 2, np.nan, np.nan]),
        # All who were watched had the event, while another is about to enter.
        ([5, 9], [1, 0], [0, 5], [1, np.nan, np.nan]),
        ([5, 9, 9], [1, 0, 0], [0, 7, 7], [1, np.nan, np.nan, np.nan]),
        # Nobody is watched from the origin.
        ([5, 9], [1, 0], [2, 3], [np.nan] * 5),
        # One leaves as another comes: somebody is at risk at every moment.
        ([5, 9], [0, 1], [0, 5], [1, 1, 0]),
    ],
)
def test_a_curve_is_undefined_after_a_gap_and_never_zero(durations, endings, entry, survival):
    curve = kaplan_meier(durations, endings, entry=entry)
    assert curve["survival"].tolist() == pytest.approx(survival, nan_ok=True)
    undefined = curve["survival"].isna()
    assert curve.loc[undefined, ["standard_error", "ci_lower", "ci_upper"]].isna().all(axis=None)
    assert curve["caution"].tolist() == [GAP if nothing else "" for nothing in undefined]


def test_the_row_at_the_end_of_a_gap_has_nobody_at_risk():
    curve = kaplan_meier([5, 5, 9], [1, 0, 1], entry=[0, 0, 7])
    assert curve.set_index("time").loc[7, "at_risk"] == 0
    assert curve.set_index("time").loc[7, "entered"] == 1


def test_before_any_event_the_lower_limit_is_the_exact_one():
    curve = kaplan_meier([3, 4, 5], [0, 0, 1])
    assert curve["ci_upper"].tolist()[:3] == [1, 1, 1]
    # 0.025 ** (1 / n) for n = 3, 3 and 2 followed without event up to times 0, 3 and 4.
    assert curve["ci_lower"].tolist()[:3] == pytest.approx(
        [0.025 ** (1 / 3), 0.025 ** (1 / 3), 0.025 ** (1 / 2)]
    )
    exact = stats.binomtest(3, 3).proportion_ci(method="exact").low
    assert curve["ci_lower"].iloc[0] == pytest.approx(exact)


def test_late_entrants_add_nothing_to_the_exact_limit_before_any_event():
    curve = kaplan_meier([9, 9, 9], [0, 0, 0], entry=[0, 4, 4])
    assert curve["ci_lower"].tolist() == pytest.approx([0.025] * 3)


def test_when_nobody_is_left_the_upper_limit_is_the_one_before():
    curve = kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1])
    assert curve["ci_lower"].iloc[-1] == 0
    assert curve["ci_upper"].iloc[-1] == curve["ci_upper"].iloc[-2]
    at_once = kaplan_meier([2, 2, 2], [1, 1, 1])
    assert at_once["ci_lower"].iloc[-1] == 0
    assert at_once["ci_upper"].iloc[-1] == pytest.approx(1 - 0.025 ** (1 / 3))


@pytest.mark.parametrize("seed", range(60))
def test_the_curve_agrees_with_lifelines_and_statsmodels(seed):
    durations, endings, _, weights = random_spells(seed, entry=False)
    ours = kaplan_meier(durations, endings, weights=weights)
    begun = (ours["events"].cumsum() > 0).to_numpy()
    lifelines = KaplanMeierFitter().fit(durations, endings, weights=weights)
    theirs = lifelines.survival_function_.iloc[:, 0].reindex(ours["time"])
    np.testing.assert_allclose(ours["survival"], theirs, rtol=1e-9, atol=1e-12)
    limits = lifelines.confidence_interval_.reindex(ours["time"]).to_numpy()
    np.testing.assert_allclose(ours["ci_lower"][begun], limits[begun, 0], rtol=1e-9)
    np.testing.assert_allclose(ours["ci_upper"][begun], limits[begun, 1], rtol=1e-9)
    # Rows repeated: with weights statsmodels gives sum d / n^2 in place of Greenwood's formula.
    statsmodels = SurvfuncRight(np.repeat(durations, weights), np.repeat(endings, weights))
    at_events = ours[ours["events"] > 0]
    np.testing.assert_allclose(at_events["survival"], statsmodels.surv_prob, rtol=1e-9)
    np.testing.assert_allclose(at_events["at_risk"], statsmodels.n_risk)
    np.testing.assert_allclose(at_events["standard_error"], statsmodels.surv_prob_se, rtol=1e-9)


@pytest.mark.parametrize("seed", range(100, 150))
def test_the_curve_with_late_entry_agrees_with_lifelines_and_statsmodels(seed):
    durations, endings, entry, weights = random_spells(seed, entry=True)
    ours = kaplan_meier(durations, endings, entry=entry, weights=weights)
    theirs = KaplanMeierFitter().fit(durations, endings, entry=entry, weights=weights)
    expected = theirs.survival_function_.iloc[:, 0].reindex(ours["time"])
    np.testing.assert_allclose(ours["survival"], expected, rtol=1e-9, atol=1e-12)
    # statsmodels has no weights together with entry, so each row is repeated.
    repeated = (np.repeat(column, weights) for column in (durations, endings, entry))
    long_durations, long_endings, long_entry = repeated
    statsmodels = SurvfuncRight(long_durations, long_endings, entry=long_entry)
    at_events = ours[ours["events"] > 0]
    np.testing.assert_allclose(at_events["survival"], statsmodels.surv_prob, rtol=1e-9)
    np.testing.assert_allclose(at_events["standard_error"], statsmodels.surv_prob_se, rtol=1e-9)


@given(spells, st.randoms(use_true_random=False))
def test_the_order_of_the_rows_does_not_matter(rows, random):
    durations, endings, entry, weights = arrays(rows)
    order = list(range(len(rows)))
    random.shuffle(order)
    pd.testing.assert_frame_equal(
        kaplan_meier(durations, endings, entry=entry, weights=weights),
        kaplan_meier(durations[order], endings[order], entry=entry[order], weights=weights[order]),
    )


@given(spells)
def test_a_tally_and_its_rows_give_the_same_curve(rows):
    durations, endings, entry, weights = arrays(rows)
    tally = pd.DataFrame({"exit": durations, "ending": endings, "entry": entry, "n": weights})
    tally = tally.groupby(["exit", "ending", "entry"], as_index=False)["n"].sum()
    from_rows = kaplan_meier(
        *(np.repeat(c, weights) for c in (durations, endings)), entry=np.repeat(entry, weights)
    )
    from_tally = kaplan_meier(tally["exit"], tally["ending"], entry=tally["entry"], weights=tally["n"])
    pd.testing.assert_frame_equal(from_rows, from_tally)


@given(spells)
def test_rows_of_weight_0_add_nothing(rows):
    durations, endings, entry, weights = arrays(rows)
    padded = kaplan_meier(
        np.append(durations, 7.5),
        np.append(endings, 1),
        entry=np.append(entry, 3),
        weights=np.append(weights, 0),
    )
    pd.testing.assert_frame_equal(padded, kaplan_meier(durations, endings, entry=entry, weights=weights))


@given(spells, st.sampled_from(sorted(TRANSFORMS)))
def test_a_curve_falls_from_1_within_its_limits(rows, transform):
    durations, endings, entry, weights = arrays(rows)
    curve = kaplan_meier(durations, endings, entry=entry, weights=weights, transform=transform)
    defined = curve[curve["survival"].notna()]
    assert (defined["survival"].diff().dropna() <= 0).all()
    assert defined["survival"].between(0, 1).all()
    assert (defined["ci_lower"] <= defined["survival"] + 1e-12).all()
    assert (defined["ci_upper"] >= defined["survival"] - 1e-12).all()
    assert defined[["ci_lower", "ci_upper"]].stack().between(0, 1).all()
    # Once undefined, undefined to the end.
    assert (curve["survival"].isna().astype(int).diff().dropna() >= 0).all()


@given(spells)
def test_every_individual_is_accounted_for_in_the_counts(rows):
    durations, endings, entry, weights = arrays(rows)
    curve = kaplan_meier(durations, endings, entry=entry, weights=weights)
    assert curve["entered"].sum() == weights.sum()
    assert curve["events"].sum() == weights[endings == 1].sum()
    assert curve["censored"].sum() == weights[endings == 0].sum()
    origin = weights[entry == 0].sum()
    net = curve["entered"].where(curve["time"] > 0, 0) - curve["events"] - curve["censored"]
    assert curve["at_risk"].tolist() == [origin, *(origin + net.cumsum().iloc[:-1])]


@given(spells, st.integers(2, 5))
def test_many_copies_leave_the_curve_and_shrink_its_error(rows, copies):
    durations, endings, entry, weights = arrays(rows)
    once = kaplan_meier(durations, endings, entry=entry, weights=weights)
    often = kaplan_meier(durations, endings, entry=entry, weights=weights * copies)
    np.testing.assert_allclose(often["survival"], once["survival"], rtol=1e-12)
    np.testing.assert_allclose(often["standard_error"] * np.sqrt(copies), once["standard_error"], rtol=1e-9)


@given(spells, st.floats(0.01, 100))
def test_the_unit_of_time_does_not_matter(rows, unit):
    durations, endings, entry, weights = arrays(rows)
    once = kaplan_meier(durations, endings, entry=entry, weights=weights)
    scaled = kaplan_meier(durations * unit, endings, entry=entry * unit, weights=weights)
    pd.testing.assert_frame_equal(figures(once), figures(scaled))


def test_nobody_gives_an_empty_frame_with_all_columns():
    curve = kaplan_meier([], [])
    assert curve.empty
    assert tuple(curve.columns) == COLUMNS
    assert kaplan_meier([3], [1], weights=[0]).empty
    assert curve.dtypes.tolist() == kaplan_meier([3], [1]).dtypes.tolist()


def test_arguments_are_left_as_they_were():
    durations, entry = np.array([3.0, 5.0]), np.array([np.nan, 2.0])
    kaplan_meier(durations, [1, 0], entry=entry)
    assert durations.tolist() == [3, 5]
    assert entry.tolist() == pytest.approx([np.nan, 2], nan_ok=True)


@pytest.mark.parametrize(
    ("durations", "endings", "options", "message"),
    [
        ([-1, 2], [1, 0], {}, "durations must be finite and zero or more, got 1 that are not, first -1"),
        ([np.nan, 2], [1, 0], {}, "durations must be finite and zero or more, got 1 that are not, first nan"),
        ([1, np.inf], [1, 0], {}, "durations must be finite and zero or more"),
        ([1, 2], [2, 0], {}, r"endings must be 0 \(censored\) or 1 \(event\), got 2"),
        ([1, 2], [1], {}, "must be equally long, got"),
        (
            [1, 2],
            [1, 0],
            {"entry": [1, 0]},
            "a positive entry must lie before its duration, got 1 that do not",
        ),
        ([1, 2], [1, 0], {"entry": [-1, 0]}, "entry must be finite and zero or more, got 1 that are not"),
        ([1, 2], [1, 0], {"weights": [1, 0.5]}, "weights must be whole numbers of zero or more, got 0.5"),
        ([1, 2], [1, 0], {"transform": "arcsine"}, "transform must be one of log_log, log, plain"),
        ([1, 2], [1, 0], {"confidence": 1}, "confidence must lie between 0 and 1, got 1"),
    ],
)
def test_a_wrong_argument_is_refused_by_name(durations, endings, options, message):
    with pytest.raises(ValueError, match=message):
        kaplan_meier(durations, endings, **options)


def test_a_spell_of_no_length_at_the_origin_is_ordinary():
    assert kaplan_meier([0, 4], [1, 0], entry=[0, 0])["survival"].tolist() == [0.5, 0.5]
