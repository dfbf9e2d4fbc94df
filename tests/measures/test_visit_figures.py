"""Waits, wasted devices, comparisons, emergency treatment, pain, timing of reactions and volume, worked by hand."""

from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest

from audit.cohort.carried import emergency_treatment as told
from audit.measures.access import waiting_time
from audit.measures.complications import emergency_treatment
from audit.measures.insertion import devices_wasted, failed_insertion_contrasts
from audit.measures.pain import CHOSEN, pain_scores
from audit.measures.reaction_timing import (
    NO_CAUSE,
    vasovagal_by_phase,
    vasovagal_by_technique,
    vasovagal_technique_contrasts,
)
from audit.measures.volume import clinician_volume, clinicians_certified
from audit.records import Cohort

Derive = Callable[..., Cohort]
HEAD = "patient_ref | visit_date | visit_kind | insertion_outcome"


def test_a_wait_runs_from_the_day_she_asked_to_the_first_attempt_of_each_need(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind              | insertion_outcome    | referral_date
        Ten         | 2026-01-11 | insertion               | placed               | 2026-01-01
        SameDay     | 2026-01-11 | insertion               | failed               | 2026-01-11
        SameDay     | 2026-02-11 | insertion               | placed               | 2026-01-11
        NewNeed     | 2024-01-21 | insertion               | placed               | 2024-01-01
        NewNeed     | 2026-01-31 | removal_and_replacement | placed               | 2026-01-01
        Deferred    | 2026-01-11 | insertion               | deferred_not_started | 2025-01-01
        Unsaid      | 2026-01-11 | insertion               | placed               |
        AfterVisit  | 2026-01-11 | insertion               | placed               | 2026-01-12
        """)
    row = waiting_time(cohort.attempts).iloc[0]
    # Waits 10, 0, 20 and 30: not SameDay's second attempt, nor a deferral, nor a day after the visit.
    assert row[["n", "n_unknown", "median"]].tolist() == [4, 2, 15]
    # Type 7: 3 * 0.9 = 2.7 steps from the smallest, so 20 + 0.7 * 10.
    assert row["centile"] == pytest.approx(27)
    assert row["median_lower"] == -np.inf
    assert row["caution"] == "So much is not recorded that those recorded may not stand for all."


def test_waits_are_told_apart_by_group_and_of_nobody_there_is_none(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | referral_date | site_ref
        W1          | 2026-01-11 | insertion  | placed            | 2026-01-01    | S1
        W2          | 2026-01-11 | insertion  | placed            | 2026-01-09    | S2
        W3          | 2026-01-11 | insertion  | placed            |               | S2
        """)
    table = waiting_time(cohort.attempts, by="site_ref")
    assert table[["stratum", "n", "n_unknown", "median"]].to_numpy().tolist() == [
        ["S1", 1, 0, 10.0],
        ["S2", 1, 1, 2.0],
    ]
    empty = waiting_time(cohort_of(HEAD).attempts).iloc[0]
    assert empty[["n", "n_unknown", "caution"]].tolist() == [0, 0, "Nothing to count."]
    assert pd.isna(empty["median"])


