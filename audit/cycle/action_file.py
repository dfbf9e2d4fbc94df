"""The action plan of a service, read from one TOML file that this tool never edits."""

import re
import tomllib
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from audit.errors import ActionsError, PeriodError, name_a_few, unknown_name
from audit.period import period_from
from audit.records import Action
from audit.settings import Calendar

STATUSES = ("open", "done_unmeasured", "effective", "not_effective")
CLOSED = ("effective", "not_effective")
CAUSES = ("data", "skill", "kit", "capacity", "protocol")
_REQUIRED = ("id", "gap", "cause", "action", "owner_role", "opened", "due", "status")
_OPTIONAL = ("criterion", "figure", "measure", "better", "done", "target", "sample_size_needed", "evidence")
_MAX_BYTES = 1_000_000
_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,39}")
# A capital and a small letter, as names have them, or a title; roles are written small.
_NAME_LIKE = re.compile(r"\b[A-Z][a-z]|@|\b(?i:dr|mr|mrs|ms|miss|prof)\b")
_REFERENCE_LIKE = re.compile(r"\d{6,}|@")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")


def read_actions(path: str | Path, *, calendar: Calendar | None = None) -> tuple[Action, ...]:
    """The actions of a service's plan, in the order of its file.

    Parameters
    ----------
    path
        A TOML file with one table ``[[action]]`` per action: ``id``; ``criterion`` or ``figure`` (what it is to
        move), or ``measure`` (``table`` and key columns of a result table); ``gap``, ``cause`` (``data``,
        ``skill``, ``kit``, ``capacity``, ``protocol``), ``action``, ``owner_role``, ``opened`` (a period), ``due``,
        ``status`` (``open``, ``done_unmeasured``, ``effective``, ``not_effective``); where known ``done`` (a day),
        ``target`` (0-1), ``better`` (``lower`` or ``higher``, with a `measure`), ``sample_size_needed`` and
        ``evidence``.
    calendar
        The service's calendar, for its own names of periods.

    Returns
    -------
    tuple of Action
        Possibly empty.

    Raises
    ------
    ActionsError
        The file cannot be read or an entry cannot be followed; the sentence names the action and the key.

    Notes
    -----
    Whether the figure exists is said when the audit is run, which knows the criteria.
    """
    where = Path(path).name
    data = _document(path, where)
    if unknown := set(data) - {"action"}:
        raise ActionsError(f"{where}: {unknown_name('key', sorted(unknown)[0], ['action'])}")
    entries = data.get("action", [])
    if not isinstance(entries, list) or not all(isinstance(entry, Mapping) for entry in entries):
        raise ActionsError(f"{where}: action: must be a table headed [[action]].")
    actions = tuple(_action(entry, place, where, calendar) for place, entry in enumerate(entries, start=1))
    ids = [action.id for action in actions]
    if twice := [name for name in dict.fromkeys(ids) if ids.count(name) > 1]:
        raise ActionsError(f"{where}: two actions have the id '{twice[0]}'. Give each its own.")
    return actions


def _document(path: str | Path, where: str) -> dict[str, Any]:
    """The tables of the file."""
    try:
        octets = Path(path).read_bytes()
        if len(octets) > _MAX_BYTES:
            raise ActionsError(f"{where}: is larger than 1 MB. Is it an action plan?")
        return tomllib.loads(octets.decode("utf-8-sig"))
    except OSError as error:
        raise ActionsError(f"{where}: cannot be read ({error.strerror}). Check the path.") from None
    except RecursionError:
        raise ActionsError(f"{where}: nests lists or tables too deeply. Is it an action plan?") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise ActionsError(f"{where}: is not a TOML file ({error}). Correct that line.") from None


