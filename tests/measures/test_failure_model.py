"""The service's model of failure, and clinicians held against it: hand-built attempts."""

import numpy as np
import pandas as pd
import pytest

from audit.measures.clinicians import failed_insertions_by_clinician
from audit.measures.failure_model import failure_model, failure_model_fit
from audit.service_model import failure_mixture
from audit.statistics.beta_binomial import beta_binomial
from audit.statistics.logistic import logistic_regression
from audit.statistics.shrinkage import shrunken_proportions
from audit.tallies import tally_patterns

# Clinician, vaginal birth, failed before, failed, attempts.
Told = tuple[str | None, str, bool | None, int, int]
WOMEN: tuple[Told, ...] = (
    ("C1", "no", False, 24, 80),
    ("C1", "no", True, 8, 20),
    ("C1", "yes", False, 1, 20),
    ("C2", "no", False, 4, 20),
    ("C2", "yes", False, 4, 160),
    ("C2", "yes", None, 2, 20),
)


def attempts(*told: Told) -> pd.DataFrame:
    """One row an attempt; everything else alike in all."""
    rows = [
        (clinician, birth, before, "failed" if number < failed else "placed")
        for clinician, birth, before, failed, n in told
        for number in range(n)
    ]
    frame = pd.DataFrame(
        rows, columns=["clinician_ref", "cervical_parity", "prior_failed_insertion", "outcome"], dtype=object
    )
    return frame.assign(
        prior_failed_insertion=frame["prior_failed_insertion"].astype("boolean"),
        parity_group=frame["cervical_parity"].map({"no": "nulliparous", "yes": "any_vaginal_birth"}),
        timing_group="interval",
        age_band="30_34",
        cervical_surgery=pd.array([None] * len(frame), dtype="boolean"),
        practice="independent",
    )


def test_patterns_count_events_and_all_of_each_combination() -> None:
    patterns = tally_patterns(
        attempts(*WOMEN), outcome="outcome", events=("failed",), others=("placed",), by=["cervical_parity"]
    )
    assert patterns.to_numpy().tolist() == [["no", 36, 120], ["yes", 7, 200]]


def test_patterns_of_a_tally_are_those_of_its_rows() -> None:
    rows = attempts(*WOMEN)
    tally = rows.groupby(["cervical_parity", "outcome"], as_index=False).size().rename(columns={"size": "n"})
    counted = [
        tally_patterns(
            frame, outcome="outcome", events=("failed",), others=("placed",), by=["cervical_parity"]
        )
        for frame in (rows, tally)
    ]
    pd.testing.assert_frame_equal(*counted)


def test_the_odds_ratios_are_those_of_the_regression_on_what_varies() -> None:
    found = failure_model(attempts(*WOMEN))
    assert found[["by", "stratum", "reference", "events", "n"]].to_numpy().tolist() == [
        ["cervical_parity", "no", "yes", 36, 120],
        ["prior_failed_insertion", "yes", "no", 8, 20],
        ["prior_failed_insertion", "unknown", "no", 2, 20],
    ]
    columns = pd.DataFrame({"birth": [1.0, 1, 0, 0], "before": [0.0, 1, 0, 0], "not": [0.0, 0, 0, 1]})
    direct = logistic_regression(columns, [28, 8, 5, 2], [100, 20, 180, 20]).coefficients
    assert found["odds_ratio"].tolist() == pytest.approx(direct["odds_ratio"].tolist()[1:])
    assert found["p_value"].tolist() == pytest.approx(direct["p_value"].tolist()[1:])


def test_technique_and_operator_are_never_in_the_model() -> None:
    frame = attempts(*WOMEN).assign(dilation="yes", local_anaesthetic="block", attempts_same_visit=2.0)
    assert set(failure_model(frame)["by"]) == {"cervical_parity", "prior_failed_insertion"}


