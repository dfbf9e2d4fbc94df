"""The tables derived from the visit log: attempts, placements and follow-ups.

`audit.cohort` makes them; every measure reads them. Days are whole days since placement.
"""

from audit.schema.column import Column, Table
from audit.schema.visits import REMOVAL_REASONS, VISITS

PARITY_GROUPS = ("nulliparous", "caesarean_only", "any_vaginal_birth", "parous_route_unknown", "unknown")
AGE_BANDS = ("under_20", "20_24", "25_29", "30_34", "35_39", "40_44", "45_plus", "unknown")
AGE_BAND_STARTS = (20, 25, 30, 35, 40, 45)
TIMING_GROUPS = ("interval", "postpartum", "post_abortion", "emergency", "unknown")
TIMING_OF = {
    "interval": "interval",
    "post_placental_10min": "postpartum",
    "early_postpartum_inpatient": "postpartum",
    "early_postpartum_outpatient": "postpartum",
    "post_abortion_same_day": "post_abortion",
    "post_abortion_later": "post_abortion",
    "emergency": "emergency",
}
BIRTH_GROUPS = ("0", "1", "2", "3_plus", "unknown")
YES_NO_UNKNOWN = ("yes", "no", "unknown")
DEVICE_FAMILIES = ("copper", "hormonal", "other", "unknown")
ATTEMPT_OUTCOMES = ("placed", "failed", "unknown", "deferred")
EPISODE_OUTCOMES = ("placed", "not_placed", "unknown", "not_yet_due")
PERFORATION_STATES = ("none", "suspected", "partial", "complete", "extent_unknown", "unknown")
CONFIRMED_PERFORATIONS = ("partial", "complete", "extent_unknown")
PREGNANCY_STATES = ("none", "intrauterine", "ectopic", "miscarriage", "location_unknown")
PLACEMENT_KINDS = ("first", "replacement", "repeat")
REMOVAL_GROUP_OF = {
    "bleeding": "bleeding_or_pain",
    "pain": "bleeding_or_pain",
    "hormonal_effects": "hormonal_effects",
    "infection": "infection",
    "malposition": "malposition",
    "wish_pregnancy": "wish_pregnancy",
    "no_longer_needed": "not_needed",
    "menopause": "not_needed",
    "planned_end_of_duration": "planned_end",
    "partner_or_social": "other",
    "other_medical": "other",
    "wish_other_method": "other",
    "unknown": "unknown",
}
REMOVAL_GROUPS = (
    "bleeding_or_pain",
    "hormonal_effects",
    "infection",
    "malposition",
    "wish_pregnancy",
    "not_needed",
    "planned_end",
    "replacement",
    "other",
    "unknown",
)
# Removals that a woman asks for, against those that end by plan or by a finding.
REQUESTED_REASONS = (
    *("bleeding", "pain", "hormonal_effects", "wish_pregnancy"),
    *("no_longer_needed", "partner_or_social", "wish_other_method"),
)
# Time since a birth as the large cohort on expulsion and perforation after births cuts it (Fassett MJ et al,
# Obstet Gynecol 2023;142:641-651): 0 to 3 days, to 6 weeks, to 14 weeks, to 52 weeks, later or no birth.
POSTPARTUM_BANDS = (
    *("days_0_to_3", "days_4_to_weeks_6", "weeks_7_to_14", "weeks_15_to_52"),
    *("over_52_weeks_or_no_birth", "post_abortion", "unknown"),
)
# The groups for which published rates of perforation exist.
PERFORATION_GROUPS = (
    *("to_36_weeks_breastfeeding", "to_36_weeks_not_breastfeeding"),
    *("after_36_weeks_breastfeeding", "after_36_weeks_not_breastfeeding", "no_birth", "unknown"),
)
SIZE_FITS = ("fits", "too_short", "too_long", "not_assessable")
VASOVAGAL_GRADES = (0, 1, 2, 3, 4)
SEVERE_GRADE = 4
# On one day the earlier in this list ends the spell.
ENDINGS = (
    "none",
    "perforation",
    "pregnancy",
    "expulsion_complete",
    "expulsion_partial",
    "removal",
    "unrecorded",
    "death",
)
CENSORING_RULES = ("last_known", "assumed_in_place")


def _code(name: str, meaning: str, codes: tuple[str, ...]) -> Column:
    return Column(name, meaning, "code", codes, requirement="derived")


def _flag(name: str, meaning: str) -> Column:
    return Column(name, meaning, "flag", requirement="derived")


def _days(name: str, meaning: str) -> Column:
    return Column(name, meaning, "number", unit="days since placement", requirement="derived")


def _date(name: str, meaning: str) -> Column:
    return Column(name, meaning, "date", requirement="derived")


