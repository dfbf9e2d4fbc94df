"""What needs action today, by visit reference: women who may not be safe, and devices overdue.

A list to work through, not a count to compare. It looks at the whole log up to the freeze.
"""

import pandas as pd

from audit.schema.derived import SEVERE_GRADE

COLUMNS = ("need", "site_ref", "visit_ref", "date", "action")

# need -> what to do; the order is the order of the list.
ACTIONS = {
    "perforation_unresolved": "Perforation suspected and not resolved: see her, locate the device.",
    "device_not_in_uterus": "Device not in the uterus and not located: exclude pregnancy, locate it.",
    "pregnancy_with_device": "Pregnant with a device: see today, find the site of the pregnancy.",
    "threads_not_seen": "Threads not seen and no scan since: exclude pregnancy, offer a bridging method, scan.",
    "emergency_not_placed": (
        "Emergency placement did not succeed and no other method is recorded: call her."
    ),
    "severe_reaction": "Reaction that needed treatment: review the case.",
    "device_overdue": "In place longer than the protocol allows: call her in.",
}


def action_list(
    attempts: pd.DataFrame,
    placements: pd.DataFrame,
    follow_ups: pd.DataFrame,
    *,
    since: pd.Timestamp,
) -> pd.DataFrame:
    """The open safety points of the log, one row each.

    Population: all attempts, placements and contacts up to the freeze; severe reactions only from `since` on,
    as an old one has been reviewed.

    Parameters
    ----------
    attempts, placements, follow_ups
        The tables of `audit.schema.derived`.
    since
        First day of the period.

    Returns
    -------
    DataFrame
        ``need`` (a key of `ACTIONS`), ``site_ref, visit_ref, date`` (of the visit), ``action``; most urgent
        kind first, then by date. Nothing open gives no rows.
    """
    open_spells = placements[placements["ending"] == "none"]
    found = {
        "perforation_unresolved": attempts[attempts["perforation"] == "suspected"],
        "device_not_in_uterus": _not_located(placements, follow_ups),
        "pregnancy_with_device": _pregnant(follow_ups, since),
        "threads_not_seen": _threads(open_spells, follow_ups),
        "emergency_not_placed": _emergencies(attempts, placements, since),
        "severe_reaction": attempts[
            (attempts["vasovagal_grade"] == SEVERE_GRADE) & (attempts["attempt_date"] >= since)
        ],
        "device_overdue": open_spells[open_spells["overdue"].fillna(False).astype(bool)],
    }
    rows = [_rows(need, frame) for need, frame in found.items()]
    return pd.concat(rows, ignore_index=True)[list(COLUMNS)]


def _rows(need: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The rows of one need, in order of date."""
    dated = frame.rename(
        columns={"attempt_date": "date", "placement_date": "date", "contact_date": "date"}
    ).sort_values(["date", "source", "row"], kind="stable")
    return dated.assign(need=need, action=ACTIONS[need])[list(COLUMNS)]


def _not_located(placements: pd.DataFrame, follow_ups: pd.DataFrame) -> pd.DataFrame:
    """Contacts that found no device in the uterus, where nothing since says where it went."""
    lost = follow_ups[follow_ups["device_in_situ"] == "not_in_uterus"]
    unexplained = placements.loc[placements["ending"] == "unrecorded", "placement"]
    return lost[lost["placement"].isin(unexplained)].drop_duplicates("placement", keep="last")


def _pregnant(follow_ups: pd.DataFrame, since: pd.Timestamp) -> pd.DataFrame:
    """Pregnancies found in the period with a device that neither that contact nor a later one notes as gone."""
    pregnant = follow_ups["pregnancy"].isin(["intrauterine", "ectopic", "location_unknown"])
    gone = follow_ups["device_in_situ"].isin(["removed_here", "removed_elsewhere", "complete_expulsion"])
    gone |= follow_ups["visit_kind"].isin(["removal", "removal_and_replacement"])
    last_gone = follow_ups[gone].groupby("placement")["contact_date"].max()
    found = follow_ups[pregnant & ~gone & (follow_ups["contact_date"] >= since)]
    # Devices placed elsewhere have no placement that could tie one contact to another.
    settled = (found["placement"].map(last_gone) >= found["contact_date"]) & (found["placement"] >= 0)
    return found[~settled]


def _threads(open_spells: pd.DataFrame, follow_ups: pd.DataFrame) -> pd.DataFrame:
    """Devices in use whose threads were last not seen, and that no scan or examination has found since."""
    own = follow_ups[follow_ups["placement"].isin(open_spells["placement"])]
    scanned = own["position_verified_by"].isin(["ultrasound_2d", "ultrasound_3d", "xray", "hysteroscopy"])
    missing = own["threads_seen"] == "no"
    settled = (
        scanned | (own["threads_seen"] == "yes") | ((own["device_in_situ"] == "in_situ_confirmed") & ~missing)
    )
    last = own[settled | missing].assign(settled=settled).drop_duplicates("placement", keep="last")
    return last[~last["settled"]]


def _emergencies(attempts: pd.DataFrame, placements: pd.DataFrame, since: pd.Timestamp) -> pd.DataFrame:
    """Emergency attempts of the period that led to no device and to no other method."""
    emergency = attempts["indication"] == "emergency_contraception"
    without = attempts["visit_outcome"].isin(["failed", "deferred"])
    covered = attempts["bridging_method_given"].isin(["yes", "declined", "not_needed"])
    covered |= attempts["bridging_oral_ec_given"].fillna(False).astype(bool)
    tried = attempts[emergency & without & ~covered & (attempts["attempt_date"] >= since)]
    last_placed = placements.groupby("patient_ref")["placement_date"].max()
    placed_since = tried["patient_ref"].map(last_placed) >= tried["attempt_date"]
    return tried[~placed_since]
