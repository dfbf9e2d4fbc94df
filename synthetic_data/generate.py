"""The invented service's visit log, drawn from its known truth."""

import numpy as np
import pandas as pd

from synthetic_data.care import draw_care
from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    as_text,
    code,
    day_number,
    happens,
    stack,
    take,
    working_day,
)
from synthetic_data.contacts import follow
from synthetic_data.details import draw_details
from synthetic_data.endings import EXPULSION, draw_endings, removal_reason_codes
from synthetic_data.insertions import perform
from synthetic_data.parameters import LARKFIELD, ServiceParameters
from synthetic_data.schedule import NEVER
from synthetic_data.staff import assign_clinicians
from synthetic_data.women import EXCHANGE, NEW_DEVICE, REMOVAL_ONLY, draw_women

CONSONANTS = tuple("BCDFGHJKLMNPQRSTVWXZ")
MOST_WOMEN = len(CONSONANTS) ** 3 * 1000  # as many as there are references


def generate_visits(parameters: ServiceParameters = LARKFIELD, *, seed: int) -> pd.DataFrame:
    """A clean visit log of the invented service, as text, in date order.

    Parameters
    ----------
    parameters
        The truth to draw from; `women` sets the size.
    seed
        Same seed, same log.

    Returns
    -------
    pandas.DataFrame
        One row per contact; columns of `audit.schema.visits.VISITS` in its order, those the service keeps.
        Every column is a categorical of text, blanks missing: codes of the schema, dates yyyy-mm-dd, flags
        ``yes`` and ``no``, numbers without trailing zeros. References are shuffled and carry no order.

    Raises
    ------
    ValueError
        `women` is below 1 or above the 8,000,000 references there are.

    Notes
    -----
    Drawn in rounds: every appointment of the round is performed, followed, and may lead to another.

    Examples
    --------
    >>> from dataclasses import replace
    >>> visits = generate_visits(replace(LARKFIELD, women=50), seed=1)
    >>> int(visits["patient_ref"].nunique())
    50
    """
    if not 1 <= parameters.women <= MOST_WOMEN:
        raise ValueError(f"women must lie between 1 and {MOST_WOMEN:,}, got {parameters.women}")
    rng = np.random.default_rng(seed)
    women = draw_women(parameters, rng=rng)
    appointments = first_appointments(women)
    blocks = [_outside_removals(parameters, women, rng)]
    while len(appointments["day"]):
        rows, appointments = _one_round(parameters, women, appointments, rng)
        blocks += rows
    whole = stack(blocks)
    whole |= draw_details(parameters.details, whole, seed=seed)
    return _as_log(parameters, whole | draw_care(parameters.care, whole, seed=seed), rng)


def first_appointments(women: Columns) -> Columns:
    """Each woman's first visit for a device."""
    who = np.flatnonzero(women["purpose"] != REMOVAL_ONLY)
    return _appointments(
        who,
        women["first_day"][who],
        exchange=women["purpose"][who] == EXCHANGE,
        reason=np.where(
            women["purpose"][who] == NEW_DEVICE, BLANK, code("removal_reason_main", "planned_end_of_duration")
        ),
    )


def _appointments(
    woman: Array,
    day: Array,
    *,
    exchange: Array | None = None,
    clinician: Array | None = None,
    failed_before: Array | None = None,
    expelled_before: Array | None = None,
    reason: Array | None = None,
) -> Columns:
    """Appointments for an insertion; what is not given is no or blank."""
    no, blank = np.zeros(len(woman), dtype=np.int8), np.full(len(woman), BLANK)
    return {
        "woman": woman,
        "day": day,
        "exchange": (no if exchange is None else exchange).astype(bool),
        "clinician_ref": blank if clinician is None else clinician,
        "prior_failed_insertion": no if failed_before is None else failed_before.astype(np.int8),
        "prior_expulsion": no if expelled_before is None else expelled_before.astype(np.int8),
        "removal_reason_main": (blank if reason is None else reason).astype(np.int8),
    }


def _one_round(
    parameters: ServiceParameters, women: Columns, appointments: Columns, rng: np.random.Generator
) -> tuple[list[Columns], Columns]:
    """The rows of one round of appointments and the appointments they lead to."""
    rows = perform(parameters, women, appointments, rng=rng)
    placements = take(rows, rows["placed"])
    if not len(placements["day"]):
        return [rows], _in_time(parameters, _retries(parameters, rows, rng))
    placements |= draw_endings(parameters, placements, rng=rng)
    contacts, placements = follow(parameters, placements, rng=rng)
    following = stack(
        [_retries(parameters, rows, rng), _exchanges(parameters, placements), _new_devices(placements)]
    )
    return [rows, contacts], _in_time(parameters, following)


