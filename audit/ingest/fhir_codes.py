"""Codes and references of FHIR resources: what the settings say a code means, and whom a reference names."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from audit.schema.visits import VISITS
from audit.settings import Fhir

Cell = tuple[str, str]
# Column -> text, or None where the column takes the value recorded under the code.
Targets = Mapping[str, tuple[tuple[str, str | None], ...]]
NO_CODE = "(no code)"


@dataclass(frozen=True)
class Meaning:
    """What one concept says: cells, columns that wait for a value, and its code if nobody mapped it."""

    cells: tuple[Cell, ...] = ()
    columns: tuple[str, ...] = ()
    unmapped: str = ""


def targets_of(fhir: Fhir) -> Targets:
    """The columns and codes that each code of the settings stands for.

    Parameters
    ----------
    fhir
        Of the settings.

    Returns
    -------
    mapping
        ``system|code`` -> pairs of column and text; None for the value recorded under the code.

    Examples
    --------
    >>> targets_of(Fhir({"urn:x|fit": "visit_kind=insertion", "urn:x|sound": "sound_length_mm"}))
    {'urn:x|fit': (('visit_kind', 'insertion'),), 'urn:x|sound': (('sound_length_mm', None),)}
    """
    return {
        code.strip(): tuple(_target(text) for text in ([wanted] if isinstance(wanted, str) else wanted))
        for code, wanted in fhir.codes.items()
    }


def _target(text: str) -> tuple[str, str | None]:
    """The column, and the code if one is given."""
    column, equals, code = text.partition("=")
    return column.strip(), code.strip() if equals else None


def meaning(concept: Any, targets: Targets) -> Meaning:
    """What a CodeableConcept or Coding stands for.

    Parameters
    ----------
    concept
        As FHIR writes it. The first of its codings that the settings map decides; text is never read.
    targets
        From `targets_of`.

    Returns
    -------
    Meaning

    Examples
    --------
    >>> meaning({"coding": [{"system": "urn:x", "code": "y", "display": "Jane"}]}, {}).unmapped
    'urn:x|y'
    """
    codes = list(_codes(concept))
    for code in codes:
        if code in targets:
            return Meaning(
                cells=tuple((column, text) for column, text in targets[code] if text is not None),
                columns=tuple(column for column, text in targets[code] if text is None),
            )
    return Meaning(unmapped=codes[0] if codes else NO_CODE)


def _codes(concept: Any) -> Iterator[str]:
    """Every code of a concept as system|code."""
    found = as_dict(concept)
    for coding in as_list(found.get("coding")) if "coding" in found else [found]:
        item = as_dict(coding)
        if text_in(item, "code"):
            yield f"{text_in(item, 'system')}|{text_in(item, 'code')}"


def value_of(observation: Mapping[str, Any], columns: Sequence[str], targets: Targets) -> tuple[Cell, ...]:
    """The cells that an Observation's value, or a component's, gives.

    Parameters
    ----------
    observation
        Anything with a value[x] or a dataAbsentReason.
    columns
        Our columns that take the value.
    targets
        From `targets_of`, for coded values.

    Returns
    -------
    tuple
        Pairs of column and text. No value, or a dataAbsentReason, is ``unknown``. A coded value that the
        settings do not map stands as its own code, so that it is read as ours or reported, never as blank.

    Examples
    --------
    >>> value_of({"valueQuantity": {"value": "7.5", "code": "cm"}}, ["sound_length_mm"], {})
    (('sound_length_mm', '7.5 cm'),)
    """
    name = next((key for key in observation if key.startswith("value")), "")
    value = observation.get(name)
    if not name or "dataAbsentReason" in observation:
        return tuple((column, "unknown") for column in columns)
    if name == "valueCodeableConcept":
        return _coded_value(value, columns, targets)
    return tuple((column, _value_text(name, value, column)) for column in columns)


def _coded_value(concept: Any, columns: Sequence[str], targets: Targets) -> tuple[Cell, ...]:
    """The cells of a coded value: only in the columns that wait for it, since an answer may serve several."""
    answers = dict(meaning(concept, targets).cells)
    code = next(_codes(concept), "|").rpartition("|")[2] or NO_CODE
    return tuple((column, answers.get(column, code)) for column in columns)


def _value_text(name: str, value: Any, column: str) -> str:
    """The text of a value that is no code."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if name == "valueQuantity":
        return _quantity(as_dict(value), VISITS[column].unit)
    # A range or a ratio is no single value: its name is reported as one that cannot be read.
    return value if isinstance(value, str) else name


# The Unified Code for Units of Measure, as far as our columns need it.
_UNITS = {"h": "hours", "d": "days", "wk": "weeks", "a": "years"}


def _quantity(quantity: Mapping[str, Any], unit: str) -> str:
    """A number with its unit, which is left out where it is ours or only says what was counted."""
    code = text_in(quantity, "code") or text_in(quantity, "unit")
    written = _UNITS.get(code, code)
    plain = not written or written in (unit, "1") or written.startswith("{")
    number = text_in(quantity, "comparator") + text_in(quantity, "value")
    return number if plain else f"{number} {written}"


def reference_of(reference: Any, addresses: Mapping[str, str]) -> str:
    """The resource that a reference names, as Kind/id.

    Parameters
    ----------
    reference
        As FHIR writes it. Its display is never read.
    addresses
        The full addresses of the resources of a Bundle -> Kind/id.

    Returns
    -------
    str
        "" when it names none. A reference by identifier gives the identifier's value.

    Examples
    --------
    >>> reference_of({"reference": "https://example.org/fhir/Patient/w1/_history/2"}, {})
    'Patient/w1'
    """
    found = as_dict(reference)
    text = text_in(found, "reference")
    if not text:
        return text_in(as_dict(found.get("identifier")), "value")
    if text in addresses or text.startswith("#"):
        return addresses.get(text, text)
    parts = text.partition("/_history/")[0].split("/")
    return "/".join(parts[-2:])


def short(reference: str) -> str:
    """The id of a reference without its kind.

    Parameters
    ----------
    reference
        From `reference_of`.

    Returns
    -------
    str

    Examples
    --------
    >>> short("Practitioner/C1")
    'C1'
    """
    return reference.rpartition("/")[2]


def as_dict(value: Any) -> Mapping[str, Any]:
    """The value if it is a JSON object, else an empty one."""
    return value if isinstance(value, dict) else {}


def as_list(value: Any) -> list[Any]:
    """The value if it is a JSON list, an empty one for nothing, else a list of it alone."""
    if value is None:
        return []
    return value if isinstance(value, list) else [value]


def text_in(body: Mapping[str, Any], key: str) -> str:
    """The text under a key, if there is one."""
    value = body.get(key)
    return value if isinstance(value, str) else ""
