"""What each figure of an audit is: question, numerator, denominator, unknowns, method and source, said once.

The code that computes a figure, the report that prints it and the docs all read it here.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Indicator:
    """One figure of the audit.

    `needs` lists what the log must record: for each entry, at least one of its columns. `table` is the result
    table that holds the figure.
    """

    table: str
    title: str
    question: str
    numerator: str
    denominator: str
    unknowns: str
    method: str
    source: str
    needs: tuple[tuple[str, ...], ...]


_WILSON = "Wilson 95% limits; exact (Clopper-Pearson) limits where 5 or fewer either way, or fewer than 30."
_BOTH_RULES = (
    "Two rules side by side: last known (observation ends on the last day the device was known in place) and "
    "assumed in place (carried on to the freeze less a reporting lag)."
)
_CI_SOURCES = (
    "Wilson EB, J Am Stat Assoc 1927;22:209-212; Clopper CJ, Pearson ES, Biometrika 1934;26:404-413; "
    "Newcombe RG, Stat Med 1998;17:857-872."
)
_KM_SOURCES = "Kaplan EL, Meier P, J Am Stat Assoc 1958;53:457-481; limits on the log(-log) scale."
_AJ_SOURCES = "Aalen OO, Johansen S, Scand J Stat 1978;5:141-150; Putter H et al, Stat Med 2007;26:2389-2430."

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
        "Observed against expected failures standardises by parity group; its tail is an exact sum of binomials.",
        "Spiegelhalter DJ, Stat Med 2005;24:1185-1202.",
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
        f"{_WILSON} Risk ratio (Katz), difference (Newcombe), Fisher's exact test, Cochran-Armitage trend.",
        f"{_CI_SOURCES} Katz D et al, Biometrics 1978;34:469-474; Newcombe RG, Stat Med 1998;17:873-890; "
        "Armitage P, Biometrics 1955;11:375-386. The grades are local, not a published scale.",
        (("vasovagal_grade", "vasovagal_reaction", "syncope"),),
    ),
    Indicator(
        "expulsion_incidence",
        "Expulsion",
        "How many devices come out by themselves, and by when?",
        "First complete or partial expulsion (any part in the cervical canal), dated when found.",
        "Placements followed from day 0: each woman's first that is no replacement.",
        _BOTH_RULES,
        "Cumulative incidence (Aalen-Johansen), other endings competing; one minus Kaplan-Meier beside it.",
        _AJ_SOURCES,
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
        "Kaplan-Meier with log(-log) limits; log-rank test between device classes.",
        f"{_KM_SOURCES} Peto R, Peto J, J R Stat Soc A 1972;135:185-207.",
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
    # Placements and follow-up, beyond the figures above.
    Indicator(
        "check_in_higher_risk",
        "Check in women at higher risk",
        "Were the women checked whose device is likeliest to come out or perforate?",
        "As the check at 4 to 6 weeks.",
        "Placements in women who breastfeed, are within 9 months of a birth, or had a difficult insertion (firm or "
        "impassable resistance, or more than one pass).",
        "A risk that is not recorded is a group of its own.",
        f"{_WILSON} The groups follow Therapeutic Guidelines (Australia), read in a copy.",
        _CI_SOURCES,
        (
            ("device_in_situ",),
            ("breastfeeding", "weeks_since_delivery", "last_delivery_date", "resistance_met"),
        ),
    ),
    Indicator(
        "position_verified",
        "Position verified",
        "Did anyone make sure of the position after the first cycle and at six months?",
        "Position verified by imaging or by the threads, in each window.",
        "Placements whose window has closed with the device still in place.",
        "What is not in the log counts as not done.",
        f"{_WILSON} Both windows are local standards (common practice, no source).",
        _CI_SOURCES,
        (("position_verified_by",),),
    ),
    Indicator(
        "threads_not_seen",
        "Threads not seen",
        "How often were the threads missing, and where was the device?",
        "Threads once not seen; then what came first: found in the uterus, expelled, outside, taken out.",
        "Placements with a contact at which the threads were looked for.",
        "Contacted, but nobody is recorded to have looked.",
        _WILSON,
        _CI_SOURCES,
        (("threads_seen",),),
    ),
    Indicator(
        "malposition",
        "Malposition among those scanned",
        "When someone looked, where did the device lie?",
        "Low, cervical, embedded, rotated or outside the uterus; the worst of several scans.",
        "Placements scanned; routine scans apart from those led by symptoms (unscheduled, at a removal, threads "
        "not seen).",
        "Scanned, but no position recorded.",
        f"{_WILSON} Never of all placements.",
        _CI_SOURCES,
        (("position_finding",), ("position_verified_by",)),
    ),
    Indicator(
        "pelvic_infection",
        "Pelvic infection",
        "Do placements bring infection?",
        "First pelvic inflammatory disease with the device in place, suspected and treated or confirmed.",
        "Woman-years in use, under observation and free of it, in the first 20 days and later.",
        f"{_BOTH_RULES} A contact that says nothing of it tells of none.",
        "Exact Poisson (Garwood) limits; cumulative incidence at 6 weeks.",
        "Garwood F, Biometrika 1936;28:437-442. The first 20 days apart: Farley TM et al, Lancet 1992;339:785-788.",
        (("pid_diagnosed",),),
    ),
    Indicator(
        "postpartum_balance",
        "Expulsion and perforation after a birth",
        "What does placing soon after a birth cost, and in which coin?",
        "Expulsion by 6 and 12 months; confirmed perforations, whenever found.",
        "First placements, and attempts, by time since the latest birth; abortions apart, never put together.",
        f"{_BOTH_RULES} Time since birth not recorded is a band of its own.",
        "Cumulative incidence (Aalen-Johansen); exact (Clopper-Pearson) limits of a proportion.",
        f"{_AJ_SOURCES} Bands: Fassett MJ et al, Obstet Gynecol 2023;142:641-651.",
        (
            ("device_in_situ", "removal_reason_main"),
            ("weeks_since_delivery", "last_delivery_date", "placement_timing"),
        ),
    ),
    Indicator(
        "perforation_expected",
        "Perforations against published rates",
        "Are there more perforations than these women would lead one to expect?",
        "Confirmed perforations.",
        "Attempts times the published rate, by breastfeeding and up to 36 weeks or longer since a birth.",
        "Women without a birth, and groups not recorded, have no published rate and are left out of the whole.",
        "Observed/expected with exact Poisson limits, the expectation taken as known.",
        "Breslow NE, Day NE, Statistical Methods in Cancer Research II, IARC 1987. Rates: Prescriber Update "
        "2014;35(3):41-42, read.",
        (
            ("perforation_suspected", "perforation_confirmed"),
            ("breastfeeding",),
            ("weeks_since_delivery", "last_delivery_date"),
        ),
    ),
    Indicator(
        "displacement_incidence",
        "Displacement that needed action",
        "How many devices slip without coming out?",
        "Partial expulsion, or removal with malposition as main or second reason.",
        "Placements followed from day 0: each woman's first that is no replacement.",
        _BOTH_RULES,
        "Cumulative incidence (Aalen-Johansen), other endings competing.",
        _AJ_SOURCES,
        (("device_in_situ", "removal_reason_main"),),
    ),
    Indicator(
        "repeat_expulsion",
        "Expulsion after an expulsion",
        "Does a second device stay where a first one did not?",
        "Expulsion of a device whose woman had an expulsion before, in this log or by history.",
        "All placements, by an earlier expulsion.",
        f"{_BOTH_RULES} History not recorded is a group of its own.",
        "Cumulative incidence (Aalen-Johansen); several placements of one woman taken as independent.",
        _AJ_SOURCES,
        (("device_in_situ", "removal_reason_main"),),
    ),
    Indicator(
        "size_mismatch",
        "Device size and expulsion (exploratory)",
        "Do devices come out more often where the uterus lies outside their range?",
        "Expulsion, as above.",
        "First placements by the length by sound against the range of the device in the local protocol.",
        "No length or no range: cannot be assessed, a group of its own.",
        "Cumulative incidence (Aalen-Johansen). Exploratory: 235 women showed no association (Bahamondes MV et al, "
        "Int J Gynaecol Obstet 2011;113:50-53).",
        _AJ_SOURCES,
        (
            ("device_in_situ", "removal_reason_main"),
            ("sound_length_mm",),
            ("device_min_sound_mm", "device_max_sound_mm"),
        ),
    ),
    Indicator(
        "removal_by_purpose",
        "Removal by purpose",
        "What were devices taken out for?",
        "Bleeding or pain (main or second reason); hormonal effects; a plan met (wish for pregnancy, not needed, "
        "end of the planned time); at her request within 182 days.",
        "First placements followed from day 0; for hormonal effects the hormonal devices alone.",
        f"{_BOTH_RULES} A reason not recorded is none of these.",
        "Cumulative incidence (Aalen-Johansen), other endings competing, planned replacements among them.",
        _AJ_SOURCES,
        (("removal_reason_main",),),
    ),
    Indicator(
        "difficult_removal",
        "Difficult removal",
        "How many removals need more than a forceps?",
        "Removals with any difficulty recorded.",
        "Removals attempted, of devices placed elsewhere too.",
        "Whether it was difficult is not recorded.",
        _WILSON,
        _CI_SOURCES,
        (("removal_difficult",),),
    ),
    Indicator(
        "removal_on_request",
        "Removal in time when asked for",
        "Is a device taken out when she asks?",
        "Removals within the local limit (14 days unless set) after her request.",
        "Removals here for a reason of hers.",
        "The wait is not recorded. Women never offered a removal are not in the log.",
        f"{_WILSON} Median with log(-log) limits. The limit is local (common practice, no source).",
        f"{_CI_SOURCES} Brookmeyer R, Crowley J, Biometrics 1982;38:29-41.",
        (("removal_delay_days",),),
    ),
    Indicator(
        "method_continuation",
        "Continuation of the method",
        "For how long do women use a device, whichever it is?",
        "Devices whose end no new one follows within 30 days; death censors.",
        "Women from their first placement that is no replacement.",
        _BOTH_RULES,
        "Kaplan-Meier with log(-log) limits.",
        _KM_SOURCES,
        (("device_in_situ", "removal_reason_main"),),
    ),
    Indicator(
        "ectopic_pregnancy",
        "Ectopic pregnancy",
        "Was any pregnancy outside the uterus?",
        "Pregnancies with a device found to be ectopic.",
        "Woman-years in use and under observation, placements for contraception.",
        f"{_BOTH_RULES} Pregnancies whose place is not recorded are counted beside.",
        "Exact Poisson (Garwood) limits.",
        "Garwood F, Biometrika 1936;28:437-442.",
        (("pregnancy",),),
    ),
    Indicator(
        "pregnancy_after_emergency",
        "Pregnancy after emergency placement",
        "Did emergency placement prevent pregnancy?",
        "Pregnancies conceived before the placement or within 28 days of it.",
        "Emergency placements of which it is known: a pregnancy, or none on day 21 or later.",
        "No word of a pregnancy or of none from day 21 on.",
        "Exact (Clopper-Pearson) limits. The windows are common practice, no source.",
        _CI_SOURCES,
        (("pregnancy",), ("indication",)),
    ),
    Indicator(
        "unlinked_contacts",
        "Contacts without a placement",
        "Whose devices are not ours?",
        "Contacts and removals of women with no earlier placement in the log.",
        "All contacts and removals.",
        "None.",
        f"{_WILSON} Described, not judged.",
        _CI_SOURCES,
        (("device_in_situ", "removal_reason_main"),),
    ),
)

BY_TABLE = {indicator.table: indicator for indicator in INDICATORS}
