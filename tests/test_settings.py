"""Settings: what is read, what is refused and with which words, and that equal settings look equal."""

import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from audit.errors import SettingsError
from audit.settings import (
    AuditSettings,
    Layout,
    Thresholds,
    Windows,
    read_settings,
    settings_fingerprint,
    settings_from,
)

WHOLE = """
service = "Riverside clinic"
charted_by_exception = ["vasovagal_grade"]
funnel_target = "service_excluding_own"
synthetic = true

[layout]
date_order = "day_month_year"
decimal_comma = true
yes = ["Y", "ja"]
no = ["N"]
unknown = ["?"]

[layout.headings]
patient_ref = "Woman"

[layout.codes.insertion_outcome]
success = "placed"

[layout.codes.syncope]
fainted = "yes"

[layout.units]
sound_length_mm = "cm"

[windows]
reporting_lag_days = 45
horizons = [42, 365]

[thresholds]
known_leads = 0.9

[margins]
expulsion = 0.02
"""


def written(folder: Path, text: str) -> Path:
    """A settings file with this text."""
    path = folder / "clinic.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_sets_what_it_names_and_leaves_the_rest_as_it_was(tmp_path: Path) -> None:
    assert read_settings(written(tmp_path, WHOLE)) == AuditSettings(
        service="Riverside clinic",
        layout=Layout(
            headings={"patient_ref": "Woman"},
            codes={"insertion_outcome": {"success": "placed"}, "syncope": {"fainted": "yes"}},
            units={"sound_length_mm": "cm"},
            date_order="day_month_year",
            decimal_comma=True,
            yes=("Y", "ja"),
            no=("N",),
            unknown=("?",),
        ),
        windows=Windows(reporting_lag_days=45, horizons=(42, 365)),
        thresholds=Thresholds(known_leads=0.9),
        charted_by_exception=("vasovagal_grade",),
        margins={"expulsion": 0.02},
        funnel_target="service_excluding_own",
        synthetic=True,
    )


def test_an_empty_file_gives_the_defaults(tmp_path: Path) -> None:
    assert read_settings(written(tmp_path, "")) == AuditSettings()


def test_a_byte_order_mark_is_no_part_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "clinic.toml"
    path.write_bytes(b"\xef\xbb\xbfservice = 'A'\n")
    assert read_settings(path).service == "A"


def test_the_defaults_are_those_of_the_definitions() -> None:
    windows, thresholds = Windows(), Thresholds()
    assert (windows.check_from_day, windows.check_to_day) == (21, 56)
    assert (windows.year_days, windows.known_from_day, windows.maturity_lag_days) == (365, 330, 30)
    assert (windows.reporting_lag_days, windows.episode_days) == (30, 90)
    assert (windows.emergency_hours, windows.emergency_days_after_ovulation) == (120, 5)
    assert windows.rate_bands == (42, 182, 365)
    assert (thresholds.known_leads, thresholds.known_floor, thresholds.recorded_floor) == (0.8, 0.6, 0.8)
    assert (thresholds.at_risk_floor, thresholds.clinician_attempts) == (10, 20)
    assert (thresholds.ask_tail, thresholds.review_tail) == (0.025, 0.001)
    assert AuditSettings().margins == {}
    assert AuditSettings().funnel_target == "service"


