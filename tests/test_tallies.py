"""Tallies: rows and their counts say the same, and counts add up."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.measures.access import waiting_time
from audit.measures.complications import emergency_treatment, perforation
from audit.measures.continuation import continuation_curve, continuation_summary, continuation_tests
from audit.measures.effectiveness import pregnancy
from audit.measures.expulsion import expulsion_incidence
from audit.measures.follow_up import check_done, outcome_known
from audit.measures.insertion import devices_wasted, failed_insertions, failure_reasons
from audit.measures.pain import pain_scores
from audit.measures.person_time import person_time_rates
from audit.measures.process import process_of_care, safety_net
from audit.measures.reaction_timing import vasovagal_by_phase, vasovagal_by_technique
from audit.measures.removal import ending_incidence, removal_incidence
from audit.measures.vasovagal import vasovagal_by_parity
from audit.schema.derived import ENDINGS
from audit.tallies import (
    OVERALL,
    add_tallies,
    begun_visits,
    coded_spells,
    count_outcomes,
    count_states,
    counts,
    tally_outcomes,
    tally_spells,
    tally_values,
)

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
def drawn_care(draw: st.DrawFn) -> pd.DataFrame:
    """Attempts with some of what the measures of care, pain and waits read."""
    size = draw(st.integers(1, 30))

    def column(values: tuple[object, ...]) -> list[object]:
        return draw(st.lists(st.sampled_from(values), min_size=size, max_size=size))

    def flags(*names: str) -> dict[str, object]:
        return {name: pd.array(column((True, False, None)), dtype="boolean") for name in names}

    return pd.DataFrame(
        {
            "outcome": column(OUTCOMES),
            "visit_outcome": column((*OUTCOMES, None)),
            "episode_outcome": column(("placed", None)),
            "indication": column(("contraception", "emergency_contraception")),
            "cervical_parity": pd.Categorical(column(("yes", "no", "unknown")), ["yes", "no", "unknown"]),
            "misoprostol_used": column(("no", "yes_routine", None)),
            "antibiotic_prophylaxis": column(("no", "yes_routine", "unknown")),
            "onward_plan": column(("hospital", "none", None)),
            "bridging_method_given": column(("yes", "no", None)),
            "dilation": column(("none", "osmotic", None)),
            "local_anaesthetic": column(("none", "spray", "unknown")),
            "onset_phase": column(("tenaculum", "dilation", "after", None)),
            "vasovagal_grade": np.array(column((0, 1, 4, None)), dtype="float64"),
            "pain_score": np.array(column((0, 3, 7, None)), dtype="float64"),
            "days_waited": np.array(column((0, 9, 40, None)), dtype="float64"),
            "attempts_same_visit": np.array(column((1, 2, None)), dtype="float64"),
            "device_wasted_count": np.array(column((0, 1, 2, None)), dtype="float64"),
            **flags("vasovagal_any", "emergency_treatment", "bridging_oral_ec_given"),
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
CARE_MEASURES = {
    "process_of_care": lambda rows: process_of_care(rows, items=["no_routine_drugs"], by="cervical_parity"),
    "safety_net": lambda rows: safety_net(rows, by="visit_outcome"),
    "waiting_time": lambda rows: waiting_time(rows, by="cervical_parity"),
    "pain_scores": lambda rows: pain_scores(rows, by="local_anaesthetic"),
    "emergency_treatment": emergency_treatment,
    "devices_wasted": lambda rows: devices_wasted(rows, by="cervical_parity"),
    "vasovagal_by_phase": vasovagal_by_phase,
    "vasovagal_by_technique": vasovagal_by_technique,
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


@pytest.mark.parametrize("name", CARE_MEASURES)
@settings(max_examples=15)
@given(attempts=drawn_care())
def test_a_measure_of_care_reads_a_tally_as_it_reads_the_rows(name: str, attempts: pd.DataFrame) -> None:
    measure = CARE_MEASURES[name]
    # Counted patterns come in another order, and with it the strata that have no order of their own.
    rows, tally = (
        frame.sort_values(
            [
                name
                for name in ("by", "stratum", "item", "grade", "phase", "technique", "used")
                if name in frame
            ],
            ignore_index=True,
        )
        for frame in (measure(attempts), measure(counted(attempts)))
    )
    pd.testing.assert_frame_equal(tally, rows)


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


def test_values_are_counted_per_stratum_and_missing_ones_left_out() -> None:
    rows = pd.DataFrame(
        {"site": pd.Categorical(["b", "a", "b", "b"], ["a", "b"]), "days": [2.0, 5.0, 2.0, np.nan]}
    )
    assert tally_values(rows, value="days", by="site").to_numpy().tolist() == [["a", 5.0, 1], ["b", 2.0, 2]]
    assert tally_values(rows, value="days", by=OVERALL)["n"].tolist() == [2, 1]
    # What two services counted adds up to what they would have counted together.
    twice = add_tallies([tally_values(rows, value="days", by="site")] * 2)
    assert twice["n"].tolist() == [2, 4]
    assert tally_values(rows.head(0), value="days", by="site").empty


def test_states_of_several_items_are_counted_at_once() -> None:
    rows = pd.DataFrame({"site": ["a", "a", "b"], "n": [2, 1, 5]})
    states = {"first": np.array([0, 1, -1]), "second": np.array([1, 1, 0])}
    table = count_states(rows, states=states, codes=("yes", "no"), by="site")
    # Nobody of site b belongs to the first item.
    assert table.to_numpy().tolist() == [
        ["site", "a", "first", 2, 1],
        ["site", "a", "second", 0, 3],
        ["site", "b", "second", 5, 0],
    ]
    overall = count_states(rows.head(0), states={"first": np.array([], int)}, codes=("yes", "no"), by=OVERALL)
    assert overall.to_numpy().tolist() == [[OVERALL, OVERALL, "first", 0, 0]]


def test_visits_begun_are_the_first_attempts_of_a_day_that_were_not_deferred() -> None:
    rows = pd.DataFrame(
        {"visit_outcome": ["placed", "unknown", "deferred", None], "pain": [1, 2, 3, 4], "x": 0}
    )
    assert begun_visits(rows)["pain"].tolist() == [1, 2]
    assert list(begun_visits(rows, "pain", "overall").columns) == ["pain"]
