"""What a code is called on the page. A code that is not here is read aloud: underscores become spaces."""

import re

from reports.words_for_columns import column_words

_UNKNOWN = "Not known"

# A yes or no says something only beside its question.
_ANSWERS = {
    ("cervical_parity", "yes"): "A vaginal birth before",
    ("cervical_parity", "no"): "No vaginal birth before",
    ("parous", "yes"): "Any birth before",
    ("parous", "no"): "No birth before",
    ("births_group", "0"): "No births",
    ("births_group", "1"): "1 birth",
    ("births_group", "2"): "2 births",
    ("births_group", "3_plus"): "3 births or more",
    ("higher_risk", "yes"): "At higher risk, for any reason",
    ("higher_risk", "no"): "Not at higher risk",
    ("higher_risk", "not recorded"): "Risk not recorded",
    ("breastfeeding", "yes"): "Breastfeeding",
    ("under_9_months_postpartum", "yes"): "Within 9 months of a birth",
    ("difficult_insertion", "yes"): "Difficult insertion",
    ("prior_expulsion", "yes"): "After an earlier expulsion",
    ("prior_expulsion", "no"): "No earlier expulsion",
    ("prior_expulsion", "not recorded"): "Earlier expulsion not recorded",
    ("practice", "independent"): "Independent practice",
    ("practice", "supervised"): "Under supervision",
    ("device_family", "other"): "Another device",
    ("device_class", "other"): "Another device",
    ("local_anaesthetic", "none"): "None",
    ("visit_outcome", "failed"): "Failed, or stopped on request",
}

