"""To which rows a column applies beyond the kind of visit: declared once, for what counts as missing."""

# The kinds of visit behind each group of rows that a column names.
KINDS_OF_ROWS = {
    "insertion": ("insertion", "removal_and_replacement"),
    "follow_up": ("follow_up", "unscheduled", "remote_contact"),
    "removal": ("removal", "removal_and_replacement"),
}

# A column, and the codes (or the answer) that decide.
Condition = tuple[str, tuple[str | bool, ...]]

_NOT_PLACED = ("failed", "stopped_on_request", "deferred_not_started")
_IMAGED = ("ultrasound_2d", "ultrasound_3d", "xray", "hysteroscopy")
_EMERGENCY: Condition = ("indication", ("emergency_contraception",))
_NOT_BEGUN: Condition = ("insertion_outcome", ("deferred_not_started",))
_NOT_SPOKEN: Condition = ("contact_result", ("not_reached", "declined", "moved_away", "died"))
_FROM_AFAR: Condition = ("visit_kind", ("remote_contact",))

# column -> the rows it applies to: those with one of these codes. A blank in it says nothing elsewhere.
ONLY_WHERE: dict[str, tuple[Condition, ...]] = {
    "failure_reason": (("insertion_outcome", ("failed", "stopped_on_request")),),
    "deferral_reason": (_NOT_BEGUN,),
    "onward_plan": (("insertion_outcome", _NOT_PLACED),),
    "bridging_method_given": (("insertion_outcome", _NOT_PLACED),),
    "bridging_oral_ec_given": (_EMERGENCY, ("insertion_outcome", _NOT_PLACED)),
    "ec_hours_since_upsi": (_EMERGENCY,),
    "ec_basis": (_EMERGENCY,),
    "ec_days_after_ovulation": (_EMERGENCY, ("ec_basis", ("within_5d_of_ovulation",))),
    "position_finding": (("position_verified_by", _IMAGED),),
}

_PROCEDURE = (
    *("uterus_measured_by", "sound_length_mm", "tenaculum_used", "local_anaesthetic", "dilation"),
    *("resistance_met", "attempts_same_visit", "vasovagal_grade", "vasovagal_reaction", "syncope"),
    *("emergency_transfer", "perforation_suspected", "pain_score"),
)
_EXAMINED = ("threads_seen", "position_verified_by", "position_finding", "pid_diagnosed")
# column -> rows it does not apply to: an insertion not begun, never pregnant, nobody spoken to or examined.
NOT_WHERE: dict[str, tuple[Condition, ...]] = {
    **dict.fromkeys(_PROCEDURE, (_NOT_BEGUN,)),
    **dict.fromkeys(("last_delivery_date", "weeks_since_delivery"), (("ever_pregnant", (False,)),)),
    **dict.fromkeys(("device_in_situ", "pregnancy"), (_NOT_SPOKEN,)),
    **dict.fromkeys(_EXAMINED, (_NOT_SPOKEN, _FROM_AFAR)),
}

# Blank unless something happened, so that a blank is no gap.
ONLY_IF_ANY = (
    *("completed_by_ref", "supervisor_ref", "event_date_reported", "pregnancy_conception_est"),
    *("device_status_at_conception", "removal_reason_second", "perforation_confirmed", "dilation_max_mm"),
    *("visit_ref", "onset_phase"),
)
