"""Words for yes, no and unknown in six languages, and the kinds of unknown."""

import pytest

from audit.ingest.parse import Reading
from audit.ingest.parse_kinds import unknown_kind
from audit.ingest.parse_words import code_words, flag_words, parse_code, parse_flag
from audit.schema.terms import NO_IN, NO_WORDS, TWO_FACED_WORDS, UNKNOWN_KINDS, YES_IN, YES_WORDS
from audit.schema.visits import VISITS

FLAGS = flag_words((), (), ())


# Any dictionary of these languages has these words.
@pytest.mark.parametrize(
    ("yes", "no"),
    [
        ("yes", "no"),
        ("oui", "non"),
        ("ja", "nein"),
        ("sí", "no"),
        ("si", "no"),
        ("sim", "não"),
        ("ja", "nee"),
    ],
)
def test_yes_and_no_are_read_in_six_languages(yes: str, no: str) -> None:
    for spelt in (str, str.upper, str.capitalize):
        assert parse_flag(spelt(yes), words=FLAGS) == Reading(True)
        assert parse_flag(spelt(no), words=FLAGS) == Reading(False)


def test_a_word_that_is_yes_in_one_language_and_no_in_another_is_left_out_and_listed() -> None:
    # "o" is oui in French and onwaar in Dutch.
    assert TWO_FACED_WORDS == ("o",)
    assert parse_flag("O", words=FLAGS).reason == "unknown_word"
    assert parse_flag("O", words=flag_words(("o",), (), ())) == Reading(True)


def test_every_other_word_of_the_six_languages_is_read_and_none_is_both() -> None:
    assert not set(YES_WORDS) & set(NO_WORDS)
    for table, meaning in ((YES_IN, True), (NO_IN, False)):
        for word in {word for words in table.values() for word in words} - set(TWO_FACED_WORDS):
            assert parse_flag(word, words=FLAGS) == Reading(meaning)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("unknown", "not_known"),
        ("?", "not_known"),
        ("ne sait pas", "not_known"),
        ("Not recorded", "not_recorded"),
        ("keine Angabe", "not_recorded"),
        ("not asked", "not_asked"),
        ("niet gevraagd", "not_asked"),
        ("Declined to say", "declined"),
        ("prefer not to say", "declined"),
        ("N/A", "not_applicable"),
        ("no aplica", "not_applicable"),
        ("", ""),
        ("-", ""),
        ("yes", ""),
        ("perhaps", ""),
    ],
)
def test_the_kinds_of_unknown_are_told_apart(text: str, kind: str) -> None:
    reading = parse_flag(text, words=FLAGS)
    assert unknown_kind(text, reading) == kind
    if kind:
        assert reading.value is None
        assert reading.reason in ("", "blank")


def test_a_word_of_the_log_for_unknown_is_not_known() -> None:
    assert unknown_kind(
        "weet ik niet", parse_flag("weet ik niet", words=flag_words((), (), ("weet ik niet",)))
    ) == ("not_known")


def test_declined_is_a_value_where_the_column_has_that_code() -> None:
    reading = parse_code("Declined", words=code_words(VISITS["bridging_method_given"], FLAGS))
    assert reading == Reading("declined")
    assert unknown_kind("Declined", reading) == ""


def test_declined_is_unknown_in_a_column_of_codes_but_never_in_an_outcome() -> None:
    assert parse_code("declined", words=code_words(VISITS["placement_timing"], FLAGS)) == Reading("unknown")
    # A woman who declined has an outcome; which one, the settings must say.
    for name in ("insertion_outcome", "device_in_situ", "removal_reason_main", "visit_kind"):
        assert parse_code("declined", words=code_words(VISITS[name], FLAGS)).reason == "unknown_code"


def test_no_word_is_of_two_kinds() -> None:
    words = [word for words in UNKNOWN_KINDS.values() for word in words]
    assert len(set(words)) == len(words)
    assert all(word == word.casefold() for word in words if "ß" not in word)
