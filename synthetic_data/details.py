"""What a log may say besides of a device, a scan and a removal, drawn apart so that nothing else changes."""

import numpy as np

from synthetic_data.codes import BLANK, Array, Columns, code, draw, happens
from synthetic_data.details_course import Details

# A stream of random numbers of its own for each seed.
STREAM = 2


def draw_details(details: Details, rows: Columns, *, seed: int) -> Columns:
    """The columns of details for every row of a log.

    Parameters
    ----------
    details
        The truth to draw from.
    rows
        The log's rows with what happened at each.
    seed
        The seed of the log; the numbers drawn here are a stream apart from the log's own.

    Returns
    -------
    dict of arrays
        Columns of `audit.schema.visits.VISITS`, among them ``position_finding``, in which some scans that found a
        device at the fundus find it elsewhere.
    """
    rng = np.random.default_rng([seed, STREAM])
    size = len(rows["day"])
    found = _column(rows, "position_finding")
    fundal = found == code("position_finding", "fundal")
    position = draw(rng, "position_finding", details.positions, size)
    return {
        **_ranges(details, rows),
        "position_finding": np.where(fundal, position, found).astype(np.int8),
        "removal_delay_days": _waits(details, rows, rng),
        "removal_reason_second": _second_reasons(details, rows, rng),
    }


def _ranges(details: Details, rows: Columns) -> Columns:
    """The range of each device, on the rows of insertions."""
    shortest, longest = (np.full(len(rows["day"]), np.nan) for _ in range(2))
    inserted = rows["insertion_outcome"] != BLANK
    for word, least, most in details.sound_ranges:
        own = inserted & (rows["device_class"] == code("device_class", word))
        shortest[own], longest[own] = least, most
    return {"device_min_sound_mm": shortest, "device_max_sound_mm": longest}


def _waits(details: Details, rows: Columns, rng: np.random.Generator) -> Array:
    """Days waited for a removal here that she asked for; blank where nobody wrote it down."""
    size = len(rows["day"])
    waited = rng.exponential(details.wait_days, size).astype(np.int64)
    asked = np.isin(
        _column(rows, "removal_reason_main"),
        [
            code("removal_reason_main", word)
            for word in ("bleeding", "pain", "hormonal_effects", "wish_pregnancy", "no_longer_needed")
        ],
    )
    visits = [code("visit_kind", word) for word in ("removal", "removal_and_replacement")]
    told = asked & np.isin(rows["visit_kind"], visits) & happens(rng, details.wait_recorded, size)
    return np.where(told, waited, BLANK)


def _second_reasons(details: Details, rows: Columns, rng: np.random.Generator) -> Array:
    """A second reason for some removals."""
    size = len(rows["day"])
    main = _column(rows, "removal_reason_main")
    second = np.full(size, BLANK, dtype=np.int8)
    for reason, other, share in details.second_reasons:
        has_one = happens(rng, share, size) & (main == code("removal_reason_main", reason))
        second[has_one] = code("removal_reason_second", other)
    return second


def _column(rows: Columns, name: str) -> Array:
    """A column of codes, blank where no row of a small log has it."""
    return rows.get(name, np.full(len(rows["day"]), BLANK, dtype=np.int8))
