"""Who is at which site on which day, who starts, and who stands by."""

import numpy as np

from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    day_number,
    happens,
)
from synthetic_data.parameters import ServiceParameters

TRAINING_DAYS = 365
CLOSELY_SUPERVISED_DAYS = 183


def assign_clinicians(parameters: ServiceParameters, rows: Columns, *, rng: np.random.Generator) -> Array:
    """The clinician who starts: the one already named, or one drawn among those at the site that day.

    A clinician with a stated mix sees exactly that share of women without a vaginal birth, in expectation;
    the others share what is left in proportion to their work.
    """
    weights = _present(parameters, rows["site_ref"], rows["day"])
    weights *= _mix_factors(parameters, weights, rows["no_vaginal_birth"])
    edges = np.cumsum(weights, axis=1)
    marks = rng.random(len(edges)) * edges[:, -1]
    drawn = (edges <= marks[:, None]).sum(axis=1)
    return np.where(rows["clinician_ref"] == BLANK, drawn, rows["clinician_ref"])


def _present(parameters: ServiceParameters, site: Array, day: Array) -> Array:
    """Each clinician's share of the work at that site on that day; rows add to 1."""
    clinicians = parameters.clinicians
    by_site = np.array([[c.share * (s.code in c.sites) for c in clinicians] for s in parameters.sites])
    weights = by_site[site] * (day[:, None] >= joined_days(parameters)[None, :])
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))


def _mix_factors(parameters: ServiceParameters, weights: Array, no_vaginal_birth: Array) -> Array:
    """How many times its share each clinician gets of women like this one."""
    overall = parameters.people.nulliparous + parameters.people.caesarean_only
    mixes = np.array(
        [np.nan if c.no_vaginal_birth is None else c.no_vaginal_birth for c in parameters.clinicians]
    )
    factors = np.where(no_vaginal_birth[:, None], mixes / overall, (1 - mixes) / (1 - overall))
    fixed = ~np.isnan(mixes)
    taken = np.where(fixed, weights * factors, 0).sum(axis=1)
    rest = (1 - taken) / np.where(fixed, 0, weights).sum(axis=1)
    return np.where(fixed, factors, rest[:, None])


def joined_days(parameters: ServiceParameters) -> Array:
    """First day of each clinician; long ago for those who are no trainees."""
    return np.array([day_number(c.joined) if c.joined else 0 for c in parameters.clinicians])


def draw_standing(parameters: ServiceParameters, rows: Columns, rng: np.random.Generator) -> Columns:
    """Training status, supervision and assistance on the day."""
    size = len(rows["day"])
    trainer_places = np.flatnonzero([c.trainer for c in parameters.clinicians])
    days_in = rows["day"] - joined_days(parameters)[rows["clinician_ref"]]
    supervised = happens(rng, np.where(days_in < 183, 0.9, np.where(days_in < 365, 0.4, 0.0)), size)
    status = np.where(
        np.isin(rows["clinician_ref"], trainer_places),
        code("training_status", "trainer"),
        np.where(days_in < 365, code("training_status", "in_training"), code("training_status", "certified")),
    )
    helper = _trainer_at(parameters, rows, rng)
    return {
        "training_status": status.astype(np.int8),
        "supervised": supervised.astype(np.int8),
        "supervisor_ref": np.where(supervised, helper, BLANK),
        "helper": helper,
        "chaperone_or_assistant_present": happens(rng, 0.97, size).astype(np.int8),
    }


def _trainer_at(parameters: ServiceParameters, rows: Columns, rng: np.random.Generator) -> Array:
    """A trainer who works at that site, to supervise, to take over or to be rebooked to."""
    weights = _present(parameters, rows["site_ref"], rows["day"])
    edges = np.cumsum(weights * np.array([c.trainer for c in parameters.clinicians]), axis=1)
    marks = rng.random(len(edges)) * edges[:, -1]
    return np.asarray((edges <= marks[:, None]).sum(axis=1))
