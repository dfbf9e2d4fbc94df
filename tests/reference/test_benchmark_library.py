"""The library of published figures is complete, consistent and equal to what the sources print.

Outside values: the numbers as printed in the abstracts, the table of the bulletin and the news summaries that
`audit/benchmarks.toml` cites, typed here again in the unit of the source; and exact limits from scipy.
"""

import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import beta, chi2

Entry = dict[str, Any]

LIBRARY = Path(__file__).parents[2] / "audit" / "benchmarks.toml"

# Decimal keeps the printed digits, and with them the rounding of each figure.
ENTRIES: list[Entry] = tomllib.loads(LIBRARY.read_text(encoding="utf-8"), parse_float=Decimal)["benchmark"]
BY_ID: dict[str, Entry] = {entry["id"]: entry for entry in ENTRIES}

MEASURES_OF = {
    "failed_insertion": {"proportion"},
    "vasovagal": {"proportion"},
    "perforation": {"proportion"},
    "expulsion": {"one_minus_km", "cumulative_incidence", "rate"},
    "continuation": {"survival"},
    "removal_bleeding_or_pain": {"one_minus_km", "cumulative_incidence"},
    "pregnancy": {"rate"},
    "outcome_known": {"proportion"},
    "check_done": {"proportion"},
}
AT_INSERTION = {"failed_insertion", "vasovagal"}
PARITIES = {"any", "nulliparous", "parous"}
TIMINGS = {"any", "interval", "postpartum", "post_abortion", "emergency"}
UNITS_OF_ANALYSIS = {"per_operator_attempt", "per_visit", "per_woman_first_attempt"}
DEFINITION_KEYS = {"syncope_or_similar", "bradycardia_below_60", "symptoms_reported"}
DEVICE_CLASSES = {
    "copper_t_380",
    "copper_other_framed",
    "copper_small_framed",
    "copper_frameless",
    "lng_52",
    "lng_19_5",
    "lng_13_5",
}
DEVICE_GROUPS = (["any"], ["copper_any"])
TEXTS = {
    "id",
    "outcome",
    "measure",
    "population",
    "parity",
    "placement_timing",
    "censoring",
    "definition",
    "setting",
    "years",
    "citation",
    "verified",
    "note",
    "status",
}
REQUIRED = TEXTS | {"estimate", "device_classes"}
OPTIONAL = {
    "horizon_days",
    "horizon",
    "ci_lower",
    "ci_upper",
    "events",
    "n",
    "woman_years",
    "counts_source",
    "unit_of_analysis",
    "definition_key",
    "breastfeeding",
    "weeks_since_birth",
    "doi",
    "pmid",
    "url",
}