def test_devices_wasted_are_of_those_opened_and_a_take_over_tells_of_them_once(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | clinician_ref | completed_by_ref | attempts_same_visit | device_wasted_count
        TakenOver   | 2026-01-05 | insertion  | placed               | C1            | C2               | 2                   | 2
        Failed      | 2026-01-05 | insertion  | failed               | C1            |                  |                     | 1
        NoneOpened  | 2026-01-05 | insertion  | failed               | C1            |                  |                     | 0
        AtOnce      | 2026-01-05 | insertion  | placed               | C1            |                  | 1                   |
        Unsaid      | 2026-01-05 | insertion  | placed               | C1            |                  | 2                   |
        FailedUnsaid | 2026-01-05 | insertion | failed               | C1            |                  | 1                   |
        Deferred    | 2026-01-05 | insertion  | deferred_not_started | C1            |                  |                     | 4
        """)  # noqa: E501 - a drawn log
    row = devices_wasted(cohort.attempts).iloc[0]
    # Wasted 2 + 1 + 0 + 0; opened those and the two placed (TakenOver, AtOnce); two attempts do not say.
    assert row[["events", "n", "n_unknown"]].tolist() == [3, 5, 2]
    assert row["rate"] == pytest.approx(3 / 5)
    # Garwood's limits of 3 events, 0.6187 and 8.7673 (Pearson and Hartley's table 40, from memory, reproduced).
    assert (row["ci_lower"], row["ci_upper"]) == pytest.approx((0.6187 / 5, 8.7673 / 5), abs=0.0001)


def test_devices_that_nobody_counted_give_no_rate_and_none_opened_gives_a_row_of_zeros(
    cohort_of: Derive,
) -> None:
    unsaid = devices_wasted(
        pd.DataFrame(
            {
                "outcome": ["placed", "failed"],
                "attempts_same_visit": [None, None],
                "device_wasted_count": [None, None],
            }
        )
    ).iloc[0]
    assert unsaid[["events", "n", "n_unknown", "caution"]].tolist() == [0, 0, 2, "Nothing to count."]
    assert pd.isna(unsaid["rate"])
    assert devices_wasted(cohort_of(HEAD).attempts)[["events", "n", "n_unknown"]].to_numpy().tolist() == [
        [0, 0, 0]
    ]


def failed(by: str, *strata: tuple[str, int, int]) -> pd.DataFrame:
    """Rows of failed insertions."""
    rows = [{"by": by, "stratum": name, "events": events, "n": n} for name, events, n in strata]
    return pd.DataFrame(rows)


def test_failures_are_compared_by_births_site_and_quarter() -> None:
    table = failed_insertion_contrasts(
        pd.concat(
            [
                failed("cervical_parity", ("yes", 4, 280), ("no", 9, 120), ("unknown", 9, 9)),
                failed("site_ref", ("S1", 1, 10), ("S2", 2, 20), ("S3", 5, 20), ("not recorded", 3, 3)),
                failed("births_group", ("0", 6, 10), ("1", 2, 10), ("3_plus", 1, 10), ("unknown", 0, 5)),
                failed("quarter", ("2026Q2", 2, 20), ("2025Q4", 1, 10), ("2026Q1", 3, 20)),
            ]
        )
    ).set_index(["by", "group"])
    births = table.loc[("cervical_parity", "no")]
    assert births[["events", "n", "reference", "reference_events", "reference_n"]].tolist() == [
        9,
        120,
        "yes",
        4,
        280,
    ]
    assert births["ratio"] == pytest.approx(5.25)
    # S3 against S1 and S2 together; what has no site is in neither.
    assert table.loc[("site_ref", "S3"), ["events", "n", "reference_events", "reference_n"]].tolist() == [
        5,
        20,
        3,
        30,
    ]
    assert table.loc[("site_ref", "S3"), "reference"] == "all_others"
    assert table.loc["site_ref"].index.tolist() == ["S1", "S2", "S3"]
    # The last quarter against all before it.
    last = table.loc[("quarter", "2026Q2"), ["events", "n", "reference", "reference_events", "reference_n"]]
    assert last.tolist() == [2, 20, "all_earlier", 4, 30]
    trends = table.xs("trend", level="group")
    assert trends.loc["births_group", ["reference", "events", "n"]].tolist() == ["falling", 9, 30]
    # Scores 0, 1 and 3: by hand, mean 4/3, sum of (score - 4/3) x = -7, variance 0.21 * 46.67.
    assert trends.loc["births_group", "chi_square"] == pytest.approx(49 / (0.21 * 140 / 3))
    assert trends.loc["quarter", ["events", "n"]].tolist() == [6, 50]


def test_one_site_or_one_group_alone_is_compared_with_nothing() -> None:
    assert failed_insertion_contrasts(failed("site_ref", ("S1", 1, 10))).empty
    assert failed_insertion_contrasts(failed("cervical_parity", ("no", 1, 10), ("yes", 0, 0))).empty
    assert failed_insertion_contrasts(failed("cervical_parity", ("no", 1, 10)).head(0)).empty


@pytest.mark.parametrize(
    ("grade", "atropine", "transfer", "expected"),
    [
        ("4", "", "", "yes"),
        ("1", "yes", "", "yes"),
        ("", "no", "yes", "yes"),
        ("3", "", "", "no"),
        ("0", "no", "no", "no"),
        ("", "no", "no", "no"),
        # Half of what could rule it out is not enough.
        ("", "no", "", "unknown"),
        ("", "", "no", "unknown"),
        ("", "", "", "unknown"),
    ],
)
def test_emergency_treatment_is_ruled_out_only_by_a_grade_or_by_both_answers(
    grade: str, atropine: str, transfer: str, expected: str
) -> None:
    row = pd.DataFrame(
        {
            "vasovagal_grade": [float(grade) if grade else np.nan],
            "atropine_given": pd.array([{"yes": True, "no": False}.get(atropine)], dtype="boolean"),
            "emergency_transfer": pd.array([{"yes": True, "no": False}.get(transfer)], dtype="boolean"),
        }
    )
    found = told(row).iloc[0]
    assert ("unknown" if pd.isna(found) else "yes" if found else "no") == expected


def test_emergency_treatment_is_counted_once_a_visit_with_exact_limits(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | vasovagal_grade | emergency_transfer
        TwoHands    | 2026-01-05 | insertion  | failed            | C1            | 0               | no
        TwoHands    | 2026-01-05 | insertion  | placed            | C2            | 4               | yes
        Calm        | 2026-01-05 | insertion  | placed            | C1            | 0               |
        Unsaid      | 2026-01-05 | insertion  | placed            | C1            |                 | no
        """)  # noqa: E501 - a drawn log
    row = emergency_treatment(cohort.attempts).iloc[0]
    assert row[["events", "n", "n_unknown"]].tolist() == [1, 2, 1]
    none = emergency_treatment(
        pd.DataFrame(
            {"visit_outcome": "placed", "emergency_treatment": pd.array([False] * 240, dtype="boolean")}
        )
    ).iloc[0]
    # 0 of 240: two-sided exact upper limit 1 - 0.025^(1/240), 1.5%.
    assert none["exact_upper"] == pytest.approx(1 - 0.025 ** (1 / 240))
    empty = emergency_treatment(cohort_of(HEAD).attempts).iloc[0]
    assert empty[["events", "n", "caution"]].tolist() == [0, 0, "Nothing to count."]


