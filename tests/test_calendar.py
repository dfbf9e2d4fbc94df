"""The governance calendar: names of periods, years that begin in a month of their own, and freezes."""

from pathlib import Path

import pytest

from audit.errors import PeriodError, SettingsError
from audit.period import period_from
from audit.settings import Calendar, definitions_version, read_settings, settings_fingerprint

TEXT = """\
service = "A service"
[calendar]
year_starts_in_month = 4
data_version = "Extract of 14 October 2026"
[calendar.periods]
"Spring round" = "2026-03-01/2026-05-31"
[calendar.data_to]
"2026-Q3" = 2026-10-14
"Spring round" = "2026-06-14"
"""


def settings_of(folder: Path, text: str) -> Path:
    """A settings file."""
    path = folder / "clinic.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_calendar_is_read_with_dates_of_either_spelling(tmp_path: Path) -> None:
    settings = read_settings(settings_of(tmp_path, TEXT))
    assert settings.calendar.data_to == {"2026-Q3": "2026-10-14", "Spring round": "2026-06-14"}
    assert settings.calendar.data_version == "Extract of 14 October 2026"
    quoted = settings_of(tmp_path, TEXT.replace("2026-10-14", '"2026-10-14"'))
    assert settings_fingerprint(read_settings(quoted)) == settings_fingerprint(settings)


@pytest.mark.parametrize(
    ("label", "first", "last"),
    [
        ("Spring round", "2026-03-01", "2026-05-31"),
        ("FY2026", "2026-04-01", "2027-03-31"),
        ("FY2026-Q1", "2026-04-01", "2026-06-30"),
        ("fy2026q4", "2027-01-01", "2027-03-31"),
        ("2026-Q1", "2026-01-01", "2026-03-31"),
    ],
)
def test_a_period_of_the_calendar_has_its_own_days(label: str, first: str, last: str) -> None:
    calendar = Calendar(periods={"Spring round": "2026-03-01/2026-05-31"}, year_starts_in_month=4)
    period = period_from(label, calendar=calendar)
    assert (period.first_day.date().isoformat(), period.last_day.date().isoformat()) == (first, last)
    assert period.label == label.upper() or period.label == label


def test_a_name_of_the_calendar_means_nothing_without_it() -> None:
    with pytest.raises(PeriodError, match="'FY2026' is not understood"):
        period_from("FY2026")


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("= 4", "= 13", "calendar, year_starts_in_month: must be a month from 1 to 12, got 13."),
        (
            "2026-03-01/2026-05-31",
            "2026-05-31/2026-03-01",
            "calendar.periods, Spring round: must be two dates, the earlier first, as 2026-04-01/2026-06-30.",
        ),
        (
            "2026-03-01/2026-05-31",
            "March",
            "calendar.periods, Spring round: must be two dates, the earlier first, as 2026-04-01/2026-06-30.",
        ),
        ("2026-03-01/", "soon/", "calendar.periods, Spring round: is not a date. Write it as 2026-09-30."),
        (
            '"2026-06-14"',
            '"14 June"',
            "calendar.data_to, Spring round: is not a date. Write it as 2026-09-30.",
        ),
        ('"2026-06-14"', "3", "calendar.data_to, Spring round: is not a date. Write it as 2026-09-30."),
    ],
)
def test_a_day_or_month_that_does_not_exist_is_refused(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    assert before in TEXT
    with pytest.raises(SettingsError) as refusal:
        read_settings(settings_of(tmp_path, TEXT.replace(before, after)))
    assert str(refusal.value) == f"clinic.toml, {said}"


def test_the_calendar_is_no_part_of_what_the_figures_count(tmp_path: Path) -> None:
    plain = read_settings(settings_of(tmp_path, 'service = "A service"'))
    assert definitions_version(read_settings(settings_of(tmp_path, TEXT))) == definitions_version(plain)
    charted = settings_of(tmp_path, 'charted_by_exception = ["vasovagal_grade"]')
    assert definitions_version(read_settings(charted)) != definitions_version(plain)
