"""The truth: by hand in small cases, and found again in what is drawn from it, within 4 standard errors."""

from dataclasses import replace
from math import exp, sqrt

import numpy as np
import pandas as pd
import pytest

from synthetic_data.codes import code, day_number
from synthetic_data.course import Hazards, RemovalRate
from synthetic_data.endings import EXPULSION, FIRST_REMOVAL, expulsion_factor, true_incidence
from synthetic_data.generate import generate_visits
from synthetic_data.outcomes import failure_probability
from synthetic_data.parameters import LARKFIELD, fully_followed
from synthetic_data.truth import true_values

WOMEN = 60_000


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return true_values()


@pytest.fixture(scope="module")
def visits() -> pd.DataFrame:
    return generate_visits(replace(fully_followed(), women=WOMEN), seed=21).astype(object)


@pytest.fixture(scope="module")
def first_visits(visits: pd.DataFrame) -> pd.DataFrame:
    """Started first visits, with whether the starter failed."""
    rows = visits.drop_duplicates("patient_ref")
    rows = rows[rows["procedure_started"] == "yes"]
    failed = (rows["insertion_outcome"] != "placed") | rows["completed_by_ref"].notna()
    return rows.assign(failed=failed, reacted=rows["vasovagal_grade"] != "0")


def _true(truth: pd.DataFrame, measure: str, by: str, stratum: str) -> float:
    found = truth[(truth["measure"] == measure) & (truth["by"] == by) & (truth["stratum"] == stratum)]
    return float(found["value"].item())


def _agrees(events: int, n: int, proportion: float) -> bool:
    """Within 4 standard errors of a binomial count, the error of the averaged truth (0.001) allowed for."""
    return abs(events / n - proportion) < 4 * sqrt(proportion * (1 - proportion) / n) + 0.001


def _one_attempt(**changes: object) -> dict[str, np.ndarray]:
    """A first attempt by C01 before the training day on a woman without a vaginal birth."""
    plain: dict[str, object] = {
        "no_vaginal_birth": True,
        "clinician_ref": 0,
        "day": day_number("2025-03-31"),
        "prior_failed_insertion": 0,
        "cervical_surgery": 0,
        "exchange": False,
    }
    return {name: np.array([value]) for name, value in (plain | changes).items()}


@pytest.mark.parametrize(
    ("changes", "probability"),
    [
        ({}, 1 / 10),  # odds 1/9
        ({"clinician_ref": 4}, 1 / 10),  # C05: case mix only
        ({"clinician_ref": 10}, 1 / 4),  # C11: odds 3/9
        ({"day": day_number("2025-04-01")}, 1 / 16),  # odds 0.6/9 = 1/15
        ({"no_vaginal_birth": False}, 1 / 50),
        ({"prior_failed_insertion": 1}, 2 / 11),  # odds 2/9
        ({"exchange": True}, 2 / 47),  # odds 0.4/9 = 2/45
        ({"clinician_ref": 13, "day": day_number("2025-10-01")}, 1 / 7),  # odds 2.5 x 0.6/9 = 1/6
    ],
)
def test_the_probability_of_failure_follows_the_stated_odds(
    changes: dict[str, object], probability: float
) -> None:
    assert failure_probability(LARKFIELD, _one_attempt(**changes)) == pytest.approx([probability])


def _one_placement(**changes: object) -> dict[str, np.ndarray]:
    """An interval placement of a copper device in a woman with a birth and nothing to raise her hazard."""
    plain: dict[str, object] = {
        "device_class": code("device_class", "copper_t_380"),
        "placement_timing": code("placement_timing", "interval"),
        "age_years": 30,
        "heavy_bleeding_history": 0,
        "parous": True,
        "prior_expulsion": 0,
    }
    return {name: np.array([value]) for name, value in (plain | changes).items()}


def test_the_incidence_of_constant_hazards_is_the_textbook_one() -> None:
    # Competing exponentials: a / (a + b) * (1 - exp(-(a + b) t)). Textbook result, e.g. Kalbfleisch and
    # Prentice, The Statistical Analysis of Failure Time Data, 2nd ed., 2002, chapter 8.
    hazards = Hazards(
        expulsion=(0.2, 0.2, 0.2, 0.2),
        pregnancy_copper=0.0,
        death=0.0,
        removals=(RemovalRate("pain", 0.3, 0.3),),
    )
    incidence = true_incidence(hazards, _one_placement(), day=2 * 365.25)
    assert incidence[0, EXPULSION] == pytest.approx(0.4 * (1 - exp(-1.0)))
    assert incidence[0, FIRST_REMOVAL] == pytest.approx(0.6 * (1 - exp(-1.0)))