# id: (estimate, limits, what the printed number is per), as the source prints them.
PRINTED: dict[str, tuple[str, tuple[str, str] | None, int]] = {
    # Teal 2015 prints success, 96.2, 95.8 and 96.7%; 100 minus it stands here.
    "failed_insertion_us_youth_2015_all": ("3.8", None, 100),
    "failed_insertion_us_youth_2015_nulliparous": ("4.2", None, 100),
    "failed_insertion_us_youth_2015_parous": ("3.3", None, 100),
    "failed_insertion_us_after_training_2016": ("4.3", None, 100),
    "failed_insertion_us_emergency_2013_nulliparous": ("19.6", None, 100),
    "failed_insertion_us_emergency_2013_parous": ("13.6", None, 100),
    # Chi 1986 prints 20 of 2,415 and no percentage: 0.83 reproduced by computation.
    "vasovagal_international_1986_syncope_or_similar": ("0.83", None, 100),
    "vasovagal_uk_2003_bradycardia_below_60": ("1.8", None, 100),
    "vasovagal_us_2016_symptoms_nulliparous": ("46", None, 100),
    "perforation_europe_2015_all": ("1.3", None, 1000),
    "perforation_europe_2015_lng_52": ("1.4", ("1.1", "1.8"), 1000),
    "perforation_europe_2015_copper": ("1.1", ("0.7", "1.7"), 1000),
    "perforation_europe_2014_to_36_weeks_breastfeeding": ("5.6", ("3.9", "7.9"), 1000),
    "perforation_europe_2014_to_36_weeks_not_breastfeeding": ("1.7", ("0.8", "3.1"), 1000),
    "perforation_europe_2014_after_36_weeks_breastfeeding": ("1.6", ("0.0", "9.1"), 1000),
    "perforation_europe_2014_after_36_weeks_not_breastfeeding": ("0.7", ("0.5", "1.1"), 1000),
    "perforation_uk_community_2017": ("1.3", ("0.9", "1.9"), 1000),
    "perforation_new_zealand_2003": ("1.6", None, 1000),
    "expulsion_choice_2014_36_months_all": ("10.2", None, 100),
    "expulsion_choice_2014_36_months_nulliparous": ("8.4", None, 100),
    "expulsion_choice_2014_36_months_parous": ("11.4", None, 100),
    "expulsion_us_trial_2022_12_months_copper_t_380_nulliparous": ("8.9", None, 100),
    "expulsion_us_trial_2022_12_months_copper_small_framed_nulliparous": ("4.8", None, 100),
    "expulsion_apex_2022_rate_not_postpartum": ("14.9", ("14.6", "15.3"), 1000),
    "continuation_choice_2011_12_months_lng_52": ("88", None, 100),
    "continuation_choice_2011_12_months_copper_t_380": ("84", None, 100),
    "continuation_choice_2015_36_months_lng_52": ("69.8", None, 100),
    "continuation_choice_2015_36_months_copper_t_380": ("69.7", None, 100),
    "removal_bleeding_or_pain_us_trial_2022_12_months_copper_t_380_nulliparous": ("16.2", None, 100),
    "pregnancy_europe_2015_12_months_lng_52": ("0.06", ("0.04", "0.09"), 100),
    "pregnancy_europe_2015_12_months_copper": ("0.52", ("0.42", "0.64"), 100),
    "check_done_us_2018_6_weeks": ("66.6", None, 100),
}


def half_of_last_digit(figure: Decimal) -> float:
    """Half a unit of the last printed decimal, the most that rounding can hide."""
    exponent = figure.as_tuple().exponent
    assert isinstance(exponent, int)
    return 0.5 * 10.0**exponent


def rounds_to(value: float, printed: Decimal) -> bool:
    """Whether a value is the printed one within the rounding of its digits."""
    return abs(value - float(printed)) <= half_of_last_digit(printed) + 1e-12


def with_limits() -> list[Entry]:
    """The entries that carry printed limits."""
    return [entry for entry in ENTRIES if "ci_lower" in entry]


def name_of(entry: Entry) -> str:
    """The id of an entry, for the test report."""
    return str(entry["id"])


every_entry = pytest.mark.parametrize("entry", ENTRIES, ids=name_of)


def test_the_library_holds_at_most_32_figures_and_no_id_twice() -> None:
    assert 20 <= len(ENTRIES) <= 32
    assert len(BY_ID) == len(ENTRIES)


def test_every_outcome_that_a_source_was_found_for_has_a_figure() -> None:
    # No figure for outcome_known was seen in a source that could be kept.
    assert {entry["outcome"] for entry in ENTRIES} == MEASURES_OF.keys() - {"outcome_known"}


@every_entry
def test_an_entry_has_every_required_key_and_no_unknown_one(entry: Entry) -> None:
    assert entry.keys() >= REQUIRED
    assert entry.keys() <= REQUIRED | OPTIONAL


@every_entry
def test_the_values_of_an_entry_have_the_right_type(entry: Entry) -> None:
    assert all(isinstance(entry[key], str) and entry[key].strip() == entry[key] != "" for key in TEXTS)
    assert all(
        isinstance(entry[key], Decimal) for key in ("estimate", "ci_lower", "ci_upper") if key in entry
    )
    assert all(type(entry[key]) is int for key in ("events", "n", "horizon_days") if key in entry)
    assert type(entry.get("breastfeeding", True)) is bool