def _action(entry: Mapping[str, Any], place: int, where: str, calendar: Calendar | None) -> Action:
    """One action, every key checked."""
    named = entry.get("id")
    if not isinstance(named, str) or not _ID.fullmatch(named):
        raise ActionsError(f"{where}, action {place}, id: must be a short code, such as A1 or sounding-2026.")
    here = f"{where}, action '{named}'"
    _check_keys(entry, here)
    _check_role(_words(entry, "owner_role", here), here)
    done = None if "done" not in entry else _day(entry["done"], "done", here)
    status, figure = _one_of(entry, "status", STATUSES, here), _figure(entry, here)
    if status != "open" and done is None:
        raise ActionsError(
            f"{here}: status '{status}' needs the day it was done. Write it as done = 2026-04-01."
        )
    return Action(
        id=named,
        figure=figure,
        gap=_words(entry, "gap", here),
        cause=_one_of(entry, "cause", CAUSES, here),
        action=_words(entry, "action", here),
        owner_role=_words(entry, "owner_role", here),
        opened=_period(_words(entry, "opened", here), here, calendar),
        due=_day(entry["due"], "due", here),
        status=status,
        target=_target(entry, here),
        done=done,
        sample_size_needed=_size(entry, here),
        evidence=_words(entry, "evidence", here),
        measure=dict(entry.get("measure", {})),
        better=_one_of(entry, "better", ("lower", "higher"), here) if "better" in entry else "",
    )


def _check_keys(entry: Mapping[str, Any], here: str) -> None:
    """Refuse an unknown key and a missing one."""
    for key in entry:
        if key not in (*_REQUIRED, *_OPTIONAL):
            raise ActionsError(f"{here}: {unknown_name('key', key, [*_REQUIRED, *_OPTIONAL])}")
    if missing := [key for key in _REQUIRED if key not in entry]:
        raise ActionsError(f"{here}: lacks {name_a_few(missing)}. Add what is missing.")


def _figure(entry: Mapping[str, Any], here: str) -> str:
    """What the action is to move: a criterion, a figure, or the row of a table that it names."""
    given = [key for key in ("criterion", "figure", "measure") if key in entry]
    if len(given) != 1:
        raise ActionsError(f"{here}: has {len(given)} of criterion, figure and measure. Write exactly one.")
    if given != ["measure"]:
        return _words(entry, given[0], here)
    measure = entry["measure"]
    if not isinstance(measure, Mapping) or not isinstance(measure.get("table"), str):
        raise ActionsError(
            f'{here}, measure: must be a table and its key columns, as {{ table = "check_done" }}.'
        )
    if "better" not in entry:
        raise ActionsError(
            f'{here}: a measure needs to know which way is better. Write better = "lower" or "higher".'
        )
    return f"measure_of_{entry['id']}"


def _check_role(role: str, here: str) -> None:
    """Refuse what may be somebody's name; the message does not repeat it."""
    if not role or _NAME_LIKE.search(role):
        raise ActionsError(
            f"{here}: owner_role looks like a name. Write a role in small letters, such as 'training lead'."
        )


def _words(entry: Mapping[str, Any], key: str, here: str) -> str:
    """A line of text that holds no reference."""
    text = entry.get(key, "")
    if not isinstance(text, str) or len(text) > 500 or _CONTROL.search(text):
        raise ActionsError(f"{here}, {key}: must be one line of text of at most 500 letters.")
    if _REFERENCE_LIKE.search(text):
        raise ActionsError(f"{here}: {key} holds what may be a reference or an address. Leave it out.")
    return text.strip()


def _one_of(entry: Mapping[str, Any], key: str, choices: tuple[str, ...], here: str) -> str:
    """A word that is among those offered."""
    word = entry[key]
    if word not in choices:
        raise ActionsError(f"{here}: {unknown_name(key, str(word)[:40], list(choices))}")
    return str(word)


def _day(value: object, key: str, here: str) -> pd.Timestamp:
    """A day, as TOML has it or as ISO text."""
    try:
        day = value if type(value) is date else date.fromisoformat(str(value))
        return pd.Timestamp(day)
    except ValueError:
        raise ActionsError(f"{here}: {key} is not a date. Write it as 2026-09-30.") from None


def _period(label: str, here: str, calendar: Calendar | None) -> Any:
    """The period in which an action was opened."""
    try:
        return period_from(label, calendar=calendar)
    except PeriodError as error:
        raise ActionsError(f"{here}: opened, {error}") from None


def _target(entry: Mapping[str, Any], here: str) -> float | None:
    """The proportion aimed at."""
    value = entry.get("target")
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1:
        raise ActionsError(f"{here}, target: must be a proportion from 0 to 1, got {str(value)[:20]}.")
    return float(value)


def _size(entry: Mapping[str, Any], here: str) -> int | None:
    """How many are to be counted afterwards."""
    value = entry.get("sample_size_needed")
    if value is not None and (isinstance(value, bool) or not isinstance(value, int) or value < 1):
        raise ActionsError(
            f"{here}, sample_size_needed: must be a whole number above 0, got {str(value)[:20]}."
        )
    return value
