"""The tables derived from the visit log: attempts, placements and follow-ups.

`audit.cohort` makes them; every measure reads them. Days are whole days since placement.
"""

from audit.schema.column import Column, Table
from audit.schema.visits import VISITS

PARITY_GROUPS = ("nulliparous", "caesarean_only", "any_vaginal_birth", "parous_route_unknown", "unknown")
AGE_BANDS = ("under_20", "20_24", "25_29", "30_34", "35_39", "40_44", "45_plus", "unknown")
TIMING_GROUPS = ("interval", "postpartum", "post_abortion", "emergency", "unknown")
BIRTH_GROUPS = ("0", "1", "2", "3_plus", "unknown")
YES_NO_UNKNOWN = ("yes", "no", "unknown")
ATTEMPT_OUTCOMES = ("placed", "failed", "unknown", "deferred")
PLACEMENT_KINDS = ("first", "replacement", "repeat")
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


_WHO = (
    Column("patient_ref", "Running number of the woman in this log.", "integer", requirement="derived"),
    Column("visit_ref", "The service's own code for the visit, or its row.", "text", requirement="derived"),
    Column("row", "Line of the visit in its file.", "integer", requirement="derived"),
    Column("site_ref", "Code of the place; blank where the log does not say.", "text", requirement="derived"),
)
_CASE_MIX = (
    _code("parity_group", "Births by route.", PARITY_GROUPS),
    _code(
        "cervical_parity",
        "Has the cervix ever opened for a birth: a vaginal birth, yes or no.",
        YES_NO_UNKNOWN,
    ),
    _code("parous", "Any birth at all, yes or no.", YES_NO_UNKNOWN),
    _code("births_group", "Number of births: 0, 1, 2, 3 or more.", BIRTH_GROUPS),
    _code("age_band", "Age in bands.", AGE_BANDS),
    VISITS["device_class"],
    VISITS["indication"],
    _code("timing_group", "Placement in relation to a birth, an abortion or an emergency.", TIMING_GROUPS),
)

ATTEMPTS = Table(
    "attempts",
    "one insertion by one clinician; a deferral is a row too, and never counts as an attempt",
    (
        Column("attempt", "Running number of the attempt.", "integer", requirement="derived"),
        *_WHO,
        Column("clinician_ref", "The clinician who owns the attempt.", "text", requirement="derived"),
        _date("attempt_date", "Day of the attempt."),
        _code("outcome", "How it ended.", ATTEMPT_OUTCOMES),
        _flag("stopped_on_request", "The woman asked to stop after the start; counted with the failures."),
        VISITS["failure_reason"],
        _flag("taken_over", "Another clinician went on with the procedure the same day."),
        _code("practice", "Whose curve the attempt belongs to.", ("independent", "supervised")),
        *_CASE_MIX,
        Column("vasovagal_grade", "As recorded, 0 to 4.", "number", requirement="derived"),
        _flag("vasovagal_any", "Grade 1 or more, or a reaction noted without grade."),
        _flag("syncope", "Loss of consciousness: noted, or grade 3."),
        _flag("perforation", "A perforation attributed to this attempt, whenever it was found."),
        Column(
            "placement",
            "Running number of the placement the attempt led to; -1 for none.",
            "integer",
            requirement="derived",
        ),
        _date("visit_first", "First attempt of the woman that day: the unit of the per-visit figure."),
    ),
)