@every_entry
def test_an_entry_uses_the_words_of_the_result_tables(entry: Entry) -> None:
    assert re.fullmatch(r"[a-z0-9_]+", entry["id"])
    assert entry["measure"] in MEASURES_OF[entry["outcome"]]
    assert entry["parity"] in PARITIES
    assert entry["placement_timing"] in TIMINGS
    assert entry["device_classes"] in DEVICE_GROUPS or set(entry["device_classes"]) <= DEVICE_CLASSES
    assert entry["device_classes"]


@every_entry
def test_an_entry_has_one_horizon_in_days_or_says_that_it_is_mixed(entry: Entry) -> None:
    assert ("horizon_days" in entry) != ("horizon" in entry)
    assert entry.get("horizon", "mixed") == "mixed"
    assert entry.get("horizon_days", 365) in {0, 42, 182, 365, 1095}
    assert (entry.get("horizon_days") == 0) == (entry["outcome"] in AT_INSERTION)


@every_entry
def test_failed_insertions_name_their_unit_and_vasovagal_reactions_their_definition(entry: Entry) -> None:
    assert ("unit_of_analysis" in entry) == (entry["outcome"] == "failed_insertion")
    assert ("definition_key" in entry) == (entry["outcome"] == "vasovagal")
    assert entry.get("unit_of_analysis", "per_visit") in UNITS_OF_ANALYSIS
    assert entry.get("definition_key", "symptoms_reported") in DEFINITION_KEYS


@every_entry
def test_a_stratum_by_breastfeeding_also_gives_the_weeks_since_birth(entry: Entry) -> None:
    assert ("breastfeeding" in entry) == ("weeks_since_birth" in entry)
    assert entry.get("weeks_since_birth", "up to 36") in {"up to 36", "more than 36"}


@every_entry
def test_estimates_and_limits_lie_where_their_measure_allows(entry: Entry) -> None:
    assert 0 < entry["estimate"] < 1
    assert ("ci_lower" in entry) == ("ci_upper" in entry)
    assert 0 <= entry.get("ci_lower", 0) <= entry["estimate"] <= entry.get("ci_upper", 1) <= 1


@every_entry
def test_a_rate_per_woman_year_is_not_left_per_100_or_per_1000(entry: Entry) -> None:
    # The highest rate here, expulsion, is 0.015 a woman-year; 0.06 per 100 left as it is would exceed 0.05.
    assert entry["measure"] != "rate" or entry["estimate"] < Decimal("0.05")


@every_entry
def test_a_source_can_be_found_again(entry: Entry) -> None:
    assert {"doi", "pmid", "url"} & entry.keys()
    assert re.fullmatch(r"10\.\d{4,9}/[-._;()/:A-Za-z0-9]+", entry.get("doi", "10.1000/182"))
    assert re.fullmatch(r"[1-9]\d{6,7}", entry.get("pmid", "1234567"))
    assert re.fullmatch(r"https://\S+", entry.get("url", "https://example.org"))
    assert not ("url" in entry and {"doi", "pmid"} & entry.keys())
    assert re.search(r"\b(19|20)\d\d\b", entry["citation"])


@every_entry
def test_every_figure_was_read_and_none_is_from_memory(entry: Entry) -> None:
    assert entry["status"] == "primary"
    assert re.search(r"\bread\b", entry["verified"])
    assert not re.search(r"memory|unverified|not read", entry["verified"] + entry["note"] + entry["citation"])


@every_entry
def test_counts_say_whether_they_were_read_or_inferred(entry: Entry) -> None:
    has_counts = bool({"events", "n", "woman_years"} & entry.keys())
    assert ("counts_source" in entry) == has_counts
    assert entry.get("counts_source", "read") in {"read", "inferred"}
    assert 0 < entry.get("events", 1) <= entry.get("n", 10**9)


@every_entry
def test_no_crude_count_of_events_stands_beside_a_life_table_figure(entry: Entry) -> None:
    assert entry["measure"] in {"proportion", "rate"} or "events" not in entry


@pytest.mark.parametrize(
    "entry",
    [e for e in ENTRIES if e["measure"] == "proportion" and {"events", "n"} <= e.keys()],
    ids=name_of,
)
def test_the_counts_of_a_proportion_give_its_estimate(entry: Entry) -> None:
    assert rounds_to(entry["events"] / entry["n"], entry["estimate"])


