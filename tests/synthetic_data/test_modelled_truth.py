"""What models and adjusted comparisons say of an invented service, against the truth it was drawn from."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import audit
from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.records import Cohort
from audit.settings import AuditSettings
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import CASE_MIX_ONLY_CLINICIAN, UNEXPLAINED_CLINICIAN, fully_followed
from synthetic_data.truth import true_values


@pytest.fixture(scope="module")
def cohort(tmp_path_factory: pytest.TempPathFactory) -> Cohort:
    """A large clean log in our own headings."""
    path: Path = tmp_path_factory.mktemp("modelled") / "visits.csv"
    generate_visits(replace(fully_followed(), women=12_000), seed=4).to_csv(path, index=False)
    settings = AuditSettings()
    return derive_cohort(load_visits([path], settings), settings)


@pytest.fixture(scope="module")
def clinicians(cohort: Cohort) -> pd.DataFrame:
    return audit.failed_insertions_by_clinician(cohort.attempts).set_index("stratum")


def test_the_women_of_one_clinician_explain_the_figure_and_those_of_another_do_not(
    clinicians: pd.DataFrame,
) -> None:
    assert clinicians["method"].str.endswith("logistic model").all()
    explained, unexplained = clinicians.loc[CASE_MIX_ONLY_CLINICIAN], clinicians.loc[UNEXPLAINED_CLINICIAN]
    assert explained["ratio_lower"] < 1 < explained["ratio_upper"]
    assert explained["case_mix_signal"] == "none"
    assert unexplained["ratio_lower"] > 1
    assert (unexplained["case_mix_signal"], unexplained["case_mix_direction"]) == ("review", "more")


def test_the_model_allows_for_more_than_the_parity_of_the_women(
    cohort: Cohort, clinicians: pd.DataFrame
) -> None:
    service = clinicians["events"].sum() / clinicians["n"].sum()
    own = clinicians.loc[CASE_MIX_ONLY_CLINICIAN]
    # Her women are expected to fail far more often than those of the whole service.
    assert own["expected"] / own["n"] > 1.15 * service
    assert clinicians["expected"].sum() == pytest.approx(clinicians["events"].sum())


def test_the_odds_ratio_of_an_earlier_failure_holds_the_truth(cohort: Cohort) -> None:
    table = audit.failure_model(cohort.attempts).set_index(["by", "stratum"])
    row = table.loc[("prior_failed_insertion", "yes")]
    odds = fully_followed().procedure.prior_failure_odds
    # Left out of the model, what clinicians differ by draws ratios a little towards 1: wider limits.
    assert row["ci_lower"] * 0.85 < odds < row["ci_upper"] * 1.15


def test_the_hazard_ratio_after_a_birth_is_well_above_1_and_no_device_class_stands_out(
    cohort: Cohort,
) -> None:
    ratios = audit.expulsion_hazard_ratios(cohort.placements)
    after = ratios[(ratios["by"] == "timing_group") & (ratios["stratum"] == "postpartum")]
    assert (after["ci_lower"] > 1.5).all()
    tests = audit.expulsion_tests(cohort.placements).set_index(["by", "censoring"])
    assert (tests.loc["timing_group", "p_value"] < 1e-6).all()
    assert (tests.loc["device_class", "p_value"] > 0.001).all()


def test_the_adjusted_ratio_of_reactions_holds_the_true_one_which_is_the_same_at_every_age(
    cohort: Cohort,
) -> None:
    row = audit.vasovagal_adjusted(cohort.attempts).set_index("definition").loc["vasovagal_any"]
    truth = true_values()
    true = truth[truth["measure"].eq("vasovagal") & truth["by"].eq("cervical_parity")].set_index("stratum")[
        "value"
    ]
    assert row["ratio_lower"] < true["no"] / true["yes"] < row["ratio_upper"]
    assert row["homogeneity_p_value"] > 0.001
