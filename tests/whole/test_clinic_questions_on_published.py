"""Questions on published figures, end to end: a log in, the command line, record.json and the page.

Outside sources: Kaplan-Meier curves, restricted means and log-rank tests by lifelines; exact limits by statsmodels.
The published figures are those of Madden T et al., Obstet Gynecol 2014;124:718-726 (expulsion), and Peipert JF et
al., Obstet Gynecol 2011;117(5) (continuation), as the abstracts print them.
"""

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from lifelines import KaplanMeierFitter
from lifelines.statistics import multivariate_logrank_test
from lifelines.utils import restricted_mean_survival_time
from statsmodels.stats.proportion import proportion_confint

from audit.cli import main

Row = dict[str, object]
Pick = Callable[..., dict[str, Any]]
YEAR, THREE_YEARS = 365, 1095
# 81 of 61,448 in twelve months: Heinemann K et al., Contraception 2015;91:274-279.
EUROPE = "perforation_europe_2015_all"
OWN = """
[[benchmarks]]
id = "national_{timing}{crude}"
outcome = "expulsion"
measure = "{measure}"
horizon_days = {days}
estimate = {estimate}
ci_lower = {lower}
ci_upper = {upper}
placement_timing = "{timing}"
censoring = "censored when last heard of"
censoring_rule = "last_known"
population = "All services of a country, {timing} placements"
definition = "Expulsion, partial or complete"
citation = "National audit. 2025. Annual report"
"""


@dataclass(frozen=True)
class Answer:
    """The tables of record.json, and the page."""

    tables: Mapping[str, list[dict[str, Any]]]
    page: str

    def beside(self, benchmark: str) -> dict[str, Any]:
        """The comparison with one published figure."""
        (row,) = [row for row in self.tables["benchmark_comparison"] if row["benchmark"] == benchmark]
        return row

    def section(self, name: str) -> str:
        """The text of one section, tags taken out, every run of blanks a single one."""
        (found,) = re.findall(rf'<section[^>]* id="{name}".*?</section>', self.page, re.DOTALL)
        return " ".join(re.sub("<[^>]+>", " ", found).split())

    def drawn(self, plot: str) -> dict[str, Any]:
        """What is drawn in one plot."""
        (found,) = re.findall(rf'<script type="application/json" id="{plot}-data">(.*?)</script>', self.page)
        drawing: dict[str, Any] = json.loads(found)
        return drawing


@pytest.fixture(scope="module")
def ask(tmp_path_factory: pytest.TempPathFactory, write_log: Callable[..., Path]) -> Callable[..., Answer]:
    """Write rows as a log and settings beside it, audit them by the command line, and read what came out."""

    def run(rows: Sequence[Row], *, period: str, data_to: str, settings: str = "") -> Answer:
        folder = tmp_path_factory.mktemp("clinic")
        log, rules, out = write_log(folder / "v.csv", rows), folder / "clinic.toml", folder / "out"
        rules.write_text(f'service = "A service"\n{settings}', encoding="utf-8")
        named = ["--settings", rules, "--period", period, "--data-to", data_to, "--out", out, "--quiet"]
        assert main([str(word) for word in ("run", log, *named)]) == 0
        tables = json.loads((out / "record.json").read_text())["tables"]
        return Answer(tables, (out / "internal" / "report.html").read_text(encoding="utf-8"))

    return run


Spell = tuple[int, bool]


def spells(ends: Mapping[int, int], last_seen: Mapping[int, int]) -> list[Spell]:
    """Women as day and whether that day ended the use; `ends` and `last_seen` map a day to how many."""
    ended = [(day, True) for day, number in ends.items() for _ in range(number)]
    return ended + [(day, False) for day, number in last_seen.items() for _ in range(number)]


def still_in(women: Sequence[Spell], day: float) -> float:
    """The Kaplan-Meier proportion without the ending by a day, by lifelines."""
    fitter = KaplanMeierFitter().fit([end for end, _ in women], [ended for _, ended in women])
    return float(fitter.predict(day))


# Expulsions, and when the others were last seen, by group of women.
GROUPS: Mapping[str, tuple[Row, list[Spell]]] = {
    "interval": (
        {"age_years": 31, "placement_timing": "interval"},
        spells({30: 4, 300: 2, 800: 3}, {200: 10, 700: 20, 1200: 81}),
    ),
    "young": (
        {"age_years": 18, "placement_timing": "interval"},
        spells({20: 6, 400: 4}, {200: 5, 900: 10, 1200: 35}),
    ),
    "postpartum": (
        {"age_years": 31, "placement_timing": "early_postpartum_inpatient"},
        spells({10: 6, 500: 2}, {200: 4, 1200: 28}),
    ),
}


