"""What a woman and her device were like at the attempt: groups made from the columns of the log."""

import numpy as np
import pandas as pd

from audit.cohort.columns import Names, code, codes_of, date, flag, number, text_codes
from audit.schema.derived import (
    AGE_BAND_STARTS,
    AGE_BANDS,
    BIRTH_GROUPS,
    DEVICE_FAMILIES,
    PARITY_GROUPS,
    PERFORATION_GROUPS,
    POSTPARTUM_BANDS,
    TIMING_GROUPS,
    TIMING_OF,
    YES_NO_UNKNOWN,
)
from audit.schema.visits import VISITS


def case_mix(rows: pd.DataFrame) -> pd.DataFrame:
    """The case-mix columns of `audit.schema.derived.CASE_MIX` for insertion rows, in their order."""
    vaginal, births = _births(rows)
    return pd.DataFrame(
        {
            "parity_group": codes_of(_parity_group(vaginal, births), PARITY_GROUPS),
            "cervical_parity": codes_of(_cervical_parity(vaginal, births), YES_NO_UNKNOWN),
            "parous": codes_of(_yes_no(births >= 1, np.isnan(births)), YES_NO_UNKNOWN),
            "births_group": codes_of(_births_group(births), BIRTH_GROUPS),
            "age_band": codes_of(_age_band(number(rows, "age_years")), AGE_BANDS),
            "device_class": _or_unknown(rows, "device_class"),
            "device_family": codes_of(_family(rows), DEVICE_FAMILIES),
            "indication": _or_unknown(rows, "indication"),
            "timing_group": codes_of(_timing(rows), TIMING_GROUPS),
            "practice": codes_of(_practice(rows), ("independent", "supervised")),
            "postpartum_band": codes_of(_postpartum_band(rows, births), POSTPARTUM_BANDS),
            "perforation_group": codes_of(_perforation_group(rows, births), PERFORATION_GROUPS),
        }
    )


