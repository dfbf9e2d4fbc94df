"""The care given at an insertion visit, drawn apart from everything else so that nothing else changes with it."""

import numpy as np

from audit.schema.derived import SEVERE_GRADE
from audit.schema.visits import VISITS
from synthetic_data.care_course import Care, Words
from synthetic_data.codes import BLANK, FLAG_WORDS, Array, Columns, code, draw_places, happens

# What is drawn here and nowhere else.
CARE_COLUMNS = frozenset(
    {name for name, _ in (*Care().at_every_visit, *Care().where_placed)}
    | {"resistance_met", "second_dilation_done", "atropine_given"}
)
# A stream of random numbers of its own for each seed.
STREAM = 1


def draw_care(care: Care, rows: Columns, *, seed: int) -> Columns:
    """The columns of care for every row of a log; blank on rows that are no insertion begun.

    Parameters
    ----------
    care
        The truth to draw from.
    rows
        The log's rows with what happened at each insertion.
    seed
        The seed of the log; the numbers drawn here are a stream apart from the log's own.

    Returns
    -------
    dict of arrays
        Columns of `audit.schema.visits.VISITS`, among them ``onward_plan``, which is filled in for deferrals.
    """
    rng = np.random.default_rng([seed, STREAM])
    size = len(rows["day"])
    outcome = rows["insertion_outcome"]
    deferred = outcome == code("insertion_outcome", "deferred_not_started")
    begun = (outcome != BLANK) & ~deferred
    placed = outcome == code("insertion_outcome", "placed")
    drawn = {name: _where(begun, _drawn(rng, name, words, size)) for name, words in care.at_every_visit}
    drawn |= {name: _where(placed, _drawn(rng, name, words, size)) for name, words in care.where_placed}
    drawn |= _resistance(care, rows, begun, rng)
    severe = rows["vasovagal_grade"] == SEVERE_GRADE
    atropine = severe & happens(rng, care.atropine_at_grade_4, size)
    drawn["atropine_given"] = _where(begun, atropine.astype(np.int8))
    plan = _drawn(rng, "onward_plan", care.plan_after_deferral, size)
    drawn["onward_plan"] = np.where(deferred, plan, rows["onward_plan"]).astype(np.int8)
    return drawn


def _resistance(care: Care, rows: Columns, begun: Array, rng: np.random.Generator) -> Columns:
    """Resistance at the internal os, and whether dilation was repeated then."""
    size = len(begun)
    # Rows that are no insertion have no births; nothing is kept of what is drawn for them.
    none_vaginal = rows["vaginal_births"] <= 0
    resistance = np.where(
        none_vaginal,
        _drawn(rng, "resistance_met", care.resistance_no_vaginal_birth, size),
        _drawn(rng, "resistance_met", care.resistance_vaginal_birth, size),
    )
    closed = rows["failure_reason"] == code("failure_reason", "could_not_pass_internal_os")
    resistance = np.where(closed, code("resistance_met", "impassable"), resistance)
    hard = np.isin(resistance, [code("resistance_met", word) for word in ("firm", "impassable")])
    again = np.where(
        hard,
        _drawn(rng, "second_dilation_done", care.second_dilation, size),
        np.where(resistance == BLANK, BLANK, code("second_dilation_done", "not_needed")),
    )
    return {
        "resistance_met": _where(begun, resistance),
        "second_dilation_done": _where(begun, again),
    }


def _drawn(rng: np.random.Generator, column: str, words: Words, size: int) -> Array:
    """Codes (or flags) of a column drawn with the given shares; a blank word is blank."""
    known = VISITS[column].codes or FLAG_WORDS
    places = np.array([known.index(word) if word else BLANK for word, _ in words], dtype=np.int8)
    return places[draw_places(rng, [share for _, share in words], size)]


def _where(rows: Array, values: Array) -> Array:
    """The values on these rows, blank elsewhere."""
    return np.where(rows, values, BLANK).astype(np.int8)
