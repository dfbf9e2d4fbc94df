"""Failed insertions per clinician: targets, exact tails, case mix and the limits that are drawn."""

from fractions import Fraction
from math import comb

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.measures.clinicians import failed_insertions_by_clinician, funnel
from audit.settings import Thresholds
from audit.statistics.rates import rate_interval

Told = tuple[str | None, str, str, str, int]


def attempts(*told: Told) -> pd.DataFrame:
    """Attempts from (clinician, parity group, outcome, practice, how many)."""
    rows = [row[:4] for row in told for _ in range(row[4])]
    frame = pd.DataFrame(rows, columns=["clinician_ref", "parity_group", "outcome", "practice"], dtype=object)
    return frame.assign(attempt=range(len(frame)), clinician_ref=frame["clinician_ref"].astype("category"))


def simple(*told: tuple[str, int, int]) -> pd.DataFrame:
    """Attempts from (clinician, failed, attempts), all independent and of one parity."""
    rows: list[Told] = []
    for clinician, failed, n in told:
        rows.append((clinician, "nulliparous", "failed", "independent", failed))
        rows.append((clinician, "nulliparous", "placed", "independent", n - failed))
    return attempts(*rows)


def upper_tail(events: int, n: int, target: Fraction) -> float:
    """Chance of as many or more, as an exact fraction."""
    chances = (comb(n, k) * target**k * (1 - target) ** (n - k) for k in range(events, n + 1))
    return float(sum(chances))


# C1 failed 6 of 20, C2 4 of 80: 10 of 100 in the service.
TWO = simple(("C1", 6, 20), ("C2", 4, 80))


def test_the_exact_tail_at_the_proportion_of_the_service_decides() -> None:
    table = failed_insertions_by_clinician(TWO).set_index("stratum")
    assert table["target"].tolist() == pytest.approx([0.1, 0.1])
    assert table.at["C1", "tail_upper"] == pytest.approx(upper_tail(6, 20, Fraction(1, 10)))
    assert table.at["C1", "tail_lower"] == pytest.approx(1 - upper_tail(7, 20, Fraction(1, 10)))
    # 0.011 lies between a thousandth and a fortieth: ask.
    assert table.at["C1", "signal"] == "ask"
    assert table.at["C1", "direction"] == "more"
    assert (table.at["C2", "signal"], table.at["C2", "direction"]) == ("none", "")


def test_without_the_own_cases_the_target_is_that_of_the_others() -> None:
    table = failed_insertions_by_clinician(TWO, target="service_excluding_own").set_index("stratum")
    assert table["target"].tolist() == pytest.approx([4 / 80, 6 / 20])
    assert table.at["C1", "tail_upper"] == pytest.approx(upper_tail(6, 20, Fraction(4, 80)))
    # P(X >= 6 | 20, 1/20) is 0.0003: review.
    assert table.at["C1", "signal"] == "review"
    assert (table.at["C2", "signal"], table.at["C2", "direction"]) == ("review", "fewer")


def test_a_named_proportion_is_the_target_of_all() -> None:
    table = failed_insertions_by_clinician(TWO, target="0.3")
    assert table["target"].tolist() == [0.3, 0.3]
    assert table["target_kind"].tolist() == ["0.3", "0.3"]


def test_a_clinician_alone_is_compared_with_nobody_and_gives_no_signal() -> None:
    table = failed_insertions_by_clinician(simple(("C1", 6, 20)), target="service_excluding_own")
    assert table["target"].tolist() == pytest.approx([6 / 20])
    assert table["signal"].tolist() == ["none"]


@pytest.mark.parametrize(("n", "signal"), [(19, "too_few_to_classify"), (20, "review")])
def test_fewer_than_20_attempts_are_not_classified(n: int, signal: str) -> None:
    table = failed_insertions_by_clinician(simple(("C1", 15, n), ("C2", 0, 100)), target="0.1")
    assert table.set_index("stratum").at["C1", "signal"] == signal
    assert table.set_index("stratum").at["C1", "case_mix_signal"] == signal


def test_how_many_are_enough_and_which_tails_signal_are_settings() -> None:
    limits = Thresholds(clinician_attempts=21, ask_tail=0.2)
    table = failed_insertions_by_clinician(TWO, thresholds=limits).set_index("stratum")
    assert table.at["C1", "signal"] == "too_few_to_classify"
    # P(X <= 4 | 80, 1/10) is 0.088.
    assert (table.at["C2", "signal"], table.at["C2", "direction"]) == ("ask", "fewer")


def test_supervised_attempts_and_deferrals_are_kept_out() -> None:
    frame = attempts(
        ("C1", "nulliparous", "failed", "independent", 1),
        ("C1", "nulliparous", "placed", "independent", 3),
        ("C1", "nulliparous", "failed", "supervised", 9),
        ("C1", "nulliparous", "deferred", "independent", 5),
        ("C1", "nulliparous", "unknown", "independent", 2),
        ("T1", "nulliparous", "failed", "supervised", 9),
    )
    table = failed_insertions_by_clinician(frame)
    assert table[["stratum", "events", "n", "n_unknown"]].to_numpy().tolist() == [["C1", 1, 4, 2]]


