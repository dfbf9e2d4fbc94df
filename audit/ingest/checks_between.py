"""Plausibility between fields of one visit and between visits of one woman or clinician: visits -> findings."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from audit.ingest.reasons import FINDINGS

# Two ages in completed years can differ from the years between by nearly one; more than that cannot be.
_AGE_SLACK_YEARS = 1.05
_DAYS_PER_YEAR = 365.25
# Two sites on one day are a slip where they make up no more than this share of a clinician's days (assumed).
_RARE_SHARE = 0.1
_INSERTIONS = ("insertion", "removal_and_replacement")
_REMOVALS = ("removal", "removal_and_replacement")

# rule -> severity, column, and the sentence: what was seen and what to do
SENTENCES: dict[str, tuple[str, str, str]] = {
    "age_jumps": (
        "warning",
        "age_years",
        (
            "The woman's age does not fit her age at an earlier visit. Correct it, or check whether one reference "
            "stands for two women."
        ),
    ),
    "births_fall": (
        "warning",
        "vaginal_births",
        "Fewer births than at an earlier visit of the same woman. Correct the count, or check the reference.",
    ),
    "clinician_at_two_sites": (
        "warning",
        "clinician_ref",
        "The clinician worked at two sites on this day, as hardly ever. Check the site or the code.",
    ),
    "expulsion_noted_at_removal": (
        "notice",
        "device_in_situ",
        "The device was found expelled, wholly or in part, at its removal: it counts as an expulsion.",
    ),
    "event_dated_at_visit": (
        "notice",
        "event_date_reported",
        "The day it happened is not recorded: it is dated at the visit that found it. Ask for the day.",
    ),
    "hours_against_basis": (
        "warning",
        "ec_basis",
        "The hours since intercourse do not fit the basis given for an emergency placement. Correct one of them.",
    ),
    "reaction_against_grade": (
        "warning",
        "vasovagal_grade",
        "The grade does not fit what is noted of a reaction or of syncope. Correct one of them.",
    ),
    "training_without_supervision": (
        "warning",
        "supervised",
        "A clinician in training is recorded as not supervised. Correct it, or take it up with the lead.",
    ),
    "placed_without_class": (
        "warning",
        "device_class",
        "A device was placed and its class is not recorded. Add it.",
    ),
    "request_after_visit": (
        "warning",
        "referral_date",
        "The day she asked for a device lies after the visit, so no wait is counted. Correct one of the days.",
    ),
    "dilation_against_resistance": (
        "warning",
        "second_dilation_done",
        "Resistance was firm or impassable, and dilation is called not needed: it counts as not done. Correct one.",
    ),
}

Rule = Callable[[pd.DataFrame], np.ndarray]


def check_between(visits: pd.DataFrame) -> pd.DataFrame:
    """Findings of every rule that sets fields or visits against each other.

    Parameters
    ----------
    visits
        The table of visits.

    Returns
    -------
    pandas.DataFrame
        ``rule, severity, source, row, column, message``, in the order of the rules; a rule whose columns the log
        lacks finds nothing.
    """
    found = [
        _findings(rule, visits[_RULES[rule](visits)]) for rule in SENTENCES if _has(visits, _NEEDS[rule])
    ]
    filled = [frame for frame in found if len(frame)]
    return pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=list(FINDINGS))


def _findings(rule: str, rows: pd.DataFrame) -> pd.DataFrame:
    """One finding for each of these visits."""
    severity, column, message = SENTENCES[rule]
    found = rows[["source", "row"]].assign(rule=rule, severity=severity, column=column, message=message)
    return found[list(FINDINGS)]


def _has(visits: pd.DataFrame, columns: tuple[str, ...]) -> bool:
    """Whether the log has all these columns."""
    return all(name in visits for name in columns)


def _age_jumps(visits: pd.DataFrame) -> np.ndarray:
    """Ages that cannot follow from the woman's age at her visit before."""
    known = _by_woman(visits, "age_years")
    before = known.groupby("patient_ref", sort=False)[["age_years", "visit_date"]].shift()
    years = (known["visit_date"] - before["visit_date"]).dt.days / _DAYS_PER_YEAR
    jump = (known["age_years"] - before["age_years"] - years).abs() > _AGE_SLACK_YEARS
    return visits.index.isin(known.index[jump])


def _births_fall(visits: pd.DataFrame) -> np.ndarray:
    """Counts of vaginal births below that at the woman's visit before."""
    known = _by_woman(visits, "vaginal_births")
    before = known.groupby("patient_ref", sort=False)["vaginal_births"].shift()
    return visits.index.isin(known.index[known["vaginal_births"] < before])


def _by_woman(visits: pd.DataFrame, name: str) -> pd.DataFrame:
    """What is known of one column, each woman's visits in order."""
    known = visits.loc[visits[name].notna(), ["patient_ref", "visit_date", name]]
    return known.sort_values(["patient_ref", "visit_date"], kind="stable")


