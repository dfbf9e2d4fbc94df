"""How the service hears of its placements: checks, calls, symptom-led visits, and what they find."""

import numpy as np

from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    day_number,
    draw,
    happens,
    stack,
    take,
    working_day,
)
from synthetic_data.course import FollowUp
from synthetic_data.discoveries import ending_rows
from synthetic_data.endings import (
    DEATH,
    EXPULSION,
    FIRST_REMOVAL,
    NONE,
    PREGNANCY,
    YEAR,
)
from synthetic_data.parameters import ServiceParameters
from synthetic_data.schedule import NEVER, SLOT_KINDS, SYMPTOM_SLOT, contact, either, planned_contacts


def follow(
    parameters: ServiceParameters, placements: Columns, *, rng: np.random.Generator
) -> tuple[Columns, Columns]:
    """Every contact after the placements, and the placements with the day the service learned of the ending.

    Parameters
    ----------
    parameters
        The service.
    placements
        Rows of successful insertions with ``ending``, ``ending_days`` and ``partial``.
    rng
        The random numbers.

    Returns
    -------
    tuple of Columns
        Contact rows in columns of the schema; and the placements with ``ended`` (the true day), ``learned``
        (a day far away when the service never hears), ``replaced_at_once`` and ``comes_back``.
    """
    places = placements | {"ended": _ended(placements)}
    planned, reached = planned_contacts(parameters, places, rng)
    places |= _departure(parameters.follow_up, places, rng)
    places |= _learning(parameters, places, planned, reached, rng)
    places["replaced_at_once"] = _replaced(parameters, places, rng)
    places["comes_back"] = _comes_back(parameters.follow_up, places, rng)
    rows = [
        _in_place(parameters, places, planned, reached, rng),
        _departures(parameters, places),
        *ending_rows(parameters, places, rng),
    ]
    return stack([block for block in rows if len(block["day"])]), places


def _ended(placements: Columns) -> Array:
    """The true day of the ending, at the earliest the day after placement."""
    days = np.minimum(placements["ending_days"], NEVER)
    return np.where(days < NEVER, placements["day"] + np.maximum(1, days.astype(np.int64)), NEVER)


def _departure(truth: FollowUp, places: Columns, rng: np.random.Generator) -> Columns:
    """Day on which a woman moves away or declines contact, and which."""
    size = len(places["day"])
    rate = truth.moved_away + truth.declined
    days = np.full(size, float(NEVER))
    if rate > 0:
        days = np.minimum(rng.exponential(YEAR / rate, size), NEVER)
    moved = happens(rng, truth.moved_away / rate if rate > 0 else 0.0, size)
    words = (code("contact_result", "moved_away"), code("contact_result", "declined"))
    return {
        "departs": working_day(places["day"] + 1 + days.astype(np.int64)),
        "departure": np.where(moved, *words).astype(np.int8),
    }


def _learning(
    parameters: ServiceParameters, places: Columns, planned: Array, reached: Array, rng: np.random.Generator
) -> Columns:
    """When the service hears of the ending: she comes back with it, or a later contact finds it."""
    truth, size, ending = parameters.follow_up, len(places["day"]), places["ending"]
    returns = np.where(places["lost"], truth.returns_with_trouble_if_lost, truth.returns_with_trouble)
    returns = np.where(ending >= FIRST_REMOVAL, truth.removed_here, returns)
    lag = rng.exponential(1.0, size) * truth.days_to_return
    lag = np.where(ending == PREGNANCY, lag + 30, np.where(ending >= FIRST_REMOVAL, 0, lag))
    own = np.where(happens(rng, returns, size), working_day(places["ended"] + lag.astype(np.int64)), NEVER)
    finds = reached & (planned >= places["ended"][:, None]) & (ending != DEATH)[:, None]
    by_contact = np.where(finds, planned, NEVER).min(axis=1)
    learned = np.minimum(own, by_contact)
    last = day_number(parameters.data_to)
    unheard = (ending == NONE) | (learned > np.minimum(places["departs"] - 1, last))
    return {
        "learned": np.where(unheard, NEVER, learned),
        "came_herself": own <= by_contact,
        "found_in_slot": np.where(finds, planned, NEVER).argmin(axis=1),
    }


