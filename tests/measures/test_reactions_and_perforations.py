"""Vasovagal reactions by parity and perforations, worked by hand."""

from collections.abc import Callable
from math import comb, exp, log, sqrt

import pandas as pd
import pytest

from audit.measures.complications import perforation
from audit.measures.vasovagal import vasovagal_by_parity, vasovagal_contrasts
from audit.records import Cohort

Derive = Callable[..., Cohort]


def test_each_definition_has_a_row_with_its_own_unknowns(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | vaginal_births | caesarean_births | vasovagal_grade | vasovagal_reaction
        W1          | 2025-01-01 | insertion  | placed               | 0              | 0                | 0               |
        W2          | 2025-01-01 | insertion  | failed               | 0              | 0                | 2               |
        W3          | 2025-01-01 | insertion  | placed               | 0              | 0                |                 | yes
        W4          | 2025-01-01 | insertion  | placed               | 0              | 0                | 4               |
        W5          | 2025-01-01 | insertion  | placed               | 0              | 0                |                 |
        W6          | 2025-01-01 | insertion  | deferred_not_started | 0              | 0                | 3               |
        W7          | 2025-01-01 | insertion  | placed               | 2              | 0                | 1               |
        """)  # noqa: E501 - a drawn log
    table = vasovagal_by_parity(cohort.attempts)
    assert table[["definition", "stratum", "events", "n", "n_unknown"]].to_numpy().tolist() == [
        ["vasovagal_any", "nulliparous", 3, 4, 1],
        ["vasovagal_any", "any_vaginal_birth", 1, 1, 0],
        # W3's grade is not known; W4 needed treatment.
        ["vasovagal_grade_2_plus", "nulliparous", 2, 3, 2],
        ["vasovagal_grade_2_plus", "any_vaginal_birth", 0, 1, 0],
        # Grade 4 does not say whether W4 fainted.
        ["syncope", "nulliparous", 0, 2, 3],
        ["syncope", "any_vaginal_birth", 0, 1, 0],
    ]


def test_a_take_over_is_one_visit_with_one_reaction(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | completed_by_ref | vasovagal_grade
        W1          | 2025-01-01 | insertion  | placed            | C1            | C2               | 2
        """)  # noqa: E501 - a drawn log
    table = vasovagal_by_parity(cohort.attempts, by="overall")
    assert table[["events", "n"]].to_numpy().tolist() == [[1, 1], [1, 1], [0, 1]]


