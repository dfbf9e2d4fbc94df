"""Each clinician's own counts, figures, events and completeness, by hand; and the rule of who is told what."""

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.clinician_tables import clinician_tables
from audit.cohort import derive_cohort
from audit.cycle import read_record
from audit.ingest.load import load_visits
from audit.measures.clinician_events import COLUMNS, clinician_events
from audit.measures.clinician_figures import (
    beside_the_service,
    clinician_counts,
    clinician_figures,
    clinicians_with_sheets,
)
from audit.measures.clinicians import failed_insertions_by_clinician
from audit.measures.data_quality import field_completeness
from audit.records import AuditResults, Cohort, VisitLog
from audit.run import run_audit
from audit.settings import AuditSettings, Thresholds
from reports.export import record_text

# C1 began six: two placed, one failed for pain, one taken over by C2, one put off, one without an outcome.
HEADING = (
    "patient_ref|visit_date|visit_kind|visit_ref|clinician_ref|completed_by_ref|insertion_outcome|supervised|"
    "failure_reason|vasovagal_grade|perforation_suspected|pain_score|vaginal_births|caesarean_births|"
    "device_in_situ|attempts_same_visit\n"
)
DRAWN = (
    HEADING
    + """\
W1|2026-07-01|insertion|V1|C1||placed|no||0|no|3|0|0||1
W2|2026-07-02|insertion|V2|C1||placed|no||2|no|8|1|0||2
W3|2026-07-03|insertion|V3|C1||failed|no|pain|1|no|9|0|0||
W4|2026-07-04|insertion|V4|C1|C2|placed|no|could_not_pass_internal_os||no||0|0||1
W5|2026-07-05|insertion|V5|C1||deferred_not_started|no||||||||
W6|2026-07-06|insertion|V6|C1||unknown|no||||||||
W7|2026-07-07|insertion|V7|C2||failed|yes|could_not_sound|4|sound|5|0|1||
W8|2026-07-08|insertion|V8|||failed|no|pain|0|no|2|0|0||
W2|2026-08-12|follow_up|F2|C9||||||||||complete_expulsion|
"""
)
FIRST, LAST = pd.Timestamp("2026-07-01"), pd.Timestamp("2026-09-30")


@pytest.fixture
def cohort(cohort_of: Callable[..., Cohort]) -> Cohort:
    """The drawn log."""
    return cohort_of(DRAWN)


def counted(attempts: pd.DataFrame, clinician: str) -> dict[str, int]:
    """The items of one clinician."""
    table = clinician_counts(attempts)
    return dict(table.loc[table["stratum"] == clinician, ["item", "n"]].itertuples(index=False))


def test_every_attempt_is_counted_with_the_clinician_who_owns_it(cohort: Cohort) -> None:
    assert counted(cohort.attempts, "C1") == {
        "begun": 5,
        "placed": 2,
        "failed": 2,
        "outcome_unknown": 1,
        "deferred": 1,
        "taken_over": 1,
        "grade_0": 1,
        "grade_1": 1,
        "grade_2": 1,
        "grade_unknown": 2,
    }
    # C2 went on with V4, which placed the device, and failed under supervision at V7.
    assert counted(cohort.attempts, "C2") == {
        "begun": 2,
        "placed": 1,
        "failed": 1,
        "went_on": 1,
        "supervised": 1,
        "grade_4": 1,
        "perforation_suspected": 1,
        "emergency_treatment": 1,
    }
    assert counted(cohort.attempts, "not recorded") == {"begun": 1, "failed": 1, "grade_0": 1}


