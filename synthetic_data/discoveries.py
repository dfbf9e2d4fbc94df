"""The rows in which the service learns that a placement has ended."""

import numpy as np

from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    day_number,
    draw,
    happens,
    take,
    working_day,
)
from synthetic_data.endings import (
    DEATH,
    EXPULSION,
    FIRST_REMOVAL,
    PERFORATION,
    PREGNANCY,
    removal_reason_codes,
)
from synthetic_data.parameters import ServiceParameters
from synthetic_data.schedule import NEVER, SLOT_KINDS, contact, either, filled


def ending_rows(parameters: ServiceParameters, places: Columns, rng: np.random.Generator) -> list[Columns]:
    """The rows in which the service learns of endings, one block per kind of ending."""
    heard = places["learned"] < NEVER
    expelled = heard & (places["ending"] == EXPULSION)
    removed = heard & (places["ending"] >= FIRST_REMOVAL) & ~places["replaced_at_once"]
    return [
        _removed(parameters, take(places, removed), rng),
        _complete(parameters, take(places, expelled & ~places["partial"]), rng),
        *_partial(parameters, take(places, expelled & places["partial"]), rng),
        _pregnant(take(places, heard & (places["ending"] == PREGNANCY)), rng),
        _perforated(take(places, heard & (places["ending"] == PERFORATION)), rng),
        _died(take(places, heard & (places["ending"] == DEATH))),
    ]


def _removed(parameters: ServiceParameters, places: Columns, rng: np.random.Generator) -> Columns:
    """Removals, here on the day or elsewhere and told of later."""
    here, size = places["came_herself"], len(places["day"])
    kind = np.where(here, code("visit_kind", "removal"), _heard_by(places)).astype(np.int8)
    rows = _reached(places, kind)
    rows["clinician_ref"] = np.where(here, places["clinician_ref"], BLANK)
    rows["device_in_situ"] = either(here, "device_in_situ", "removed_here", "removed_elsewhere")
    rows["event_date_reported"] = np.where(here, BLANK, _reported(places))
    rows["removal_reason_main"] = removal_reason_codes(parameters.hazards, places["ending"])
    difficulty = (("no", 0.93), ("threads_retrieved_in_clinic", 0.04), ("ultrasound_guided", 0.03))
    rows["removal_difficult"] = np.where(
        here, draw(rng, "removal_difficult", difficulty, size), BLANK
    ).astype(np.int8)
    rows["replacement_at_once"] = np.where(here, 0, BLANK).astype(np.int8)
    return rows


def _complete(parameters: ServiceParameters, places: Columns, rng: np.random.Generator) -> Columns:
    """Complete expulsions, a few of them unnoticed until a pregnancy."""
    size, kind = len(places["day"]), _heard_by(places)
    rows = _reached(places, kind) | {"device_in_situ": filled(size, "device_in_situ", "complete_expulsion")}
    gap = places["learned"] - places["ended"]
    chance = parameters.follow_up.pregnant_after_unnoticed_expulsion
    pregnant = (gap > 60) & happens(rng, chance * np.minimum(gap / 60, 5), size)
    rows["event_date_reported"] = np.where(pregnant, BLANK, _reported(places))
    rows["pregnancy"] = either(pregnant, "pregnancy", "intrauterine", "none")
    rows["pregnancy_conception_est"] = np.where(pregnant, places["learned"] - 40, BLANK)
    rows["device_status_at_conception"] = np.where(
        pregnant, code("device_status_at_conception", "expelled_unnoticed"), BLANK
    ).astype(np.int8)
    return rows


