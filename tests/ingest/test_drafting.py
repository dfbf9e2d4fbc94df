"""Drafted settings: edits that the demonstration needs, what is never echoed, and what is refused."""

import tomllib
from pathlib import Path

import pytest
from pandas.testing import assert_frame_equal

from audit.errors import MissingColumns
from audit.ingest.drafting import draft_settings
from audit.ingest.load import load_visits
from audit.ingest.parse_words import code_words, flag_words, parse_code
from audit.ingest.read import open_source, read_rows
from audit.schema.visits import VISITS
from audit.settings import Layout, read_settings, settings_from
from synthetic_data.demo import write_demo


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demonstration's log and its own settings."""
    return write_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="module")
def draft(demo: tuple[Path, Path]) -> str:
    """The draft of the demonstration's log."""
    return draft_settings(demo[0])


def log(folder: Path, *lines: str, name: str = "log.csv") -> Path:
    """A log of these lines."""
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def code_of(text: str, name: str, layout: Layout) -> str | None:
    """The code that a text is read as."""
    words = {word.casefold(): code for word, code in layout.codes.get(name, {}).items()}
    return parse_code(
        words.get(text.casefold(), text), words=code_words(VISITS[name], flag_words((), (), ()))
    ).value


def edits(draft: Layout, right: Layout, path: Path) -> list[str]:
    """The entries under [layout] that a draft lacks or has otherwise, of those that bear on the log."""
    simple = ("date_order", "decimal_comma", "yes", "no", "unknown")
    found = [key for key in simple if getattr(draft, key) != getattr(right, key)]
    for name in VISITS.names:
        found += [f"heading of {name}"] if draft.headings.get(name) != right.headings.get(name) else []
        found += [f"unit of {name}"] if draft.units.get(name) != right.units.get(name) else []
    source = open_source(path)
    coded = {
        name: source.headings.index(heading)
        for name, heading in right.headings.items()
        if VISITS[name].kind == "code"
    }
    for name, column in read_rows(source, coded).columns.items():
        found += [
            f"{name}: {text}"
            for text in column.texts
            if text and code_of(text, name, draft) != code_of(text, name, right)
        ]
    return found


def test_the_draft_of_the_demonstration_needs_at_most_three_edits(
    demo: tuple[Path, Path], draft: str
) -> None:
    path, own = demo
    drafted = settings_from(tomllib.loads(draft))
    needed = edits(drafted.layout, read_settings(own).layout, path)
    assert len(needed) <= 3, needed
    # None is needed today, so the visits must be the same to the last cell.
    assert needed == []
    assert_frame_equal(load_visits(path, drafted).visits, load_visits(path, read_settings(own)).visits)


def test_the_count_of_edits_sees_every_kind_of_difference(demo: tuple[Path, Path]) -> None:
    path, own = demo
    right = read_settings(own).layout
    bare = Layout(headings={**right.headings, "age_years": "BMI"}, codes={**right.codes, "visit_kind": {}})
    found = edits(bare, right, path)
    assert len(found) == 11
    assert set(found) == {
        *("date_order", "heading of age_years", "unit of sound_length_mm"),
        *("unit of device_min_sound_mm", "unit of device_max_sound_mm"),
        *(
            f"visit_kind: {text}"
            for text in ("Fitting", "Phone call", "Check", "Take out", "Walk-in", "Swap")
        ),
    }


def test_a_draft_is_the_same_every_time_and_whatever_the_order_of_the_columns(tmp_path: Path) -> None:
    rows = [("Client no", "A1", "A2"), ("Date seen", "31/07/2026", "30/07/2026")]
    rows += [("Visit type", "Fitting", "Check"), ("Result", "Coil fitted", ""), ("Threads", "", "Yes")]
    forward = log(tmp_path, *(",".join(line) for line in zip(*rows, strict=True)), name="a.csv")
    backward = log(tmp_path, *(",".join(line) for line in zip(*rows[::-1], strict=True)), name="b.csv")
    assert draft_settings(forward) == draft_settings(forward) == draft_settings(backward)


def test_a_draft_can_be_used_as_it_stands(tmp_path: Path, draft: str) -> None:
    path = tmp_path / "clinic.toml"
    path.write_text(draft, encoding="utf-8")
    assert read_settings(path).layout.headings["visit_date"] == "Date seen"


def test_every_line_that_is_not_active_becomes_a_setting_when_its_mark_is_taken_away(tmp_path: Path) -> None:
    path = log(
        tmp_path,
        "Client no,Date seen,Appointment kind,Result,Yrs",
        *(f"A{i},1{i}/07/2026,Fitting,{('Coil fitted', 'Coil OK fitted')[i % 2]},3{i}" for i in range(8)),
    )
    marked = [line for line in draft_settings(path).splitlines() if line.startswith("# ") and " = " in line]
    proposals = [line for line in marked if "  # likely:" in line or "  # guess:" in line]
    assert any(line.startswith("# age_years") for line in proposals)
    for line in proposals:
        assert tomllib.loads(line.removeprefix("# "))


def test_guesses_are_not_applied(tmp_path: Path) -> None:
    path = log(tmp_path, "Client no,Date seen,Visit type,Result,Yrs", "A1,31/07/2026,Fitting,Coil fitted,31")
    text = draft_settings(path)
    assert '# age_years = "Yrs"  # guess:' in text
    assert "age_years" not in settings_from(tomllib.loads(text)).layout.headings


