"""The true values a recovery test should find again, worked out from the parameters and never from a log."""

from dataclasses import replace

import numpy as np
import pandas as pd

from synthetic_data.codes import Array, Columns, code, day_number, take
from synthetic_data.endings import EXPULSION, FIRST_REMOVAL, PREGNANCY, true_incidence
from synthetic_data.generate import first_appointments
from synthetic_data.insertions import perform
from synthetic_data.outcomes import failure_probability, perforation_probability
from synthetic_data.parameters import LARKFIELD, ServiceParameters
from synthetic_data.reactions import vasovagal_probability
from synthetic_data.women import draw_women, early_postpartum

TABLE = ("measure", "by", "stratum", "value")
Entries = list[tuple[str, str, str, float]]


def true_values(
    parameters: ServiceParameters = LARKFIELD, *, women: int = 100_000, seed: int = 0
) -> pd.DataFrame:
    """The true probabilities and incidences of the invented service.

    Population: first visits for a device; incidences, first placements that exchange no older device.

    Parameters
    ----------
    parameters
        The truth.
    women
        Women drawn to average over case mix. Each value is a mean of exact probabilities, not of outcomes, so
        100,000 leave an error below 0.001.
    seed
        For those women.

    Returns
    -------
    pandas.DataFrame
        ``measure, by, stratum, value``; values are proportions, 12-month incidences with other endings
        competing (`..._12_months`), or odds ratios (`..._odds_ratio`).

    Examples
    --------
    >>> truth = true_values(women=2000)
    >>> float(truth.query("measure == 'failed_insertion_odds_ratio' and stratum == 'C11'")["value"].iloc[0])
    3.0
    """
    rng = np.random.default_rng(seed)
    drawn = draw_women(_sized(parameters, women), rng=rng)
    rows = perform(parameters, drawn, first_appointments(drawn), rng=rng)
    started = take(rows, ~rows["deferred"])
    first = take(rows, rows["placed"] & ~rows["exchange"])
    entries = [
        *_odds_ratios(parameters),
        *_failures(parameters, started),
        *_reactions(parameters, started),
        *_perforations(parameters, started),
        *_incidences(parameters, first),
        *[("lost", "site_ref", site.code, site.lost) for site in parameters.sites],
    ]
    return pd.DataFrame(entries, columns=list(TABLE))


def _sized(parameters: ServiceParameters, women: int) -> ServiceParameters:
    """The same service with another number of women."""
    return replace(parameters, women=women)


def _odds_ratios(parameters: ServiceParameters) -> Entries:
    """Stated odds ratios of failure: each clinician given case mix, and after the training day."""
    name = "failed_insertion_odds_ratio"
    by_clinician = [(name, "clinician_ref", c.code, c.failure_odds) for c in parameters.clinicians]
    return [
        *by_clinician,
        (name, "attempt_date", "after_training_day", parameters.procedure.training_day_odds),
    ]


def _means(measure: str, by: str, values: Array, strata: dict[str, Array]) -> Entries:
    """The mean of the values overall and within each stratum."""
    inside = [(measure, by, name, float(values[mask].mean())) for name, mask in strata.items() if mask.any()]
    return [(measure, "overall", "all", float(values.mean())), *inside]


def _failures(parameters: ServiceParameters, rows: Columns) -> Entries:
    """Failed insertion by clinician, by cervical parity, and before and after the training day."""
    chance = failure_probability(parameters, rows)
    after = rows["day"] >= day_number(parameters.procedure.training_day)
    clinicians = {c.code: rows["clinician_ref"] == place for place, c in enumerate(parameters.clinicians)}
    name = "failed_insertion"
    return [
        *_means(name, "clinician_ref", chance, clinicians),
        *_means(name, "cervical_parity", chance, _cervical_parity(rows))[1:],
        *_means(name, "attempt_date", chance, {"before_training_day": ~after, "after_training_day": after})[
            1:
        ],
    ]


def _cervical_parity(rows: Columns) -> dict[str, Array]:
    """Has the cervix opened for a birth, yes or no."""
    return {"no": rows["no_vaginal_birth"], "yes": ~rows["no_vaginal_birth"]}


def _reactions(parameters: ServiceParameters, rows: Columns) -> Entries:
    """Any vasovagal reaction by cervical parity."""
    chance = vasovagal_probability(parameters.procedure, rows)
    return _means("vasovagal", "cervical_parity", chance, _cervical_parity(rows))


def _perforations(parameters: ServiceParameters, rows: Columns) -> Entries:
    """Perforation by breastfeeding within 36 weeks of a birth."""
    chance = perforation_probability(parameters.procedure, rows)
    exposed = (rows["breastfeeding"] == 1) & (rows["weeks_since_delivery"] <= 36)
    strata = {"yes": exposed, "no": ~exposed}
    return _means("perforation", "breastfeeding_within_36_weeks", chance, strata)


def _incidences(parameters: ServiceParameters, rows: Columns) -> Entries:
    """Expulsion, removal, pregnancy and continuation at 365 days."""
    incidence = true_incidence(parameters.hazards, rows, day=365.0)
    timing = early_postpartum(rows["placement_timing"])
    removal = incidence[:, FIRST_REMOVAL:].sum(axis=1)
    expulsion, pregnancy = incidence[:, EXPULSION], incidence[:, PREGNANCY]
    devices = {
        word: rows["device_class"] == code("device_class", word) for word, _ in parameters.people.devices
    }
    early = {"yes": timing, "no": ~timing}
    return [
        *_means("expulsion_12_months", "early_postpartum", expulsion, early),
        *_means("expulsion_12_months", "device_class", expulsion, devices)[1:],
        *_means("removal_12_months", "device_class", removal, devices),
        *_means("pregnancy_12_months", "device_class", pregnancy, devices),
        *_means("continuation_12_months", "device_class", 1 - incidence.sum(axis=1), devices),
    ]
