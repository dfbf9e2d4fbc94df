"""Gray's test against the numbers that R's package cmprsk prints, and cumulative incidences beside them."""

from pathlib import Path

import pandas as pd
import pytest

from audit.statistics.competing import cumulative_incidence, incidence_at_times
from audit.statistics.gray_test import gray_test

DATA = Path(__file__).parent / "data"

# Bone marrow transplants, 177 patients, by disease: Scrucca L, Santucci A, Aversa F. Bone Marrow Transplant
# 2007;40:381-387; data as in R's package casebase. The output of cuminc is printed on several public pages.
TRANSPLANTS = pd.read_csv(DATA / "bmtcrr.csv")

# The 100 individuals that cmprsk's own tests draw at random (tests/test.R: seed 2, generators of R 1.6.2), drawn
# anew here; what its file tests/test.Rout.save prints of them is below.
DRAWN = pd.read_csv(DATA / "cmprsk_seed_2.csv")


@pytest.mark.parametrize(
    ("cause", "statistic", "p_value"), [(1, 2.8623325, 0.09067592), (2, 0.4481279, 0.50322531)]
)
def test_grays_test_of_the_transplants_is_that_of_cuminc(cause, statistic, p_value):
    found = gray_test(TRANSPLANTS["ftime"], TRANSPLANTS["Status"], TRANSPLANTS["D"], cause=cause)
    assert found.chi_square == pytest.approx(statistic, abs=5e-8)
    assert found.p_value == pytest.approx(p_value, abs=5e-9)
    assert found.degrees_of_freedom == 1


def test_the_drawn_individuals_are_those_of_cmprsks_own_test():
    curves = cumulative_incidence(DRAWN["time"], DRAWN["ending"])
    found = incidence_at_times(curves, [1, 2, 3, 4, 5]).groupby("cause")["incidence"].apply(list)
    assert found[1] == pytest.approx([0.2352861, 0.3287068, 0.4247898, 0.4247898, 0.4247898], abs=5e-8)
    assert found[2] == pytest.approx([0.2567862, 0.3931580, 0.4631781, 0.4911861, 0.4911861], abs=5e-8)


# group, cause, incidence at times 1, 2, ...; later, beyond the group's last time, cuminc prints NA.
PRINTED_INCIDENCES = [
    ("a", 1, [0.1311269, 0.2699184, 0.3420625, 0.3420625, 0.3420625]),
    ("b", 1, [0.2176471, 0.2615686]),
    ("c", 1, [0.3816280, 0.4889137, 0.5723581]),
    ("a", 2, [0.2257601, 0.2972171, 0.4415053, 0.4415053, 0.4415053]),
    ("b", 2, [0.3117647, 0.5878431]),
    ("c", 2, [0.2160508, 0.2607532, 0.2607532]),
]


@pytest.mark.parametrize(("group", "cause", "printed"), PRINTED_INCIDENCES)
def test_the_incidences_of_each_group_are_those_of_cuminc(group, cause, printed):
    own = DRAWN[DRAWN["group"] == group]
    curves = cumulative_incidence(own["time"], own["ending"], causes=[1, 2])
    found = incidence_at_times(curves, range(1, len(printed) + 1))
    assert found.loc[found["cause"] == cause, "incidence"].tolist() == pytest.approx(printed, abs=5e-8)


FIRST_80_BUT_THREE = DRAWN.drop(index=[4, 9, 49]).query("index < 80")
STRATIFIED = [
    # rows, cause, statistic, p-value, degrees of freedom
    (DRAWN, 1, 3.393977, 0.1832345, 2),
    (DRAWN, 2, 1.989511, 0.3698139, 2),
    (FIRST_80_BUT_THREE, 1, 4.716769, 0.0945729, 2),
    (FIRST_80_BUT_THREE, 2, 2.696396, 0.2597078, 2),
    (DRAWN[DRAWN["group"] != "b"], 1, 3.5151549, 0.06080997, 1),
    (DRAWN[DRAWN["group"] != "b"], 2, 0.1400145, 0.70826655, 1),
]


@pytest.mark.parametrize(("rows", "cause", "statistic", "p_value", "degrees"), STRATIFIED)
def test_grays_test_of_three_groups_in_two_strata_is_that_of_cuminc(rows, cause, statistic, p_value, degrees):
    found = gray_test(rows["time"], rows["ending"], rows["group"], cause=cause, strata=rows["stratum"])
    assert found.chi_square == pytest.approx(statistic, abs=5.1e-7)
    assert found.p_value == pytest.approx(p_value, abs=5.1e-8)
    assert found.degrees_of_freedom == degrees
