"""Gray's tests and hazard ratios of expulsion on hand-built placements."""

import numpy as np
import pandas as pd
import pytest

from audit.measures.expulsion import expulsion_all_placements, expulsion_hazard_ratios, expulsion_tests
from audit.statistics.clustered_incidence import clustered_incidence
from audit.statistics.cox import cox_regression
from audit.statistics.cox_clusters import with_clustered_errors
from audit.statistics.gray_test import gray_test
from audit.tallies import spell_patterns


def placements(rows: int, *, seed: int = 0) -> pd.DataFrame:
    """Drawn placements, a third of them after a birth, with every column the measures read."""
    draw = np.random.default_rng(seed)
    timing = draw.choice(["interval", "postpartum"], rows, p=[0.6, 0.4])
    last = draw.integers(0, 400, rows).astype(float)
    return pd.DataFrame(
        {
            "placement_kind": "first",
            "timing_group": timing,
            "age_band": draw.choice(["20_24", "30_34"], rows),
            "parous": np.where(timing == "postpartum", "yes", draw.choice(["yes", "no"], rows)),
            "device_family": draw.choice(["hormonal", "copper"], rows),
            "device_class": draw.choice(["lng_52", "copper_t_380"], rows),
            "ending": draw.choice(
                ["none", "expulsion_complete", "expulsion_partial", "removal", "perforation"],
                rows,
                p=[0.4, 0.2, 0.1, 0.2, 0.1],
            ),
            "exit_day_last_known": last,
            "exit_day_assumed_in_place": last + draw.integers(0, 2, rows) * 100,
        }
    )


MANY = placements(600)


def test_timings_are_compared_with_perforation_and_removal_competing() -> None:
    found = expulsion_tests(MANY)
    expelled = MANY["ending"].str.startswith("expulsion")
    codes = np.where(expelled, 1, np.where(MANY["ending"] == "none", 0, 2))
    for rule in ("last_known", "assumed_in_place"):
        row = found[(found["by"] == "timing_group") & (found["censoring"] == rule)].iloc[0]
        direct = gray_test(MANY[f"exit_day_{rule}"], codes, MANY["timing_group"], cause=1)
        assert row["p_value"] == pytest.approx(direct.p_value)
        assert row[["groups", "events", "n"]].tolist() == [2, int(expelled.sum()), 600]


def test_device_classes_are_compared_within_each_timing() -> None:
    found = expulsion_tests(MANY)
    row = found[(found["by"] == "device_class") & (found["censoring"] == "last_known")].iloc[0]
    codes = np.where(MANY["ending"].str.startswith("expulsion"), 1, np.where(MANY["ending"] == "none", 0, 2))
    direct = gray_test(
        MANY["exit_day_last_known"], codes, MANY["device_class"], cause=1, strata=MANY["timing_group"]
    )
    assert (row["within"], row["statistic"]) == ("timing_group", pytest.approx(direct.chi_square))


def test_a_group_that_is_unknown_is_left_out_of_the_test_and_kept_in_the_model() -> None:
    frame = MANY.assign(timing_group=MANY["timing_group"].where(MANY.index % 6 > 0, "unknown"))
    tests = expulsion_tests(frame)
    assert tests.loc[tests["by"] == "timing_group", "n"].tolist() == [500, 500]
    ratios = expulsion_hazard_ratios(frame)
    shown = ratios[(ratios["population"] == "all_timings") & (ratios["censoring"] == "last_known")]
    assert shown["stratum"].tolist() == ["postpartum", "unknown"]


def test_age_births_and_device_are_told_within_one_timing_and_timing_over_all() -> None:
    found = expulsion_hazard_ratios(MANY)
    by = found.groupby("population")["by"].agg(lambda names: sorted(set(names))).to_dict()
    assert by == {
        "all_timings": ["timing_group"],
        "interval": ["age_band", "device_family", "parous"],
        "postpartum": ["age_band", "device_family"],
    }


def test_the_ratios_within_interval_placements_are_those_of_these_alone() -> None:
    found = expulsion_hazard_ratios(MANY)
    found = found[(found["population"] == "interval") & (found["censoring"] == "assumed_in_place")]
    own = MANY[MANY["timing_group"] == "interval"]
    columns = pd.DataFrame(
        {
            "age": (own["age_band"] == "20_24").astype(float),
            "births": (own["parous"] == "no").astype(float),
            "device": (own["device_family"] == "copper").astype(float),
        }
    )
    event = own["ending"].str.startswith("expulsion").astype(int)
    direct = cox_regression(columns, own["exit_day_assumed_in_place"], event).coefficients
    assert found["hazard_ratio"].tolist() == pytest.approx(direct["hazard_ratio"].tolist())
    assert found["ci_upper"].tolist() == pytest.approx(direct["ci_upper"].tolist())


def test_a_tally_gives_what_its_rows_give() -> None:
    tally = MANY.groupby(list(MANY.columns), as_index=False).size().rename(columns={"size": "n"})
    for measure in (expulsion_tests, expulsion_hazard_ratios):
        pd.testing.assert_frame_equal(measure(MANY), measure(tally))


def test_too_few_expulsions_give_one_row_that_says_so() -> None:
    found = expulsion_hazard_ratios(placements(40))
    assert found["stratum"].eq("overall").all()
    assert found["caution"].str.contains("no model is fitted").all()
    assert len(found) == 6


