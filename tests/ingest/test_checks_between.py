"""Fields and visits that contradict each other, each rule on a log drawn as text."""

from collections.abc import Callable

import pytest

from audit.ingest.checks_between import SENTENCES, check_between
from audit.records import VisitLog

LogOf = Callable[..., VisitLog]

CASES = {
    "age_jumps": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | age_years
        W1          | 2024-07-01 | insertion  | failed            | 30
        W1          | 2025-06-30 | insertion  | failed            | 31
        W1          | 2025-07-05 | insertion  | failed            | 34
        W2          | 2024-07-01 | insertion  | failed            | 30
        W2          | 2024-07-09 | insertion  | failed            | 31
        """,
        [4],
    ),
    "births_fall": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | vaginal_births
        W1          | 2024-07-01 | insertion  | failed            | 2
        W1          | 2025-07-01 | insertion  | failed            | 1
        W2          | 2025-07-01 | insertion  | failed            | 0
        """,
        [3],
    ),
    # C1 was at two sites on one of eleven days, C2 on the only one.
    "clinician_at_two_sites": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | site_ref
        W1          | 2024-07-01 | insertion  | placed            | C1            | NORTH
        W2          | 2024-07-01 | insertion  | placed            | C1            | SOUTH
        W3          | 2024-07-01 | insertion  | placed            | C2            | NORTH
        W4          | 2024-07-01 | insertion  | placed            | C2            | SOUTH
        D1          | 2024-08-01 | insertion  | placed            | C1            | NORTH
        D2          | 2024-08-02 | insertion  | placed            | C1            | NORTH
        D3          | 2024-08-03 | insertion  | placed            | C1            | NORTH
        D4          | 2024-08-04 | insertion  | placed            | C1            | NORTH
        D5          | 2024-08-05 | insertion  | placed            | C1            | NORTH
        D6          | 2024-08-06 | insertion  | placed            | C1            | NORTH
        D7          | 2024-08-07 | insertion  | placed            | C1            | NORTH
        D8          | 2024-08-08 | insertion  | placed            | C1            | NORTH
        D9          | 2024-08-09 | insertion  | placed            | C1            | NORTH
        D10         | 2024-08-10 | insertion  | placed            | C1            | NORTH
        """,
        [3],
    ),
    "expulsion_noted_at_removal": (
        """
        patient_ref | visit_date | visit_kind | device_in_situ
        W1          | 2024-07-01 | removal    | partial_expulsion
        W2          | 2024-07-01 | removal    | removed_here
        W3          | 2024-07-01 | follow_up  | partial_expulsion
        """,
        [2],
    ),
    "event_dated_at_visit": (
        """
        patient_ref | visit_date | visit_kind | device_in_situ     | event_date_reported
        W1          | 2024-07-01 | follow_up  | complete_expulsion |
        W2          | 2024-07-01 | follow_up  | complete_expulsion | 2024-06-01
        W3          | 2024-07-01 | removal    | complete_expulsion |
        W4          | 2024-07-01 | follow_up  | removed_elsewhere  |
        """,
        [2, 5],
    ),
    "hours_against_basis": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | ec_hours_since_upsi | ec_basis
        W1          | 2024-07-01 | insertion  | placed            | 130                 | within_120h_of_intercourse
        W2          | 2024-07-01 | insertion  | placed            | 120                 | within_120h_of_intercourse
        W3          | 2024-07-01 | insertion  | placed            | 100                 | outside_window
        W4          | 2024-07-01 | insertion  | placed            | 130                 | within_5d_of_ovulation
        """,
        [2, 4],
    ),
    "reaction_against_grade": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | vasovagal_grade | vasovagal_reaction | syncope
        W1          | 2024-07-01 | insertion  | placed            | 0               | yes                |
        W2          | 2024-07-01 | insertion  | placed            | 3               | yes                | no
        W3          | 2024-07-01 | insertion  | placed            | 4               | yes                | no
        W4          | 2024-07-01 | insertion  | placed            | 2               | yes                | yes
        W5          | 2024-07-01 | insertion  | placed            | 1               |                    |
        W6          | 2024-07-01 | insertion  | placed            |                 | yes                | yes
        W7          | 2024-07-01 | insertion  | placed            | 1               | no                 |
        """,
        [2, 3, 5, 8],
    ),
    "training_without_supervision": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | supervised | training_status
        W1          | 2024-07-01 | insertion  | placed            | no         | in_training
        W2          | 2024-07-01 | insertion  | placed            | yes        | in_training
        W3          | 2024-07-01 | insertion  | placed            |            | in_training
        W4          | 2024-07-01 | insertion  | placed            | no         | certified
        """,
        [2],
    ),
    "placed_without_class": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | device_class
        W1          | 2024-07-01 | insertion  | placed            |
        W2          | 2024-07-01 | insertion  | placed            | unknown
        W3          | 2024-07-01 | insertion  | failed            |
        W4          | 2024-07-01 | insertion  | placed            | lng_52
        """,
        [2, 3],
    ),
    "request_after_visit": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | referral_date
        W1          | 2024-07-01 | insertion  | placed            | 2024-07-02
        W2          | 2024-07-01 | insertion  | placed            | 2024-07-01
        W3          | 2024-07-01 | insertion  | placed            |
        """,
        [2],
    ),
    "dilation_against_resistance": (
        """
        patient_ref | visit_date | visit_kind | insertion_outcome | resistance_met | second_dilation_done
        W1          | 2024-07-01 | insertion  | placed            | firm           | not_needed
        W2          | 2024-07-01 | insertion  | placed            | mild           | not_needed
        W3          | 2024-07-01 | insertion  | failed            | impassable     | no
        """,
        [2],
    ),
}


@pytest.mark.parametrize("rule", CASES)
def test_the_rule_finds_these_lines_and_no_others(rule: str, log_of: LogOf) -> None:
    text, lines = CASES[rule]
    findings = log_of(text).findings
    assert findings.loc[findings["rule"] == rule, "row"].tolist() == lines


def test_every_rule_has_its_case_and_says_what_to_do() -> None:
    assert set(CASES) == set(SENTENCES)
    assert all(message.rstrip().endswith(".") for _, _, message in SENTENCES.values())


def test_a_log_without_the_columns_gives_nothing(log_of: LogOf) -> None:
    log = log_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2024-07-01 | insertion  | placed
        """)
    assert check_between(log.visits).empty
