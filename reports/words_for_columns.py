"""What a column of the log is called on the page. One that is not here is read aloud."""

_WORDS = {
    "patient_ref": "woman's code",
    "visit_ref": "visit's code",
    "visit_date": "day of the visit",
    "visit_kind": "kind of visit",
    "site_ref": "site",
    "clinician_ref": "clinician's code",
    "completed_by_ref": "code of the clinician who took over",
    "supervisor_ref": "supervisor's code",
    "supervised": "under supervision",
    "training_status": "standing of the clinician",
    "chaperone_or_assistant_present": "assistant in the room",
    "referral_date": "day she asked for a device",
    "age_years": "age",
    "births": "number of births",
    "parity_text": "births as text",
    "ever_pregnant": "ever pregnant",
    "last_delivery_date": "day of the latest birth",
    "weeks_since_delivery": "weeks since the latest birth",
    "placement_timing": "timing of the placement",
    "bmi": "body-mass index",
    "prior_iud": "a device before",
    "prior_expulsion": "an expulsion before",
    "prior_failed_insertion": "a failed insertion before",
    "cervical_surgery": "surgery of the cervix",
    "uterine_anomaly_or_fibroid": "anomaly or fibroid",
    "heavy_bleeding_history": "heavy bleeding before",
    "faint_history": "faints before",
    "indication": "reason for the device",
    "ec_hours_since_upsi": "hours since unprotected intercourse",
    "ec_basis": "why an emergency placement was in time",
    "ec_days_after_ovulation": "days after ovulation",
    "bridging_oral_ec_given": "emergency pill given",
    "device_class": "kind of device",
    "device_licensed_years": "years the device may stay",
    "device_min_sound_mm": "shortest uterus for the device",
    "device_max_sound_mm": "longest uterus for the device",
    "device_wasted_count": "devices wasted",
    "pregnancy_excluded": "pregnancy excluded",
    "infection_risk_assessed": "infection risk assessed",
    "sti_test": "test for infection",
    "consent_recorded": "consent",
    "risks_discussed": "risks discussed",
    "bleeding_change_info": "told how bleeding may change",
    "pain_options_discussed": "pain relief offered",
    "analgesia_advised": "advised to take a pain killer",
    "misoprostol_used": "misoprostol",
    "antibiotic_prophylaxis": "antibiotic",
    "bimanual_done": "how the pelvis was assessed",
    "cavity_length_us_mm": "length of the cavity",
    "second_dilation_done": "dilatation repeated",
    "info_device_given": "told about the device",
    "thread_check_advice": "told to check threads",
    "procedure_started": "insertion begun",
    "uterus_measured_by": "how the uterus was measured",
    "sound_length_mm": "length of the uterus",
    "tenaculum_used": "cervix held",
    "dilation": "dilatation of the cervix",
    "dilation_max_mm": "largest dilator",
    "resistance_met": "resistance at the internal os",
    "attempts_same_visit": "passes at the visit",
    "insertion_outcome": "how the insertion ended",
    "failure_reason": "why it failed",
    "deferral_reason": "why it was not begun",
    "onward_plan": "plan after a failure",
    "bridging_method_given": "contraception supplied meanwhile",
    "vasovagal_grade": "grade of the vasovagal reaction",
    "syncope": "loss of consciousness",
    "onset_phase": "when the reaction began",
    "perforation_suspected": "perforation suspected",
    "contact_result": "whether she was reached",
    "device_in_situ": "where the device is",
    "event_date_reported": "day she says it happened",
    "threads_seen": "threads seen",
    "position_verified_by": "how the position was checked",
    "position_finding": "where the device lay",
    "pid_diagnosed": "pelvic inflammatory disease",
    "pregnancy_conception_est": "estimated day of conception",
    "device_status_at_conception": "where the device was at conception",
    "perforation_confirmed": "perforation confirmed",
    "removal_reason_main": "main reason for removal",
    "removal_reason_second": "second reason for removal",
    "removal_difficult": "difficult removal",
    "removal_delay_days": "days from request to removal",
    "replacement_at_once": "replaced at once",
}


def column_words(name: object) -> str:
    """The words for a column as they stand inside a sentence.

    Examples
    --------
    >>> column_words("device_in_situ"), column_words("pain_score")
    ('where the device is', 'pain score')
    """
    return _WORDS.get(str(name), str(name).replace("_", " "))


def column_heading(name: object) -> str:
    """The same with a capital.

    Examples
    --------
    >>> column_heading("bmi")
    'Body-mass index'
    """
    words = column_words(name)
    return words[:1].upper() + words[1:]
