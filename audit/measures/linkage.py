"""Linkage: contacts and removals of devices that this log shows no placement of."""

import pandas as pd

from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, tally_outcomes


def unlinked_contacts(follow_ups: pd.DataFrame, *, by: str = OVERALL) -> pd.DataFrame:
    """Contacts and removals without a placement in the log, of all of them.

    Population: every row after a placement or about a device placed elsewhere. Event: no placement of this woman
    comes before it, so that it counts for workload only. Unknown: none. Neither more nor less is better: a service
    that takes out devices placed elsewhere has many.

    Parameters
    ----------
    follow_ups
        The table `audit.schema.derived.FOLLOW_UPS`.
    by
        ``overall`` or a column of that table, such as ``site_ref`` or ``visit_kind``.

    Returns
    -------
    DataFrame
        ``by, stratum, events, n, n_unknown, proportion`` and limits (0-1), ``method, caution``.

    Examples
    --------
    >>> table = unlinked_contacts(pd.DataFrame({"placement": [0, -1, 3]}))
    >>> table[["events", "n"]].values.tolist()
    [[1, 3]]
    """
    unlinked = (follow_ups["placement"] < 0).astype("boolean")
    tally = tally_outcomes(follow_ups.assign(unlinked=unlinked), outcome="unlinked", by=by)
    return with_proportions(count_outcomes(tally, events=("yes",), others=("no",), by=by))
