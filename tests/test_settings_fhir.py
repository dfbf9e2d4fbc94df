"""The settings for FHIR and for workbooks: what is read, and what is refused with which words."""

import pytest

from audit.errors import SettingsError
from audit.settings import AuditSettings, Fhir, Layout, settings_fingerprint, settings_from


def test_codes_are_kept_as_they_are_written() -> None:
    codes = {
        "urn:x|fit": "visit_kind=insertion",
        "|pain": "pain_score",
        "urn:x|faint": ["vasovagal_grade=3", "syncope = yes"],
        "urn:x|pressure": [],
    }
    assert settings_from({"fhir": {"codes": codes}}).fhir == Fhir(codes=codes)


def test_a_sheet_may_be_named() -> None:
    assert settings_from({"layout": {"sheet": "Log 2026"}}).layout == Layout(sheet="Log 2026")
    assert AuditSettings().layout.sheet == ""


def test_codes_are_part_of_the_fingerprint() -> None:
    mapped = settings_from({"fhir": {"codes": {"urn:x|fit": "visit_kind=insertion"}}})
    assert settings_fingerprint(mapped) != settings_fingerprint(AuditSettings())


@pytest.mark.parametrize(
    ("codes", "words"),
    [
        (
            {"fit": "visit_kind=insertion"},
            "fhir.codes, 'fit': must be written as system|code, such as urn:clinic|fit.",
        ),
        (
            {"urn:x|": "visit_kind=insertion"},
            "fhir.codes, 'urn:x|': must be written as system|code, such as urn:clinic|fit.",
        ),
        ({"urn:x|fit": "visit_knd=insertion"}, "column 'visit_knd' is not known. Did you mean 'visit_kind'?"),
        (
            {"urn:x|fit": "visit_kind=insertoin"},
            "fhir.codes, 'urn:x|fit': code 'insertoin' is not known. Did you mean 'insertion'?",
        ),
        (
            {"urn:x|faint": ["vasovagal_grade=3", "syncope=perhaps"]},
            "'urn:x|faint': code 'perhaps' is not known. Write one of: no, unknown, yes.",
        ),
        ({"urn:x|fit": 3}, "fhir.codes, 'urn:x|fit': must be text or a list, got 3."),
        ({"urn:x|fit": [3]}, "fhir.codes, 'urn:x|fit': must be text in quotes, got 3."),
    ],
)
def test_a_code_that_stands_for_nothing_is_refused(codes: dict[str, object], words: str) -> None:
    with pytest.raises(SettingsError) as refused:
        settings_from({"fhir": {"codes": codes}}, where="clinic.toml")
    assert str(refused.value).startswith("clinic.toml, fhir")
    assert words in str(refused.value)


def test_a_misspelt_key_is_refused_with_the_nearest_one() -> None:
    with pytest.raises(
        SettingsError, match=r"clinic\.toml, fhir: key 'code' is not known\. Did you mean 'codes'\?"
    ):
        settings_from({"fhir": {"code": {}}}, where="clinic.toml")
    with pytest.raises(
        SettingsError,
        match=r"clinic\.toml, fhir: must be a table with a line \[name\] of its own, got 'x'",
    ):
        settings_from({"fhir": "x"}, where="clinic.toml")
