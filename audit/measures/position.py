"""Position: was it verified, were the threads seen, and where did the device lie when someone looked.

That the position is verified after the first cycle and about six months is a local standard (common practice, no
source). Malposition is given of those scanned, never of all: a service that scans only for symptoms finds more.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from audit.statistics.summaries import with_proportions
from audit.tallies import OVERALL, count_outcomes, tally_outcomes

_IMAGING = ("ultrasound_2d", "ultrasound_3d", "xray", "hysteroscopy")
# The worst comes first: it is what a placement counts as where several scans differ.
_MALPOSITIONS = ("outside_uterus", "embedded", "cervical", "low_in_cavity", "rotated")
_IN_UTERUS = ("fundal", *_MALPOSITIONS[1:])
_LED_BY_SYMPTOMS = ("unscheduled", "removal", "removal_and_replacement")
_VERIFIED = {
    "either": ("imaging", "threads_only"),
    "imaging": ("imaging",),
    "threads_only": ("threads_only",),
}
_FIGURES = {"first_cycle": "position_after_first_cycle", "six_months": "position_at_six_months"}
_RESOLVED = ("in_uterus", "expelled", "outside_uterus", "removed", "not_resolved")
_BY_ENDING = {
    "expulsion_complete": "expelled",
    "expulsion_partial": "expelled",
    "perforation": "outside_uterus",
    "removal": "removed",
}


def position_verified(
    placements: pd.DataFrame,
    follow_ups: pd.DataFrame,
    *,
    by: str = OVERALL,
    windows: Sequence[tuple[str, float, float]] = (("first_cycle", 21, 75), ("six_months", 150, 240)),
) -> pd.DataFrame:
    """Placements whose position was verified in a window, of those still in place when it closed.

    Population: placements whose window has closed by the freeze and whose device is not known to have ended by
    then. Event: in the window a contact at which the position was verified by imaging, by the threads only, or by
    either. Unknown: none; what is not in the log was not done as far as the service knows.

    Parameters
    ----------
    placements, follow_ups
        Tables of `audit.schema.derived`.
    by
        ``overall`` or a column of placements, such as ``site_ref``.
    windows
        Name, first and last day of each window.

    Returns
    -------
    DataFrame
        ``by, stratum, due, definition`` (``either``, ``imaging``, ``threads_only``), ``events, n, n_unknown,
        proportion`` and limits (0-1), ``method, caution``.
    """
    tables = []
    for name, first, last in windows:
        tally = tally_outcomes(_verified(placements, follow_ups, first, last), outcome="how", by=by)
        for definition, events in _VERIFIED.items():
            others = [code for code in ("imaging", "threads_only", "none") if code not in events]
            table = count_outcomes(tally, events=events, others=others, by=by)
            table.insert(2, "due", name)
            table.insert(3, "definition", definition)
            tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True))


def position_not_verified(
    placements: pd.DataFrame, follow_ups: pd.DataFrame, *, due: str, window: tuple[float, float]
) -> pd.DataFrame:
    """The placements whose position was verified in no way in a window.

    Population: as in `position_verified`; those that its ``either`` counts in ``n`` and not in ``events``.

    Parameters
    ----------
    placements, follow_ups
        Tables of `audit.schema.derived`; the placements of the window that is asked for.
    due
        ``first_cycle`` or ``six_months``.
    window
        Its first and last day since placement.

    Returns
    -------
    DataFrame
        ``figure`` (``position_after_first_cycle`` or ``position_at_six_months``), ``site_ref, visit_ref, date`` (of
        the visit at which the device was placed), by date; none, no rows.

    Raises
    ------
    ValueError
        `due` is neither.
    """
    if due not in _FIGURES:
        raise ValueError(f"due must be among {', '.join(_FIGURES)}, got {due!r}")
    verified = _verified(placements, follow_ups, *window)
    return _cases(verified[verified["how"] == "none"], _FIGURES[due], "placement_date")


def threads_not_resolved(placements: pd.DataFrame, follow_ups: pd.DataFrame) -> pd.DataFrame:
    """The contacts at which threads were first not seen, where nothing since accounts for the device.

    Population: as in `threads_not_seen`; its ``not_resolved``.

    Parameters
    ----------
    placements, follow_ups
        As in `position_verified`.

    Returns
    -------
    DataFrame
        ``figure`` (``threads_not_seen_resolved``), ``site_ref, visit_ref, date`` (of that contact), by date; none,
        no rows.
    """
    open_cases = placements.loc[_threads(placements, follow_ups) == "not_resolved", "placement"]
    missed = follow_ups[(follow_ups["threads_seen"] == "no") & follow_ups["placement"].isin(open_cases)]
    first = missed.sort_values("day", kind="stable").drop_duplicates("placement")
    return _cases(first, "threads_not_seen_resolved", "contact_date")


def _verified(placements: pd.DataFrame, follow_ups: pd.DataFrame, first: float, last: float) -> pd.DataFrame:
    """The placements still in place when a window closed, with how their position was verified in it."""
    due = placements[(placements["days_to_data_to"] >= last) & ~(placements["ending_day"] <= last)]
    seen = follow_ups[follow_ups["day"].between(first, last)]
    imaged = due["placement"].isin(seen.loc[seen["position_verified_by"].isin(_IMAGING), "placement"])
    felt = due["placement"].isin(seen.loc[seen["position_verified_by"] == "threads_only", "placement"])
    return due.assign(how=np.select([imaged, felt], ["imaging", "threads_only"], "none"))


def _cases(frame: pd.DataFrame, figure: str, dated_by: str) -> pd.DataFrame:
    """The visits behind a figure's "not met", by date."""
    dated = frame.rename(columns={dated_by: "date"}).assign(figure=figure)
    dated = dated.sort_values(["date", "site_ref", "visit_ref"], kind="stable")
    return dated[["figure", "site_ref", "visit_ref", "date"]].reset_index(drop=True)


