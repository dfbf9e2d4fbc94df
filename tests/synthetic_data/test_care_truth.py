"""The care of the invented service: drawn apart from everything else, and found again by the audit."""

from dataclasses import replace
from math import sqrt
from pathlib import Path

import pandas as pd
import pytest

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.measures.process import process_of_care
from synthetic_data.care import CARE_COLUMNS
from synthetic_data.care_course import Care, Words
from synthetic_data.flaws import export_as_clinic
from synthetic_data.generate import generate_visits
from synthetic_data.parameters import LARKFIELD

WOMEN = 6000


def _share(words: Words, met: tuple[str, ...], not_met: tuple[str, ...]) -> tuple[float, float]:
    """The shares of answers that meet an item, and that do not."""
    shares = dict(words)
    return sum(shares[word] for word in met), sum(shares[word] for word in not_met)


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """The items of care of a larger service, item by item."""
    path: Path = tmp_path_factory.mktemp("care") / "visits.csv"
    generate_visits(replace(LARKFIELD, women=WOMEN), seed=7).to_csv(path, index=False)
    return process_of_care(derive_cohort(load_visits([path])).attempts).set_index("item")


EVERY, PLACED = dict(Care().at_every_visit), dict(Care().where_placed)
SINGLE = {
    "pregnancy_excluded": (EVERY["pregnancy_excluded"], ("yes_criteria", "yes_test"), ("no",)),
    "pelvis_assessed": (EVERY["bimanual_done"], ("bimanual", "ultrasound", "both"), ("none",)),
    "bleeding_information": (EVERY["bleeding_change_info"], ("yes",), ("no",)),
    "pain_options": (EVERY["pain_options_discussed"], ("yes",), ("no",)),
    "analgesia_advice": (EVERY["analgesia_advised"], ("yes",), ("no",)),
    "device_information": (PLACED["info_device_given"], ("yes",), ("no",)),
    "thread_advice": (PLACED["thread_check_advice"], ("yes",), ("no",)),
}


def _agrees(found: pd.Series, met: float, not_met: float) -> bool:
    """Whether a proportion lies within 4 standard errors of its truth."""
    truth = met / (met + not_met)
    return bool(abs(found["proportion"] - truth) < 4 * sqrt(truth * (1 - truth) / found["n"]))


@pytest.mark.parametrize("item", SINGLE)
def test_the_true_share_of_an_item_comes_back(table: pd.DataFrame, item: str) -> None:
    words, met, not_met = SINGLE[item]
    assert _agrees(table.loc[item], *_share(words, met, not_met))


def test_two_answers_together_come_back_as_both_met_or_either_not(table: pd.DataFrame) -> None:
    consent = _share(EVERY["consent_recorded"], ("verbal", "written"), ("no",))
    risks = _share(EVERY["risks_discussed"], ("all",), ("partial", "no"))
    met, not_met = consent[0] * risks[0], 1 - (1 - consent[1]) * (1 - risks[1])
    assert _agrees(table.loc["consent_and_risks"], met, not_met)


def test_the_share_not_recorded_comes_back(table: pd.DataFrame) -> None:
    for item, (words, _, _) in SINGLE.items():
        row, blank = table.loc[item], dict(words)[""]
        # Exceptions leave the denominator; a pain killer contraindicated is one of the answers.
        blank /= 1 - dict(words).get("contraindicated", 0)
        whole = row["n"] + row["n_unknown"]
        assert abs(row["n_unknown"] / whole - blank) < 4 * sqrt(blank * (1 - blank) / whole), item


def test_nothing_else_in_the_log_or_its_export_moves_when_care_changes() -> None:
    careless = Care(at_every_visit=(("pain_options_discussed", (("no", 1.0),)),), where_placed=())
    one, other = (
        generate_visits(replace(LARKFIELD, women=400, care=care), seed=3) for care in (Care(), careless)
    )
    drawn = CARE_COLUMNS | {"onward_plan"}
    kept = [name for name in one.columns if name not in drawn]
    pd.testing.assert_frame_equal(one[kept], other[kept])
    ledgers = [export_as_clinic(log, seed=3).ledger for log in (one, other)]
    pd.testing.assert_frame_equal(*ledgers)
    assert set(other["pain_options_discussed"].dropna()) == {"no"}


def test_care_stands_only_where_it_belongs() -> None:
    log = generate_visits(replace(LARKFIELD, women=800), seed=5).astype(object).fillna("")
    begun = log["insertion_outcome"].isin(["placed", "failed", "stopped_on_request"])
    assert (log.loc[~begun, sorted(CARE_COLUMNS)] == "").all(axis=None)
    assert (log.loc[log["insertion_outcome"] != "placed", "info_device_given"] == "").all()
    closed = log["failure_reason"] == "could_not_pass_internal_os"
    assert set(log.loc[closed, "resistance_met"]) == {"impassable"}
    assert set(log.loc[log["atropine_given"] == "yes", "vasovagal_grade"]) <= {"4"}
