"""Known truth in, the audit's own steps over it, the same truth out: within 4 standard errors."""

from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.records import Cohort
from audit.settings import AuditSettings
from audit.statistics.competing import cumulative_incidence
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import fully_followed
from synthetic_data.truth import true_values

CAUSES = {
    "expulsion_complete": 1,
    "expulsion_partial": 1,
    "removal": 2,
    "pregnancy": 3,
    "perforation": 4,
    "death": 5,
}


@pytest.fixture(scope="module")
def cohort(tmp_path_factory: pytest.TempPathFactory) -> Cohort:
    """The clean log in our own headings, read without any settings."""
    path: Path = tmp_path_factory.mktemp("clean") / "visits.csv"
    generate_visits(replace(fully_followed(), women=12_000), seed=4).to_csv(path, index=False)
    settings = AuditSettings()
    log = load_visits([path], settings)
    assert log.set_aside.empty
    return derive_cohort(log, settings)


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return true_values()


def _true(truth: pd.DataFrame, measure: str, by: str, stratum: str) -> float:
    rows = truth["measure"].eq(measure) & truth["by"].eq(by) & truth["stratum"].eq(stratum)
    return float(truth.loc[rows, "value"].item())


@pytest.mark.parametrize("rule", ["last_known", "assumed_in_place"])
def test_the_cumulative_incidence_at_a_year_is_the_true_one_when_everyone_is_followed(
    cohort: Cohort, truth: pd.DataFrame, rule: str
) -> None:
    first = cohort.placements[cohort.placements["placement_kind"] == "first"]
    end = first[f"exit_day_{rule}"].to_numpy(dtype=float)
    causes = first["ending"].astype(str).map(CAUSES).fillna(0).to_numpy(dtype=int)
    causes = np.where(first["ending_day"].to_numpy(dtype=float) > end, 0, causes)
    incidence = cumulative_incidence(end, causes)
    year = incidence[incidence["time"] <= 365].groupby("cause")[["incidence", "standard_error"]].last()
    for cause, measure in ((1, "expulsion_12_months"), (2, "removal_12_months")):
        expected = _true(truth, measure, "overall", "all")
        found, error = year.loc[[cause]].to_numpy(dtype=float)[0]
        assert abs(found - expected) < 4 * error, measure


@pytest.mark.parametrize("vaginal_birth", ["yes", "no"])
def test_failed_attempts_by_cervical_parity_are_the_true_ones(
    cohort: Cohort, truth: pd.DataFrame, vaginal_birth: str
) -> None:
    tried = cohort.attempts[cohort.attempts["outcome"].isin(["placed", "failed"])]
    first = tried.drop_duplicates("patient_ref")
    group = first[first["cervical_parity"] == vaginal_birth]
    expected = _true(truth, "failed_insertion", "cervical_parity", vaginal_birth)
    failed = (group["outcome"] == "failed").mean()
    assert abs(failed - expected) < 4 * sqrt(expected * (1 - expected) / len(group))