def test_each_figure_has_its_own_denominator(cohort: Cohort) -> None:
    table = clinician_figures(cohort.attempts).set_index(["stratum", "figure"])[["events", "n", "n_unknown"]]
    assert table.loc["C1"].T.to_dict("list") == {
        "failed": [2, 4, 1],
        # V1 at the first pass, V2 at the second; a failure is a no; of V6 nothing is known.
        "first_pass": [1, 4, 1],
        "vasovagal_any": [2, 3, 2],
        "vasovagal_grade_2_plus": [1, 3, 2],
        "syncope": [0, 3, 2],
        "severe_pain": [2, 3, 2],
    }
    assert table.loc[("C2", "failed")].tolist() == [0, 1, 0]
    assert table.loc[("C2", "failed_supervised")].tolist() == [1, 1, 0]
    # The reaction of V4 stands on its first attempt, which C1 owns.
    assert table.loc[("C2", "vasovagal_any")].tolist() == [1, 1, 0]


def test_the_list_holds_what_happened_and_what_was_known_before(cohort: Cohort) -> None:
    table = clinician_events(cohort.attempts, cohort.placements, first_day=FIRST, last_day=LAST)
    shown = table[["clinician_ref", "kind", "visit_ref", "what"]].to_numpy().tolist()
    assert shown == [
        ["C1", "failed", "V4", "could_not_pass_internal_os"],
        ["C1", "failed", "V3", "pain"],
        ["C1", "reaction", "V2", ""],
        ["C1", "expulsion", "V2", "expulsion_complete"],
        ["C1", "outcome_unknown", "V6", ""],
        ["C2", "perforation", "V7", "suspected"],
        ["C2", "failed", "V7", "could_not_sound"],
        ["C2", "reaction", "V7", ""],
    ]
    assert table["taken_over"].tolist() == [True] + [False] * 7
    assert table["found"].dropna().tolist() == [pd.Timestamp("2026-08-12")]
    assert table.loc[table["kind"] == "expulsion", "parity_group"].tolist() == ["any_vaginal_birth"]
    assert table["n_of_kind"].tolist() == [2, 2, 1, 1, 1, 1, 1, 1]


def test_an_expulsion_is_dated_by_the_day_it_was_found_and_a_perforation_is_listed_whenever(
    cohort: Cohort,
) -> None:
    days = {"first_day": pd.Timestamp("2026-08-01"), "last_day": LAST}
    later = clinician_events(cohort.attempts, cohort.placements, **days)
    assert later[["kind", "visit_ref"]].to_numpy().tolist() == [["expulsion", "V2"], ["perforation", "V7"]]


def test_only_the_latest_of_a_kind_are_listed_with_how_many_there_are(cohort: Cohort) -> None:
    table = clinician_events(cohort.attempts, cohort.placements, first_day=FIRST, last_day=LAST, latest=1)
    failed = table[(table["clinician_ref"] == "C1") & (table["kind"] == "failed")]
    assert failed[["visit_ref", "n_of_kind"]].to_numpy().tolist() == [["V4", 2]]


def test_no_attempt_gives_no_rows(cohort: Cohort) -> None:
    none, nowhere = cohort.attempts.head(0), cohort.placements.head(0)
    assert clinician_counts(none).empty
    figures = clinician_figures(none)
    assert figures.empty
    assert beside_the_service(figures, failed_insertions_by_clinician(none)).empty
    events = clinician_events(none, nowhere, first_day=FIRST, last_day=LAST)
    assert events.columns.tolist() == list(COLUMNS)
    assert events.empty
    assert clinicians_with_sheets(none) == []


def test_where_there_are_too_many_codes_nobody_has_a_sheet() -> None:
    attempts = pd.DataFrame({"clinician_ref": ["C2", "C1", None, "not recorded"]})
    assert clinicians_with_sheets(attempts) == ["C1", "C2"]
    assert clinicians_with_sheets(attempts, most=1) == []


def test_a_field_is_complete_by_clinician_as_by_site() -> None:
    visits = pd.DataFrame(
        {
            "visit_kind": "insertion",
            "clinician_ref": pd.Categorical(["C1", "C1", "C2", None]),
            "age_years": [30.0, None, 40.0, None],
        }
    )
    table = field_completeness(visits, by="clinician_ref")
    age = table[table["column"] == "age_years"]
    assert age[["by", "stratum", "events", "n"]].to_numpy().tolist() == [
        ["clinician_ref", "C1", 1, 2],
        ["clinician_ref", "C2", 1, 1],
        ["clinician_ref", "not recorded", 0, 1],
    ]


