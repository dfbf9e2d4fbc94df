"""Words and units that more than one part of the package needs: said once, here."""


def _listed(words: str) -> tuple[str, ...]:
    """The words of a list with semicolons."""
    return tuple(words.split("; "))


# Outcomes for which published figures, and so margins, exist.
COMPARED_OUTCOMES = (
    "failed_insertion",
    "vasovagal",
    "perforation",
    "expulsion",
    "continuation",
    "removal_bleeding_or_pain",
    "pregnancy",
    "pregnancy_after_emergency_placement",
    "ectopic_pregnancy",
    "ectopic_share_of_pregnancies",
    "pelvic_infection",
    "threads_not_seen",
    "malposition",
    "outcome_known",
    "check_done",
)

# What can become of a device in its first year, as bounds are given for.
FIRST_YEAR_ENDINGS = ("expulsion", "removal", "any")

# (unit in the log, unit of our column) -> factor
UNITS: dict[tuple[str, str], float] = {
    ("mm", "mm"): 1.0,
    ("cm", "mm"): 10.0,
    ("hours", "hours"): 1.0,
    ("days", "hours"): 24.0,
    ("weeks", "weeks"): 1.0,
    ("days", "weeks"): 1.0 / 7.0,
    ("0-10", "0-10"): 1.0,
    ("0-100", "0-10"): 0.1,
}

# Yes and no as English, French, German, Spanish, Portuguese and Dutch logs write them.
YES_IN: dict[str, tuple[str, ...]] = {
    "English": ("yes", "y", "true", "t", "1", "x", "✓"),
    "French": ("oui", "o", "vrai", "v"),
    "German": ("ja", "j", "wahr", "w"),
    "Spanish": ("sí", "si", "s", "verdadero", "v"),
    "Portuguese": ("sim", "s", "verdadeiro", "v"),
    "Dutch": ("ja", "j", "waar", "w"),
}
NO_IN: dict[str, tuple[str, ...]] = {
    "English": ("no", "n", "false", "f", "0"),
    "French": ("non", "n", "faux", "f"),
    "German": ("nein", "n", "falsch", "f"),
    "Spanish": ("no", "n", "falso", "f"),
    "Portuguese": ("não", "nao", "n", "falso", "f"),
    "Dutch": ("nee", "neen", "n", "onwaar", "o"),
}
_YES = tuple(dict.fromkeys(word for words in YES_IN.values() for word in words))
_NO = tuple(dict.fromkeys(word for words in NO_IN.values() for word in words))
# Yes in one language and no in another, so read as neither until the settings declare it.
TWO_FACED_WORDS = tuple(word for word in _YES if word in _NO)
YES_WORDS = tuple(word for word in _YES if word not in TWO_FACED_WORDS)
NO_WORDS = tuple(word for word in _NO if word not in TWO_FACED_WORDS)

# Why a value is not there. The visits keep one kind of unknown; these are counted beside it.
UNKNOWN_KINDS: dict[str, tuple[str, ...]] = {
    "not_known": _listed(
        "unknown; not known; unk; ?; don't know; dont know; uncertain; unsure; inconnu; inconnue; ne sait pas; "
        "unbekannt; weiß nicht; weiss nicht; desconocido; desconocida; no sabe; desconhecido; desconhecida; "
        "não sabe; onbekend; weet niet"
    ),
    "not_recorded": _listed(
        "not recorded; nr; not documented; not stated; non renseigné; non renseigne; keine angabe; k.a.; "
        "no consta; no registrado; sin dato; sin datos; não consta; não registado; não registrado; "
        "niet vermeld; niet genoteerd"
    ),
    "not_asked": _listed(
        "not asked; non demandé; non demande; nicht gefragt; no preguntado; não perguntado; niet gevraagd"
    ),
    "declined": _listed(
        "declined; declined to answer; declined to say; prefer not to say; refused; refus; "
        "refuse de répondre; abgelehnt; verweigert; rehúsa; rechaza; recusou; geweigerd"
    ),
    "not_applicable": _listed(
        "n/a; na; not applicable; n.a.; sans objet; non applicable; entfällt; nicht zutreffend; no aplica; "
        "no procede; não se aplica; n.v.t.; nvt; niet van toepassing"
    ),
}
# Not applicable is no gap, so it reads like an empty cell.
UNKNOWN_WORDS = tuple(
    word for kind, words in UNKNOWN_KINDS.items() if kind != "not_applicable" for word in words
)
BLANK_WORDS = ("", "-", "--", ".", *UNKNOWN_KINDS["not_applicable"])

