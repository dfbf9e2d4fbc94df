"""Proportional hazards regression against a textbook example and R 4.2.2 (survival 3.5-3, coxph).

Data: remission of leukaemia (Freireich 1963, Gehan 1965, Cox 1972), as in the rest of this folder.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from audit.statistics.cox import cox_regression

DATA = Path(__file__).parent / "data"
GEHAN = pd.read_csv(DATA / "gehan.csv")
TREATED = pd.DataFrame({"treated": (GEHAN["group"] == "treated").astype(float)})


def fitted(ties="efron"):
    return cox_regression(TREATED, GEHAN["weeks"], GEHAN["relapse"], ties=ties)


def the_row(fit):
    return fit.coefficients.loc[0]


def test_efrons_ties_give_the_values_of_r():
    fit = fitted()
    assert the_row(fit)["coefficient"] == pytest.approx(-1.57212514883, rel=1e-8)
    assert the_row(fit)["standard_error"] == pytest.approx(0.412396717709, rel=1e-8)
    assert fit.null_log_likelihood == pytest.approx(-93.1842699968, rel=1e-8)
    assert fit.log_likelihood == pytest.approx(-85.0084245774, rel=1e-8)
    assert fit.score.statistic == pytest.approx(17.2465367957, rel=1e-8)


def test_breslows_ties_give_the_values_of_r():
    fit = fitted("breslow")
    assert the_row(fit)["coefficient"] == pytest.approx(-1.50919141259, rel=1e-8)
    assert the_row(fit)["standard_error"] == pytest.approx(0.409564406367, rel=1e-8)
    assert fit.log_likelihood == pytest.approx(-86.3796220711, rel=1e-8)


def test_rodriguezs_printed_output_is_reproduced():
    # Rodriguez G, Princeton, page on Cox regression by Stata.
    fit, row = fitted(), the_row(fitted())
    assert round(row["coefficient"], 4) == -1.5721
    assert round(row["hazard_ratio"], 7) == 0.2076035
    assert round(row["standard_error"], 4) == 0.4124
    assert round(row["coefficient"] / row["standard_error"], 3) == -3.812
    assert round(fit.likelihood_ratio.statistic, 2) == 16.35
    assert round(fit.log_likelihood, 6) == -85.008425
    assert [round(row["ci_lower"], 7), round(row["ci_upper"], 7)] == [0.0925128, 0.4658729]


def test_therneaus_weighted_example_is_reproduced_by_hand():
    # Therneau TM, Grambsch PM. Modeling Survival Data, appendix E.1: six subjects, Breslow's ties. The
    # coefficient is log(1.5 + sqrt(33) / 2), as also in the tests of R's package survival (book1.R).
    x = pd.DataFrame({"x": [1.0, 1, 1, 0, 0, 0]})
    fit = cox_regression(x, [1, 1, 6, 6, 8, 9], [1, 0, 1, 1, 0, 1], ties="breslow")
    assert the_row(fit)["coefficient"] == pytest.approx(np.log(1.5 + np.sqrt(33) / 2), rel=1e-10)
    ratio = 1.5 + np.sqrt(33) / 2
    expected = 2 * np.log(ratio) - np.log(3 * ratio + 3) - 2 * np.log(ratio + 3)
    assert fit.log_likelihood == pytest.approx(expected, rel=1e-10)