def _clinician_at_two_sites(visits: pd.DataFrame) -> np.ndarray:
    """Second sites of a clinician on one day, where that is rare for the code: a habit is no slip of the pen."""
    worked = visits[visits["clinician_ref"].notna() & visits["site_ref"].notna()]
    key = ["clinician_ref", "visit_date"]
    places = worked.drop_duplicates([*key, "site_ref"])
    second = places[places.duplicated(key)]
    code = second["clinician_ref"].astype(object)
    days = places.drop_duplicates(key)["clinician_ref"].astype(object).value_counts()
    share = code.map(second.drop_duplicates(key)["clinician_ref"].astype(object).value_counts()) / code.map(
        days
    )
    return visits.index.isin(second.index[share <= _RARE_SHARE])


def _expulsion_noted_at_removal(visits: pd.DataFrame) -> np.ndarray:
    """Removals at which the device lay outside the cavity."""
    expelled = visits["device_in_situ"].isin(["partial_expulsion", "complete_expulsion"])
    return (visits["visit_kind"].isin(_REMOVALS) & expelled).to_numpy()


def _event_dated_at_visit(visits: pd.DataFrame) -> np.ndarray:
    """Expulsions and removals elsewhere without the day they happened."""
    late = visits["device_in_situ"].isin(["complete_expulsion", "removed_elsewhere"])
    told = visits["event_date_reported"].notna()
    return (late & ~told & ~visits["visit_kind"].isin([*_REMOVALS, "insertion"])).to_numpy()


def _hours_against_basis(visits: pd.DataFrame) -> np.ndarray:
    """Hours beyond 120 called within them, or hours within called outside the window."""
    hours, basis = visits["ec_hours_since_upsi"], visits["ec_basis"]
    late = (hours > 120) & (basis == "within_120h_of_intercourse")
    early = (hours <= 120) & (basis == "outside_window")
    return (late | early).to_numpy()


def _reaction_against_grade(visits: pd.DataFrame) -> np.ndarray:
    """Grade 0 with a reaction or syncope noted, or grade 3 with syncope denied."""
    grade = visits["vasovagal_grade"]
    wrong = np.zeros(len(visits), dtype=bool)
    if "vasovagal_reaction" in visits:
        noted = visits["vasovagal_reaction"]
        wrong |= ((grade == 0) & noted.fillna(False)).to_numpy(dtype=bool)
        wrong |= ((grade >= 1) & ~noted.fillna(True)).to_numpy(dtype=bool)
    if "syncope" in visits:
        wrong |= ((grade < 3) & visits["syncope"].fillna(False)).to_numpy(dtype=bool)
        wrong |= ((grade == 3) & ~visits["syncope"].fillna(True)).to_numpy(dtype=bool)
    return wrong


def _training_without_supervision(visits: pd.DataFrame) -> np.ndarray:
    """Attempts of someone in training who was not supervised."""
    alone = ~visits["supervised"].fillna(True).to_numpy(dtype=bool)
    training = (visits["training_status"] == "in_training").to_numpy()
    unwatched: np.ndarray = training & alone & visits["visit_kind"].isin(_INSERTIONS).to_numpy()
    return unwatched


def _placed_without_class(visits: pd.DataFrame) -> np.ndarray:
    """Devices placed without a class."""
    unnamed = visits["device_class"].isna() | (visits["device_class"] == "unknown")
    return ((visits["insertion_outcome"] == "placed") & unnamed).to_numpy()


def _request_after_visit(visits: pd.DataFrame) -> np.ndarray:
    """Requests dated after the visit they led to."""
    return (visits["referral_date"] > visits["visit_date"]).to_numpy()


def _dilation_against_resistance(visits: pd.DataFrame) -> np.ndarray:
    """Dilation called not needed where resistance was met."""
    hard = visits["resistance_met"].isin(["firm", "impassable"])
    return (hard & (visits["second_dilation_done"] == "not_needed")).to_numpy()


_RULES: dict[str, Rule] = {
    "age_jumps": _age_jumps,
    "births_fall": _births_fall,
    "clinician_at_two_sites": _clinician_at_two_sites,
    "expulsion_noted_at_removal": _expulsion_noted_at_removal,
    "event_dated_at_visit": _event_dated_at_visit,
    "hours_against_basis": _hours_against_basis,
    "reaction_against_grade": _reaction_against_grade,
    "training_without_supervision": _training_without_supervision,
    "placed_without_class": _placed_without_class,
    "request_after_visit": _request_after_visit,
    "dilation_against_resistance": _dilation_against_resistance,
}
_NEEDS: dict[str, tuple[str, ...]] = {
    "age_jumps": ("age_years",),
    "births_fall": ("vaginal_births",),
    "clinician_at_two_sites": ("clinician_ref", "site_ref"),
    "expulsion_noted_at_removal": ("device_in_situ",),
    "event_dated_at_visit": ("device_in_situ", "event_date_reported"),
    "hours_against_basis": ("ec_hours_since_upsi", "ec_basis"),
    "reaction_against_grade": ("vasovagal_grade",),
    "training_without_supervision": ("supervised", "training_status"),
    "placed_without_class": ("device_class", "insertion_outcome"),
    "request_after_visit": ("referral_date",),
    "dilation_against_resistance": ("resistance_met", "second_dilation_done"),
}