# How people write the units above after a number.
UNIT_WORDS: dict[str, str] = {
    "h": "hours",
    "hr": "hours",
    "hrs": "hours",
    "hour": "hours",
    "d": "days",
    "day": "days",
    "w": "weeks",
    "wk": "weeks",
    "wks": "weeks",
    "week": "weeks",
    "y": "years",
    "yr": "years",
    "yrs": "years",
    "year": "years",
}

# A spreadsheet's own words for a cell it could not work out.
ERROR_WORDS = ("#n/a", "#ref!", "#value!", "#div/0!", "#name?", "#null!", "#num!")

NULLIPARA_WORDS = _listed(
    "nullip; nullips; nulliparous; nullipara; nullipare; nulípara; nulipara; nil; none; primigravida"
)
PRIMIPARA_WORDS = _listed("primip; primips; primiparous; primipara; primipare; primípara")
# Routes of birth as notes abbreviate them (common practice, no source).
VAGINAL_WORDS = _listed(
    "svd; nvd; svb; nvb; vd; vb; avd; avb; vbac; nsvd; vag; vaginal; vaginal birth; vaginal delivery; "
    "normal birth; normal delivery; forceps; ventouse; vacuum; kiwi; instrumental; voie basse; "
    "parto vaginal; spontan"
)
CAESAREAN_WORDS = _listed(
    "cs; c/s; lscs; emcs; elcs; emlscs; ellscs; c section; caesarean; caesarean section; caesarian; cesarean; "
    "césarienne; cesarienne; cesárea; cesarea; cesariana; kaiserschnitt; sectio; keizersnede"
)

# What stands before a grade or between a score and its total.
GRADE_WORDS = ("grade", "gr", "g", "grad", "grado", "graad", "grau")
NO_GRADE_WORDS = ("none", "nil", "no")
OUT_OF_WORDS = ("/", "out of", "sur", "von", "de", "van")