def test_the_expectation_allows_for_the_women_and_adds_up_to_all_failures() -> None:
    frame = attempts(*WOMEN)
    table = failed_insertions_by_clinician(frame).set_index("stratum")
    assert table["events"].tolist() == [33, 10]
    assert float(table["expected"].sum()) == pytest.approx(43)
    assert all(
        method.endswith("expected failures by the service's logistic model") for method in table["method"]
    )
    # C1's women explain most of its figure: far more is expected of them than the service's 43 of 320.
    assert table.at["C1", "proportion"] == 33 / 120
    assert table.at["C1", "expected"] > 120 * 43 / 320 * 1.8
    assert (table.at["C1", "signal"], table.at["C1", "case_mix_signal"]) == ("review", "none")


def test_with_too_few_failures_for_each_term_the_expectation_is_by_parity() -> None:
    few = tuple((*row[:3], row[3] // 3, row[4]) for row in WOMEN)
    frame = attempts(*few)
    assert len(failure_model(frame)) == 0
    fit = failure_model_fit(frame)
    assert fit["used"].tolist() == [False]
    assert "by parity group instead" in fit.at[0, "caution"]
    table = failed_insertions_by_clinician(frame).set_index("stratum")
    assert all(method.endswith("expected failures by parity_group") for method in table["method"])
    # 11 of 120 nulliparous and 1 of 200 other attempts failed.
    assert table.at["C1", "expected"] == pytest.approx(100 * 11 / 120 + 20 * 1 / 200)


def test_a_model_of_the_whole_log_is_moved_to_the_level_of_a_window() -> None:
    whole = attempts(*WOMEN)
    window = whole.iloc[::5]
    table = failed_insertions_by_clinician(window, model=failure_mixture(whole))
    assert float(table["expected"].sum()) == pytest.approx(float(table["events"].sum()))
    assert table["method"].str.endswith("logistic model").all()
    assert not failed_insertions_by_clinician(window)["method"].str.endswith("logistic model").any()


def test_proportions_are_drawn_towards_those_of_all_and_those_without_a_code_are_not() -> None:
    frame = attempts(*WOMEN, (None, "no", False, 3, 5))
    table = failed_insertions_by_clinician(frame).set_index("stratum")
    drawn = shrunken_proportions([33, 10], [120, 200], beta_binomial([33, 10], [120, 200]))
    named = table.loc[["C1", "C2"]]
    assert named["shrunken_proportion"].tolist() == pytest.approx(drawn["shrunken_proportion"].tolist())
    assert named["shrunken_lower"].tolist() == pytest.approx(drawn["ci_lower"].tolist())
    assert named["own_weight"].tolist() == pytest.approx(drawn["weight"].tolist())
    assert np.isnan(table.at["not recorded", "shrunken_proportion"])
    assert table.at["C1", "shrunken_proportion"] < table.at["C1", "proportion"]


def test_no_attempt_gives_no_terms_and_a_fit_that_is_not_used() -> None:
    nobody = attempts().astype({"outcome": object})
    assert len(failure_model(nobody)) == 0
    fit = failure_model_fit(nobody)
    assert (fit.at[0, "used"], fit.at[0, "n"]) == (False, 0)
    assert len(failed_insertions_by_clinician(nobody)) == 0


def test_all_unknown_women_and_outcomes_are_left_to_the_fallback() -> None:
    frame = attempts(*WOMEN).assign(cervical_parity="unknown", parity_group="unknown", age_band="unknown")
    frame["prior_failed_insertion"] = pd.array([None] * len(frame), dtype="boolean")
    assert len(failure_model(frame)) == 0
    table = failed_insertions_by_clinician(frame).set_index("stratum")
    assert table["expected"].tolist() == pytest.approx([120 * 43 / 320, 200 * 43 / 320])
    unknown = failed_insertions_by_clinician(frame.assign(outcome="unknown"))
    assert unknown["expected"].tolist() == [0, 0]


def test_supervised_attempts_and_emergencies_are_told_apart() -> None:
    frame = attempts(*WOMEN)
    emergency = frame.assign(timing_group=np.where(np.arange(len(frame)) % 2, "emergency", "interval"))
    assert "emergency" in set(failure_model(emergency)["by"])
    supervised = pd.concat([frame, frame.assign(practice="supervised", outcome="failed")], ignore_index=True)
    assert failure_model(supervised)["n"].tolist() == failure_model(frame)["n"].tolist()