def test_attempts_without_a_code_are_a_row_of_their_own_and_never_classified() -> None:
    frame = attempts(
        ("C1", "nulliparous", "placed", "independent", 50),
        (None, "nulliparous", "failed", "independent", 50),
    )
    table = failed_insertions_by_clinician(frame)
    assert table["stratum"].tolist() == ["C1", "not recorded"]
    assert table.at[1, "signal"] == "too_few_to_classify"
    assert (table.at[1, "n"], table.at[1, "events"]) == (50, 50)


# In the service 6 of 20 nulliparous and 2 of 80 parous attempts failed.
MIXED = attempts(
    ("C1", "nulliparous", "failed", "independent", 5),
    ("C1", "nulliparous", "placed", "independent", 5),
    ("C1", "any_vaginal_birth", "placed", "independent", 10),
    ("C1", "any_vaginal_birth", "unknown", "independent", 3),
    ("C2", "nulliparous", "failed", "independent", 1),
    ("C2", "nulliparous", "placed", "independent", 9),
    ("C2", "any_vaginal_birth", "failed", "independent", 2),
    ("C2", "any_vaginal_birth", "placed", "independent", 68),
)


def test_expected_failures_are_the_service_s_own_in_the_women_each_clinician_saw() -> None:
    table = failed_insertions_by_clinician(MIXED).set_index("stratum")
    expected = {"C1": 10 * 6 / 20 + 10 * 2 / 80, "C2": 10 * 6 / 20 + 70 * 2 / 80}
    assert table["expected"].to_dict() == pytest.approx(expected)
    assert table["ratio"].tolist() == pytest.approx([5 / 3.25, 3 / 4.75])
    lower, upper = rate_interval(5, 3.25)
    assert table.loc["C1", ["ratio_lower", "ratio_upper"]].tolist() == pytest.approx([lower, upper])
    # All expected failures are all failures.
    assert table["expected"].sum() == pytest.approx(table["events"].sum())


def test_the_tail_given_case_mix_is_that_of_a_sum_of_two_binomials() -> None:
    table = failed_insertions_by_clinician(MIXED).set_index("stratum")

    def chance(k: int, n: int, p: Fraction) -> Fraction:
        return comb(n, k) * p**k * (1 - p) ** (n - k)

    tail = sum(
        chance(a, 10, Fraction(6, 20)) * chance(b, 10, Fraction(2, 80))
        for a in range(11)
        for b in range(11)
        if a + b >= 5
    )
    assert table.at["C1", "case_mix_tail_upper"] == pytest.approx(float(tail))


def test_no_attempt_gives_no_rows() -> None:
    assert failed_insertions_by_clinician(attempts()).empty
    assert funnel(failed_insertions_by_clinician(attempts())).empty


def test_unknown_outcomes_alone_classify_nobody() -> None:
    frame = attempts(("C1", "nulliparous", "unknown", "independent", 30))
    table = failed_insertions_by_clinician(frame)
    assert table[["n", "n_unknown", "signal"]].to_numpy().tolist() == [[0, 30, "too_few_to_classify"]]


def test_where_every_clinician_has_a_target_of_the_own_no_limits_can_be_drawn() -> None:
    table = failed_insertions_by_clinician(TWO, target="service_excluding_own")
    assert funnel(table).empty


records = st.lists(
    st.integers(20, 120).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), min_size=1, max_size=6
)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(told=records, target=st.sampled_from(["service", "0.05", "0.2"]))
def test_a_mark_lies_at_or_beyond_a_drawn_limit_exactly_where_there_is_a_signal(
    told: list[tuple[int, int]], target: str
) -> None:
    table = failed_insertions_by_clinician(
        simple(*((f"C{i}", failed, n) for i, (failed, n) in enumerate(told))), target=target
    )
    drawn = funnel(table).set_index("n")
    for _, row in table.iterrows():
        limits = drawn.loc[row["n"]]

        def beyond(name: str, mark: float = row["proportion"], lines: pd.Series = limits) -> bool:
            # A limit is a count over n, so equal counts give equal proportions.
            return bool(mark >= lines[f"{name}_upper"] or mark <= lines[f"{name}_lower"])

        expected = "review" if beyond("review") else "ask" if beyond("ask") else "none"
        assert row["signal"] == expected


def test_limits_are_drawn_for_every_number_of_attempts_up_to_the_most() -> None:
    drawn = funnel(failed_insertions_by_clinician(TWO))
    assert drawn["n"].tolist() == list(range(1, 81))
    assert np.unique(drawn["target"]).tolist() == [0.1]
