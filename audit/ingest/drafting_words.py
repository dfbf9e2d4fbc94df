"""Words that mean the same in the headings and codes of clinics' logs, in six languages.

Each line is one idea and the words for it; several words that count as one are joined by underscores. All
are written without accents. A word that no line holds stands for itself.
"""

IDEAS: dict[str, str] = {
    "date": "date dates dt day_of fecha datum data dia_de",
    "visit": "visit visits attendance attended appointment appt encounter consultation consult episode "
    "visite visita consulta besuch bezoek termin cita rdv konsultation afspraak sprechstunde",
    "seen": "seen see visible view viewed visualised visualized vu vue visto vista gesehen gezien sichtbar",
    "contact": "contact contacts contacted contacto contato kontakt reached reach joint joignable erreicht "
    "bereikt",
    "kind": "kind type tp category categorie categoria tipo soort typ art nature class",
    "patient": "patient patients pat pt client clients woman women person subject user paciente patiente "
    "patientin patientes cliente clienta usuaria mujer femme frau vrouw utente mulher klientin persoon",
    "record": "record chart file folder dossier expediente akte historia case study",
    "number": "number num nr nbr numero nummer anzahl aantal count total how_many nombre_de nombre_d nb n "
    "qty",
    "ref": "ref id ident identifier reference code codigo cod kode kennung kurzel referencia cle identifiant "
    "kenmerk key pseudonym uid urn kuerzel",
    "site": "site clinic location centre center venue hub clinique lieu sede sitio centro lugar standort "
    "ort praxis locatie kliniek clinica unidade unidad",
    "clinician": "clinician fitter inserter operator doctor dr nurse midwife provider practitioner hcp "
    "staff started_by fitted_by inserted_by placed_by performed_by done_by seen_by operateur praticien "
    "medecin poseur pose_par sage_femme medico medica profesional operador arzt arztin behandler "
    "behandlerin arts behandelaar verloskundige profissional enfermeira enfermera matrona realizado_por "
    "inserido_por colocado_por",
    "finish": "finish finished finishing complete completed completa completo completely completing "
    "taken_over take_over took_over acheve termine terminado beendet afgemaakt",
    "supervisor": "supervisor supervised_by supervising mentor superviseur encadrant encadre_par tutor "
    "tutora supervisora betreuer begeleider supervisado_por",
    "supervised": "supervised supervision supervisor_present supervisor_in_room trainer_present supervise "
    "supervisee supervisado supervisada beaufsichtigt supervisie sup_present",
    "training": "training trainee standing seniority competence competency certification accreditation "
    "formation formacion ausbildung opleiding statut_formation nivel_de_formacion student learner registrar "
    "in_training en_formation en_formacion in_ausbildung in_opleiding aio",
    "assistant": "assistant chaperone chaperoned assistante asistente assistentin assistente begleitperson "
    "asst",
    "referral": "referral referred ref_date adresse derivacion derivada uberweisung verwijzing "
    "encaminhamento",
    "request": "request requested asked ask asks demande solicitud solicitada anfrage peticion pedido "
    "verzoek wunsch",
    "age": "age edad alter leeftijd idade aged",
    "birth": "birth births delivery deliveries childbirth childbirths accouchement accouchements naissance "
    "naissances parto partos geburt geburten entbindung entbindungen bevalling bevallingen nacimiento "
    "livebirths live_births confinement",
    "parity": "parity para parite paridad paritat pariteit paridade gravida_para g_p gpa gtpal",
    "vaginal": "vaginal vag svd nvd vb vaginale vaginales vaginaux vaginais voie_basse vaginalgeburten "
    "spontaneous",
    "caesarean": "caesarean caesareans cesarean cesareans caesarian c_section c_sections csection csections "
    "lscs cs cesarienne cesariennes cesarea cesareas kaiserschnitt kaiserschnitte sectio sectiones "
    "keizersnede keizersnedes cesariana cesarianas",
    "pregnancy": "pregnancy pregnancies pregnant preg gravid gravida grossesse grossesses enceinte embarazo "
    "embarazos embarazada schwangerschaft schwanger zwanger zwangerschap gravidez gravidezes",
    "conception": "conception conceived conceive concu concepcion empfangnis conceptie conceicao",
    "ever": "ever jamais alguna_vez jemals ooit",
    "before": "before prior previous previously prev past history hx earlier antecedent antecedents atcd "
    "antecedente antecedentes previo previa previos previas anterior anteriores vorherige vorher frueher "
    "fruher vorige eerder eerdere precedent precedente precedents avant ant anamnese",
    "since": "since depuis desde seit sinds post",
    "last": "last latest dernier derniere ultimo ultima letzte letzter laatste recent",
    "week": "week weeks wk wks semaine semaines semana semanas sem woche wochen weken",
    "day": "day days jour jours dia dias tag tage dagen dag",
    "hour": "hour hours hr hrs heure heures hora horas stunde stunden uur uren",
    "year": "year years yr yrs an ans annee annees ano anos jahr jahre jaar jaren",
    "month": "month months mois mes meses monat monate maand maanden",
    "breastfeeding": "breastfeeding breast_feeding breastfed bf lactating lactation allaitement allaitante "
    "lactancia lactante stillen stillt stillend borstvoeding amamentacao amamentando aleitamento",
    "bmi": "bmi imc body_mass_index body_mass",
    "device": "device devices coil coils iud iucd ius iuc iuds diu dius lng_ius lng_iud spirale spiraal siu "
    "sterilet intrauterine_device",
    "fit": "fit fits fitted fitting insert inserted insertion insertions inserting place placed placement "
    "placing put_in pose posee poses insercion inserido inserida insercao colocado colocada colocacion "
    "colocacao eingelegt einlage einlegen eingesetzt geplaatst reinsertion reinserted plaatsing ingebracht",
    "fail": "fail fails failed failure failures failing unsuccessful echec echecs echoue fallo fallido "
    "fallida fallidas fracaso fracasada fehlgeschlagen fehlschlag misslungen mislukt mislukte falha falhou",
    "remove": "remove rem removed removal removals removing take_out taken_out took_out explanted retrait "
    "retire retiree retirada retirado retiro extraccion entfernt entfernung verwijderd verwijdering remocao "
    "removido pulled ziehen",
    "replace": "replace replaced exch replacement swap swapped exchange exchanged new_one renewed renewal "
    "refit refitted remplacement remplace recambio reemplazo wechsel gewechselt wissel vervanging vervangen "
    "troca substituicao changement cambio",
    "expulsion": "expulsion expulsions expelled expel expulse expulsee expulsado expulsada ausstossung "
    "ausgestossen expulsie uitgestoten expulsao expulso fell_out fallen_out came_out come_out",
    "partial": "partial partially partly part_way part partielle partiel parcial teilweise gedeeltelijk "
    "incomplete",
    "perforation": "perforation perforated perf perforacion perforada perforiert perforatie perfuracao",
    "suspected": "suspected suspicion suspect suspecte suspectee sospecha sospechada sospechosa verdacht "
    "vermoeden suspeita possible",
    "confirmed": "confirmed confirm proven confirmee confirme confirmada confirmado bestatigt bevestigd",
    "surgery": "surgery operated operation operations excision lletz leep cone conisation conizacion "
    "chirurgie cirugia cirurgia operiert geopereerd",
    "cervix": "cervix cervical cx col cuello gebarmutterhals baarmoederhals portio colo",
    "uterus": "uterus uterine womb utero gebarmutter baarmoeder matriz",
    "fibroid": "fibroid fibroids myoma myomas fibrome fibromes mioma miomas myom myome anomaly anomalies",
    "heavy": "heavy hmb menorrhagia menorragia menorragie abondantes abundante abundantes starke hevige",
    "bleeding": "bleeding bleed period periods menses menstruation menstrual saignement saignements "
    "sangrado blutung blutungen bloeding sangramento regles regla spotting",
    "faint": "faint kreislauf kreislaufkollaps fainted fainting vasovagal vaso_vagal vasovagale vagal vv malaise "
    "malaises desmayo ohnmacht flauwvallen desmaio vagale",
    "faints": "faints fainter tends_to_faint",
    "syncope": "syncope passed_out pass_out loss_of_consciousness lost_consciousness loc blackout "
    "perte_de_connaissance sincope perdida_de_conocimiento bewusstlos bewusteloos collapse collapsed",
    "pain": "pain painful vas nrs eva douleur douleurs dolor schmerz schmerzen pijn dor cramps cramping",
    "grade": "grade severity degree grado grad graad grau gr",
    "reaction": "reaction reacted reaccion reaktion reactie reacao",
    "reason": "reason why cause because motif motivo raison razon grund reden causa porque",
    "result": "result outcome resultat resultado ergebnis uitkomst resultaat uitslag how_ended",
    "plan": "plan planned next_step next onward conduite planning",
    "unable": "unable could_not couldnt couldn_t cannot cant can_t not_possible not_able impossible "
    "imposible unmoglich nicht_moglich onmogelijk niet_mogelijk niet_gelukt impossivel no_se_pudo "
    "nao_foi_possivel non_possible",
    "not": "not no non pas nicht niet nao never without sin ohne zonder sans kein keine geen none nil aucun "
    "aucune ninguno ninguna negative neg",
    "start": "start started starts begin began begun commence commenced onset debut debute inicio iniciado "
    "iniciada comenzado comenzada beginn begonnen gestart",
    "stop": "stop stopped stops abandoned abandon aborted interrupted arret arrete arretee interrompu "
    "interrompue abgebrochen gestopt interrumpido interrumpida suspendida interrompida",
    "defer": "defer deferred deferral postponed postpone reporte reportee aplazado aplazada verschoben "
    "uitgesteld adiado adiada rescheduled cancelled canceled annule annulee",
    "given": "given supplied issued provided prescribed donne donnee dado dada gegeben gegeven",
    "emergency": "emergency emerg ec urgence urgencia notfall spoed nood emergencia urgent urgente",
    "sex": "sex intercourse upsi unprotected_sex rapport rapports relacion geschlechtsverkehr gemeenschap",
    "ovulation": "ovulation ovulacion eisprung ovulatie ovulacao",
    "sound": "sound usl sounding sounded hysterometry hysterometrie hysterometre histerometria histerometro "
    "sonda sonde hysterometer sondelange sondage",
    "measure": "measured measurement measure mesure medido gemessen gemeten",
    "length": "length depth longueur longitud lange lengte profondeur",
    "tenaculum": "tenaculum vulsellum pozzi pinza kugelzange held",
    "anaesthetic": "anaesthetic anasthesie lokalanasthesie anesthetic anaesthesia anesthesia anesthesie anestesia "
    "anestesico betaubung verdoving analgesia block",
    "dilation": "dilation dilatation dilated dilator dilators dilatacion dilatacao",
    "ultrasound": "ultrasound us uss usg scan sonography tvs tvus echographie echo ecografia ultraschall "
    "sono echografie ecografico",
    "thread": "thread threads thr thrd string strings fil fils hilo hilos faden draad draden draadjes fio "
    "fios",
    "position": "position pos posicion lage ligging positie posicao",
    "infection": "infection infections pid infeccion infektion infectie infeccao pelvic_inflammatory_disease",
    "phone": "phone telephone call calls phoned called tel video llamada telefono telefonica telephonique "
    "appel telefon telefonat telefonisch telefoon telefoontje telefone ligacao remote virtual",
    "check": "check checks checkup check_up control controle review follow_up followup fu f_u suivi "
    "seguimiento kontrolle nachkontrolle nachsorge revision revisao opvolging verlaufskontrolle",
    "hospital": "hospital hopital spital krankenhaus ziekenhuis admission admitted ambulance transfer "
    "transferred transfert traslado",
    "wish": "wish wishes wants want desire desires desired desir desea deseo desejo would_like quiere",
    "baby": "baby child children enfant hijo hijos kind_haben kinderwunsch kinderwens",
    "method": "method methods methode metodo contraceptive contraception anticonception anticoncepcion "
    "contracepcion verhutung anticonceptie contracepcao birth_control",
    "other": "other another autre otro otra andere anderer anderes anderen ander outro outra else",
    "hormonal": "hormonal hormon hormone hormones lng levonorgestrel hormonell hormonelle hormonaal "
    "hormonale",
    "copper": "copper cu cuivre cobre kupfer koper tcu",
    "small": "small short mini petit pequeno klein kurz",
    "postpartum": "postpartum post_partum postnatal pp puerperio wochenbett after_birth after_delivery",
    "abortion": "abortion abortions termination top ivg aborto abort abtreibung miscarriage",
    "success": "success successful successfully ok reussi reussie exito exitosa exitoso erfolgreich "
    "gelungen gelukt sucesso done",
    "elsewhere": "elsewhere ailleurs gp other_clinic otro_centro anderswo elders",
    "moved": "moved relocated demenage demenagee mudo mudada verzogen umgezogen verhuisd mudou",
    "died": "died dead deceased death decedee decede fallecida fallecio verstorben overleden falecida",
    "expired": "expired expiry due end_of_life overdue perime perimee caducado caducidad vencido abgelaufen "
    "verlopen planned_end",
    "menopause": "menopause menopausal postmenopausal menopausia wechseljahre overgang menopauze",
    "need": "need needed needs required besoin necesita notig nodig",
    "decline": "decline declined declines refuse refused refuses refus rechaza rechazo lehnt_ab weigert "
    "recusa opt_out opted_out",
    "wasted": "wasted waste opened discarded gaspille desechado verspild",
    "duration": "duration lifespan licence license licensed life duree duracion dauer duur good_for valid",
    "bridging": "bridging bridge interim meantime cover",
    "tablet": "tablet tablets pill pills oral pilule pastilla tablette pil",
    "timing": "timing moment moment_de timing_of zeitpunkt tijdstip",
    "indication": "indication indicacion indikation indicatie indicacao",
    "attempt": "attempt attempts attempted try tries tentative tentatives intento intentos versuch versuche "
    "poging pogingen tentativa tentativas",
    "where": "where donde wo waar onde ou_est",
    "status": "status state etat estado zustand",
    "level": "level niveau nivel",
    "difficult": "difficult difficulty difficulties trouble problem problems hard difficile difficulte "
    "dificil dificultad schwierig schwierigkeiten moeilijk probleme probleem dificuldade",
    "second": "second 2_nd secondary deuxieme segundo segunda zweite zweiter tweede",
    "main": "main principal primary haupt hoofd",
    "say": "laut selon segun volgens according_to say says said report reported reports states stated "
    "refiere dit meldet zegt relata",
    "good": "good well bien correct correcta correctement gut goed richtig fine",
    "in_situ": "in_situ in_place en_place en_su_sitio in_utero op_zijn_plaats no_lugar in_position in_lage",
    "exam": "explored explorado explorada untersucht onderzocht examinado examined exam examination checked "
    "verified examine",
}
# Words that add nothing to a heading or a code.
_FILLERS = (
    "auf "
    "the a an of for to is was were been and or with her his their its please today now on at by from about any "
    "this that more longer ya lo plus mehr meer mais su sa son de du la le les des d l "
    "un une el los las del y o para por con em e os as um uma do da dos das "
    "der die das den dem des von und oder mit bei am im het een van op te bij door en ou par au aux mg"
)
FILLERS = frozenset(_FILLERS.split())
# Ideas that a heading may carry beside the one that counts.
BESIDE = frozenset({"patient"})
# Ideas so common that they decide little.
COMMON = frozenset(
    {"date", "ref", "number", "kind", "visit", "device", "fit", "given", "before", "reason", "result", "year"}
    | {"week", "day", "hour", "since", "not", "other"}
)
NEGATIONS = frozenset({"not", "unable"})
