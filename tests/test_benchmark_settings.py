"""Published figures that a service adds: read as the library's are, refused in one sentence each."""

from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

from audit.benchmarks import compare_with_benchmarks, published_figures
from audit.errors import SettingsError
from audit.records import AuditResults, Period
from audit.schema.published import fault_in
from audit.settings import AuditSettings, read_settings

NATIONAL = {
    "id": '"national_2025"',
    "outcome": '"failed_insertion"',
    "measure": '"proportion"',
    "unit_of_analysis": '"per_visit"',
    "horizon_days": "0",
    "estimate": "0.05",
    "events": "250",
    "n": "5000",
    "population": '"All services of a country"',
    "definition": '"Visits that ended without a device"',
    "citation": '"National audit. 2025. Annual report"',
}


def written(tmp_path: Path, *figures: dict[str, str | None], before: str = "") -> Path:
    """A settings file with these figures; None leaves a key out."""
    tables = [
        "[[benchmarks]]\n"
        + "\n".join(f"{k} = {v}" for k, v in {**NATIONAL, **figure}.items() if v is not None)
        for figure in figures
    ]
    path = tmp_path / "clinic.toml"
    path.write_text(f"{before}\n" + "\n".join(tables), encoding="utf-8")
    return path


def with_failures(settings: AuditSettings, events: int, n: int, **labels: object) -> AuditResults:
    """Results that hold one figure of failed insertions per visit."""
    day = pd.Timestamp("2026-09-30")
    row = {"by": "overall", "stratum": "overall", "window": "all", "unit": "visit", "events": events, "n": n}
    row |= {
        "proportion": events / n,
        "ci_lower": events / n * 0.8,
        "ci_upper": events / n * 1.2,
        "caution": "",
    }
    return AuditResults(
        service="A service",
        period=Period("2026-Q3", pd.Timestamp("2026-07-01"), day),
        data_to=day,
        settings=settings,
        tables={"failed_insertions": pd.DataFrame([row | labels])},
        sources=(),
        versions={},
    )


def test_a_figure_of_the_settings_is_compared_after_those_of_the_library(tmp_path: Path) -> None:
    settings = read_settings(written(tmp_path, {}))
    table = compare_with_benchmarks(with_failures(settings, 60, 1000))
    last = table.iloc[-1]
    assert len(table) == len(published_figures()) + 1
    assert (last["benchmark"], last["status"]) == ("national_2025", "own")
    assert last["published_limits"] == "computed from its counts"
    assert last["verified"] == "entered by this service"
    assert last["citation"] == "National audit. 2025. Annual report"
    assert last["grade"] == "A"


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"horizon_days": None},
            "has no horizon. Write either horizon_days (0 at insertion, 365 at 12 months) or horizon = 'mixed'.",
        ),
        (
            {"horizon": '"mixed"'},
            "has two horizons. Write either horizon_days (0 at insertion, 365 at 12 months) or horizon = 'mixed'.",
        ),
        ({"citation": None}, "has no 'citation': a figure without a source cannot be used. Add it."),
        ({"citation": '""'}, "has no 'citation': a figure without a source cannot be used. Add it."),
        (
            {"ci_lower": "0.06", "ci_upper": "0.08"},
            "has limits from 0.06 to 0.08 that do not hold its estimate, 0.05. Correct them.",
        ),
        ({"ci_lower": "0.04"}, "has one limit without the other. Add the other."),
        (
            {"estimate": "5.0", "events": None},
            "has 5.0 where proportions run from 0 to 1. Write 0.038 for 3.8%.",
        ),
        ({"events": "2500"}, "has 2500 of 5000, which is not its estimate, 0.05. Correct one of them."),
        ({"events": "6000"}, "has 6000 events among 5000. Correct the counts."),
        ({"events": "2.5"}, "has 'events' = 2.5. Write a whole number."),
        ({"n": "-5"}, "has 'n' = -5. Write a number from 0 upwards."),
        ({"estimate": "'five'"}, "has 'estimate' = 'five'. Write a number."),
        ({"population": "3"}, "has 'population' = 3. Write text."),
        ({"unlike": "'young'"}, "has 'unlike' = 'young'. Write a list."),
        (
            {"parity": "'some'"},
            "has parity 'some', which is not known. Write one of: any, nulliparous, parous.",
        ),
        ({"sauce": "1"}, "has a key that is not known, 'sauce'. Correct its name or delete it."),
    ],
)
def test_a_figure_that_cannot_be_used_is_refused_in_one_sentence(
    tmp_path: Path,
    change: dict[str, str | None],
    sentence: str,
    tells_what_to_do: Callable[[str], bool],
) -> None:
    with pytest.raises(SettingsError) as refusal:
        read_settings(written(tmp_path, change))
    assert str(refusal.value) == f"clinic.toml, benchmarks, 'national_2025': {sentence}"
    assert tells_what_to_do(str(refusal.value))


def test_an_outcome_that_nobody_knows_is_refused_with_those_that_exist(tmp_path: Path) -> None:
    with pytest.raises(
        SettingsError, match=r"has outcome 'happiness', which is not known\. Write one of: failed_"
    ):
        read_settings(written(tmp_path, {"outcome": '"happiness"'}))


def test_a_figure_without_a_name_is_called_by_its_place(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"clinic.toml, benchmarks, 'number 1': has no 'id'\. Add it\."):
        read_settings(written(tmp_path, {"id": None}))


def test_two_figures_of_one_id_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"two figures have the id 'national_2025'\. Rename one\."):
        read_settings(written(tmp_path, {}, {"estimate": "0.05"}))


def test_an_id_of_the_library_is_refused_when_settings_are_read(
    tmp_path: Path, tells_what_to_do: Callable[[str], bool]
) -> None:
    taken = published_figures()[-1]["id"]
    with pytest.raises(SettingsError) as refusal:
        read_settings(written(tmp_path, {}, {"id": f'"{taken}"'}))
    assert str(refusal.value) == (
        f"clinic.toml, benchmarks: the id '{taken}' is that of a figure of the library. Rename yours."
    )
    assert tells_what_to_do(str(refusal.value))


def test_figures_must_be_written_as_a_list_of_tables(tmp_path: Path) -> None:
    path = tmp_path / "clinic.toml"
    path.write_text("[benchmarks]\nid = 'x'\n", encoding="utf-8")
    with pytest.raises(
        SettingsError, match=r"clinic.toml, benchmarks: must be written as \[\[benchmarks\]\]"
    ):
        read_settings(path)


def test_a_reason_needs_its_margin(tmp_path: Path) -> None:
    path = tmp_path / "clinic.toml"
    path.write_text('[margin_reasons]\nexpulsion = "too small to matter"\n', encoding="utf-8")
    with pytest.raises(SettingsError, match=r"margin_reasons: no margin is set for 'expulsion'\."):
        read_settings(path)


def test_every_figure_of_the_library_would_be_accepted_in_settings() -> None:
    assert [figure["id"] for figure in published_figures() if fault_in(figure)] == []
