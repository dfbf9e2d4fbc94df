"""The figures that rest on a single insertion visit: access, care given, events of the day, volume."""

from audit.schema.indicator import CI_SOURCES, WILSON, Indicator

_QUANTILE_SOURCES = (
    "Thompson WR, Ann Math Stat 1936;7:122-128; Conover WJ, Practical Nonparametric Statistics, 1999."
)
_SPR = "US Selected Practice Recommendations for Contraceptive Use, 2024 (read)."
_NATIONAL_AUDIT = "A UK national benchmarking audit of intrauterine contraception, 2023 (read)."
_CLINIC_AUDIT = "A published UK clinic audit, 2015-16 (read second-hand)."
_COMMON = "Common practice, no source."
_BEGUN = "Insertion visits begun"
_BLANK = "A blank is not recorded, never a no; it is shown beside."


def _care(
    item: str,
    title: str,
    question: str,
    numerator: str,
    source: str,
    needs: tuple[tuple[str, ...], ...],
    *,
    denominator: str = f"{_BEGUN}, as far as recorded.",
    unknowns: str = _BLANK,
) -> Indicator:
    """One item of the care given at an insertion visit."""
    return Indicator(
        "process_of_care",
        title,
        question,
        numerator,
        denominator,
        unknowns,
        WILSON,
        f"Standard: {source}",
        (("insertion_outcome",), *needs),
        item,
    )


CARE_ITEMS = (
    _care(
        "pregnancy_excluded",
        "Pregnancy excluded",
        "Was pregnancy reasonably excluded?",
        "Visits with pregnancy excluded by criteria or by a test.",
        _SPR,
        (("pregnancy_excluded",),),
        denominator=f"{_BEGUN}, as far as recorded. Exception: emergency attempts, judged by their window instead.",
    ),
    _care(
        "infection_risk",
        "Infection risk assessed",
        "Was the risk of infection assessed and a test offered where indicated?",
        "Visits with the risk assessed, and a test taken, offered or not indicated.",
        _CLINIC_AUDIT,
        (("infection_risk_assessed",), ("sti_test",)),
        unknowns=f"{_BLANK} One answer that is no decides.",
    ),
    _care(
        "pelvis_assessed",
        "Pelvis assessed first",
        "Was the pelvis assessed before an instrument was used?",
        "Visits with a bimanual examination, an ultrasound or both.",
        _CLINIC_AUDIT,
        (("bimanual_done",),),
    ),
    _care(
        "assistant_present",
        "Trained assistant present",
        "Was a trained assistant in the room?",
        "Visits with one present.",
        _CLINIC_AUDIT,
        (("chaperone_or_assistant_present",),),
    ),
    _care(
        "consent_and_risks",
        "Consent and risks recorded",
        "Was consent recorded, and were all the risks discussed?",
        "Visits with verbal or written consent, and all risks discussed; some of them is a no.",
        "A published UK clinic audit (read).",
        (("consent_recorded",), ("risks_discussed",)),
        unknowns=f"{_BLANK} One answer that is no decides.",
    ),
    _care(
        "bleeding_information",
        "Told how bleeding may change",
        "Was she told what bleeding to expect?",
        "Visits at which she was told.",
        _NATIONAL_AUDIT,
        (("bleeding_change_info",),),
    ),
    _care(
        "pain_options",
        "Pain relief offered",
        "Were options for pain relief offered?",
        "Visits at which they were offered.",
        _NATIONAL_AUDIT,
        (("pain_options_discussed",),),
    ),
    _care(
        "device_information",
        "Told about the device",
        "Was she told the device's name, how long it lasts and from when it protects?",
        "Visits at which she was told.",
        _NATIONAL_AUDIT,
        (("info_device_given",),),
        denominator="Insertion visits that placed a device, as far as recorded.",
    ),
    _care(
        "thread_advice",
        "Told to check threads",
        "Was she told how to check the threads and when to come back?",
        "Visits at which she was told.",
        _NATIONAL_AUDIT,
        (("thread_check_advice",),),
        denominator="Insertion visits that placed a device, as far as recorded.",
    ),
    _care(
        "uterus_measured",
        "Uterus measured first",
        "Was the uterus measured before the frame was chosen?",
        "Visits with the uterus measured and a length recorded.",
        f"A published UK clinic audit (read); that it guides the choice of a frame: {_COMMON.lower()}",
        (("uterus_measured_by",), ("sound_length_mm", "cavity_length_us_mm")),
        denominator=f"{_BEGUN}, as far as recorded. Exception: failed before anything was measured, for a reason "
        "that lets nothing be measured.",
        unknowns=f"{_BLANK} Measured without a length is not recorded.",
    ),
    _care(
        "analgesia_advice",
        "Advised to take a pain killer",
        "Was she advised to take a pain killer about half an hour before?",
        "Visits for which she was advised. Advice given is no proof of benefit.",
        _COMMON,
        (("analgesia_advised",),),
        denominator=f"{_BEGUN} that were planned, as far as recorded. Exceptions: emergency attempts, and a pain "
        "killer contraindicated.",
    ),
    _care(
        "resistance_handled",
        "No force at resistance",
        "Was resistance met by further dilation, ultrasound or stopping?",
        "Visits with graduated dilation repeated, ultrasound used, or stopped without a device.",
        f"{_COMMON} Failures fell after such training: Dermish A et al, Contraception 2016 (PMID 26820912).",
        (("resistance_met",), ("second_dilation_done",)),
        denominator=f"{_BEGUN} with firm or impassable resistance, as far as recorded. Exceptions: stopped on her "
        "request, and dilation declined.",
        unknowns=f"{_BLANK} Whether dilation was repeated decides; ultrasound counts where it is recorded.",
    ),
    _care(
        "no_routine_drugs",
        "No drug as a routine",
        "Were misoprostol and antibiotics kept for those who need them?",
        "Visits at which neither was given as a routine.",
        f"American College of Obstetricians and Gynecologists, Committee Opinion 672, 2016; {_SPR}",
        (("misoprostol_used",), ("antibiotic_prophylaxis",)),
        unknowns=f"{_BLANK} One drug given as a routine decides.",
    ),
)

