"""What holds of every cohort, whatever a log tells: random logs, nonsense included."""

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.records import Cohort
from audit.run import run_audit
from audit.schema.visits import VISITS

COLUMNS = (
    "visit_kind",
    "insertion_outcome",
    "procedure_started",
    "clinician_ref",
    "completed_by_ref",
    "failure_reason",
    "perforation_suspected",
    "perforation_confirmed",
    "vasovagal_grade",
    "contact_result",
    "device_in_situ",
    "event_date_reported",
    "threads_seen",
    "pregnancy",
    "pregnancy_conception_est",
    "device_status_at_conception",
    "removal_reason_main",
    "removal_difficult",
    "replacement_at_once",
)
NOT_CODES = {
    "procedure_started": ("yes", "no"),
    "clinician_ref": ("C1", "C2"),
    "completed_by_ref": ("C1", "C2"),
    "vasovagal_grade": ("0", "2", "4"),
    "replacement_at_once": ("yes", "no"),
}
KINDS = ("insertion", "insertion", "follow_up", "remote_contact", "removal", "removal_and_replacement")


def day(number: int) -> str:
    """A day of the log as text."""
    return (pd.Timestamp("2025-01-01") + pd.Timedelta(days=number)).date().isoformat()


@st.composite
def rows(draw: st.DrawFn, *, one_a_day: bool = False) -> list[list[str]]:
    """Visits of up to three women, most fields blank or drawn from what the schema allows."""
    keys = st.tuples(st.sampled_from(("W1", "W2", "W3")), st.integers(0, 60).map(lambda n: n * 7))
    drawn = draw(st.lists(keys, min_size=1, max_size=12, unique=one_a_day))
    log = []
    for woman, number in drawn:
        values = {"visit_kind": draw(st.sampled_from(KINDS))}
        for name in draw(st.lists(st.sampled_from(COLUMNS[1:]), max_size=7, unique=True)):
            if VISITS[name].kind == "date":
                values[name] = day(max(0, number + draw(st.integers(-60, 10))))
            else:
                values[name] = draw(st.sampled_from(NOT_CODES.get(name, VISITS[name].codes)))
        if "insertion" in values["visit_kind"]:
            values.setdefault("insertion_outcome", "placed")
        log.append([woman, day(number), *(values.get(name, "") for name in COLUMNS)])
    return log


def derived(folder: Path, log: list[list[str]]) -> Cohort:
    """The cohort of these visits."""
    path = folder / "visits.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([["patient_ref", "visit_date", *COLUMNS], *log])
    return derive_cohort(load_visits(path, data_to="2026-06-30", allow_set_aside=True))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One folder for all random logs."""
    return tmp_path_factory.mktemp("random")


every_log = settings(
    max_examples=20, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)


@every_log
@given(log=rows())
def test_the_tables_of_a_cohort_agree_with_themselves_and_with_each_other(
    folder: Path, log: list[list[str]]
) -> None:
    cohort = derived(folder, log)
    every_spell_has_one_ending_and_a_sensible_end_of_observation(cohort.placements)
    a_woman_has_one_device_at_a_time(cohort.placements)
    attempts_and_placements_tell_the_same_story(cohort.attempts, cohort.placements)
    each_visit_and_each_woman_count_once(cohort.attempts)


def every_spell_has_one_ending_and_a_sensible_end_of_observation(spells: pd.DataFrame) -> None:
    """Days in order, and no observation beyond the ending or the freeze."""
    ended = spells["ending"] != "none"
    assert (spells["ending_day"].notna() == ended).all()
    assert (spells.loc[ended, "ending_day"] >= 0).all()
    assert (spells.loc[ended, "ending_day"] <= spells.loc[ended, "days_to_data_to"]).all()
    assert (spells.loc[ended, "ending_earliest_day"] <= spells.loc[ended, "ending_day"]).all()
    assert (spells["exit_day_last_known"] <= spells["exit_day_assumed_in_place"]).all()
    assert (spells["exit_day_assumed_in_place"] <= spells["days_to_data_to"]).all()
    for rule in ("last_known", "assumed_in_place"):
        assert (spells.loc[ended, f"exit_day_{rule}"] == spells.loc[ended, "ending_day"]).all()
    assert (spells["removal_reason"].notna() == (spells["ending"] == "removal")).all()


def a_woman_has_one_device_at_a_time(spells: pd.DataFrame) -> None:
    """A spell ended before the next one began, and one placement at most is a woman's first."""
    following = spells.groupby("patient_ref")["placement_date"].shift(-1)
    end = spells["placement_date"] + pd.to_timedelta(spells["ending_day"], unit="D")
    replaced = following.notna()
    assert (spells.loc[replaced, "ending"] != "none").all()
    assert (end[replaced] <= following[replaced]).all()
    assert (spells[spells["placement_kind"] == "first"].groupby("patient_ref").size() <= 1).all()