def test_an_ambiguous_date_order_is_left_to_the_user(tmp_path: Path) -> None:
    path = log(
        tmp_path,
        "Client no,Date seen,Visit type,Result",
        "A1,03/04/2026,Fitting,Coil fitted",
        "A2,05/06/2026,Fitting,Coil fitted",
    )
    text = draft_settings(path)
    assert "# Choose one date_order: all 2 dates by number fit either order.\n" in text
    assert '# date_order = "day_month_year"\n# date_order = "month_day_year"\n' in text
    assert settings_from(tomllib.loads(text)).layout.date_order == "iso"


def test_what_a_log_lacks_is_said_with_the_figures_it_costs(tmp_path: Path) -> None:
    text = draft_settings(log(tmp_path, "Client no,Date seen,Result,Room", "A1,2026-07-31,Coil fitted,3"))
    assert "#   no audit at all without visit_kind\n" in text
    assert "#   Failed insertions per clinician: needs clinician_ref\n" in text
    assert "# Headings that are left unmapped:\n#   'Room'\n" in text


SECRETS = ("Sarah", "Cooper", "9434765919", "QX7421", "14/02/1991", "07700", "sarah@", "moved house")


def test_no_value_that_could_identify_is_echoed(tmp_path: Path) -> None:
    lines = [
        f"QX742{i},14/02/1991,Sarah Cooper,9434765919,1{i}/07/2026,Fitting,Sarah,Coil fitted,"
        f"Sarah Cooper moved house {i},07700 90012{i},sarah@clinic.org"
        for i in range(9)
    ]
    lines += ["QX7429,14/02/1991,Anne Cooper,9434765919,19/07/2026,Fitting,Cooper,Told Sarah,,,"] * 2
    heading = "Client no,Date of birth,Surname,NHS no,Date seen,Visit type,Fitter,Result,Notes,Phone,E-mail"
    text = draft_settings(log(tmp_path, heading, *lines))
    assert not [secret for secret in SECRETS if secret in text]
    assert "# Columns that may say who a woman is; take them out of the export:\n" in text
    assert "(a column of names)" in text
    assert settings_from(tomllib.loads(text)).layout.headings["patient_ref"] == "Client no"


def test_no_value_of_the_demonstration_but_words_for_codes_stands_in_its_draft(
    demo: tuple[Path, Path], draft: str
) -> None:
    path, own = demo
    layout = read_settings(own).layout
    source = open_source(path)
    kept = {
        name: source.headings.index(heading)
        for name, heading in layout.headings.items()
        if VISITS[name].kind in ("reference", "text", "date")
    }
    columns = read_rows(source, kept).columns
    texts = {text for column in columns.values() for text in column.texts if len(text) > 2}
    words = set(draft.replace('"', " ").replace(",", " ").split())
    assert len(texts) > 15_000
    # 6,305 and the like are counts with a comma; a reference or date would stand whole.
    assert texts & words == set()


@pytest.mark.parametrize("heading", ['We said "so"', "Back\\slash", "Tab\there", "Ünïcode 🙂", "'single'"])
def test_any_heading_makes_a_valid_file(tmp_path: Path, heading: str) -> None:
    quoted = heading.replace('"', '""')
    path = log(
        tmp_path, f'Client no,Date seen,Visit type,"Result {quoted}"', "A1,2026-07-31,Fitting,Coil fitted"
    )
    tomllib.loads(draft_settings(path))


def test_two_files_are_drafted_as_one_log(tmp_path: Path) -> None:
    first = log(tmp_path, "Client no,Date seen,Visit type,Result", "A1,31/07/2026,Fitting,Coil fitted")
    second = log(
        tmp_path, "Client_no,Date seen,Visit type,Fitter", "A1,30/08/2026,Check,AB", name="second.csv"
    )
    text = draft_settings([first, second])
    layout = settings_from(tomllib.loads(text)).layout
    assert "2 files with 2 rows" in text
    assert {"insertion_outcome", "clinician_ref", "patient_ref"} <= set(layout.headings)
    assert layout.codes["visit_kind"] == {"Check": "follow_up", "Fitting": "insertion"}


def test_a_file_without_known_headings_is_refused_without_its_first_line(tmp_path: Path) -> None:
    path = log(tmp_path, "W00172,31.07.2026,Sarah Cooper", "W00173,30.07.2026,Anne Cooper")
    with pytest.raises(MissingColumns, match=r"^log\.csv: no heading is recognised\.") as refusal:
        draft_settings(path)
    assert "Cooper" not in str(refusal.value)


def test_headings_further_down_are_named_by_their_line(tmp_path: Path) -> None:
    path = log(
        tmp_path, "Export of the clinic", "", "Client no,Date seen,Visit type,Result", "A1,1/7/2026,Fitting,"
    )
    with pytest.raises(MissingColumns, match="the headings seem to stand on line 3"):
        draft_settings(path)


def test_no_file_is_a_wrong_argument() -> None:
    with pytest.raises(ValueError, match="paths must name at least one file, got none"):
        draft_settings([])


def test_a_log_with_headings_only_can_be_drafted(tmp_path: Path) -> None:
    text = draft_settings(log(tmp_path, "Client no,Date seen,Visit type,Result"))
    assert '# visit_kind = "Visit type"  # likely: the heading means it; nothing is written in it' in text
    assert settings_from(tomllib.loads(text)).layout.headings == {}
