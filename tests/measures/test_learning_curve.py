"""Attempts in order: logs and attempts made by hand, with sums worked out beside them."""

from collections.abc import Callable
from math import log

import numpy as np
import pandas as pd
import pytest

from audit.measures.cusum import cusum_charts, cusum_limits, cusum_signals, learning_curve_attempts
from audit.measures.learning_curve import attempts_in_order, learning_curve
from audit.records import Cohort
from audit.schema.cusum_rules import CusumRules
from audit.service_model import expected_of_each, failure_mixture
from audit.settings import Thresholds

# Clinician, practice, parity group, and the outcomes in order: f failed, p placed, ? not known.
Told = tuple[str | None, str, str, str]
OUTCOME = {"f": "failed", "p": "placed", "?": "unknown", "d": "deferred"}
NULLIPAROUS, PAROUS = "nulliparous", "any_vaginal_birth"


def attempts(*told: Told) -> pd.DataFrame:
    """One row an attempt, one a day; few enough that no model is used."""
    rows = [
        (clinician, practice, parity, OUTCOME[letter])
        for clinician, practice, parity, letters in told
        for letter in letters
    ]
    frame = pd.DataFrame(rows, columns=["clinician_ref", "practice", "parity_group", "outcome"], dtype=object)
    number = np.arange(len(frame))
    return frame.assign(
        attempt_date=pd.Timestamp("2025-01-01") + pd.to_timedelta(number, unit="D"),
        visit_ref=[f"V{place}" for place in number],
        source=1,
        row=number,
    )


def independent(code: str, letters: str, parity: str = PAROUS) -> Told:
    """Attempts made alone."""
    return code, "independent", parity, letters


def spread(failed: int, n: int) -> str:
    """So many attempts with the failures spread evenly, the first attempts placed."""
    return "".join("f" if (place + 1) * failed // n > place * failed // n else "p" for place in range(n))


SERVICE = (independent("C1", spread(5, 100)), independent("C2", spread(5, 100)))


def test_attempts_come_by_day_then_by_the_reference_of_the_visit(cohort_of: Callable[..., Cohort]) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_ref | visit_date | visit_kind | clinician_ref | insertion_outcome
        W1          | V10       | 2026-02-02 | insertion  | C1            | placed
        W2          | V9        | 2026-02-02 | insertion  | C1            | failed
        W3          | V30       | 2026-02-01 | insertion  | C1            | placed
        W4          | V31       | 2026-02-03 | insertion  | C1            | deferred_not_started
        W5          | V32       | 2026-02-03 | insertion  | C1            |
        W6          | V33       | 2026-02-04 | insertion  |               | failed
        """
    )
    ordered = attempts_in_order(cohort.attempts)
    told = ordered[["stratum", "attempt_number", "visit_ref", "failed"]].to_numpy().tolist()
    assert told == [["C1", 1, "V30", 0], ["C1", 2, "V9", 1], ["C1", 3, "V10", 0]]
    curve = learning_curve(cohort.attempts)
    assert curve[["stratum", "practice", "events", "n", "n_unknown"]].to_numpy().tolist() == [
        ["C1", "all", 1, 3, 1],
        ["C1", "independent", 1, 3, 1],
    ]


def test_a_take_over_is_a_failure_of_the_trainee_and_an_attempt_of_the_trainer(
    cohort_of: Callable[..., Cohort],
) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_date | visit_kind | clinician_ref | completed_by_ref | supervised | insertion_outcome
        W1          | 2026-02-02 | insertion  | T3            |                  | yes        | placed
        W2          | 2026-02-03 | insertion  | T3            | C1               | yes        | placed
        """
    )
    ordered = attempts_in_order(cohort.attempts)
    assert ordered[["stratum", "attempt_number", "practice", "failed"]].to_numpy().tolist() == [
        ["C1", 1, "independent", 0],
        ["T3", 1, "supervised", 0],
        ["T3", 2, "supervised", 1],
    ]


def test_expected_failures_are_the_independent_ones_by_kind_with_one_attempt_of_all() -> None:
    frame = attempts(
        independent("C1", spread(6, 20), NULLIPAROUS),
        independent("C2", spread(2, 80)),
        ("T3", "supervised", NULLIPAROUS, "pf"),
        ("T3", "supervised", "caesarean_only", "p"),
    )
    ordered = attempts_in_order(frame)
    trainee = ordered[ordered["stratum"] == "T3"]
    # All independent attempts: 8 of 100. A kind that none of them met has that proportion.
    expected = [(6 + 0.08) / 21, (6 + 0.08) / 21, 0.08]
    assert trainee["expected"].tolist() == pytest.approx(expected)
    assert set(trainee["expected_by"]) == {"expected failures by parity_group"}
    curve = learning_curve(frame, ordered).set_index(["stratum", "practice"])
    row = curve.loc[("T3", "supervised")]
    assert row["expected"] == pytest.approx(sum(expected))
    assert row["observed_minus_expected"] == pytest.approx(1 - sum(expected))
    assert row["ratio"] == pytest.approx(1 / sum(expected))
    assert ("T3", "independent") not in curve.index


