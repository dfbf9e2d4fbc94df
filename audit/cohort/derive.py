"""The steps from visits to a cohort, in order."""

import numpy as np
import pandas as pd

from audit.cohort.attempts import derive_attempts, visit_names
from audit.cohort.columns import Days, Mask, code, date, is_one_of, number, reference, whole_days
from audit.cohort.device_findings import device_findings
from audit.cohort.events import (
    conception_day,
    conception_known,
    contacts,
    ending_events,
    finding,
    in_place,
    left,
    pregnant_contacts,
    removed,
    status_known,
)
from audit.cohort.left_in_place import follow_repositioned
from audit.cohort.linking import link_contacts, link_events
from audit.cohort.method_use import follow_methods
from audit.cohort.perforations import blamed_attempts, perforations_told
from audit.cohort.placements import (
    close_spells,
    judge_follow_up,
    mark_states,
    name_kinds,
    observe_spells,
    placed_devices,
)
from audit.records import Cohort, VisitLog
from audit.schema.derived import (
    ATTEMPTS,
    CONFIRMED_PERFORATIONS,
    FOLLOW_UPS,
    PERFORATION_STATES,
    PLACEMENTS,
    PREGNANCY_STATES,
)
from audit.settings import AuditSettings


def derive_cohort(log: VisitLog, settings: AuditSettings | None = None) -> Cohort:
    """Attempts, placements and follow-ups of a standardised log.

    Parameters
    ----------
    log
        What `audit.load_visits` returned.
    settings
        The windows used: check-up, year, reporting lag, episode. The defaults where None.

    Returns
    -------
    Cohort
        ``attempts``, ``placements`` and ``follow_ups`` with the columns of `audit.schema.derived`, and
        ``findings`` that only the sequence of a woman's visits shows. A log without rows gives empty tables.

    Notes
    -----
    An attempt counts when an instrument passed the external os or a tenaculum was applied; stopped earlier it
    is a deferral. The clinician who started owns it; another who goes on the same day owns a second attempt.
    Both censoring rules are columns of ``placements``: ``exit_day_last_known`` ends observation on the last
    day the device was known in place, ``exit_day_assumed_in_place`` carries event-free women on to the freeze
    less a reporting lag.
    """
    windows = (settings or AuditSettings()).windows
    visits, data_to = log.visits, log.data_to
    attempts, told = derive_attempts(visits, windows, data_to)
    places = placed_devices(attempts, visits, data_to)
    rows = contacts(visits)
    events = link_events(places, rows, ending_events(rows))
    place = link_contacts(places, rows, events)
    too_early = _before_placement(events, places)
    spells = close_spells(places, rows, events[~too_early])
    since = _days_since(spells, rows, place)
    seen, gone = _linked(place, since, in_place(rows)), _linked(place, since, left(rows))
    spells = observe_spells(spells, seen, gone, windows)
    spells = follow_repositioned(spells, places, rows, events[~too_early], seen, gone, windows)
    spells = judge_follow_up(spells, _linked(place, since, status_known(rows)), windows)
    spells = name_kinds(spells, rows.loc[removed(rows) & (place < 0), ["patient_ref", "_day"]])
    spells = follow_methods(spells, windows.method_gap_days)
    blamed = blamed_attempts(attempts, spells, rows, place)
    spells = mark_states(
        spells,
        _pregnant(spells, rows, place),
        perforations_told(rows, np.where(blamed < 0, place, -1)),
    )
    findings = [
        told,
        _sequence_findings(spells, rows, events[~too_early], place, since),
        device_findings(spells, rows, place),
        *_date_findings(rows, events, too_early),
        _emergency_finding(attempts),
    ]
    return Cohort(
        attempts=_attempt_table(attempts, spells, perforations_told(rows, blamed)),
        placements=_placement_table(spells),
        follow_ups=_follow_up_table(rows, place, since),
        findings=pd.concat(findings, ignore_index=True),
        data_to=data_to,
    )


