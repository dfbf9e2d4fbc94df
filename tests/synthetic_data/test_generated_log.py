"""The clean log: reproducible, quick, within the schema, and consistent woman by woman."""

import time
from dataclasses import replace

import pandas as pd
import pytest

from audit.schema.visits import VISITS
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    return generate_visits(seed=8)


def _rows(visits: pd.DataFrame) -> pd.DataFrame:
    """Plain text with empty strings for blanks, so that a comparison is never missing."""
    return visits.astype(object).fillna("")


def test_the_same_seed_gives_the_same_bytes(visits: pd.DataFrame) -> None:
    assert visits.to_csv(index=False) == generate_visits(seed=8).to_csv(index=False)


def test_another_seed_gives_another_log(visits: pd.DataFrame) -> None:
    assert visits.to_csv(index=False) != generate_visits(seed=9).to_csv(index=False)


def test_about_four_thousand_placements_are_drawn_in_under_two_seconds() -> None:
    start = time.perf_counter()
    drawn = generate_visits(seed=3)
    seconds = time.perf_counter() - start
    assert seconds < 2
    assert 3800 < (drawn["insertion_outcome"] == "placed").sum() < 4200


@pytest.mark.parametrize("women", [1, 2, 7])
def test_a_service_of_a_few_women_can_be_drawn(women: int) -> None:
    drawn = generate_visits(replace(LARKFIELD, women=women), seed=5)
    assert drawn["patient_ref"].nunique() == women


@pytest.mark.parametrize("women", [0, 8_000_001])
def test_a_size_without_references_is_refused(women: int) -> None:
    with pytest.raises(ValueError, match=rf"women must lie between 1 and 8,000,000, got {women}"):
        generate_visits(replace(LARKFIELD, women=women), seed=5)


def test_every_code_is_one_of_the_schema_and_every_number_within_its_limits(visits: pd.DataFrame) -> None:
    for name in visits.columns:
        column, written = VISITS[name], visits[name].dropna()
        if column.kind == "code":
            assert set(written) <= set(column.codes), name
        if column.kind == "flag":
            assert set(written) <= {"yes", "no"}, name
        if column.kind in ("integer", "number"):
            numbers = written.astype(float)
            assert numbers.min() >= (column.minimum or 0), name
            assert numbers.max() <= (column.maximum or float("inf")), name


def test_every_date_is_iso_and_no_visit_lies_outside_the_years_of_the_log(visits: pd.DataFrame) -> None:
    for name in (column.name for column in VISITS.columns if column.kind == "date"):
        if name in visits:
            written = visits[name].dropna().astype(str)
            assert (pd.to_datetime(written, format="%Y-%m-%d").dt.strftime("%Y-%m-%d") == written).all()
    days = visits["visit_date"].astype(str)
    assert days.is_monotonic_increasing
    assert days.min() >= "2023-10-01"
    assert days.max() <= "2026-10-14"
    assert days[visits["insertion_outcome"].notna()].max() <= "2026-09-30"


def test_nobody_is_seen_at_a_weekend(visits: pd.DataFrame) -> None:
    assert pd.to_datetime(visits["visit_date"].astype(str)).dt.dayofweek.max() < 5


def test_references_are_unique_where_they_must_be_and_carry_no_order(visits: pd.DataFrame) -> None:
    assert visits["visit_ref"].is_unique
    assert visits["patient_ref"].astype(str).str.fullmatch(r"[B-DF-HJ-NP-TV-XZ]{3}\d{3}").all()
    firsts = visits.drop_duplicates("patient_ref")["patient_ref"].astype(str)
    ranks = firsts.rank().reset_index(drop=True)
    assert abs(ranks.corr(pd.Series(range(len(ranks)), dtype=float))) < 4 / len(ranks) ** 0.5


def test_a_reported_date_never_lies_after_the_visit(visits: pd.DataFrame) -> None:
    for name in ("event_date_reported", "pregnancy_conception_est", "referral_date"):
        told = visits[visits[name].notna()]
        assert (told[name].astype(str) <= told["visit_date"].astype(str)).all()


