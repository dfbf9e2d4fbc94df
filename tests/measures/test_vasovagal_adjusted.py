"""Reactions by vaginal birth with age allowed for: hand-built visits."""

import pandas as pd
import pytest

from audit.measures.vasovagal import vasovagal_adjusted
from audit.statistics.stratified import mantel_haenszel_risk_difference, mantel_haenszel_risk_ratio
from audit.statistics.stratified_tests import cochran_mantel_haenszel, homogeneity_of_odds_ratios

Told = tuple[str, str, int, int]


def visits(*told: Told) -> pd.DataFrame:
    """Visits from (vaginal birth, age band, reacted, visits)."""
    rows = [(birth, age, number < reacted) for birth, age, reacted, n in told for number in range(n)]
    frame = pd.DataFrame(rows, columns=["cervical_parity", "age_band", "vasovagal_any"])
    reacted = frame["vasovagal_any"].astype("boolean")
    return frame.assign(
        visit_outcome="placed",
        parous=frame["cervical_parity"],
        vasovagal_any=reacted,
        vasovagal_grade_2_plus=pd.array([None] * len(frame), dtype="boolean"),
        syncope=pd.array([False] * len(frame), dtype="boolean"),
    )


# Young: 8 of 106 without, 5 of 120 with a vaginal birth; older: 22 of 98 and 16 of 85. The counts are those of
# Rothman KJ, Greenland S, Lash TL. Modern Epidemiology, 3rd ed, 2008, table 15-1.
WOMEN: tuple[Told, ...] = (
    ("no", "20_24", 8, 106),
    ("yes", "20_24", 5, 120),
    ("no", "30_34", 22, 98),
    ("yes", "30_34", 16, 85),
)
FOUR = ([8, 22], [106, 98], [5, 16], [120, 85])


def test_the_ratio_and_difference_are_pooled_over_ages() -> None:
    row = vasovagal_adjusted(visits(*WOMEN)).iloc[0]
    assert row[["events", "n", "reference_events", "reference_n"]].tolist() == [30, 204, 21, 205]
    ratio, difference = mantel_haenszel_risk_ratio(*FOUR), mantel_haenszel_risk_difference(*FOUR)
    assert row["ratio"] == ratio.value
    # By hand: (8 x 120 / 226 + 22 x 85 / 183) / (5 x 106 / 226 + 16 x 98 / 183).
    assert row["ratio"] == pytest.approx((8 * 120 / 226 + 22 * 85 / 183) / (5 * 106 / 226 + 16 * 98 / 183))
    assert (row["ratio_lower"], row["ratio_upper"]) == (ratio.ci_lower, ratio.ci_upper)
    assert (row["difference"], row["difference_upper"]) == (difference.value, difference.ci_upper)
    assert row["p_value"] == cochran_mantel_haenszel(*FOUR).p_value
    assert row["homogeneity_p_value"] == homogeneity_of_odds_ratios(*FOUR).p_value
    assert (row["adjusted_for"], row["caution"]) == ("age_band", "")


def test_age_alone_explains_a_difference_that_is_all_age() -> None:
    # At each age as many react with as without a birth: 1 in 2 of the young, 1 in 10 of the older.
    frame = visits(
        ("no", "20_24", 40, 80), ("yes", "20_24", 10, 20), ("no", "40_44", 2, 20), ("yes", "40_44", 8, 80)
    )
    row = vasovagal_adjusted(frame).iloc[0]
    assert row["ratio"] == pytest.approx(1)
    assert row["difference"] == pytest.approx(0)


def test_an_unknown_age_is_an_age_of_its_own_and_an_unknown_birth_is_counted_beside() -> None:
    frame = visits(*WOMEN, ("no", "unknown", 3, 10), ("yes", "unknown", 1, 10), ("unknown", "20_24", 7, 9))
    row = vasovagal_adjusted(frame).iloc[0]
    assert (row["events"], row["n"], row["reference_n"]) == (33, 214, 215)
    assert (row["n_strata"], row["n_unknown"]) == (3, 9)


def test_a_definition_recorded_in_nobody_has_no_row_and_one_without_reactions_no_ratio() -> None:
    table = vasovagal_adjusted(visits(*WOMEN)).set_index("definition")
    assert table.index.tolist() == ["vasovagal_any", "syncope"]
    assert pd.isna(table.at["syncope", "ratio"])
    assert table.at["syncope", "difference"] == 0


def test_few_recorded_carry_a_caution() -> None:
    frame = visits(*WOMEN)
    frame["vasovagal_any"] = frame["vasovagal_any"].mask(frame.index % 2 == 0)
    row = vasovagal_adjusted(frame).iloc[0]
    assert row["n_unknown"] == 205
    assert "fewer than 80%" in row["caution"]


def test_no_visit_and_none_known_give_no_rows() -> None:
    assert len(vasovagal_adjusted(visits())) == 0
    frame = visits(*WOMEN)
    assert len(vasovagal_adjusted(frame.assign(cervical_parity="unknown"))) == 0
    assert len(vasovagal_adjusted(frame.assign(visit_outcome="deferred"))) == 0


def test_a_tally_gives_what_its_rows_give() -> None:
    frame = visits(*WOMEN)
    tally = frame.groupby(list(frame.columns), dropna=False, as_index=False).size()
    tally = tally.rename(columns={"size": "n"})
    pd.testing.assert_frame_equal(vasovagal_adjusted(frame), vasovagal_adjusted(tally))
