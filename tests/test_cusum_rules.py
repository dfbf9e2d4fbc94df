"""What a service may decide about cumulative sums, and what is refused."""

import pytest

from audit.errors import SettingsError
from audit.schema.cusum_rules import CusumRules
from audit.settings import AuditSettings, settings_from


def test_without_a_word_the_service_stands_for_acceptable_and_false_signals_are_rare() -> None:
    rules = AuditSettings().cusum
    assert (rules.acceptable, rules.unacceptable, rules.odds_ratio) == (0, 0, 2)
    assert (rules.false_signal, rules.within_attempts) == (0.05, 100)
    assert (rules.learning_limit, rules.monitoring_limit) == (0, 0)


def test_a_service_sets_its_own_levels_and_limits() -> None:
    told = {"acceptable": 0.05, "unacceptable": 0.1, "within_attempts": 50, "learning_limit": 3}
    found = settings_from({"cusum": told}).cusum
    assert found == CusumRules(acceptable=0.05, unacceptable=0.1, within_attempts=50, learning_limit=3.0)
    assert isinstance(found.learning_limit, float)


REFUSED = {
    "acceptable = 0.05": "unacceptable: is not set. Set both acceptable and unacceptable, or leave both out.",
    "unacceptable = 0.05": "acceptable: is not set. Set both acceptable and unacceptable, or leave both out.",
    "acceptable = 0.1, unacceptable = 0.1": (
        "unacceptable: must be a proportion above acceptable (0.1) and below 1, got 0.1."
    ),
    "acceptable = 0.1, unacceptable = 1.0": (
        "unacceptable: must be a proportion above acceptable (0.1) and below 1, got 1.0."
    ),
    "acceptable = 5.0, unacceptable = 10.0": "acceptable: must be a proportion below 1, got 5.0.",
    "odds_ratio = 1.0": "odds_ratio: must be above 1, got 1.0.",
    "false_signal = 0.0": "false_signal: must be a proportion between 0 and 1, got 0.0.",
    "false_signal = 5": "false_signal: must be a proportion between 0 and 1, got 5.0.",
    "within_attempts = 0": "within_attempts: must be 1 or more, got 0.",
    "limit = 2": (
        "key 'limit' is not known. Write one of: acceptable, false_signal, learning_limit, monitoring_limit, "
        "odds_ratio, unacceptable, within_attempts."
    ),
    "monitoring_limit = -2": "monitoring_limit: must be a number not below 0, got -2.",
}


@pytest.mark.parametrize("written", REFUSED)
def test_rules_that_make_no_test_are_refused(written: str) -> None:
    told = {key: float(value) for key, value in (pair.split(" = ") for pair in written.split(", "))}
    if written.startswith(("within", "monitoring")):
        told = {key: int(value) for key, value in told.items()}
    with pytest.raises(SettingsError) as refusal:
        settings_from({"cusum": told})
    assert str(refusal.value).removeprefix("settings, cusum").lstrip(",: ") == REFUSED[written]
