"""What a heading says of its column, in the languages of clinics around the Atlantic and the Mediterranean."""

import re
import unicodedata

from audit.ingest.identifiers_contacts import EMAIL, POSTCODE, TELEPHONE, WEB
from audit.ingest.identifiers_numbers import BIRTH_DATES, HEALTH_NUMBERS, NATIONAL_NUMBERS
from audit.ingest.identifiers_rules import words_in

NAMES = "names"
ADDRESSES = "addresses"
FREE_TEXT = "free text"
RECORD_NUMBERS = "hospital record numbers"

# English, French, German, Spanish, Portuguese, Dutch, Italian; without accents. A phrase must stand in one
# piece. The first kind that fits decides.
_PHRASES: dict[str, tuple[str, ...]] = {
    EMAIL: ("email", "e mail", "mail address", "courriel", "correo", "correo electronico"),
    WEB: ("url", "website", "web page", "ip address", "mac address", "facebook", "instagram"),
    BIRTH_DATES: (
        *("dob", "d o b", "date of birth", "birth date", "birthdate", "birthday", "day of birth", "born on"),
        *("date de naissance", "date naissance", "ddn", "ne le", "nee le", "geburtsdatum", "geburtstag"),
        *("geb datum", "gebdatum", "geboren am", "fecha de nacimiento", "fecha nacimiento", "f nac"),
        *("fec nac", "data de nascimento", "data nascimento", "geboortedatum", "geb dat", "data di nascita"),
    ),
    HEALTH_NUMBERS: (
        *("nhs", "nhs no", "nhs number", "nhsno", "chi no", "chi number", "health number", "health card"),
        *("health service number", "hcn", "nhi", "medicare", "medicaid", "insurance no", "insurance number"),
        *("insurance id", "member id", "policy number", "beneficiary", "nss", "numero secu", "num secu"),
        *("securite sociale", "carte vitale", "versichertennummer", "versicherungsnummer", "kvnr", "kv nr"),
        *("krankenkassennummer", "seguridad social", "tarjeta sanitaria", "cip", "cns", "cartao sus"),
        *("numero de utente", "polisnummer", "tessera sanitaria"),
    ),
    NATIONAL_NUMBERS: (
        *("ssn", "social security", "social security number", "national insurance", "ni number", "ni no"),
        *("nino", "national id", "national identity", "identity number", "identity card", "id card"),
        *("passport", "driving licence", "drivers license", "driver license", "aadhaar", "nir", "cni"),
        *("passeport", "personalausweis", "ausweisnummer", "reisepass", "steuernummer", "steuer id"),
        *("sozialversicherungsnummer", "svnr", "dni", "nif", "documento nacional", "cedula", "curp"),
        *("pasaporte", "cpf", "passaporte", "bsn", "burgerservicenummer", "paspoort"),
        *("codice fiscale", "personnummer", "fodselsnummer", "cpr", "pesel"),
    ),
    RECORD_NUMBERS: (
        *("mrn", "medical record", "medical record number", "hospital no", "hospital number", "hospital id"),
        *("hosp no", "chart no", "chart number", "case notes no", "casenote number", "case note number"),
        *("ipp", "historia clinica", "numero de historia", "nhc", "prontuario", "processo clinico"),
        *("cartella clinica",),
    ),
    TELEPHONE: (
        *("phone", "phone no", "telephone", "tel", "tel no", "telno", "mobile", "mobile no"),
        *(
            "cell no",
            "cell phone",
            "cellphone",
            "fax",
            "contact no",
            "contact number",
            "whatsapp",
            "portable",
        ),
        *("numero de telephone", "telefon", "telefonnummer", "handy", "handynummer", "telefono", "movil"),
        *("celular", "telefone", "telemovel", "telefoon", "telefoonnummer", "mobiel", "cellulare"),
    ),
    POSTCODE: (
        *("postcode", "post code", "postal code", "zip", "zip code", "zipcode", "code postal", "plz"),
        *("postleitzahl", "codigo postal", "cep", "pcode"),
    ),
    ADDRESSES: (
        *("address", "addr", "street", "house number", "home town", "latitude", "longitude"),
        *("grid reference", "adresse", "rue", "strasse", "wohnort", "anschrift", "direccion", "calle"),
        *("domicilio", "endereco", "morada", "adres", "straat", "woonplaats", "indirizzo"),
    ),
    NAMES: (
        *("surname", "forename", "first name", "firstname", "last name", "lastname", "full name", "fullname"),
        *(
            "given name",
            "family name",
            "middle name",
            "maiden name",
            "initials",
            "next of kin",
            "partner name",
        ),
        *("prenom", "nom de famille", "nom de jeune fille", "nachname", "vorname", "familienname"),
        *("geburtsname", "apellido", "apellidos", "nombre y apellidos", "nombre completo", "nombre paciente"),
        *("nombre de la paciente", "nombre del paciente", "nombre usuaria", "sobrenome", "nome completo"),
        *("achternaam", "voornaam", "cognome", "initialen", "iniciales"),
    ),
    FREE_TEXT: (
        *("note", "notes", "comment", "comments", "remark", "remarks", "free text", "freetext", "narrative"),
        *("clinical history", "memo", "letter text", "commentaire", "commentaires", "remarque", "remarques"),
        *("texte libre", "bemerkung", "bemerkungen", "anmerkung", "anmerkungen", "kommentar", "kommentare"),
        *("notiz", "notizen", "freitext", "comentario", "comentarios", "observaciones", "notas", "nota"),
        *("observacoes", "opmerking", "opmerkingen", "osservazioni", "commenti"),
    ),
}
# Long words that give a heading away even where it runs words together, as in patsurname.
_RUN_TOGETHER = {
    BIRTH_DATES: "dateofbirth birthdate geburtsdatum datedenaissance fechadenacimiento datanascimento",
    NAMES: "surname forename firstname lastname fullname patientname clientname nachname vorname apellido",
    TELEPHONE: "telephone phoneno phonenumber telefonnummer",
    POSTCODE: "postcode zipcode postleitzahl",
    HEALTH_NUMBERS: "nhsnumber nhsno healthnumber",
    EMAIL: "email",
}
_NAME_WORDS = words_in("name names naam nom nome")
_THINGS = words_in(
    "device iud iucd coil product brand drug medicine method site clinic centre center hospital ward unit "
    "service practice surgery team room file sheet table column field test procedure item type class group "
    "code study project lot batch user event form organisation organization location place dispositif produit "
    "methode marque clinique centre hopital dispositivo producto metodo marca clinica produto merk"
)
_NOT_HER_BIRTH = words_in("last latest previous recent dernier derniere letzte letzter ultimo ultima")
_NUMBERED = words_in("no nr num number ref reference id count")
_DEVICE_WORDS = words_in("lot batch serial udi gtin charge chargen seriennummer chargennummer serie lote")
_DEVICE_COMPANIONS = words_in(
    "no nr num number numero n code id device iud iucd coil expiry of de the del la dispositif dispositivo "
    "sterilisation identifier product and"
)