def _in_time(parameters: ServiceParameters, appointments: Columns) -> Columns:
    """Appointments not after the last day of insertions."""
    return take(appointments, appointments["day"] <= day_number(parameters.last_insertion))


def _retries(parameters: ServiceParameters, rows: Columns, rng: np.random.Generator) -> Columns:
    """Women who come again: after a failure mostly to a trainer, after a deferral to the same clinician."""
    truth, size = parameters.procedure, len(rows["day"])
    failed = ~rows["placed"] & ~rows["deferred"]
    chance = np.where(rows["deferred"], truth.returns_after_deferral, truth.returns_after_failure)
    again = ~rows["placed"] & happens(rng, chance, size)
    wait = np.where(failed, 14, 6) + rng.exponential(12, size).astype(np.int64)
    to_trainer = failed & happens(rng, truth.rebooked_to_trainer, size)
    return take(
        _appointments(
            rows["woman"],
            working_day(rows["day"] + wait),
            clinician=np.where(to_trainer, rows["helper"], rows["clinician_ref"]),
            failed_before=(rows["prior_failed_insertion"] == 1) | failed,
            expelled_before=rows["prior_expulsion"],
        ),
        again,
    )


def _exchanges(parameters: ServiceParameters, placements: Columns) -> Columns:
    """A new device at the visit that takes the old one out."""
    old = take(placements, placements["replaced_at_once"])
    return _appointments(
        old["woman"],
        old["learned"],
        exchange=np.ones(len(old["day"])),
        clinician=old["clinician_ref"],
        failed_before=old["prior_failed_insertion"],
        expelled_before=old["prior_expulsion"],
        reason=removal_reason_codes(parameters.hazards, old["ending"]),
    )


def _new_devices(placements: Columns) -> Columns:
    """A new device some time after an expulsion, or after an ending nobody recorded."""
    old = take(placements, placements["comes_back"] < NEVER)
    return _appointments(
        old["woman"],
        old["comes_back"],
        clinician=old["clinician_ref"],
        failed_before=old["prior_failed_insertion"],
        expelled_before=(old["ending"] == EXPULSION) | (old["prior_expulsion"] == 1),
    )


def _outside_removals(parameters: ServiceParameters, women: Columns, rng: np.random.Generator) -> Columns:
    """Women seen once, to have a device out that was placed elsewhere."""
    who = np.flatnonzero(women["purpose"] == REMOVAL_ONLY)
    size = len(who)
    fixed = {
        "visit_kind": "removal",
        "contact_result": "reached",
        "device_in_situ": "removed_here",
        "removal_reason_main": "planned_end_of_duration",
        "removal_difficult": "no",
    }
    rows: Columns = {name: np.full(size, code(name, word), dtype=np.int8) for name, word in fixed.items()}
    seen = take(women, who) | {"day": women["first_day"][who], "clinician_ref": np.full(size, BLANK)}
    return rows | {
        "woman": who,
        "day": seen["day"],
        "site_ref": seen["site_ref"],
        "clinician_ref": assign_clinicians(parameters, seen, rng=rng),
        "replacement_at_once": np.zeros(size, dtype=np.int8),
    }


def _as_log(parameters: ServiceParameters, rows: Columns, rng: np.random.Generator) -> pd.DataFrame:
    """Rows in date order with references, spelt as text."""
    rows = take(rows, rng.permutation(len(rows["day"])))
    rows = take(rows, np.argsort(rows["day"], kind="stable"))
    size = len(rows["day"])
    rows |= {"patient_ref": rows["woman"], "visit_ref": np.arange(size), "visit_date": rows["day"]}
    clinicians = [clinician.code for clinician in parameters.clinicians]
    names = {
        "patient_ref": _patient_refs(parameters.women, rng),
        "visit_ref": [f"V{number:07d}" for number in rng.permutation(size) + 1],
        "site_ref": [site.code for site in parameters.sites],
        **dict.fromkeys(("clinician_ref", "completed_by_ref", "supervisor_ref"), clinicians),
    }
    return as_text(rows, names)


def _patient_refs(size: int, rng: np.random.Generator) -> list[str]:
    """Distinct codes of three consonants and three digits, drawn without order: no word, no postcode."""
    drawn = rng.choice(MOST_WOMEN, size, replace=False)
    letters, digits = np.divmod(drawn, 1000)
    first, rest = np.divmod(letters, len(CONSONANTS) ** 2)
    second, third = np.divmod(rest, len(CONSONANTS))
    spelt = zip(first.tolist(), second.tolist(), third.tolist(), digits.tolist(), strict=True)
    return [f"{CONSONANTS[a]}{CONSONANTS[b]}{CONSONANTS[c]}{d:03d}" for a, b, c, d in spelt]
