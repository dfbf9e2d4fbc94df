"""Life tables of first segments of use of an intrauterine device, as Tietze, Lewit and Potter made them.

Tietze C. 1967, method of Potter RG. Demography 1966;3:297-304, and Tietze C, Lewit S. Stud Fam Plann 1973;4:35-42.
Counts and printed rates from Rodriguez G (Princeton), page on multiple-decrement life tables; values to full
precision computed from the page's recipe in R 4.2.2. Months; of the terminations (terms) some were reinsertions
(reins) within the month; "closures" are the relevant terminations by cause: pregnancy (cap), first (cfe) and later
(cle) expulsion, removal for medical (crm) and personal (crp) reasons.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.statistics.life_tables import life_table_from_counts

MONTHS = pd.read_csv(Path(__file__).parent / "data" / "tietze1967.csv")
CLOSURES = ["cap", "cfe", "cle", "crm", "crp"]
FULL = {"rel": 1e-9, "abs": 1e-12}


def counted(causes):
    """All terminations and ends of observation but these causes withdraw; reinsertions enter."""
    leaving = MONTHS["terms"] + MONTHS["cont"]
    columns = {
        "start": MONTHS["month"] - 1,
        "stop": MONTHS["month"],
        "joined": MONTHS["ins"].fillna(0),
        "entered": MONTHS["reins"],
        "withdrawn": leaving - MONTHS[causes].sum(axis=1),
    }
    return pd.DataFrame(columns | {name: MONTHS[name] for name in causes})


def by_month(table, cause):
    return table[table["cause"] == cause].set_index("stop")


def test_the_exposure_and_continuation_printed_are_reproduced():
    found = by_month(life_table_from_counts(counted(CLOSURES), causes=CLOSURES), "cap")
    # The page's exposure leaves out half of the relevant closures, which it adds later.
    closures = MONTHS.set_index("month")[CLOSURES].sum(axis=1)
    exposure = found["exposed"] - closures / 2
    assert (exposure[1], exposure[12]) == (232, 43)
    assert [round(found["survival"][month], 8) for month in (1, 6, 12)] == [
        0.94957983,
        0.86263845,
        0.76701655,
    ]
    assert found["survival"][12] == pytest.approx(0.767016554661, **FULL)


def test_the_pregnancies_with_all_causes_acting_are_reproduced():
    # Printed as a net rate: .0442707 at 12 months.
    found = by_month(life_table_from_counts(counted(CLOSURES), causes=CLOSURES), "cap")
    assert round(found["cause_specific"][12], 7) == 0.0442707
    assert found["cause_specific"][12] == pytest.approx(0.0442707019224, **FULL)


def test_what_ended_and_what_went_on_add_up_to_one():
    table = life_table_from_counts(counted(CLOSURES), causes=CLOSURES)
    total = table.groupby("stop")["cause_specific"].sum() + by_month(table, "cap")["survival"]
    np.testing.assert_allclose(total, 1, rtol=0, atol=1e-12)


@pytest.mark.parametrize(
    ("events", "printed", "full"), [("fe", 0.15743927, 0.157439267811), ("le", None, 0.0605736665)]
)
def test_the_expulsions_of_all_kinds_with_all_causes_acting_are_reproduced(events, printed, full):
    # Expulsions followed by reinsertion end nothing, so they are spread over the table of the closures.
    found = by_month(life_table_from_counts(counted(CLOSURES), causes=CLOSURES), "cap")
    before = found["survival"].shift(fill_value=1.0)
    rate = (before * MONTHS.set_index("month")[events] / found["exposed"]).cumsum()[12]
    assert rate == pytest.approx(full, rel=1e-9)
    assert printed is None or round(rate, 8) == printed


CAUSE_DELETED = [
    ("cap", 0.050050086615),
    ("cfe", 0.0447176188766),
    ("cle", 0.0405783714281),
    ("crm", 0.0795893269817),
    ("crp", 0.0428293605528),
]


@pytest.mark.parametrize(("cause", "full"), CAUSE_DELETED)
def test_the_rates_of_each_cause_alone_are_reproduced(cause, full):
    # Printed as gross rates, of pregnancy .05005009 at 12 months.
    found = by_month(life_table_from_counts(counted(CLOSURES), causes=CLOSURES), cause)
    assert found["cause_deleted"][12] == pytest.approx(full, **FULL)
    assert cause != "cap" or round(found["cause_deleted"][12], 8) == 0.05005009


def test_the_rate_of_first_expulsions_alone_is_reproduced():
    found = by_month(life_table_from_counts(counted(["fe"]), causes=["fe"]), "fe")
    assert found["cause_deleted"][12] == pytest.approx(0.160026926577, **FULL)


def test_the_causes_alone_multiply_to_nearly_but_not_exactly_what_went_on():
    table = life_table_from_counts(counted(CLOSURES), causes=CLOSURES)
    product = np.prod([1 - by_month(table, cause)["cause_deleted"][12] for cause in CLOSURES])
    assert product == pytest.approx(0.767031137754, **FULL)
    assert abs(product - by_month(table, "cap")["survival"][12]) > 1e-5