def _partial(parameters: ServiceParameters, places: Columns, rng: np.random.Generator) -> list[Columns]:
    """Partial expulsions: taken out at the visit that found them, or a week later."""
    at_once = happens(rng, 0.55, len(places["day"]))
    now, later = take(places, at_once), take(places, ~at_once)
    found = _reached(later, filled(len(later["day"]), "visit_kind", "unscheduled"))
    found["device_in_situ"] = filled(len(later["day"]), "device_in_situ", "partial_expulsion")
    found["position_verified_by"] = filled(len(later["day"]), "position_verified_by", "ultrasound_2d")
    found["position_finding"] = filled(len(later["day"]), "position_finding", "cervical")
    week_later = later | {"learned": working_day(later["learned"] + 7)}
    in_time = week_later["learned"] <= day_number(parameters.data_to)
    return [
        _taken_out(now, "partial_expulsion"),
        found,
        _taken_out(take(week_later, in_time), "partial_expulsion"),
    ]


def _taken_out(places: Columns, reason: str) -> Columns:
    """A removal here for the given reason, on the day in `learned`."""
    size = len(places["day"])
    rows = _reached(places, filled(size, "visit_kind", "removal"))
    rows["clinician_ref"] = places["clinician_ref"]
    rows["device_in_situ"] = filled(size, "device_in_situ", "removed_here")
    rows["removal_reason_main"] = filled(size, "removal_reason_main", reason)
    rows["removal_difficult"] = filled(size, "removal_difficult", "no")
    rows["replacement_at_once"] = np.zeros(size, dtype=np.int8)
    return rows


def _pregnant(places: Columns, rng: np.random.Generator) -> Columns:
    """Pregnancies with the device in place, the device taken out the same day in most."""
    size = len(places["day"])
    out = happens(rng, 0.7, size)
    kind = either(out, "visit_kind", "removal", "unscheduled")
    rows = _reached(places, kind)
    rows["clinician_ref"] = np.where(out, places["clinician_ref"], BLANK)
    rows["device_in_situ"] = either(out, "device_in_situ", "removed_here", "in_situ_confirmed")
    rows["removal_reason_main"] = np.where(out, code("removal_reason_main", "pregnancy"), BLANK).astype(
        np.int8
    )
    where = (("intrauterine", 0.72), ("ectopic", 0.13), ("miscarriage", 0.15))
    rows["pregnancy"] = draw(rng, "pregnancy", where, size)
    rows["pregnancy_conception_est"] = places["ended"]
    rows["device_status_at_conception"] = filled(size, "device_status_at_conception", "in_situ")
    return rows


def _perforated(places: Columns, rng: np.random.Generator) -> Columns:
    """Perforations found after the procedure."""
    size = len(places["day"])
    partial = happens(rng, 0.4, size)
    rows = _reached(places, filled(size, "visit_kind", "unscheduled"))
    rows["device_in_situ"] = filled(size, "device_in_situ", "not_in_uterus")
    rows["threads_seen"] = filled(size, "threads_seen", "no")
    rows["position_verified_by"] = filled(size, "position_verified_by", "ultrasound_2d")
    rows["position_finding"] = either(partial, "position_finding", "embedded", "outside_uterus")
    rows["perforation_confirmed"] = either(
        partial, "perforation_confirmed", "partial_embedded", "complete_extrauterine"
    )
    return rows


def _died(places: Columns) -> Columns:
    """Deaths of which the service was told."""
    size = len(places["day"])
    rows = contact(places, places["learned"], filled(size, "visit_kind", "remote_contact"))
    return rows | {"contact_result": filled(size, "contact_result", "died")}


def _heard_by(places: Columns) -> Array:
    """The kind of visit in which an ending came out."""
    kinds = np.array([code("visit_kind", word) for word in SLOT_KINDS], dtype=np.int8)
    return np.where(
        places["came_herself"], code("visit_kind", "unscheduled"), kinds[places["found_in_slot"]]
    ).astype(np.int8)


def _reported(places: Columns) -> Array:
    """The day she says it happened, blank when that is the day of the visit."""
    return np.where(places["ended"] < places["learned"], places["ended"], BLANK)


def _reached(places: Columns, kind: Array) -> Columns:
    """A contact that reached her, on the day the ending was learned."""
    rows = contact(places, places["learned"], kind)
    rows["contact_result"] = np.full(len(kind), code("contact_result", "reached"), dtype=np.int8)
    return rows
