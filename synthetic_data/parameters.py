"""The known truth behind the invented service: every probability, odds and hazard it is drawn from.

Nothing here is a real clinic. Each figure says where it comes from: a paper, or "assumed". Odds multiply one
another; hazards are per woman-year and multiply likewise.
"""

from dataclasses import dataclass, replace

Shares = tuple[tuple[str, float], ...]

CASE_MIX_ONLY_CLINICIAN = "C05"
UNEXPLAINED_CLINICIAN = "C11"
LOSING_SITE = "TOWER"
TRAINING_DAY = "2025-04-01"


@dataclass(frozen=True)
class Site:
    """One place: how much of the work it does, and how its women are followed. All assumed."""

    code: str
    share: float
    attends_check: float
    answers_call: float
    lost: float  # never in touch again, unless with trouble; drawn before and apart from every outcome


@dataclass(frozen=True)
class Clinician:
    """One clinician. Shares are of the work at a site, before those present are made to add up; assumed."""

    code: str
    sites: tuple[str, ...]
    share: float
    trainer: bool = False
    joined: str = ""  # a trainee's first day; training lasts a year
    no_vaginal_birth: float | None = None  # share of own first visits; None takes whoever is left
    failure_odds: float = 1.0


SITES = (
    Site("HARBOUR", 0.52, attends_check=0.76, answers_call=0.86, lost=0.07),
    Site("MEADOW", 0.34, attends_check=0.73, answers_call=0.85, lost=0.08),
    Site(LOSING_SITE, 0.14, attends_check=0.30, answers_call=0.45, lost=0.50),
)

CLINICIANS = (
    Clinician("C01", ("HARBOUR", "MEADOW", "TOWER"), 0.09, trainer=True),
    Clinician("C02", ("HARBOUR", "MEADOW"), 0.08, trainer=True),
    Clinician("C03", ("HARBOUR",), 0.09),
    Clinician("C04", ("HARBOUR", "MEADOW"), 0.08),
    Clinician(CASE_MIX_ONLY_CLINICIAN, ("HARBOUR", "MEADOW"), 0.11, no_vaginal_birth=0.75),
    Clinician("C06", ("MEADOW",), 0.07),
    Clinician("C07", ("HARBOUR",), 0.07),
    Clinician("C08", ("TOWER",), 0.06),
    Clinician("C09", ("TOWER", "MEADOW"), 0.05),
    Clinician("C10", ("HARBOUR",), 0.05),
    Clinician(UNEXPLAINED_CLINICIAN, ("HARBOUR", "MEADOW"), 0.11, failure_odds=3.0),
    Clinician("C12", ("HARBOUR",), 0.05, joined="2023-10-01"),
    Clinician("C13", ("MEADOW",), 0.05, joined="2024-10-01"),
    Clinician("C14", ("HARBOUR",), 0.05, joined="2025-10-01"),
)


@dataclass(frozen=True)
class People:
    """Who comes. Assumed throughout, shaped like a mixed community service."""

    nulliparous: float = 0.42
    caesarean_only: float = 0.09
    caesarean_too: float = 0.08  # of women with a vaginal birth
    nulliparous_age: tuple[float, float] = (26.0, 6.0)  # mean, standard deviation
    parous_age: tuple[float, float] = (33.5, 6.5)
    ever_pregnant_nulliparous: float = 0.15
    parous_timing: Shares = (
        ("post_placental_10min", 0.03),
        ("early_postpartum_inpatient", 0.05),
        ("early_postpartum_outpatient", 0.13),
        ("post_abortion_same_day", 0.03),
        ("emergency", 0.05),
        ("interval", 0.71),
    )
    nulliparous_timing: Shares = (
        ("post_abortion_same_day", 0.03),
        ("emergency", 0.09),
        ("interval", 0.88),
    )
    breastfeeding: float = 0.60  # of women within 36 weeks of a birth
    heavy_bleeding: float = 0.12
    faint_history: float = 0.06
    cervical_surgery: float = 0.05
    prior_iud: float = 0.25
    replacing_outside_device: float = 0.10  # first visit exchanges a device placed elsewhere
    removing_outside_device: float = 0.04  # first and only visit takes one out
    devices: Shares = (
        ("lng_52", 0.50),
        ("copper_t_380", 0.20),
        ("lng_19_5", 0.13),
        ("copper_small_framed", 0.06),
        ("lng_13_5", 0.05),
        ("copper_frameless", 0.03),
        ("copper_other_framed", 0.03),
    )
    copper_devices: Shares = (
        ("copper_t_380", 0.80),
        ("copper_small_framed", 0.15),
        ("copper_frameless", 0.05),
    )
    # Years of use the protocol of the place allows, class by class; assumed.
    licensed_years: Shares = (
        ("lng_52", 8.0),
        ("copper_t_380", 10.0),
        ("lng_19_5", 5.0),
        ("copper_small_framed", 5.0),
        ("lng_13_5", 3.0),
        ("copper_frameless", 5.0),
        ("copper_other_framed", 5.0),
    )
    late_emergency: float = 0.08  # placed beyond 120 hours; half of them within 5 days of ovulation