OF_ATTEMPTS: tuple[Indicator, ...] = (
    Indicator(
        "waiting_time",
        "Wait from request to attempt",
        "How long do women wait?",
        "Days from the day she asked, or was referred, to the first attempt: median and 90th centile.",
        "First attempts of each need with that day recorded: a woman's first, one after a placement, one more than "
        "90 days after the first.",
        "The day not recorded, or after the attempt. Women who never came are not in the log.",
        "Sample quantiles; limits from the order statistics whose exact binomial tails reach 95%.",
        _QUANTILE_SOURCES,
        (("insertion_outcome",), ("referral_date",)),
    ),
    *CARE_ITEMS,
    Indicator(
        "devices_wasted",
        "Devices wasted",
        "What do failures cost in devices?",
        "Devices opened and not left in place.",
        "Devices opened: those placed and those wasted.",
        "Attempts with no count of wasted devices, except one placed at a single pass, which wasted none.",
        "Exact Poisson (Garwood) limits, per 100 devices opened.",
        "Garwood F, Biometrika 1936;28:437-442.",
        (("insertion_outcome",), ("device_wasted_count",)),
    ),
    Indicator(
        "safety_net",
        "Safety net when no device was placed",
        "Did she leave with a plan and with contraception?",
        "A plan, and a method supplied, declined or not needed; in an emergency oral emergency contraception too.",
        "Visits that ended without a device: failed, stopped or deferred; as far as recorded.",
        f"{_BLANK} One part that is missing decides.",
        WILSON,
        f"{CI_SOURCES} Standard: {_COMMON.lower()}",
        (("insertion_outcome",), ("onward_plan",), ("bridging_method_given",)),
    ),
    Indicator(
        "emergency_treatment",
        "Emergency drug or transfer",
        "Did anyone need emergency treatment?",
        "Visits with atropine, a transfer to hospital or a grade 4 reaction.",
        "Insertion visits begun at which the log says yes, or rules out both drug and transfer.",
        "A grade below 4 rules both out, and so do two answers of no; less is not known.",
        "Exact (Clopper-Pearson) limits, per 1,000 visits.",
        CI_SOURCES,
        (("vasovagal_grade", "atropine_given", "emergency_transfer"),),
    ),
    Indicator(
        "pain_scores",
        "Pain at insertion",
        "How painful was it?",
        "The greatest pain she reported, 0 to 10: median, quartiles, and scores of 7 or more.",
        "Insertion visits begun with a score.",
        "Visits without a score, counted beside.",
        "Sample quantiles with limits from exact order statistics; Wilson's and exact limits for 7 or more.",
        f"{_QUANTILE_SOURCES} {CI_SOURCES}",
        (("pain_score",),),
    ),
    Indicator(
        "vasovagal_by_phase",
        "When reactions began",
        "At which step did the reaction begin?",
        "Reactions of each grade that began at each step.",
        "Insertion visits with a reaction of that grade and the step recorded.",
        "Reactions whose step is not recorded.",
        WILSON,
        CI_SOURCES,
        (("vasovagal_grade", "vasovagal_reaction", "syncope"), ("onset_phase",)),
    ),
    Indicator(
        "vasovagal_by_technique",
        "Reactions with and without dilation or anaesthetic",
        "Did women given it react more or less often, once it had been given?",
        "Reactions that began with that step or after it; earlier ones cannot come from it.",
        "Insertion visits with the step and the reaction recorded, and no reaction before the step.",
        "The technique, the reaction or its step not recorded.",
        f"{WILSON} Ratio pooled over vaginal birth (Mantel-Haenszel), which precedes the step; nothing that "
        "follows it is allowed for.",
        f"{CI_SOURCES} Greenland S, Robins JM, Biometrics 1985;41:55-68.",
        (
            ("vasovagal_grade", "vasovagal_reaction", "syncope"),
            ("onset_phase",),
            ("dilation", "local_anaesthetic"),
        ),
    ),
    Indicator(
        "clinician_figures",
        "Each clinician's own figures",
        "What did I do, what became of it, and what would the service's figure make ordinary?",
        "Own failures, first passes, reactions, scores of 7 or more, expulsions in the first year: each by itself.",
        "Own attempts with a known outcome; for reactions and pain, visits at which the first attempt was own; for "
        "expulsion, own placements a year old. Failures under supervision are apart.",
        f"{_BLANK} Attempts without a code are nobody's.",
        f"{WILSON} Ordinary counts: those whose exact binomial tail at the service's figure exceeds 2.5% on either "
        "side. The service's figure is told to a clinician only where at least 3 others have 20 known outcomes "
        "each and none of them holds more than half of what these others hold together.",
        f"{CI_SOURCES} Spiegelhalter DJ, Stat Med 2005;24:1185-1202; Hundepool A et al, Statistical Disclosure "
        "Control, 2012 (from memory).",
        (("insertion_outcome",), ("clinician_ref",)),
    ),
    Indicator(
        "clinician_volume",
        "Volume and certification",
        "Does each clinician do enough, and with a current certificate?",
        "Insertions begun in twelve months; clinicians certified, or trainers, at their latest attempt.",
        "Clinicians with an attempt in twelve months; those in training are counted apart.",
        "Clinicians whose standing is not recorded.",
        WILSON,
        f"{CI_SOURCES} Standard: {_NATIONAL_AUDIT}",
        (("insertion_outcome",), ("clinician_ref",)),
    ),
    Indicator(
        "learning_curve",
        "Learning curve and CUSUM",
        "Are a learner's failures as rare as is acceptable? Has a clinician's figure moved?",
        "Failed attempts in order, supervised ones too; one taken over counts against the starter.",
        "The clinician's own attempts with known outcome, from the first in the log to the end of the period; "
        "fewer than 20 give counts only. Those of one day come in order of their visits' references.",
        "Attempts without a known outcome are left out and counted; those without a clinician's code are left out.",
        "Seen less expected failures, expected as for failed insertions per clinician. Learning: LC-CUSUM over all "
        "attempts of who has worked under supervision, until its signal. Monitoring: CUSUM of twice the odds, the "
        "women allowed for, over independent attempts; it begins again after a signal. Levels: the service's "
        "settings, else its own proportion and twice its odds, when no signal speaks for a sign-off. Each limit "
        "is the smallest, by a Markov chain, that gives a false signal within 100 attempts with a chance of 5% at "
        "most (local choice, common practice, no source).",
        "Steiner SH et al, Biostatistics 2000;1:441-452. Biau DJ, Porcher R, Stat Med 2010;29:1900-1909. Brook D, "
        "Evans DA, Biometrika 1972;59:539-549. Lovegrove J et al, Lancet 1997;350:1128-1130.",
        (("insertion_outcome",), ("clinician_ref",)),
    ),
)