def test_pain_has_median_quartiles_and_high_scores_of_those_who_gave_one() -> None:
    scores = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9]
    rows = pd.DataFrame({"visit_outcome": "placed", "pain_score": [*map(float, scores), None]})
    row = pain_scores(rows).iloc[0]
    assert row[["events", "n", "n_unknown"]].tolist() == [3, 10, 1]
    assert row[["lower_quartile", "median", "upper_quartile"]].tolist() == [2.25, 4.5, 6.75]
    # Limits of a median of ten stand at the 2nd and 9th.
    assert row[["median_lower", "median_upper"]].tolist() == [1, 8]
    assert row["proportion"] == pytest.approx(3 / 10)
    assert row["caution"] == ""


def test_pain_by_anaesthetic_always_says_that_it_was_not_given_by_chance() -> None:
    rows = pd.DataFrame(
        {
            "visit_outcome": "placed",
            "pain_score": [8.0, 3.0, None],
            "local_anaesthetic": pd.Categorical(["paracervical", "none", "topical_gel"]),
        }
    )
    table = pain_scores(rows, by="local_anaesthetic").set_index("stratum")
    assert table.loc["paracervical", "caution"] == CHOSEN
    assert table.loc["none", "caution"].startswith(CHOSEN)
    assert table.loc["topical_gel", "caution"] == "Not recorded for anyone."