def _births(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Vaginal births and all births; nan where the log does not say."""
    vaginal, caesarean = number(rows, "vaginal_births"), number(rows, "caesarean_births")
    births = number(rows, "births")
    births = np.where(np.isnan(births), number(rows, "parity_text"), births)
    births = np.where(np.isnan(vaginal + caesarean), births, vaginal + caesarean)
    from_total = births - caesarean
    vaginal = np.where(np.isnan(vaginal) & (from_total >= 0), from_total, vaginal)
    vaginal = np.where(np.isnan(vaginal) & (births == 0), 0.0, vaginal)
    at_least = np.fmax(vaginal, caesarean)
    return vaginal, np.where(np.isnan(births) & (at_least >= 1), at_least, births)


def _parity_group(vaginal: np.ndarray, births: np.ndarray) -> Names:
    """Births by route; a caesarean with the other route unknown is parous, route unknown."""
    return np.select(
        [vaginal >= 1, births == 0, (vaginal == 0) & (births >= 1), births >= 1],
        ["any_vaginal_birth", "nulliparous", "caesarean_only", "parous_route_unknown"],
        "unknown",
    )


def _cervical_parity(vaginal: np.ndarray, births: np.ndarray) -> Names:
    """A vaginal birth, yes or no."""
    return _yes_no(vaginal >= 1, np.isnan(vaginal) & ~(births == 0))


def _yes_no(yes: np.ndarray, unknown: np.ndarray) -> Names:
    """yes, no or unknown."""
    return np.select([unknown, yes], ["unknown", "yes"], "no")


def _births_group(births: np.ndarray) -> Names:
    """0, 1, 2, 3 or more."""
    return np.select(
        [np.isnan(births), births >= 3, births == 2, births == 1], ["unknown", "3_plus", "2", "1"], "0"
    )


def _age_band(age: np.ndarray) -> Names:
    """Five-year bands."""
    band = np.array(AGE_BANDS)[np.searchsorted(AGE_BAND_STARTS, np.nan_to_num(age), side="right")]
    return np.where(np.isnan(age), "unknown", band)


def _family(rows: pd.DataFrame) -> Names:
    """Copper or hormonal, from the class."""
    named = code(rows, "device_class").astype(object).fillna("unknown").astype(str)
    copper, hormonal = named.str.startswith("copper"), named.str.startswith("lng")
    return np.select([copper, hormonal, named == "other"], ["copper", "hormonal", "other"], "unknown")


def _timing(rows: pd.DataFrame) -> Names:
    """The four timings kept apart; an emergency indication decides where timing is not recorded."""
    recorded = code(rows, "placement_timing")
    timing = np.array(
        [TIMING_OF.get(name, "unknown") for name in VISITS["placement_timing"].codes] + ["unknown"]
    )
    named = timing[recorded.cat.codes.to_numpy()]
    emergency = (code(rows, "indication") == "emergency_contraception").to_numpy()
    return np.where((named == "unknown") & emergency, "emergency", named)


def weeks_since_birth(rows: pd.DataFrame) -> np.ndarray:
    """Weeks since the latest birth, from its date where the weeks are not recorded; nan where neither is."""
    weeks, born = number(rows, "weeks_since_delivery"), date(rows, "last_delivery_date")
    if born.isna().all():
        return weeks
    from_date = (rows["visit_date"] - born).dt.days.to_numpy(dtype="float64") / 7
    return np.where(np.isnan(weeks) & (from_date >= 0), from_date, weeks)


def _postpartum_band(rows: pd.DataFrame, births: np.ndarray) -> Names:
    """Time since the latest birth; the timing of the placement decides where no weeks are recorded."""
    weeks, timing = weeks_since_birth(rows), code(rows, "placement_timing")
    bedside = timing.isin(["post_placental_10min", "early_postpartum_inpatient"]).to_numpy()
    outpatient = (timing == "early_postpartum_outpatient").to_numpy()
    abortion = timing.isin(["post_abortion_same_day", "post_abortion_later"]).to_numpy()
    # Whole weeks cannot tell day 3 from day 6, but a placement at the bedside is made within three days.
    first_days = bedside | (weeks <= 3 / 7) & ~outpatient
    return np.select(
        [abortion, first_days, weeks <= 6, weeks <= 14, weeks <= 52, weeks > 52, outpatient, births == 0],
        [
            *("post_abortion", "days_0_to_3", "days_4_to_weeks_6", "weeks_7_to_14", "weeks_15_to_52"),
            *("over_52_weeks_or_no_birth", "unknown", "over_52_weeks_or_no_birth"),
        ],
        "unknown",
    )


def _perforation_group(rows: pd.DataFrame, births: np.ndarray) -> Names:
    """Breastfeeding by time since a birth; unknown where either is not recorded."""
    weeks, feeding = weeks_since_birth(rows), flag(rows, "breastfeeding")
    feeds = feeding.fillna(False).to_numpy(dtype=bool)
    weans = (~feeding).fillna(False).to_numpy(dtype=bool)
    early, late = weeks <= 36, weeks > 36
    return np.select(
        [births == 0, early & feeds, early & weans, late & feeds, late & weans],
        [
            *("no_birth", "to_36_weeks_breastfeeding", "to_36_weeks_not_breastfeeding"),
            *("after_36_weeks_breastfeeding", "after_36_weeks_not_breastfeeding"),
        ],
        "unknown",
    )


def _practice(rows: pd.DataFrame) -> Names:
    """Supervised where the log says so, or where someone in training is not said to be alone."""
    supervised = flag(rows, "supervised")
    training = (code(rows, "training_status") == "in_training").to_numpy()
    yes = supervised.fillna(False).to_numpy(dtype=bool) | (training & supervised.isna().to_numpy())
    return np.where(yes, "supervised", "independent")


def _or_unknown(rows: pd.DataFrame, name: str) -> pd.Categorical:
    """A code column in which a blank reads unknown."""
    recorded = code(rows, name)
    return text_codes(recorded.fillna("unknown"), VISITS[name].codes)
