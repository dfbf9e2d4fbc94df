"""Insertion rows into attempts: who owns which, take-overs, outcomes per visit and per woman."""

from typing import Any

import numpy as np
import pandas as pd

from audit.cohort.carried import carried_columns, emergency_treatment
from audit.cohort.case_mix import case_mix
from audit.cohort.columns import (
    Mask,
    Names,
    codes_of,
    date,
    flag,
    is_one_of,
    number,
    reference,
)
from audit.cohort.episodes import episode_outcome
from audit.cohort.events import by_new_insertion, finding
from audit.schema.derived import ATTEMPT_OUTCOMES
from audit.settings import Windows

# Of these the worst of a day counts.
_EVENTS = ("vasovagal_any", "vasovagal_grade_2_plus", "syncope", "emergency_treatment")


def derive_attempts(
    visits: pd.DataFrame, windows: Windows, data_to: pd.Timestamp
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The attempts of a log, oldest first within each woman, and what their sequence shows.

    ``perforation`` and ``placement`` are filled in by the steps that follow.
    """
    rows = visits[is_one_of(visits, "visit_kind", "insertion", "removal_and_replacement")]
    attempts = _plain_attempts(rows)
    attempts, findings = _same_day_rows(attempts)
    attempts = _add_completers(attempts)
    attempts = attempts.sort_values(
        ["patient_ref", "attempt_date", "order"], kind="stable", ignore_index=True
    )
    attempts = _one_value_a_visit(attempts)
    attempts = pd.concat([attempts, carried_columns(rows, attempts)], axis=1)
    attempts["episode_outcome"] = episode_outcome(attempts, windows.episode_days, data_to)
    attempts.insert(0, "attempt", np.arange(len(attempts)))
    return attempts.drop(columns=["completed_by_ref", "order", "at", "second_of_row"]), findings


def _plain_attempts(rows: pd.DataFrame) -> pd.DataFrame:
    """One attempt a row, as the row tells it."""
    outcome = _outcome(rows)
    plain = pd.DataFrame(
        {
            "patient_ref": rows["patient_ref"].to_numpy(),
            "visit_ref": visit_names(rows),
            "source": rows["source"].to_numpy(),
            "row": rows["row"].to_numpy(),
            "site_ref": reference(rows, "site_ref").array,
            "clinician_ref": reference(rows, "clinician_ref").array,
            "completed_by_ref": reference(rows, "completed_by_ref").array,
            "attempt_date": date(rows, "visit_date").to_numpy(),
            "outcome": outcome,
            "stopped_on_request": _stopped(rows, outcome),
            "taken_over": np.zeros(len(rows), dtype=bool),
            "replaces": is_one_of(rows, "visit_kind", "removal_and_replacement"),
            "order": np.arange(len(rows)) * 2,
            "at": np.arange(len(rows)),
            "second_of_row": np.zeros(len(rows), dtype=bool),
            **_vasovagal(rows),
            "emergency_treatment": emergency_treatment(rows),
            "pain_score": number(rows, "pain_score"),
            "perforation": _suspicion(rows),
        }
    )
    return pd.concat([plain, case_mix(rows)], axis=1)


def visit_names(rows: pd.DataFrame) -> Names:
    """The service's own code for each visit; the line in the file where it has none."""
    line = ("line " + rows["row"].astype(str)).to_numpy(dtype=object)
    if "visit_ref" not in rows:
        return line
    own = rows["visit_ref"].to_numpy(dtype=object)
    return np.where(own == "", line, own)


def _outcome(rows: pd.DataFrame) -> Names:
    """placed, failed, unknown or deferred; a log that never records it lists only devices fitted."""
    if "insertion_outcome" not in rows:
        return np.full(len(rows), "placed", dtype=object)
    started = flag(rows, "procedure_started")
    yes, no = (
        (started.fillna(False) & True).to_numpy(dtype=bool),
        (~started.fillna(True)).to_numpy(dtype=bool),
    )
    placed = is_one_of(rows, "insertion_outcome", "placed")
    failed = is_one_of(rows, "insertion_outcome", "failed", "stopped_on_request")
    deferred = is_one_of(rows, "insertion_outcome", "deferred_not_started")
    return np.select(
        [placed, no | (deferred & ~yes), failed | (deferred & yes)],
        ["placed", "deferred", "failed"],
        "unknown",
    ).astype(object)


def _stopped(rows: pd.DataFrame, outcome: Names) -> Mask:
    """She asked to stop after the start."""
    stopped: Mask = is_one_of(rows, "insertion_outcome", "stopped_on_request") & (outcome == "failed")
    return stopped


def _vasovagal(rows: pd.DataFrame) -> dict[str, pd.Series]:
    """Grade, any reaction, grade 2 or more, and syncope, each with its own unknowns."""
    grade = pd.Series(number(rows, "vasovagal_grade"))
    noted = flag(rows, "vasovagal_reaction").reset_index(drop=True)
    fainted = flag(rows, "syncope").reset_index(drop=True)
    known = grade.notna()
    # Grade 4 says what was needed, not whether she lost consciousness.
    by_grade = (grade == 3).astype("boolean").where(grade <= 3)
    surely = fainted.fillna(False)
    return {
        "vasovagal_grade": grade,
        "vasovagal_any": (grade >= 1).astype("boolean").where(known).fillna(noted).mask(surely, True),
        "vasovagal_grade_2_plus": (grade >= 2).astype("boolean").where(known).mask(surely, True),
        # Grade 3 is loss of consciousness, whatever the flag beside it says.
        "syncope": fainted.fillna(by_grade).mask(grade == 3, True),
    }


def _suspicion(rows: pd.DataFrame) -> Names:
    """What the insertion row itself says of a perforation."""
    # Confirmed at a replacement, it is the old device's unless something was suspected at the new insertion.
    own = is_one_of(rows, "visit_kind", "insertion") | by_new_insertion(rows)
    partial = is_one_of(rows, "perforation_confirmed", "partial_embedded") & own
    complete = is_one_of(rows, "perforation_confirmed", "complete_extrauterine") & own
    cleared = is_one_of(rows, "perforation_confirmed", "no")
    suspected = is_one_of(rows, "perforation_suspected", "sound", "device", "other_instrument")
    suspected |= is_one_of(rows, "failure_reason", "perforation_suspected")
    cleared |= is_one_of(rows, "perforation_suspected", "no") & ~suspected
    states = ["partial", "complete", "none", "suspected"]
    return np.select([partial, complete, cleared, suspected], states, "unknown").astype(object)


def _same_day_rows(attempts: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Second insertion rows of a day: another clinician's is a take-over, the same one's is counted once."""
    started = attempts["outcome"] != "deferred"
    again = attempts[started].duplicated(["patient_ref", "attempt_date"], keep=False)
    repeated = attempts[started][again].sort_values(["patient_ref", "attempt_date", "order"])
    taken: list[int] = []
    dropped: list[int] = []
    changed = attempts.copy()
    for _, day in repeated.groupby(["patient_ref", "attempt_date"], sort=False):
        earlier, same = _read_a_day(day)
        taken += earlier
        for keep, copies in same.items():
            dropped += copies
            for name, value in _said_together(day.loc[[keep, *copies]]).items():
                changed.at[keep, name] = value
    changed.loc[taken, "outcome"] = "failed"
    changed.loc[taken, "taken_over"] = True
    findings = pd.concat(
        [_told(changed, taken, "take_over"), _told(changed, dropped, "second_row_same_attempt")]
    )
    return changed.drop(index=dropped), findings


def _read_a_day(day: pd.DataFrame) -> tuple[list[int], dict[int, list[int]]]:
    """Rows another clinician went on from, and for each row kept those that tell the same attempt again."""
    taken: list[int] = []
    same: dict[int, list[int]] = {}
    current = day.index[0]
    for index in day.index[1:]:
        before, after = day.at[current, "clinician_ref"], day.at[index, "clinician_ref"]
        if pd.notna(before) and pd.notna(after) and before != after:
            taken.append(current)
            current = index
        else:
            same.setdefault(current, []).append(index)
    return taken, same


def _said_together(rows: pd.DataFrame) -> dict[str, Any]:
    """What rows that tell one attempt say together: the surest outcome, the worst of each event."""
    outcome = _first_of(rows["outcome"], ("placed", "failed", "unknown"))
    stopped = bool(rows["stopped_on_request"].any()) and outcome == "failed"
    reactions = {
        name: True if rows[name].any(skipna=True) else rows[name].max(skipna=True) for name in _EVENTS
    }
    perforation = _first_of(rows["perforation"], ("complete", "partial", "suspected", "none", "unknown"))
    grade = rows["vasovagal_grade"].max(skipna=True)
    return {
        "outcome": outcome,
        "stopped_on_request": stopped,
        "vasovagal_grade": grade,
        "pain_score": rows["pain_score"].max(skipna=True),
        "perforation": perforation,
        **reactions,
    }


def _first_of(values: pd.Series, order: tuple[str, ...]) -> str:
    """The value that comes first in an order."""
    return min((str(value) for value in values), key=order.index)


def _told(attempts: pd.DataFrame, indices: list[int], rule: str) -> pd.DataFrame:
    """Findings for these rows."""
    rows = attempts.loc[indices]
    return finding(rule, rows["source"].to_numpy(), rows["row"].to_numpy())


def _add_completers(attempts: pd.DataFrame) -> pd.DataFrame:
    """A second attempt for the clinician who finished; the starter's attempt failed."""
    completed_by = attempts["completed_by_ref"].astype(object)
    other = completed_by.notna() & (completed_by != attempts["clinician_ref"].astype(object))
    # Where a second row of the day has told the take-over already, the column tells it again.
    other &= (attempts["outcome"] != "deferred") & ~attempts["taken_over"]
    second = attempts[other].copy()
    second["clinician_ref"] = second["completed_by_ref"].astype(object)
    second["order"] = second["order"] + 1
    second["second_of_row"] = True
    second["practice"] = codes_of(np.full(len(second), "independent"), ("independent", "supervised"))
    # One perforation counts once; where nothing was said of it, nothing is known of the second attempt either.
    second["perforation"] = second["perforation"].where(second["perforation"] == "unknown", "none")
    first = attempts.copy()
    first.loc[other, "outcome"] = "failed"
    first.loc[other, "taken_over"] = True
    first["clinician_ref"] = first["clinician_ref"].astype(object)
    joined = pd.concat([first, second], ignore_index=True)
    joined["clinician_ref"] = joined["clinician_ref"].astype("category")
    return joined


def _one_value_a_visit(attempts: pd.DataFrame) -> pd.DataFrame:
    """Outcome and reactions of the day on its first attempt; blank on the later ones."""
    key = [attempts["patient_ref"], attempts["attempt_date"], attempts["outcome"] == "deferred"]
    groups = attempts.groupby(key, sort=False)
    later = groups.cumcount() > 0
    rank = attempts["outcome"].map({"placed": 0, "failed": 1, "unknown": 2, "deferred": 3})
    best = np.array(ATTEMPT_OUTCOMES, dtype=object)[rank.groupby(key, sort=False).transform("min").to_numpy()]
    whole = attempts.assign(
        visit_outcome=codes_of(pd.Series(best).mask(later).to_numpy(dtype=object), ATTEMPT_OUTCOMES)
    )
    begun = whole[whole["visit_outcome"].notna() & (whole["visit_outcome"] != "deferred")]
    first = begun.drop_duplicates("patient_ref").index
    whole["first_visit_outcome"] = whole["visit_outcome"].where(whole.index.isin(first))
    whole["outcome"] = codes_of(attempts["outcome"].to_numpy(dtype=object), ATTEMPT_OUTCOMES)
    for name in _EVENTS:
        worst = attempts[name].astype("Float64").groupby(key, sort=False).transform("max")
        whole[name] = (worst > 0).astype("boolean").mask(later, pd.NA)
    for name in ("vasovagal_grade", "pain_score"):
        whole[name] = attempts[name].groupby(key, sort=False).transform("max").mask(later)
    return whole
