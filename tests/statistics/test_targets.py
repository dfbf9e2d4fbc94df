"""A proportion beside the level it should reach: the verdict follows the interval that is shown."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.statistics.summaries import with_proportions
from audit.statistics.targets import against_targets, leading_limits


def judged(events: int, n: int, *, unknown: int = 0, target: float = 0.9, at_most: bool = False) -> str:
    """The verdict of one row."""
    table = pd.DataFrame({"events": [events], "n": [n], "n_unknown": [unknown]})
    table = with_proportions(table).assign(target=target, at_most=at_most)
    return str(against_targets(table)[0])


@pytest.mark.parametrize(
    ("row", "verdict"),
    [
        # 81 of 263 and 15 of 148: Wilson 0.2553 to 0.3662 and 0.0624 to 0.1605 (Newcombe RG, Stat Med
        # 1998;17:857-872, table I, method 3).
        ({"events": 81, "n": 263, "target": 0.2552}, "met"),
        ({"events": 81, "n": 263, "target": 0.2554}, "cannot_tell"),
        ({"events": 81, "n": 263, "target": 0.3661}, "cannot_tell"),
        ({"events": 81, "n": 263, "target": 0.3663}, "not_met"),
        ({"events": 15, "n": 148, "target": 0.1606, "at_most": True}, "met"),
        ({"events": 15, "n": 148, "target": 0.1604, "at_most": True}, "cannot_tell"),
        ({"events": 15, "n": 148, "target": 0.0623, "at_most": True}, "not_met"),
        # 1 of 29: exact 0.0009 to 0.1776 (same table, method 5), not Wilson's 0.0061 to 0.1718.
        ({"events": 1, "n": 29, "target": 0.1750, "at_most": True}, "cannot_tell"),
        ({"events": 1, "n": 29, "target": 0.1777, "at_most": True}, "met"),
        ({"events": 3, "n": 3}, "met"),
        ({"events": 0, "n": 3, "at_most": True, "target": 0.01}, "met"),
        ({"events": 2, "n": 3}, "cannot_tell"),
        ({"events": 10, "n": 10, "unknown": 3}, "not_recorded"),
        ({"events": 0, "n": 0, "unknown": 3}, "not_recorded"),
        ({"events": 0, "n": 0}, "no_cases"),
        ({"events": 5, "n": 50, "target": float("nan")}, "described"),
    ],
)
def test_the_verdict_follows_the_interval(row: dict[str, float], verdict: str) -> None:
    assert judged(**row) == verdict  # type: ignore[arg-type]


def test_no_rows_give_no_verdicts() -> None:
    table = with_proportions(pd.DataFrame({"events": [], "n": [], "n_unknown": []}, dtype="int64"))
    assert against_targets(table.assign(target=0.9, at_most=False)).tolist() == []


@given(
    n=st.integers(1, 400),
    share=st.floats(0, 1),
    target=st.floats(0.01, 0.99),
)
def test_counting_the_opposite_turns_the_target_and_not_the_verdict(
    n: int, share: float, target: float
) -> None:
    events = round(share * n)
    lower, upper = leading_limits(
        with_proportions(pd.DataFrame({"events": [events], "n": [n], "n_unknown": [0]}))
    )
    # On the very edge the last binary digit would decide.
    if min(abs(lower[0] - target), abs(upper[0] - target)) > 1e-9:
        there = judged(events, n, target=target)
        assert there == judged(n - events, n, target=1 - target, at_most=True)


@given(n=st.integers(1, 200), target=st.floats(0.01, 1))
def test_more_of_what_is_wanted_never_makes_a_verdict_worse(n: int, target: float) -> None:
    order = {"not_met": 0, "cannot_tell": 1, "met": 2}
    table = pd.DataFrame({"events": np.arange(n + 1), "n": n, "n_unknown": 0})
    verdicts = against_targets(with_proportions(table).assign(target=target, at_most=False))
    ranks = [order[verdict] for verdict in verdicts]
    assert ranks == sorted(ranks)


def by_hand(**columns: float) -> pd.DataFrame:
    """A row whose exact limits are 0.2 to 0.6 and whose Wilson limits are 0.3 to 0.5."""
    row = {"events": 20, "n": 40, "n_unknown": 0, "target": 0.4, "at_most": False, **columns}
    return pd.DataFrame([row]).assign(ci_lower=0.3, ci_upper=0.5, exact_lower=0.2, exact_upper=0.6)


@pytest.mark.parametrize(
    ("events", "n", "exact"),
    [
        # Five or fewer of either kind, or fewer than thirty in all.
        (5, 40, True),
        (6, 40, False),
        (35, 40, True),
        (34, 40, False),
        (15, 29, True),
        (15, 30, False),
    ],
)
def test_exact_limits_lead_near_an_edge_and_with_few(events: int, n: int, exact: bool) -> None:
    lower, upper = leading_limits(by_hand(events=events, n=n))
    assert (lower[0], upper[0]) == ((0.2, 0.6) if exact else (0.3, 0.5))


@pytest.mark.parametrize(
    ("target", "at_most", "verdict"),
    [
        # A limit that lies exactly on the target reaches it, and does not miss it.
        (0.3, False, "met"),
        (0.5, False, "cannot_tell"),
        (0.5, True, "met"),
        (0.3, True, "cannot_tell"),
    ],
)
def test_a_limit_on_the_target_reaches_it(target: float, at_most: bool, verdict: str) -> None:
    assert against_targets(by_hand(target=target, at_most=at_most)).tolist() == [verdict]


def test_a_share_known_that_is_exactly_the_floor_is_enough() -> None:
    assert against_targets(by_hand(n_unknown=10, target=0.1)).tolist() == ["met"]
    assert against_targets(by_hand(n_unknown=11, target=0.1)).tolist() == ["not_recorded"]
    assert against_targets(by_hand(n_unknown=40, target=0.1), recorded_floor=0.5).tolist() == ["met"]
    # As many unknown as known are not nobody.
    assert against_targets(by_hand(n_unknown=40, target=0.1)).tolist() == ["not_recorded"]
    assert against_targets(by_hand()).dtype == object
