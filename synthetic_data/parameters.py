"""The known truth behind the invented service: every probability, odds and hazard it is drawn from.

Nothing here is a real clinic. Each figure says where it comes from: a paper, or "assumed". Odds multiply one
another; hazards are per woman-year and multiply likewise.
"""

from dataclasses import dataclass, field, replace

from synthetic_data.care_course import Care
from synthetic_data.course import FollowUp, Hazards
from synthetic_data.details_course import Details

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
class ServiceParameters:
    """An invented service. `women` first visits give slightly more placements in all."""

    name: str = "Larkfield Coast Contraception Service"
    first_day: str = "2023-10-01"
    last_insertion: str = "2026-09-30"
    data_to: str = "2026-10-14"
    women: int = 4150
    sites: tuple[Site, ...] = SITES
    clinicians: tuple[Clinician, ...] = CLINICIANS
    people: People = field(default_factory=People)
    procedure: Procedure = field(default_factory=Procedure)
    hazards: Hazards = field(default_factory=Hazards)
    follow_up: FollowUp = field(default_factory=FollowUp)
    details: Details = field(default_factory=Details)
    care: Care = field(default_factory=Care)


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
        Nobody is lost, moves or declines; every removal is done here; and a call on the last day finds who
        still has her device, so that time in place is known in full. For recovery tests, where the truth of
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
        closing_call=True,
    )
    return replace(parameters, sites=sites, follow_up=follow_up)
