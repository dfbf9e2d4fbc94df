"""Three invented exports whose headings and words are not ours: how many edits their drafts need.

The right settings of each are written beside it by hand. An edit is one entry under [layout] that the draft
has not, or has otherwise, among those that change how this log is read.
"""

import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest
from pandas.testing import assert_frame_equal

from audit.ingest.drafting import draft_settings
from audit.ingest.load import load_visits
from audit.ingest.parse_words import code_words, flag_words, parse_code
from audit.schema.visits import VISITS
from audit.settings import AuditSettings, Layout, settings_from

ROWS = 90


@dataclass(frozen=True)
class Export:
    """An invented export: per heading our column, the visits it is filled in on, and its words in turn."""

    columns: tuple[tuple[str, str, str, tuple[str, ...]], ...]
    codes: dict[str, dict[str, str]]
    kinds: tuple[str, ...]
    delimiter: str = ","
    units: dict[str, str] = field(default_factory=dict)
    decimal_comma: bool = False
    edits: tuple[str, ...] = ()


def numbered(form: str, start: int, count: int) -> tuple[str, ...]:
    """Texts with running numbers."""
    return tuple(form.format(number) for number in range(start, start + count))


DATES = tuple(f"{1 + (7 * i) % 28:02d}/{1 + i % 9:02d}/2026" for i in range(ROWS))
ASKED = tuple(f"{1 + (11 * i) % 28:02d}/{1 + i % 5:02d}/2025" for i in range(ROWS))

ABBREVIATED = Export(
    kinds=("New fit", "F/U", "Tel", "Removal", "Exch"),
    columns=(
        ("Pt ID", "patient_ref", "all", numbered("Q{:03d}", 100, 31)),
        ("Appt dt", "visit_date", "all", DATES),
        ("Appt type", "visit_kind", "kind", ()),
        ("Loc", "site_ref", "all", ("North", "Quay")),
        ("Clin", "clinician_ref", "all", ("AB", "CD", "EF")),
        ("Sup Y/N", "supervised", "fit", ("N", "N", "Y")),
        ("Yrs", "age_years", "fit", ("23", "31", "28", "40")),
        ("SVD", "vaginal_births", "fit", ("0", "1", "2", "0")),
        ("LSCS", "caesarean_births", "fit", ("0", "0", "1")),
        ("BF", "breastfeeding", "fit", ("N", "Y", "N")),
        ("Wks PP", "weeks_since_delivery", "fit", ("6", "", "9", "52")),
        ("Device", "device_class", "fit", ("Cu T380A", "LNG 52mg", "LNG 19.5mg")),
        ("Sound mm", "sound_length_mm", "fit", ("70", "75", "80")),
        (
            "Outcome",
            "insertion_outcome",
            "fit",
            ("Fitted", "Fitted", "Failed", "Deferred", "Abandoned - pt request"),
        ),
        ("Reason fail", "failure_reason", "fit", ("", "", "Stenosis", "", "Pain", "Vasovagal")),
        ("VV gr", "vasovagal_grade", "fit", ("0", "I", "II", "0")),
        ("Syncope", "syncope", "fit", ("N", "N", "Y")),
        ("VAS 0-100", "pain_score", "fit", ("20", "45", "70", "5")),
        ("Thr seen", "threads_seen", "check", ("Y", "N", "Y", "Not checked")),
        (
            "IUD status",
            "device_in_situ",
            "check",
            ("In situ (threads seen)", "Expelled", "Partial expulsion", "In situ (pt says)"),
        ),
        ("Removal rsn", "removal_reason_main", "out", ("Expired", "TTC", "Bleeding", "Pain", "Side effects")),
        ("Ref date", "referral_date", "fit", ASKED),
    ),
    codes={
        "visit_kind": {
            "New fit": "insertion",
            "F/U": "follow_up",
            "Tel": "remote_contact",
            "Removal": "removal",
            "Exch": "removal_and_replacement",
        },
        "device_class": {"Cu T380A": "copper_t_380", "LNG 52mg": "lng_52", "LNG 19.5mg": "lng_19_5"},
        "insertion_outcome": {
            "Fitted": "placed",
            "Failed": "failed",
            "Deferred": "deferred_not_started",
            "Abandoned - pt request": "stopped_on_request",
        },
        "failure_reason": {
            "Stenosis": "could_not_pass_internal_os",
            "Pain": "pain",
            "Vasovagal": "vasovagal",
        },
        "threads_seen": {"Y": "yes", "N": "no", "Not checked": "not_examined"},
        "device_in_situ": {
            "In situ (threads seen)": "in_situ_confirmed",
            "In situ (pt says)": "in_situ_reported",
            "Expelled": "complete_expulsion",
            "Partial expulsion": "partial_expulsion",
        },
        "removal_reason_main": {
            "Expired": "planned_end_of_duration",
            "TTC": "wish_pregnancy",
            "Bleeding": "bleeding",
            "Pain": "pain",
            "Side effects": "hormonal_effects",
        },
    },
    units={"pain_score": "0-100"},
    # "Clin" may be the clinic or the clinician, and "Yrs" of what?
    edits=("headings.site_ref", "headings.clinician_ref", "headings.age_years"),
)

