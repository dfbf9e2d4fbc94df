"""What each figure of an audit is: question, numerator, denominator, unknowns, method and source, said once.

The code that computes a figure, the report that prints it and the docs all read it here.
"""

from audit.schema.indicator import AJ_SOURCES as _AJ_SOURCES
from audit.schema.indicator import BOTH_RULES as _BOTH_RULES
from audit.schema.indicator import CI_SOURCES as _CI_SOURCES
from audit.schema.indicator import KM_SOURCES as _KM_SOURCES
from audit.schema.indicator import WILSON as _WILSON
from audit.schema.indicator import Indicator
from audit.schema.indicators_of_attempts import OF_ATTEMPTS
from audit.schema.indicators_of_placements import OF_PLACEMENTS

INDICATORS: tuple[Indicator, ...] = (
    Indicator(
        "failed_insertions",
        "Failed insertions",
        "How often could a device not be placed?",
        "Insertions begun that ended without a device in the cavity, stopped on request included.",
        "Insertions begun (an instrument passed the external os, or a tenaculum was applied) with known outcome. "
        "Deferrals are counted apart.",
        "An insertion without a recorded outcome is counted beside, never as a success.",
        _WILSON,
        _CI_SOURCES,
        (("insertion_outcome",),),
    ),
    Indicator(
        "failed_insertions_by_clinician",
        "Failed insertions per clinician",
        "Does any clinician's figure differ from the service's by more than chance, and do the women explain it?",
        "Failed attempts owned by the clinician who started; one taken over counts against the starter.",
        "The clinician's own independent attempts with known outcome in twelve months.",
        "Attempts without a clinician's code are a row of their own and are never classified.",
        "Exact binomial tail against the service's proportion: 2.5% on one side asks, 0.1% calls for a review. "
        "Expected failures are the service's, by a logistic model of the whole log (vaginal birth, age band, "
        "earlier failure, emergency, cervical surgery; what is not recorded is a level of its own) with its level "
        "moved to the window, where 10 failures were seen for each term, else by parity group; their tail is an "
        "exact sum of binomials. Proportions drawn towards those of all: beta-binomial model.",
        "Spiegelhalter DJ, Stat Med 2005;24:1185-1202. Peduzzi P et al, J Clin Epidemiol 1996;49:1373-1379.",
        (("insertion_outcome",), ("clinician_ref",)),
    ),
    Indicator(
        "failure_reasons",
        "Why insertions failed",
        "What stopped them?",
        "Failed attempts with the reason.",
        "Failed attempts.",
        "A reason that is not recorded is a row of its own.",
        _WILSON,
        _CI_SOURCES,
        (("insertion_outcome",), ("failure_reason",)),
    ),
    Indicator(
        "first_pass_success",
        "Placed at the first pass",
        "How often did one pass of one device do?",
        "Attempts that placed the device with a single pass.",
        "Attempts with known outcome; one that placed a device counts only where the passes are recorded.",
        "Placed, but the number of passes not recorded.",
        _WILSON,
        _CI_SOURCES,
        (("insertion_outcome",), ("attempts_same_visit",)),
    ),
    Indicator(
        "vasovagal_by_parity",
        "Vasovagal reactions",
        "Who reacted, and how badly?",
        "Insertion visits with a reaction: any (grade 1 or more), grade 2 or more, loss of consciousness.",
        "Insertion visits with the reaction recorded.",
        "A blank is unknown, not grade 0, unless the service charts by exception and says so.",
        f"{_WILSON} Risk ratio (Katz), difference (Newcombe), Fisher's exact test, Cochran-Armitage trend. By "
        "vaginal birth within age bands: Mantel-Haenszel ratio and difference, Tarone's test that ages are alike.",
        f"{_CI_SOURCES} Katz D et al, Biometrics 1978;34:469-474; Newcombe RG, Stat Med 1998;17:873-890; "
        "Armitage P, Biometrics 1955;11:375-386; Greenland S, Robins JM, Biometrics 1985;41:55-68. The grades are "
        "local, not a published scale.",
        (("vasovagal_grade", "vasovagal_reaction", "syncope"),),
    ),
    Indicator(
        "expulsion_incidence",
        "Expulsion",
        "How many devices come out by themselves, and by when?",
        "First complete or partial expulsion (any part in the cervical canal), dated when found.",
        "Placements followed from day 0: each woman's first that is no replacement.",
        _BOTH_RULES,
        "Cumulative incidence (Aalen-Johansen), other endings competing; one minus Kaplan-Meier beside it. Groups "
        "are compared by Gray's test, device classes within each timing, and by cause-specific hazard ratios (Cox) "
        "where 10 expulsions were seen for each term: of timing over all, of age, births and device in one timing. "
        "Over all placements, repeats included, standard errors take those of one woman together (not poolable).",
        f"{_AJ_SOURCES} Gray RJ, Ann Stat 1988;16:1141-1154; Cox DR, J R Stat Soc B 1972;34:187-220; "
        "Lin DY, Wei LJ, J Am Stat Assoc 1989;84:1074-1078.",
        (("device_in_situ", "removal_reason_main"),),
    ),
    Indicator(
        "removal_incidence",
        "Removal",
        "How many devices are taken out, and why?",
        "Removals, by group of reasons.",
        "Placements followed from day 0: each woman's first that is no replacement.",
        f"{_BOTH_RULES} A reason not recorded is a group of its own.",
        "Cumulative incidence (Aalen-Johansen), other endings competing.",
        _AJ_SOURCES,
        (("removal_reason_main", "device_in_situ"),),
    ),
    Indicator(
        "continuation_curve",
        "Continuation",
        "For how long do devices stay in use?",
        "Devices without any ending; a replacement ends the device, death censors.",
        "Placements followed from day 0: each woman's first that is no replacement.",
        _BOTH_RULES,
        "Kaplan-Meier with log(-log) limits; log-rank test between device classes; days in use in the first year, "
        "copper less hormonal (restricted means). Rates as older papers print them: actuarial life tables by "
        "months; net means all causes acting, gross one cause acting alone. In the theory of competing risks net "
        "means the latter.",
        f"{_KM_SOURCES} Peto R, Peto J, J R Stat Soc A 1972;135:185-207; Royston P, Parmar MKB, BMC Med Res "
        "Methodol 2013;13:152; Potter RG, Demography 1966;3:297-304; Tietze C, Lewit S, Stud Fam Plann "
        "1973;4:35-42.",
        (("device_in_situ", "removal_reason_main"),),
    ),
    Indicator(
        "person_time_rates",
        "Rates per 100 woman-years",
        "How often do endings happen for the time devices are in use?",
        "Endings of each kind.",
        "Woman-years in use and under observation, split by time since placement.",
        _BOTH_RULES,
        "Exact Poisson (Garwood) limits; a period against the service's own earlier rates, band by band.",
        "Garwood F, Biometrika 1936;28:437-442.",
        (("device_in_situ", "removal_reason_main"),),
    ),
    Indicator(
        "perforation",
        "Perforation",
        "Was any uterus perforated?",
        "Perforations confirmed by imaging or surgery, whenever found, each counted once against its insertion.",
        "Insertion attempts with a known outcome, failed ones included.",
        "Attempts at which neither yes nor no is recorded; with more than 20% of them only bounds are given.",
        "Exact (Clopper-Pearson) limits.",
        _CI_SOURCES,
        (("perforation_suspected", "perforation_confirmed"),),
    ),
    Indicator(
        "pregnancy",
        "Pregnancy with a device",
        "Did anyone become pregnant?",
        "Conceptions after placement with the device in place, partly or unnoticed out.",
        "Woman-years in use and under observation, placements for contraception.",
        _BOTH_RULES,
        "Exact Poisson (Garwood) limits, per 100 woman-years (the Pearl index).",
        "Garwood F, Biometrika 1936;28:437-442.",
        (("pregnancy",),),
    ),
    Indicator(
        "outcome_known",
        "Outcome known at 12 months",
        "Of how many women do we know what became of the device?",
        "Placements with an ending of a known kind, or the device known in place on day 330 or later.",
        "Placements at least a year and 30 days before the freeze.",
        "Moved away, declined and not reached count as not known.",
        _WILSON,
        _CI_SOURCES,
        (("device_in_situ", "contact_result"),),
    ),
    Indicator(
        "check_done",
        "Check at 4 to 6 weeks",
        "Was she checked when the check was due?",
        "Placements with a contact on day 21 to 56 that shows where the device is.",
        "Placements whose window has closed and whose device had not come out before it opened.",
        "A check that is not in the log counts as not done.",
        f"{_WILSON} The window is a local standard (common practice, no source).",
        _CI_SOURCES,
        (("device_in_situ",),),
    ),
    Indicator(
        "emergency_placement_in_time",
        "Emergency placement in time",
        "Were emergency devices offered in time?",
        "Emergency attempts within 120 hours of the earliest unprotected intercourse, or 5 days of ovulation.",
        "All emergency attempts.",
        "Hours not recorded and no basis given: not in time as far as the log shows.",
        _WILSON,
        "US Selected Practice Recommendations for Contraceptive Use, 2024 (intrauterine page, read).",
        (("indication",), ("ec_hours_since_upsi", "ec_basis", "ec_days_after_ovulation")),
    ),
    *OF_ATTEMPTS,
    *OF_PLACEMENTS,
)

BY_TABLE = {indicator.item or indicator.table: indicator for indicator in INDICATORS}
