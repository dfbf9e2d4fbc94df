"""Pain at insertion: the worst score a woman reported, 0 to 10.

Anaesthetic is given to those who are expected to hurt, so scores by anaesthetic do not show what it does. How
many gave a score stands beside every figure.
"""

import numpy as np
import pandas as pd

from audit.statistics.quantiles import with_quantiles
from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, begun_visits, count_outcomes, tally_outcomes, tally_values

CHOSEN = (
    "Women given an anaesthetic were chosen because pain was expected. This table does not show what it does."
)


def pain_scores(
    attempts: pd.DataFrame,
    *,
    by: str = OVERALL,
    severe: float = 7,
    quantiles: tuple[float, float, float] = (0.25, 0.5, 0.75),
    recorded_floor: float = 0.8,
) -> pd.DataFrame:
    """The median pain score at insertion visits, its quartiles, and how many scored high.

    Population: visits at which an insertion was begun, each woman once a day. Denominator: those with a score.
    Unknown: no score, counted in ``n_unknown``.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table, such as ``cervical_parity`` or ``local_anaesthetic``.
    severe
        Scores from here on count as events.
    quantiles
        Lower quartile, median and upper quartile, as proportions.
    recorded_floor
        Smallest share recorded at which the share of high scores may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, events`` (high scores), ``n, n_unknown``; ``lower_quartile, median, upper_quartile`` with
        ``_lower`` and ``_upper`` limits each (infinite where too few bound nothing); ``proportion`` of high
        scores and limits (0-1), ``method``; ``caution``, which by anaesthetic says that it was not given by
        chance. Overall, an empty table gives one row of zeros.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_outcome": "placed", "pain_score": [2.0, 4.0, 8.0, None]})
    >>> pain_scores(rows)[["events", "n", "n_unknown", "median"]].values.tolist()
    [[1.0, 3.0, 1.0, 4.0]]
    """
    visits = begun_visits(attempts, "pain_score", by)
    score = visits["pain_score"]
    told = visits.assign(high=(score >= severe).astype("boolean").where(score.notna()))
    table = count_outcomes(
        tally_outcomes(told, outcome="high", by=by), events=("yes",), others=("no",), by=by
    )
    names = ("lower_quartile", "median", "upper_quartile")
    table = with_quantiles(
        table,
        tally_values(visits, value="pain_score", by=by),
        probabilities=dict(zip(names, quantiles, strict=True)),
    )
    how = table["method"].astype(object)
    table = with_proportions(table, recorded_floor=recorded_floor)
    chosen = np.where((by == "local_anaesthetic") & (table["n"] > 0), CHOSEN, "")
    return table.assign(
        method=how.str.cat(table["method"], sep="; "),
        caution=pd.Series(chosen, dtype=object).str.cat(table["caution"], sep=" ").str.strip(),
    )
