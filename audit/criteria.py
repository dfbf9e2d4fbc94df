"""The audit criteria in force: those that come with the package, as a service changed, added or retired them."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import date
from difflib import get_close_matches
from typing import Any

from audit.errors import SettingsError, unknown_name
from audit.schema.criteria_page import library_entries
from audit.schema.criterion import (
    ATTESTED,
    DIRECTIONS,
    FIGURES,
    KINDS,
    NO_SOURCE,
    UNTARGETED,
    WHY_UNTARGETED,
    Criterion,
)

Entry = Mapping[str, Any]

_KEYS = tuple(item.name for item in fields(Criterion) if item.name != "changed")
_NEEDED = ("id", "kind", "sentence", "figure", "source", "effective_from")
# What makes a figure another one; a new target or a new wording does not.
_COUNTING = ("figure", "by", "stratum")
# What a service answers is no change of the criterion.
_ANSWERS = ("id", "version", "effective_from", "attested", "attested_on", "retired")
_DIGITS = 6


def criteria_in_force(local: Sequence[Entry] = (), *, where: str = "settings") -> tuple[Criterion, ...]:
    """The criteria of the package with a service's own changes, additions and retirements.

    Parameters
    ----------
    local
        The tables under ``[[criteria]]`` of the settings. One with the id of a criterion of the package changes the
        keys it names; ``retired = true`` takes a criterion out; any other id adds one.
    where
        What to call the settings in a refusal.

    Returns
    -------
    tuple of Criterion
        In the order of the package, then the service's own; retired ones too, marked. ``changed`` says what is
        local. Where what is counted was changed without a version of its own, the version has a mark of the change
        behind it, so that two audits are not compared across it.

    Raises
    ------
    SettingsError
        An entry lacks what it needs, has a key or value that is not known, or an id that is there twice.

    Examples
    --------
    >>> len(criteria_in_force()) == len({criterion.id for criterion in criteria_in_force()})
    True
    >>> changed = criteria_in_force([{"id": "pain_options", "target": 0.9}])
    >>> [(criterion.target, criterion.changed) for criterion in changed if criterion.changed]
    [(0.9, 'target')]
    """
    entries = [_plain(entry) for entry in local]
    _refuse_twice([str(entry.get("id", "")) for entry in entries], where)
    known = {str(entry["id"]): entry for entry in library_entries()}
    for place, entry in enumerate(entries, start=1):
        _check(entry, known.get(str(entry.get("id", ""))), f"{where}, criteria, {_called(entry, place)}")
    own = {str(entry["id"]): entry for entry in entries}
    changed = [_changed(entry, own.get(name, {})) for name, entry in known.items()]
    return (*changed, *(_added(entry) for name, entry in own.items() if name not in known))


def _plain(entry: Entry) -> Entry:
    """An entry with its dates as text, which a fingerprint and a record can hold."""
    return {key: value.isoformat() if isinstance(value, date) else value for key, value in entry.items()}


def _changed(entry: Entry, own: Entry) -> Criterion:
    """A criterion of the package as the service has it."""
    names = [key for key in own if key not in _ANSWERS and own[key] != entry.get(key, _default(key))]
    criterion = _made({**entry, **own})
    counting = {key: own[key] for key in names if key in _COUNTING}
    version = criterion.version
    if counting and "version" not in own:
        text = json.dumps(counting, sort_keys=True)
        version = f"{version}.{hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]}"
    if "version" in own:
        names.append("version")
    return replace(criterion, version=version, changed=", ".join(sorted(names)))


def _added(entry: Entry) -> Criterion:
    """A criterion of the service's own."""
    return replace(_made({"version": "1", "title": entry["sentence"], **entry}), changed="added")


def _made(entry: Entry) -> Criterion:
    """A checked entry as a criterion."""
    target = entry.get("target")
    numbers = {"target": None if target is None else float(target)}
    texts = {key: str(value) for key, value in entry.items() if isinstance(value, str | int | float)}
    return Criterion(**{**texts, **numbers, "retired": entry.get("retired", False)})


