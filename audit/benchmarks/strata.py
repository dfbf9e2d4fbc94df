"""Published rates of perforation by breastfeeding and time since a birth."""

import pandas as pd

from audit.schema.published import published_figures

_SINCE_BIRTH = {"up to 36": "to", "more than 36": "after"}


def perforation_strata() -> pd.DataFrame:
    """Published rates of perforation by breastfeeding and time since a birth.

    Returns
    -------
    DataFrame
        ``stratum`` (a code of `audit.schema.derived.PERFORATION_GROUPS`), ``rate`` (0-1), ``benchmark, citation``.

    Examples
    --------
    >>> perforation_strata()["rate"].tolist()
    [0.0056, 0.0017, 0.0016, 0.0007]
    """
    rows = [
        {
            "stratum": f"{_SINCE_BIRTH[str(one['weeks_since_birth'])]}_36_weeks_"
            f"{'' if one['breastfeeding'] else 'not_'}breastfeeding",
            "rate": one["estimate"],
            "benchmark": one["id"],
            "citation": one["citation"],
        }
        for one in published_figures()
        if one["outcome"] == "perforation"
        and one.get("breastfeeding") is not None
        and str(one.get("weeks_since_birth")) in _SINCE_BIRTH
    ]
    return pd.DataFrame(rows)