def _number(name: str, meaning: str) -> Column:
    return Column(name, meaning, "integer", requirement="derived")


def _text(name: str, meaning: str) -> Column:
    return Column(name, meaning, "text", requirement="derived")


_WHO = (
    _number("patient_ref", "Running number of the woman in this log."),
    _text("visit_ref", "The service's own code for the visit; its line in the file where it has none."),
    _number("source", "Number of the file the visit stands in."),
    _number("row", "Line of the visit in that file."),
    _text("site_ref", "Code of the place; missing where the log does not say."),
    _text("clinician_ref", "The clinician who owns the attempt; missing where the log does not say."),
)
CASE_MIX = (
    _code("parity_group", "Births by route.", PARITY_GROUPS),
    _code("cervical_parity", "A vaginal birth, yes or no: has the cervix ever opened.", YES_NO_UNKNOWN),
    _code("parous", "Any birth at all, yes or no.", YES_NO_UNKNOWN),
    _code("births_group", "Number of births: 0, 1, 2, 3 or more.", BIRTH_GROUPS),
    _code("age_band", "Age in bands.", AGE_BANDS),
    VISITS["device_class"],
    _code("device_family", "Copper or hormonal.", DEVICE_FAMILIES),
    VISITS["indication"],
    _code("timing_group", "Placement in relation to a birth, an abortion or an emergency.", TIMING_GROUPS),
    _code("practice", "Supervised attempts belong to the trainee's curve.", ("independent", "supervised")),
    _code("postpartum_band", "Time since the latest birth; abortions apart.", POSTPARTUM_BANDS),
    _code("perforation_group", "Breastfeeding, and time since a birth.", PERFORATION_GROUPS),
)

# What was checked, done and said at an insertion visit, as the log records it.
CARE = (
    VISITS["pregnancy_excluded"],
    VISITS["infection_risk_assessed"],
    VISITS["sti_test"],
    VISITS["consent_recorded"],
    VISITS["risks_discussed"],
    VISITS["bleeding_change_info"],
    VISITS["pain_options_discussed"],
    VISITS["analgesia_advised"],
    VISITS["misoprostol_used"],
    VISITS["antibiotic_prophylaxis"],
    VISITS["bimanual_done"],
    VISITS["chaperone_or_assistant_present"],
    VISITS["uterus_measured_by"],
    VISITS["resistance_met"],
    VISITS["second_dilation_done"],
    VISITS["ultrasound_guidance"],
    VISITS["local_anaesthetic"],
    VISITS["dilation"],
    VISITS["onset_phase"],
    VISITS["info_device_given"],
    VISITS["thread_check_advice"],
)

# What her history makes likely at an insertion, as the log records it.
HISTORY = (VISITS["prior_failed_insertion"], VISITS["cervical_surgery"])

ATTEMPTS = Table(
    "attempts",
    "one insertion by one clinician; a deferral is a row too and never counts as an attempt",
    (
        _number("attempt", "Running number of the attempt."),
        *_WHO,
        _date("attempt_date", "Day of the attempt."),
        _code("outcome", "How it ended for this clinician.", ATTEMPT_OUTCOMES),
        _code(
            "visit_outcome",
            "How the day ended for the woman; only on the first attempt of the day.",
            ATTEMPT_OUTCOMES,
        ),
        _code(
            "first_visit_outcome",
            "How the woman's first visit for an insertion in this log ended; only on its first attempt.",
            ATTEMPT_OUTCOMES,
        ),
        _code(
            "episode_outcome",
            "Whether she had a device within 90 days of her first attempt, by any clinician; "
            "only on that first attempt.",
            EPISODE_OUTCOMES,
        ),
        _flag("stopped_on_request", "She asked to stop after the start; counted with the failures."),
        VISITS["failure_reason"],
        VISITS["attempts_same_visit"],
        VISITS["device_wasted_count"],
        _flag("taken_over", "Another clinician went on with the procedure the same day."),
        *CASE_MIX,
        VISITS["vasovagal_grade"],
        _flag("vasovagal_any", "Grade 1 or more, or a reaction noted without a grade, on that day."),
        _flag("vasovagal_grade_2_plus", "Grade 2 or more on that day; unknown where no grade is kept."),
        _flag("syncope", "Loss of consciousness on that day: noted, or grade 3."),
        _code(
            "perforation", "A perforation counted against this attempt, whenever found.", PERFORATION_STATES
        ),
        VISITS["ec_hours_since_upsi"],
        VISITS["ec_days_after_ovulation"],
        VISITS["ec_basis"],
        VISITS["onward_plan"],
        VISITS["bridging_method_given"],
        VISITS["bridging_oral_ec_given"],
        Column(
            "days_waited",
            "Days from the day she asked to the attempt; missing where that day is not recorded or lies after it.",
            "number",
            unit="days",
            requirement="derived",
        ),
        VISITS["training_status"],
        *HISTORY,
        *CARE,
        _flag(
            "uterus_length_recorded",
            "A length of the uterus or its cavity is recorded; missing where none is.",
        ),
        _flag("emergency_treatment", "Atropine, a transfer or a grade 4 reaction on that day."),
        VISITS["pain_score"],
        _number("placement", "Running number of the placement it led to; -1 for none."),
    ),
)