@dataclass(frozen=True)
class Procedure:
    """What happens in the room."""

    deferred: float = 0.04  # assumed
    # Harvey 2012 (ANZJOG): failure 5% of 996 attempts, adjusted odds ratio 5.19 nulliparous; ours 5.44.
    failed_vaginal_birth: float = 0.020
    failed_no_vaginal_birth: float = 0.100
    prior_failure_odds: float = 2.0  # assumed
    cervical_surgery_odds: float = 1.5  # assumed
    replacement_odds: float = 0.4  # assumed: replacements fail less often, common practice, no source
    trainee_odds: float = 2.5  # assumed; on the first day, falling evenly on the log scale to 1 after a year
    # Dermish 2016 (PMID 26820912): failure 12.8% before and 4.3% after skills training; ours is milder.
    training_day: str = TRAINING_DAY
    training_day_odds: float = 0.60
    stopped_on_request: float = 0.07  # of failures, assumed
    take_over_supervised: float = 0.50  # of failures, assumed
    take_over_alone: float = 0.08  # of failures, assumed
    take_over_success: float = 0.85  # assumed
    dilated_no_vaginal_birth: float = 0.22  # assumed
    dilated_vaginal_birth: float = 0.05  # assumed
    # Farmer & Webb 2003 (JFPRHC 29:227): slow pulse commoner in nulliparous women; the sizes are assumed.
    vasovagal_vaginal_birth: float = 0.022
    vasovagal_no_vaginal_birth: float = 0.065
    vasovagal_dilation_odds: float = 2.0
    vasovagal_faint_history_odds: float = 3.0
    vasovagal_grades: Shares = (("1", 0.60), ("2", 0.29), ("3", 0.09), ("4", 0.02))  # assumed
    # Heinemann 2015 (Contraception 91:274-9): 5.6 against 0.7 per 1,000 insertions while breastfeeding and
    # within 36 weeks of a birth, against neither.
    perforation_breastfeeding: float = 0.0056
    perforation_other: float = 0.0007
    perforation_found_at_once: float = 0.30  # assumed
    returns_after_failure: float = 0.60  # assumed
    returns_after_deferral: float = 0.70  # assumed
    rebooked_to_trainer: float = 0.70  # assumed


@dataclass(frozen=True)
class RemovalRate:
    """Removals for one reason per woman-year; in the first 182 days times `early`. Assumed, see `Hazards`."""

    reason: str
    copper: float
    hormonal: float
    early: float = 1.0
    replaced_at_once: float = 0.0