def test_the_typed_list_of_printed_figures_names_every_entry() -> None:
    assert PRINTED.keys() == BY_ID.keys()


@pytest.mark.parametrize("identifier", sorted(PRINTED))
def test_an_entry_is_the_printed_figure_in_our_unit(identifier: str) -> None:
    estimate, limits, per = PRINTED[identifier]
    entry = BY_ID[identifier]
    assert entry["estimate"] == Decimal(estimate) / per
    stored = (entry["ci_lower"], entry["ci_upper"]) if "ci_lower" in entry else None
    assert stored == (tuple(Decimal(limit) / per for limit in limits) if limits else None)


def test_exact_limits_from_the_counts_are_the_printed_ones_of_the_uk_clinic() -> None:
    # O'Brien and Pillai 2017: 30/22,795, 1.3 (0.9 to 1.9) per 1,000.
    # The only entry with printed limits and both counts read.
    readable = [
        e
        for e in with_limits()
        if e["measure"] == "proportion" and {"events", "n"} <= e.keys() and e["counts_source"] == "read"
    ]
    assert [e["id"] for e in readable] == ["perforation_uk_community_2017"]
    events, n = readable[0]["events"], readable[0]["n"]
    assert rounds_to(beta.ppf(0.025, events, n - events + 1), readable[0]["ci_lower"])
    assert rounds_to(beta.ppf(0.975, events + 1, n - events), readable[0]["ci_upper"])


@pytest.mark.parametrize(
    "entry", [e for e in with_limits() if "events" in e and e.get("counts_source") == "read"], ids=name_of
)
def test_one_denominator_gives_the_printed_figure_and_both_its_exact_poisson_limits(entry: Entry) -> None:
    # Garwood 1936, Biometrika 28:437-442. Where woman-years or insertions were not read, some denominator
    # must still fit all three printed numbers at once: a count of events well off the true one leaves none.
    events = entry["events"]
    expected = {
        "estimate": float(events),
        "ci_lower": chi2.ppf(0.025, 2 * events) / 2,
        "ci_upper": chi2.ppf(0.975, 2 * events + 2) / 2,
    }
    lowest = max(
        value / (float(entry[key]) + half_of_last_digit(entry[key])) for key, value in expected.items()
    )
    highest = min(
        value / (float(entry[key]) - half_of_last_digit(entry[key])) for key, value in expected.items()
    )
    assert lowest <= highest


@pytest.mark.parametrize(
    "entry", [e for e in with_limits() if e.get("counts_source") == "inferred"], ids=name_of
)
def test_inferred_counts_give_exact_limits_within_one_printed_digit(entry: Entry) -> None:
    # Bulletin of 2014, table 1. Not an independent check: the counts were worked out from the printed rates.
    events, n = entry["events"], entry["n"]
    digit = 2 * half_of_last_digit(entry["estimate"])
    assert beta.ppf(0.025, events, n - events + 1) == pytest.approx(float(entry["ci_lower"]), abs=digit)
    assert beta.ppf(0.975, events + 1, n - events) == pytest.approx(float(entry["ci_upper"]), abs=digit)


def test_the_devices_of_the_european_cohort_add_up_to_the_whole() -> None:
    # Heinemann 2015: 61 and 20 perforations are "overall, 81"; 41,001 and 17,323 women are 58,324.
    perforations = [BY_ID[f"perforation_europe_2015_{part}"]["events"] for part in ("lng_52", "copper")]
    women = [BY_ID[f"pregnancy_europe_2015_12_months_{part}"]["n"] for part in ("lng_52", "copper")]
    assert sum(perforations) == BY_ID["perforation_europe_2015_all"]["events"] == 81
    assert sum(women) == 58324


def test_the_figure_for_all_women_lies_between_those_by_parity() -> None:
    for stem in ("failed_insertion_us_youth_2015", "expulsion_choice_2014_36_months"):
        by_parity = [BY_ID[f"{stem}_{parity}"]["estimate"] for parity in ("nulliparous", "parous")]
        assert min(by_parity) < BY_ID[f"{stem}_all"]["estimate"] < max(by_parity)