# What the service's figure makes ordinary, and who is told


def service(**failed: tuple[int, int]) -> pd.DataFrame:
    """Attempts from the failures and attempts of each clinician, all alike."""
    rows = [
        {"clinician_ref": code, "outcome": outcome}
        for code, (events, n) in failed.items()
        for outcome in ["failed"] * events + ["placed"] * (n - events)
    ]
    frame = pd.DataFrame(rows).assign(practice="independent", parity_group="nulliparous", visit_outcome=None)
    blank = ("attempts_same_visit", "pain_score", "vasovagal_any", "vasovagal_grade_2_plus", "syncope")
    return frame.assign(**dict.fromkeys(blank), clinician_ref=frame["clinician_ref"].astype("category"))


def beside(attempts: pd.DataFrame, target: str = "service") -> pd.DataFrame:
    """The row of each clinician's failures."""
    compared = failed_insertions_by_clinician(attempts, target=target)
    table = beside_the_service(clinician_figures(attempts), compared, thresholds=Thresholds())
    return table[table["figure"] == "failed"].set_index("stratum")


HIDDEN = [
    *("service", "least", "most", "expected", "ratio", "ratio_lower", "ratio_upper"),
    *("target_kind", "signal", "direction", "case_mix_signal", "expected_by"),
]


def test_with_three_alike_others_the_service_is_told_and_says_what_is_ordinary() -> None:
    table = beside(service(C1=(15, 100), C2=(5, 100), C3=(5, 100), C4=(5, 100)))
    assert table["service_told"].all()
    assert table["service"].tolist() == [30 / 400] * 4
    # scipy.stats.binom, 100 at 0.075: two or fewer 0.017 and three or fewer 0.053; 14 or more 0.017 and 13 or
    # more 0.036.
    assert table[["least", "most"]].to_numpy().tolist() == [[3, 13]] * 4
    assert table["signal"].tolist() == ["ask", "none", "none", "none"]
    assert table["expected"].tolist() == pytest.approx([7.5] * 4)


@pytest.mark.parametrize(
    ("others", "because"),
    [
        ({"C2": (1, 100)}, "the one other would be given away"),
        ({"C2": (1, 100), "C3": (5, 100)}, "two others are too few"),
        ({"C2": (1, 100), "C3": (5, 100), "C4": (2, 19)}, "of three others one has too few attempts"),
        ({"C2": (9, 300), "C3": (5, 100), "C4": (2, 100)}, "one other holds more than half"),
    ],
)
def test_where_another_could_be_given_away_nothing_of_the_service_is_in_the_row(
    others: dict[str, tuple[int, int]], because: str
) -> None:
    row = beside(service(C1=(15, 100), **others)).loc["C1"]
    assert not row["service_told"], because
    assert [row[name] for name in HIDDEN if not pd.isna(row[name])] == [""] * 5
    # The own figure stands all the same.
    assert (row["events"], row["n"]) == (15, 100)


def test_a_target_that_the_service_has_set_is_told_to_all_but_what_others_cases_make_likely_is_not() -> None:
    row = beside(service(C1=(15, 100), C2=(1, 100)), target="0.05").loc["C1"]
    assert row["service_told"]
    assert (row["service"], row["signal"], row["direction"]) == (0.05, "review", "more")
    assert np.isnan(row[["expected", "ratio"]].astype(float)).all()
    assert (row["case_mix_signal"], row["expected_by"]) == ("", "")


def test_a_clinician_with_few_attempts_is_told_no_range() -> None:
    row = beside(service(C1=(1, 19), C2=(5, 100), C3=(5, 100), C4=(5, 100))).loc["C1"]
    assert row["service_told"]
    assert np.isnan(row[["least", "most", "expected"]].astype(float)).all()