PLACEMENTS = Table(
    "placements",
    "one device left in the cavity when a procedure of this service ended",
    (
        _number("placement", "Running number of the placement."),
        _number("attempt", "The attempt that led to it."),
        *_WHO,
        _date("placement_date", "Time zero."),
        *CASE_MIX,
        VISITS["breastfeeding"],
        VISITS["weeks_since_delivery"],
        VISITS["device_licensed_years"],
        _flag("under_9_months_postpartum", "Placed within 39 weeks of a birth."),
        _flag("difficult_insertion", "Firm or impassable resistance, or more than one pass of the device."),
        _flag("higher_risk", "Breastfeeding, within 9 months of a birth, or a difficult insertion."),
        _code("size_fit", "The length by sound against the device's range in the local protocol.", SIZE_FITS),
        _code(
            "placement_kind",
            "The woman's first placement in this log that is no replacement; a replacement at a removal; "
            "or a later placement.",
            PLACEMENT_KINDS,
        ),
        _flag("prior_expulsion", "An earlier expulsion, in this log or by history."),
        _code("ending", "What ended the spell; none while it runs.", ENDINGS),
        _days("ending_day", "Day of the ending; missing while the spell runs."),
        _days(
            "ending_earliest_day", "The earliest day the ending can have happened: the last known in place."
        ),
        Column("removal_reason", "Main reason.", "code", REMOVAL_REASONS, requirement="derived"),
        Column("removal_reason_second", "Second reason.", "code", REMOVAL_REASONS, requirement="derived"),
        _code("removal_group", "Reasons that belong together.", REMOVAL_GROUPS),
        _flag("replaced_at_once", "A new device was placed the day this one was removed."),
        _code(
            "pregnancy",
            "A pregnancy conceived after placement with the device in place, partly or unnoticed out.",
            PREGNANCY_STATES,
        ),
        _code("perforation", "A perforation of this placement, whenever found.", PERFORATION_STATES),
        _days("last_known_day", "Last day the device was known in place; 0 when she was never seen again."),
        _days("left_day", "Day she moved away or declined further contact; missing if she did not."),
        _days("days_to_data_to", "Days from placement to the freeze."),
        _days("exit_day_last_known", "End of observation under the rule last_known."),
        _days("exit_day_assumed_in_place", "End of observation under the rule assumed_in_place."),
        _code(
            "ending_if_left",
            "The ending if a partial expulsion that was put right and left in place does not end the spell.",
            ENDINGS,
        ),
        _days("exit_day_last_known_if_left", "End of observation then, under the rule last_known."),
        _days("exit_day_assumed_in_place_if_left", "End of observation then, under assumed_in_place."),
        _code(
            "method_ending",
            "What ended the use of any device, a new one within the gap allowed continuing it; only on the first "
            "placement of a woman.",
            ENDINGS,
        ),
        _days("method_exit_day_last_known", "End of observation of the method under the rule last_known."),
        _days("method_exit_day_assumed_in_place", "End of observation of the method, assumed_in_place."),
        _flag("overdue", "Still in place, and longer than the local protocol allows the device."),
        _flag("check_done", "Device status known in the check-up window; missing when no check was due."),
        _flag(
            "outcome_known", "What became of the device in its first year is known; missing before it is due."
        ),
    ),
)

FOLLOW_UPS = Table(
    "follow_ups",
    "one contact after a placement, or with a woman whose device was placed elsewhere",
    (
        _number("placement", "The placement it belongs to; -1 for a device placed elsewhere."),
        *_WHO,
        _date("contact_date", "Day of the contact."),
        _days("day", "Days since placement."),
        VISITS["visit_kind"],
        VISITS["contact_result"],
        VISITS["device_in_situ"],
        _flag("status_known", "The contact shows where the device is."),
        VISITS["threads_seen"],
        VISITS["position_verified_by"],
        VISITS["position_finding"],
        VISITS["pid_diagnosed"],
        VISITS["pregnancy"],
        _days(
            "conception_day",
            "Estimated day of conception, negative before the placement; missing where no day is estimated.",
        ),
        VISITS["perforation_confirmed"],
        VISITS["removal_reason_main"],
        VISITS["removal_difficult"],
        VISITS["removal_delay_days"],
    ),
)
