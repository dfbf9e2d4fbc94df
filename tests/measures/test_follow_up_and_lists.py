"""Checks, outcomes known, the gate, the list of what needs action, and the quality of the data."""

from collections.abc import Callable

import pandas as pd
import pytest

from audit.measures.action_list import ACTIONS, action_list
from audit.measures.data_quality import (
    field_completeness,
    finding_counts,
    indicator_availability,
    row_accounting,
)
from audit.measures.follow_up import check_done, first_year_endings, follow_up_gate, outcome_known
from audit.records import Cohort, VisitLog
from audit.schema.indicators import INDICATORS

Derive = Callable[..., Cohort]
Load = Callable[..., VisitLog]

JULY = pd.Timestamp("2025-07-01")


def flags(*values: bool | None, **columns: list[object]) -> pd.DataFrame:
    """Placements with these values of both yes/no columns."""
    column = pd.array(values, dtype="boolean")
    return pd.DataFrame({"check_done": column, "outcome_known": column, **columns})


@pytest.mark.parametrize("measure", [check_done, outcome_known])
def test_the_denominator_is_what_was_due(measure: Callable[..., pd.DataFrame]) -> None:
    row = measure(flags(True, True, False, None), placement_kind="all").iloc[0]
    assert row[["events", "n", "n_not_due", "n_unknown"]].tolist() == [2, 3, 1, 0]
    assert row["proportion"] == pytest.approx(2 / 3)


def test_a_check_is_due_for_every_device_and_the_outcome_for_first_placements() -> None:
    frame = flags(True, False, placement_kind=["first", "replacement"])
    assert check_done(frame)[["events", "n"]].to_numpy().tolist() == [[1, 2]]
    assert outcome_known(frame)[["events", "n"]].to_numpy().tolist() == [[1, 1]]


def test_sites_are_counted_apart_with_the_unnamed_one_last() -> None:
    frame = flags(True, False, True, site_ref=pd.Categorical(["S2", None, "S1"]))
    assert check_done(frame, by="site_ref", placement_kind="all")[
        ["stratum", "events"]
    ].to_numpy().tolist() == [
        ["S1", 1],
        ["S2", 1],
        ["not recorded", 0],
    ]


@pytest.mark.parametrize(
    ("known", "n", "gate"),
    [
        (80, 100, "last_known_leads"),
        (79, 100, "both_as_equals"),
        (60, 100, "both_as_equals"),
        (59, 100, "bounds_only"),
        (0, 0, "not_yet_due"),
    ],
)
def test_the_gate_opens_at_four_fifths_and_closes_below_three_fifths(known: int, n: int, gate: str) -> None:
    frame = flags(*([True] * known + [False] * (n - known)))
    assert follow_up_gate(outcome_known(frame, placement_kind="all")) == gate


def test_the_levels_of_the_gate_are_settings() -> None:
    table = outcome_known(flags(True, False), placement_kind="all")
    assert follow_up_gate(table, leads=0.5, floor=0.4) == "last_known_leads"
    assert follow_up_gate(table, leads=0.9, floor=0.5) == "both_as_equals"


def needs(cohort: Cohort) -> list[tuple[str, str]]:
    """What needs action, by need and visit."""
    found = action_list(cohort.attempts, cohort.placements, cohort.follow_ups, since=JULY)
    return [tuple(row) for row in found[["need", "visit_ref"]].to_numpy()]


