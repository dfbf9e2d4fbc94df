"""How the woman bears it: vasovagal reaction and pain."""

import numpy as np

from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    draw,
    draw_places,
    happens,
)
from synthetic_data.parameters import Procedure, Shares

PHASES: Shares = (("tenaculum", 0.2), ("sounding", 0.25), ("device_placement", 0.3), ("after", 0.25))
PHASES_DILATED: Shares = (("dilation", 0.5), ("sounding", 0.15), ("device_placement", 0.2), ("after", 0.15))


def vasovagal_probability(truth: Procedure, rows: Columns) -> Array:
    """The true probability of any vasovagal reaction, from births, dilation and an earlier faint."""
    base = np.where(rows["no_vaginal_birth"], truth.vasovagal_no_vaginal_birth, truth.vasovagal_vaginal_birth)
    odds = base / (1 - base)
    odds = odds * np.where(rows["dilation"] > code("dilation", "none"), truth.vasovagal_dilation_odds, 1)
    odds = odds * np.where(rows["faint_history"] == 1, truth.vasovagal_faint_history_odds, 1)
    return np.asarray(odds / (1 + odds))


def draw_reaction(truth: Procedure, rows: Columns, rng: np.random.Generator) -> Columns:
    """Vasovagal reaction with its grade and phase, syncope, transfer, and pain."""
    size = len(rows["day"])
    reacts = happens(rng, vasovagal_probability(truth, rows), size)
    grade = np.where(reacts, 1 + draw_places(rng, [share for _, share in truth.vasovagal_grades], size), 0)
    dilated = rows["dilation"] > code("dilation", "none")
    phase = np.where(
        dilated, draw(rng, "onset_phase", PHASES_DILATED, size), draw(rng, "onset_phase", PHASES, size)
    )
    severe = grade == 4
    pain = np.clip(np.round(rng.normal(np.where(rows["no_vaginal_birth"], 5.0, 3.3), 2.1)), 0, 10)
    return {
        "vasovagal_grade": grade,
        "onset_phase": np.where(reacts, phase, BLANK).astype(np.int8),
        "syncope": ((grade == 3) | (severe & happens(rng, 0.5, size))).astype(np.int8),
        "emergency_transfer": (severe & happens(rng, 0.5, size)).astype(np.int8),
        "pain_score": np.where(happens(rng, 0.75, size), pain, np.nan),
    }
