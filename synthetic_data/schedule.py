"""When contacts are planned, and the bare row that each of them writes."""

import numpy as np

from synthetic_data.codes import (
    Array,
    Columns,
    code,
    day_number,
    working_day,
)
from synthetic_data.endings import (
    YEAR,
)
from synthetic_data.parameters import ServiceParameters

NEVER = 10**7
# Slots: the check, calls near 6, 12, 24 and 36 months, one visit for symptoms with nothing found,
# and the closing call where there is one.
WINDOWS = ((28, 46), (175, 200), (345, 386), (715, 760), (1080, 1120))
SYMPTOM_SLOT = len(WINDOWS)
SLOT_KINDS = (
    "follow_up",
    "remote_contact",
    "remote_contact",
    "remote_contact",
    "remote_contact",
    "unscheduled",
    "remote_contact",
)


def planned_contacts(
    parameters: ServiceParameters, places: Columns, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Days of the planned contacts, one column a slot, and which of them would reach her."""
    size, sites = len(places["day"]), parameters.sites
    gaps = [rng.integers(low, high, size) for low, high in WINDOWS]
    symptoms = rng.exponential(YEAR / parameters.follow_up.symptom_visit, size)
    gaps.append(np.where(symptoms < 2 * YEAR, 3 + symptoms.astype(np.int64), NEVER))
    check = np.array([site.attends_check for site in sites])[places["site_ref"]]
    call = np.array([site.answers_call for site in sites])[places["site_ref"]]
    chances = np.column_stack([check, *[call] * (len(WINDOWS) - 1), np.ones(size)])
    reached = (rng.random(chances.shape) < chances) & ~places["lost"][:, None]
    planned = working_day(places["day"][:, None] + np.column_stack(gaps))
    if not parameters.follow_up.closing_call:
        return planned, reached
    last = day_number(parameters.data_to)
    earlier = np.where(planned < last, planned, NEVER)
    closing = np.full(size, last)
    return np.column_stack([earlier, closing]), np.column_stack([reached, np.ones(size, dtype=bool)])


def contact(places: Columns, day: Array, kind: Array) -> Columns:
    """Who, where, when and why of a contact."""
    return {"woman": places["woman"], "site_ref": places["site_ref"], "day": day, "visit_kind": kind}


def either(flag: Array, column: str, word: str, otherwise: str) -> Array:
    """One of two codes."""
    return np.where(flag, code(column, word), code(column, otherwise)).astype(np.int8)


def filled(size: int, column: str, word: str) -> Array:
    """The same code for every row."""
    return np.full(size, code(column, word), dtype=np.int8)
