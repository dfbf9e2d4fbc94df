"""Who is under observation when: one cause looked at alone."""

from dataclasses import replace

import numpy as np

from audit.statistics.risk_sets import risk_sets, single_cause, spells


def test_one_cause_alone_is_the_same_observation_with_the_others_censored() -> None:
    observed = spells(
        [1, 2, 2, 3, 5, 5, 6],
        [1, 2, 1, 0, 2, 1, 2],
        entry=[0, 0, 0, 1, 0, 4, 5],
        weights=[1, 2, 1, 1, 3, 1, 2],
    )
    together = risk_sets(observed, codes=np.array([1, 2]))
    for column, code in enumerate((1, 2)):
        alone = single_cause(together, column)
        recoded = replace(observed, endings=(observed.endings == code).astype(np.int64))
        direct = risk_sets(recoded, codes=np.array([1]))
        for field in ("time", "at_risk", "entered", "events", "censored", "defined"):
            np.testing.assert_array_equal(getattr(alone, field), getattr(direct, field))


def test_a_curve_may_break_off_by_all_causes_and_go_on_by_one() -> None:
    # Both of the first two have ended at 2, one by each cause, before the third is there.
    both = risk_sets(spells([2, 2, 5], [1, 2, 1], entry=[0, 0, 2], weights=None), codes=np.array([1, 2]))
    assert both.time.tolist() == [0, 2, 5]
    assert both.defined.tolist() == [True, False, False]
    assert single_cause(both, 0).defined.tolist() == [True, True, True]


def test_an_entry_at_0_is_no_late_entry() -> None:
    # All end at 0; nobody is still to enter.
    both = risk_sets(spells([0, 0], [1, 1], entry=None, weights=None), codes=np.array([1, 2]))
    assert single_cause(both, 0).defined.tolist() == [True]
    # One enters half a unit later, and is still to come when the others have gone.
    late = risk_sets(spells([0, 0, 3], [1, 1, 1], entry=[0, 0, 0.5], weights=None), codes=np.array([1, 2]))
    assert single_cause(late, 0).defined.tolist() == [False, False, False]
