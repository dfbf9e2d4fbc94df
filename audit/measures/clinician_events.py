"""Each clinician's own failures and events, visit by visit, to look at the notes again.

A list for learning: what happened, and what was known of the woman before. It names no other clinician.
"""

import numpy as np
import pandas as pd

from audit.schema.derived import CONFIRMED_PERFORATIONS
from audit.tallies import known_to_hold, stacked

KINDS = ("perforation", "failed", "reaction", "expulsion", "outcome_unknown")
# What is known of the woman and of the procedure, handed on from the attempt.
CARRIED = (
    *("practice", "device_class", "parity_group", "age_band", "timing_group"),
    *("prior_failed_insertion", "cervical_surgery", "resistance_met", "dilation", "local_anaesthetic"),
    *("taken_over", "stopped_on_request", "vasovagal_grade", "onset_phase"),
)
COLUMNS = ("clinician_ref", "kind", "n_of_kind", "visit_ref", "site_ref", "date", "found", "what", *CARRIED)
_BY = "clinician_ref"
_NEEDED = (
    *("attempt", _BY, "visit_ref", "site_ref", "attempt_date", "perforation", "failure_reason"),
    *CARRIED,
)


def clinician_events(
    attempts: pd.DataFrame,
    placements: pd.DataFrame,
    *,
    first_day: pd.Timestamp,
    last_day: pd.Timestamp,
    latest: int = 25,
) -> pd.DataFrame:
    """The failures and events of each clinician's own attempts, one row each.

    Population: attempts that failed, or whose outcome is not recorded, in the days asked for; reactions of grade 2
    or more, or with a drug or a transfer, in these days; expulsions found in these days, of devices that the
    clinician placed on any day; perforations, suspected ones too, of any day, since they are few and may be found
    late.
    Attempts without a code are nobody's.

    Parameters
    ----------
    attempts, placements
        The tables of `audit.schema.derived`.
    first_day, last_day
        The days.
    latest
        At most so many of a kind are listed for a clinician, those found last.

    Returns
    -------
    DataFrame
        ``clinician_ref, kind`` (of `KINDS`), ``n_of_kind`` (how many there are, listed or not), ``visit_ref,
        site_ref, date`` (of the insertion), ``found`` (day of an expulsion), ``what`` (reason of the failure, kind
        of perforation or expulsion), and the columns `CARRIED` of the attempt. By clinician, kind, and the latest
        first. Nothing to list gives no rows.

    Examples
    --------
    >>> import pandas as pd
    >>> from audit.schema.derived import ATTEMPTS, PLACEMENTS
    >>> day = pd.Timestamp("2026-07-01")
    >>> rows = pd.DataFrame({name: [None] for name in ATTEMPTS.names}).assign(
    ...     clinician_ref="C1", attempt=0, outcome="failed", failure_reason="pain", attempt_date=day)
    >>> none = pd.DataFrame({name: [] for name in PLACEMENTS.names}).astype({"placement_date": "datetime64[ns]"})
    >>> clinician_events(rows, none, first_day=day, last_day=day)[["kind", "what"]].values.tolist()
    [['failed', 'pain']]
    """
    then = attempts["attempt_date"].between(first_day, last_day)
    outcome, perforation = attempts["outcome"], attempts["perforation"]
    reacted = known_to_hold(attempts["vasovagal_grade_2_plus"])
    reacted |= known_to_hold(attempts["emergency_treatment"])
    attempts = attempts[list(_NEEDED)]
    found = {
        "perforation": (perforation.isin([*CONFIRMED_PERFORATIONS, "suspected"]), "perforation"),
        "failed": (then & (outcome == "failed"), "failure_reason"),
        "reaction": (then & reacted, ""),
        "outcome_unknown": (then & (outcome == "unknown"), ""),
    }
    parts = [_listed(attempts[mask], kind, what) for kind, (mask, what) in found.items()]
    parts.append(_expelled(attempts, placements, first_day, last_day))
    return _latest(stacked(parts), latest)


def _listed(attempts: pd.DataFrame, kind: str, what: str) -> pd.DataFrame:
    """Attempts as rows of the list; the event is dated by the attempt."""
    chosen = attempts[attempts[_BY].notna()].reset_index(drop=True)
    said = chosen[what].astype(object).fillna("unknown") if what else ""
    listed = chosen.assign(kind=kind, n_of_kind=0, date=chosen["attempt_date"], what=said)
    listed = listed.assign(found=pd.Series(pd.NaT, index=chosen.index, dtype="datetime64[ns]"))
    # Joined to other kinds, categories of different codes would be neither.
    return _without_categories(listed[list(COLUMNS)])


def _without_categories(table: pd.DataFrame) -> pd.DataFrame:
    """The table with its codes as plain text."""
    coded = [name for name in table if isinstance(table[name].dtype, pd.CategoricalDtype)]
    return table.astype(dict.fromkeys(coded, object))


def _expelled(
    attempts: pd.DataFrame, placements: pd.DataFrame, first_day: pd.Timestamp, last_day: pd.Timestamp
) -> pd.DataFrame:
    """Expulsions found in these days, as rows of the attempts that placed the devices."""
    out = placements[placements["ending"].isin(["expulsion_complete", "expulsion_partial"])]
    day = out["placement_date"].add(pd.to_timedelta(out["ending_day"].astype("float64"), unit="D"))
    then = day.between(first_day, last_day)
    place = pd.Index(attempts["attempt"]).get_indexer(out.loc[then, "attempt"])
    of_these = attempts.iloc[place].reset_index(drop=True)
    told = of_these.assign(ended=out.loc[then, "ending"].to_numpy(), day=day[then].to_numpy())
    named = told[told[_BY].notna()].reset_index(drop=True)
    return _listed(told, "expulsion", "ended").assign(found=named["day"])


def _latest(events: pd.DataFrame, latest: int) -> pd.DataFrame:
    """The latest of each clinician and kind, in order, with how many there are."""
    when = events["found"].fillna(events["date"])
    order = pd.Categorical(events["kind"], categories=KINDS)
    sorted_events = events.assign(when=when, order=order).sort_values(
        [_BY, "order", "when", "visit_ref"], ascending=[True, True, False, True], kind="stable"
    )
    of_a_kind = sorted_events.groupby([_BY, "kind"], sort=False)
    size = of_a_kind["kind"].transform("size") if len(events) else np.zeros(0, dtype="int64")
    kept = sorted_events.assign(n_of_kind=size)[of_a_kind.cumcount() < latest]
    return kept[list(COLUMNS)].astype({"n_of_kind": "int64"}).reset_index(drop=True)