def heading_words(heading: str) -> tuple[str, ...]:
    """The words of a heading in lower case, without accents; firstName and FIRST_NAME give the same two.

    Parameters
    ----------
    heading
        As the log writes it.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> heading_words("Prénom"), heading_words("dateOfBirth")
    (('prenom',), ('date', 'of', 'birth'))
    """
    apart = re.sub(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", " ", heading)
    plain = unicodedata.normalize("NFKD", apart).casefold()
    kept = "".join(character for character in plain if not unicodedata.combining(character))
    return tuple(re.findall(r"[^\W_]+", kept.replace("'", "").replace("\u2019", "")))


def kind_of_heading(heading: str) -> str:
    """The kind of identifier that a heading announces.

    Parameters
    ----------
    heading
        As the log writes it.

    Returns
    -------
    str
        A kind, such as ``names``; empty when the heading announces none.

    Examples
    --------
    >>> kind_of_heading("Client's surname"), kind_of_heading("Date of last birth"), kind_of_heading("Coil name")
    ('names', '', '')
    """
    words = heading_words(heading)
    for kind, phrases in _PHRASES.items():
        if any(_stands_in(phrase.split(), words) for phrase in phrases) and _is_meant(kind, words):
            return kind
    if (_NAME_WORDS & set(words) and not _THINGS & set(words)) or words == ("nombre",):
        return NAMES
    joined = "".join(words)
    for kind, together in _RUN_TOGETHER.items():
        if any(word in joined for word in together.split()) and _is_meant(kind, words):
            return kind
    return ""


def is_device_number(heading: str) -> bool:
    """Whether a heading announces lot, batch or serial numbers of devices, which can be traced to a woman.

    Parameters
    ----------
    heading
        As the log writes it.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_device_number("Lot no."), is_device_number("Lost one before"), is_device_number("Serial fainter")
    (True, False, False)
    """
    words = set(heading_words(heading))
    return bool(words & _DEVICE_WORDS) and words <= _DEVICE_WORDS | _DEVICE_COMPANIONS


def _stands_in(phrase: list[str], words: tuple[str, ...]) -> bool:
    """Whether the words of a phrase follow each other in a heading."""
    size = len(phrase)
    return any(list(words[at : at + size]) == phrase for at in range(len(words) - size + 1))


def _is_meant(kind: str, words: tuple[str, ...]) -> bool:
    """Whether nothing else in the heading gives the phrase another meaning."""
    if kind == BIRTH_DATES:
        return not _NOT_HER_BIRTH & set(words)
    if kind == FREE_TEXT:
        return not _NUMBERED & set(words)
    return True
