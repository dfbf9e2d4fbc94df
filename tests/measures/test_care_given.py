"""Care given at a visit and the safety net after none was placed: every item's three answers, worked by hand."""

from collections.abc import Callable

import pandas as pd
import pytest

from audit.measures.process import ITEMS, SAFETY_NET, process_of_care, safety_net
from audit.records import Cohort
from audit.schema.indicators import BY_TABLE
from audit.schema.visits import VISITS

Derive = Callable[..., Cohort]
FIGURES = ["events", "n", "n_not_met", "n_unknown", "n_exception"]
HEAD = "patient_ref | visit_date | visit_kind | insertion_outcome"


def counted(table: pd.DataFrame, item: str) -> list[int]:
    """Met, recorded, not met, not recorded and exceptions of an item over all."""
    row = table[(table["item"] == item) & (table["by"] == "overall")]
    return [int(value) for value in row[FIGURES].iloc[0]]


def log_with(columns: dict[str, list[str]], outcome: str = "placed") -> str:
    """A log of one visit a woman with these columns."""
    rows = zip(*columns.values(), strict=True)
    lines = [
        " | ".join([f"W{number}", "2026-01-05", "insertion", outcome, *row])
        for number, row in enumerate(rows)
    ]
    return "\n".join([" | ".join([HEAD, *columns]), *lines])


# item, its columns with one visit per position, and met, recorded, not met, not recorded, exceptions
RULES: list[tuple[str, dict[str, list[str]], list[int]]] = [
    (
        "pregnancy_excluded",
        {
            "pregnancy_excluded": ["yes_criteria", "yes_test", "no", "unknown", "", "no"],
            "indication": ["contraception", "", "contraception", "", "", "emergency_contraception"],
        },
        [2, 3, 1, 2, 1],
    ),
    (
        "infection_risk",
        {
            # Asked and dealt with in four ways; not asked; asked, not offered; one half not written down.
            "infection_risk_assessed": ["yes", "yes", "yes", "yes", "no", "yes", "yes", "", "no", ""],
            "sti_test": [
                *("not_indicated", "offered_declined", "taken_before", "taken_same_visit", "not_indicated"),
                *("indicated_not_offered", "", "taken_before", "", "indicated_not_offered"),
            ],
        },
        [4, 8, 4, 2, 0],
    ),
    (
        "pelvis_assessed",
        {"bimanual_done": ["bimanual", "ultrasound", "both", "none", "", "unknown"]},
        [3, 4, 1, 2, 0],
    ),
    ("assistant_present", {"chaperone_or_assistant_present": ["yes", "no", "", "yes"]}, [2, 3, 1, 1, 0]),
    (
        "consent_and_risks",
        {
            "consent_recorded": ["verbal", "written", "no", "written", "written", "", ""],
            "risks_discussed": ["all", "all", "all", "partial", "", "all", "no"],
        },
        [2, 5, 3, 2, 0],
    ),
    ("bleeding_information", {"bleeding_change_info": ["yes", "no", "", "no"]}, [1, 3, 2, 1, 0]),
    ("pain_options", {"pain_options_discussed": ["yes", "no", ""]}, [1, 2, 1, 1, 0]),
    ("device_information", {"info_device_given": ["yes", "no", ""]}, [1, 2, 1, 1, 0]),
    ("thread_advice", {"thread_check_advice": ["yes", "yes", "no", ""]}, [2, 3, 1, 1, 0]),
    (
        "uterus_measured",
        {
            # Measured without a length, and a length without how it was measured, are not recorded.
            "uterus_measured_by": [
                "sound",
                "inserter_scale",
                "ultrasound",
                "not_measured",
                "sound",
                "",
                "unknown",
            ],
            "sound_length_mm": ["70", "75", "", "", "", "70", ""],
            "cavity_length_us_mm": ["", "", "40", "", "", "", ""],
        },
        [3, 4, 1, 3, 0],
    ),
    (
        "analgesia_advice",
        {
            "analgesia_advised": ["yes", "no", "contraindicated", "", "yes", "no"],
            "indication": ["", "", "", "", "emergency_contraception", "emergency_contraception"],
        },
        [1, 2, 1, 1, 3],
    ),
    (
        "resistance_handled",
        {
            "resistance_met": [
                "firm",
                "impassable",
                "firm",
                "firm",
                "firm",
                "firm",
                "firm",
                "mild",
                "",
                "none",
            ],
            "second_dilation_done": ["yes", "no", "not_needed", "", "no", "", "declined", "no", "no", "no"],
            "ultrasound_guidance": ["", "", "no", "no", "transabdominal", "transvaginal", "", "", "", ""],
        },
        [3, 5, 2, 1, 1],
    ),
    (
        "no_routine_drugs",
        {
            "misoprostol_used": ["no", "yes_after_failed_attempt", "yes_routine", "no", "", "", "no"],
            "antibiotic_prophylaxis": ["no", "yes_indicated", "", "yes_routine", "no", "yes_routine", ""],
        },
        [2, 5, 3, 2, 0],
    ),
]


