"""Words and units that more than one part of the package needs: said once, here."""


def _listed(words: str) -> tuple[str, ...]:
    """The words of a list with semicolons."""
    return tuple(words.split("; "))


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