def test_with_the_model_supervised_women_are_predicted_by_the_independent_attempts() -> None:
    rows = [
        (code, practice, birth, "failed" if number < failed else "placed")
        for code, practice, birth, failed, n in (
            ("C1", "independent", "no", 30, 100),
            ("C2", "independent", "yes", 10, 200),
            ("T3", "supervised", "no", 9, 10),
            ("T3", "supervised", "unknown", 0, 1),
        )
        for number in range(n)
    ]
    frame = pd.DataFrame(rows, columns=["clinician_ref", "practice", "cervical_parity", "outcome"])
    frame = frame.assign(parity_group="unknown", timing_group="interval")
    expected, method = expected_of_each(frame, failure_mixture(frame))
    assert method == "expected failures by the service's logistic model"
    assert expected[0] == pytest.approx(0.30)
    assert expected[100] == pytest.approx(0.05)
    # The supervised attempts settle nothing; a level that the model never met has the whole's proportion.
    assert expected[-2:] == pytest.approx([0.30, 40 / 300])


def test_the_levels_are_the_service_s_own_unless_it_sets_them() -> None:
    ordered = attempts_in_order(attempts(*SERVICE, ("T3", "supervised", PAROUS, "f" * 30)))
    own = cusum_limits(ordered).set_index("chart")
    assert own.index.tolist() == ["learning", "monitoring"]
    # 10 of 200 made alone; twice the odds of 1 to 19 are 2 to 19.
    assert own[["acceptable", "unacceptable"]].to_numpy().tolist() == [
        pytest.approx([0.05, 2 / 21]),
        pytest.approx([0.05, 2 / 21]),
    ]
    assert own["level"].unique().tolist() == ["service"]
    assert own["caution"].str.contains("no ground for a sign-off").all()
    rules = CusumRules(acceptable=0.08, unacceptable=0.2, learning_limit=4.0)
    local = cusum_limits(ordered, rules=rules).set_index("chart")
    assert local["level"].unique().tolist() == ["set"]
    assert local["caution"].tolist() == ["", ""]
    assert local["odds_ratio"].tolist() == pytest.approx([0.25 / (8 / 92)] * 2)
    assert local.loc["learning", ["limit", "limit_from"]].tolist() == [4.0, "set"]
    assert local.at["monitoring", "limit_from"] == "chance_of_a_false_signal"
    assert (own["chance_if_false"] <= 0.05).all()
    assert (own["chance_if_true"] > 0.3).all()
    assert (own["run_if_false"] > own["run_if_true"]).all()


@pytest.mark.parametrize(
    "told",
    [
        (independent("C1", spread(5, 100)),),
        (independent("C1", "p" * 50), independent("C2", "p" * 50)),
        (independent("C1", "pf" * 5), independent("C2", "p" * 9)),
        (("T3", "supervised", PAROUS, spread(5, 60)),),
        (),
    ],
    ids=["one clinician", "no failure", "19 attempts", "supervised alone", "nothing"],
)
def test_where_nobody_can_say_what_is_acceptable_no_limit_is_drawn(told: tuple[Told, ...]) -> None:
    ordered = attempts_in_order(attempts(*told))
    limits = cusum_limits(ordered)
    assert limits.empty
    charts = cusum_charts(ordered, limits)
    assert charts["learning_cusum"].isna().all()
    assert charts["monitoring_cusum"].isna().all()
    assert cusum_signals(charts, limits, ordered).empty
    assert len(learning_curve_attempts(charts)) == len(charts)


def test_few_failures_behind_the_service_s_own_proportion_are_a_caution() -> None:
    few = attempts(independent("C1", spread(4, 100)), independent("C2", spread(5, 100)))
    assert cusum_limits(attempts_in_order(few))["caution"].str.contains("few failures: 9").all()
    assert not cusum_limits(attempts_in_order(attempts(*SERVICE)))["caution"].str.contains("few").any()


RULES = CusumRules(acceptable=0.10, unacceptable=0.25)
# Failed, then placed: the first sum of 1.25 or more comes at attempt 18, as published weights give it.
ORDER = "fpfppfppppf" + "p" * 15


