"""Direct and indirect standardisation against printed worked examples."""

import csv
from pathlib import Path

import numpy as np
import pytest

from audit.statistics.expected import indirect_expected, observed_expected
from audit.statistics.standardisation import directly_standardised_rate, indirectly_standardised_rate

EXACT = {"rel": 1e-8}

# Deaths and population by age in Kazakhstan and Sweden, 1992: Preston SH, Heuveline P, Guillot M. Demography,
# 2001, table 2.1, as given with its solution on the pages of Rodriguez G, Princeton (demography,
# standardisation). Printed there: crude 7.423042 and 10.54756; direct 11.882 and 7.374094, 61.1% higher;
# Kazakhstan at Swedish rates 4.200627; ratio 1.7671271; indirect 18.639. Full values computed in R 4.2.2.
PATH = Path(__file__).parent / "data" / "preston_table2_1.csv"


@pytest.fixture(scope="module")
def countries():
    """Deaths and thousands of people by age, by country."""
    with PATH.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    by_country = {}
    for country in ("Kazakhstan", "Sweden"):
        own = [row for row in rows if row["country"] == country]
        deaths = np.array([int(row["deaths"]) for row in own])
        by_country[country] = deaths, np.array([int(row["pop"]) for row in own]) / 1000
    return by_country


@pytest.fixture(scope="module")
def mean_composition(countries):
    return sum(people / people.sum() for _, people in countries.values()) / 2


def test_the_crude_rates_are_those_printed(countries):
    crude = [deaths.sum() / people.sum() for deaths, people in countries.values()]
    assert crude == pytest.approx([7.42304163994, 10.5475605916], rel=1e-10)


def test_the_directly_standardised_rates_turn_the_order_round(countries, mean_composition):
    kazakh, swedish = (
        directly_standardised_rate(deaths, people, mean_composition) for deaths, people in countries.values()
    )
    assert kazakh.value == pytest.approx(11.8819968635, **EXACT)
    assert swedish.value == pytest.approx(7.37409375228, **EXACT)
    assert kazakh.value / swedish.value == pytest.approx(1.611316219, **EXACT)
    assert (kazakh.ci_lower, kazakh.ci_upper) == (
        pytest.approx(11.7857123425, **EXACT),
        pytest.approx(11.9789398696, **EXACT),
    )


def test_the_variance_of_a_directly_standardised_rate_is_reproduced(countries, mean_composition):
    found = directly_standardised_rate(*countries["Kazakhstan"], mean_composition, method="normal")
    assert (found.ci_lower, found.ci_upper) == (
        pytest.approx(11.7855190499, **EXACT),
        pytest.approx(11.9784746771, **EXACT),
    )
    error = (found.ci_upper - found.ci_lower) / 2 / 1.959963984540054
    assert error**2 == pytest.approx(0.00242302962429, **EXACT)


def test_the_indirectly_standardised_rate_is_reproduced(countries):
    (deaths, people), (reference_deaths, reference_people) = countries["Kazakhstan"], countries["Sweden"]
    expected = indirect_expected(reference_deaths / reference_people, people)
    assert deaths.sum() == 64572
    assert expected == pytest.approx(36540.6654283, **EXACT)
    assert expected / people.sum() == pytest.approx(4.200627, abs=5e-7)
    assert observed_expected(deaths.sum(), expected).value == pytest.approx(1.76712709643, **EXACT)
    found = indirectly_standardised_rate(deaths, people, reference_deaths, reference_people)
    assert found.value == pytest.approx(18.6388801227, **EXACT)


# Down syndrome among children of birth order five and more by the mother's age, Michigan 1950 to 1964: Stark CR,
# Mantel N. J Natl Cancer Inst 1966;37:687-698, as table 14.4 of Fleiss 1981 and the example of Fay and Feuer
# 1997. The counts are those of the R package epitools (ageadjust.direct), typed from memory; R's dsrTest prints
# 75.52901 (67.70212 to 188.30017) per 100,000 for the gamma method, which they reproduce.
CASES = [0, 8, 63, 112, 262, 295]
BIRTHS = np.array([327, 30666, 123419, 149919, 104088, 34392])
ALL_BIRTHS = [319933, 931318, 786511, 488235, 237863, 61313]


def test_the_gamma_limits_of_fay_and_feuers_example_are_those_r_prints():
    found = directly_standardised_rate(CASES, BIRTHS / 1e5, ALL_BIRTHS)
    printed = [round(float(x), 5) for x in (found.value, found.ci_lower, found.ci_upper)]
    assert printed == [75.52901, 67.70212, 188.30017]
