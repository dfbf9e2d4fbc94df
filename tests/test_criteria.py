"""Criteria as a service has them: the package's own, changed, added, retired; and every refusal in one sentence."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from audit.criteria import criteria_in_force
from audit.errors import SettingsError
from audit.schema.checklists import CHECKLISTS
from audit.schema.criteria_page import library_entries
from audit.schema.criterion import (
    ATTESTED,
    DIRECTIONS,
    FIGURES,
    KINDS,
    NO_SOURCE,
    Criterion,
    counted_words,
    indicator_of,
)
from audit.schema.indicators import BY_TABLE
from audit.settings import AuditSettings, read_settings, settings_fingerprint, settings_from

OWN: Mapping[str, Any] = {
    "id": "few_faints",
    "kind": "outcome",
    "sentence": "Loss of consciousness is rare.",
    "figure": "syncope",
    "direction": "at_most",
    "target": 0.02,
    "source": NO_SOURCE,
    "effective_from": "2026-07-01",
}


def named(criteria: tuple[Criterion, ...]) -> dict[str, Criterion]:
    """Criteria by their id."""
    return {criterion.id: criterion for criterion in criteria}


def test_every_criterion_of_the_package_is_whole_and_its_entry_would_pass_as_a_services_own() -> None:
    entries = library_entries()
    ids = [entry["id"] for entry in entries]
    assert len(ids) == len(set(ids)) >= 31
    for entry in entries:
        (criterion,) = [one for one in criteria_in_force() if one.id == entry["id"]]
        assert criterion.kind in KINDS
        assert criterion.direction in DIRECTIONS
        assert all([criterion.title, criterion.sentence, criterion.source, criterion.version])
        assert criterion.figure in FIGURES or criterion.figure == ATTESTED
        # Refused unless it has all that a service's own must have.
        criteria_in_force([{**entry, "id": f"{entry['id']}_again"}])


def test_every_source_was_read_or_says_that_there_is_none_or_that_it_was_not_verified() -> None:
    for criterion in criteria_in_force():
        honest = ("read", NO_SOURCE, "not verified", "see the section")
        assert any(words in criterion.source for words in honest), criterion.id


def test_the_three_kinds_are_all_there_and_nothing_sets_a_target_for_continuation_or_removal() -> None:
    criteria = criteria_in_force()
    assert {criterion.kind for criterion in criteria} == set(KINDS)
    assert not [
        one.id for one in criteria if one.target is not None and ("contin" in one.id or "remov" in one.id)
    ]
    # How soon a removal follows a request may have one: it rewards the opposite.
    assert [name for name in FIGURES if "contin" in name or "remov" in name] == ["removal_on_request"]


def test_every_figure_has_a_declaration_that_says_how_it_is_counted() -> None:
    for name in FIGURES:
        assert indicator_of(name) in BY_TABLE
    for criterion in criteria_in_force():
        assert all(counted_words(criterion))


def test_without_settings_nothing_is_changed_and_version_1_holds() -> None:
    assert {(one.version, one.changed, one.retired) for one in criteria_in_force()} == {("1", "", False)}


def test_a_new_target_is_a_local_change_and_leaves_the_version_as_it_is() -> None:
    changed = named(criteria_in_force([{"id": "pain_options", "target": 0.9}]))["pain_options"]
    assert (changed.target, changed.version, changed.changed) == (0.9, "1", "target")


def test_the_same_value_again_is_no_change() -> None:
    same = named(criteria_in_force([{"id": "pain_options", "target": 1.0}]))["pain_options"]
    assert same.changed == ""


def test_a_change_of_what_is_counted_marks_the_version_each_time_in_the_same_way() -> None:
    entry = {"id": "check_done", "by": "site_ref", "stratum": "QUAY"}
    first, second = (named(criteria_in_force([entry]))["check_done"] for _ in range(2))
    assert first.version.startswith("1.")
    assert first.version == second.version
    other = named(criteria_in_force([{**entry, "stratum": "HILL"}]))["check_done"]
    assert other.version != first.version
    assert first.changed == "by, stratum"


def test_a_service_may_name_the_version_itself() -> None:
    own = named(
        criteria_in_force([{"id": "resistance_handled", "figure": "uterus_measured", "version": "2"}])
    )
    assert (own["resistance_handled"].version, own["resistance_handled"].changed) == ("2", "figure, version")


def test_a_retired_criterion_is_marked_and_one_of_the_services_own_comes_last() -> None:
    criteria = criteria_in_force([dict(OWN), {"id": "batch_recorded", "retired": True}])
    assert criteria[-1].id == "few_faints"
    assert (criteria[-1].changed, criteria[-1].title) == ("added", "Loss of consciousness is rare.")
    assert named(criteria)["batch_recorded"].retired


def test_an_answer_is_kept_with_its_day_and_is_no_change() -> None:
    entry = {"id": "emergency_drugs", "attested": "no", "attested_on": "2026-07-01"}
    held = named(criteria_in_force([entry]))["emergency_drugs"]
    assert (held.attested, held.attested_on, held.changed) == ("no", "2026-07-01", "")


REFUSALS: list[tuple[list[dict[str, Any]], str]] = [
    (
        [{"id": "resistance_handled", "target": 0.8}, {"id": "resistance_handled", "retired": True}],
        "settings, criteria: two criteria have the id 'resistance_handled'. Rename one.",
    ),
    (
        [{**OWN, "figure": "pain_option"}],
        "settings, criteria, 'few_faints': figure 'pain_option' is not known. Did you mean 'pain_options'?",
    ),
    (
        [{"id": "resistance_handled", "target": 1.2}],
        "settings, criteria, 'resistance_handled', target: must be a number from 0 to 1, got 1.2.",
    ),
    (
        [{"id": "resistance_handled", "target": True}],
        "settings, criteria, 'resistance_handled', target: must be a number from 0 to 1, got True.",
    ),
    (
        [{key: value for key, value in OWN.items() if key != "source"}],
        (
            "settings, criteria, 'few_faints': has no source. Write where it comes from, or "
            "'local standard, common practice, no source'."
        ),
    ),
    (
        [{"id": "resistance_handled", "source": "  "}],
        (
            "settings, criteria, 'resistance_handled': has no source. Write where it comes from, or "
            "'local standard, common practice, no source'."
        ),
    ),
    (
        [{"id": "resistance_handled", "effective_from": "2026-13-01"}],
        "settings, criteria, 'resistance_handled', effective_from: is not a date. Write it as 2026-09-30.",
    ),
    (
        [{"id": "referral_path", "attested": "yes", "attested_on": 2026}],
        "settings, criteria, 'referral_path', attested_on: is not a date. Write it as 2026-09-30.",
    ),
    (
        [{"id": "referral_path", "attested": "maybe"}],
        "settings, criteria, 'referral_path', attested: must be 'yes' or 'no', got 'maybe'.",
    ),
    (
        [{"id": "resistance_handled", "attested": "yes"}],
        (
            "settings, criteria, 'resistance_handled': is counted from the log, so it cannot be attested. Leave "
            "the answer out."
        ),
    ),
    (
        [{"id": "pain_option", "target": 0.9}],
        (
            "settings, criteria, 'pain_option': has no kind, which a criterion of your own needs. Write "
            "one. Or did you mean 'pain_options'?"
        ),
    ),
    (
        [{"target": 0.9}],
        "settings, criteria, number 1: has no id, which a criterion of your own needs. Write one.",
    ),
    (
        [{"id": "resistance_handled", "goal": 0.9}],
        (
            "settings, criteria, 'resistance_handled': key 'goal' is not known. Write one of: attested, "
            "attested_on, by, denominator, direction, effective_from, exceptions, figure, id, kind, numerator, "
            "retired, sentence, source, stratum, target, title, version."
        ),
    ),
    (
        [{"id": "resistance_handled", "stratum": "QUAY"}],
        (
            "settings, criteria, 'resistance_handled': has one of by and stratum without the other. Write both, or "
            "neither."
        ),
    ),
    (
        [{"id": "resistance_handled", "kind": "proces"}],
        "settings, criteria, 'resistance_handled': kind 'proces' is not known. Did you mean 'process'?",
    ),
    (
        [{"id": "resistance_handled", "retired": "yes"}],
        "settings, criteria, 'resistance_handled', retired: must be true or false, got 'yes'.",
    ),
    (
        [{**OWN, "figure": "continuation_curve"}],
        (
            "settings, criteria, 'few_faints': Continuation and removal have no target: a target would reward "
            "reluctance to take a device out when a woman asks. They are described, never judged. Leave this "
            "criterion "
            "out."
        ),
    ),
]


@pytest.mark.parametrize(("entries", "sentence"), REFUSALS, ids=[refused for _, refused in REFUSALS])
def test_what_cannot_be_a_criterion_is_refused_in_a_sentence(
    entries: list[dict[str, Any]], sentence: str
) -> None:
    with pytest.raises(SettingsError) as refused:
        settings_from({"criteria": entries})
    assert str(refused.value) == sentence


def test_criteria_that_are_no_list_of_tables_are_refused() -> None:
    for wrong in ("pain", ["pain"], {"id": "resistance_handled"}):
        with pytest.raises(
            SettingsError, match=r"^settings, criteria: must be written as \[\[criteria\]\], got"
        ):
            settings_from({"criteria": wrong})


def test_settings_with_dates_of_toml_are_read_and_have_a_fingerprint(tmp_path: Path) -> None:
    path = tmp_path / "clinic.toml"
    path.write_text(
        '[[criteria]]\nid = "referral_path"\nattested = "yes"\nattested_on = 2026-07-01\n', encoding="utf-8"
    )
    settings = read_settings(path)
    assert settings.criteria == ({"id": "referral_path", "attested": "yes", "attested_on": "2026-07-01"},)
    assert settings_fingerprint(settings) != settings_fingerprint(AuditSettings())


def test_the_two_guides_have_all_their_items_once() -> None:
    # RECORD: 13 items (Benchimol EI et al, PLoS Med 2015;12:e1001885); SQUIRE 2.0: 18 (Ogrinc G et al, BMJ Qual Saf
    # 2016;25:986-992).
    numbers = [(asked.guide, asked.number) for asked in CHECKLISTS]
    assert len(numbers) == len(set(numbers))
    assert [number for guide, number in numbers if guide == "SQUIRE 2.0"] == [str(n) for n in range(1, 19)]
    assert len([guide for guide, _ in numbers if guide == "RECORD"]) == 13