def test_no_device_is_found_or_taken_out_that_is_not_in_place(visits: pd.DataFrame) -> None:
    found = {"in_situ_confirmed", "in_situ_reported", "partial_expulsion"}
    gone = {"complete_expulsion", "removed_here", "removed_elsewhere", "not_in_uterus"}
    has_device: dict[str, bool] = {}
    columns = ["patient_ref", "insertion_outcome", "device_in_situ"]
    for who, outcome, where in _rows(visits)[columns].itertuples(index=False):
        # A first row may find a device that was placed elsewhere.
        assert where not in found | gone or has_device.get(who, True), who
        has_device[who] = where in found or (where not in gone and has_device.get(who, False))
        has_device[who] |= outcome == "placed"


def test_reasons_stand_only_where_they_belong(visits: pd.DataFrame) -> None:
    rows = _rows(visits)
    ended = rows["insertion_outcome"].isin(["failed", "stopped_on_request"])
    assert ((rows["failure_reason"] != "") == ended).all()
    assert ((rows["deferral_reason"] != "") == (rows["insertion_outcome"] == "deferred_not_started")).all()
    assert ((rows["onset_phase"] != "") == rows["vasovagal_grade"].isin(list("1234"))).all()
    out = rows["device_in_situ"].isin(["removed_here", "removed_elsewhere"])
    assert ((rows["removal_reason_main"] != "") == out).all()


def test_nothing_is_measured_in_a_procedure_that_was_not_started(visits: pd.DataFrame) -> None:
    deferred = visits[visits["insertion_outcome"] == "deferred_not_started"]
    assert len(deferred) > 50
    assert (deferred["procedure_started"] == "no").all()
    assert deferred[["sound_length_mm", "vasovagal_grade", "pain_score", "dilation"]].isna().all(axis=None)


def test_who_takes_over_is_a_trainer_of_that_site_and_another_person(visits: pd.DataFrame) -> None:
    taken = _rows(visits)[lambda rows: rows["completed_by_ref"] != ""]
    assert len(taken) >= 5
    assert (taken["completed_by_ref"] != taken["clinician_ref"]).all()
    sites = {clinician.code: clinician.sites for clinician in LARKFIELD.clinicians if clinician.trainer}
    pairs = taken[["completed_by_ref", "site_ref"]].itertuples(index=False)
    assert all(site in sites[who] for who, site in pairs)


def test_clinicians_work_only_at_their_sites_and_not_before_they_joined(visits: pd.DataFrame) -> None:
    rows = _rows(visits)
    for clinician in LARKFIELD.clinicians:
        own = rows[rows["clinician_ref"] == clinician.code]
        assert set(own["site_ref"]) <= set(clinician.sites), clinician.code
        assert own["visit_date"].min() >= (clinician.joined or "2023-10-01"), clinician.code


def test_supervision_is_part_of_the_time_and_ends_with_training(visits: pd.DataFrame) -> None:
    rows = _rows(visits)
    training = rows[rows["training_status"] == "in_training"]
    assert set(training["clinician_ref"]) == {"C12", "C13", "C14"}
    assert 0.4 < (training["supervised"] == "yes").mean() < 0.9
    assert (rows[rows["training_status"] == "certified"]["supervised"] == "no").all()


def test_the_log_holds_what_an_audit_should_find(visits: pd.DataFrame) -> None:
    rows = _rows(visits)
    wanted = {
        "contact_result": ["moved_away", "declined", "died", "not_reached"],
        "ec_basis": ["within_120h_of_intercourse", "within_5d_of_ovulation", "outside_window", "unknown"],
        "device_in_situ": ["partial_expulsion", "complete_expulsion", "removed_elsewhere", "not_in_uterus"],
        "visit_kind": ["removal_and_replacement", "unscheduled", "removal"],
        "prior_expulsion": ["yes"],
        "perforation_suspected": ["device"],
        "device_status_at_conception": ["in_situ"],
        "vasovagal_grade": ["1", "2", "3", "4"],
    }
    for name, words in wanted.items():
        assert set(words) <= set(rows[name]), name
    late = rows[rows["ec_basis"] == "within_5d_of_ovulation"]
    assert (late["ec_hours_since_upsi"].astype(float) > 120).all()
    assert (late["ec_days_after_ovulation"].astype(int) <= 5).all()