_WORDS = {
    "overall": "All",
    "all_timings": "All timings",
    "unknown": _UNKNOWN,
    "not recorded": "Not recorded",
    # parity
    "nulliparous": "No births",
    "caesarean_only": "Caesarean births only",
    "any_vaginal_birth": "Any vaginal birth",
    "parous_route_unknown": "Births, route not known",
    # age
    "under_20": "Under 20",
    "20_24": "20 to 24",
    "25_29": "25 to 29",
    "30_34": "30 to 34",
    "35_39": "35 to 39",
    "40_44": "40 to 44",
    "45_plus": "45 or over",
    # devices
    "copper": "Copper",
    "hormonal": "Hormonal",
    "copper_t_380": "Copper T 380",
    "copper_other_framed": "Copper, other frame",
    "copper_small_framed": "Copper, small frame",
    "copper_frameless": "Copper, no frame",
    "lng_52": "Hormonal 52 mg",
    "lng_19_5": "Hormonal 19.5 mg",
    "lng_13_5": "Hormonal 13.5 mg",
    # timing
    "interval": "Interval",
    "postpartum": "After a birth",
    "post_abortion": "After an abortion",
    "emergency": "Emergency",
    # units of a failed insertion
    "visit": "Per visit",
    "operator_attempt": "Per operator attempt",
    "woman_first_attempt": "Per woman, first visit only",
    "woman_90_days": "Per woman, not placed within 90 days",
    # windows
    "period": "This period",
    "rolling_12_months": "Twelve months",
    "all": "Whole log",
    # reasons an insertion failed
    "could_not_pass_internal_os": "Internal os not passed",
    "could_not_sound": "Uterus not sounded",
    "cervix_not_seen": "Cervix not seen",
    "pain": "Pain",
    "vasovagal": "Vasovagal reaction",
    "cavity_too_small": "Cavity too small",
    "cavity_too_large_or_distorted": "Cavity large or distorted",
    "expelled_at_once": "Expelled at once",
    "device_fault": "Device fault",
    "equipment_or_staff": "Equipment or staff",
    "patient_request": "She asked to stop",
    # reactions
    "vasovagal_any": "Any reaction (grade 1 or more)",
    "vasovagal_grade_2_plus": "Grade 2 or more",
    "syncope": "Loss of consciousness",
    # perforation
    "confirmed": "Confirmed, partial or complete",
    "complete": "Confirmed, complete",
    "suspected_unresolved": "Suspected, not resolved",
    # endings
    "expulsion": "Expulsion",
    "expulsion_complete": "Complete expulsion",
    "expulsion_partial": "Partial expulsion",
    "removal": "Removal",
    "pregnancy": "Pregnancy",
    "perforation": "Perforation",
    "unrecorded": "Ended, not recorded how",
    "death": "Death",
    # reasons for removal
    "bleeding_or_pain": "Bleeding or pain",
    "hormonal_effects": "Hormonal effects",
    "infection": "Infection",
    "malposition": "Malposition",
    "wish_pregnancy": "Wish for a pregnancy",
    "not_needed": "No longer needed",
    "planned_end": "End of the planned time",
    "replacement": "Replaced at once",
    "other": "Other",
    # censoring
    "last_known": "Last known",
    "assumed_in_place": "Assumed in place",
    # signals
    "none": "Within the limits",
    "ask": "Ask: beyond the 95% limit",
    "review": "Review: beyond the 99.8% limit",
    "too_few_to_classify": "Too few to compare",
    # verdicts
    "higher": "Higher",
    "lower": "Lower",
    "compatible": "Compatible",
    "cannot_tell": "Cannot tell",
    # caseload
    "women": "Women with an insertion begun",
    "attempts": "Insertions begun, per operator",
    "placed": "Device placed",
    "failed": "Failed",
    "outcome_unknown": "Outcome not recorded",
    "deferred": "Deferred before the start",
    "first_placements": "Placements: a woman's first",
    "replacements": "Placements: replacements",
    "repeat_placements": "Placements: repeats",
    "contacts": "Contacts after a placement",
    "removal_visits": "Visits for a removal",
    "contacts_placed_elsewhere": "Contacts, device placed elsewhere",
    # rows set aside
    "blank": "Nothing is written",
    "duplicate_row": "The same line twice",
    "not_a_date": "Date cannot be read",
    "unknown_code": "Code not understood",
    "wrong_number_of_values": "Wrong number of values",
    # positions, threads and scans
    "first_cycle": "After the first cycle",
    "six_months": "At six months",
    "either": "Either way",
    "imaging": "By imaging",
    "threads_only": "By the threads only",
    "not_seen": "Threads not seen",
    "in_uterus": "Found in the uterus",
    "expelled": "Expelled",
    "outside_uterus": "Outside the uterus",
    "removed": "Taken out",
    "symptom_led": "Led by symptoms",
    "low_in_cavity": "Low in the cavity",
    # parts of expulsion and removal
    "days_0_to_3": "0 to 3 days",
    "days_4_to_weeks_6": "4 days to 6 weeks",
    "weeks_7_to_14": "7 to 14 weeks",
    "weeks_15_to_52": "15 to 52 weeks",
    "over_52_weeks_or_no_birth": "Over 52 weeks, or no birth",
    "to_36_weeks_breastfeeding": "Up to 36 weeks, breastfeeding",
    "to_36_weeks_not_breastfeeding": "Up to 36 weeks, not breastfeeding",
    "after_36_weeks_breastfeeding": "Over 36 weeks, breastfeeding",
    "after_36_weeks_not_breastfeeding": "Over 36 weeks, not breastfeeding",
    "no_birth": "No birth",
    "all_with_a_published_rate": "All with a published rate",
    "displacement": "Displacement that needed action",
    "removal_malposition": "Removal for malposition",
    "planned": "A plan met",
    "early_request": "At her request, early",
    "fits": "Within the device's range",
    "too_short": "Shorter than the range",
    "too_long": "Longer than the range",
    "not_assessable": "Cannot be assessed",
    "difficult": "Any difficulty",
    "threads_retrieved_in_clinic": "Threads retrieved",
    "hysteroscopic_or_theatre": "Hysteroscopy or theatre",
    # what needs action
    "perforation_unresolved": "Suspected perforation, not resolved",
    "device_not_in_uterus": "Device not in the uterus, not located",
    "pregnancy_with_device": "Pregnant with a device",
    "threads_not_seen": "Threads not seen, no scan since",
    "emergency_not_placed": "Emergency placement did not succeed",
    "severe_reaction": "Reaction that needed treatment",
    "device_overdue": "Device overdue",
    # findings
    "notice": "Notice",
    "warning": "Warning",
    # care, the safety net and comparisons
    "whole_safety_net": "Plan and cover, all of it",
    "plan_made": "A plan",
    "method_covered": "A method, declined or not needed",
    "oral_emergency_contraception": "Emergency pill (emergencies)",
    "all_others": "All others",
    "all_earlier": "All earlier quarters",
    "certified_lapsed": "Certificate lapsed",
    # outcomes of published figures
    "failed_insertion": "Failed insertion",
    "continuation": "Continuation",
    "removal_hormonal_effects": "Removal for hormonal effects",
    "removal_infection": "Removal for infection",
    "removal_wish_pregnancy": "Removal to become pregnant",
    "removal_not_needed": "Removal, no longer needed",
    "removal_planned_end": "Removal at the planned end",
    "removal_replacement": "Replacement",
    "removal_other": "Removal for another reason",
    "removal_unknown": "Removal, reason not recorded",
    "removal_bleeding_or_pain": "Removal for bleeding or pain",
    "check_done": "Check done",
}