def expulsions() -> Iterator[Row]:
    """The women of `GROUPS` as a log."""
    placed = date(2022, 1, 3)
    for group, (woman, ends) in GROUPS.items():
        for number, (day, expelled) in enumerate(ends):
            name: Row = {"patient_ref": f"{group}{number}"}
            yield {
                **name,
                **woman,
                "visit_date": placed,
                "visit_kind": "insertion",
                "insertion_outcome": "placed",
            }
            found = "complete_expulsion" if expelled else "in_situ_confirmed"
            seen = {"visit_date": placed + timedelta(days=day), "visit_kind": "follow_up"}
            yield {**name, **seen, "device_in_situ": found}


def national(timing: str, estimate: float, *, measure: str = "one_minus_km", crude: str = "") -> str:
    """A published figure of the service's own choice, at 12 months."""
    limits = {"lower": estimate - 0.01, "upper": estimate + 0.01}
    return OWN.format(timing=timing, estimate=estimate, measure=measure, crude=crude, days=YEAR, **limits)


@pytest.fixture(scope="module")
def expelled(ask: Callable[..., Answer]) -> Answer:
    """The audit of the log of expulsions, with figures of the service's own choice."""
    own = [
        national("interval", 0.05),
        national("postpartum", 0.05),
        national("interval", 0.04, measure="proportion", crude="_crude"),
    ]
    return ask(list(expulsions()), period="2025-Q4", data_to="2026-01-31", settings="".join(own))


def test_our_expulsions_stand_beside_published_ones_of_the_same_women_and_the_same_day(
    expelled: Answer, pick: Pick
) -> None:
    not_postpartum = [*GROUPS["interval"][1], *GROUPS["young"][1]]
    every = [*not_postpartum, *GROUPS["postpartum"][1]]
    expected = {
        "national_interval": ("timing_group", "interval", YEAR, not_postpartum),
        "national_postpartum": ("timing_group", "postpartum", YEAR, GROUPS["postpartum"][1]),
        "expulsion_madden_2014_12_months_age_lt20": ("age_band", "under_20", YEAR, GROUPS["young"][1]),
        "expulsion_madden_2014_36_months_age14_19": ("age_band", "under_20", THREE_YEARS, GROUPS["young"][1]),
        "expulsion_madden_2014_12_months_all": ("overall", "overall", YEAR, every),
        "expulsion_choice_2014_36_months_all": ("overall", "overall", THREE_YEARS, every),
    }
    for name, (by, stratum, day, women) in expected.items():
        row = expelled.beside(name)
        assert (row["by"], row["stratum"], row["horizon_days"], row["measure"]) == (
            by,
            stratum,
            day,
            "one_minus_km",
        )
        assert row["own"] == pytest.approx(1 - still_in(women, day), abs=1e-12), name
        # The very figure of our table at that day, and of no other.
        fixed = {"by": by, "stratum": stratum, "placement_kind": "first", "cause": "expulsion"}
        held = pick(expelled.tables["expulsion_incidence"], censoring="last_known", days=day, **fixed)
        assert (row["own"], row["own_n"]) == (held["one_minus_km"], held["at_risk"])
    crude = expelled.beside("national_interval_crude")
    assert (crude["verdict"], crude["own"]) == ("no_comparable_figure", None)
    assert "a crude per cent of women followed for unequal times" in crude["reason"]


def test_the_grade_of_likeness_and_the_day_are_printed_beside_each_expulsion(expelled: Answer) -> None:
    alike, near = (
        expelled.beside(name) for name in ("national_interval", "expulsion_choice_2014_36_months_all")
    )
    assert (alike["grade"], near["grade"]) == ("A", "B")
    assert near["published"] == 0.102
    assert near["differs_in"] == "population, censoring"
    # 10.2 per 100 at 36 months, as printed; the paper's interval was not seen.
    assert (near["verdict"], near["reason"]) == (
        "cannot_tell",
        "The paper prints no limits and no counts to compute them from.",
    )
    young = expelled.beside("expulsion_madden_2014_36_months_age14_19")
    assert "Aged 14 to 19; ours under 20." in young["differs"]
    section = expelled.section("benchmarks")
    for row in (near, expelled.beside("expulsion_madden_2014_12_months_all")):
        time = {YEAR: "12 months", THREE_YEARS: "3 years"}[row["horizon_days"]]
        said = re.escape(f"Published {100 * row['published']:.1f}% (no limits)")
        assert re.search(rf"{said} (n 5,403 )?by {time} Ours", section), row["benchmark"]
        assert f"Ours {100 * row['own']:.1f}% (" in section


