"""Perforation: every case counted once against its own insertion, whenever it was found.

One clinic cannot estimate so rare an event: counts come first, with exact limits, and never per clinician. A
suspicion that nobody resolved is counted apart.
"""

import pandas as pd

from audit.schema.derived import CONFIRMED_PERFORATIONS
from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, tally_outcomes

_VIEWS = {
    "confirmed": (CONFIRMED_PERFORATIONS, ("none", "suspected")),
    "complete": (("complete",), ("none", "suspected", "partial", "extent_unknown")),
    "suspected_unresolved": (("suspected",), ("none", *CONFIRMED_PERFORATIONS)),
}


def perforation(attempts: pd.DataFrame, *, by: str = OVERALL, recorded_floor: float = 0.8) -> pd.DataFrame:
    """Perforations as a proportion of insertion attempts.

    Population: attempts with a known outcome, failed ones included. Event: ``confirmed`` (partial or complete),
    ``complete``, or ``suspected_unresolved``. Unknown: attempts at which the log says neither yes nor no; with
    too many of them only the bounds can be used.

    Parameters
    ----------
    attempts
        The table `audit.schema.derived.ATTEMPTS`.
    by
        ``overall`` or a column of that table.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, definition, events, n, n_unknown, proportion`` and limits (0-1; read the exact ones),
        ``method, caution``.

    Examples
    --------
    >>> import pandas as pd
    >>> tally = pd.DataFrame({"outcome": "placed", "perforation": ["none", "complete"], "n": [239, 1]})
    >>> perforation(tally)[["definition", "events", "n"]].values.tolist()[0]
    ['confirmed', 1, 240]
    """
    known = attempts[attempts["outcome"].isin(["placed", "failed"])]
    tally = tally_outcomes(known, outcome="perforation", by=by)
    tables = []
    for definition, (events, others) in _VIEWS.items():
        table = count_outcomes(tally, events=events, others=others, by=by)
        table.insert(2, "definition", definition)
        tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True), recorded_floor=recorded_floor)
