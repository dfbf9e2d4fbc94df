"""What a service may decide, read from one TOML file: how its log is laid out, and the rules of its audit.

Settings hold rules only, never the period. Without a file the defaults below suffice for a log whose
headings are our column names, with ISO dates and our codes.
"""

import hashlib
import json
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal

from audit.criteria import criteria_in_force
from audit.errors import SettingsError, name_a_few
from audit.errors import unknown_name as _unknown_name
from audit.schema.column import Column
from audit.schema.cusum_rules import CusumRules, fault_in_cusum
from audit.schema.figures import DEFINITIONS_VERSION
from audit.schema.published import fault_in, published_figures
from audit.schema.terms import COMPARED_OUTCOMES, FIRST_YEAR_ENDINGS, UNITS
from audit.schema.visits import VISITS

_TABLE = "a table with a line [name] of its own"
_LIST = "a list in square brackets"
# Keys that are written as a list of tables.
_LISTS_OF_TABLES = ("benchmarks", "criteria")
_MAX_BYTES = 1_000_000

DateOrder = Literal["iso", "day_month_year", "month_day_year"]


@dataclass(frozen=True)
class Layout:
    """How one clinic's log maps onto our columns.

    `headings` maps our column to the heading in the log; `codes` maps, per column, a word of the log to our
    code; `units` names the unit a column is written in; `yes`, `no` and `unknown` add words to our own.
    `sheet` names the sheet of a workbook that holds the log.
    """

    headings: Mapping[str, str] = field(default_factory=dict)
    codes: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    date_order: DateOrder = "iso"
    decimal_comma: bool = False
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    sheet: str = ""


