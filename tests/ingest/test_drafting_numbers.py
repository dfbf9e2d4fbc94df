"""Drafts of logs in which numbers stand for codes: what a heading says is taken, the rest is left to say."""

import tomllib
from pathlib import Path

import pytest
from pandas.testing import assert_frame_equal

from audit.errors import SettingsError
from audit.ingest.drafting import draft_settings
from audit.ingest.drafting_numbers import key_of, without_key
from audit.ingest.load import load_visits
from audit.settings import AuditSettings, settings_from

# Common practice, no source: a register with a coding list of its own.
CODES = {"Type of visit": {"insertion": "1", "follow_up": "2"}, "Outcome": {"placed": "1", "failed": "2"}}
WORDS = """\
Client no,Date seen,Type of visit,Outcome,Syncope
A1,2026-07-01,insertion,placed,no
A2,2026-07-01,insertion,failed,yes
A3,2026-07-02,insertion,placed,no
A1,2026-08-10,follow_up,,
"""


def log(folder: Path, text: str, name: str = "log.csv") -> Path:
    """A log of this text."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def in_numbers(text: str) -> str:
    """The same log with a number for each code."""
    for codes in CODES.values():
        for word, number in codes.items():
            text = text.replace(f",{word},", f",{number},")
    return text


def settings_of(draft: str) -> AuditSettings:
    """The settings that a draft makes as it stands."""
    return settings_from(tomllib.loads(draft))


def lines(draft: str, start: str) -> list[str]:
    """The lines of a draft that start so."""
    return [line for line in draft.splitlines() if line.startswith(start)]


def test_every_number_is_listed_in_order_with_its_rows_and_none_is_given_a_meaning(tmp_path: Path) -> None:
    draft = draft_settings(log(tmp_path, in_numbers(WORDS)))
    assert lines(draft, '# "') == [
        '# "1" = ""  # 3 rows; only a number: choose a code',
        '# "2" = ""  # 1 row; only a number: choose a code',
        '# "1" = ""  # 2 rows; only a number: choose a code',
        '# "2" = ""  # 1 row; only a number: choose a code',
    ]
    assert (
        '# visit_kind = "Type of visit"  # likely: the heading means it; numbers stand for its codes: '
        "say below for which" in draft
    )
    assert settings_of(draft).layout.codes == {"visit_kind": {}, "insertion_outcome": {}}


def test_with_the_codes_filled_in_the_log_reads_as_if_it_were_written_in_words(tmp_path: Path) -> None:
    draft = draft_settings(log(tmp_path, in_numbers(WORDS)))
    for heading, column in (("Type of visit", "visit_kind"), ("Outcome", "insertion_outcome")):
        draft = draft.replace(f"# {column} = ", f"{column} = ")
        before, table = draft.split(f"[layout.codes.{column}]")
        for code, number in CODES[heading].items():
            table = table.replace(f'# "{number}" = ""', f'"{number}" = "{code}"', 1)
        draft = f"{before}[layout.codes.{column}]{table}"
    numbers = load_visits(tmp_path / "log.csv", settings_of(draft))
    words_log = log(tmp_path, WORDS, "words.csv")
    words = load_visits(words_log, settings_of(draft_settings(words_log)))
    assert_frame_equal(numbers.visits, words.visits)


def test_a_code_that_is_left_empty_is_refused_with_what_to_write(tmp_path: Path) -> None:
    draft = draft_settings(log(tmp_path, in_numbers(WORDS))).replace('# "1"', '"1"')
    with pytest.raises(
        SettingsError, match=r"layout\.codes\.visit_kind: '1' is mapped to nothing\. Write one"
    ):
        settings_of(draft)


def test_what_a_heading_says_of_its_numbers_is_taken_at_its_word(tmp_path: Path) -> None:
    text = in_numbers(WORDS).replace(",Outcome,", ',"Outcome (1=placed, 2=could not fit)",')
    draft = draft_settings(log(tmp_path, text.replace("Type of visit", "Type of visit: fit=1; check=2")))
    assert settings_of(draft).layout.codes == {
        "visit_kind": {"1": "insertion", "2": "follow_up"},
        "insertion_outcome": {"1": "placed", "2": "failed"},
    }
    assert "# sure: 2 rows; the heading says so (read without an entry)" in draft


@pytest.mark.parametrize(
    ("heading", "key", "bare"),
    [
        ("Outcome (1=placed, 2=failed)", {"1": "placed", "2": "failed"}, "Outcome ("),
        ("Outcome 1 = placed / 2 = failed", {"1": "placed", "2": "failed"}, "Outcome "),
        ("Pain (0-10)", {}, "Pain (0-10)"),
        ("Sound length (mm)", {}, "Sound length (mm)"),
        ("Seen at 10:30", {}, "Seen at 10:30"),
    ],
)
def test_a_key_is_found_only_where_there_is_one(heading: str, key: dict[str, str], bare: str) -> None:
    assert key_of(heading) == key
    assert without_key(heading) == bare


def flags(folder: Path, heading: str, *cells: str) -> str:
    """The draft of a log with this column of flags."""
    rows = [f"A{number},2026-07-01,insertion,placed,{cell}" for number, cell in enumerate(cells)]
    head = f"Client no,Date seen,Type of visit,Outcome,{heading}"
    return draft_settings(log(folder, "\n".join([head, *rows]) + "\n"))


def test_one_and_two_are_guessed_to_be_yes_and_no_and_nothing_is_applied(tmp_path: Path) -> None:
    draft = flags(tmp_path, "Syncope", *"1222292")
    assert lines(draft, "# no") == [
        '# no = ["2"]  # guess: 5 rows; often used for no; look in your coding list'
    ]
    assert lines(draft, "# unknown") == [
        '# unknown = ["9"]  # guess: 1 row; often used for unknown; look in your coding list'
    ]
    assert '# syncope = "Syncope"  # likely: the heading means it; the values are 1 and 2' in draft
    assert settings_of(draft).layout.no == ()


def test_one_and_nought_are_yes_and_no_without_a_word(tmp_path: Path) -> None:
    draft = flags(tmp_path, "Syncope", *"1000")
    assert 'syncope = "Syncope"  # sure: the heading means it; all values are yes or no' in draft.splitlines()
    assert lines(draft, "# no") == []


def test_a_heading_that_turns_the_usual_numbers_round_is_believed(tmp_path: Path) -> None:
    draft = flags(tmp_path, "Syncope (1=no 2=yes)", *"1112")
    assert lines(draft, "# no") == ['# no = ["1"]  # likely: 3 rows; a heading says so']
    assert lines(draft, "# yes") == ['# yes = ["2"]  # likely: 1 row; a heading says so']


def test_numbers_up_to_three_are_a_grade_and_no_yes_or_no(tmp_path: Path) -> None:
    draft = flags(tmp_path, "Vasovagal", *"0000000001230")
    (line,) = lines(draft, "# vasovagal")
    assert line.startswith(
        '# vasovagal_grade = "Vasovagal"  # likely: the heading says part of it; all values'
    )
    assert lines(flags(tmp_path, "Vasovagal", *"0001"), "vasovagal") == [
        'vasovagal_reaction = "Vasovagal"  # sure: the heading means it; all values are yes or no'
    ]


def test_a_number_of_three_digits_is_no_code_and_is_never_shown(tmp_path: Path) -> None:
    text = in_numbers(WORDS).replace("insertion,2", "insertion,417").replace(",1,2,", ",1,417,")
    draft = draft_settings(log(tmp_path, text))
    assert "417" not in draft


def test_yes_and_no_under_a_heading_for_trainees_are_a_guess(tmp_path: Path) -> None:
    draft = flags(tmp_path, "Trainee", *"YNNY")
    assert lines(draft, '# "Y"') == [
        '# "Y" = "in_training"  # guess: 2 rows; right if the column asks who is in training'
    ]
    assert settings_of(draft).layout.codes["training_status"] == {}


def test_an_answer_before_the_words_does_not_turn_them_round(tmp_path: Path) -> None:
    cells = ["Y", "N - failed", "Deferred", "Y"]
    rows = [f"A{number},2026-07-01,Fitting,{cell}" for number, cell in enumerate(cells)]
    draft = draft_settings(log(tmp_path, "\n".join(["Client no,Date seen,Visit type,Fit?", *rows]) + "\n"))
    assert lines(draft, "# insertion_outcome") == [
        '# insertion_outcome = "Fit?"  # likely: the heading says part of it; all values are words for its codes'
    ]
    assert '"N - failed" = "failed"  # sure' in draft
    assert '# "Y" = "placed"  # guess: 2 rows; right if the column asks whether it was placed' in draft


def test_a_reason_is_the_second_one_only_where_the_heading_says_so(tmp_path: Path) -> None:
    for heading, name in (("Rem reason", "main"), ("Second removal reason", "second")):
        draft = flags(tmp_path, heading, "bleeding", "pain", "bleeding")
        assert f'removal_reason_{name} = "{heading}"' in draft


def test_the_only_column_of_dates_is_guessed_to_be_the_visits_with_its_order(tmp_path: Path) -> None:
    text = (
        "Client no,DOA,Visit type,Result\nA1,31/07/2026,Fitting,Coil fitted\nA2,30/07/2026,Fitting,Placed\n"
    )
    draft = draft_settings(log(tmp_path, text))
    assert (
        '# visit_date = "DOA"  # guess: the heading says nothing; no other column that is left holds dates'
        in draft
    )
    assert lines(
        draft, '# date_order = "day_month_year"  # likely: 2 dates can only be read with the day first'
    )
    two = text.replace("Result", "Result,Other").replace("fitted\n", "fitted,2026-07-01\n")
    assert "visit_date =" not in draft_settings(log(tmp_path, two.replace("Placed\n", "Placed,2026-07-02\n")))
