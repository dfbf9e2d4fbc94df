"""The model of events by covariate pattern, against the regression called directly and against statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import expit

from audit.statistics.logistic import logistic_regression
from audit.statistics.mixture_model import expected_proportions, mixture_model, model_quality, model_terms

PATTERNS = pd.DataFrame(
    {
        "site": ["a", "a", "b", "b", "unknown"],
        "age": ["old", "young", "old", "young", "old"],
        "events": [10, 30, 5, 20, 4],
        "n": [100, 120, 90, 80, 20],
    }
)
REFERENCES = {"site": "a", "age": "old"}
COLUMNS = pd.DataFrame(
    {
        "site: b": [0.0, 0, 1, 1, 0],
        "site: unknown": [0.0, 0, 0, 0, 1],
        "age: young": [0.0, 1, 0, 1, 0],
    }
)


def test_the_terms_are_those_of_the_regression_called_directly() -> None:
    model = mixture_model(PATTERNS, references=REFERENCES)
    direct = logistic_regression(COLUMNS, PATTERNS["events"], PATTERNS["n"])
    terms = model_terms(model, PATTERNS)
    assert terms[["by", "stratum", "reference", "events", "n"]].to_numpy().tolist() == [
        ["site", "b", "a", 25, 170],
        ["site", "unknown", "a", 4, 20],
        ["age", "young", "old", 50, 200],
    ]
    for name in ("odds_ratio", "ci_lower", "ci_upper", "p_value"):
        assert terms[name].tolist() == direct.coefficients[name].tolist()[1:]
    assert (model.parameters, model.enough) == (3, True)


def test_the_odds_ratios_are_those_of_statsmodels() -> None:
    # Differential: statsmodels' binomial GLM on the same counts.
    other = sm.GLM(
        np.column_stack([PATTERNS["events"], PATTERNS["n"] - PATTERNS["events"]]),
        sm.add_constant(COLUMNS),
        family=sm.families.Binomial(),
    ).fit()
    terms = model_terms(mixture_model(PATTERNS, references=REFERENCES), PATTERNS)
    assert terms["odds_ratio"].tolist() == pytest.approx(np.exp(other.params.iloc[1:]).tolist(), rel=1e-7)


@pytest.mark.parametrize(("events", "enough"), [(30, True), (29, False)])
def test_ten_events_for_each_parameter_are_enough(events: int, enough: bool) -> None:
    rest = events - 19
    patterns = PATTERNS.assign(events=[5, rest, 5, 5, 4])
    model = mixture_model(patterns, references=REFERENCES)
    assert int(patterns["events"].sum()) == events
    assert (model.parameters, model.enough) == (3, enough)


def test_a_variable_that_never_varies_is_no_parameter_and_no_model() -> None:
    model = mixture_model(PATTERNS.assign(site="a", age="old"), references=REFERENCES)
    assert (model.parameters, model.enough) == (0, False)
    assert len(model_terms(model, PATTERNS.assign(site="a", age="old"))) == 0


def test_a_reference_that_does_not_occur_gives_way_to_the_commonest_known() -> None:
    model = mixture_model(PATTERNS, references={"site": "z"})
    assert model.coding.levels["site"] == ("a", "b", "unknown")


def test_expected_events_add_up_to_those_seen_in_another_table_too() -> None:
    model = mixture_model(PATTERNS, references=REFERENCES)
    part = PATTERNS.assign(events=[2, 9, 0, 3, 1], n=[40, 30, 30, 20, 5])
    rates = expected_proportions(model, part)
    assert float(rates @ part["n"]) == pytest.approx(15)
    # One shift of the log odds for all, so that the odds ratios stay the model's.
    own = expected_proportions(model, PATTERNS)
    moved = np.log(rates / (1 - rates)) - np.log(own / (1 - own))
    assert moved == pytest.approx(np.full(5, moved[0]))


def test_without_events_nothing_is_expected() -> None:
    model = mixture_model(PATTERNS, references=REFERENCES)
    assert expected_proportions(model, PATTERNS.assign(events=0)).tolist() == [0, 0, 0, 0, 0]
    assert expected_proportions(model, PATTERNS.head(0)).tolist() == []


def test_nobody_at_all_gives_a_quality_of_gaps() -> None:
    nobody = PATTERNS.head(0)
    quality = model_quality(mixture_model(nobody, references=REFERENCES), nobody)
    assert (quality["events"], quality["n"], quality["parameters"]) == (0, 0, 0)
    assert all(
        np.isnan(float(str(quality[name])))
        for name in ("c_statistic", "calibration_slope", "expected_slope", "c_lower", "slope_upper")
    )


def test_the_c_statistic_is_the_share_of_pairs_put_in_order() -> None:
    model = mixture_model(PATTERNS, references=REFERENCES)
    quality = model_quality(model, PATTERNS)
    linear = model.fit.coefficients["coefficient"].to_numpy()
    score = expit(linear[0] + COLUMNS.to_numpy() @ linear[1:])
    cases, others = PATTERNS["events"].to_numpy(), (PATTERNS["n"] - PATTERNS["events"]).to_numpy()
    above = (score[:, None] > score[None, :]) + 0.5 * (score[:, None] == score[None, :])
    assert quality["c_statistic"] == pytest.approx(cases @ above @ others / (cases.sum() * others.sum()))
    assert quality["calibration_slope"] == pytest.approx(1)
    chi_square = model.fit.likelihood_ratio.statistic
    assert quality["expected_slope"] == pytest.approx(1 - 3 / float(chi_square or 0))