@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(30, 80)), min_size=1, max_size=2),
    st.lists(st.tuples(st.integers(0, 30), st.integers(30, 80)), min_size=1, max_size=2),
)
@settings(max_examples=8)
def test_with_two_others_or_fewer_nothing_the_others_did_changes_the_own_rows(
    some: list[tuple[int, int]], others: list[tuple[int, int]]
) -> None:
    rows = [
        beside(service(C1=(4, 50), **{f"D{number}": counts for number, counts in enumerate(told)})).loc[
            ["C1"]
        ]
        for told in (some, others)
    ]
    pd.testing.assert_frame_equal(*rows)


# In the whole audit


def loaded(text: str, folder: Path) -> VisitLog:
    """A drawn log, read the way a clinic's is."""
    path = folder / "drawn.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([cell.strip() for cell in line.split("|")] for line in text.splitlines())
    return load_visits([path])


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> AuditResults:
    """The audit of the drawn log."""
    return run_audit(loaded(DRAWN, tmp_path_factory.mktemp("drawn")), period="2026-Q3")


def test_an_audit_has_the_four_tables_of_those_with_a_code(results: AuditResults) -> None:
    for name in ("clinician_counts", "clinician_figures", "clinician_completeness"):
        assert set(results.tables[name]["stratum"]) == {"C1", "C2"}, name
    assert set(results.tables["clinician_events"]["clinician_ref"]) == {"C1", "C2"}
    assert set(results.tables["clinician_figures"]["window"]) == {"period", "rolling_12_months", "all"}


def test_completeness_is_of_insertion_visits_and_their_fields(results: AuditResults) -> None:
    table = results.tables["clinician_completeness"]
    own = table[table["stratum"] == "C1"].set_index("column")[["events", "n"]]
    # Six rows, one of them a deferral, at which nothing of a procedure is noted.
    assert own.loc["vaginal_births"].tolist() == [4, 6]
    assert own.loc["vasovagal_grade"].tolist() == [3, 5]
    assert "device_in_situ" not in own.index
    core = table[
        (table["stratum"] == "C1") & table["requirement"].isin(["required", "one_of", "recommended"])
    ]
    assert own.loc["all"].tolist() == core[["events", "n"]].sum().tolist()


def test_a_figure_whose_field_the_log_lacks_is_left_out(results: AuditResults, tmp_path: Path) -> None:
    assert "severe_pain" in set(results.tables["clinician_figures"]["figure"])
    without = loaded(DRAWN.replace("pain_score", "shade_seen"), tmp_path)
    table = run_audit(without, period="2026-Q3").tables["clinician_figures"]
    assert "severe_pain" not in set(table["figure"])


def test_without_a_clinician_column_there_is_no_table(log_of: Callable[..., object]) -> None:
    log = log_of(
        DRAWN.replace("clinician_ref", "someone_____").replace("completed_by_ref", "another_________")
    )
    tables = run_audit(log, AuditSettings(), period="2026-Q3").tables  # type: ignore[arg-type]
    assert not [name for name in tables if name.startswith("clinician_")]


def test_nothing_of_a_clinician_travels_into_the_next_audit(results: AuditResults, tmp_path: Path) -> None:
    path = tmp_path / "record.json"
    path.write_text(record_text(results), encoding="utf-8")
    record = read_record(path)
    assert "clinician_events" not in record.tables
    for name in ("clinician_counts", "clinician_figures", "clinician_completeness"):
        assert record.tables[name].empty, name


def test_the_tables_do_not_change_what_they_are_made_from(results: AuditResults, tmp_path: Path) -> None:
    log = loaded(DRAWN, tmp_path)
    cohort, compared = derive_cohort(log), results.tables["failed_insertions_by_clinician"]
    before = [frame.copy() for frame in (log.visits, cohort.attempts, cohort.placements, compared)]
    clinician_tables(dict(results.tables), log, cohort, AuditSettings(), results.period)
    for one, other in zip(before, (log.visits, cohort.attempts, cohort.placements, compared), strict=True):
        pd.testing.assert_frame_equal(one, other)