def test_a_single_cause_falls_with_its_hazard_band_by_band() -> None:
    hazards = Hazards(pregnancy_copper=0.0, death=0.0, removals=())
    cumulative = (0.150 * 42 + 0.045 * 140 + 0.020 * 183) / 365.25
    incidence = true_incidence(hazards, _one_placement(), day=365.0)
    assert incidence[0, EXPULSION] == pytest.approx(1 - exp(-cumulative))


@pytest.mark.parametrize(
    ("changes", "factor"),
    [
        ({}, 1.0),
        ({"placement_timing": code("placement_timing", "early_postpartum_inpatient")}, 5.0),
        ({"placement_timing": code("placement_timing", "early_postpartum_outpatient")}, 1.0),
        ({"heavy_bleeding_history": 1, "prior_expulsion": 1}, 2.84 * 3.0),
    ],
)
def test_the_expulsion_hazard_is_multiplied_as_stated(changes: dict[str, object], factor: float) -> None:
    assert expulsion_factor(LARKFIELD.hazards, _one_placement(**changes)) == pytest.approx([factor])


def test_the_incidences_and_continuation_of_a_device_add_to_one(truth: pd.DataFrame) -> None:
    names = ["expulsion_12_months", "removal_12_months", "pregnancy_12_months", "continuation_12_months"]
    parts = [_true(truth, name, "device_class", "copper_t_380") for name in names]
    assert 1 - 0.0006 < sum(parts) < 1  # what is missing are deaths, 0.0006 a year


def test_one_clinician_has_a_high_failure_fraction_from_case_mix_alone(truth: pd.DataFrame) -> None:
    mix_only = _true(truth, "failed_insertion", "clinician_ref", "C05")
    assert mix_only > 1.3 * _true(truth, "failed_insertion", "clinician_ref", "C04")
    assert _true(truth, "failed_insertion_odds_ratio", "clinician_ref", "C05") == 1.0
    assert _true(truth, "failed_insertion_odds_ratio", "clinician_ref", "C11") == 3.0


def test_three_quarters_of_one_clinicians_women_have_had_no_vaginal_birth(first_visits: pd.DataFrame) -> None:
    own = first_visits[first_visits["clinician_ref"] == "C05"]
    assert _agrees((own["vaginal_births"] == "0").sum(), len(own), 0.75)
    other = first_visits[first_visits["clinician_ref"] == "C11"]
    assert 0.44 < (other["vaginal_births"] == "0").mean() < 0.51


@pytest.mark.parametrize("clinician", [clinician.code for clinician in LARKFIELD.clinicians])
def test_each_clinicians_true_failure_probability_comes_back(
    first_visits: pd.DataFrame, truth: pd.DataFrame, clinician: str
) -> None:
    own = first_visits[first_visits["clinician_ref"] == clinician]
    expected = _true(truth, "failed_insertion", "clinician_ref", clinician)
    assert _agrees(own["failed"].sum(), len(own), expected)


@pytest.mark.parametrize("vaginal_birth", ["yes", "no"])
@pytest.mark.parametrize(("measure", "column"), [("failed_insertion", "failed"), ("vasovagal", "reacted")])
def test_failure_and_reaction_come_back_by_cervical_parity(
    first_visits: pd.DataFrame, truth: pd.DataFrame, measure: str, column: str, vaginal_birth: str
) -> None:
    rows = first_visits[(first_visits["vaginal_births"] != "0") == (vaginal_birth == "yes")]
    expected = _true(truth, measure, "cervical_parity", vaginal_birth)
    assert _agrees(rows[column].sum(), len(rows), expected)


@pytest.mark.parametrize("when", ["before", "after"])
def test_failures_fall_after_the_training_day(
    first_visits: pd.DataFrame, truth: pd.DataFrame, when: str
) -> None:
    rows = first_visits[(first_visits["visit_date"] >= "2025-04-01") == (when == "after")]
    expected = _true(truth, "failed_insertion", "attempt_date", f"{when}_training_day")
    assert _agrees(rows["failed"].sum(), len(rows), expected)