def test_no_placement_gives_no_rows_and_unknown_groups_no_test() -> None:
    assert len(expulsion_tests(MANY.head(0))) == 0
    assert len(expulsion_hazard_ratios(MANY.head(0))) == 0
    unknown = MANY.assign(
        timing_group="unknown",
        device_class="unknown",
        age_band="unknown",
        parous="unknown",
        device_family="unknown",
    )
    assert len(expulsion_tests(unknown)) == 0
    assert expulsion_hazard_ratios(unknown)["hazard_ratio"].isna().all()


def test_patterns_of_spells_name_a_missing_value_unknown_and_censor_what_has_no_code() -> None:
    frame = MANY.head(3).assign(ending=["none", "removal", None], age_band=[None, "20_24", None])
    found = spell_patterns(frame, by=["age_band"], censoring="last_known", codes={"removal": 4})
    assert sorted(found["age_band"]) == ["20_24", "unknown", "unknown"]
    assert sorted(found["cause"]) == [0, 0, 4]


WOMEN = MANY.assign(
    patient_ref=np.arange(600) // 2, placement_kind=np.where(np.arange(600) % 2, "replacement", "first")
)


def test_all_placements_are_counted_and_a_woman_is_one_unit_of_chance() -> None:
    found = expulsion_all_placements(WOMEN, horizons=(182,))
    assert (
        found[["n", "n_women", "placement_kind", "poolable"]].to_numpy().tolist()
        == [[600, 300, "all", False]] * 2
    )
    expelled = WOMEN["ending"].str.startswith("expulsion")
    codes = np.where(expelled, 1, np.where(WOMEN["ending"] == "none", 0, 2))
    direct = clustered_incidence(
        WOMEN["exit_day_last_known"], codes, WOMEN["patient_ref"], horizons=[182]
    ).iloc[0]
    row = found[found["censoring"] == "last_known"].iloc[0]
    for name in ("incidence", "standard_error", "ci_lower", "ci_upper", "cumulative_events", "at_risk"):
        assert row[name] == direct[name]


def test_all_placements_by_timing_stand_apart_and_few_observed_carry_a_caution() -> None:
    found = expulsion_all_placements(WOMEN.head(60), by="timing_group", horizons=(42, 390))
    assert sorted(set(found["stratum"])) == ["interval", "postpartum"]
    late = found[(found["days"] == 390) & (found["censoring"] == "last_known")]
    assert late["caution"].str.contains(r"Fewer than 10|Nobody observed").all()


def test_a_tally_cannot_tell_women_apart_and_no_placement_gives_no_rows() -> None:
    with pytest.raises(ValueError, match=r"^placements must be rows, one a placement, got a tally"):
        expulsion_all_placements(WOMEN.assign(n=1))
    assert len(expulsion_all_placements(WOMEN.head(0))) == 0
    unknown = expulsion_all_placements(WOMEN.assign(timing_group=None), by="timing_group", horizons=(42,))
    assert set(unknown["stratum"]) == {"not recorded"}


def with_women(rows: int) -> pd.DataFrame:
    """Drawn placements of which every fifth woman has two or three, expelled alike."""
    frame = placements(rows, seed=3)
    women = np.where(frame.index % 5 == 0, frame.index // 15, 10_000 + frame.index)
    several = pd.Series(women) < 10_000
    alike = frame["ending"].mask(several & (pd.Series(women) % 2 == 0), "expulsion_complete")
    kinds = np.where(pd.Series(women).duplicated(), "repeat", "first")
    return frame.assign(patient_ref=women, ending=alike, placement_kind=kinds)


def test_over_all_placements_the_limits_take_those_of_one_woman_together() -> None:
    frame = with_women(900)
    found = expulsion_hazard_ratios(frame, placement_kind="all")
    assert found["poolable"].tolist() == [False] * len(found)
    assert found["method"].str.contains("cluster-robust").all()
    own = frame[frame["timing_group"] == "interval"]
    columns = pd.DataFrame(
        {
            "age": (own["age_band"] == "20_24").astype(float),
            "births": (own["parous"] == "no").astype(float),
            "device": (own["device_family"] == "copper").astype(float),
        }
    )
    given = columns, own["exit_day_last_known"], own["ending"].str.startswith("expulsion").astype(int)
    direct = with_clustered_errors(cox_regression(*given), *given, clusters=own["patient_ref"])
    shown = found[(found["population"] == "interval") & (found["censoring"] == "last_known")]
    for name in ("hazard_ratio", "ci_lower", "ci_upper", "p_value"):
        assert shown[name].tolist() == pytest.approx(direct.coefficients[name].tolist(), rel=1e-9)
    plain = cox_regression(*given).coefficients
    assert shown["ci_upper"].tolist() != pytest.approx(plain["ci_upper"].tolist(), rel=1e-4)


def test_first_placements_are_poolable_and_only_they_may_be_tallied() -> None:
    assert expulsion_hazard_ratios(MANY)["poolable"].all()
    with pytest.raises(ValueError, match="got a tally: it does not tell women apart"):
        expulsion_hazard_ratios(with_women(60).assign(n=1), placement_kind="all")
