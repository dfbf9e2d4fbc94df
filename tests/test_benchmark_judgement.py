"""What is said of a difference: worked values, chances beyond the margin, detectable figures, more to settle."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from audit.benchmarks import compare_with_benchmarks
from audit.records import AuditResults, Period
from audit.settings import settings_from
from audit.statistics.margins import observations_to_settle
from audit.statistics.power import power_two_proportions
from audit.statistics.proportions import proportion_interval

EURAS = "perforation_europe_2015_lng_52"


def compared(
    tables: dict[str, pd.DataFrame],
    *,
    margins: dict[str, float] | None = None,
    benchmarks: list[dict[str, object]] | None = None,
) -> pd.DataFrame:
    """The comparisons of results that hold only these tables, by figure."""
    day = pd.Timestamp("2026-09-30")
    results = AuditResults(
        service="A service",
        period=Period("2026-Q3", pd.Timestamp("2026-07-01"), day),
        data_to=day,
        settings=settings_from({"margins": margins or {}, "benchmarks": benchmarks or []}),
        tables=tables,
        sources=(),
        versions={},
        gate="last_known_leads",
    )
    return compare_with_benchmarks(results).set_index("benchmark")


def ours(events: int, n: int, **labels: object) -> dict[str, object]:
    """A row of a table of proportions."""
    (lower, upper), (exact_lower, exact_upper) = (
        proportion_interval(events, n, method=method) for method in ("wilson", "clopper_pearson")
    )
    return {
        "by": "overall",
        "stratum": "overall",
        "window": "all",
        "unit": "visit",
        "definition": "confirmed",
        "events": events,
        "n": n,
        "proportion": events / n,
        "caution": "",
        "ci_lower": float(lower),
        "ci_upper": float(upper),
        "exact_lower": float(exact_lower),
        "exact_upper": float(exact_upper),
        **labels,
    }


def paper(events: int, n: int, **changes: object) -> dict[str, object]:
    """A published proportion of failed insertions per visit with its counts."""
    return {
        "id": "paper",
        "outcome": "failed_insertion",
        "measure": "proportion",
        "unit_of_analysis": "per_visit",
        "horizon_days": 0,
        "estimate": events / n,
        "events": events,
        "n": n,
        "population": "All",
        "definition": "Failed visits",
        "citation": "Someone A. 2020. A journal 1:1",
        **changes,
    }


@pytest.mark.parametrize(
    ("own", "published", "lower", "upper"),
    [
        # Newcombe RG. Stat Med 1998;17:873-890, table II, method 10, rows a to d.
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((6, 7), (2, 7), 0.0582, 0.8062),
        ((5, 56), (0, 29), -0.0381, 0.1926),
    ],
)
def test_the_interval_of_a_difference_is_the_printed_one(
    own: tuple[int, int], published: tuple[int, int], lower: float, upper: float
) -> None:
    table = compared({"failed_insertions": pd.DataFrame([ours(*own)])}, benchmarks=[paper(*published)])
    row = table.loc["paper"]
    assert (round(row["difference_lower"], 4), round(row["difference_upper"], 4)) == (lower, upper)
    assert row["verdict"] == ("higher" if lower > 0 else "cannot_tell")


def test_none_of_240_perforated_cannot_be_told_from_the_literature() -> None:
    rows = pd.DataFrame([ours(0, 240, by="device_class", stratum="lng_52")])
    row = compared({"perforation": rows}, margins={"perforation": 0.001}).loc[EURAS]
    # Exact two-sided upper limit of 0 of 240 is 1 - 0.025^(1/240).
    assert row["own_upper"] == pytest.approx(1 - 0.025 ** (1 / 240))
    assert round(row["own_upper"], 3) == 0.015
    assert row["verdict"] == "cannot_tell"
    # At 1.4 in 1,000, none in 240 is what happens in 71 services of 100.
    assert stats.binom.pmf(0, 240, 0.0014) == pytest.approx(0.71, abs=0.005)
    # The smallest count out of reach of chance is 3: only a true rate at which 3 come in 80% would be shown.
    assert stats.binom.sf(2, 240, 0.0014) <= 0.025 < stats.binom.sf(1, 240, 0.0014)
    assert stats.binom.sf(2, 240, row["detectable_higher"]) == pytest.approx(0.8, abs=1e-6)
    assert pd.isna(row["detectable_lower"])
    assert row["can_be_settled"] == "yes"
    assert row["more_needed"] > 1000


def test_six_of_48_is_higher_than_none_of_the_papers_it_is_like_and_says_how_likely() -> None:
    # 6 of 48 against 25 of 592: Fisher's exact test gives p = 0.025 (scipy), the interval of Newcombe leaves out 0.
    table = compared(
        {"failed_insertions": pd.DataFrame([ours(6, 48), ours(6, 48, unit="operator_attempt")])},
        margins={"failed_insertion": 0.02},
        benchmarks=[paper(25, 592)],
    )
    row = table.loc["paper"]
    assert row["verdict"] == "higher"
    assert stats.fisher_exact([[6, 42], [25, 567]]).pvalue < 0.05
    assert row["probability_method"] == "beta posteriors (Jeffreys)"
    assert 0.9 < row["probability_above"] < 0.97
    # 8 of 186 after training, printed as 4.3%: hypot(0.125 - 0.0586, 0.0826 - 0.043) from Wilson's limits.
    trained = table.loc["failed_insertion_us_after_training_2016"]
    assert (trained["verdict"], trained["grade"]) == ("higher", "B")
    own_lower, theirs_upper = (proportion_interval(6, 48)[0], proportion_interval(8, 186)[1])
    below = np.hypot(0.125 - own_lower, theirs_upper - 0.043)
    assert trained["difference_lower"] == pytest.approx(0.125 - 0.043 - below, abs=1e-9)


@pytest.mark.parametrize(("events", "n"), [(45, 1177), (8, 186), (30, 22795), (1, 50), (0, 80)])
def test_a_published_series_beside_itself_is_compatible_given_a_margin_and_even_either_way(
    events: int, n: int
) -> None:
    table = compared(
        {"failed_insertions": pd.DataFrame([ours(events, n)])},
        margins={"failed_insertion": 0.2},
        benchmarks=[paper(events, n)],
    )
    row = table.loc["paper"]
    assert (row["verdict"], row["difference"], row["grade"]) == ("compatible", 0, "A")
    assert row["probability_above"] == pytest.approx(row["probability_below"], abs=1e-4)
    assert row["can_be_settled"] == ""


def test_an_open_comparison_says_how_many_more_and_a_settled_one_does_not() -> None:
    rows = {"failed_insertions": pd.DataFrame([ours(4, 100)])}
    table = compared(rows, margins={"failed_insertion": 0.02}, benchmarks=[paper(400, 10000)])
    row = table.loc["paper"]
    assert (row["verdict"], row["can_be_settled"]) == ("cannot_tell", "yes")
    enough = 100 + int(row["more_needed"])
    later = {"failed_insertions": pd.DataFrame([ours(round(0.04 * enough), enough)])}
    table = compared(later, margins={"failed_insertion": 0.02}, benchmarks=[paper(400, 10000)])
    # Wilson limits narrow a little unevenly, so a tenth more is allowed for.
    wider = table.loc["paper"]
    assert max(-wider["difference_lower"], wider["difference_upper"]) <= 0.02 * 1.1
    # Against a paper of 50 no number of ours is enough.
    small = compared(rows, margins={"failed_insertion": 0.02}, benchmarks=[paper(2, 50)]).loc["paper"]
    assert small["can_be_settled"] == "no"
    assert pd.isna(small["more_needed"])


def test_published_strata_are_put_together_at_our_mix() -> None:
    # 10% of 300 nulliparous and 2% of 100 parous women are 8% at our mix, though the paper's own mix gave 6%.
    strata = [
        paper(50, 500, id="nulliparous", parity="nulliparous", series="national"),
        paper(10, 500, id="parous", parity="parous", series="national"),
    ]
    rows = pd.DataFrame([ours(30, 300, by="parous", stratum="no"), ours(2, 100, by="parous", stratum="yes")])
    table = compared({"failed_insertions": rows}, margins={"failed_insertion": 0.05}, benchmarks=strata)
    row = table.loc["national_at_our_mix"]
    assert row["published"] == pytest.approx(0.08)
    assert (row["own_events"], row["own_n"], row["own"]) == (32, 400, 0.08)
    assert row["published_limits"] == "at our mix, from its counts"
    assert row["published_lower"] < 0.08 < row["published_upper"]
    assert row["verdict"] == "compatible"
    assert row["reason"].endswith("At their rates 32.0 of our 400 were to be expected.")
    # Each stratum is compared too.
    assert table.loc[["nulliparous", "parous"], "own"].tolist() == [0.1, 0.02]


def test_a_series_lacking_one_of_our_strata_is_not_put_together() -> None:
    strata = [
        paper(50, 500, id="nulliparous", parity="nulliparous", series="national"),
        paper(10, 500, id="parous", parity="parous", series="national"),
    ]
    rows = pd.DataFrame([ours(30, 300, by="parous", stratum="no")])
    table = compared({"failed_insertions": rows}, benchmarks=strata)
    assert "national_at_our_mix" not in table.index


def test_strata_without_counts_give_a_figure_at_our_mix_and_no_verdict() -> None:
    rows = pd.DataFrame(
        [
            ours(30, 300, unit="woman_first_attempt", by="parous", stratum="no"),
            ours(2, 100, unit="woman_first_attempt", by="parous", stratum="yes"),
        ]
    )
    row = compared({"failed_insertions": rows}).loc["failed_insertion_us_youth_2015_at_our_mix"]
    # Teal 2015: 4.2% and 3.3%.
    assert row["published"] == pytest.approx(0.042 * 0.75 + 0.033 * 0.25)
    assert np.isnan(row["published_lower"])
    assert row["verdict"] == "cannot_tell"


def test_strata_with_printed_limits_and_no_counts_are_put_together_from_their_limits() -> None:
    # Bulletin of 2014: 5.6, 1.7, 1.6 and 0.7 per 1,000 by breastfeeding and weeks since birth, counts not read.
    groups = ("to_36_weeks_breastfeeding", "to_36_weeks_not_breastfeeding")
    later = ("after_36_weeks_breastfeeding", "after_36_weeks_not_breastfeeding")
    sizes = (100, 200, 300, 400)
    rows = [
        ours(0, n, by="perforation_group", stratum=group)
        for group, n in zip((*groups, *later), sizes, strict=True)
    ]
    row = compared({"perforation": pd.DataFrame(rows)}).loc["perforation_europe_2014_at_our_mix"]
    # 0.56 + 0.34 + 0.48 + 0.28 expected of 1,000 women.
    assert row["published"] == pytest.approx(1.66 / 1000)
    assert row["reason"].endswith("At their rates 1.7 of our 1,000 were to be expected.")
    assert row["published_limits"] == "at our mix, from the limits of its strata"
    # Zou, Huang and Zhang 2009: squared distances 0.17, 0.18, 0.48 and 0.08 below, in thousandths.
    below = np.hypot(np.hypot(0.17, 0.18), np.hypot(0.48, 0.08)) / 1000
    assert row["published_lower"] == pytest.approx(1.66 / 1000 - below)
    assert row["verdict"] == "cannot_tell"


def test_what_could_be_shown_has_four_chances_in_five_by_the_usual_formula() -> None:
    rows = {"failed_insertions": pd.DataFrame([ours(50, 500)])}
    row = compared(rows, benchmarks=[paper(1000, 10000)]).loc["paper"]
    for side in ("detectable_lower", "detectable_higher"):
        # As R's power.prop.test has it, for groups of unequal size.
        power = power_two_proportions(10000, 500, proportion_1=0.1, proportion_2=row[side])
        assert power == pytest.approx(0.8, abs=1e-6)
    assert row["detectable_lower"] < 0.1 < row["detectable_higher"]


def followed(days: float, at_risk: int, **labels: object) -> dict[str, object]:
    """Our expulsions by one day."""
    return {
        "by": "overall",
        "stratum": "overall",
        "placement_kind": "first",
        "censoring": "last_known",
        "cause": "expulsion",
        "days": days,
        "at_risk": at_risk,
        "cumulative_events": 60,
        "caution": "",
        "one_minus_km": 0.07,
        "km_lower": 0.05,
        "km_upper": 0.10,
        **labels,
    }


def curve_paper(**changes: object) -> dict[str, object]:
    """A published expulsion by 12 months."""
    entry = paper(6, 100, outcome="expulsion", measure="one_minus_km", horizon_days=365, **changes)
    return {key: entry[key] for key in entry if key not in ("events", "n", "unit_of_analysis")}


def test_how_many_more_women_counts_from_those_who_started_and_not_those_still_followed() -> None:
    rows = {"expulsion_incidence": pd.DataFrame([followed(0, 1000), followed(365, 800)])}
    entry = curve_paper(ci_lower=0.055, ci_upper=0.065)
    row = compared(rows, margins={"expulsion": 0.02}, benchmarks=[entry]).loc["paper"]
    needed = observations_to_settle(1000, (0.07, 0.05, 0.10), (0.06, 0.055, 0.065), margin=0.02)
    assert row["own_n"] == 800
    assert row["more_needed"] == np.ceil(needed - 1000)


def test_a_printed_standard_error_gives_limits() -> None:
    rows = {"expulsion_incidence": pd.DataFrame([followed(0, 1000), followed(365, 800)])}
    row = compared(rows, benchmarks=[curve_paper(standard_error=0.005)]).loc["paper"]
    assert (row["published_lower"], row["published_upper"]) == pytest.approx((0.0502, 0.0698), abs=1e-5)
    assert row["published_limits"] == "from its standard error"


def test_figures_that_are_unlike_are_not_counted_among_the_papers_for_these_women() -> None:
    rows = {"failed_insertions": pd.DataFrame([ours(50, 500)])}
    entries = [
        paper(50, 1000, id="near"),
        paper(80, 1000, id="nearer"),
        paper(400, 1000, id="old", status="historical"),
    ]
    table = compared(rows, benchmarks=entries)
    assert table.loc["near", ["papers", "papers_lowest", "papers_highest"]].tolist() == [2, 0.05, 0.08]
    # Our figures of other women are not these.
    assert pd.isna(table.loc["failed_insertion_us_youth_2015_all", "papers"])


def test_a_rate_of_three_years_is_not_set_beside_one_of_the_first() -> None:
    first_year = {
        "by": "device_class",
        "stratum": "lng_52",
        "placement_kind": "all",
        "censoring": "last_known",
        "band": "0 to 365",
        "events": 1,
        "person_years": 900.0,
        "rate": 1 / 900,
        "caution": "",
        "ci_lower": 0.00003,
        "ci_upper": 0.006,
    }
    table = compared({"pregnancy": pd.DataFrame([first_year])})
    assert table.at["pregnancy_eisenberg_2015_12_months_lng_52_rate", "verdict"] != "no_comparable_figure"
    assert table.at["pregnancy_eisenberg_2015_36_months_lng_52_rate", "verdict"] == "no_comparable_figure"