def threads_not_seen(
    placements: pd.DataFrame, follow_ups: pd.DataFrame, *, by: str = OVERALL
) -> pd.DataFrame:
    """Placements whose threads were once not seen, and what became of those devices.

    Population: placements with a contact at which the threads were looked for. Event: not seen at one of them.
    Then, of those: found in the uterus, expelled, outside the uterus, taken out, or not resolved. What came first
    after the threads were missed decides. Unknown: placements contacted at which nobody is recorded to have looked.

    Parameters
    ----------
    placements, follow_ups, by
        As in `position_verified`.

    Returns
    -------
    DataFrame
        ``by, stratum, definition`` (``not_seen``, then the five ways it was resolved), ``events, n, n_unknown,
        proportion`` and limits (0-1), ``method, caution``.
    """
    contacted = placements[placements["placement"].isin(follow_ups["placement"])]
    tally = tally_outcomes(
        contacted.assign(threads=_threads(contacted, follow_ups)), outcome="threads", by=by
    )
    table = count_outcomes(tally, events=_RESOLVED, others=("seen",), by=by)
    table.insert(2, "definition", "not_seen")
    tables = [table]
    missed = tally[tally["outcome"].isin(_RESOLVED)]
    for way in _RESOLVED:
        others = [code for code in _RESOLVED if code != way]
        table = count_outcomes(missed, events=(way,), others=others, by=by)
        table.insert(2, "definition", way)
        tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True))


def malposition(placements: pd.DataFrame, follow_ups: pd.DataFrame, *, by: str = OVERALL) -> pd.DataFrame:
    """Placements found malpositioned, of those scanned, scans led by symptoms apart from routine ones.

    Population: placements with a scan. A scan is led by symptoms at an unscheduled visit, at a removal, or where
    the threads were not seen; every other one is routine. Event: low in the cavity, cervical, embedded, rotated or
    outside the uterus; where scans differ, the worst. Unknown: scanned, but no position recorded.

    Parameters
    ----------
    placements, follow_ups, by
        As in `position_verified`.

    Returns
    -------
    DataFrame
        ``by, stratum, scanned`` (``routine``, ``symptom_led``), ``definition`` (``malposition`` or one finding),
        ``events, n, n_unknown, proportion`` and limits (0-1), ``method, caution``.
    """
    scans = follow_ups[follow_ups["position_verified_by"].isin(_IMAGING) & (follow_ups["placement"] >= 0)]
    led = scans["visit_kind"].isin(_LED_BY_SYMPTOMS) | (scans["threads_seen"] == "no")
    tables = []
    for scanned, own in {"routine": scans[~led], "symptom_led": scans[led]}.items():
        found = placements.merge(_worst(own), on="placement")
        tally = tally_outcomes(found, outcome="finding", by=by)
        for definition in ("malposition", *reversed(_MALPOSITIONS)):
            events = _MALPOSITIONS if definition == "malposition" else (definition,)
            others = [code for code in ("fundal", *_MALPOSITIONS) if code not in events]
            table = count_outcomes(tally, events=events, others=others, by=by)
            table.insert(2, "scanned", scanned)
            table.insert(3, "definition", definition)
            tables.append(table)
    return with_proportions(pd.concat(tables, ignore_index=True))


def _worst(scans: pd.DataFrame) -> pd.DataFrame:
    """The worst finding of each placement's scans; missing where none is recorded."""
    ordered = pd.Categorical(scans["position_finding"], categories=[*_MALPOSITIONS, "fundal"], ordered=True)
    found = pd.DataFrame({"placement": scans["placement"].to_numpy(), "finding": ordered})
    return found.sort_values("finding", kind="stable").drop_duplicates("placement")


def _threads(placements: pd.DataFrame, follow_ups: pd.DataFrame) -> pd.Series:
    """Per placement: seen, missing where never looked for, or how threads not seen were resolved."""
    looked = follow_ups[follow_ups["threads_seen"].isin(["yes", "no"])]
    missed = looked[looked["threads_seen"] == "no"].groupby("placement")["day"].min()
    since = follow_ups["placement"].map(missed) <= follow_ups["day"]
    again = follow_ups["position_finding"].isin(_IN_UTERUS) | (follow_ups["threads_seen"] == "yes")
    again |= follow_ups["position_verified_by"].isin(_IMAGING) & (
        follow_ups["device_in_situ"] == "in_situ_confirmed"
    )
    found = placements["placement"].map(follow_ups[since & again].groupby("placement")["day"].min())
    out = follow_ups.loc[since & (follow_ups["position_finding"] == "outside_uterus"), "placement"]
    ended = placements["ending_day"]
    in_uterus = found.notna() & ~(ended <= found)
    by_ending = placements["ending"].astype(object).map(_BY_ENDING).fillna("not_resolved")
    resolved = by_ending.mask(placements["placement"].isin(out), "outside_uterus").mask(
        in_uterus, "in_uterus"
    )
    seen = placements["placement"].isin(looked["placement"])
    never_missed = ~placements["placement"].isin(missed.index)
    return resolved.mask(never_missed, "seen").where(seen)
