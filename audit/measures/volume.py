"""How many insertions each clinician began, and with what standing.

Nobody is ranked: rows come in order of code.
"""

import numpy as np
import pandas as pd

from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, tally_outcomes

CURRENT, LAPSED, TRAINEE = ("certified", "trainer"), ("certified_lapsed",), "in_training"
NOT_RECORDED = "not recorded"
_BY = "clinician_ref"


def clinician_volume(attempts: pd.DataFrame) -> pd.DataFrame:
    """Insertions begun by each clinician, and the clinician's standing at the latest of them.

    Population: operator attempts, of a window of twelve months where that is what is asked; supervised ones
    count and are told apart. Unknown: attempts without a code are a row of their own; a standing that is never
    recorded is ``unknown``.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.

    Returns
    -------
    DataFrame
        ``by, stratum`` (the code, or ``not recorded``), ``n_attempts, n_placed, n_supervised, standing``
        (``certified, certified_lapsed, in_training, trainer, unknown``). No attempt gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"clinician_ref": ["C1", "C1"], "outcome": ["placed", "failed"],
    ...     "practice": "independent", "training_status": ["certified", None],
    ...     "attempt_date": pd.to_datetime(["2026-01-01", "2026-02-01"])})
    >>> clinician_volume(rows)[["stratum", "n_attempts", "n_placed", "standing"]].values.tolist()
    [['C1', 2, 1, 'certified']]
    """
    begun = attempts[attempts["outcome"].isin(["placed", "failed", "unknown"])]
    named = begun.assign(stratum=begun[_BY].astype(object).fillna(NOT_RECORDED).astype(str))
    named = named.sort_values("attempt_date", kind="stable")
    groups = named.groupby("stratum", sort=True)
    told = named[named["training_status"].notna() & (named["training_status"] != "unknown")]
    standing = told.groupby("stratum")["training_status"].last().astype(object)
    table = pd.DataFrame(
        {
            "n_attempts": groups.size(),
            "n_placed": (named["outcome"] == "placed").groupby(named["stratum"]).sum(),
            "n_supervised": (named["practice"] == "supervised").groupby(named["stratum"]).sum(),
        }
    ).astype("int64")
    # Attempts without a code may be anybody's, so their standings are nobody's.
    known = standing.drop(NOT_RECORDED, errors="ignore")
    table["standing"] = known.reindex(table.index).fillna("unknown").astype(object)
    table = table.rename_axis("stratum").reset_index()
    table.insert(0, "by", _BY)
    return table


def clinicians_certified(volume: pd.DataFrame) -> pd.DataFrame:
    """Clinicians who were certified, or trainers, at their latest attempt.

    Population: clinicians with an attempt. Denominator: those whose standing is recorded, less those in
    training, who are counted in ``n_in_training``. Unknown: standing never recorded.

    Parameters
    ----------
    volume
        What `clinician_volume` returned.

    Returns
    -------
    DataFrame
        One row: ``by, stratum, events, n, n_unknown, n_in_training, proportion`` and limits (0-1), ``method,
        caution``.

    Examples
    --------
    >>> import pandas as pd
    >>> volume = pd.DataFrame({"stratum": ["C1", "C2", "C3"], "standing": ["trainer", "unknown", "in_training"]})
    >>> clinicians_certified(volume)[["events", "n", "n_unknown", "n_in_training"]].values.tolist()
    [[1, 1, 1, 1]]
    """
    people = volume[volume["stratum"] != NOT_RECORDED]
    standing = np.asarray(people["standing"], dtype=object)
    tally = tally_outcomes(pd.DataFrame({"standing": standing}), outcome="standing", by=OVERALL)
    return with_proportions(
        count_outcomes(tally, events=CURRENT, others=LAPSED, apart=(TRAINEE,), by=OVERALL)
    )