FRENCH = Export(
    delimiter=";",
    decimal_comma=True,
    kinds=("Pose", "Contrôle", "Appel téléphonique", "Retrait", "Changement"),
    columns=(
        ("N° patiente", "patient_ref", "all", numbered("P-{:03d}", 1, 31)),
        ("Date de la visite", "visit_date", "all", DATES),
        ("Type de visite", "visit_kind", "kind", ()),
        ("Centre", "site_ref", "all", ("Quai", "Colline")),
        ("Praticien", "clinician_ref", "all", ("F1", "F2", "F3")),
        ("Âge", "age_years", "fit", ("23", "31", "28", "40")),
        ("Nb accouchements voie basse", "vaginal_births", "fit", ("0", "1", "2", "0")),
        ("Nb césariennes", "caesarean_births", "fit", ("0", "0", "1")),
        ("Allaitement", "breastfeeding", "fit", ("non", "oui", "non")),
        ("IMC", "bmi", "fit", ("22,4", "25,1", "31")),
        ("Antécédent de DIU", "prior_iud", "fit", ("oui", "non")),
        ("Type de DIU", "device_class", "fit", ("Cuivre T380", "Hormonal 52 mg", "Cuivre mini")),
        ("Hystérométrie (mm)", "sound_length_mm", "fit", ("70", "75", "80")),
        (
            "Résultat de la pose",
            "insertion_outcome",
            "fit",
            ("Réussie", "Réussie", "Échec", "Reportée", "Arrêt à la demande"),
        ),
        ("Motif d'échec", "failure_reason", "fit", ("", "", "Sténose", "", "Douleur", "Malaise vagal")),
        ("Malaise vagal", "vasovagal_reaction", "fit", ("non", "non", "oui")),
        ("Perte de connaissance", "syncope", "fit", ("non", "non", "non", "oui")),
        ("Douleur (0-10)", "pain_score", "fit", ("2", "4", "7")),
        ("Fils visibles", "threads_seen", "check", ("Oui", "Non", "Oui", "Non examiné")),
        (
            "État du DIU",
            "device_in_situ",
            "check",
            ("En place, vu", "Expulsion complète", "En place selon la patiente", "Expulsion partielle"),
        ),
        (
            "Motif de retrait",
            "removal_reason_main",
            "out",
            ("Désir de grossesse", "Saignements", "Douleurs", "Fin de durée", "Effets hormonaux"),
        ),
        ("Date de la demande", "referral_date", "fit", ASKED),
    ),
    codes={
        "visit_kind": {
            "Pose": "insertion",
            "Contrôle": "follow_up",
            "Appel téléphonique": "remote_contact",
            "Retrait": "removal",
            "Changement": "removal_and_replacement",
        },
        "device_class": {
            "Cuivre T380": "copper_t_380",
            "Hormonal 52 mg": "lng_52",
            "Cuivre mini": "copper_small_framed",
        },
        "insertion_outcome": {
            "Réussie": "placed",
            "Échec": "failed",
            "Reportée": "deferred_not_started",
            "Arrêt à la demande": "stopped_on_request",
        },
        "failure_reason": {
            "Sténose": "could_not_pass_internal_os",
            "Douleur": "pain",
            "Malaise vagal": "vasovagal",
        },
        "threads_seen": {"Oui": "yes", "Non": "no", "Non examiné": "not_examined"},
        "device_in_situ": {
            "En place, vu": "in_situ_confirmed",
            "En place selon la patiente": "in_situ_reported",
            "Expulsion complète": "complete_expulsion",
            "Expulsion partielle": "partial_expulsion",
        },
        "removal_reason_main": {
            "Désir de grossesse": "wish_pregnancy",
            "Saignements": "bleeding",
            "Douleurs": "pain",
            "Fin de durée": "planned_end_of_duration",
            "Effets hormonaux": "hormonal_effects",
        },
    },
)