def test_a_suspected_perforation_stays_on_the_list_until_it_is_resolved(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | perforation_suspected | perforation_confirmed
        Open        | V1        | 2024-01-01 | insertion  | failed            | sound                 |
        Cleared     | V2        | 2024-01-01 | insertion  | failed            | sound                 |
        Cleared     | V3        | 2024-01-31 | follow_up  |                   |                       | no
        Confirmed   | V4        | 2024-01-01 | insertion  | placed            | sound                 |
        Confirmed   | V5        | 2024-01-31 | follow_up  |                   |                       | partial_embedded
        """)  # noqa: E501 - a drawn log
    assert needs(cohort) == [("perforation_unresolved", "V1")]


def test_a_device_not_in_the_uterus_stays_until_it_is_explained(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | event_date_reported
        Open        | V1        | 2025-01-01 | insertion  | placed            |                    |
        Open        | V2        | 2025-02-01 | follow_up  |                   | not_in_uterus      |
        Explained   | V3        | 2025-01-01 | insertion  | placed            |                    |
        Explained   | V4        | 2025-02-01 | follow_up  |                   | not_in_uterus      |
        Explained   | V5        | 2025-02-10 | follow_up  |                   | complete_expulsion | 2025-01-20
        Located     | V6        | 2025-01-01 | insertion  | placed            |                    |
        Located     | V7        | 2025-02-01 | follow_up  |                   | not_in_uterus      |
        Located     | V8        | 2025-02-10 | follow_up  |                   | complete_expulsion |
        """)  # noqa: E501 - a drawn log
    assert needs(cohort) == [("device_not_in_uterus", "V2")]


def test_a_pregnancy_of_the_period_with_a_device_needs_action_unless_the_device_is_gone(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | device_in_situ     | pregnancy
        InPlace     | V1        | 2025-01-01 | insertion  | placed            |                    |
        InPlace     | V2        | 2025-07-01 | follow_up  |                   | in_situ_confirmed  | ectopic
        Unseen      | V3        | 2025-01-01 | insertion  | placed            |                    |
        Unseen      | V4        | 2025-07-02 | follow_up  |                   |                    | location_unknown
        Gone        | V5        | 2025-01-01 | insertion  | placed            |                    |
        Gone        | V6        | 2025-07-03 | follow_up  |                   | complete_expulsion | intrauterine
        Removed     | V7        | 2025-01-01 | insertion  | placed            |                    |
        Removed     | V8        | 2025-07-04 | removal    |                   |                    | intrauterine
        Earlier     | V9        | 2025-01-01 | insertion  | placed            |                    |
        Earlier     | V10       | 2025-06-30 | follow_up  |                   | in_situ_confirmed  | intrauterine
        """)  # noqa: E501 - a drawn log
    assert needs(cohort) == [("pregnancy_with_device", "V2"), ("pregnancy_with_device", "V4")]


def test_a_pregnancy_is_settled_once_a_later_contact_notes_the_device_gone(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | pregnancy
        Settled     | V1        | 2025-01-01 | insertion  | placed            |                   |
        Settled     | V2        | 2025-07-02 | follow_up  |                   | in_situ_confirmed | intrauterine
        Settled     | V3        | 2025-07-09 | removal    |                   |                   |
        Open        | V4        | 2025-01-01 | insertion  | placed            |                   |
        Open        | V5        | 2025-07-02 | follow_up  |                   | in_situ_confirmed | intrauterine
        Open        | V6        | 2025-07-09 | follow_up  |                   | in_situ_confirmed |
        """)
    assert needs(cohort) == [("pregnancy_with_device", "V5")]


def test_oral_emergency_contraception_is_another_method(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | indication              | bridging_oral_ec_given
        Given       | V1        | 2025-07-01 | insertion  | failed            | emergency_contraception | yes
        NotGiven    | V2        | 2025-07-01 | insertion  | failed            | emergency_contraception | no
        NotSaid     | V3        | 2025-07-01 | insertion  | failed            | emergency_contraception |
        """)  # noqa: E501 - a drawn log
    assert needs(cohort) == [("emergency_not_placed", "V2"), ("emergency_not_placed", "V3")]


def test_threads_not_seen_need_a_scan_or_a_later_sight_of_them(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | device_in_situ    | threads_seen | position_verified_by
        Open        | V1        | 2025-01-01 | insertion  | placed            |                   |              |
        Open        | V2        | 2025-02-01 | follow_up  |                   | in_situ_reported  | no           | none
        Scanned     | V3        | 2025-01-01 | insertion  | placed            |                   |              |
        Scanned     | V4        | 2025-02-01 | follow_up  |                   | in_situ_confirmed | no           | ultrasound_2d
        SeenLater   | V5        | 2025-01-01 | insertion  | placed            |                   |              |
        SeenLater   | V6        | 2025-02-01 | follow_up  |                   |                   | no           |
        SeenLater   | V7        | 2025-03-01 | follow_up  |                   | in_situ_confirmed | yes          |
        LostLater   | V8        | 2025-01-01 | insertion  | placed            |                   |              |
        LostLater   | V9        | 2025-02-01 | follow_up  |                   | in_situ_confirmed | yes          |
        LostLater   | V10       | 2025-03-01 | follow_up  |                   |                   | no           |
        Removed     | V11       | 2025-01-01 | insertion  | placed            |                   |              |
        Removed     | V12       | 2025-02-01 | follow_up  |                   |                   | no           |
        Removed     | V13       | 2025-03-01 | removal    |                   |                   |              |
        """)  # noqa: E501 - a drawn log
    assert needs(cohort) == [("threads_not_seen", "V2"), ("threads_not_seen", "V10")]


