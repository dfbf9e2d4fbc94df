"""The tables of words behind a draft: consistent in themselves, and right on headings and codes of others."""

from collections import defaultdict

import pytest

from audit.ingest.drafting_code_words import CODE_WORDS
from audit.ingest.drafting_codes import match_code
from audit.ingest.drafting_headings import heading_likeness
from audit.ingest.drafting_privacy import may_be_shown
from audit.ingest.drafting_text import Ideas, ideas_of, likeness, phrases, plain_words, respelt
from audit.ingest.drafting_words import FILLERS, IDEAS
from audit.schema.column import Column
from audit.schema.terms import HEADING_WORDS
from audit.schema.visits import VISITS

CODED = [column for column in VISITS.columns if column.kind == "code"]


def test_a_word_stands_for_one_idea_only() -> None:
    words = [word for listed in IDEAS.values() for word in listed.split()]
    assert len(set(words)) == len(words)


def test_words_of_ideas_are_written_as_headings_are_read() -> None:
    for listed in IDEAS.values():
        for word in listed.split():
            assert plain_words(word.replace("_", " ")) == word.split("_"), word


def test_only_words_that_mean_something_alone_are_fillers_too() -> None:
    # "Para" heads a column of parity, "An" one of years; within a heading both are small words.
    both = {word for listed in IDEAS.values() for word in listed.split()} & FILLERS
    assert both == {"para", "an"}
    assert ideas_of("Para") == {"parity"}


def test_every_column_has_words_for_its_heading() -> None:
    assert set(HEADING_WORDS) == set(VISITS.names)


def test_every_phrase_for_a_heading_says_something() -> None:
    for name, listed in HEADING_WORDS.items():
        for phrase in listed.split("; "):
            assert ideas_of(phrase, no="number"), f"{name}: {phrase}"
            assert heading_likeness(phrase, VISITS[name]) == (1.0, False), f"{name}: {phrase}"


def columns_by_ideas() -> dict[Ideas, set[str]]:
    """The columns that each phrase stands for."""
    found: dict[Ideas, set[str]] = defaultdict(set)
    for name, listed in HEADING_WORDS.items():
        for ideas in phrases(listed, no="number"):
            found[ideas].add(name)
    return found


def test_a_phrase_stands_for_two_columns_only_where_values_tell_them_apart_or_nothing_can() -> None:
    assert {tuple(sorted(names)) for names in columns_by_ideas().values() if len(names) > 1} == {
        ("births", "parity_text"),  # numbers or notes
        ("supervised", "supervisor_ref"),  # yes and no, or codes of people
        ("event_date_reported", "visit_date"),  # "event date": the user must say
        ("device_in_situ", "position_finding"),  # "device position": words of one or the other
        ("clinician_ref", "site_ref"),  # "clin": the user must say
    }


def test_codes_are_given_words_only_where_they_exist() -> None:
    for name, codes in CODE_WORDS.items():
        assert set(codes) <= set(VISITS[name].codes)


@pytest.mark.parametrize("column", CODED, ids=lambda column: column.name)
def test_every_word_for_a_code_leads_to_it_or_to_nothing_sure(column: Column) -> None:
    name = column.name
    for code, listed in CODE_WORDS.get(name, {}).items():
        for phrase in listed.split("; "):
            match = match_code(phrase, name)
            assert match.certainty in ("own", "sure", "guess"), f"{name}, {code}: {phrase}"
            assert match.code == code or match.certainty == "guess", f"{name}, {code}: {phrase}"


