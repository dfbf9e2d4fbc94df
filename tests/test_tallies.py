"""Tallies: rows and their counts say the same, and counts add up."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.measures.complications import perforation
from audit.measures.continuation import continuation_curve, continuation_summary, continuation_tests
from audit.measures.effectiveness import pregnancy
from audit.measures.expulsion import expulsion_incidence
from audit.measures.follow_up import check_done, outcome_known
from audit.measures.insertion import failed_insertions, failure_reasons
from audit.measures.person_time import person_time_rates
from audit.measures.removal import ending_incidence, removal_incidence
from audit.measures.vasovagal import vasovagal_by_parity
from audit.schema.derived import ENDINGS
from audit.tallies import add_tallies, coded_spells, count_outcomes, counts, tally_outcomes, tally_spells

SITES = ("north", "south", None)
OUTCOMES = ("placed", "failed", "unknown", "deferred")


@st.composite
def drawn_attempts(draw: st.DrawFn) -> pd.DataFrame:
    """Attempts with what the measures of attempts read, each column with gaps."""
    size = draw(st.integers(1, 30))

    def column(values: tuple[object, ...]) -> list[object]:
        return draw(st.lists(st.sampled_from(values), min_size=size, max_size=size))

    flags = {
        name: pd.array(column((True, False, None)), dtype="boolean")
        for name in ("vasovagal_any", "vasovagal_grade_2_plus", "syncope")
    }
    return pd.DataFrame(
        {
            "site_ref": pd.Categorical(column(SITES), categories=["north", "south"]),
            "outcome": pd.Categorical(column(OUTCOMES), categories=OUTCOMES),
            "visit_outcome": pd.Categorical(column((*OUTCOMES, None)), categories=OUTCOMES),
            "failure_reason": pd.Categorical(column(("pain", "other", None)), categories=["other", "pain"]),
            "perforation": column(("none", "suspected", "partial", "unknown")),
            **flags,
        }
    )


@st.composite
def drawn_placements(draw: st.DrawFn) -> pd.DataFrame:
    """Placements with what the measures of placements read."""
    size = draw(st.integers(1, 30))

    def column(values: tuple[object, ...]) -> list[object]:
        return draw(st.lists(st.sampled_from(values), min_size=size, max_size=size))

    days = np.array(column((0, 10, 30, 30, 90, 400)), dtype="float64")
    ending = np.array(column(ENDINGS), dtype=object)
    return pd.DataFrame(
        {
            "device_class": pd.Categorical(column(("lng_52", "copper_t_380", None))),
            "placement_kind": column(("first", "first", "repeat")),
            "indication": column(("contraception", "unknown", "other")),
            "ending": pd.Categorical(ending, categories=ENDINGS),
            "removal_group": np.where(ending == "removal", "infection", None),
            "pregnancy": np.where(ending == "pregnancy", "ectopic", "none"),
            "exit_day_last_known": days,
            "exit_day_assumed_in_place": np.where(ending == "none", days + 20, days),
            "check_done": pd.array(column((True, False, None)), dtype="boolean"),
            "outcome_known": pd.array(column((True, False, None)), dtype="boolean"),
        }
    )


def counted(rows: pd.DataFrame) -> pd.DataFrame:
    """The rows, each pattern once with its number."""
    return (
        rows.groupby(list(rows.columns), dropna=False, observed=True, sort=False).size().reset_index(name="n")
    )


ATTEMPT_MEASURES = {
    "failed_insertions": lambda rows: failed_insertions(rows, by="site_ref"),
    "failed_insertions_per_attempt": lambda rows: failed_insertions(rows, unit="operator_attempt"),
    "failure_reasons": failure_reasons,
    "vasovagal_by_parity": lambda rows: vasovagal_by_parity(rows, by="site_ref"),
    "perforation": lambda rows: perforation(rows, by="site_ref"),
}
PLACEMENT_MEASURES = {
    "expulsion_incidence": lambda rows: expulsion_incidence(rows, by="device_class"),
    "removal_incidence": removal_incidence,
    "ending_incidence": ending_incidence,
    "continuation_curve": lambda rows: continuation_curve(rows, by="device_class", placement_kind="all"),
    "continuation_summary": continuation_summary,
    "continuation_tests": continuation_tests,
    "person_time_rates": person_time_rates,
    "pregnancy": pregnancy,
    "check_done": lambda rows: check_done(rows, by="device_class"),
    "outcome_known": outcome_known,
}


@pytest.mark.parametrize("name", ATTEMPT_MEASURES)
@settings(max_examples=20)
@given(attempts=drawn_attempts())
def test_a_measure_of_attempts_reads_a_tally_as_it_reads_the_rows(name: str, attempts: pd.DataFrame) -> None:
    measure = ATTEMPT_MEASURES[name]
    pd.testing.assert_frame_equal(measure(counted(attempts)), measure(attempts))


@pytest.mark.parametrize("name", PLACEMENT_MEASURES)
@settings(max_examples=20)
@given(placements=drawn_placements())
def test_a_measure_of_placements_reads_a_tally_as_it_reads_the_rows(
    name: str, placements: pd.DataFrame
) -> None:
    measure = PLACEMENT_MEASURES[name]
    pd.testing.assert_frame_equal(measure(counted(placements)), measure(placements))


@given(attempts=drawn_attempts(), cut=st.integers(0, 30))
def test_the_tallies_of_two_halves_add_up_to_the_tally_of_the_whole(attempts: pd.DataFrame, cut: int) -> None:
    halves = [
        tally_outcomes(part, outcome="outcome", by="site_ref")
        for part in (attempts.iloc[:cut], attempts.iloc[cut:])
    ]
    whole = tally_outcomes(attempts, outcome="outcome", by="site_ref")
    columns = ["stratum", "outcome"]
    pd.testing.assert_frame_equal(
        add_tallies(halves).sort_values(columns, ignore_index=True),
        whole.sort_values(columns, ignore_index=True),
    )


@given(placements=drawn_placements(), cut=st.integers(0, 30))
def test_the_spells_of_two_halves_add_up_to_those_of_the_whole(placements: pd.DataFrame, cut: int) -> None:
    halves = [
        tally_spells(part, by="device_class", censoring="last_known")
        for part in (placements.iloc[:cut], placements.iloc[cut:])
    ]
    whole = tally_spells(placements, by="device_class", censoring="last_known")
    columns = [name for name in whole.columns if name != "n"]
    pd.testing.assert_frame_equal(
        add_tallies(halves).sort_values(columns, ignore_index=True),
        whole.sort_values(columns, ignore_index=True),
    )


def test_a_frame_without_n_counts_each_row_once_and_one_with_n_as_it_says() -> None:
    assert counts(pd.DataFrame({"outcome": ["placed", "failed"]})).tolist() == [1, 1]
    assert counts(pd.DataFrame({"outcome": ["placed"], "n": [7]})).tolist() == [7]


def test_a_stratum_that_is_not_recorded_is_a_row_of_its_own_and_comes_last() -> None:
    rows = pd.DataFrame(
        {
            "site_ref": pd.Categorical([None, "south", "north", None]),
            "outcome": ["placed", "placed", "failed", None],
        }
    )
    table = count_outcomes(
        tally_outcomes(rows, outcome="outcome", by="site_ref"),
        events=("failed",),
        others=("placed",),
        by="site_ref",
    )
    assert table.to_numpy().tolist() == [
        ["site_ref", "north", 1, 1, 0],
        ["site_ref", "south", 0, 1, 0],
        ["site_ref", "not recorded", 0, 1, 1],
    ]


def test_a_missing_outcome_is_unknown_and_joins_the_code_of_that_name() -> None:
    rows = pd.DataFrame({"outcome": pd.Categorical(["unknown", None, "placed"])})
    tally = tally_outcomes(rows, outcome="outcome", by="overall")
    assert tally.to_numpy().tolist() == [["overall", "placed", 1], ["overall", "unknown", 2]]


def test_outcomes_named_apart_are_neither_known_nor_unknown() -> None:
    tally = pd.DataFrame({"stratum": "overall", "outcome": list("abcd"), "n": [1, 2, 4, 8]})
    table = count_outcomes(tally, events=("a",), others=("b",), apart=("c",), by="overall")
    assert table.to_dict("records") == [
        {"by": "overall", "stratum": "overall", "events": 1, "n": 3, "n_unknown": 8, "n_c": 4}
    ]


def test_nothing_to_count_gives_one_row_of_zeros_overall_and_none_by_group() -> None:
    rows = pd.DataFrame({"site_ref": pd.Categorical([]), "outcome": []})
    for by, expected in (("overall", [["overall", "overall", 0, 0, 0]]), ("site_ref", [])):
        tally = tally_outcomes(rows, outcome="outcome", by=by)
        table = count_outcomes(tally, events=("failed",), others=("placed",), by=by)
        assert table.to_numpy().tolist() == expected


def test_a_spell_that_enters_late_is_not_at_risk_on_its_entry_day_and_one_from_the_start_is() -> None:
    rows = pd.DataFrame(
        {
            "ending": ["removal", "removal", "removal"],
            "entry_day": [0.0, 10.0, 10.0],
            "exit_day_last_known": [0.0, 10.0, 11.0],
        }
    )
    tally = tally_spells(rows, by="overall", censoring="last_known")
    assert tally[["entry_day", "exit_day", "n"]].to_numpy().tolist() == [[0, 0, 1], [10, 11, 1]]


def test_an_ending_without_a_code_censors() -> None:
    rows = pd.DataFrame(
        {
            "ending": ["removal", "death", "none"],
            "placement_kind": "first",
            "exit_day_last_known": [5.0, 6.0, 7.0],
        }
    )
    spells = coded_spells(rows, by="overall", censoring="last_known", codes={"removal": 3})
    assert spells[["exit", "cause", "event"]].to_numpy().tolist() == [[5, 3, 1], [6, 0, 0], [7, 0, 0]]


def test_placements_of_another_kind_are_left_out_unless_all_are_asked_for() -> None:
    rows = pd.DataFrame(
        {
            "ending": "none",
            "placement_kind": ["first", "replacement", "repeat"],
            "exit_day_last_known": [1.0, 2.0, 3.0],
        }
    )
    for kind, exits in (("first", [1]), ("replacement", [2]), ("repeat", [3]), ("all", [1, 2, 3])):
        spells = coded_spells(rows, by="overall", censoring="last_known", codes={}, placement_kind=kind)
        assert spells["exit"].tolist() == exits