def test_the_learning_chart_runs_over_supervised_and_unsupervised_attempts_and_ends_with_its_signal() -> None:
    frame = attempts(
        *SERVICE,
        ("T3", "supervised", PAROUS, ORDER[:12]),
        ("T3", "independent", PAROUS, ORDER[12:]),
    )
    rules = CusumRules(acceptable=0.10, unacceptable=0.25, learning_limit=1.25)
    ordered = attempts_in_order(frame)
    limits = cusum_limits(ordered, rules=rules)
    charts = cusum_charts(ordered, limits)
    own = charts[charts["stratum"] == "T3"].reset_index(drop=True)
    success, failure = log(0.9 / 0.75), log(0.10 / 0.25)
    total, by_hand = 0.0, []
    for letter in ORDER[:18]:
        total = max(0.0, total + (failure if letter == "f" else success))
        by_hand.append(total)
    assert own["learning_cusum"].iloc[:18].tolist() == pytest.approx(by_hand)
    assert own["learning_cusum"].iloc[18:].isna().all()
    assert np.flatnonzero(own["learning_signal"]).tolist() == [17]
    # Nobody else has worked under supervision.
    assert charts.loc[charts["stratum"] != "T3", "learning_cusum"].isna().all()
    signals = cusum_signals(charts, limits, ordered).set_index(["stratum", "chart"])
    row = signals.loc[("T3", "learning")]
    assert row[["n", "signals", "first_signal", "state"]].tolist() == [18, 1, 18, "signal"]
    assert row["latest_visit_ref"] == frame.loc[frame["clinician_ref"] == "T3", "visit_ref"].iloc[17]


def test_the_monitoring_chart_leaves_supervised_attempts_out_and_begins_again_after_a_signal() -> None:
    frame = attempts(
        *SERVICE,
        ("T3", "supervised", PAROUS, "f" * 10),
        ("T3", "independent", PAROUS, "f" * 10),
    )
    ordered = attempts_in_order(frame)
    limits = cusum_limits(ordered, rules=CusumRules(acceptable=0.10, unacceptable=0.25, monitoring_limit=2.0))
    charts = cusum_charts(ordered, limits)
    own = charts[charts["stratum"] == "T3"].reset_index(drop=True)
    # All women are of one kind, so each is expected to fail with 1 in 10: a failure adds log(0.25 / 0.10).
    step = log(2.5)
    assert own["monitoring_cusum"].iloc[:10].isna().all()
    steps = [step, 2 * step, 3 * step]
    assert own["monitoring_cusum"].iloc[10:].tolist() == pytest.approx([*steps, *steps, *steps, step])
    assert own.loc[own["monitoring_signal"], "attempt_number"].tolist() == [13, 16, 19]
    row = cusum_signals(charts, limits, ordered).set_index(["stratum", "chart"]).loc[("T3", "monitoring")]
    assert row[["n", "signals", "first_signal", "latest_signal"]].tolist() == [10, 3, 13, 19]
    assert row["latest_signal_date"] == frame["attempt_date"].iloc[-2]


def test_the_monitoring_chart_allows_for_the_women_on_the_level_that_is_acceptable() -> None:
    frame = attempts(
        independent("C1", spread(12, 40), NULLIPAROUS),
        independent("C2", spread(4, 80)),
    )
    ordered = attempts_in_order(frame)
    limits = cusum_limits(ordered)
    charts = cusum_charts(ordered, limits)
    acceptable = 16 / 120
    assert limits["acceptable"].tolist() == pytest.approx([acceptable] * 2)
    # The same failure says less of a woman in whom it was to be expected.
    rises = {
        code: own.loc[own["failed"] == 1, "monitoring_cusum"].iloc[0] - before
        for code, own in charts.groupby("stratum")
        for before in [own["monitoring_cusum"].shift(fill_value=0.0)[own["failed"] == 1].iloc[0]]
    }
    assert rises["C1"] < rises["C2"]
    assert rises["C1"] == pytest.approx(log(2 / (1 + 0.3)), abs=0.02)


def test_few_attempts_are_counted_and_not_drawn() -> None:
    frame = attempts(*SERVICE, ("T3", "supervised", PAROUS, "p" * 19))
    ordered = attempts_in_order(frame)
    charts = cusum_charts(ordered, cusum_limits(ordered))
    assert set(charts["stratum"]) == {"C1", "C2"}
    curve = learning_curve(frame, ordered).set_index(["stratum", "practice"])
    assert curve.loc[("T3", "all"), ["n", "drawn", "caution"]].tolist() == [
        *(19, False, "Too few attempts to draw: counts only.")
    ]
    assert curve.loc[("C1", "all"), "drawn"]
    fewer = Thresholds(clinician_attempts=19)
    assert "T3" in set(cusum_charts(ordered, cusum_limits(ordered), thresholds=fewer)["stratum"])