def test_pain_is_the_worst_of_the_day_and_of_nobody_there_is_none(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | clinician_ref | pain_score
        W1          | 2026-01-05 | insertion  | failed               | C1            | 3
        W1          | 2026-01-05 | insertion  | placed               | C2            | 8
        Deferred    | 2026-01-05 | insertion  | deferred_not_started | C1            | 2
        """)
    assert pain_scores(cohort.attempts)[["events", "n", "n_unknown", "median"]].to_numpy().tolist() == [
        [1, 1, 0, 8]
    ]
    empty = pain_scores(cohort_of(HEAD).attempts).iloc[0]
    assert empty[["events", "n", "caution"]].tolist() == [0, 0, "Nothing to count."]
    unsaid = pain_scores(pd.DataFrame({"visit_outcome": ["placed"] * 2, "pain_score": [None, None]})).iloc[0]
    assert unsaid[["n", "n_unknown", "caution"]].tolist() == [0, 2, "Not recorded for anyone."]


REACTIONS = """
    patient_ref | visit_date | visit_kind | insertion_outcome | vaginal_births | vasovagal_grade | onset_phase      | dilation
    Before      | 2026-01-05 | insertion  | placed            | 0              | 1               | tenaculum        | plastic_dilator
    Sounding    | 2026-01-05 | insertion  | placed            | 0              | 2               | sounding         | none
    AtDilation  | 2026-01-05 | insertion  | placed            | 0              | 3               | dilation         | plastic_dilator
    After       | 2026-01-05 | insertion  | placed            | 1              | 1               | after            | none
    PhaseUnsaid | 2026-01-05 | insertion  | placed            | 0              | 1               |                  | none
    Calm1       | 2026-01-05 | insertion  | placed            | 0              | 0               |                  | plastic_dilator
    Calm2       | 2026-01-05 | insertion  | placed            | 0              | 0               |                  | none
    Calm3       | 2026-01-05 | insertion  | placed            | 1              | 0               |                  | graduated_metal
    Calm4       | 2026-01-05 | insertion  | placed            | 1              | 0               |                  | none
    GradeUnsaid | 2026-01-05 | insertion  | placed            | 1              |                 |                  | none
    HowUnsaid   | 2026-01-05 | insertion  | placed            | 1              | 0               |                  |
    """  # noqa: E501 - a drawn log


def test_reactions_are_counted_by_parity_grade_and_the_step_at_which_they_began(cohort_of: Derive) -> None:
    table = vasovagal_by_phase(cohort_of(REACTIONS).attempts)
    rows = table.set_index(["stratum", "grade", "phase"])
    # Without a vaginal birth: four reactions, the step of three recorded.
    for phase, events in {"tenaculum": 1, "sounding": 1, "dilation": 1, "after": 0}.items():
        assert rows.loc[("no", "all", phase), ["events", "n", "n_unknown"]].tolist() == [events, 3, 1]
    assert rows.loc[("no", "1", "tenaculum"), ["events", "n", "n_unknown"]].tolist() == [1, 1, 1]
    assert rows.loc[("no", "3", "dilation"), ["events", "n"]].tolist() == [1, 1]
    assert rows.loc[("yes", "all", "after"), ["events", "n", "n_unknown"]].tolist() == [1, 1, 0]
    assert all(caution.startswith(NO_CAUSE) for caution in table["caution"])


def test_a_reaction_before_dilation_is_set_apart_and_counts_for_neither_group(cohort_of: Derive) -> None:
    table = vasovagal_by_technique(cohort_of(REACTIONS).attempts)
    own = table[table["technique"] == "dilation"].set_index(["stratum", "used"])
    names = ["events", "n", "n_unknown", "n_earlier"]
    # Dilated: AtDilation and Calm1 and Calm3 count, Before came first.
    assert own.loc[("overall", "yes"), names].tolist() == [1, 3, 0, 1]
    # Not dilated: Sounding and After, Calm2 and Calm4; two do not say.
    assert own.loc[("overall", "no"), names].tolist() == [2, 4, 2, 0]
    assert own.loc[("no", "yes"), names].tolist() == [1, 2, 0, 1]
    assert own.loc[("yes", "no"), names].tolist() == [1, 2, 1, 0]
    assert own["caution"].str.startswith("Women were dilated because difficulty was expected.").all()


def test_dilation_is_compared_within_groups_of_births_and_never_without_its_caution() -> None:
    strata = [("no", "yes", 6, 40), ("no", "no", 4, 60), ("yes", "yes", 2, 10), ("yes", "no", 5, 90)]
    table = pd.DataFrame(
        [
            {
                "by": "cervical_parity",
                "stratum": births,
                "technique": "dilation",
                "used": used,
                "events": x,
                "n": n,
            }
            for births, used, x, n in strata
        ]
    )
    row = vasovagal_technique_contrasts(table).iloc[0]
    # Mantel-Haenszel by hand: (6 * 60 / 100 + 2 * 90 / 100) / (4 * 40 / 100 + 5 * 10 / 100) = 5.4 / 2.1.
    assert row["ratio"] == pytest.approx(5.4 / 2.1)
    assert row[["events", "n", "reference_events", "reference_n", "n_strata"]].tolist() == [8, 50, 9, 150, 2]
    assert "does not show what dilation causes" in row["caution"]


def test_reactions_that_nobody_noted_give_no_phases_and_no_comparison(cohort_of: Derive) -> None:
    for attempts in (
        cohort_of(HEAD).attempts,
        cohort_of(f"{HEAD}\nW1 | 2026-01-05 | insertion | placed").attempts,
    ):
        assert vasovagal_by_phase(attempts).empty
        by_technique = vasovagal_by_technique(attempts)
        assert by_technique["events"].sum() == 0
        assert vasovagal_technique_contrasts(by_technique)["ratio"].isna().all()


VOLUME = """
    patient_ref | visit_date | visit_kind | insertion_outcome    | clinician_ref | completed_by_ref | supervised | training_status
    W1          | 2026-01-05 | insertion  | placed               | C1            |                  |            | certified
    W2          | 2026-02-05 | insertion  | failed               | C1            |                  |            | certified_lapsed
    W3          | 2026-03-05 | insertion  | placed               | C1            |                  |            |
    W4          | 2026-01-05 | insertion  | placed               | C2            | C3               | yes        | in_training
    W5          | 2026-01-05 | insertion  | deferred_not_started | C4            |                  |            | certified
    W6          | 2026-01-05 | insertion  |                      | C5            |                  |            | trainer
    W7          | 2026-01-05 | insertion  | placed               |               |                  |            | certified
    """  # noqa: E501 - a drawn log


def test_volume_counts_attempts_begun_and_the_latest_standing_recorded(cohort_of: Derive) -> None:
    table = clinician_volume(cohort_of(VOLUME).attempts)
    assert table.drop(columns="by").to_numpy().tolist() == [
        ["C1", 3, 2, 0, "certified_lapsed"],
        ["C2", 1, 0, 1, "in_training"],
        # C3 finished for C2; the row tells C2's standing only. C4 only deferred.
        ["C3", 1, 1, 0, "unknown"],
        ["C5", 1, 0, 0, "trainer"],
        ["not recorded", 1, 1, 0, "unknown"],
    ]


def test_certified_are_those_with_a_current_standing_of_those_not_in_training(cohort_of: Derive) -> None:
    row = clinicians_certified(clinician_volume(cohort_of(VOLUME).attempts)).iloc[0]
    # C5 of C1 and C5; C2 is in training, C3's standing is not recorded, and no code is no clinician.
    assert row[["events", "n", "n_unknown", "n_in_training"]].tolist() == [1, 2, 1, 1]
    empty = clinician_volume(cohort_of(HEAD).attempts)
    assert empty.empty
    assert clinicians_certified(empty)[["events", "n", "n_unknown"]].to_numpy().tolist() == [[0, 0, 0]]