@dataclass(frozen=True)
class Hazards:
    """What ends a placement. Bands are days since placement: 0-42, 43-182, 183-365, later."""

    bands: tuple[float, ...] = (0.0, 42.0, 182.0, 365.0)
    # Assumed so that women without a multiplier reach 4.3% at 12 months; front-loaded as in Madden 2014
    # (PMID 25198262; 10.2% at 36 months over all women).
    expulsion: tuple[float, ...] = (0.150, 0.045, 0.020, 0.012)
    # Fassett 2023 (Obstet Gynecol 142:641-51): 5.34 within three days of a birth.
    expulsion_early_postpartum: float = 5.0
    expulsion_under_20: float = 2.26  # Madden 2014, hormonal devices, age 14-19
    expulsion_heavy_bleeding: float = 2.84  # Fassett 2023
    expulsion_no_birth: float = 0.59  # Madden 2014
    expulsion_again: float = 3.0  # assumed
    partial: float = 0.40  # of expulsions, assumed
    # Heinemann 2015 (Contraception 91:280-3): 0.06 and 0.52 per 100 woman-years.
    pregnancy_hormonal: float = 0.0006
    pregnancy_copper: float = 0.0052
    pregnancy_small_copper: float = 0.0150  # assumed; trials of small frames give 4.8% at 3 years
    # Delayed perforations come to light in the first year; split over the bands, assumed.
    perforation_bands: tuple[float, ...] = (0.45, 0.40, 0.15, 0.0)
    death: float = 0.0006  # assumed
    # Assumed so that 12-month continuation is near the 88% (hormonal) and 84% (copper) of Peipert 2011
    # (Obstet Gynecol 117:1105-13).
    removals: tuple[RemovalRate, ...] = (
        RemovalRate("bleeding", 0.050, 0.020, early=1.8, replaced_at_once=0.08),
        RemovalRate("pain", 0.018, 0.012, early=1.8, replaced_at_once=0.05),
        RemovalRate("hormonal_effects", 0.0, 0.028, early=1.3, replaced_at_once=0.10),
        RemovalRate("wish_pregnancy", 0.030, 0.026, early=0.3),
        RemovalRate("infection", 0.002, 0.002, early=2.0),
        RemovalRate("malposition", 0.004, 0.004, early=1.8, replaced_at_once=0.40),
        RemovalRate("no_longer_needed", 0.008, 0.006, early=0.5),
        RemovalRate("partner_or_social", 0.003, 0.003),
        RemovalRate("wish_other_method", 0.010, 0.008),
        RemovalRate("other_medical", 0.004, 0.004, replaced_at_once=0.20),
    )


@dataclass(frozen=True)
class FollowUp:
    """How the service learns what happened. Assumed throughout."""

    moved_away: float = 0.018  # per woman-year
    declined: float = 0.010  # per woman-year
    symptom_visit: float = 0.15  # per woman-year, the device found in place
    removed_here: float = 0.88
    returns_with_trouble: float = 0.88
    returns_with_trouble_if_lost: float = 0.65
    days_to_return: float = 8.0
    missed_call_recorded: float = 0.60
    replaced_after_expulsion: float = 0.45
    returns_after_unknown_ending: float = 0.08
    pregnant_after_unnoticed_expulsion: float = 0.04


@dataclass(frozen=True)
class ServiceParameters:
    """An invented service. `women` first visits give slightly more placements in all."""

    name: str = "Larkfield Coast Contraception Service"
    first_day: str = "2023-10-01"
    last_insertion: str = "2026-09-30"
    data_to: str = "2026-10-14"
    women: int = 4150
    sites: tuple[Site, ...] = SITES
    clinicians: tuple[Clinician, ...] = CLINICIANS
    people: People = People()
    procedure: Procedure = Procedure()
    hazards: Hazards = Hazards()
    follow_up: FollowUp = FollowUp()


LARKFIELD = ServiceParameters()


def fully_followed(parameters: ServiceParameters = LARKFIELD) -> ServiceParameters:
    """The same service with every woman reached at every contact and every ending learned on its day.

    Parameters
    ----------
    parameters
        The service to start from.

    Returns
    -------
    ServiceParameters
        Nobody is lost, moves or declines; every removal is done here. For recovery tests, where the truth of
        the hazards should come back without a bias from follow-up.

    Examples
    --------
    >>> {site.lost for site in fully_followed().sites}
    {0.0}
    """
    sites = tuple(replace(site, attends_check=1.0, answers_call=1.0, lost=0.0) for site in parameters.sites)
    follow_up = replace(
        parameters.follow_up,
        moved_away=0.0,
        declined=0.0,
        removed_here=1.0,
        returns_with_trouble=1.0,
        returns_with_trouble_if_lost=1.0,
        days_to_return=0.0,
    )
    return replace(parameters, sites=sites, follow_up=follow_up)
