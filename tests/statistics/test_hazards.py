"""Nelson-Aalen curves: worked by hand, against lifelines, by property, edges, refusals."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import NelsonAalenFitter

from audit.statistics.hazards import COLUMNS, nelson_aalen
from audit.statistics.survival import GAP, kaplan_meier

spell = st.integers(0, 8).flatmap(
    lambda exit: st.tuples(
        st.just(exit), st.integers(0, 1), st.integers(0, max(exit - 1, 0)), st.integers(1, 4)
    )
)
spells = st.lists(spell, min_size=1, max_size=25)


def arrays(rows):
    """Return durations, endings, entry and weights."""
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def test_four_spells_worked_by_hand():
    curve = nelson_aalen([1, 2, 2, 4], [1, 1, 0, 1])
    assert curve["cumulative_hazard"].tolist() == pytest.approx([0, 1 / 4, 1 / 4 + 1 / 3, 1 / 4 + 1 / 3 + 1])
    errors = [0, 1 / 16, 1 / 16 + 1 / 9, 1 / 16 + 1 / 9 + 1]
    assert curve["standard_error"].tolist() == pytest.approx(np.sqrt(errors))
    row = curve.iloc[2]
    factor = np.exp(1.959963984540054 * row["standard_error"] / row["cumulative_hazard"])
    assert row["ci_upper"] == pytest.approx(row["cumulative_hazard"] * factor)
    assert row["ci_lower"] == pytest.approx(row["cumulative_hazard"] / factor)


@pytest.mark.parametrize("seed", range(40))
def test_the_curve_agrees_with_lifelines(seed):
    random = np.random.default_rng(seed)
    durations, endings = random.integers(1, 13, 60), random.integers(0, 2, 60)
    entry = np.minimum(random.integers(0, 5, 60), durations - 1)
    rows = np.append(durations, [13, 13]), np.append(endings, [0, 0]), np.append(entry, [0, 0])
    ours = nelson_aalen(rows[0], rows[1], entry=rows[2])
    fitted = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(rows[0], rows[1], entry=rows[2])
    expected = fitted.cumulative_hazard_.iloc[:, 0].reindex(ours["time"])
    np.testing.assert_allclose(ours["cumulative_hazard"], expected, rtol=1e-9, atol=1e-12)


@given(spells)
def test_the_hazard_rises_within_its_limits_and_is_at_least_minus_log_one_minus(rows):
    durations, endings, entry, weights = arrays(rows)
    hazard = nelson_aalen(durations, endings, entry=entry, weights=weights)
    curve = kaplan_meier(durations, endings, entry=entry, weights=weights)
    known = hazard[hazard["cumulative_hazard"].notna()]
    assert (known["cumulative_hazard"].diff().dropna() >= 0).all()
    assert known["cumulative_hazard"].between(known["ci_lower"], known["ci_upper"]).all()
    assert np.isfinite(known["ci_upper"]).all()
    # exp(-H) exceeds the product-limit curve: 1 - x is at most exp(-x).
    assert (np.exp(-known["cumulative_hazard"]) >= curve.loc[known.index, "survival"] - 1e-12).all()
    assert hazard["cumulative_hazard"].isna().equals(curve["survival"].isna())
    assert hazard["caution"].tolist() == curve["caution"].tolist()


@given(spells)
def test_a_tally_and_its_rows_give_the_same_hazard(rows):
    durations, endings, entry, weights = arrays(rows)
    repeated = [np.repeat(column, weights) for column in (durations, endings, entry)]
    pd.testing.assert_frame_equal(
        nelson_aalen(durations, endings, entry=entry, weights=weights),
        nelson_aalen(repeated[0], repeated[1], entry=repeated[2]),
    )


def test_before_any_event_the_upper_limit_is_the_exact_one():
    curve = nelson_aalen([3, 4, 5], [0, 0, 0])
    assert curve["cumulative_hazard"].tolist() == [0, 0, 0, 0]
    assert curve["ci_lower"].tolist() == [0, 0, 0, 0]
    assert curve["ci_upper"].tolist() == pytest.approx([3.68887945411 / n for n in (3, 3, 2, 1)])


def test_after_a_gap_the_hazard_is_unknown_and_says_why():
    curve = nelson_aalen([5, 5, 9], [1, 0, 1], entry=[0, 0, 7])
    assert curve["cumulative_hazard"].tolist() == pytest.approx([0, 0.5, np.nan, np.nan], nan_ok=True)
    assert curve["caution"].tolist() == ["", "", GAP, GAP]


def test_nobody_gives_an_empty_frame_with_all_columns():
    curve = nelson_aalen([], [])
    assert curve.empty
    assert tuple(curve.columns) == COLUMNS


def test_a_wrong_argument_is_refused_by_name():
    with pytest.raises(ValueError, match=r"endings must be 0 \(censored\) or 1 \(event\), got 2"):
        nelson_aalen([3], [2])
    with pytest.raises(ValueError, match="confidence must lie between 0 and 1, got 2"):
        nelson_aalen([3], [1], confidence=2)
    with pytest.raises(ValueError, match="durations must be finite and zero or more"):
        nelson_aalen([-3], [1])