SPANISH = Export(
    kinds=("Inserción", "Control", "Llamada", "Extracción", "Recambio"),
    columns=(
        ("Código usuaria", "patient_ref", "all", numbered("U{:03d}", 1, 31)),
        ("Fecha de consulta", "visit_date", "all", DATES),
        ("Tipo de consulta", "visit_kind", "kind", ()),
        ("Centro", "site_ref", "all", ("Puerto", "Sierra")),
        ("Profesional", "clinician_ref", "all", ("M1", "M2", "M3")),
        ("Edad (años)", "age_years", "fit", ("23", "31", "28", "40")),
        ("Partos vaginales", "vaginal_births", "fit", ("0", "1", "2", "0")),
        ("Cesáreas", "caesarean_births", "fit", ("0", "0", "1")),
        ("Lactancia", "breastfeeding", "fit", ("no", "si", "no")),
        ("DIU previo", "prior_iud", "fit", ("sí", "no")),
        ("Tipo de DIU", "device_class", "fit", ("Cobre T 380", "Hormonal 52", "Hormonal 19.5")),
        ("Histerometría (cm)", "sound_length_mm", "fit", ("7", "7.5", "8")),
        (
            "Resultado de la inserción",
            "insertion_outcome",
            "fit",
            ("Colocado", "Colocado", "Fallida", "Aplazada", "Interrumpida a petición"),
        ),
        ("Motivo del fallo", "failure_reason", "fit", ("", "", "Estenosis", "", "Dolor", "Vasovagal")),
        ("Reacción vasovagal", "vasovagal_reaction", "fit", ("no", "no", "si")),
        ("Síncope", "syncope", "fit", ("no", "no", "no", "si")),
        ("Dolor (0-10)", "pain_score", "fit", ("2", "4", "7")),
        ("Hilos visibles", "threads_seen", "check", ("Sí", "No", "Sí", "No explorado")),
        (
            "Estado del DIU",
            "device_in_situ",
            "check",
            ("Bien colocado, visto", "Expulsión completa", "Refiere en su sitio", "Expulsión parcial"),
        ),
        (
            "Motivo de la extracción",
            "removal_reason_main",
            "out",
            ("Deseo de embarazo", "Sangrado", "Dolor", "Caducado", "Ya no lo necesita"),
        ),
        ("Fecha de solicitud", "referral_date", "fit", ASKED),
    ),
    codes={
        "visit_kind": {
            "Inserción": "insertion",
            "Control": "follow_up",
            "Llamada": "remote_contact",
            "Extracción": "removal",
            "Recambio": "removal_and_replacement",
        },
        "device_class": {"Cobre T 380": "copper_t_380", "Hormonal 52": "lng_52", "Hormonal 19.5": "lng_19_5"},
        "insertion_outcome": {
            "Colocado": "placed",
            "Fallida": "failed",
            "Aplazada": "deferred_not_started",
            "Interrumpida a petición": "stopped_on_request",
        },
        "failure_reason": {
            "Estenosis": "could_not_pass_internal_os",
            "Dolor": "pain",
            "Vasovagal": "vasovagal",
        },
        "threads_seen": {"Sí": "yes", "No": "no", "No explorado": "not_examined"},
        "device_in_situ": {
            "Bien colocado, visto": "in_situ_confirmed",
            "Refiere en su sitio": "in_situ_reported",
            "Expulsión completa": "complete_expulsion",
            "Expulsión parcial": "partial_expulsion",
        },
        "removal_reason_main": {
            "Deseo de embarazo": "wish_pregnancy",
            "Sangrado": "bleeding",
            "Dolor": "pain",
            "Caducado": "planned_end_of_duration",
            "Ya no lo necesita": "no_longer_needed",
        },
    },
    units={"sound_length_mm": "cm"},
)
EXPORTS = [
    pytest.param(ABBREVIATED, id="abbreviated"),
    pytest.param(FRENCH, id="french"),
    pytest.param(SPANISH, id="spanish"),
]


