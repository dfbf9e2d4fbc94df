"""Whether an insertion succeeds: the true probabilities, and what the log says of the outcome."""

import numpy as np

from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    day_number,
    draw,
    happens,
)
from synthetic_data.parameters import Procedure, ServiceParameters, Shares
from synthetic_data.staff import TRAINING_DAYS, joined_days

FAILURE_REASONS: Shares = (
    ("could_not_pass_internal_os", 0.46),
    ("could_not_sound", 0.12),
    ("pain", 0.18),
    ("cervix_not_seen", 0.05),
    ("cavity_too_small", 0.05),
    ("expelled_at_once", 0.03),
    ("device_fault", 0.03),
    ("other", 0.02),
)
DEFERRAL_REASONS: Shares = (
    ("pregnancy_not_excluded", 0.40),
    ("infection_suspected", 0.15),
    ("patient_choice", 0.25),
    ("no_device", 0.08),
    ("staffing", 0.07),
    ("eligibility", 0.05),
)
ONWARD_PLANS: Shares = (
    ("rebook_experienced_fitter", 0.5),
    ("rebook_same_fitter", 0.2),
    ("ultrasound_list", 0.1),
    ("hospital", 0.08),
    ("other_method", 0.12),
)


def failure_probability(parameters: ServiceParameters, rows: Columns) -> Array:
    """The true probability that the starter fails, from births, history, clinician and day."""
    truth, clinicians = parameters.procedure, parameters.clinicians
    base = np.where(rows["no_vaginal_birth"], truth.failed_no_vaginal_birth, truth.failed_vaginal_birth)
    odds = base / (1 - base)
    odds = odds * np.array([c.failure_odds for c in clinicians])[rows["clinician_ref"]]
    left = np.clip(1 - (rows["day"] - joined_days(parameters)[rows["clinician_ref"]]) / TRAINING_DAYS, 0, 1)
    odds = odds * truth.trainee_odds**left
    odds = odds * np.where(rows["day"] >= day_number(truth.training_day), truth.training_day_odds, 1)
    odds = odds * np.where(rows["prior_failed_insertion"] == 1, truth.prior_failure_odds, 1)
    odds = odds * np.where(rows["cervical_surgery"] == 1, truth.cervical_surgery_odds, 1)
    odds = odds * np.where(rows["exchange"], truth.replacement_odds, 1)
    return np.asarray(odds / (1 + odds))


def perforation_probability(truth: Procedure, rows: Columns) -> Array:
    """The true probability of a perforation by this attempt, whenever it is found."""
    exposed = (rows["breastfeeding"] == 1) & (rows["weeks_since_delivery"] <= 36)
    return np.where(exposed, truth.perforation_breastfeeding, truth.perforation_other)


def draw_outcome(parameters: ServiceParameters, rows: Columns, rng: np.random.Generator) -> Columns:
    """Deferred, failed, stopped, taken over or placed, and any perforation."""
    truth, size = parameters.procedure, len(rows["day"])
    # An exchange begins with a removal, so it always starts.
    deferred = ~rows["exchange"] & happens(rng, truth.deferred, size)
    perforated = ~deferred & happens(rng, perforation_probability(truth, rows), size)
    at_once = perforated & happens(rng, truth.perforation_found_at_once, size)
    failed = ~deferred & (at_once | happens(rng, failure_probability(parameters, rows), size))
    stopped = failed & ~at_once & happens(rng, truth.stopped_on_request, size)
    taken = failed & ~at_once & ~stopped & _takes_over(parameters, rows, rng)
    rescued = taken & happens(rng, truth.take_over_success, size)
    outcome = np.select(
        [deferred, stopped, failed & ~rescued],
        [
            code("insertion_outcome", word)
            for word in ("deferred_not_started", "stopped_on_request", "failed")
        ],
        code("insertion_outcome", "placed"),
    ).astype(np.int8)
    return {
        "insertion_outcome": outcome,
        "deferred": deferred,
        "starter_failed": failed,
        "at_once": at_once,
        "perforated_later": perforated & ~failed,
        "placed": outcome == code("insertion_outcome", "placed"),
        "completed_by_ref": np.where(taken, rows["helper"], BLANK),
        "procedure_started": (~deferred).astype(np.int8),
    } | _reasons(rows, deferred, stopped, at_once, outcome, rng)


def _takes_over(parameters: ServiceParameters, rows: Columns, rng: np.random.Generator) -> Array:
    """Whether a trainer goes on with a failed attempt of somebody else."""
    truth = parameters.procedure
    chance = np.where(rows["supervised"] == 1, truth.take_over_supervised, truth.take_over_alone)
    return np.asarray((rows["helper"] != rows["clinician_ref"]) & happens(rng, chance, len(chance)))


def _reasons(
    rows: Columns, deferred: Array, stopped: Array, at_once: Array, outcome: Array, rng: np.random.Generator
) -> Columns:
    """Why it failed or was deferred, and the plan then."""
    size = len(deferred)
    reason = draw(rng, "failure_reason", FAILURE_REASONS, size)
    faint = (rows["vasovagal_grade"] >= 2) & happens(rng, 0.5, size)
    reason[faint] = code("failure_reason", "vasovagal")
    reason[stopped] = code("failure_reason", "patient_request")
    reason[at_once] = code("failure_reason", "perforation_suspected")
    confirmed = at_once & happens(rng, 0.5, size)
    ended = np.isin(
        outcome, [code("insertion_outcome", "failed"), code("insertion_outcome", "stopped_on_request")]
    )
    without = ended | deferred
    bridging = draw(
        rng,
        "bridging_method_given",
        (("yes", 0.74), ("declined", 0.1), ("not_needed", 0.08), ("no", 0.08)),
        size,
    )
    emergency = rows["indication"] == code("indication", "emergency_contraception")
    return {
        "failure_reason": np.where(ended, reason, BLANK).astype(np.int8),
        "deferral_reason": np.where(
            deferred, draw(rng, "deferral_reason", DEFERRAL_REASONS, size), BLANK
        ).astype(np.int8),
        "onward_plan": np.where(ended, draw(rng, "onward_plan", ONWARD_PLANS, size), BLANK).astype(np.int8),
        "bridging_method_given": np.where(without, bridging, BLANK).astype(np.int8),
        "bridging_oral_ec_given": np.where(without & emergency, happens(rng, 0.85, size), BLANK).astype(
            np.int8
        ),
        "device_wasted_count": np.where(ended, happens(rng, 0.4, size), 0).astype(np.int64),
        "perforation_confirmed": np.where(
            confirmed, code("perforation_confirmed", "complete_extrauterine"), BLANK
        ).astype(np.int8),
        "perforation_suspected": np.where(
            at_once, code("perforation_suspected", "device"), code("perforation_suspected", "no")
        ).astype(np.int8),
    }
