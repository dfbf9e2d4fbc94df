"""Threads that were not seen at a contact: was pregnancy excluded, and the device located."""

import numpy as np
import pandas as pd

from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_states

FIGURE = "threads_not_seen_followed"
STATES = ("met", "not_met", "not_recorded")
_SCANS = ("ultrasound_2d", "ultrasound_3d", "xray", "hysteroscopy")
_UNSCANNED = ("none", "threads_only")
_UNKNOWN = "unknown"


def threads_not_seen_followed(
    contacts: pd.DataFrame, follow_ups: pd.DataFrame, *, by: str = OVERALL, recorded_floor: float = 0.8
) -> pd.DataFrame:
    """Contacts at which no threads were seen that were followed by a search for the device.

    Population: each placement's first contact of the window at which threads were looked for and not seen. Met:
    the device located by ultrasound, X-ray or hysteroscopy, or threads seen, at that contact or a later one, and
    whether she is pregnant recorded there. Not met: neither, while how its position was verified is recorded at
    that contact. Unknown: the rest. Whether a bridging method was given is not in a log.

    Parameters
    ----------
    contacts
        The table `audit.schema.derived.FOLLOW_UPS`, of the window.
    follow_ups
        The same table up to the freeze.
    by
        ``overall`` or a column of that table, such as ``site_ref``.
    recorded_floor
        Smallest share recorded at which the proportion may be used.

    Returns
    -------
    DataFrame
        ``by, stratum, item, events`` (met), ``n, n_unknown, n_not_met, proportion`` and limits (0-1), ``method,
        caution``. Overall, an empty table gives one row of zeros.

    Examples
    --------
    >>> import pandas as pd
    >>> seen = pd.DataFrame({"placement": [1, 1, 2], "patient_ref": [1, 1, 2], "threads_seen": ["no", None, "no"],
    ...     "contact_date": pd.to_datetime(["2026-01-01", "2026-01-09", "2026-02-01"]),
    ...     "pregnancy": ["none", None, "none"], "position_verified_by": ["none", "ultrasound_2d", "none"]})
    >>> threads_not_seen_followed(seen, seen)[["events", "n", "n_not_met"]].values.tolist()
    [[1, 2, 1]]
    """
    lost = _lost(contacts)
    table = count_states(lost, states={FIGURE: _states(lost, follow_ups)}, codes=STATES, by=by)
    table = table.rename(columns={"met": "events", "not_met": "n_not_met", "not_recorded": "n_unknown"})
    table.insert(4, "n", table[["events", "n_not_met"]].sum(axis=1))
    return with_proportions(table, recorded_floor=recorded_floor)


def threads_not_followed(contacts: pd.DataFrame, follow_ups: pd.DataFrame) -> pd.DataFrame:
    """The contacts behind every "not met" of `threads_not_seen_followed`.

    Parameters
    ----------
    contacts, follow_ups
        As there.

    Returns
    -------
    DataFrame
        ``figure, site_ref, visit_ref, date``, by date; none, no rows.
    """
    lost = _lost(contacts)
    missed = lost[_states(lost, follow_ups) == STATES.index("not_met")]
    dated = missed.rename(columns={"contact_date": "date"})
    dated = dated.sort_values(["date", "source", "row"], kind="stable")
    listed: pd.DataFrame = dated.assign(figure=FIGURE)[["figure", "site_ref", "visit_ref", "date"]]
    return listed


def _lost(contacts: pd.DataFrame) -> pd.DataFrame:
    """Each woman's and placement's first contact without threads."""
    ordered = contacts[contacts["threads_seen"] == "no"].sort_values("contact_date", kind="stable")
    return ordered.drop_duplicates(["patient_ref", "placement"])


def _states(lost: pd.DataFrame, follow_ups: pd.DataFrame) -> np.ndarray:
    """Each such contact's state as a place in `STATES`."""
    found = follow_ups["position_verified_by"].isin(_SCANS) | (follow_ups["threads_seen"] == "yes")
    keys = ["patient_ref", "placement"]
    last = follow_ups[found].groupby(keys)["contact_date"].max().rename("located_on").reset_index()
    located_on = lost[keys].merge(last, on=keys, how="left")["located_on"].to_numpy("datetime64[ns]")
    located = located_on >= lost["contact_date"].to_numpy("datetime64[ns]")
    tested = (lost["pregnancy"].notna() & (lost["pregnancy"] != _UNKNOWN)).to_numpy(bool)
    told = lost["position_verified_by"].isin(_UNSCANNED).to_numpy(bool)
    states: np.ndarray = np.select(
        [located & tested, ~located & told],
        [STATES.index("met"), STATES.index("not_met")],
        STATES.index("not_recorded"),
    )
    return states
