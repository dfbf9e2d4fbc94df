"""The model of events by covariate pattern, against the regression called directly and against statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy.special import expit

from audit.statistics.calibration import calibration_line
from audit.statistics.discrimination import c_statistic
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


def test_the_commonest_level_is_that_of_most_people_not_of_most_patterns() -> None:
    patterns = pd.DataFrame(
        {"site": ["a", "a", "b", "z"], "events": [1, 2, 30, 0], "n": [10, 12, 90, 0]}, index=[7, 5, 3, 1]
    )
    # Nobody is in z, which therefore is no reference either.
    model = mixture_model(patterns, references={"site": "z"})
    assert model.coding.levels["site"] == ("b", "a")
    assert mixture_model(patterns, references={"site": "a"}).coding.levels["site"] == ("a", "b")


def test_non_events_are_what_counts_where_they_are_the_rarer() -> None:
    patterns = PATTERNS.assign(events=PATTERNS["n"] - [5, 10, 5, 5, 4])
    assert mixture_model(patterns, references=REFERENCES).enough is False


def test_the_quality_is_that_of_the_model_figure_by_figure() -> None:
    patterns = pd.concat([PATTERNS, PATTERNS.head(1).assign(events=0, n=0)], ignore_index=True)
    model = mixture_model(patterns, references=REFERENCES)
    quality = model_quality(model, patterns)
    assert list(quality) == [
        *("events", "n", "parameters", "intercept", "c_statistic", "c_lower", "c_upper"),
        *("calibration_slope", "slope_lower", "slope_upper", "expected_slope", "method", "caution"),
    ]
    rows = logistic_regression(COLUMNS, PATTERNS["events"], PATTERNS["n"])
    predicted = expit(rows.coefficients["coefficient"].to_numpy() @ np.c_[np.ones(5), COLUMNS].T)
    area, _ = c_statistic(predicted, PATTERNS["events"], PATTERNS["n"])
    line = calibration_line(predicted, PATTERNS["events"], PATTERNS["n"])
    assert (quality["events"], quality["n"], quality["parameters"]) == (69, 410, 3)
    assert quality["intercept"] == pytest.approx(rows.coefficients["coefficient"][0])
    assert (quality["c_lower"], quality["c_upper"]) == pytest.approx(
        (float(area.ci_lower), float(area.ci_upper))
    )
    assert (quality["slope_lower"], quality["slope_upper"]) == pytest.approx(
        (line.slope_lower, line.slope_upper), rel=1e-6
    )
    assert (quality["method"], quality["caution"]) == (rows.method, rows.caution)
    terms = model_terms(model, patterns)
    assert (set(terms["method"]), set(terms["caution"])) == ({rows.method}, {rows.caution})


def test_a_model_without_terms_has_an_intercept_and_no_slope() -> None:
    patterns = PATTERNS.assign(site="a", age="old")
    quality = model_quality(mixture_model(patterns, references=REFERENCES), patterns)
    assert quality["intercept"] == pytest.approx(np.log(69 / (410 - 69)))
    assert np.isnan([float(str(quality[name])) for name in ("calibration_slope", "expected_slope")]).all()
    assert quality["c_statistic"] == 0.5


def test_terms_that_tell_nothing_leave_no_slope_to_be_expected() -> None:
    # The same proportion everywhere: the chi-square is 0. Hardly different: it is less than its parameters.
    same = PATTERNS.assign(events=[10, 12, 9, 8, 2])
    quality = model_quality(mixture_model(same, references=REFERENCES), same)
    assert np.isnan(float(str(quality["expected_slope"])))
    nearly = PATTERNS.assign(events=[11, 12, 9, 8, 2])
    assert model_quality(mixture_model(nearly, references=REFERENCES), nearly)["expected_slope"] == 0


def test_a_pattern_of_one_person_counts() -> None:
    patterns = pd.DataFrame({"site": ["a", "b", "c"], "events": [30, 15, 1], "n": [100, 100, 1]})
    quality = model_quality(mixture_model(patterns, references={"site": "a"}), patterns)
    # Pairs in order: c above all; a above b. The one in c is an event of 46 beside 155 others.
    a, b = (30, 70), (15, 85)
    pairs = a[0] * b[1] + 0.5 * (a[0] * a[1] + b[0] * b[1]) + (a[1] + b[1])
    assert quality["c_statistic"] == pytest.approx(pairs / (46 * 155))