def test_a_log_of_two_years_has_no_figure_beside_one_of_three(ask: Callable[..., Answer]) -> None:
    rows = [row for row in expulsions() if row["visit_date"] <= date(2023, 12, 31)]  # type: ignore[operator]
    answer = ask(rows, period="2023-Q4", data_to="2023-12-31")
    names = ("choice_2014_36_months_all", "madden_2014_12_months_all")
    three, one = (answer.beside(f"expulsion_{name}") for name in names)
    assert (three["verdict"], three["own"]) == ("no_comparable_figure", None)
    assert three["reason"] == "Nobody of that group was followed that long here, or there is nobody in it."
    assert one["own"] is not None


# Removals by day, and when the others were last seen: of each device, eight are followed on for long.
DEVICES: Mapping[str, list[Spell]] = {
    "lng_52": spells({60: 4, 200: 5, 300: 3, 390: 2, 500: 1}, {400: 78, 690: 7}),
    "copper_t_380": spells({50: 6, 150: 5, 330: 5, 395: 2, 505: 1}, {400: 74, 690: 7}),
}
REPLACED = 3


def continuations() -> Iterator[Row]:
    """The women of `DEVICES` as a log; the first removals of copper are replacements, seen once more at day 400."""
    placed = date(2024, 1, 8)
    for device, ends in DEVICES.items():
        for number, (day, removed) in enumerate(ends):
            name: Row = {"patient_ref": f"{device}{number}"}
            with_device = {**name, "device_class": device}
            yield {
                **with_device,
                "visit_date": placed,
                "visit_kind": "insertion",
                "insertion_outcome": "placed",
            }
            on = placed + timedelta(days=day)
            taken = {"device_in_situ": "removed_here", "removal_reason_main": "planned_end_of_duration"}
            if not removed:
                yield {
                    **name,
                    "visit_date": on,
                    "visit_kind": "follow_up",
                    "device_in_situ": "in_situ_confirmed",
                }
            elif device == "copper_t_380" and number < REPLACED:
                again = {"visit_kind": "removal_and_replacement", "insertion_outcome": "placed"}
                yield {**with_device, **taken, **again, "visit_date": on}
                later = {"visit_date": placed + timedelta(days=400), "visit_kind": "follow_up"}
                yield {**name, **later, "device_in_situ": "in_situ_confirmed"}
            else:
                yield {**name, **taken, "visit_date": on, "visit_kind": "removal"}


@pytest.fixture(scope="module")
def continued(ask: Callable[..., Answer]) -> Answer:
    """The audit of the log of two devices."""
    return ask(list(continuations()), period="2025-Q4", data_to="2026-01-31")


def test_continuation_by_device_stands_beside_the_published_88_and_84_of_100(
    continued: Answer, pick: Pick
) -> None:
    for device, published in (("lng_52", 0.88), ("copper_t_380", 0.84)):
        row = continued.beside(f"continuation_choice_2011_12_months_{device}")
        assert (row["published"], row["horizon_days"], row["grade"]) == (published, YEAR, "B")
        assert row["own"] == pytest.approx(still_in(DEVICES[device], YEAR), abs=1e-12)
        fixed = {"by": "device_class", "stratum": device, "placement_kind": "first", "days": YEAR}
        held = pick(continued.tables["continuation_curve"], censoring="last_known", **fixed)
        assert (row["own"], row["own_n"], row["own_events"]) == (
            held["survival"],
            held["at_risk"],
            held["cumulative_events"],
        )
        assert "does not say whether its figure is from a life table" in row["differs"]
        assert row["verdict"] == "cannot_tell"
    section = continued.section("benchmarks")
    assert "Peipert et al. 2011" in section
    assert "Published 88.0% (no limits)" in section
    # 88 and 84 of 100 here as well, by design.
    assert [round(still_in(DEVICES[device], YEAR), 2) for device in DEVICES] == [0.88, 0.84]