@dataclass(frozen=True)
class Fhir:
    """What the codes in a service's FHIR resources mean.

    `codes` maps ``system|code`` to a column, which then takes the value recorded under that code, or to
    ``column=code``, or to a list of these; an empty list is a code that is known and not read.
    """

    codes: Mapping[str, str | list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Windows:
    """Days since placement, or between contacts, that the definitions rest on."""

    check_from_day: int = 21
    check_to_day: int = 56
    year_days: int = 365
    known_from_day: int = 330
    maturity_lag_days: int = 30
    reporting_lag_days: int = 30
    episode_days: int = 90
    first_cycle_from_day: int = 21
    first_cycle_to_day: int = 75
    six_months_from_day: int = 150
    six_months_to_day: int = 240
    early_infection_days: int = 20
    early_removal_days: int = 182
    removal_delay_days: int = 14
    method_gap_days: int = 30
    emergency_test_from_day: int = 21
    emergency_cycle_days: int = 28
    emergency_hours: float = 120.0
    emergency_days_after_ovulation: int = 5
    rate_bands: tuple[int, ...] = (42, 182, 365)
    horizons: tuple[int, ...] = (42, 91, 182, 365, 730, 1095)


@dataclass(frozen=True)
class Thresholds:
    """When a figure leads, is shown with a caution, or is not classified."""

    known_leads: float = 0.80
    known_floor: float = 0.60
    recorded_floor: float = 0.80
    at_risk_floor: int = 10
    completeness_change: float = 0.10
    clinician_attempts: int = 20
    ask_tail: float = 0.025
    review_tail: float = 0.001
    set_aside_banner: float = 0.05
    set_aside_refusal: float = 0.20


@dataclass(frozen=True)
class Calendar:
    """The governance calendar: names of periods, their freeze, and the version of the data.

    `periods` maps a name to two ISO dates joined by a slash; `data_to` maps the label of a period to its freeze;
    `year_starts_in_month` is the month (1-12) in which the year of ``FY2026`` and ``FY2026-Q1`` begins;
    `data_version` is printed on the report.
    """

    periods: Mapping[str, str] = field(default_factory=dict)
    data_to: Mapping[str, str] = field(default_factory=dict)
    year_starts_in_month: int = 1
    data_version: str = ""


@dataclass(frozen=True)
class AuditSettings:
    """The rules of one service's audit.

    `charted_by_exception` names columns in which a blank means "no"; `margins` gives, per outcome, the
    difference (0-1, or per woman-year) that the service holds too small to matter; `figures_to_reach` gives, per
    ending of the first year, a proportion (0-1) to ask of the unknown outcomes whether they could bring it about;
    `funnel_target` is what a
    clinician's failures are compared with: ``service``, ``service_excluding_own``, or a proportion.
    `margin_reasons` says why a margin is what it is; `benchmarks` are published figures of the service's own
    choice, in the form of the package's library.
    `cusum` says how failures in order of attempt are tested (see `audit.schema.cusum_rules`).
    `criteria` changes, adds and retires audit criteria (see `audit.criteria`).
    """

    service: str = "This service"
    layout: Layout = field(default_factory=Layout)
    fhir: Fhir = field(default_factory=Fhir)
    windows: Windows = field(default_factory=Windows)
    thresholds: Thresholds = field(default_factory=Thresholds)
    calendar: Calendar = field(default_factory=Calendar)
    cusum: CusumRules = field(default_factory=CusumRules)
    charted_by_exception: tuple[str, ...] = ()
    margins: Mapping[str, float] = field(default_factory=dict)
    figures_to_reach: Mapping[str, float] = field(default_factory=dict)
    margin_reasons: Mapping[str, str] = field(default_factory=dict)
    benchmarks: tuple[Mapping[str, Any], ...] = ()
    criteria: tuple[Mapping[str, Any], ...] = ()
    funnel_target: str = "service"
    synthetic: bool = False


def read_settings(path: str | Path) -> AuditSettings:
    """Settings read from a TOML file.

    Parameters
    ----------
    path
        The file. Every table and key is optional; an unknown one is refused.

    Returns
    -------
    AuditSettings

    Raises
    ------
    SettingsError
        The file cannot be read, is not TOML, or holds a key or value that is not understood; the message
        names the table and key and, where there is one, the nearest name that exists.
    """
    where = Path(path).name
    try:
        octets = Path(path).read_bytes()
        if len(octets) > _MAX_BYTES:
            raise SettingsError(
                f"{where}: is larger than 1 MB. Is it a settings file? Name one after --settings."
            )
        data = tomllib.loads(octets.decode("utf-8-sig"))
    except RecursionError:
        raise SettingsError(
            f"{where}: nests lists or tables too deeply. Is it a settings file? Name one after --settings."
        ) from None
    except OSError as error:
        raise SettingsError(f"{where}: cannot be read ({error.strerror}). Check the path.") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{where}: is not a TOML file ({error}). Correct that line.") from None
    return settings_from(data, where=where)


def settings_from(data: Mapping[str, Any], *, where: str = "settings") -> AuditSettings:
    """Settings from the tables of a TOML file already read."""
    settings: AuditSettings = _fill(AuditSettings(), data, where)
    _check_layout(settings.layout, where)
    _check_fhir(settings.fhir, where)
    _check_rules(settings, where)
    _check_calendar(settings.calendar, where)
    _check_benchmarks(settings, where)
    criteria_in_force(settings.criteria, where=where)
    return settings


def settings_fingerprint(settings: AuditSettings) -> str:
    """SHA-256 of the settings in canonical JSON: equal settings, equal text."""
    text = json.dumps(asdict(settings), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def definitions_version(settings: AuditSettings) -> str:
    """The version of what the figures count: the package's own, and a fingerprint of what the settings change.

    Examples
    --------
    >>> definitions_version(AuditSettings()) == definitions_version(AuditSettings(service="Another"))
    True
    >>> changed = AuditSettings(windows=Windows(check_to_day=70))
    >>> definitions_version(AuditSettings()) == definitions_version(changed)
    False
    """
    decided = {
        "windows": asdict(settings.windows),
        "charted_by_exception": sorted(settings.charted_by_exception),
    }
    text = json.dumps(decided, sort_keys=True, separators=(",", ":"))
    return f"{DEFINITIONS_VERSION}.{hashlib.sha256(text.encode()).hexdigest()[:8]}"


def _fill(default: Any, data: Mapping[str, Any], where: str) -> Any:
    """A copy of a settings record with the given keys set, nested tables included."""
    known = {item.name: getattr(default, item.name) for item in fields(default)}
    changes = {}
    for key, value in data.items():
        if key not in known:
            raise SettingsError(f"{where}: {_unknown_name('key', key, list(known))}")
        here = f"{where}, {key}"
        changes[key] = _tables(value, here) if key in _LISTS_OF_TABLES else _fitting(known[key], value, here)
    return replace(default, **changes)


def _fitting(default: Any, value: Any, where: str) -> Any:
    """The value in the type of the default it replaces."""
    if isinstance(default, Layout | Fhir | Windows | Thresholds | Calendar | CusumRules):
        return _fill(default, _of_type(value, Mapping, where, _TABLE), where)
    if isinstance(default, bool):
        return _of_type(value, bool, where, "true or false")
    if isinstance(default, tuple):
        kind = default[0] if default else ""
        return tuple(_fitting(kind, item, where) for item in _of_type(value, list, where, _LIST))
    if isinstance(default, Mapping):
        # TOML has dates of its own; in a fingerprint and a record they are text.
        table = _of_type(value, Mapping, where, _TABLE)
        return {key: item.isoformat() if type(item) is date else item for key, item in table.items()}
    if isinstance(default, str):
        return str(_of_type(value, str | int | float, where, "text in quotes"))
    return type(default)(_not_negative(value, where))


def _tables(value: Any, where: str) -> tuple[Mapping[str, Any], ...]:
    """The tables of a list of tables, their dates as text."""
    written = f"written as [[{where.rpartition(', ')[2]}]]"
    return tuple(
        {
            key: item.isoformat() if isinstance(item, date) else item
            for key, item in _of_type(table, Mapping, where, written).items()
        }
        for table in _of_type(value, list, where, written)
    )


def _not_negative(value: Any, where: str) -> float:
    """The value, if it is a number not below 0."""
    number: float = _of_type(value, int | float, where, "a number")
    if isinstance(value, bool) or not 0 <= number < float("inf"):
        raise SettingsError(f"{where}: must be a number not below 0, got {_shown(value)}.")
    return number


def _of_type(value: Any, kind: Any, where: str, words: str) -> Any:
    """The value, if it is of the kind asked for."""
    if not isinstance(value, kind):
        raise SettingsError(f"{where}: must be {words}, got {_shown(value)}.")
    return value


def _shown(value: Any) -> str:
    """A value as a message shows it, cut short."""
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


def _known_column(name: str, where: str) -> Column:
    """The column of the visit log with that name."""
    if name not in VISITS.names:
        raise SettingsError(f"{where}: {_unknown_name('column', name, list(VISITS.names))}")
    return VISITS[name]


def _check_layout(layout: Layout, where: str) -> None:
    """Refuse a layout that names what does not exist."""
    orders = DateOrder.__args__  # type: ignore[attr-defined]
    if layout.date_order not in orders:
        raise SettingsError(
            f"{where}, layout, date_order: {_unknown_name('order', layout.date_order, list(orders))}"
        )
    for name, heading in layout.headings.items():
        _known_column(name, f"{where}, layout.headings")
        _of_type(heading, str, f"{where}, layout.headings, {name}", "text in quotes")
    for name, unit in layout.units.items():
        column = _known_column(name, f"{where}, layout.units")
        if (unit, column.unit) not in UNITS:
            units = [written for written, ours in UNITS if ours == column.unit]
            advice = f"Write one of: {name_a_few(units)}." if units else "Take the line out."
            raise SettingsError(f"{where}, layout.units, {name}: unit '{unit}' is not known. {advice}")
    for name, words in layout.codes.items():
        _check_codes(_known_column(name, f"{where}, layout.codes"), words, f"{where}, layout.codes.{name}")


def _check_codes(column: Column, words: Mapping[str, str], where: str) -> None:
    """Refuse a synonym for a code that the column does not have."""
    _of_type(words, Mapping, where, _TABLE)
    allowed = ("yes", "no", "unknown") if column.kind == "flag" else column.codes
    for word, code in words.items():
        if allowed and code not in allowed:
            if not code:
                raise SettingsError(
                    f"{where}: '{word}' is mapped to nothing. Write one of {name_a_few(list(allowed), limit=20)}, "
                    "or take the line out."
                )
            raise SettingsError(f"{where}, '{word}': {_unknown_name('code', str(code), list(allowed))}")


def _check_fhir(fhir: Fhir, where: str) -> None:
    """Refuse a code that is not written as system|code, or that stands for what does not exist."""
    for code, targets in fhir.codes.items():
        here = f"{where}, fhir.codes, '{code}'"
        if not code.partition("|")[2].strip():
            raise SettingsError(f"{here}: must be written as system|code, such as urn:clinic|fit.")
        _of_type(targets, str | list, here, "text or a list")
        for target in [targets] if isinstance(targets, str) else targets:
            name, equals, word = str(_of_type(target, str, here, "text in quotes")).partition("=")
            column = _known_column(name.strip(), here)
            if equals:
                _check_codes(column, {code: word.strip()}, f"{where}, fhir.codes")


def _check_rules(settings: AuditSettings, where: str) -> None:
    """Refuse rules that contradict themselves."""
    for name in settings.margins:
        if name not in COMPARED_OUTCOMES:
            raise SettingsError(
                f"{where}, margins: {_unknown_name('outcome', name, list(COMPARED_OUTCOMES))}"
            )
    for name in settings.charted_by_exception:
        _known_column(name, f"{where}, charted_by_exception")
    for name, margin in settings.margins.items():
        _not_negative(margin, f"{where}, margins, {name}")
    _check_figures(settings.figures_to_reach, where)
    if fault := fault_in_cusum(settings.cusum):
        raise SettingsError(f"{where}, cusum, {fault}")
    bands = settings.windows.rate_bands
    if list(bands) != sorted(set(bands)):
        raise SettingsError(
            f"{where}, windows, rate_bands: must rise from left to right, such as [42, 182, 365], got "
            f"{list(bands)}."
        )
    if settings.funnel_target not in ("service", "service_excluding_own") and not _is_proportion(
        settings.funnel_target
    ):
        raise SettingsError(
            f"{where}, funnel_target: must be 'service', 'service_excluding_own' or a proportion between "
            f"0 and 1, got '{settings.funnel_target}'."
        )


def _check_figures(figures: Mapping[str, float], where: str) -> None:
    """Refuse a figure to reach for an ending that is not counted, or that is no proportion."""
    here = f"{where}, figures_to_reach"
    for name, figure in figures.items():
        if name not in FIRST_YEAR_ENDINGS:
            raise SettingsError(f"{here}: {_unknown_name('ending', name, list(FIRST_YEAR_ENDINGS))}")
        if not 0 < _not_negative(figure, f"{here}, {name}") < 1:
            raise SettingsError(f"{here}, {name}: must be a proportion between 0 and 1, got {figure!r}.")


def _check_calendar(calendar: Calendar, where: str) -> None:
    """Refuse a calendar with a day or month that does not exist."""
    if not 1 <= calendar.year_starts_in_month <= 12:
        raise SettingsError(
            f"{where}, calendar, year_starts_in_month: must be a month from 1 to 12, "
            f"got {calendar.year_starts_in_month}."
        )
    for name, dates in calendar.periods.items():
        here = f"{where}, calendar.periods, {name}"
        days = str(_of_type(dates, str, here, "text")).split("/")
        if len(days) != 2 or _day(days[1], here) < _day(days[0], here):
            raise SettingsError(f"{here}: must be two dates, the earlier first, as 2026-04-01/2026-06-30.")
    for name, freeze in calendar.data_to.items():
        _day(freeze, f"{where}, calendar.data_to, {name}")


def _day(value: Any, where: str) -> date:
    """A day written as ISO text."""
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise SettingsError(f"{where}: is not a date. Write it as 2026-09-30.") from None


def _check_benchmarks(settings: AuditSettings, where: str) -> None:
    """Refuse a published figure that lacks what a comparison needs, and two of one name."""
    names = [str(entry.get("id", f"number {place}")) for place, entry in enumerate(settings.benchmarks, 1)]
    for name, entry in zip(names, settings.benchmarks, strict=True):
        if fault := fault_in(entry):
            raise SettingsError(f"{where}, benchmarks, '{name}': {fault}")
        if names.count(name) > 1:
            raise SettingsError(f"{where}, benchmarks: two figures have the id '{name}'. Rename one.")
        if any(figure["id"] == name for figure in published_figures()):
            raise SettingsError(
                f"{where}, benchmarks: the id '{name}' is that of a figure of the library. Rename yours."
            )
    for name in settings.margin_reasons:
        if name not in settings.margins:
            raise SettingsError(
                f"{where}, margin_reasons: no margin is set for '{name}'. Set one under [margins]."
            )


def _is_proportion(text: str) -> bool:
    """Whether the text is a number strictly between 0 and 1."""
    try:
        return 0 < float(text) < 1
    except ValueError:
        return False