def test_an_emergency_without_a_device_and_without_another_method_needs_a_call(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome    | indication              | bridging_method_given
        Open        | V1        | 2025-07-01 | insertion  | failed               | emergency_contraception | no
        Unsaid      | V2        | 2025-07-02 | insertion  | deferred_not_started | emergency_contraception |
        Bridged     | V3        | 2025-07-03 | insertion  | failed               | emergency_contraception | yes
        PlacedLater | V4        | 2025-07-04 | insertion  | failed               | emergency_contraception | no
        PlacedLater | V5        | 2025-07-05 | insertion  | placed               | emergency_contraception |
        PlacedOnce  | V8        | 2024-01-01 | insertion  | placed               | contraception           |
        PlacedOnce  | V9        | 2025-01-01 | removal    |                      |                         |
        PlacedOnce  | V10       | 2025-07-06 | insertion  | failed               | emergency_contraception | no
        Routine     | V6        | 2025-07-06 | insertion  | failed               | contraception           | no
        Earlier     | V7        | 2025-06-30 | insertion  | failed               | emergency_contraception | no
        """)  # noqa: E501 - a drawn log
    assert needs(cohort) == [("emergency_not_placed", visit) for visit in ("V1", "V2", "V10")]


def test_only_grade_4_of_the_period_is_a_severe_reaction(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | vasovagal_grade
        W1          | V1        | 2025-07-01 | insertion  | placed            | 4
        W2          | V2        | 2025-07-01 | insertion  | placed            | 3
        W3          | V3        | 2025-06-30 | insertion  | placed            | 4
        """)
    assert needs(cohort) == [("severe_reaction", "V1")]


def test_an_overdue_device_is_on_the_list_by_its_placement(cohort_of: Derive) -> None:
    cohort = cohort_of(
        """
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | device_licensed_years
        Over        | V1        | 2019-01-01 | insertion  | placed            | 5
        Within      | V2        | 2021-01-01 | insertion  | placed            | 5
        """,
        data_to="2025-07-31",
    )
    assert needs(cohort) == [("device_overdue", "V1")]


