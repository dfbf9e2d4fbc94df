"""The demonstration: settings that the audit reads, and a log whose accounting matches its ledger."""

import csv
import tomllib
from pathlib import Path

import pytest

from audit.cohort import derive_cohort
from audit.ingest.load import load_visits
from audit.records import Cohort, VisitLog
from audit.settings import AuditSettings, read_settings
from synthetic_data.demo import DEMO_DATA_TO, demo_export, write_demo


@pytest.fixture(scope="module")
def paths(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return write_demo(tmp_path_factory.mktemp("demo") / "new" / "folder")


@pytest.fixture(scope="module")
def settings(paths: tuple[Path, Path]) -> AuditSettings:
    return read_settings(paths[1])


@pytest.fixture(scope="module")
def log(paths: tuple[Path, Path], settings: AuditSettings) -> VisitLog:
    return load_visits([paths[0]], settings)


@pytest.fixture(scope="module")
def cohort(log: VisitLog, settings: AuditSettings) -> Cohort:
    return derive_cohort(log, settings)


def test_writing_it_again_changes_no_byte(paths: tuple[Path, Path]) -> None:
    before = [path.read_bytes() for path in paths]
    write_demo(paths[0].parent)
    assert [path.read_bytes() for path in paths] == before
    assert not any(b"\r" in content for content in before)


def test_the_settings_are_read_and_say_that_the_data_are_invented(settings: AuditSettings) -> None:
    assert settings.synthetic
    assert settings.service == "Larkfield Coast Contraception Service"
    assert settings.margins["failed_insertion"] == 0.02
    assert settings.margins["outcome_known"] == 0.05
    assert settings.charted_by_exception == ()


def test_every_margin_gives_its_reason(paths: tuple[Path, Path]) -> None:
    settings = tomllib.loads(paths[1].read_text(encoding="utf-8"))
    assert settings["margins"].keys() == settings["margin_reasons"].keys()
    assert all(len(reason) > 10 for reason in settings["margin_reasons"].values())


def test_the_settings_name_every_heading_of_the_log(
    paths: tuple[Path, Path], settings: AuditSettings
) -> None:
    with paths[0].open(encoding="utf-8", newline="") as file:
        headings = next(csv.reader(file))
    assert list(settings.layout.headings.values()) == headings


def test_the_rows_set_aside_are_those_of_the_ledger(log: VisitLog) -> None:
    ledger = demo_export().ledger
    lost = ledger[ledger["effect"].isin(["row_unusable", "duplicate"])]
    assert sorted(log.set_aside["row"]) == sorted(lost["line"])
    assert len(log.set_aside) == 15
    assert str(log.data_to.date()) == DEMO_DATA_TO


def test_the_values_that_could_not_be_used_are_those_of_the_ledger(log: VisitLog) -> None:
    ledger = demo_export().ledger
    spoilt = ledger[ledger["effect"] == "value_unusable"]
    found = log.findings[log.findings["rule"] == "out_of_range"]
    assert sorted(zip(found["row"], found["column"], strict=True)) == sorted(
        zip(spoilt["line"], spoilt["column"], strict=True)
    )


def test_the_outcome_at_a_year_is_known_for_four_in_five_but_not_at_one_site(cohort: Cohort) -> None:
    known = cohort.placements["outcome_known"]
    assert 0.80 <= known.mean() <= 0.85
    by_site = known.groupby(cohort.placements["site_ref"].astype(str)).mean()
    assert by_site["TOWER"] < 0.55
    assert by_site.drop("TOWER").min() > 0.80


def test_the_quarter_holds_enough_to_report(cohort: Cohort) -> None:
    days = cohort.attempts["attempt_date"]
    quarter = cohort.attempts[(days >= "2026-07-01") & (days <= "2026-09-30")]
    assert 300 < len(quarter) < 450
    assert (quarter["outcome"] == "failed").sum() >= 10
