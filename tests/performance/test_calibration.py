"""The simulations in short: every promise held with a twentieth of the runs, and a broken method found out."""

from pathlib import Path

import numpy as np
import pytest

from audit.statistics.proportions import METHODS, proportion_interval

HERE = Path(__file__).parent


@pytest.fixture(autouse=True)
def scripts(monkeypatch: pytest.MonkeyPatch) -> None:
    """The scripts beside this file can be imported."""
    monkeypatch.syspath_prepend(str(HERE))


def test_every_promise_is_held_in_short() -> None:
    from simulations import all_figures

    broken = [figure for figure in all_figures(share_of_runs=0.04) if not figure.held]
    assert broken == []


def test_the_normal_interval_would_be_found_out() -> None:
    from simulations import near, share

    rng = np.random.default_rng(1)
    found = rng.binomial(20, 0.05, 2000) / 20
    half = 1.96 * np.sqrt(found * (1 - found) / 20)
    assert not share("", np.abs(found - 0.05) <= half, 0.95, 0.006).held
    assert not near("", found + 0.01, 0.05).held


def test_the_normal_interval_is_not_offered() -> None:
    from simulations import normal_limits

    events = np.arange(21)
    for method in METHODS:
        lower, upper = proportion_interval(events, np.full(21, 20), method=method)
        normal_lower, normal_upper = normal_limits(20)
        assert np.abs(lower - normal_lower).max() > 0.01, method
        assert np.abs(upper - normal_upper).max() > 0.01, method


@pytest.mark.slow
def test_the_limits_of_the_whole_audit_hold_the_truth() -> None:
    from calibration import pipeline_figures

    figures = pipeline_figures(24, seed=7)
    assert [figure.what for figure in figures if not figure.held] == []
    assert len(figures) == 2
