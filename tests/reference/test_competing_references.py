"""Cumulative incidence against R's survival and cmprsk packages (R 4.2.2, survival 3.5-3, cmprsk 2.2-11)."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.statistics.competing import cumulative_incidence, incidence_at_times
from audit.statistics.curves import at_times
from audit.statistics.survival import kaplan_meier

DATA = Path(__file__).parent / "data"
EXACT = {"rel": 1e-8, "abs": 1e-12}

# Bone marrow transplants, 177 patients: relapse (1) and death without relapse (2). Scrucca L, Santucci A,
# Aversa F. Bone Marrow Transplant 2007;40:381-387; data as in R's package casebase.
TRANSPLANTS = pd.read_csv(DATA / "bmtcrr.csv")
TIMES = [6, 12, 24, 60]
INCIDENCE = {
    1: [0.186440677966, 0.271374764595, 0.301981215992, 0.325274029479],
    2: [0.265536723164, 0.401694915254, 0.419990714068, 0.426610430019],
}
STANDARD_ERROR = {
    1: [0.02927374709, 0.03343953644, 0.03472663879, 0.0360514016],
    2: [0.03319408529, 0.03689125294, 0.03724749869, 0.03740199574],
}


def transplant_curves():
    return cumulative_incidence(TRANSPLANTS["ftime"], TRANSPLANTS["Status"])


@pytest.mark.parametrize("cause", [1, 2])
def test_the_transplants_incidence_and_standard_error_are_those_of_survfit(cause):
    found = incidence_at_times(transplant_curves(), TIMES)
    found = found[found["cause"] == cause]
    assert found["incidence"].tolist() == pytest.approx(INCIDENCE[cause], **EXACT)
    assert found["standard_error"].tolist() == pytest.approx(STANDARD_ERROR[cause], rel=1e-8)


def test_the_other_packages_variance_is_about_one_percent_larger():
    # cmprsk's cuminc prints Gray's variance.
    gray = [0.000863183888301, 0.00112811707962, 0.00121827502328, 0.00131605689465]
    ratio = np.array(gray) / np.square(STANDARD_ERROR[1])
    assert ratio.min() > 1
    assert ratio.max() < 1.015


def test_one_minus_kaplan_meier_of_a_cause_exceeds_its_incidence():
    naive = kaplan_meier(TRANSPLANTS["ftime"], (TRANSPLANTS["Status"] == 1).astype(int))
    one_minus = 1 - at_times(naive, 24)["survival"].iloc[0]
    assert one_minus == pytest.approx(0.421596477224, **EXACT)
    assert one_minus > INCIDENCE[1][2]


def test_the_gammopathies_incidence_is_that_of_survfit():
    # mgus2 of R's survival: plasma cell malignancy (1) and death (2) in 1384 patients, months, 761 tied
    # times.
    data = pd.read_csv(DATA / "mgus2.csv")
    found = incidence_at_times(cumulative_incidence(data["etime"], data["event"]), [60, 120, 240])
    first, second = found[found["cause"] == 1], found[found["cause"] == 2]
    assert first["incidence"].tolist() == pytest.approx(
        [0.03410371297, 0.06372216801, 0.09981371594], rel=2e-9
    )
    assert first["standard_error"].tolist() == pytest.approx(
        [0.004889257908, 0.006796848424, 0.009784846793], rel=2e-9
    )
    assert second["incidence"].tolist() == pytest.approx([0.3203670103, 0.5318177041, 0.7240279761], rel=2e-9)
    assert second["standard_error"].tolist() == pytest.approx(
        [0.01256737155, 0.01405964516, 0.01560634507], rel=2e-9
    )
    assert first["survival"].tolist() == pytest.approx([0.6455292768, 0.4044601279, 0.1761583079], rel=2e-9)


# Ten spells with ties and late entry, made for this check; no printed source.
TINY = pd.read_csv(DATA / "tiny_cr_delayed.csv")
EVENT_TIMES = [2, 3, 5, 7]


def tiny_curves(*, entry):
    return cumulative_incidence(TINY["exit"], TINY["st"], entry=TINY["entry"] if entry else None)


def test_late_entrants_count_only_after_their_entry_as_in_survfit():
    found = incidence_at_times(tiny_curves(entry=True), EVENT_TIMES)
    first, second = found[found["cause"] == 1], found[found["cause"] == 2]
    survival = [0.857142857143, 0.612244897959, 0.408163265306, 0.136054421769]
    assert first["survival"].tolist() == pytest.approx(survival, abs=1e-12)
    assert first["incidence"].tolist() == pytest.approx(
        [0.142857142857, 0.265306122449, 0.367346938776, 0.503401360544], abs=1e-12
    )
    assert second["incidence"].tolist() == pytest.approx(
        [0, 0.122448979592, 0.224489795918, 0.360544217687], abs=1e-12
    )
    assert first["at_risk"].tolist() == [7, 7, 6, 3]


def test_late_entry_has_greenwoods_error_as_in_survfit():
    curve = kaplan_meier(TINY["exit"], (TINY["st"] > 0).astype(int), entry=TINY["entry"])
    assert at_times(curve, EVENT_TIMES)["standard_error"].tolist() == pytest.approx(
        [0.132260014253, 0.174196725904, 0.165437445587, 0.12402257075], abs=1e-12
    )


def test_without_entry_times_the_tiny_incidences_are_those_of_survfit():
    found = incidence_at_times(tiny_curves(entry=False), EVENT_TIMES)
    first, second = found[found["cause"] == 1], found[found["cause"] == 2]
    assert first["incidence"].tolist() == pytest.approx([0.1, 0.2, 0.316666666667, 0.472222222222], abs=1e-12)
    assert second["incidence"].tolist() == pytest.approx([0, 0.1, 0.216666666667, 0.372222222222], abs=1e-12)
    assert first["standard_error"].tolist() == pytest.approx(
        [0.0948683298051, 0.1264911064067, 0.1525098661047, 0.1781246615765], abs=1e-12
    )


def test_the_other_packages_variance_of_a_first_event_is_that_of_n_minus_one():
    # cmprsk's variance of the first cause at the four times, ignoring entry: Gray's estimate, not ours.
    gray = [0.01, 0.0179012345679, 0.026598079561, 0.0404450541076]
    own = incidence_at_times(tiny_curves(entry=False), EVENT_TIMES)
    ratio = np.array(gray) / np.square(own.loc[own["cause"] == 1, "standard_error"])
    # One of ten: F (1 - F) / (n - 1) against F (1 - F) / n.
    assert ratio.iloc[0] == pytest.approx(10 / 9)
    assert ratio.between(1, 1.3).all()


def weighted_incidence(weights, *, until):
    """A slow Aalen-Johansen with any weights, independent of the package."""
    survival, incidence = 1.0, 0.0
    for time in sorted({t for t in TINY["exit"] if t <= until}):
        under_risk = (TINY["entry"] < time) & (TINY["exit"] >= time)
        now = (TINY["exit"] == time) & under_risk
        at_risk = weights[under_risk].sum()
        incidence += survival * weights[now & (TINY["st"] == 1)].sum() / at_risk
        survival *= 1 - weights[now & (TINY["st"] > 0)].sum() / at_risk
    return incidence


@pytest.mark.parametrize(
    ("until", "survfit"),
    list(zip(EVENT_TIMES, [0.132260014253, 0.158403238568, 0.168748175734, 0.188260044146], strict=True)),
)
def test_survfits_error_with_late_entry_is_the_infinitesimal_jackknife(until, survfit):
    # The package gives the Greenwood-type error, which with late entry is another estimate of the same thing.
    # This shows that the difference from the printed value is that and nothing else.
    step, ones = 1e-6, np.ones(len(TINY))
    slopes = [
        weighted_incidence(ones + unit, until=until) - weighted_incidence(ones - unit, until=until)
        for unit in step * np.eye(len(TINY))
    ]
    assert np.sqrt(np.sum(np.square(slopes))) / (2 * step) == pytest.approx(survfit, abs=1e-8)
    own = incidence_at_times(tiny_curves(entry=True), until)["standard_error"].iloc[0]
    assert own == pytest.approx(survfit, rel=0.06)