@pytest.mark.parametrize(
    ("heading", "name"),
    [
        ("No. births", "births"),
        ("Number of births", "births"),
        ("Nombre d'accouchements", "births"),
        ("Anzahl Geburten", "births"),
        ("LSCS", "caesarean_births"),
        ("Keizersnedes", "caesarean_births"),
        ("Fecha de la visita", "visit_date"),
        ("Besuchsdatum", "visit_date"),
        ("DateOfVisit", "visit_date"),
        ("Leeftijd", "age_years"),
        ("Hysterometry (mm)", "sound_length_mm"),
        ("Motif du retrait", "removal_reason_main"),
        ("Reason for removal", "removal_reason_main"),
        ("Inserted by", "clinician_ref"),
        ("Weeks postpartum", "weeks_since_delivery"),
        ("Amamentação", "breastfeeding"),
        ("device_class", "device_class"),
    ],
)
def test_a_heading_is_told_by_what_it_means(heading: str, name: str) -> None:
    scores = {column.name: heading_likeness(heading, column)[0] for column in VISITS.columns}
    assert scores[name] == 1.0
    assert [other for other, score in scores.items() if score == 1.0] == [name]


def test_meaning_beats_the_likeness_of_letters() -> None:
    assert heading_likeness("No. births", VISITS["removal_reason_main"])[0] == 0.0


def test_a_misspelt_heading_is_found_but_never_quite_believed() -> None:
    score, spelt = heading_likeness("Insertoin outcome", VISITS["insertion_outcome"])
    assert spelt
    assert 0.6 < score < 1.0
    assert respelt("Vist date") == "Vist date"  # four letters are too few to mend


@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("insertion_outcome", "Coil fitted", "placed"),
        ("insertion_outcome", "Unable to insert", "failed"),
        ("insertion_outcome", "Could not fit", "failed"),
        ("insertion_outcome", "Not started", "deferred_not_started"),
        ("insertion_outcome", "Échec", "failed"),
        ("insertion_outcome", "Geplaatst", "placed"),
        ("insertion_outcome", "Aplazada", "deferred_not_started"),
        ("visit_kind", "Phone", "remote_contact"),
        ("visit_kind", "Retrait", "removal"),
        ("visit_kind", "Nachkontrolle", "follow_up"),
        ("device_class", "LNG 52mg", "lng_52"),
        ("device_class", "Hormonal 19,5", "lng_19_5"),
        ("device_class", "TCu380A", "copper_t_380"),
        ("removal_reason_main", "Wants to conceive", "wish_pregnancy"),
        ("contact_result", "Did not attend", "not_reached"),
        ("threads_seen", "Not seen", "no"),
    ],
)
def test_a_word_for_a_code_is_told_by_what_it_means(name: str, text: str, code: str) -> None:
    match = match_code(text, name)
    assert (match.code, match.certainty) == (code, "sure")


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("insertion_outcome", "Not fitted"),  # failed, or not started?
        ("insertion_outcome", "Stopped"),  # by whom?
        ("device_class", "Copper"),  # which?
        ("placement_timing", "Postpartum"),  # on the ward or later?
        ("placement_timing", "Post abortion"),  # the same day or later?
        ("device_in_situ", "In situ"),  # seen or said?
        ("device_in_situ", "Removed"),  # where?
        ("removal_reason_main", "Xyz"),
    ],
)
def test_a_word_that_could_mean_two_codes_is_never_sure(name: str, text: str) -> None:
    assert match_code(text, name).certainty in ("likely", "guess", "none")


def test_a_denial_is_never_taken_for_what_it_denies() -> None:
    assert likeness(ideas_of("Not started"), ideas_of("started")) == 0.0
    assert likeness(ideas_of("started"), ideas_of("not started")) == 0.0
    for text in ("Not fitted", "No removal", "Sans pose", "Could not remove"):
        assert match_code(text, "visit_kind").certainty == "none"


@pytest.mark.parametrize(
    ("text", "rows", "shown"),
    [
        ("See letter", 3, True),
        ("See letter", 2, False),
        ("Removed by Dr Jones", 9, False),
        ("07700 900123", 9, False),
        ("a@b.org", 9, False),
        ("born 1/2/99", 9, False),
        ("one two three four five six seven", 9, False),
        ("42", 9, False),
    ],
)
def test_only_words_that_several_rows_share_and_that_name_nobody_may_be_shown(
    text: str, rows: int, shown: bool
) -> None:
    assert may_be_shown(text, rows) is shown
