"""What was found at a placement that decides who should be checked, and whether the device fits the uterus."""

import numpy as np
import pandas as pd

from audit.cohort.case_mix import weeks_since_birth
from audit.cohort.columns import Names, code, codes_of, flag, number
from audit.schema.derived import SIZE_FITS

_NINE_MONTHS = 39  # weeks


def higher_risk(rows: pd.DataFrame) -> dict[str, pd.api.extensions.ExtensionArray]:
    """Within nine months of a birth, difficult, and either of them or breastfeeding; missing where not known.

    One reason known is enough for a yes; a no needs all three known.
    """
    weeks = weeks_since_birth(rows)
    none_before = number(rows, "births") == 0
    none_before |= (number(rows, "vaginal_births") == 0) & (number(rows, "caesarean_births") == 0)
    recent = _known(weeks <= _NINE_MONTHS, ~np.isnan(weeks) | none_before)
    difficult = _difficult(rows)
    return {
        "under_9_months_postpartum": recent.array,
        "difficult_insertion": difficult.array,
        "higher_risk": (recent | difficult | flag(rows, "breastfeeding").reset_index(drop=True)).array,
    }


def size_fit(rows: pd.DataFrame) -> pd.Categorical:
    """The length measured by sound against the device's range; a side without a limit is not judged."""
    length = number(rows, "sound_length_mm")
    shortest, longest = number(rows, "device_min_sound_mm"), number(rows, "device_max_sound_mm")
    judged = ~np.isnan(length) & ~(np.isnan(shortest) & np.isnan(longest))
    named: Names = np.select(
        [length < shortest, length > longest, judged], ["too_short", "too_long", "fits"], "not_assessable"
    )
    return codes_of(named, SIZE_FITS)


def _difficult(rows: pd.DataFrame) -> pd.Series:
    """Firm or impassable resistance, or more than one pass; missing where neither is recorded."""
    resistance, passes = code(rows, "resistance_met"), number(rows, "attempts_same_visit")
    told = ((resistance.notna()) & (resistance != "unknown")).to_numpy()
    hard = resistance.isin(["firm", "impassable"]).to_numpy()
    return _known(hard | (passes > 1), told | ~np.isnan(passes))


def _known(yes: np.ndarray, told: np.ndarray) -> pd.Series:
    """Yes, no, or missing where nothing was told."""
    return pd.Series(yes, dtype="boolean").where(pd.Series(told))
