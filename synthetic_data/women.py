"""Who comes to the invented service, and for what: drawn before anything happens to them."""

import numpy as np

from audit.schema.visits import VISITS
from synthetic_data.codes import (
    BLANK,
    Array,
    Columns,
    code,
    day_number,
    draw,
    draw_places,
    happens,
    working_day,
)
from synthetic_data.parameters import People, ServiceParameters

NEW_DEVICE, EXCHANGE, REMOVAL_ONLY = 0, 1, 2


def draw_women(parameters: ServiceParameters, *, rng: np.random.Generator) -> Columns:
    """One row per woman: site, births, age, timing, history, indication, device, first day and purpose."""
    size, people = parameters.women, parameters.people
    women = _births(people, rng, size)
    women |= _timing(people, rng, women)
    after_abortion = women["placement_timing"] == code("placement_timing", "post_abortion_same_day")
    women["ever_pregnant"] = np.where(after_abortion, 1, women["ever_pregnant"]).astype(np.int8)
    women |= _history(people, rng, women)
    women["purpose"] = _purpose(people, rng, women)
    women |= _indication(people, rng, women)
    women["site_ref"] = draw_places(rng, [site.share for site in parameters.sites], size)
    women["lost"] = happens(rng, np.array([site.lost for site in parameters.sites])[women["site_ref"]], size)
    first, last = day_number(parameters.first_day), day_number(parameters.last_insertion)
    # A first day that falls on a weekend moves, so that "later than the first day" means a later visit.
    women["first_day"] = working_day(rng.integers(first, last - 1, size))
    return women


def _births(people: People, rng: np.random.Generator, size: int) -> Columns:
    """Births by route, whether ever pregnant, and age."""
    group = draw_places(
        rng, [people.nulliparous, people.caesarean_only, 1 - people.nulliparous - people.caesarean_only], size
    )
    more = 1 + np.minimum(rng.poisson(0.75, size), 6)
    caesarean_too = (group == 2) & happens(rng, people.caesarean_too, size)
    age = np.where(
        group == 0, rng.normal(*people.nulliparous_age, size), rng.normal(*people.parous_age, size)
    )
    return {
        "age_years": np.clip(age, 15 + np.where(group > 0, 1 + more, 0), 54).astype(np.int64),
        "vaginal_births": np.where(group == 2, more, 0),
        "caesarean_births": np.where(group == 1, np.minimum(more, 4), caesarean_too.astype(np.int64)),
        "ever_pregnant": ((group > 0) | happens(rng, people.ever_pregnant_nulliparous, size)).astype(np.int8),
        "no_vaginal_birth": group < 2,
        "parous": group > 0,
    }


def _timing(people: People, rng: np.random.Generator, women: Columns) -> Columns:
    """When in relation to a birth, and breastfeeding."""
    parous, size = women["parous"], len(women["parous"])
    timing = np.where(
        parous,
        draw(rng, "placement_timing", people.parous_timing, size),
        draw(rng, "placement_timing", people.nulliparous_timing, size),
    ).astype(np.int8)
    weeks = np.round(12 + rng.gamma(1.3, 130, size))
    weeks = np.where(early_postpartum(timing), 0.0, weeks)
    outpatient = timing == code("placement_timing", "early_postpartum_outpatient")
    weeks = np.where(outpatient, rng.integers(4, 13, size), weeks)
    weeks = np.where(parous, np.minimum(weeks, 1400), np.nan)
    feeding = (weeks <= 36) & happens(rng, people.breastfeeding, size)
    return {
        "placement_timing": timing,
        "weeks_since_delivery": weeks,
        "breastfeeding": feeding.astype(np.int8),
    }


def early_postpartum(timing: Array) -> Array:
    """Placed within days of the birth."""
    codes = [
        code("placement_timing", word) for word in ("post_placental_10min", "early_postpartum_inpatient")
    ]
    return np.isin(timing, codes)


def _history(people: People, rng: np.random.Generator, women: Columns) -> Columns:
    """What the notes say of earlier years."""
    size = len(women["parous"])
    flags = {
        "prior_iud": people.prior_iud,
        "heavy_bleeding_history": people.heavy_bleeding,
        "faint_history": people.faint_history,
        "cervical_surgery": people.cervical_surgery,
    }
    history: Columns = {name: happens(rng, share, size).astype(np.int8) for name, share in flags.items()}
    history["bmi"] = np.round(np.clip(rng.normal(26.5, 5.0, size), 17, 55), 1)
    return history


def _purpose(people: People, rng: np.random.Generator, women: Columns) -> Array:
    """A new device, an exchange of one placed elsewhere, or only its removal."""
    size = len(women["parous"])
    keep = 1 - people.replacing_outside_device - people.removing_outside_device
    purpose = draw_places(rng, [keep, people.replacing_outside_device, people.removing_outside_device], size)
    interval = women["placement_timing"] == code("placement_timing", "interval")
    return np.where(interval, purpose, NEW_DEVICE)


def _indication(people: People, rng: np.random.Generator, women: Columns) -> Columns:
    """Why the device, and which."""
    size = len(women["parous"])
    emergency = women["placement_timing"] == code("placement_timing", "emergency")
    indication = np.full(size, code("indication", "contraception"), dtype=np.int8)
    heavy = (women["heavy_bleeding_history"] == 1) & happens(rng, 0.6, size)
    indication[heavy] = code("indication", "heavy_bleeding")
    older = (women["age_years"] >= 47) & happens(rng, 0.4, size)
    indication[older] = code("indication", "hrt_endometrial_protection")
    indication[emergency] = code("indication", "emergency_contraception")
    device = draw(rng, "device_class", people.devices, size)
    device[heavy | older] = code("device_class", "lng_52")
    # A few non-copper devices for this purpose are left in: a finding the audit should make.
    copper = emergency & happens(rng, 0.98, size)
    device = np.where(copper, draw(rng, "device_class", people.copper_devices, size), device)
    hours, basis, days = _emergency_window(people, rng, emergency)
    return {
        "indication": indication,
        "device_class": device.astype(np.int8),
        "device_licensed_years": _licensed_years(people, device),
        "ec_hours_since_upsi": hours,
        "ec_basis": basis,
        "ec_days_after_ovulation": days,
    }


def _licensed_years(people: People, device: Array) -> Array:
    """Years the protocol allows each device."""
    years = np.full(len(VISITS["device_class"].codes), np.nan)
    for word, allowed in people.licensed_years:
        years[code("device_class", word)] = allowed
    return years[device]


def _emergency_window(
    people: People, rng: np.random.Generator, emergency: Array
) -> tuple[Array, Array, Array]:
    """Hours since intercourse, the reason it counts as in time, and days after ovulation."""
    size = len(emergency)
    late = emergency & happens(rng, people.late_emergency, size)
    by_ovulation = late & happens(rng, 0.5, size)
    hours = np.where(late, rng.integers(121, 170, size), rng.integers(6, 118, size)).astype(float)
    unrecorded = ~late & happens(rng, 0.04, size)
    hours[~emergency | unrecorded] = np.nan
    basis = np.full(size, BLANK, dtype=np.int8)
    basis[emergency] = code("ec_basis", "within_120h_of_intercourse")
    basis[late] = code("ec_basis", "outside_window")
    basis[by_ovulation] = code("ec_basis", "within_5d_of_ovulation")
    basis[emergency & unrecorded] = code("ec_basis", "unknown")
    days = np.where(by_ovulation, rng.integers(0, 6, size), np.nan)
    return hours, basis, days