_BY = {
    "prior_failed_insertion": "Failed before",
    "emergency": "Emergency",
    "cervical_surgery": "Surgery of the cervix",
    "overall": "All",
    "parity_group": "Births by route",
    "cervical_parity": "Vaginal birth",
    "parous": "Any birth",
    "births_group": "Number of births",
    "site_ref": "Site",
    "device_family": "Device family",
    "device_class": "Device class",
    "practice": "Practice",
    "timing_group": "Timing of placement",
    "age_band": "Age",
    "clinician_ref": "Clinician",
    "quarter": "Quarter",
    "local_anaesthetic": "Local anaesthetic",
    "visit_outcome": "How the visit ended",
}
# Strata named by the log itself: printed as they stand.
_FREE = ("site_ref", "clinician_ref")

_UNITS_OF_FAILURE = {
    "visit": "visits for an insertion",
    "operator_attempt": "attempts",
    "woman_first_attempt": "women at their first visit",
    "woman_90_days": "women",
}


def word(code: object) -> str:
    """The words for a code, with a capital.

    Examples
    --------
    >>> word("bleeding_or_pain"), word("some_new_code")
    ('Bleeding or pain', 'Some new code')
    """
    text = "" if code is None else str(code)
    if text in _WORDS:
        return _WORDS[text]
    spaced = text.replace("_", " ")
    return spaced[:1].upper() + spaced[1:]


def stratum(by: object, code: object) -> str:
    """The words for a stratum of a result table; codes of sites and people stand as the log wrote them.

    Examples
    --------
    >>> stratum("cervical_parity", "no"), stratum("site_ref", "north_wing")
    ('No vaginal birth before', 'north_wing')
    """
    answer = _ANSWERS.get((str(by), str(code)))
    if answer is not None:
        return answer
    if str(by) in _FREE:
        return "Not recorded" if str(code) == "not recorded" else str(code)
    if str(by) == "quarter":
        return quarter(str(code))
    return word(code)


def grouping(by: object) -> str:
    """The words for what a table is divided by.

    Examples
    --------
    >>> grouping("cervical_parity")
    'Vaginal birth'
    """
    return _BY.get(str(by), word(by))


def quarter(code: str) -> str:
    """A quarter as people say it.

    Examples
    --------
    >>> quarter("2026Q3"), quarter("2026-Q3")
    ('2026 Q3', '2026 Q3')
    """
    head, mark, tail = code.replace("-", "").partition("Q")
    return f"{head} Q{tail}" if mark and head.isdigit() and tail.isdigit() else code


def counted(unit: object) -> str:
    """What a failed insertion is counted over, in the plural.

    Examples
    --------
    >>> counted("visit")
    'visits for an insertion'
    """
    return _UNITS_OF_FAILURE.get(str(unit), "attempts")


def within(text: str) -> str:
    """A label as it stands inside a sentence: the capital of a common word goes.

    Examples
    --------
    >>> within("Bleeding or pain"), within("A vaginal birth"), within("C11")
    ('bleeding or pain', 'a vaginal birth', 'C11')
    """
    return text[:1].lower() + text[1:] if len(text) > 1 and (text[1].islower() or text[1] == " ") else text


def spoken(text: object) -> str:
    """A sentence of the audit with the names of columns and codes in it read aloud, between quotation marks.

    Examples
    --------
    >>> spoken("This log does not record removal_reason_main.")
    'This log does not record “main reason for removal”.'
    """
    return re.sub(r"\b[a-z0-9]+(_[a-z0-9]+)+\b", lambda found: f"“{column_words(found.group())}”", str(text))


def listed_causes(codes: list[str]) -> str:
    """Several codes inside a sentence.

    Examples
    --------
    >>> listed_causes(["expulsion", "pregnancy"])
    'expulsion and pregnancy'
    """
    return " and ".join(within(word(code)) for code in codes)
