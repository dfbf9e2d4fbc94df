"""What happens in the room: the woman as she is that day, the technique and the paper work."""

import numpy as np

from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    draw,
    happens,
    take,
)
from synthetic_data.outcomes import draw_outcome
from synthetic_data.parameters import People, Procedure, ServiceParameters
from synthetic_data.reactions import draw_reaction
from synthetic_data.staff import assign_clinicians, draw_standing
from synthetic_data.women import early_postpartum

YEAR = 365.25


def state_at(women: Columns, appointments: Columns) -> Columns:
    """The women as they are on the day of the appointment."""
    rows = take(women, appointments["woman"])
    later = appointments["day"] > rows["first_day"]
    days = appointments["day"] - rows["first_day"]
    rows["age_years"] = rows["age_years"] + (days / YEAR).astype(np.int64)
    rows["weeks_since_delivery"] = np.round(rows["weeks_since_delivery"] + days / 7)
    recent = rows["weeks_since_delivery"] <= 12
    later_timing = np.where(
        recent,
        code("placement_timing", "early_postpartum_outpatient"),
        code("placement_timing", "interval"),
    )
    rows["placement_timing"] = np.where(later, later_timing, rows["placement_timing"]).astype(np.int8)
    rows["breastfeeding"] = np.where(rows["weeks_since_delivery"] <= 36, rows["breastfeeding"], 0).astype(
        np.int8
    )
    had_one = appointments["exchange"] | (appointments["prior_expulsion"] == 1)
    rows["prior_iud"] = np.where(had_one, 1, rows["prior_iud"]).astype(np.int8)
    return rows | _indication_at(rows, later) | appointments


def _indication_at(rows: Columns, later: Array) -> Columns:
    """An emergency is one only on the first day."""
    was_emergency = rows["indication"] == code("indication", "emergency_contraception")
    over = later & was_emergency
    return {
        "indication": np.where(over, code("indication", "contraception"), rows["indication"]).astype(np.int8),
        "ec_hours_since_upsi": np.where(over, np.nan, rows["ec_hours_since_upsi"]),
        "ec_basis": np.where(over, BLANK, rows["ec_basis"]).astype(np.int8),
        "ec_days_after_ovulation": np.where(over, np.nan, rows["ec_days_after_ovulation"]),
    }


def perform(
    parameters: ServiceParameters, women: Columns, appointments: Columns, *, rng: np.random.Generator
) -> Columns:
    """One row per appointment: everything the log says of the insertion, and what only the truth knows."""
    rows = state_at(women, appointments)
    rows["clinician_ref"] = assign_clinicians(parameters, rows, rng=rng)
    rows |= draw_standing(parameters, rows, rng)
    rows |= _technique(parameters.procedure, rows, rng)
    rows |= draw_reaction(parameters.procedure, rows, rng)
    rows |= draw_outcome(parameters, rows, rng)
    rows |= _paper_work(parameters.people, rows, rng)
    return _blank_where_not_started(rows)


def _technique(truth: Procedure, rows: Columns, rng: np.random.Generator) -> Columns:
    """How it was done; none of it changes whether the truth makes it fail."""
    size = len(rows["day"])
    dilated = happens(
        rng,
        np.where(rows["no_vaginal_birth"], truth.dilated_no_vaginal_birth, truth.dilated_vaginal_birth),
        size,
    )
    dilation = np.where(
        dilated, draw(rng, "dilation", (("plastic_dilator", 0.6), ("graduated_metal", 0.4)), size), 0
    )
    length = 10 * np.round(np.clip(rng.normal(np.where(rows["parous"], 76, 71), 7), 50, 105) / 5) / 2
    measured = (("sound", 0.90), ("ultrasound", 0.04), ("sound_and_ultrasound", 0.04), ("not_measured", 0.02))
    by = draw(rng, "uterus_measured_by", measured, size)
    sounded = np.isin(
        by, [code("uterus_measured_by", "sound"), code("uterus_measured_by", "sound_and_ultrasound")]
    )
    anaesthetic = (("none", 0.45), ("topical_gel", 0.25), ("intracervical", 0.2), ("paracervical", 0.1))
    return {
        "dilation": dilation.astype(np.int8),
        "uterus_measured_by": by,
        "sound_length_mm": np.where(sounded, length, np.nan),
        "tenaculum_used": draw(rng, "tenaculum_used", (("yes", 0.8), ("no", 0.1), ("atraumatic", 0.1)), size),
        "local_anaesthetic": draw(rng, "local_anaesthetic", anaesthetic, size),
    }


def _paper_work(people: People, rows: Columns, rng: np.random.Generator) -> Columns:
    """Referral day and the kind of visit."""
    emergency = rows["indication"] == code("indication", "emergency_contraception")
    bedside = early_postpartum(rows["placement_timing"])
    wait = np.where(emergency | bedside, 0, 1 + rng.exponential(17, len(emergency)).astype(np.int64))
    kinds = [code("visit_kind", "removal_and_replacement"), code("visit_kind", "insertion")]
    return {
        "referral_date": rows["day"] - wait,
        "visit_kind": np.where(rows["exchange"], *kinds).astype(np.int8),
        "replacement_at_once": np.where(rows["exchange"], rows["placed"], BLANK).astype(np.int8),
        "device_in_situ": np.where(rows["exchange"], code("device_in_situ", "removed_here"), BLANK).astype(
            np.int8
        ),
    }


def _blank_where_not_started(rows: Columns) -> Columns:
    """Nothing is known of a procedure that was not started, nor a length that no sound reached."""
    deferred = rows["deferred"]
    unsounded = np.isin(
        rows["failure_reason"],
        [code("failure_reason", word) for word in ("could_not_sound", "cervix_not_seen")],
    )
    changed = {"sound_length_mm": np.where(deferred | unsounded, np.nan, rows["sound_length_mm"])}
    changed["pain_score"] = np.where(deferred, np.nan, rows["pain_score"])
    for name in (
        "dilation",
        "uterus_measured_by",
        "tenaculum_used",
        "local_anaesthetic",
        "vasovagal_grade",
        "onset_phase",
        "syncope",
        "emergency_transfer",
        "perforation_suspected",
    ):
        changed[name] = np.where(deferred, BLANK, rows[name]).astype(rows[name].dtype)
    return rows | changed
