"""Groups of women and devices, from whatever the log records."""

from collections.abc import Callable

from audit.records import Cohort

Derive = Callable[..., Cohort]


def test_parity_comes_from_births_by_route_or_their_number_and_unknown_stays_unknown(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | vaginal_births | caesarean_births | births | parity_text
        W1          | 2026-07-01 | insertion  | placed            | 0              | 0                |        |
        W2          | 2026-07-01 | insertion  | placed            | 1              | 0                |        |
        W3          | 2026-07-01 | insertion  | placed            | 0              | 2                |        |
        W4          | 2026-07-01 | insertion  | placed            | 1              | 2                |        |
        W5          | 2026-07-01 | insertion  | placed            |                |                  | 0      |
        W6          | 2026-07-01 | insertion  | placed            |                |                  | 2      |
        W7          | 2026-07-01 | insertion  | placed            |                |                  |        | P3
        W8          | 2026-07-01 | insertion  | placed            |                |                  |        | nullip
        W9          | 2026-07-01 | insertion  | placed            |                | 1                |        |
        W10         | 2026-07-01 | insertion  | placed            |                | 1                | 1      |
        W11         | 2026-07-01 | insertion  | placed            |                | 1                | 2      |
        W12         | 2026-07-01 | insertion  | placed            | 2              |                  |        |
        W13         | 2026-07-01 | insertion  | placed            | 0              |                  |        |
        W14         | 2026-07-01 | insertion  | placed            |                | 0                |        |
        W15         | 2026-07-01 | insertion  | placed            |                |                  |        |
        """)  # noqa: E501 - a drawn log
    names = ["parity_group", "cervical_parity", "parous", "births_group"]
    expected = [
        ["nulliparous", "no", "no", "0"],
        ["any_vaginal_birth", "yes", "yes", "1"],
        ["caesarean_only", "no", "yes", "2"],
        ["any_vaginal_birth", "yes", "yes", "3_plus"],
        ["nulliparous", "no", "no", "0"],
        ["parous_route_unknown", "unknown", "yes", "2"],
        ["parous_route_unknown", "unknown", "yes", "3_plus"],
        ["nulliparous", "no", "no", "0"],
        ["parous_route_unknown", "unknown", "yes", "1"],
        ["caesarean_only", "no", "yes", "1"],
        ["any_vaginal_birth", "yes", "yes", "2"],
        ["any_vaginal_birth", "yes", "yes", "2"],
        ["unknown", "no", "unknown", "unknown"],
        ["unknown", "unknown", "unknown", "unknown"],
        ["unknown", "unknown", "unknown", "unknown"],
    ]
    assert cohort.attempts[names].to_numpy().tolist() == expected
    assert cohort.placements[names].to_numpy().tolist() == expected


def test_placements_after_a_birth_an_abortion_or_an_emergency_stand_apart(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | placement_timing            | indication
        W1          | 2026-07-01 | insertion  | placed            | interval                    | contraception
        W2          | 2026-07-01 | insertion  | placed            | interval                    | emergency_contraception
        W3          | 2026-07-01 | insertion  | placed            | post_placental_10min        |
        W4          | 2026-07-01 | insertion  | placed            | early_postpartum_inpatient  |
        W5          | 2026-07-01 | insertion  | placed            | early_postpartum_outpatient |
        W6          | 2026-07-01 | insertion  | placed            | post_abortion_same_day      |
        W7          | 2026-07-01 | insertion  | placed            | post_abortion_later         |
        W8          | 2026-07-01 | insertion  | placed            | emergency                   |
        W9          | 2026-07-01 | insertion  | placed            |                             | emergency_contraception
        W10         | 2026-07-01 | insertion  | placed            | unknown                     | emergency_contraception
        W11         | 2026-07-01 | insertion  | placed            |                             | contraception
        W12         | 2026-07-01 | insertion  | placed            | unknown                     |
        """)  # noqa: E501 - a drawn log
    assert cohort.placements["timing_group"].tolist() == (
        ["interval"] * 2 + ["postpartum"] * 3 + ["post_abortion"] * 2 + ["emergency"] * 3 + ["unknown"] * 2
    )


def test_an_age_band_begins_with_the_age_in_its_name(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | age_years
        W1          | 2026-07-01 | insertion  | placed            | 19
        W2          | 2026-07-01 | insertion  | placed            | 20
        W3          | 2026-07-01 | insertion  | placed            | 24
        W4          | 2026-07-01 | insertion  | placed            | 25
        W5          | 2026-07-01 | insertion  | placed            | 44
        W6          | 2026-07-01 | insertion  | placed            | 45
        W7          | 2026-07-01 | insertion  | placed            |
        """)
    assert cohort.attempts["age_band"].tolist() == [
        "under_20",
        "20_24",
        "20_24",
        "25_29",
        "40_44",
        "45_plus",
        "unknown",
    ]


def test_a_device_is_copper_or_hormonal_by_its_class_and_a_blank_is_unknown(cohort_of: Derive) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | device_class
        W1          | 2026-07-01 | insertion  | placed            | copper_t_380
        W2          | 2026-07-01 | insertion  | placed            | copper_frameless
        W3          | 2026-07-01 | insertion  | placed            | lng_13_5
        W4          | 2026-07-01 | insertion  | placed            | other
        W5          | 2026-07-01 | insertion  | placed            |
        """)
    assert cohort.attempts[["device_class", "device_family"]].to_numpy().tolist() == [
        ["copper_t_380", "copper"],
        ["copper_frameless", "copper"],
        ["lng_13_5", "hormonal"],
        ["other", "other"],
        ["unknown", "unknown"],
    ]


def test_a_log_without_any_of_these_columns_has_unknown_groups_and_independent_practice(
    cohort_of: Derive,
) -> None:
    cohort = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome
        W1          | 2026-07-01 | insertion  | placed
        """)
    row = cohort.attempts.iloc[0]
    for name in ("parity_group", "cervical_parity", "parous", "births_group", "age_band", "timing_group"):
        assert row[name] == "unknown"
    assert row["practice"] == "independent"