def test_what_is_said_of_chance_is_that_of_the_limit() -> None:
    ordered = attempts_in_order(attempts(*SERVICE))
    limits = cusum_limits(ordered).set_index("chart")
    signals = cusum_signals(cusum_charts(ordered, limits.reset_index()), limits.reset_index(), ordered)
    assert signals["n"].tolist() == [100, 100]
    # 100 attempts are those that the limit is chosen for.
    assert signals["chance_if_false"].tolist() == pytest.approx(
        [limits.at["monitoring", "chance_if_false"]] * 2
    )
    assert signals["chance_if_true"].tolist() == pytest.approx(
        [limits.at["monitoring", "chance_if_true"]] * 2
    )


def test_without_an_attempt_made_alone_nothing_is_expected() -> None:
    frame = attempts(("T3", "supervised", PAROUS, ORDER))
    ordered = attempts_in_order(frame)
    assert ordered["expected"].isna().all()
    row = learning_curve(frame, ordered).iloc[0]
    assert np.isnan(row[["expected", "observed_minus_expected", "ratio"]].astype(float)).all()
    limits = cusum_limits(ordered, rules=RULES)
    assert limits["chart"].tolist() == ["learning"]
    charts = cusum_charts(ordered, limits)
    assert charts["observed_minus_expected"].isna().all()
    assert charts["learning_cusum"].notna().all()
    assert cusum_signals(charts, limits, ordered)["chart"].tolist() == ["learning"]


def test_nothing_but_failures_never_reaches_the_learning_limit() -> None:
    ordered = attempts_in_order(attempts(*SERVICE, ("T3", "supervised", PAROUS, "f" * 40)))
    charts = cusum_charts(ordered, cusum_limits(ordered, rules=RULES))
    own = charts[charts["stratum"] == "T3"]
    assert own["learning_cusum"].eq(0).all()
    assert not own["learning_signal"].any()


def test_of_many_attempts_some_are_kept_with_every_signal_and_the_sums_of_all() -> None:
    letters = "p" * 450 + "f" * 5 + "p" * 46
    ordered = attempts_in_order(attempts(*SERVICE, independent("C3", letters)))
    charts = cusum_charts(ordered, cusum_limits(ordered, rules=RULES))
    kept = learning_curve_attempts(charts)
    assert kept.groupby("stratum").size().to_dict() == {"C1": 100, "C2": 100, "C3": 167 + 1}
    own = charts[charts["stratum"] == "C3"].set_index("attempt_number")
    thin = kept[kept["stratum"] == "C3"].set_index("attempt_number")
    assert thin.index[-1] == 501
    assert own.index[own["monitoring_signal"]].isin(thin.index).all()
    assert own["monitoring_signal"].any()
    same = own.loc[thin.index, ["observed_minus_expected", "monitoring_cusum"]]
    pd.testing.assert_frame_equal(thin[["observed_minus_expected", "monitoring_cusum"]], same)


def test_no_attempt_gives_no_rows() -> None:
    frame = attempts()
    ordered = attempts_in_order(frame)
    assert ordered.empty
    assert learning_curve(frame, ordered).empty
    limits = cusum_limits(ordered, rules=RULES)
    charts = cusum_charts(ordered, limits)
    assert charts.empty
    assert learning_curve_attempts(charts).empty
    assert cusum_signals(charts, limits, ordered).empty


def test_unknown_outcomes_alone_are_counted_and_draw_nothing() -> None:
    frame = attempts(*SERVICE, independent("C3", "?" * 30))
    row = learning_curve(frame).set_index(["stratum", "practice"]).loc[("C3", "all")]
    assert row[["n", "n_unknown", "drawn"]].tolist() == [0, 30, False]


def test_the_limit_is_set_for_the_mixture_of_women_and_not_for_their_average() -> None:
    mixed = attempts(independent("C1", spread(30, 60), NULLIPAROUS), independent("C2", spread(1, 240)))
    limits = cusum_limits(attempts_in_order(mixed)).set_index("chart")
    alike = attempts(independent("C1", spread(16, 150)), independent("C2", spread(15, 150)))
    plain = cusum_limits(attempts_in_order(alike)).set_index("chart")
    assert limits.at["monitoring", "acceptable"] == pytest.approx(plain.at["monitoring", "acceptable"])
    assert limits.at["monitoring", "limit"] != plain.at["monitoring", "limit"]
    assert limits.at["learning", "limit"] == plain.at["learning", "limit"]