@pytest.mark.parametrize(("item", "columns", "expected"), RULES, ids=[item for item, *_ in RULES])
def test_an_item_counts_met_not_met_not_recorded_and_exceptions(
    cohort_of: Derive, item: str, columns: dict[str, list[str]], expected: list[int]
) -> None:
    table = process_of_care(cohort_of(log_with(columns)).attempts, items=[item])
    assert counted(table, item) == expected


def test_every_item_has_a_rule_worked_here_and_a_declaration() -> None:
    assert [item for item, *_ in RULES] == list(ITEMS)
    for name in ITEMS:
        assert BY_TABLE[name].table == "process_of_care"


@pytest.mark.parametrize("name", ITEMS)
def test_every_code_an_item_names_is_a_code_of_its_column(name: str) -> None:
    item = ITEMS[name]
    for asked in item.asked:
        if asked.column not in VISITS.names:
            assert asked.column == "uterus_length_recorded"
            continue
        codes = VISITS[asked.column].codes or ("yes", "no")
        assert set(asked.met) | set(asked.not_met) <= set(codes)
        # Whatever says neither yes nor no is unknown, or an exception.
        told = {
            code
            for group in item.exceptions
            for column, codes_ in group
            for code in codes_
            if column == asked.column
        }
        assert set(codes) - set(asked.met) - set(asked.not_met) <= {"unknown"} | told


def test_items_that_nobody_recorded_are_not_recorded_for_everyone_and_met_by_none(cohort_of: Derive) -> None:
    table = process_of_care(cohort_of(log_with({"resistance_met": ["firm", "firm"]})).attempts)
    for name in ITEMS:
        assert counted(table, name) == [0, 0, 0, 2, 0], name
    assert (table["bound_lower"] == 0).all()
    assert (table["bound_upper"] == 1).all()
    assert set(table["caution"]) == {"Not recorded for anyone."}


def test_no_attempt_gives_a_row_of_zeros_for_each_item_and_no_stratum(cohort_of: Derive) -> None:
    empty = cohort_of(HEAD).attempts
    table = process_of_care(empty)
    assert table["item"].tolist() == list(ITEMS)
    assert (table[FIGURES] == 0).all(axis=None)
    assert set(table["caution"]) == {"Nothing to count."}
    assert process_of_care(empty, by="site_ref").empty


def test_what_was_said_after_a_placement_is_asked_of_placements_only(cohort_of: Derive) -> None:
    attempts = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome    | info_device_given | bleeding_change_info
        Placed      | 2026-01-05 | insertion  | placed               | yes               | yes
        Failed      | 2026-01-05 | insertion  | failed               | no                | no
        Stopped     | 2026-01-05 | insertion  | stopped_on_request   |                   | yes
        Unsaid      | 2026-01-05 | insertion  |                      | no                | yes
        Deferred    | 2026-01-05 | insertion  | deferred_not_started | no                | no
        """).attempts
    table = process_of_care(attempts, items=["device_information", "bleeding_information"])
    assert counted(table, "device_information") == [1, 1, 0, 0, 0]
    # A deferral is no visit begun; one whose outcome nobody wrote down is.
    assert counted(table, "bleeding_information") == [3, 4, 1, 0, 0]


def test_an_attempt_stopped_before_measuring_is_an_exception_and_one_after_it_is_not(
    cohort_of: Derive,
) -> None:
    attempts = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | failure_reason             | uterus_measured_by | sound_length_mm
        OsClosed    | 2026-01-05 | insertion  | failed            | could_not_pass_internal_os |                    |
        Pain        | 2026-01-05 | insertion  | failed            | pain                       | not_measured       |
        PainLater   | 2026-01-05 | insertion  | failed            | pain                       | sound              | 70
        TooSmall    | 2026-01-05 | insertion  | failed            | cavity_too_small           | not_measured       |
        Unmeasured  | 2026-01-05 | insertion  | placed            |                            | not_measured       |
        """).attempts  # noqa: E501 - a drawn log
    assert counted(process_of_care(attempts, items=["uterus_measured"]), "uterus_measured") == [1, 3, 2, 0, 2]