def test_dilation_goes_with_reactions(first_visits: pd.DataFrame) -> None:
    same = first_visits[(first_visits["vaginal_births"] == "0") & (first_visits["faint_history"] == "no")]
    dilated = same["dilation"] != "none"
    # 0.065 is odds 13/187; twice that is 26/187, a probability of 26/213.
    assert _agrees(same[~dilated]["reacted"].sum(), (~dilated).sum(), 0.065)
    assert _agrees(same[dilated]["reacted"].sum(), dilated.sum(), 26 / 213)


@pytest.fixture(scope="module")
def year_olds(visits: pd.DataFrame) -> pd.DataFrame:
    """First placements with a full year before the end, and what ended them in that year."""
    spells = visits.drop_duplicates("patient_ref")
    spells = spells[(spells["insertion_outcome"] == "placed") & (spells["visit_kind"] == "insertion")]
    spells = spells[spells["visit_date"] <= "2025-09-30"].set_index("patient_ref")
    gone = ["complete_expulsion", "partial_expulsion", "removed_here", "not_in_uterus"]
    ends = visits[visits["device_in_situ"].isin(gone)].drop_duplicates("patient_ref").set_index("patient_ref")
    ends = ends.reindex(spells.index)
    lag = pd.to_datetime(ends["visit_date"]) - pd.to_datetime(spells["visit_date"])
    expelled = ends["device_in_situ"].isin(gone[:2]) | (ends["removal_reason_main"] == "partial_expulsion")
    other = (ends["removal_reason_main"] == "pregnancy") | (ends["device_in_situ"] == "not_in_uterus")
    return spells.assign(
        in_year=lag.dt.days <= 365,
        expelled=expelled,
        removed=ends["device_in_situ"].notna() & ~expelled & ~other,
    )


def test_expulsion_within_a_year_comes_back_by_timing(year_olds: pd.DataFrame, truth: pd.DataFrame) -> None:
    early = year_olds["placement_timing"].isin(["post_placental_10min", "early_postpartum_inpatient"])
    events = year_olds["in_year"] & year_olds["expelled"]
    for name, rows in (("yes", early), ("no", ~early)):
        expected = _true(truth, "expulsion_12_months", "early_postpartum", name)
        assert _agrees((events & rows).sum(), rows.sum(), expected), name


@pytest.mark.parametrize("device", ["lng_52", "copper_t_380", "lng_19_5"])
def test_removal_within_a_year_comes_back_by_device(
    year_olds: pd.DataFrame, truth: pd.DataFrame, device: str
) -> None:
    rows = year_olds[year_olds["device_class"] == device]
    expected = _true(truth, "removal_12_months", "device_class", device)
    assert _agrees((rows["in_year"] & rows["removed"]).sum(), len(rows), expected)


def test_perforation_is_commoner_while_breastfeeding_within_36_weeks(truth: pd.DataFrame) -> None:
    # Heinemann et al., Contraception 2015;91:274-9: 5.6 against 0.7 per 1,000 insertions.
    by = "breastfeeding_within_36_weeks"
    assert _true(truth, "perforation", by, "yes") == pytest.approx(0.0056)
    assert _true(truth, "perforation", by, "no") == pytest.approx(0.0007)


def test_the_count_of_perforations_found_agrees_with_its_truth(
    visits: pd.DataFrame, truth: pd.DataFrame
) -> None:
    started = (visits["procedure_started"] == "yes").sum()
    found = visits["perforation_suspected"].isin(["device"]) | (visits["device_in_situ"] == "not_in_uterus")
    expected = started * _true(truth, "perforation", "overall", "all")
    # Some still lie ahead of the end of the log, or behind another ending: a few in a hundred.
    assert expected * 0.9 - 4 * sqrt(expected) < found.sum() < expected + 4 * sqrt(expected)


@pytest.fixture(scope="module")
def as_followed() -> pd.DataFrame:
    """The service as it is, with its losses, ten times its size."""
    return generate_visits(replace(LARKFIELD, women=41_500), seed=22).astype(object)