def _default(key: str) -> Any:
    """What a criterion has where an entry does not say."""
    return next(item.default for item in fields(Criterion) if item.name == key)


def _called(entry: Entry, place: int) -> str:
    """How a refusal names an entry."""
    return f"'{entry['id']}'" if entry.get("id") else f"number {place}"


def _refuse_twice(names: Sequence[str], where: str) -> None:
    """Refuse two entries of one id."""
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise SettingsError(f"{where}, criteria: two criteria have the id '{twice[0]}'. Rename one.")


def _check(entry: Entry, known: Entry | None, where: str) -> None:
    """Refuse an entry that cannot be a criterion."""
    for key in entry:
        if key not in _KEYS:
            raise SettingsError(f"{where}: {unknown_name('key', str(key), list(_KEYS))}")
    whole = {**(known or {}), **entry}
    lacking = [key for key in _NEEDED if not str(whole.get(key, "")).strip()]
    if lacking:
        raise SettingsError(f"{where}: {_missing(lacking[0], str(entry.get('id', '')), known is None)}")
    _check_words(whole, where)
    _check_figure(whole, where)
    _check_values(whole, where)


def _missing(key: str, name: str, new: bool) -> str:
    """A sentence for a key that has no value."""
    if key == "source":
        return f"has no source. Write where it comes from, or '{NO_SOURCE}'."
    # A slip in the id of a criterion of the package makes it one of the service's own.
    near = get_close_matches(name, [str(entry["id"]) for entry in library_entries()], n=1) if new else []
    hint = f" Or did you mean '{near[0]}'?" if near else ""
    return (
        f"has no {key}, which {'a criterion of your own' if new else 'a criterion'} needs. Write one.{hint}"
    )


def _check_words(entry: Entry, where: str) -> None:
    """Refuse words that are not among those known."""
    for key, words in (("kind", KINDS), ("direction", DIRECTIONS)):
        if key in entry and entry[key] not in words:
            raise SettingsError(f"{where}: {unknown_name(key, str(entry[key]), list(words))}")
    if not isinstance(entry.get("retired", False), bool):
        raise SettingsError(f"{where}, retired: must be true or false, got {entry['retired']!r}.")
    for key in ("effective_from", "attested_on"):
        if key in entry and not _is_day(entry[key]):
            raise SettingsError(f"{where}, {key}: is not a date. Write it as 2026-09-30.")


def _check_figure(entry: Entry, where: str) -> None:
    """Refuse a figure that the audit does not have."""
    figure = str(entry["figure"])
    if figure not in FIGURES and any(word in figure for word in UNTARGETED):
        raise SettingsError(f"{where}: {WHY_UNTARGETED}. Leave this criterion out.")
    if figure not in (*FIGURES, ATTESTED):
        raise SettingsError(f"{where}: {unknown_name('figure', figure, [*FIGURES, ATTESTED])}")
    if ("stratum" in entry) != ("by" in entry):
        raise SettingsError(f"{where}: has one of by and stratum without the other. Write both, or neither.")
    if "attested" in entry and figure != ATTESTED:
        raise SettingsError(
            f"{where}: is counted from the log, so it cannot be attested. Leave the answer out."
        )


def _check_values(entry: Entry, where: str) -> None:
    """Refuse a target that is no proportion, and an answer that is neither yes nor no."""
    target = entry.get("target")
    if target is not None and (
        isinstance(target, bool) or not isinstance(target, int | float) or not 0 <= target <= 1
    ):
        raise SettingsError(f"{where}, target: must be a number from 0 to 1, got {target!r}.")
    if entry.get("attested", "") not in ("", "yes", "no"):
        raise SettingsError(f"{where}, attested: must be 'yes' or 'no', got {entry['attested']!r}.")


def _is_day(value: Any) -> bool:
    """Whether a value is a day written as ISO text."""
    try:
        return bool(date.fromisoformat(value))
    except (TypeError, ValueError):
        return False