def _before_placement(events: pd.DataFrame, places: pd.DataFrame) -> Mask:
    """Pregnancies conceived before the device they were found with was placed."""
    place = events["place"].to_numpy()
    start = np.where(place >= 0, _taken(places["_day"].to_numpy(), place), 0)
    early: Mask = (
        (events["ending"] == "pregnancy").to_numpy() & (place >= 0) & (events["day"].to_numpy() < start)
    )
    return early


def _taken(values: Days, place: Days) -> Days:
    """The values at these positions; anything for a position of -1."""
    return values[place] if len(values) else np.zeros(len(place), dtype="int64")


def _days_since(spells: pd.DataFrame, rows: pd.DataFrame, place: Days) -> Days:
    """Days from placement to each contact; meaningless where the contact has no placement."""
    days: Days = rows["_day"].to_numpy() - _taken(spells["_day"].to_numpy(), place)
    return days


def _linked(place: Days, since: Days, mask: Mask) -> pd.DataFrame:
    """Place and day of the contacts in a mask that belong to a placement."""
    own = mask & (place >= 0)
    return pd.DataFrame({"place": place[own], "day": since[own].astype("float64")})


def _pregnant(spells: pd.DataFrame, rows: pd.DataFrame, place: Days) -> pd.DataFrame:
    """Pregnancies that count: conceived after placement, before the end or after an unnoticed expulsion."""
    day = conception_day(rows) - _taken(spells["_day"].to_numpy(), place)
    end = spells["ending_day"].fillna(np.inf).reindex(np.maximum(place, 0)).to_numpy()
    unnoticed = is_one_of(rows, "device_status_at_conception", "expelled_unnoticed")
    counts = pregnant_contacts(rows) & (place >= 0) & (day >= 0) & ((day <= end) | unnoticed)
    named = code(rows, "pregnancy").astype(object)
    kind = named.where(named.isin(PREGNANCY_STATES[1:]), "location_unknown")
    return pd.DataFrame({"place": place[counts], "state": kind.to_numpy()[counts]})


def _sequence_findings(
    spells: pd.DataFrame, rows: pd.DataFrame, events: pd.DataFrame, place: Days, since: Days
) -> pd.DataFrame:
    """Unrecorded endings, devices placed elsewhere, and what was told after an end."""
    following = spells.groupby("patient_ref", sort=False)[["source", "row"]].shift(-1)
    unrecorded = (spells["ending"] == "unrecorded") & spells["contact"].isna()
    frames = [finding("unrecorded_ending", *_at(following[unrecorded]))]
    elsewhere = status_known(rows) & (place < 0)
    frames.append(finding("placed_elsewhere", *_at(rows[elsewhere])))
    frames.append(finding("event_after_end", *_at(_after_end(spells, rows, events))))
    end = spells["ending_day"].reindex(np.maximum(place, 0)).to_numpy()
    # A device put back, or left in through a pregnancy, may well be seen again.
    out = spells["ending"].isin(["removal", "expulsion_complete", "unrecorded", "death"])
    gone = out.reindex(np.maximum(place, 0), fill_value=False).to_numpy(dtype=bool)
    seen_late = in_place(rows) & (place >= 0) & (since > end) & gone
    frames.append(finding("in_place_after_end", *_at(rows[seen_late])))
    return pd.concat(frames, ignore_index=True)


