"""Numbers into words: what is printed, when, and how it is rounded."""

import re

import pandas as pd
import pytest

from audit.statistics.summaries import with_proportions, with_rates
from reports import wording
from reports.choosing import Row, limits_of
from reports.words_for_codes import spoken, stratum, within, word
from reports.words_for_columns import column_heading, column_words


def _row(events: int, n: int, unknown: int = 0, floor: float = 0.0) -> Row:
    """One row of a proportion as the audit makes it."""
    table = with_proportions(
        pd.DataFrame({"events": [events], "n": [n], "n_unknown": [unknown]}), recorded_floor=floor
    )
    return {str(name): value for name, value in table.to_dict("records")[0].items()}


@pytest.mark.parametrize(
    ("events", "n", "said"),
    [
        # Wilson limits of 31 of 640: 3.4 to 6.8, by hand from the closed form.
        (31, 640, "31 of 640 (4.8%, 3.4 to 6.8)"),
        # Clopper-Pearson limits of 0 of 240: upper limit 1 - 0.025 ** (1 / 240) = 1.53%.
        (0, 240, "none of 240 (up to 1.5%)"),
        (0, 48, "none of 48 (up to 7.4%)"),
        (3, 8, "3 of 8"),
        (0, 0, "none of 0"),
        # Upper limit of 10 of 10 is 1; its lower limit 0.025 ** (1 / 10) = 69.15%.
        (10, 10, "10 of 10 (100%, 69.2 to 100)"),
    ],
)
def test_a_proportion_says_counts_before_its_percentage_and_interval(events: int, n: int, said: str) -> None:
    assert wording.proportion(_row(events, n)) == said


def test_limits_are_exact_where_a_count_is_small_and_wilson_elsewhere() -> None:
    assert limits_of(_row(5, 640))[2] == "exact"
    assert limits_of(_row(635, 640))[2] == "exact"
    assert limits_of(_row(12, 29))[2] == "exact"
    assert limits_of(_row(6, 640))[2] == "Wilson"
    assert limits_of(_row(12, 30))[2] == "Wilson"


def test_too_many_unknown_leave_only_the_bounds() -> None:
    said = wording.proportion(_row(10, 60, unknown=40, floor=0.8))
    # 10 of 100 if none of the unknown had it, 50 of 100 if all had.
    assert said == "10 of 60 (bounds 10.0 to 50.0%, as so much is not recorded)"


def test_a_small_proportion_gets_the_decimals_its_upper_limit_needs() -> None:
    assert wording.proportion(_row(4, 4070)) == "4 of 4,070 (0.10%, 0.03 to 0.25)"


@pytest.mark.parametrize(
    ("lower", "upper", "said"),
    [
        (0.034, 0.068, "between 3 and 7 in 100"),
        (0.0, 0.015, "up to 15 in 1,000"),
        (0.0003, 0.0025, "up to 3 in 1,000"),
        (0.0001, 0.0004, "between 1 and 4 in 10,000"),
        (float("nan"), 0.1, "not known"),
    ],
)
def test_an_interval_in_women_is_rounded_outwards(lower: float, upper: float, said: str) -> None:
    assert wording.in_a_hundred(lower, upper) == said


@pytest.mark.parametrize("upper", [0.07, 0.29, 0.57, 0.58, 1.0])
def test_a_whole_number_of_women_is_not_rounded_up_to_the_next(upper: float) -> None:
    assert wording.in_a_hundred(0.02, upper) == f"between 2 and {round(100 * upper)} in 100"


def test_what_rounds_to_nothing_or_to_all_says_so() -> None:
    assert wording.percent(0.0003) == "<0.1"
    assert wording.percent(0.9998) == ">99.9"
    assert wording.percent(0.0) == "0"


def test_a_rate_names_its_woman_years_and_says_up_to_when_nothing_was_seen() -> None:
    table = with_rates(pd.DataFrame({"events": [14, 0], "person_years": [400.0, 250.0]}))
    some, none = table.to_dict("records")
    # Garwood limits of 14 events: 7.654 and 23.490, over 400 years.
    assert wording.per_hundred_years(some) == "14 in 400 woman-years (3.50 per 100, 1.91 to 5.87)"
    # Garwood upper limit of no event: 3.689, over 250 years.
    assert wording.per_hundred_years(none) == "none in 250 woman-years (up to 1.48 per 100)"


def test_missing_values_are_dashes_and_never_nan() -> None:
    nan = float("nan")
    said = [
        wording.count(nan),
        wording.percent(nan),
        wording.span(nan, nan),
        wording.rate(nan),
        wording.ratio(nan),
        wording.ratio_span(nan, nan),
        wording.day(pd.NaT),
        wording.chance_cell(nan),
    ]
    assert said == ["–"] * len(said)


def test_a_chance_always_carries_its_size() -> None:
    assert [wording.chance(p) for p in (0.2570, 0.0238, 1e-9)] == ["p = 0.26", "p = 0.024", "p < 0.001"]


def test_codes_of_sites_and_people_stand_as_the_log_wrote_them() -> None:
    assert stratum("site_ref", "unknown") == "unknown"
    assert stratum("clinician_ref", "c_01") == "c_01"
    assert stratum("parity_group", "unknown") == "Not known"


def test_a_code_without_words_is_read_aloud() -> None:
    assert word("a_new_code") == "A new code"
    assert within("Copper T 380") == "copper T 380"


def test_every_code_of_the_derived_tables_has_words_without_underscores() -> None:
    from audit.schema import derived

    codes = {
        code
        for table in (derived.ATTEMPTS, derived.PLACEMENTS)
        for column in table.columns
        for code in column.codes
    }
    assert not [code for code in codes if re.search("_", word(code))]


def test_every_column_of_the_log_has_words_without_underscores() -> None:
    from audit.schema.visits import VISITS

    words = [column_words(column.name) for column in VISITS.columns]
    assert not [text for text in words if "_" in text]
    assert len(set(words)) == len(words)
    assert column_heading("bmi") == "Body-mass index"


def test_a_message_names_a_column_between_quotation_marks() -> None:
    assert spoken("sound_length_mm: '99' is too long") == "“length of the uterus”: '99' is too long"
