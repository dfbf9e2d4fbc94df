"""Date order, decimal sign and units, worked by hand on whole columns."""

import pytest

from audit.ingest.drafting_columns import file_column
from audit.ingest.drafting_headings import LIKELY, SURE, Proposal
from audit.ingest.drafting_units import OPEN, date_order, decimal_comma, unit_of
from audit.schema.visits import VISITS


def proposal(name: str, heading: str, *texts: str, certainty: str = SURE) -> Proposal:
    """A column of the log proposed for one of ours; each text stands on one row."""
    values = file_column(heading, {text: texts.count(text) for text in texts})
    return Proposal(VISITS[name], values, certainty, "", 1.0)


@pytest.mark.parametrize(
    ("texts", "value", "certainty"),
    [
        (["2026-07-01", "03-Mar-24"], "iso", SURE),
        (["13/04/2026", "03/04/2026"], "day_month_year", SURE),
        (["04/13/2026", "03/04/2026"], "month_day_year", SURE),
        (["03/04/2026", "05/06/2026"], "day_month_year|month_day_year", OPEN),
        (["13/04/2026", "04/13/2026"], "day_month_year|month_day_year", OPEN),
        (["13/04/2026"] * 200 + ["04/13/2026"], "day_month_year", LIKELY),
        (["45383", "45384", "45390"], "iso", SURE),
        ([], "iso", SURE),
    ],
)
def test_the_order_of_dates_is_judged_on_the_whole_column(
    texts: list[str], value: str, certainty: str
) -> None:
    choice = date_order([proposal("visit_date", "Seen", *texts)])
    assert (choice.value, choice.certainty) == (value, certainty)


def test_another_column_may_suggest_the_order_of_the_visits_but_not_settle_it() -> None:
    choice = date_order(
        [
            proposal("visit_date", "Seen", "03/04/2026", "05/06/2026"),
            proposal("referral_date", "Asked", "13/04/2025"),
        ]
    )
    assert (choice.value, choice.certainty) == ("day_month_year", LIKELY)
    assert "by itself visit_date would fit either order" in choice.why


def test_two_columns_in_two_orders_are_said_and_left_open() -> None:
    choice = date_order(
        [proposal("visit_date", "Seen", "13/04/2026"), proposal("referral_date", "Asked", "04/13/2025")]
    )
    assert choice.certainty == OPEN
    assert "(visit_date, referral_date)" in choice.why


@pytest.mark.parametrize(
    ("texts", "value", "certainty"),
    [
        (["22.4", "25"], "", SURE),
        (["22,4", "25"], "true", SURE),
        (["22,4", "25.1"], "true|false", OPEN),
        (["22", "25"], "", SURE),
    ],
)
def test_the_decimal_sign_is_judged_on_all_numbers(texts: list[str], value: str, certainty: str) -> None:
    choice = decimal_comma([proposal("bmi", "BMI", *texts)])
    assert (choice.value, choice.certainty) == (value, certainty)


@pytest.mark.parametrize(
    ("name", "heading", "texts", "value", "certainty"),
    [
        ("sound_length_mm", "Sound", ["70", "75", "80"], "", SURE),
        ("sound_length_mm", "Sound", ["7", "7.5", "8"], "cm", SURE),
        ("sound_length_mm", "Sound (cm)", ["7", "7.5", "8"], "cm", SURE),
        ("sound_length_mm", "Sound (cm)", ["70", "75", "80"], "mm|cm", OPEN),
        ("sound_length_mm", "Sound", ["7", "75", "8", "80"], "mm|cm", OPEN),
        ("pain_score", "Pain", ["2", "7", "10"], "", SURE),
        ("pain_score", "Pain", ["20", "75", "100"], "0-100", SURE),
        ("pain_score", "VAS 0-100", ["5", "8"], "0-100", SURE),
        ("pain_score", "Pain (0-10)", ["20", "75", "100"], "0-10|0-100", OPEN),
        ("ec_hours_since_upsi", "Hours since sex", ["24", "96"], "", SURE),
        ("ec_hours_since_upsi", "Days since sex", ["1", "4"], "days", SURE),
        ("weeks_since_delivery", "Jours depuis accouchement", ["42", "90"], "days", SURE),
        ("age_years", "Age", ["31"], "", SURE),
    ],
)
def test_a_unit_is_what_heading_and_values_agree_on(
    name: str, heading: str, texts: list[str], value: str, certainty: str
) -> None:
    choice = unit_of(proposal(name, heading, *texts))
    assert (choice.value, choice.certainty) == (value, certainty)