def _at(rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """File and line of these rows."""
    return rows["source"].to_numpy(dtype="int64"), rows["row"].to_numpy(dtype="int64")


def _after_end(spells: pd.DataFrame, rows: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    """Contacts that tell of an expulsion or removal after the device had come out."""
    own = events[
        (events["place"] >= 0) & events["ending"].isin(["expulsion_complete", "expulsion_partial", "removal"])
    ]
    day = own["day"].to_numpy() - _taken(spells["_day"].to_numpy(), own["place"].to_numpy())
    end = spells["ending_day"].reindex(own["place"]).to_numpy()
    out = spells["ending"].isin(["removal", "expulsion_complete"]).reindex(own["place"]).to_numpy(dtype=bool)
    late = own.loc[(day > end) & out, "contact"].unique()
    return rows.iloc[late]


def _date_findings(rows: pd.DataFrame, events: pd.DataFrame, too_early: Mask) -> list[pd.DataFrame]:
    """Conceptions before placement, and reported dates that could not be used."""
    early = rows.iloc[events.loc[too_early, "contact"].unique()]
    told = whole_days(date(rows, "event_date_reported"))
    after = date(rows, "event_date_reported").notna().to_numpy() & (told > rows["_day"].to_numpy())
    moved = np.zeros(len(rows), dtype=bool)
    moved[events.loc[events["moved"] & (events["place"] >= 0), "contact"].to_numpy()] = True
    return [
        finding("conception_before_placement", *_at(early)),
        finding("reported_date_not_used", *_at(rows[after | moved])),
    ]


def _emergency_finding(attempts: pd.DataFrame) -> pd.DataFrame:
    """Hormonal devices placed for an emergency."""
    emergency = (attempts["indication"] == "emergency_contraception") & (attempts["outcome"] == "placed")
    hormonal = attempts["device_class"].astype(str).str.startswith("lng")
    return finding("emergency_without_copper", *_at(attempts[emergency & hormonal]))


def _attempt_table(attempts: pd.DataFrame, spells: pd.DataFrame, told: pd.DataFrame) -> pd.DataFrame:
    """The attempts with the placement each led to and the perforation counted against each."""
    whole = attempts.assign(placement=-1)
    whole.loc[spells["attempt"], "placement"] = np.arange(len(spells))
    state = whole["perforation"].to_numpy(dtype=object).copy()
    state[spells["attempt"]] = spells["perforation"].to_numpy(dtype=object)
    kept = (told["state"] == "none") & np.isin(state[told["place"]], CONFIRMED_PERFORATIONS)
    state[told.loc[~kept, "place"]] = told.loc[~kept, "state"]
    whole["perforation"] = pd.Categorical(state, categories=list(PERFORATION_STATES))
    return whole[list(ATTEMPTS.names)]


def _placement_table(spells: pd.DataFrame) -> pd.DataFrame:
    """The placements in the order of the schema."""
    return spells.assign(placement=np.arange(len(spells)))[list(PLACEMENTS.names)]


def _follow_up_table(rows: pd.DataFrame, place: Days, since: Days) -> pd.DataFrame:
    """The contacts in the order of the schema."""
    carried = {
        name: code(rows, name).array
        for name in (
            "visit_kind",
            "contact_result",
            "device_in_situ",
            "threads_seen",
            "position_verified_by",
            "position_finding",
            "pid_diagnosed",
            "pregnancy",
            "perforation_confirmed",
            "removal_reason_main",
            "removal_difficult",
        )
    }
    conceived = np.where(
        conception_known(rows), conception_day(rows) - rows["_day"].to_numpy() + since, np.nan
    )
    table = pd.DataFrame(
        {
            "placement": place,
            "patient_ref": rows["patient_ref"].to_numpy(),
            "visit_ref": visit_names(rows),
            "source": rows["source"].to_numpy(),
            "row": rows["row"].to_numpy(),
            "site_ref": reference(rows, "site_ref").array,
            "clinician_ref": reference(rows, "clinician_ref").array,
            "contact_date": rows["visit_date"].to_numpy(),
            "day": np.where(place >= 0, since, np.nan),
            "status_known": pd.array(status_known(rows), dtype="boolean"),
            **carried,
            "conception_day": np.where(place >= 0, conceived, np.nan),
            "removal_delay_days": number(rows, "removal_delay_days"),
        }
    )
    return table[list(FOLLOW_UPS.names)]