def test_a_log_of_blanks_gives_no_proportion(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | placed
        """)
    table = vasovagal_by_parity(cohort.attempts, by="overall")
    assert table["n"].tolist() == [0, 0, 0]
    assert table["n_unknown"].tolist() == [1, 1, 1]
    assert table["proportion"].isna().all()
    assert set(table["caution"]) == {"Not recorded for anyone."}


def by_parity(by: str, strata: dict[str, tuple[int, int]], definition: str = "vasovagal_any") -> pd.DataFrame:
    """Rows of counts as `vasovagal_by_parity` returns them."""
    rows = [(by, stratum, definition, events, n) for stratum, (events, n) in strata.items()]
    return pd.DataFrame(rows, columns=["by", "stratum", "definition", "events", "n"])


def test_a_contrast_is_ratio_difference_and_exact_test_by_hand() -> None:
    table = vasovagal_contrasts(
        by_parity("cervical_parity", {"yes": (1, 20), "no": (3, 10), "unknown": (5, 9)})
    )
    row = table.iloc[0]
    assert len(table) == 1
    assert row[["group", "reference"]].tolist() == ["no", "yes"]
    assert row[["events", "n", "reference_events", "reference_n"]].tolist() == [3, 10, 1, 20]
    # (3/10) / (1/20), with Katz's limits on the log scale.
    spread = 1.959963984540054 * sqrt(1 / 3 - 1 / 10 + 1 / 1 - 1 / 20)
    assert row["ratio"] == pytest.approx(6)
    assert row["ratio_lower"] == pytest.approx(exp(log(6) - spread))
    assert row["ratio_upper"] == pytest.approx(exp(log(6) + spread))
    assert row["difference"] == pytest.approx(3 / 10 - 1 / 20)
    # All tables with 4 events in 30 no more likely than 3 and 1.
    chance = [comb(10, k) * comb(20, 4 - k) / comb(30, 4) for k in range(5)]
    assert row["p_value"] == pytest.approx(sum(p for p in chance if p <= chance[3] * (1 + 1e-7)))


def test_a_group_without_events_gets_limits_all_the_same() -> None:
    row = vasovagal_contrasts(by_parity("parous", {"yes": (0, 20), "no": (3, 10)})).iloc[0]
    assert "koopman" in row["method"]
    assert row["ratio"] == float("inf")
    assert row["ratio_lower"] > 1


def test_a_contrast_needs_both_groups_and_a_denominator_in_each() -> None:
    assert vasovagal_contrasts(by_parity("parous", {"no": (3, 10)})).empty
    assert vasovagal_contrasts(by_parity("parous", {"no": (3, 10), "yes": (0, 0)})).empty
    assert vasovagal_contrasts(by_parity("parous", {})).empty


def test_the_trend_over_births_is_cochran_armitage_s_by_hand() -> None:
    counts = {"0": (4, 10), "1": (2, 10), "2": (1, 10), "3_plus": (1, 10)}
    row = vasovagal_contrasts(by_parity("births_group", {**counts, "unknown": (9, 9)})).iloc[0]
    # Agresti, Categorical Data Analysis (2013), section 5.3.5: z^2 of the weighted sum of deviations.
    score, total, events = range(4), 40, 8
    p = events / total
    mean = sum(s * n for s, (_, n) in zip(score, counts.values(), strict=True)) / total
    top = sum((s - mean) * x for s, (x, _) in zip(score, counts.values(), strict=True))
    bottom = p * (1 - p) * sum((s - mean) ** 2 * n for s, (_, n) in zip(score, counts.values(), strict=True))
    assert row["chi_square"] == pytest.approx(top**2 / bottom)
    assert row[["group", "events", "n"]].tolist() == ["trend", 8, 40]


def test_perforations_count_confirmed_complete_and_suspected_each_over_the_attempts_that_say() -> None:
    attempts = pd.DataFrame(
        [
            ("placed", "none", 95),
            ("placed", "partial", 1),
            ("failed", "complete", 1),
            ("placed", "extent_unknown", 1),
            ("failed", "suspected", 2),
            ("placed", "unknown", 10),
            ("unknown", "complete", 7),
            ("deferred", "unknown", 7),
        ],
        columns=["outcome", "perforation", "n"],
    )
    table = perforation(attempts)
    assert table[["definition", "events", "n", "n_unknown"]].to_numpy().tolist() == [
        ["confirmed", 3, 100, 10],
        ["complete", 1, 100, 10],
        ["suspected_unresolved", 2, 100, 10],
    ]


def test_a_perforation_found_a_year_later_counts_in_the_insertion_s_own_row(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | perforation_suspected | perforation_confirmed
        W1          | 2025-01-01 | insertion  | placed            | no                    |
        W1          | 2026-01-01 | follow_up  |                   |                       | complete_extrauterine
        W1          | 2026-02-01 | follow_up  |                   |                       | complete_extrauterine
        W2          | 2025-01-01 | insertion  | placed            | no                    |
        """)
    assert perforation(cohort.attempts)[["events", "n"]].iloc[0].tolist() == [1, 2]


def test_perforations_not_recorded_are_unknown_and_never_none(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2025-01-01 | insertion  | placed
        """)
    table = perforation(cohort.attempts)
    assert table["n"].tolist() == [0, 0, 0]
    assert table["n_unknown"].tolist() == [1, 1, 1]


def test_contrasts_of_a_single_group_keep_their_columns() -> None:
    nobody = pd.DataFrame({"by": [], "stratum": [], "definition": [], "events": [], "n": []})
    table = vasovagal_contrasts(nobody)
    assert table.empty
    assert {"by", "definition", "ratio", "difference_upper", "chi_square", "p_value"} <= set(table.columns)
