"""Which of our figures stands beside which published one: the right row, an honest grade, or none and why."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from audit.benchmarks import compare_with_benchmarks, published_figures
from audit.benchmarks.own_figures import own_figure
from audit.benchmarks.own_kinds import DEFINITIONS, OWN
from audit.records import AuditResults, Period
from audit.settings import AuditSettings
from audit.statistics.summaries import with_proportions

ALL = {"by": "overall", "stratum": "overall"}
EVERY = {"placement_kind": "all", "censoring": "last_known"}


def audited(tables: Mapping[str, pd.DataFrame]) -> AuditResults:
    """Results that hold only these tables, with enough outcomes known to judge by."""
    day = pd.Timestamp("2026-09-30")
    return AuditResults(
        service="A service",
        period=Period("2026-Q3", pd.Timestamp("2026-07-01"), day),
        data_to=day,
        settings=AuditSettings(),
        tables=tables,
        sources=(),
        versions={},
        gate="last_known_leads",
    )


def compared(results: AuditResults, benchmark: str) -> pd.Series:
    """The row of one published figure."""
    table = compare_with_benchmarks(results)
    return table[table["benchmark"] == benchmark].iloc[0]


def counted(events: int, n: int, unknown: int = 0, **labels: object) -> pd.DataFrame:
    """A row of a table of proportions."""
    row = {**ALL, **labels, "events": events, "n": n, "n_unknown": unknown}
    return with_proportions(pd.DataFrame([row]))


def rates(*rows: Mapping[str, object]) -> pd.DataFrame:
    """Rows of a table of rates of pelvic infection."""
    fixed = {**ALL, **EVERY, "definition": "suspected_or_confirmed", "caution": ""}
    return pd.DataFrame([{**fixed, "ci_lower": 0.0, "ci_upper": 0.02, **row} for row in rows])


def test_the_ectopic_share_is_of_the_pregnancies_whose_place_is_known() -> None:
    row = {"by": "device_family", "stratum": "copper", **EVERY, "person_years": 900.0, "rate": 0.003}
    table = pd.DataFrame([{**row, "events": 3, "n_pregnancies": 21, "n_place_unknown": 1, "caution": ""}])
    found = compared(
        audited({"ectopic_pregnancy": table}),
        "ectopic_share_of_pregnancies_heinemann_2015_12_months_copper_any",
    )
    # 3 of the 20 that were placed; 14 of 92 in the paper.
    assert (found["own"], found["own_events"], found["own_n"]) == (0.15, 3, 20)
    assert (found["own_lower"], found["own_upper"]) == pytest.approx(
        proportion_confint(3, 20, method="beta"), rel=1e-9
    )
    assert (found["grade"], found["verdict"]) == ("B", "cannot_tell")
    assert "Within 12 months there; up to the freeze here." in found["differs"]


def test_a_share_of_which_too_much_is_unknown_is_not_judged() -> None:
    row = {"by": "device_family", "stratum": "copper", **EVERY, "person_years": 900.0, "rate": 0.003}
    table = pd.DataFrame([{**row, "events": 30, "n_pregnancies": 60, "n_place_unknown": 20, "caution": ""}])
    found = compared(
        audited({"ectopic_pregnancy": table}),
        "ectopic_share_of_pregnancies_heinemann_2015_12_months_copper_any",
    )
    assert (found["own"], found["verdict"]) == (0.75, "cannot_tell")
    assert "bounds" in found["reason"]


def test_each_rate_of_infection_stands_beside_the_same_days_since_placement() -> None:
    table = rates(
        {"band": "0 to 20", "events": 2, "person_years": 200.0, "rate": 0.01},
        {"band": "over 20", "events": 4, "person_years": 2000.0, "rate": 0.002},
        {"band": "all", "events": 6, "person_years": 2200.0, "rate": 6 / 2200},
    )
    results = audited({"pelvic_infection": table})
    found = {
        name: compared(results, f"pelvic_infection_farley_1992_{name}")
        for name in ("20_days", "who_later", "who_all")
    }
    assert {name: row["own"] for name, row in found.items()} == {
        "20_days": 0.01,
        "who_later": 0.002,
        "who_all": 6 / 2200,
    }
    # What was followed for mixed lengths of time is shown and never judged.
    assert {name: row["grade"] for name, row in found.items()} == {
        "20_days": "B",
        "who_later": "C",
        "who_all": "C",
    }
    assert {row["verdict"] for row in found.values()} == {"cannot_tell"}


def test_a_crude_per_cent_of_infections_never_stands_beside_a_rate_or_a_curve() -> None:
    results = audited(
        {"pelvic_infection": rates({"band": "all", "events": 6, "person_years": 2200.0, "rate": 0.003})}
    )
    table = compare_with_benchmarks(results)
    crude = table[(table["outcome"] == "pelvic_infection") & (table["measure"] == "proportion")]
    assert len(crude) == 7
    assert set(crude["verdict"]) == {"no_comparable_figure"}
    assert crude["own"].isna().all()
    assert crude["reason"].str.contains("a crude per cent of women followed for unequal times").all()


def test_low_lying_is_compared_with_low_lying_and_scans_for_any_reason_with_nothing() -> None:
    table = pd.concat(
        [
            counted(30, 300, scanned="routine", definition="malposition"),
            counted(20, 300, scanned="routine", definition="low_in_cavity"),
            counted(60, 200, scanned="symptom_led", definition="malposition"),
        ],
        ignore_index=True,
    )
    results = audited({"malposition": table})
    assert compared(results, "malposition_unnamed_2022_2_months")["own"] == 0.1
    low = compared(results, "malposition_moshesh_2018")
    assert low["own"] == pytest.approx(20 / 300, rel=1e-12)
    # How many are found depends on who is scanned: 6.7% beside 17% is no verdict.
    assert (low["grade"], low["verdict"]) == ("C", "cannot_tell")
    for name in ("malposition_braaten_2011", "malposition_unnamed_2024"):
        none = compared(results, name)
        assert none["verdict"] == "no_comparable_figure"
        assert none["reason"] == "This audit does not measure the outcome as the paper defines it."


def test_threads_not_seen_and_what_became_of_the_devices_are_four_comparisons() -> None:
    ways = {"not_seen": (50, 900), "in_uterus": (46, 50), "expelled": (1, 50), "outside_uterus": (0, 50)}
    table = pd.concat([counted(*n, definition=way) for way, n in ways.items()], ignore_index=True)
    results = audited({"threads_not_seen": table})
    found = {
        way: compared(results, f"threads_not_seen{ending}_unnamed_2012")
        for way, ending in zip(ways, ("", "_device_in_place", "_expelled", "_perforated"), strict=True)
    }
    assert {way: (row["own_events"], row["own_n"]) for way, row in found.items()} == ways
    assert [row["grade"] for row in found.values()] == ["C", "C", "B", "B"]


def test_a_median_score_stands_beside_a_median_of_the_same_women_and_is_not_judged() -> None:
    fixed = {"by": "cervical_parity", "events": 40, "window": "all", "caution": ""}
    enough = {"stratum": "no", "median": 5.5, "median_lower": 5.0, "median_upper": 6.5, "n": 120}
    # Of three scores no limits can be given.
    few = {"stratum": "yes", "median": 2.5, "median_lower": -np.inf, "median_upper": np.inf, "n": 3}
    table = pd.DataFrame([{**fixed, **enough}, {**fixed, **few}])
    results = audited({"pain_scores": table})
    none, some = (compared(results, f"insertion_pain_brima_2015{end}") for end in ("", "_parous"))
    assert (none["published"], none["own"], none["own_n"]) == (6, 5.5, 120)
    assert (some["published"], some["own"]) == (3, 2.5)
    # High scores are no numerator of a median.
    assert np.isnan(none["own_events"])
    assert (none["grade"], none["verdict"]) == ("B", "cannot_tell")
    assert none["reason"] == "The paper prints no limits and no counts to compute them from."
    assert none["differs"] == "Scored from 1 to 10 there, from 0 to 10 here."
    assert np.isnan(none[["detectable_lower", "detectable_higher", "probability_above"]].astype(float)).all()


def test_a_mean_has_no_figure_of_ours() -> None:
    results = audited({"pain_scores": counted(40, 120, window="all")})
    row = compared(results, "insertion_pain_hogmark_2023")
    assert row["reason"].startswith("The paper prints a mean, and this audit has none")


def test_a_word_for_pain_is_no_score_and_gets_no_verdict() -> None:
    results = audited({"pain_scores": counted(20, 400, window="all", by="parous", stratum="no")})
    row = compared(results, "severe_insertion_pain_kaislasuo_2014_nulliparous")
    # 5% beside 58%, and still nothing is said.
    assert (row["own"], row["grade"], row["verdict"]) == (0.05, "C", "cannot_tell")
    assert "a score of 7 or more of 10" in row["differs"]


def test_a_service_may_compare_how_many_outcomes_are_known() -> None:
    table = counted(80, 100, window="all", placement_kind="first")
    entry = {"id": "national", "outcome": "outcome_known", "measure": "proportion", "horizon_days": 365}
    entry |= {"estimate": 0.9, "events": 900, "n": 1000, "population": "All", "definition": "The same"}
    settings = AuditSettings(benchmarks=({**entry, "citation": "National audit. 2025"},))
    results = audited({"outcome_known": table})
    row = compared(AuditResults(**{**vars(results), "settings": settings}), "national")
    assert (row["own"], row["grade"], row["verdict"]) == (0.8, "A", "lower")


def test_classes_of_device_that_are_no_family_have_no_figure_of_ours() -> None:
    table = pd.DataFrame(
        [{**ALL, **EVERY, "events": 1, "n_pregnancies": 4, "n_place_unknown": 0, "caution": ""}]
    )
    figure = next(one for one in published_figures() if "lng_13_5_and_lng_19_5" in one["id"])
    own, why = own_figure(figure, audited({"ectopic_pregnancy": table}))
    assert own is None
    assert why == "This audit has no figure for that group of women."


def test_every_definition_that_can_be_matched_changes_a_label_of_its_figure() -> None:
    for outcome, key in DEFINITIONS:
        kinds = [kind for (name, _), kind in OWN.items() if name == outcome]
        assert kinds, (outcome, key)
    keys = {(one["outcome"], one["definition_key"]) for one in published_figures() if "definition_key" in one}
    assert DEFINITIONS.keys() <= keys
