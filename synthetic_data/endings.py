"""What ends a placement and when: hazards, draws from them, and the incidence they imply."""

import numpy as np

from audit.schema.visits import VISITS
from synthetic_data.codes import BLANK, Array, Columns, code, draw_places, happens
from synthetic_data.course import Hazards
from synthetic_data.parameters import ServiceParameters
from synthetic_data.women import early_postpartum

YEAR = 365.25
NONE, EXPULSION, PREGNANCY, DEATH, PERFORATION, FIRST_REMOVAL = -1, 0, 1, 2, 3, 4


def hazard_rates(hazards: Hazards, rows: Columns, *, band: int) -> Array:
    """Hazards per woman-year in one band: one row per placement, one column per ending, perforation zero."""
    copper = np.isin(rows["device_class"], _codes("device_class", "copper"))
    small = rows["device_class"] == code("device_class", "copper_small_framed")
    pregnancy = np.where(copper, hazards.pregnancy_copper, hazards.pregnancy_hormonal)
    columns = [
        hazards.expulsion[band] * expulsion_factor(hazards, rows),
        np.where(small, hazards.pregnancy_small_copper, pregnancy),
        np.full(len(copper), hazards.death),
        np.zeros(len(copper)),
    ]
    early = hazards.bands[band] < 182
    for removal in hazards.removals:
        rate = np.where(copper, removal.copper, removal.hormonal)
        columns.append(rate * (removal.early if early else 1.0))
    return np.column_stack(columns)


def expulsion_factor(hazards: Hazards, rows: Columns) -> Array:
    """What a woman's expulsion hazard is multiplied by."""
    factor = np.where(early_postpartum(rows["placement_timing"]), hazards.expulsion_early_postpartum, 1.0)
    factor = factor * np.where(rows["age_years"] < 20, hazards.expulsion_under_20, 1.0)
    factor = factor * np.where(rows["heavy_bleeding_history"] == 1, hazards.expulsion_heavy_bleeding, 1.0)
    factor = factor * np.where(rows["parous"], 1.0, hazards.expulsion_no_birth)
    return np.asarray(factor * np.where(rows["prior_expulsion"] == 1, hazards.expulsion_again, 1.0))


def _codes(column: str, start: str) -> list[int]:
    """The codes of a column that begin with a word."""
    return [place for place, word in enumerate(VISITS[column].codes) if word.startswith(start)]


def draw_endings(parameters: ServiceParameters, rows: Columns, *, rng: np.random.Generator) -> Columns:
    """For each placement the ending, its days since placement (inf for none) and whether it was partial."""
    size = len(rows["day"])
    ending, days = _from_hazards(parameters.hazards, rows, rng)
    perforation = _perforation_days(parameters.hazards, rows["perforated_later"], rng)
    first = perforation < days
    ending = np.where(first, PERFORATION, ending)
    return {
        "ending": ending,
        "ending_days": np.where(first, perforation, days),
        "partial": (ending == EXPULSION) & happens(rng, parameters.hazards.partial, size),
    }


def _from_hazards(hazards: Hazards, rows: Columns, rng: np.random.Generator) -> tuple[Array, Array]:
    """Endings and days drawn by using up a unit exponential band by band."""
    size = len(rows["day"])
    ending, days = np.full(size, NONE), np.full(size, np.inf)
    left = rng.exponential(size=size)
    for band, (start, end) in enumerate(band_edges(hazards)):
        edges = np.cumsum(hazard_rates(hazards, rows, band=band), axis=1)
        total = edges[:, -1] / YEAR
        here = (ending == NONE) & (left <= total * (end - start))
        mark = rng.random(size) * edges[:, -1]
        ending = np.where(here, (edges <= mark[:, None]).sum(axis=1), ending)
        days = np.where(here, start + left / total, days)
        left = left - total * min(end - start, 1e6)
    return ending, days


def band_edges(hazards: Hazards) -> list[tuple[float, float]]:
    """First and last day of each band."""
    return list(zip(hazards.bands, (*hazards.bands[1:], 1e6), strict=True))


def _perforation_days(hazards: Hazards, perforated: Array, rng: np.random.Generator) -> Array:
    """Day on which a perforation comes to light; inf where there is none."""
    size = len(perforated)
    band = draw_places(rng, hazards.perforation_bands, size)
    starts = np.array(hazards.bands)[band]
    ends = np.array([*hazards.bands[1:], 1095.0])[band]
    return np.where(perforated, starts + rng.random(size) * (ends - starts), np.inf)


def true_incidence(hazards: Hazards, rows: Columns, *, day: float) -> Array:
    """The true cumulative incidence by a day: one row per placement, one column per ending.

    Exact for hazards constant within bands, other endings competing; perforation, which is drawn apart
    and strikes about 1 in 1,000, is left out.
    """
    incidence = np.zeros((len(rows["device_class"]), FIRST_REMOVAL + len(hazards.removals)))
    survival = np.ones(len(incidence))
    for band, (start, end) in enumerate(band_edges(hazards)):
        years = max(0.0, min(day, end) - start) / YEAR
        rates = hazard_rates(hazards, rows, band=band)
        total = rates.sum(axis=1)
        gone = survival * -np.expm1(-total * years)
        incidence += gone[:, None] * rates / total[:, None]
        survival = survival - gone
    return incidence


def removal_reason_codes(hazards: Hazards, ending: Array) -> Array:
    """The removal reason of each ending, blank where it is no removal."""
    codes = np.array(
        [code("removal_reason_main", removal.reason) for removal in hazards.removals], dtype=np.int8
    )
    return np.where(ending >= FIRST_REMOVAL, codes[np.maximum(ending - FIRST_REMOVAL, 0)], BLANK).astype(
        np.int8
    )