REFUSED = {
    "servce = 'A'": "clinic.toml: key 'servce' is not known. Did you mean 'service'?",
    "xyz = 1": (
        "clinic.toml: key 'xyz' is not known. Write one of: benchmarks, calendar, charted_by_exception, criteria, "
        "cusum, fhir, figures_to_reach, funnel_target, layout, margin_reasons, margins, service, synthetic, "
        "thresholds, windows."
    ),
    "[windows]\nreporting_lag = 3": (
        "clinic.toml, windows: key 'reporting_lag' is not known. Did you mean 'reporting_lag_days'?"
    ),
    "windows = 3": "clinic.toml, windows: must be a table with a line [name] of its own, got 3.",
    "synthetic = 'yes'": "clinic.toml, synthetic: must be true or false, got 'yes'.",
    "charted_by_exception = 'syncope'": (
        "clinic.toml, charted_by_exception: must be a list in square brackets, got 'syncope'."
    ),
    "margins = 0.1": "clinic.toml, margins: must be a table with a line [name] of its own, got 0.1.",
    "[windows]\nyear_days = 'a year'": "clinic.toml, windows, year_days: must be a number, got 'a year'.",
    "[windows]\nyear_days = -1": "clinic.toml, windows, year_days: must be a number not below 0, got -1.",
    "[windows]\nyear_days = true": "clinic.toml, windows, year_days: must be a number not below 0, got true.",
    "service = ['A']": "clinic.toml, service: must be text in quotes, got ['A'].",
    "[windows]\nyear_days = inf": "clinic.toml, windows, year_days: must be a number not below 0, got inf.",
    "[windows]\nhorizons = ['a year']": "clinic.toml, windows, horizons: must be a number, got 'a year'.",
    "charted_by_exception = [['syncope']]": (
        "clinic.toml, charted_by_exception: must be text in quotes, got ['syncope']."
    ),
    "[margins]\nexpulsion = 'two'": "clinic.toml, margins, expulsion: must be a number, got 'two'.",
    "[margins]\nexpulsion = -0.1": "clinic.toml, margins, expulsion: must be a number not below 0, got -0.1.",
    "[layout.headings]\npatient_ref = 3": (
        "clinic.toml, layout.headings, patient_ref: must be text in quotes, got 3."
    ),
    "[layout.codes]\nsyncope = 'yes'": (
        "clinic.toml, layout.codes.syncope: must be a table with a line [name] of its own, got 'yes'."
    ),
    "[windows]\nrate_bands = [182, 42]": (
        "clinic.toml, windows, rate_bands: must rise from left to right, such as [42, 182, 365], got [182, 42]."
    ),
    "[windows]\nrate_bands = [42, 42]": (
        "clinic.toml, windows, rate_bands: must rise from left to right, such as [42, 182, 365], got [42, 42]."
    ),
    "[layout.headings]\npatientref = 'A'": (
        "clinic.toml, layout.headings: column 'patientref' is not known. Did you mean 'patient_ref'?"
    ),
    "[layout]\ndate_order = 'month_day'": (
        "clinic.toml, layout, date_order: order 'month_day' is not known. Did you mean 'month_day_year'?"
    ),
    "[layout.units]\nsound_length_mm = 'inch'": (
        "clinic.toml, layout.units, sound_length_mm: unit 'inch' is not known. Write one of: mm, cm."
    ),
    "[layout.units]\nsound_lengt = 'cm'": (
        "clinic.toml, layout.units: column 'sound_lengt' is not known. Did you mean 'sound_length_mm'?"
    ),
    "[layout.codes.insertion_outcome]\nok = 'place'": (
        "clinic.toml, layout.codes.insertion_outcome, 'ok': code 'place' is not known. Did you mean 'placed'?"
    ),
    "[layout.codes.syncope]\nok = 'maybe'": (
        "clinic.toml, layout.codes.syncope, 'ok': code 'maybe' is not known. Write one of: no, unknown, yes."
    ),
    "charted_by_exception = ['vasovagal']": (
        "clinic.toml, charted_by_exception: column 'vasovagal' is not known. Did you mean 'vasovagal_grade'?"
    ),
    "funnel_target = '1.5'": (
        "clinic.toml, funnel_target: must be 'service', 'service_excluding_own' or a proportion between "
        "0 and 1, got '1.5'."
    ),
    "funnel_target = 'median'": (
        "clinic.toml, funnel_target: must be 'service', 'service_excluding_own' or a proportion between "
        "0 and 1, got 'median'."
    ),
}


@pytest.mark.parametrize("text", REFUSED)
def test_what_is_not_understood_is_refused_with_where_and_what_to_write(
    tmp_path: Path, text: str, tells_what_to_do: Callable[[str], bool]
) -> None:
    with pytest.raises(SettingsError) as refusal:
        read_settings(written(tmp_path, text))
    assert str(refusal.value) == REFUSED[text]
    assert tells_what_to_do(str(refusal.value))


def test_a_file_that_is_not_there_is_refused_by_its_name_alone(tmp_path: Path) -> None:
    with pytest.raises(SettingsError) as refusal:
        read_settings(tmp_path / "missing.toml")
    assert str(refusal.value) == ("missing.toml: cannot be read (No such file or directory). Check the path.")


@pytest.mark.parametrize("octets", [b"service = ", b"a b c", b"service = '\xff'"])
def test_a_file_that_is_not_toml_is_refused(tmp_path: Path, octets: bytes) -> None:
    path = tmp_path / "clinic.toml"
    path.write_bytes(octets)
    with pytest.raises(
        SettingsError, match=r"^clinic\.toml: is not a TOML file \(.*\)\. Correct that line\.$"
    ):
        read_settings(path)


def test_a_number_may_be_the_target_of_the_funnel(tmp_path: Path) -> None:
    assert read_settings(written(tmp_path, "funnel_target = '0.05'")).funnel_target == "0.05"
    assert read_settings(written(tmp_path, "funnel_target = 0.05")).funnel_target == "0.05"


def test_a_whole_number_will_do_where_a_decimal_is_meant_and_days_stay_whole(tmp_path: Path) -> None:
    found = read_settings(written(tmp_path, "[windows]\nemergency_hours = 96\nyear_days = 365\n"))
    assert isinstance(found.windows.emergency_hours, float)
    assert isinstance(found.windows.year_days, int)


def test_equal_settings_have_one_fingerprint_and_different_ones_another(tmp_path: Path) -> None:
    first = settings_fingerprint(read_settings(written(tmp_path, WHOLE)))
    turned = tomllib.loads(WHOLE)
    turned["layout"] = dict(reversed(turned["layout"].items()))
    assert settings_fingerprint(settings_from(dict(reversed(turned.items())))) == first
    assert settings_fingerprint(AuditSettings()) != first
    other = replace(AuditSettings(), thresholds=Thresholds(at_risk_floor=11))
    assert settings_fingerprint(other) != settings_fingerprint(AuditSettings())
    assert len(first) == 64


def test_settings_cannot_be_changed_in_passing() -> None:
    with pytest.raises(AttributeError):
        AuditSettings().service = "Other"  # type: ignore[misc]


def test_a_margin_for_an_outcome_that_nobody_publishes_is_refused_with_the_nearest() -> None:
    with pytest.raises(
        SettingsError, match=r"margins: outcome 'expulsions' is not known\. Did you mean 'expulsion'"
    ):
        settings_from({"margins": {"expulsions": 0.02}})