def _replaced(parameters: ServiceParameters, places: Columns, rng: np.random.Generator) -> Array:
    """Removals here that are followed by a new device at the same visit."""
    chances = np.array([removal.replaced_at_once for removal in parameters.hazards.removals])
    removed = (places["ending"] >= FIRST_REMOVAL) & (places["learned"] < NEVER) & places["came_herself"]
    chance = chances[np.maximum(places["ending"] - FIRST_REMOVAL, 0)]
    in_time = places["learned"] <= day_number(parameters.last_insertion)
    return removed & in_time & happens(rng, chance, len(chance))


def _comes_back(truth: FollowUp, places: Columns, rng: np.random.Generator) -> Array:
    """Day on which a woman comes for a new device after an ending; a day far away for none."""
    size, ending = len(places["day"]), places["ending"]
    heard = places["learned"] < NEVER
    again = heard & (ending == EXPULSION) & happens(rng, truth.replaced_after_expulsion, size)
    silent = ~heard & ((ending == EXPULSION) | (ending >= FIRST_REMOVAL))
    silent &= happens(rng, truth.returns_after_unknown_ending, size)
    after = places["learned"] + 16 + rng.exponential(15, size).astype(np.int64)
    late = working_day(places["ended"] + 30 + rng.exponential(120, size).astype(np.int64))
    silent &= late < places["departs"]
    return np.where(again, working_day(after), np.where(silent, late, NEVER))


def _in_place(
    parameters: ServiceParameters, places: Columns, planned: Array, reached: Array, rng: np.random.Generator
) -> Columns:
    """Contacts that found the device in place, and calls that reached nobody."""
    until = np.minimum.reduce([places["learned"], places["departs"], places["comes_back"]])
    until = np.minimum(until, day_number(parameters.data_to) + 1)
    missed = ~reached & (np.arange(planned.shape[1]) != SYMPTOM_SLOT)
    missed &= rng.random(planned.shape) < parameters.follow_up.missed_call_recorded
    alive = planned < np.where(places["ending"] == DEATH, places["ended"], NEVER)[:, None]
    kept = (planned < until[:, None]) & alive & (missed | reached)
    place, slot = np.nonzero(kept)
    return _contact_words(take(places, place), planned[kept], slot, reached[kept], rng)


def _contact_words(
    places: Columns, day: Array, slot: Array, reached: Array, rng: np.random.Generator
) -> Columns:
    """What a contact with nothing wrong says."""
    size = len(day)
    examined = reached & ((slot == 0) | (slot == SYMPTOM_SLOT))
    kinds = np.array([code("visit_kind", word) for word in SLOT_KINDS], dtype=np.int8)
    kind = np.where(reached, kinds[slot], code("visit_kind", "remote_contact")).astype(np.int8)
    unseen = examined & happens(rng, 0.05, size)
    scanned = (unseen & happens(rng, 0.9, size)) | (examined & happens(rng, 0.15, size))
    rows = contact(places, day, kind)
    rows["contact_result"] = either(reached, "contact_result", "reached", "not_reached")
    in_place = either(examined, "device_in_situ", "in_situ_confirmed", "in_situ_reported")
    rows["device_in_situ"] = np.where(reached, in_place, BLANK).astype(np.int8)
    rows["threads_seen"] = np.where(examined, either(unseen, "threads_seen", "no", "yes"), BLANK).astype(
        np.int8
    )
    how = np.where(unseen, code("position_verified_by", "none"), code("position_verified_by", "threads_only"))
    how = np.where(scanned, code("position_verified_by", "ultrasound_2d"), how)
    rows["position_verified_by"] = np.where(examined, how, BLANK).astype(np.int8)
    rows["position_finding"] = np.where(scanned, code("position_finding", "fundal"), BLANK).astype(np.int8)
    infected = draw(
        rng, "pid_diagnosed", (("no", 0.993), ("suspected_treated", 0.006), ("confirmed", 0.001)), size
    )
    rows["pid_diagnosed"] = np.where(examined, infected, BLANK).astype(np.int8)
    rows["pregnancy"] = np.where(examined, code("pregnancy", "none"), BLANK).astype(np.int8)
    return rows


def _departures(parameters: ServiceParameters, places: Columns) -> Columns:
    """One row for a woman who moves away or declines, while nothing else has ended her follow-up."""
    until = np.minimum.reduce([places["learned"], places["comes_back"], places["ended"]])
    gone = (places["departs"] <= day_number(parameters.data_to)) & (places["departs"] < until)
    left = take(places, gone)
    kind = np.full(len(left["day"]), code("visit_kind", "remote_contact"), dtype=np.int8)
    return contact(left, left["departs"], kind) | {"contact_result": left["departure"]}