def written(export: Export, folder: Path) -> Path:
    """The export as a file."""
    fit, check, phone, out, swap = export.kinds
    belongs = {"fit": (fit, swap), "check": (check, phone), "out": (out, swap)}
    lines = [export.delimiter.join(heading for heading, *_ in export.columns)]
    for row in range(ROWS):
        kind = (fit, check, fit, out, phone, swap)[row % 6]
        lines.append(export.delimiter.join(cell(item, row, kind, belongs) for item in export.columns))
    path = folder / "export.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def cell(
    item: tuple[str, str, str, tuple[str, ...]], row: int, kind: str, belongs: dict[str, tuple[str, ...]]
) -> str:
    """One cell of an export: the words of a column in turn, on the visits it belongs to."""
    rows, words = item[2], item[3]
    if rows == "kind":
        return kind
    if rows != "all" and kind not in belongs[rows]:
        return ""
    text = words[(row // 2 if rows != "all" else row) % len(words)]
    return f'"{text}"' if "," in text else text


def right_settings(export: Export) -> AuditSettings:
    """The settings that a person who knows the clinic would write."""
    layout = Layout(
        headings={name: heading for heading, name, *_ in export.columns},
        codes=export.codes,
        units=export.units,
        date_order="day_month_year",
        decimal_comma=export.decimal_comma,
    )
    return AuditSettings(layout=layout)


def code_of(text: str, name: str, layout: Layout) -> str | None:
    """The code that a text is read as."""
    words = {word.casefold(): code for word, code in layout.codes.get(name, {}).items()}
    flags = flag_words(layout.yes, layout.no, layout.unknown)
    return parse_code(words.get(text.casefold(), text), words=code_words(VISITS[name], flags)).value


def edits(draft: Layout, right: Layout, texts: dict[str, set[str]]) -> list[str]:
    """The entries under [layout] in which a draft differs from the right settings."""
    found = [
        f"headings.{name}" for name in VISITS.names if draft.headings.get(name) != right.headings.get(name)
    ]
    found += [f"units.{name}" for name in VISITS.names if draft.units.get(name) != right.units.get(name)]
    found += [
        f"codes.{name}.{text}"
        for name, words in texts.items()
        for text in sorted(words)
        if code_of(text, name, draft) != code_of(text, name, right)
    ]
    found += [
        key
        for key in ("date_order", "decimal_comma", "yes", "no")
        if getattr(draft, key) != getattr(right, key)
    ]
    return found


def coded_texts(export: Export) -> dict[str, set[str]]:
    """The words that an export has in columns of codes."""
    return {
        name: {word for word in (words or export.kinds) if word}
        for _, name, _, words in export.columns
        if VISITS[name].kind == "code"
    }


@pytest.mark.parametrize("export", EXPORTS)
def test_a_draft_of_an_unfamiliar_export_needs_few_edits(export: Export, tmp_path: Path) -> None:
    draft = settings_from(tomllib.loads(draft_settings(written(export, tmp_path)))).layout
    assert edits(draft, right_settings(export).layout, coded_texts(export)) == list(export.edits)


@pytest.mark.parametrize("export", EXPORTS)
def test_no_active_line_of_a_draft_is_wrong(export: Export, tmp_path: Path) -> None:
    draft = settings_from(tomllib.loads(draft_settings(written(export, tmp_path)))).layout
    right = right_settings(export).layout
    assert draft.headings.items() <= right.headings.items()
    assert draft.units.items() <= right.units.items()
    for name, words in draft.codes.items():
        assert words.items() <= right.codes[name].items()


@pytest.mark.parametrize("export", EXPORTS)
def test_the_edits_counted_are_all_that_the_visits_need(export: Export, tmp_path: Path) -> None:
    path = written(export, tmp_path)
    right = right_settings(export)
    draft = settings_from(tomllib.loads(draft_settings(path)))
    missing = {key.split(".")[1]: right.layout.headings[key.split(".")[1]] for key in export.edits}
    edited = replace(draft, layout=replace(draft.layout, headings={**draft.layout.headings, **missing}))
    assert_frame_equal(load_visits(path, edited).visits, load_visits(path, right).visits)
