"""What clinics write for our codes, besides the words of the code itself.

As for headings the idea counts, not the very word, so a language needs a line only where its words are not
those of `audit.ingest.drafting_words`.
"""

CODE_WORDS: dict[str, dict[str, str]] = {
    "visit_kind": {
        "pre_assessment": "assessment; counselling; counseling; pre fit; pre visit; before fit; conseil; "
        "asesoramiento; consejeria; beratung; intake",
        "insertion": "new fit; first fit; device fit; fit visit",
        "follow_up": "check; tc; check visit; after fit; thread check; device check; post fit check; "
        "after fit check",
        "unscheduled": "walk in; unplanned; drop in; emergency visit; difficult visit; no programada; "
        "non programme; non programmee; ungeplant; ongepland; not plan; nao programada",
        "remote_contact": "phone; phone contact; phone check; phone visit; text message; online",
        "removal": "device remove; remove visit",
        "removal_and_replacement": "replace; device replace; remove fit; remove replace; change",
    },
    "training_status": {
        "in_training": "training; trainee",
        "certified": "qualified; independent; trained; accredited; competent; diplome; diplomee; certifie; "
        "certifiee; certificada; certificado; titulada; zertifiziert; gecertificeerd; autonome",
        "certified_lapsed": "lapsed; expired; not current",
        "trainer": "instructor; teacher; faculty; formateur; formatrice; formador; formadora; ausbilder; "
        "opleider",
    },
    "placement_timing": {
        "interval": "ordinary; routine; standard; usual; not postpartum; normal; intervalle; intervalo; "
        "habituel; a distance; intervall",
        "post_placental_10min": "birth; post placental; postplacental; within 10 min; immediate postpartum; "
        "immediately after birth; with caesarean; after placenta; postpartum immediat; postpartum inmediato",
        "early_postpartum_inpatient": "ward after birth; ward postpartum; before discharge; "
        "early postpartum; postpartum; postpartum inpatient; within 48 hour; maternity ward",
        "early_postpartum_outpatient": "week after birth; week postpartum; postpartum; postpartum clinic; "
        "6 week postpartum; late postpartum",
        "post_abortion_same_day": "same day abortion; abortion same day; with abortion; at abortion; "
        "abortion; immediate post abortion; post abortion",
        "post_abortion_later": "after abortion; week after abortion; since abortion; abortion",
        "emergency": "emergency method",
    },
    "indication": {
        "contraception": "method",
        "emergency_contraception": "emergency; morning after; emergency method",
        "heavy_bleeding": "heavy; heavy bleeding",
        "hrt_endometrial_protection": "hrt; endometrial protection; menopause; ths; thm; hormonal replace; "
        "hst",
        "dysmenorrhoea_or_endometriosis": "dysmenorrhoea; endometriosis; bleeding pain; endometriose; "
        "dysmenorrhee; dismenorrea; adenomyosis; endometriosis pain",
    },
    "ec_basis": {
        "within_120h_of_intercourse": "within 120 hour; within 5 day sex; under 120 hour; 120 hour; "
        "within 120 h",
        "within_5d_of_ovulation": "within 5 day ovulation; ovulation; before implantation; 5 day ovulation",
        "outside_window": "outside; too late; late; over 120 hour; out of time",
    },
    "device_class": {
        "copper_t_380": "copper t; copper 380; t 380; t 380 a; copper 380 a; copper t 380 a; copper standard",
        "copper_other_framed": "copper other; copper framed",
        "copper_small_framed": "copper small; copper small frame; copper nulliparous",
        "copper_frameless": "frameless; copper not frame; copper not framed; copper chain; copper string; "
        "copper bead",
        "lng_52": "hormonal 52; hormonal 52 device",
        "lng_19_5": "hormonal 19.5; hormonal 19.5 device",
        "lng_13_5": "hormonal 13.5; hormonal 13.5 device",
    },
    "pregnancy_excluded": {
        "yes_criteria": "criteria; by criteria; by history",
        "yes_test": "test; by test; pregnancy test; test negative",
        "no": "not; not excluded",
    },
    "sti_test": {
        "not_indicated": "not need",
        "offered_declined": "decline",
        "taken_before": "before; done before",
        "taken_same_visit": "same day",
        "indicated_not_offered": "not offered; missed",
    },
    "consent_recorded": {
        "verbal": "spoken; oral consent",
        "written": "signed; form signed",
        "no": "not; none",
    },
    "bimanual_done": {
        "bimanual": "bimanual exam; manual",
        "ultrasound": "ultrasound exam",
        "both": "bimanual and ultrasound",
        "none": "not; not done",
    },
    "ultrasound_guidance": {
        "no": "not; none",
        "transabdominal": "abdominal",
        "transvaginal": "vaginal",
    },
    "uterus_measured_by": {
        "sound": "uterus sound",
        "inserter_scale": "inserter; scale; inserter tube; with inserter",
        "ultrasound": "ultrasound measure",
        "sound_and_ultrasound": "both; sound ultrasound; ultrasound sound",
        "not_measured": "not measure; not done; not",
    },
    "local_anaesthetic": {
        "none": "not; nothing; not anaesthetic; not given",
        "topical_gel": "gel; lidocaine gel; lignocaine gel; topical; local gel",
        "topical_cream": "cream; creme; crema",
        "spray": "lidocaine spray; aerosol",
        "intracervical": "intracervical anaesthetic; intra cervix; cervix anaesthetic",
        "paracervical": "paracervical anaesthetic; para cervix; pcb; parazervikal; pzb",
        "intrauterine": "intrauterine lidocaine; instillation",
        "combination": "combined; several; mixed",
    },
    "dilation": {
        "none": "not; not dilation; not done",
        "plastic_dilator": "plastic; os finder; disposable",
        "graduated_metal": "metal; hegar; metal dilation",
        "osmotic": "osmotic dilation",
    },
    "resistance_met": {
        "firm": "strong; hard; marked",
        "mild": "slight; some; light",
        "none": "not",
    },
    "insertion_outcome": {
        "placed": "fit; device fit; success; success fit; fit success; finish; in; device in; easy fit; "
        "fit ok; device in place; correct; difficult fit success",
        "failed": "unable; unable fit; fit fail; fail fit; not success; unable device fit; fail attempt; "
        "unable to do",
        "stopped_on_request": "request stop; patient stop; stop patient request; patient request; "
        "stop patient; stop request; asked to stop; stopped at request; stop a request",
        "deferred_not_started": "not start; defer; not attempt; defer not start; not started; fit defer; "
        "not done",
    },
    "failure_reason": {
        "could_not_pass_internal_os": "unable pass internal os; internal os; unable pass os; stenosis; "
        "cervix stenosis; os closed; tight os; unable pass cervix; tight cervix; stenose; estenosis; "
        "stenose cervix; closed os; muttermund; innerer muttermund; innerer muttermund nicht passierbar; "
        "muttermund eng",
        "could_not_sound": "unable sound; fail sound; not sound",
        "cervix_not_seen": "unable seen cervix; cervix not found; not seen cervix",
        "pain": "too pain; intolerable pain; pain not tolerated; too much pain",
        "vasovagal": "faint; faint reaction",
        "perforation_suspected": "perforation",
        "cavity_too_small": "small cavity; cavity small; small uterus; sound small",
        "cavity_too_large_or_distorted": "large cavity; distorted cavity; cavity distorted; fibroid; "
        "uterus fibroid",
        "expelled_at_once": "immediate expulsion; expulsion; expulsion immediate; expulsion at once",
        "device_fault": "faulty device; device difficult; device defect; defective device",
        "equipment_or_staff": "equipment; staff; not equipment; no assistant",
        "patient_request": "patient stop; request; patient decline; changed mind; request stop; stop request",
    },
    "deferral_reason": {
        "pregnancy_not_excluded": "suspected pregnancy; pregnancy risk; could be pregnancy; "
        "pregnancy not ruled out; pregnancy",
        "infection_suspected": "infection; sti; discharge",
        "eligibility": "not eligible; contraindication; not suitable",
        "no_device": "not device; not stock; out of stock; device not available; stock",
        "staffing": "not staff; not clinician; staff; clinician absent; not time",
        "patient_choice": "patient decline; changed mind; patient request; decline",
    },
    "onward_plan": {
        "rebook_same_fitter": "rebook; rebook same; try again; rebook clinician",
        "rebook_experienced_fitter": "rebook senior; senior; rebook experienced; expert; refer senior",
        "ultrasound_list": "ultrasound; ultrasound guided; under ultrasound",
        "hospital": "refer hospital; theatre; gynaecology; gynae",
        "other_method": "method; tablet; implant; injection; other method given",
        "none": "not; not plan",
    },
    "bridging_method_given": {
        "yes": "given; tablet",
        "not_needed": "not need; not applicable",
        "no": "not given; not",
    },
    "tenaculum_used": {
        "atraumatic": "atraumatic tenaculum; suction; vacuum",
    },
    "onset_phase": {
        "local_anaesthetic": "anaesthetic; local; injection",
        "device_placement": "fit; device fit",
        "after": "after fit; afterwards; later; recovery; getting up",
        "tenaculum": "cervix held",
    },
    "perforation_suspected": {
        "no": "not; not suspected; none",
        "sound": "with sound; yes sound; sound perforation",
        "device": "with device; yes device; device perforation",
        "other_instrument": "other; instrument; dilation",
    },
    "contact_result": {
        "reached": "spoke; contact; answered; attended; spoken; phone answered; visit; seen; yes",
        "not_reached": "not answer; not contact; not reply; dna; did not attend; lost follow up; ltfu; "
        "voicemail; unreachable; not response; pas de reponse; perdue de vue; no contesta; no responde; "
        "not attended; injoignable; unable contact; perdida; repondeur; antwoordt niet",
        "declined": "decline; not more phone; decline contact; not further contact",
        "moved_away": "moved; left area",
        "died": "died",
    },
    "device_in_situ": {
        "in_situ_confirmed": "in seen; in situ seen; in situ thread seen; thread seen; in situ ultrasound; "
        "good fit seen; good fit; good position; in situ good; in situ exam; seen in situ",
        "in_situ_reported": "in she says; she says in; in situ says; in situ phone; in situ according; "
        "in situ selon; feels thread; self check; in situ per patient; in situ not exam",
        "partial_expulsion": "partial out; partial expulsion; partial exp; partial way out; in cervix",
        "complete_expulsion": "expulsion; exp; finish expulsion; expulsion complete; out by itself; "
        "total expulsion; expulsion totale; expulsion total",
        "removed_here": "remove us; remove hier; retire ici; retirado aqui; remove here; remove in clinic; "
        "remove visit; removed by us; remove here today",
        "removed_elsewhere": "remove elsewhere; remove other site; remove outside",
        "not_in_uterus": "outside uterus; not in uterus; migrated; extrauterine; abdominal; outside",
    },
    "threads_seen": {
        "yes": "seen; present; yes seen; long; short",
        "no": "not seen; absent; lost; missing; not felt; not",
        "not_examined": "not exam; not check; phone; not done",
    },
    "position_verified_by": {
        "none": "not; not check",
        "threads_only": "thread; thread seen; speculum",
        "ultrasound_2d": "ultrasound; 2d; ultrasound 2 d",
        "ultrasound_3d": "3d; ultrasound 3 d",
        "xray": "x ray; radiograph; rx; radiographie; radiografia; rontgen",
    },
    "position_finding": {
        "fundal": "fundus; at fundus; correct; normal; good; well fit",
        "low_in_cavity": "low; low lying; low in uterus; below fundus",
        "cervical": "in cervix; cervix canal",
        "embedded": "in wall; in myometrium",
        "rotated": "turned; tilted",
        "outside_uterus": "extrauterine; abdominal; outside",
        "not_assessed": "not done; not exam",
    },
    "pid_diagnosed": {
        "no": "not; none",
        "suspected_treated": "suspected; treated; suspected and treated; antibiotics",
        "confirmed": "yes confirmed; infection confirmed",
    },
    "pregnancy": {
        "none": "not; not pregnancy",
        "intrauterine": "in uterus; intrauterine pregnancy; iup",
        "ectopic": "ectopic pregnancy; extrauterine; geu; tubal; ectopico; ectopica; extra uterine",
        "miscarriage": "abortion; spontaneous abortion; early loss",
        "location_unknown": "pul; unknown location; location not known",
    },
    "device_status_at_conception": {
        "in_situ": "in place; in; still in",
        "partly_expelled": "partial expulsion",
        "expelled_unnoticed": "expulsion; expulsion not noticed; out unnoticed",
        "removed": "remove before",
    },
    "perforation_confirmed": {
        "no": "not; none",
        "partial_embedded": "partial; embedded; in wall",
        "complete_extrauterine": "finish; extrauterine; outside uterus; abdominal; total",
    },
    "removal_reason_main": {
        "planned_end_of_duration": "expired; expired duration; end; end duration; end use; device expired; "
        "time expired; fin de duree; expired end; fin duree; routine replace; fin duracion; "
        "expired for replace; expired change; expired date",
        "wish_pregnancy": "wish baby; wish pregnancy; trying pregnancy; ttc; plan pregnancy; desir enfant; "
        "desir grossesse; baby; wish conception; fertility; trying conception; wish conceive",
        "bleeding": "heavy bleeding; irregular bleeding; heavy; bleeding difficult",
        "pain": "pelvic pain; pain pelvic; abdominal pain",
        "hormonal_effects": "hormonal effects; side effects; mood; mood change; acne; headache; "
        "weight gain; hormonal side effects; effets hormonaux; efectos hormonales; efectos secundarios; "
        "effets secondaires; nebenwirkungen; bijwerkingen",
        "infection": "pelvic infection",
        "malposition": "displaced; misplaced; low lying; wrong position; malpositioned; desplazado; "
        "deplace; mal position; disloziert; dislocatie",
        "partial_expulsion": "partial out; partial expulsion; partial way out",
        "pregnancy": "pregnancy with device",
        "no_longer_needed": "not need; not longer need; not more need; sterilised; plus need; ya not need",
        "partner_or_social": "partner; social; religion; cost; partner request; family",
        "other_medical": "medical; medizinischer reason; other medizinischer reason; other medizinisch; "
        "medical other; medical reason; other illness",
        "wish_other_method": "other method; wish other method; change method; method change; "
        "wish change method",
    },
    "removal_difficult": {
        "no": "easy; not; not difficult; simple; facile; facil; normal; none",
        "threads_not_seen": "not thread; thread lost; thread missing",
        "threads_retrieved_in_clinic": "thread retrieved; retrieved; forceps; thread found",
        "ultrasound_guided": "ultrasound; under ultrasound",
        "hysteroscopic_or_theatre": "hysteroscopy; theatre; hysteroscopic; general anaesthetic; "
        "hysteroscopie; histeroscopia; hysteroskopie",
        "incomplete": "partial; broken; fragment",
        "failed": "unable; unable remove; fail remove; not success",
    },
    "uterine_anomaly_or_fibroid": {
        "none": "not; normal",
        "fibroid_distorting": "distorting fibroid; submucous fibroid",
        "fibroid_not_distorting": "fibroid; small fibroid",
        "congenital": "bicornuate; septate; arcuate; congenital anomaly",
    },
}
CODE_WORDS["removal_reason_second"] = CODE_WORDS["removal_reason_main"]