# What clinics write above each column, besides our own name for it. The idea counts, not the very word:
# `audit.ingest.drafting_words` says which words mean the same, in six languages.
HEADING_WORDS: dict[str, str] = {
    "patient_ref": "patient; patient ref; patient number; record ref; record number; patient record number",
    "visit_ref": "visit ref; visit number; contact ref; contact number; row ref; procedure ref; "
    "procedure number",
    "visit_date": "date; visit date; date seen; contact date; procedure date; fit date; day visit; "
    "event date",
    "visit_kind": "visit kind; contact kind; kind; visit reason; purpose visit; procedure kind; procedure; "
    "appointment for; event kind",
    "site_ref": "site; clin; site ref; site name; name site; location; ward",
    "clinician_ref": "clinician; clin; clinician ref; clinician initials; fit clinician; started by",
    "completed_by_ref": "finish; finish clinician; second clinician; clinician 2; fit finished by; "
    "taken over by",
    "supervisor_ref": "supervisor; sup; supervisor ref; trainer; supervising clinician; trainer ref",
    "supervised": "supervised; sup; supervisor present; under supervision; supervised yes no; "
    "trainer in room",
    "training_status": "training; clinician training; training status; training level; clinician level; "
    "clinician grade; clinician status; status clinician; level training; clinician standing",
    "chaperone_or_assistant_present": "assistant; assistant present; chaperone or assistant; second person",
    "referral_date": "referral; referral date; date request; request date; date booked; booking date; "
    "waiting since",
    "age_years": "age; age years; age visit; age fit",
    "births": "birth; birth number; parity; children; number children; number parity; deliveries in all",
    "vaginal_births": "vaginal birth; number vaginal birth; vaginal; number vaginal",
    "caesarean_births": "caesarean; caesarean birth; number caesarean; caesarean section; caesarean sections",
    "parity_text": "parity; parity text; obstetric history; obs hx; gravida para; obstetric formula",
    "ever_pregnant": "ever pregnant; ever pregnancy; pregnancy before; ever been pregnant",
    "last_delivery_date": "last birth date; date last birth; last birth; birth date baby; date baby born",
    "weeks_since_delivery": "week since birth; week postpartum; week after birth; postpartum week; "
    "since birth; time since birth; day since birth; day postpartum; weeks pp",
    "placement_timing": "timing; fit timing; timing fit; timing category; postpartum timing; when fit",
    "breastfeeding": "breastfeeding; currently breastfeeding; breastfeeding yes no",
    "bmi": "bmi",
    "prior_iud": "device before; ever device; used device before; device used before; ever had device",
    "prior_expulsion": "expulsion before; lost before; lost one before; device lost before; ever expulsion",
    "prior_failed_insertion": "fail before; fail fit before; fit fail before; ever fail fit",
    "cervical_surgery": "cervix surgery; surgery cervix; lletz; cone; cervix treatment",
    "uterine_anomaly_or_fibroid": "fibroid; uterus anomaly; fibroid or anomaly; uterus shape; cavity shape",
    "heavy_bleeding_history": "heavy bleeding; heavy bleeding before; heavy menstrual bleeding; heavy",
    "faint_history": "faints; faint before; faints before; syncope before; ever faint; vasovagal before; "
    "needle faint",
    "indication": "indication; reason device; device reason; indication device; reason fit; why device",
    "ec_hours_since_upsi": "hour since sex; time since sex; hour sex; emergency hour; hour after sex; "
    "day since sex",
    "ec_basis": "emergency basis; in time because; in time; basis emergency; emergency reason; "
    "emergency criterion",
    "ec_days_after_ovulation": "day after ovulation; day since ovulation; ovulation day; day from ovulation",
    "bridging_oral_ec_given": "emergency tablet; emergency tablet given; oral emergency; "
    "oral emergency given; morning after tablet",
    "device_class": "device; device kind; device fit; kind device; device name; device model; model; "
    "device used; method; method kind",
    "device_licensed_years": "duration; duration year; device duration; good for; lasts; year use; "
    "device life; lifespan; device valid year; licensed year",
    "device_min_sound_mm": "shortest uterus; min uterus length; minimum sound; min sound; min length; "
    "device min length",
    "device_max_sound_mm": "longest uterus; max uterus length; maximum sound; max sound; max length; "
    "device max length",
    "device_wasted_count": "device wasted; wasted; number wasted; number device wasted; wasted device",
    "pregnancy_excluded": "pregnancy excluded; pregnancy ruled out; excluded pregnancy",
    "infection_risk_assessed": "infection risk; infection risk assessed; risk infection; sti risk; sexual history",
    "sti_test": "sti test; sti screen; chlamydia test; test sti; swab",
    "consent_recorded": "consent; consent recorded; consent given; consent kind",
    "risks_discussed": "risks discussed; risks explained; discussed risks; risks told",
    "bleeding_change_info": "bleeding change; bleeding change info; told bleeding; bleeding explained",
    "pain_options_discussed": "pain options; pain options discussed; pain relief offered; offered pain relief",
    "analgesia_advised": "analgesia advised; painkiller advised; advised painkiller",
    "misoprostol_used": "misoprostol; misoprostol used",
    "antibiotic_prophylaxis": "antibiotic; antibiotic prophylaxis; antibiotic given",
    "bimanual_done": "bimanual; bimanual done; pelvic exam; pelvic assessment",
    "procedure_started": "start; procedure start; fit start; attempt start; attempt made",
    "uterus_measured_by": "measure; measured with; uterus measure; length measured; how measured; "
    "sound method",
    "sound_length_mm": "sound; sound length; uterus length; length sound; cavity length; uterus sound; "
    "length; uterus sound length; uterine cavity length",
    "cavity_length_us_mm": "cavity length ultrasound; ultrasound length; ultrasound cavity length; "
    "cavity length by ultrasound",
    "tenaculum_used": "tenaculum; tenaculum used; cervix held; cervix tenaculum",
    "local_anaesthetic": "local; local anaesthetic; anaesthetic; anaesthetic used; numbing; pain relief; "
    "anaesthetic kind; kind anaesthetic",
    "dilation": "dilation; cervix dilation; dilation used; dilation method",
    "dilation_max_mm": "largest dilation; dilation max; max dilation; hegar; dilation size",
    "resistance_met": "resistance; os resistance; internal os; resistance internal os",
    "second_dilation_done": "second dilation; dilation again; second dilation done; dilation repeated",
    "ultrasound_guidance": "ultrasound guidance; ultrasound guided; ultrasound during fit; guided by ultrasound",
    "attempts_same_visit": "attempts; number attempts; passes; number passes; tries; attempts visit",
    "insertion_outcome": "result; fit result; result fit; fit success; procedure result; attempt result; "
    "how it went; status fit; fit status; visit result",
    "failure_reason": "fail reason; reason fail; reason not fit; reason unable; failure cause; "
    "fit fail reason",
    "deferral_reason": "reason not start; defer reason; reason defer; not start reason; why postponed; "
    "reason not done",
    "onward_plan": "plan; plan after; onward plan; plan after fail; follow on plan",
    "bridging_method_given": "bridging; bridging method; bridging given; bridging method given; cover given",
    "info_device_given": "device info; device info given; device explained; told device",
    "thread_check_advice": "thread advice; thread check advice; thread check explained; told threads",
    "vasovagal_grade": "vasovagal grade; faint grade; grade faint; grade vasovagal; reaction grade; "
    "grade reaction",
    "vasovagal_reaction": "vasovagal; vasovagal reaction; faint; faint reaction",
    "syncope": "syncope; fainted fully; loss consciousness",
    "onset_phase": "faint start; vasovagal start; reaction start; onset phase; start reaction; faint when; "
    "step at reaction",
    "atropine_given": "atropine; atropine given",
    "emergency_transfer": "hospital; sent hospital; emergency hospital; emergency transfer; "
    "transfer hospital",
    "perforation_suspected": "perforation; perforation suspected; suspected perforation",
    "pain_score": "pain; pain score; pain scale; pain fit; worst pain; pain max; score pain; pain level",
    "contact_result": "contact; contact result; result contact; phone result; was contact; contact made; "
    "contact status; phone answer",
    "device_in_situ": "where device; where is device; device where; device status; device in place; "
    "device in situ; device location; device position; in situ; status device; device still in place; "
    "state device; device present",
    "event_date_reported": "happened; happened on; date happened; date reported; event date; reported date; "
    "date of event; when happened",
    "threads_seen": "thread; thread seen; thread visible; thread check; thread felt",
    "position_verified_by": "position checked; position check; position verified; check by; "
    "position confirmed by; how check; position method; check method",
    "position_finding": "position; device position; position finding; ultrasound result; "
    "ultrasound finding; position on ultrasound; ultrasound position",
    "pid_diagnosed": "infection; pelvic infection; infection diagnosed; uterus infection",
    "pregnancy": "pregnancy; pregnancy found; pregnancy test; pregnancy with device; pregnancy result; "
    "pregnant now",
    "pregnancy_conception_est": "conception; conception date; date conception; conceived about; "
    "estimated conception",
    "device_status_at_conception": "device at conception; device conception; device when conceived; "
    "device status conception",
    "perforation_confirmed": "perforation confirmed; confirmed perforation; perforation found; "
    "perforation result",
    "removal_reason_main": "remove reason; reason remove; main reason remove; reason out; remove why; "
    "remove for; remove reason main; main remove reason",
    "removal_reason_second": "second reason; second remove reason; remove reason 2; other reason; "
    "reason remove 2; remove reason second; other remove reason",
    "removal_difficult": "remove trouble; remove difficult; difficult remove; difficulty remove; "
    "remove difficulty; remove problem; remove ease",
    "removal_delay_days": "remove wait; wait remove; wait for remove; day request to remove; remove delay; "
    "day until remove; remove wait day; day waited; waited day",
    "replacement_at_once": "replace; replace at once; new device at once; new device; replace same day; "
    "new one at once; immediate replace; replace now; same day replace",
}
