"""Perforation, counted once against its own insertion whenever it was found; and emergency treatment on the day.

One clinic cannot estimate so rare an event: counts come first, with exact limits, and never per clinician. A
suspicion that nobody resolved is counted apart.
"""

import pandas as pd

from audit.schema.derived import CONFIRMED_PERFORATIONS
from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, begun_visits, count_outcomes, tally_outcomes

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


def emergency_treatment(
    attempts: pd.DataFrame, *, by: str = OVERALL, recorded_floor: float = 0.8
) -> pd.DataFrame:
    """Visits at which a woman needed an emergency drug or a transfer.

    Population: visits at which an insertion was begun, each woman once a day. Event: atropine, a transfer, or a
    grade 4 reaction. Denominator: visits at which the log says yes, or rules both out. Unknown: counted in
    ``n_unknown``; with too many of them only the bounds can be used.

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
        ``by, stratum, events, n, n_unknown, proportion`` and limits (0-1; read the exact ones, per 1,000 on the
        page), ``method, caution``. Overall, an empty table gives one row of zeros.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"visit_outcome": "placed",
    ...     "emergency_treatment": pd.array([True, False, None], dtype="boolean")})
    >>> emergency_treatment(rows)[["events", "n", "n_unknown"]].values.tolist()
    [[1, 2, 1]]
    """
    tally = tally_outcomes(
        begun_visits(attempts, "emergency_treatment", by), outcome="emergency_treatment", by=by
    )
    table = count_outcomes(tally, events=("yes",), others=("no",), by=by)
    return with_proportions(table, recorded_floor=recorded_floor)