def test_stopping_at_resistance_is_no_force_and_stopping_because_she_asked_is_an_exception(
    cohort_of: Derive,
) -> None:
    attempts = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome  | resistance_met | second_dilation_done
        Stopped     | 2026-01-05 | insertion  | failed             | impassable     | no
        Asked       | 2026-01-05 | insertion  | stopped_on_request | firm           | no
        Forced      | 2026-01-05 | insertion  | placed             | firm           | no
        """).attempts
    assert counted(process_of_care(attempts, items=["resistance_handled"]), "resistance_handled") == [
        1,
        2,
        1,
        0,
        1,
    ]


def test_a_day_told_by_two_clinicians_is_one_visit_and_what_either_wrote_counts(cohort_of: Derive) -> None:
    attempts = cohort_of("""
        patient_ref | visit_date | visit_kind | insertion_outcome | clinician_ref | consent_recorded | risks_discussed | info_device_given
        W1          | 2026-01-05 | insertion  | failed            | C1            | written          |                 | no
        W1          | 2026-01-05 | insertion  | placed            | C2            | no               | all             | yes
        """).attempts  # noqa: E501 - a drawn log
    table = process_of_care(attempts, items=["consent_and_risks", "device_information"])
    # The first to say something of consent stands; of what she was told when she left, the last.
    assert counted(table, "consent_and_risks") == [1, 1, 0, 0, 0]
    assert counted(table, "device_information") == [1, 1, 0, 0, 0]


def test_unknown_counted_as_not_met_is_the_lower_bound() -> None:
    rows = pd.DataFrame(
        {
            "visit_outcome": "placed",
            "bleeding_change_info": pd.array([True] * 17 + [False, None, None], dtype="boolean"),
        }
    )
    row = process_of_care(rows, items=["bleeding_information"]).iloc[0]
    assert row["proportion"] == pytest.approx(17 / 18)
    assert (row["bound_lower"], row["bound_upper"]) == pytest.approx((17 / 20, 19 / 20))
    assert row["caution"] == ""


def test_a_tally_gives_the_same_counts_as_rows() -> None:
    rows = pd.DataFrame({"visit_outcome": ["placed"] * 3, "bimanual_done": ["both", "both", "none"]})
    tally = pd.DataFrame({"visit_outcome": "placed", "bimanual_done": ["both", "none"], "n": [2, 1]})
    one, two = (process_of_care(frame, items=["pelvis_assessed"]) for frame in (rows, tally))
    pd.testing.assert_frame_equal(one, two)


def test_an_item_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^items must be among pregnancy_excluded, .*, got 'tea_offered'$"):
        process_of_care(pd.DataFrame({"visit_outcome": []}), items=["tea_offered"])


NET = """
    patient_ref | visit_date | visit_kind | insertion_outcome    | indication              | onward_plan              | bridging_method_given | bridging_oral_ec_given
    Covered     | 2026-01-05 | insertion  | failed               | contraception           | hospital                 | yes                   |
    SaidNo      | 2026-01-05 | insertion  | stopped_on_request   | contraception           | other_method             | declined              |
    Already     | 2026-01-05 | insertion  | deferred_not_started | contraception           | rebook_same_fitter       | not_needed            |
    NoPlan      | 2026-01-05 | insertion  | failed               | contraception           | none                     |                       |
    NoCover     | 2026-01-05 | insertion  | failed               | contraception           | ultrasound_list          | no                    |
    Unsaid      | 2026-01-05 | insertion  | failed               | contraception           | ultrasound_list          |                       |
    Tablet      | 2026-01-05 | insertion  | failed               | emergency_contraception | rebook_experienced_fitter | yes                  | yes
    NoTablet    | 2026-01-05 | insertion  | failed               | emergency_contraception | rebook_experienced_fitter | yes                  | no
    TabletUnsaid | 2026-01-05 | insertion | deferred_not_started | emergency_contraception | rebook_experienced_fitter | yes                  |
    Placed      | 2026-01-05 | insertion  | placed               | contraception           | none                     | no                    |
    """  # noqa: E501 - a drawn log


def test_the_safety_net_needs_a_plan_and_cover_and_in_an_emergency_the_tablet_too(cohort_of: Derive) -> None:
    attempts = cohort_of(NET).attempts
    table = safety_net(attempts)
    # Met: Covered, SaidNo, Already, Tablet. Not: NoPlan, NoCover, NoTablet. Unsaid and TabletUnsaid are left.
    assert counted(table, "whole_safety_net") == [4, 7, 3, 2, 0]
    assert counted(table, "plan_made") == [8, 9, 1, 0, 0]
    assert counted(table, "method_covered") == [6, 7, 1, 2, 0]
    assert counted(table, "oral_emergency_contraception") == [1, 2, 1, 1, 0]
    by_outcome = safety_net(attempts, by="visit_outcome")
    whole = by_outcome[by_outcome["item"] == "whole_safety_net"].set_index("stratum")
    assert whole.loc["failed", FIGURES].tolist() == [3, 6, 3, 1, 0]
    assert whole.loc["deferred", FIGURES].tolist() == [1, 1, 0, 1, 0]


def test_a_placement_at_every_visit_leaves_no_safety_net_to_count(cohort_of: Derive) -> None:
    table = safety_net(cohort_of(log_with({"births": ["0"]})).attempts)
    assert table["item"].tolist() == list(SAFETY_NET)
    assert (table[FIGURES] == 0).all(axis=None)