def test_curves_of_two_devices_come_with_numbers_at_risk_a_test_and_mean_days_in_use(
    continued: Answer, pick: Pick
) -> None:
    fixed = {"placement_kind": "first", "censoring": "last_known"}
    every = [(*spell, device) for device, women in DEVICES.items() for spell in women]
    days, ended, devices = zip(*every, strict=True)
    outside = multivariate_logrank_test(days, devices, ended)
    test = pick(continued.tables["continuation_tests"], by="device_class", **fixed)
    assert test["statistic"] == pytest.approx(outside.test_statistic, rel=1e-9)
    assert test["p_value"] == pytest.approx(outside.p_value, rel=1e-9)
    means = pick(continued.tables["continuation_differences"], group="copper", reference="hormonal", **fixed)
    for name, device in (("mean", "copper_t_380"), ("reference_mean", "lng_52")):
        fitter = KaplanMeierFitter().fit(*zip(*DEVICES[device], strict=True))
        assert means[name] == pytest.approx(restricted_mean_survival_time(fitter, t=YEAR), rel=1e-9)
    section = continued.section("continuation")
    assert "log-rank p" in section
    assert "Days in use in the first year" in section
    # 200 placed, 12 + 16 ended by a year, 172 seen at day 400.
    assert re.search(r"12 months 172 0 28 86\.0 \(", section)


def test_a_replacement_ends_the_device_and_not_the_method(continued: Answer, pick: Pick) -> None:
    fixed = {"by": "overall", "placement_kind": "first", "censoring": "last_known", "days": YEAR}
    device = pick(continued.tables["continuation_curve"], **fixed)
    method = pick(continued.tables["method_continuation"], **fixed)
    assert device["cumulative_events"] - method["cumulative_events"] == REPLACED
    assert method["survival"] == pytest.approx((200 - 28 + REPLACED) / 200, abs=1e-12)
    # A replacement is no woman of the first curve: 200 began it.
    began = [
        row["at_risk"]
        for row in continued.tables["continuation_curve"]
        if all(row[name] == value for name, value in {**fixed, "days": 0}.items())
    ]
    assert began == [200]
    apart = {"by": "overall", "placement_kind": "replacement", "censoring": "last_known"}
    assert pick(continued.tables["continuation_summary"], **apart)["n"] == REPLACED


def test_a_curve_is_drawn_to_the_last_day_with_ten_observed_and_its_table_goes_on(continued: Answer) -> None:
    traces = continued.drawn("continuation-family-last-known-plot")["data"]
    # Removals at days 390 and 395 with many observed, at 500 and 505 with eight: drawn are the first two.
    assert max(day for trace in traces for day in trace["x"]) == 395
    rows = [row for row in continued.tables["continuation_curve"] if row["by"] == "device_family"]
    beyond = [row for row in rows if row["censoring"] == "last_known" and row["days"] > 400]
    assert {500, 505} <= {row["days"] for row in beyond}
    assert {row["at_risk"] for row in beyond} <= set(range(10))
    assert all(row["caution"] for row in beyond)
    assert "Curves stop below 10 observed." in continued.section("continuation")


def test_none_of_240_is_printed_as_what_is_still_possible(ask: Callable[..., Answer]) -> None:
    rows: list[Row] = [
        {
            "patient_ref": f"W{number}",
            "visit_date": date(2026, 7, 1) + timedelta(days=number % 90),
            "visit_kind": "insertion",
            "insertion_outcome": "placed",
            "perforation_suspected": "no",
        }
        for number in range(240)
    ]
    answer = ask(rows, period="2026-Q3", data_to="2026-09-30")
    row = answer.beside(EUROPE)
    assert (row["published_events"], row["published_n"]) == (81, 61448)
    assert (row["own"], row["own_events"], row["own_n"], row["verdict"]) == (0, 0, 240, "cannot_tell")
    assert row["own_upper"] == pytest.approx(proportion_confint(0, 240, method="beta")[1], rel=1e-9)
    # Zero of 240 was to be expected seven times in ten, (1 - 81/61448) ** 240 = 0.73: neither way is likely.
    assert 0.25 < row["probability_above"] < row["probability_below"] < 0.75
    assert row["detectable_lower"] is None
    assert row["detectable_higher"] == pytest.approx(0.0118, abs=5e-5)
    section = answer.section("benchmarks")
    assert "None seen in 240: a true figure of up to 15.3 per 1,000 would still be compatible" in section
    assert "Would be shown, four times in five: a true figure of 11.8 per 1,000 or more." in section
    assert "None of 240" in answer.page
    assert "up to 1.5% is still possible" in answer.page