def test_expulsions_come_early(visits: pd.DataFrame) -> None:
    # Per woman-year 0.150 in the first six weeks and 0.020 in the second half-year: 7.5 times, and fewer
    # women are left by then, so the daily counts differ by more than 4 with room to spare.
    placed = visits[visits["insertion_outcome"] == "placed"].drop_duplicates("patient_ref")
    out = visits[visits["device_in_situ"] == "complete_expulsion"].drop_duplicates("patient_ref")
    pairs = out.merge(placed, on="patient_ref", suffixes=("", "_placed"))
    days = (pd.to_datetime(pairs["visit_date"]) - pd.to_datetime(pairs["visit_date_placed"])).dt.days
    early, later = ((days >= 0) & (days <= 42)).sum() / 42, ((days > 182) & (days <= 365)).sum() / 183
    assert early > 4 * later


def test_one_site_hears_from_few_of_its_women(as_followed: pd.DataFrame) -> None:
    placed = as_followed[as_followed["insertion_outcome"] == "placed"].drop_duplicates("patient_ref")
    placed = placed[placed["visit_date"] < "2026-06-01"]
    kinds = as_followed["visit_kind"] == "follow_up"
    seen = set(as_followed.loc[kinds & (as_followed["contact_result"] == "reached"), "patient_ref"])
    checked = placed["patient_ref"].isin(seen).groupby(placed["site_ref"]).mean()
    assert checked["TOWER"] < 0.25
    assert checked[["HARBOUR", "MEADOW"]].min() > 0.60


def test_losing_women_does_not_depend_on_births_or_device(as_followed: pd.DataFrame) -> None:
    placed = as_followed[as_followed["insertion_outcome"] == "placed"].drop_duplicates("patient_ref")
    placed = placed[(placed["site_ref"] == "TOWER") & (placed["visit_date"] < "2026-06-01")]
    seen = set(as_followed.loc[as_followed["visit_kind"] == "follow_up", "patient_ref"])
    checked = placed["patient_ref"].isin(seen)
    for group in (placed["vaginal_births"] == "0", placed["device_class"] == "lng_52"):
        error = sqrt(checked.mean() * (1 - checked.mean()) * (1 / group.sum() + 1 / (~group).sum()))
        assert abs(checked[group].mean() - checked[~group].mean()) < 4 * error


def test_women_with_an_expulsion_come_back_more_than_women_without(as_followed: pd.DataFrame) -> None:
    # At the site that loses half its women, 65 in 100 of the lost return with trouble, none without.
    tower = as_followed[as_followed["site_ref"] == "TOWER"]
    placed = tower[(tower["insertion_outcome"] == "placed") & (tower["visit_kind"] == "insertion")]
    placed = placed[placed["visit_date"] < "2025-09-01"].drop_duplicates("patient_ref")
    heard = tower[tower["device_in_situ"].isin(["complete_expulsion", "partial_expulsion"])]
    partial = tower[tower["removal_reason_main"] == "partial_expulsion"]
    told = set(heard["patient_ref"]) | set(partial["patient_ref"])
    share = placed["patient_ref"].isin(told).mean()
    full = _true(true_values(), "expulsion_12_months", "overall", "all")
    assert share > 0.65 * full


def test_a_woman_who_exchanges_or_lost_a_device_has_had_one(visits: pd.DataFrame) -> None:
    had = (visits["visit_kind"] == "removal_and_replacement") | (visits["prior_expulsion"] == "yes")
    assert set(visits.loc[had, "prior_iud"]) == {"yes"}
    assert set(visits.loc[visits["placement_timing"] == "post_abortion_same_day", "ever_pregnant"]) == {"yes"}


def test_fully_followed_every_device_not_known_to_be_out_is_found_on_the_last_day(
    visits: pd.DataFrame,
) -> None:
    last = visits.drop_duplicates("patient_ref", keep="last")
    ended = last["device_in_situ"].isin(
        ["removed_here", "complete_expulsion", "not_in_uterus", "partial_expulsion"]
    )
    without = last["insertion_outcome"].isin(["failed", "stopped_on_request", "deferred_not_started"])
    gone = (last["contact_result"] == "died") | (last["pregnancy"].notna() & (last["pregnancy"] != "none"))
    found = (last["visit_date"] == LARKFIELD.data_to) & (last["device_in_situ"] == "in_situ_reported")
    assert (found | ended | without | gone).all()
    assert found.mean() > 0.6