def test_the_list_comes_most_urgent_first_then_by_date_with_what_to_do(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_ref | visit_date | visit_kind | insertion_outcome | vasovagal_grade | perforation_suspected
        W1          | V1        | 2025-07-01 | insertion  | placed            | 4               |
        W2          | V2        | 2025-07-03 | insertion  | placed            | 0               | sound
        W3          | V3        | 2025-07-02 | insertion  | placed            | 0               | device
        """)  # noqa: E501 - a drawn log
    assert [visit for _, visit in needs(cohort)] == ["V3", "V2", "V1"]
    found = action_list(cohort.attempts, cohort.placements, cohort.follow_ups, since=JULY)
    assert found["action"].tolist() == [ACTIONS[need] for need in found["need"]]
    assert list(found.columns) == ["need", "site_ref", "visit_ref", "date", "action"]


def test_nothing_open_gives_an_empty_list(cohort_of: Derive) -> None:
    assert needs(cohort_of("patient_ref | visit_date | visit_kind | insertion_outcome")) == []


def test_rows_in_are_rows_used_and_rows_set_aside_over_all_files() -> None:
    accounting = pd.DataFrame(
        [
            (1, "in", "", 5),
            (1, "used", "", 4),
            (1, "set_aside", "not_a_date", 1),
            (2, "in", "", 3),
            (2, "used", "", 3),
        ],
        columns=["source", "disposition", "reason", "n"],
    )
    assert row_accounting(accounting).to_numpy().tolist() == [
        ["in", "", 8],
        ["used", "", 7],
        ["set_aside", "not_a_date", 1],
    ]


def test_a_field_counts_as_filled_in_over_the_rows_to_which_it_applies(log_of: Load) -> None:
    visits = log_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | failure_reason | device_class | device_in_situ | site_ref
        W1          | 2025-01-01 | insertion  | failed            | pain           | lng_52       |                | S1
        W2          | 2025-01-01 | insertion  | failed            |                | unknown      |                | S2
        W3          | 2025-01-01 | insertion  | placed            |                | lng_52       |                |
        W3          | 2025-02-01 | follow_up  |                   |                |              | unknown        | S1
        """).visits  # noqa: E501 - a drawn log
    table = field_completeness(visits).set_index("column")[["events", "n"]]
    # A reason belongs to the two failures, a device class to three insertions, unknown is not filled in.
    assert table.loc["failure_reason"].tolist() == [1, 2]
    assert table.loc["device_class"].tolist() == [2, 3]
    assert table.loc["device_in_situ"].tolist() == [0, 1]
    assert table.loc["site_ref"].tolist() == [3, 4]
    assert "age_years" not in table.index
    by_site = field_completeness(visits, by="site_ref")
    device = by_site[by_site["column"] == "device_class"][["stratum", "events", "n"]].to_numpy().tolist()
    assert device == [["S1", 1, 1], ["S2", 0, 1], ["not recorded", 1, 1]]


def test_findings_are_counted_most_frequent_first() -> None:
    findings = pd.DataFrame(
        [("b", "notice"), ("a", "warning"), ("b", "notice"), ("c", "notice")], columns=["rule", "severity"]
    ).assign(source=1, row=[2, 3, 4, 5], column="visit_kind", message="Look.")
    assert finding_counts(findings)[["rule", "n"]].to_numpy().tolist() == [["b", 2], ["a", 1], ["c", 1]]
    assert finding_counts(findings.head(0)).empty


def test_a_log_without_a_column_switches_off_the_figures_that_need_it() -> None:
    table = indicator_availability(["insertion_outcome", "clinician_ref"]).set_index("indicator")
    on = ("failed_insertions", "failed_insertions_by_clinician", "learning_curve", "clinician_volume")
    on += ("clinician_figures",)
    assert table["available"].to_dict() == {
        (indicator.item or indicator.table): indicator.table in on for indicator in INDICATORS
    }
    assert table.at["vasovagal_by_parity", "reason"] == (
        "This log does not record vasovagal_grade or vasovagal_reaction or syncope."
    )
    assert table.at["failure_reasons", "reason"] == "This log does not record failure_reason."
    assert table.at["failed_insertions", "reason"] == ""


def test_any_one_of_the_columns_that_can_serve_is_enough() -> None:
    table = indicator_availability(["syncope"]).set_index("indicator")
    assert table.at["vasovagal_by_parity", "available"]


def test_the_first_year_has_bounds_that_the_unknown_outcomes_leave() -> None:
    placements = pd.DataFrame(
        {
            "placement_kind": "first",
            "outcome_known": pd.array([True, True, True, True, False, False, None], dtype="boolean"),
            "ending": ["expulsion_partial", "removal", "removal", "none", "none", "unrecorded", "removal"],
            "ending_day": [30.0, 365.0, 366.0, None, None, 200.0, 10.0],
        }
    )
    table = first_year_endings(placements).set_index("cause")
    # Six are old enough, four known: one expelled, one removed by day 365 (the other a day later).
    assert table.loc["expulsion", ["events", "n", "n_unknown"]].tolist() == [1, 4, 2]
    assert table.loc["removal", ["events", "n", "n_unknown"]].tolist() == [1, 4, 2]
    assert table.loc["any", ["events", "n", "n_unknown"]].tolist() == [2, 4, 2]
    assert table.loc["any", ["bound_lower", "bound_upper"]].tolist() == pytest.approx([2 / 6, 4 / 6])