def attempts_and_placements_tell_the_same_story(attempts: pd.DataFrame, spells: pd.DataFrame) -> None:
    """Every attempt that worked has its placement, with the same day and the same perforation."""
    assert (attempts["placement"] >= 0).sum() == (attempts["outcome"] == "placed").sum() == len(spells)
    own = attempts.set_index("attempt").loc[spells["attempt"]]
    assert own["placement"].tolist() == spells["placement"].tolist()
    assert own["perforation"].tolist() == spells["perforation"].tolist()
    assert (own["attempt_date"].to_numpy() == spells["placement_date"].to_numpy()).all()
    perforated = spells["ending"] == "perforation"
    assert spells.loc[perforated, "perforation"].isin(["partial", "complete", "extent_unknown"]).all()
    assert (spells.loc[spells["ending"] == "pregnancy", "pregnancy"] != "none").all()


def each_visit_and_each_woman_count_once(attempts: pd.DataFrame) -> None:
    """One outcome a visit, one first visit a woman, and no episode for a deferral."""
    begun = attempts[attempts["outcome"] != "deferred"]
    days = begun.groupby(["patient_ref", "attempt_date"])
    assert (days["visit_outcome"].count() == 1).all()
    assert (begun.groupby("patient_ref")["first_visit_outcome"].count() == 1).all()
    assert (begun.groupby("patient_ref")["episode_outcome"].count() >= 1).all()
    assert attempts.loc[attempts["outcome"] == "deferred", "episode_outcome"].isna().all()
    assert (attempts.loc[attempts["taken_over"], "outcome"] == "failed").all()


@settings(parent=every_log, max_examples=10)
@given(log=rows(one_a_day=True), data=st.data())
def test_the_order_of_the_rows_does_not_matter_where_no_day_has_two(
    folder: Path, log: list[list[str]], data: st.DataObject
) -> None:
    shuffled = data.draw(st.permutations(log))
    first, second = derived(folder, log), derived(folder, shuffled)
    for name in ("attempts", "placements", "follow_ups"):
        one, two = (
            _by_visit(getattr(cohort, name), order) for cohort, order in ((first, log), (second, shuffled))
        )
        pd.testing.assert_frame_equal(one, two)


def _by_visit(table: pd.DataFrame, log: list[list[str]]) -> pd.DataFrame:
    """The table without running numbers and lines, by woman and day as the log writes them."""
    written = np.array([[row[0], row[1]] for row in log])[table["row"].to_numpy(dtype="int64") - 2]
    keyed = table.assign(woman=written[:, 0], day_written=written[:, 1])
    numbers = ["attempt", "placement", "patient_ref", "visit_ref", "source", "row"]
    kept = keyed.drop(columns=[name for name in numbers if name in keyed])
    plain = kept.astype(dict.fromkeys(kept.select_dtypes("category"), object))
    return plain.sort_values(["woman", "day_written", "clinician_ref"], ignore_index=True)


@settings(parent=every_log, max_examples=4)
@given(log=rows())
def test_a_whole_audit_runs_on_whatever_a_log_tells(folder: Path, log: list[list[str]]) -> None:
    derived(folder, log)
    results = run_audit(
        load_visits(folder / "visits.csv", data_to="2026-06-30", allow_set_aside=True), period="2025-Q3"
    )
    for name, table in results.tables.items():
        for column in ("proportion", "incidence", "survival"):
            if column in table:
                figures = table[column].dropna()
                assert figures.between(0, 1).all(), (name, column)
