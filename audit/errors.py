"""Every exception this package raises on purpose.

AuditError
├── InputRefused        a log that cannot be audited: exit code 3
│   ├── UnreadableFile      not a table in a form we read
│   ├── MissingColumns      lacks what every audit needs
│   ├── IdentifiersFound    seems to say who a woman is
│   └── RecordRefused       a record of an earlier audit that cannot stand beside this one
├── SettingsError       a settings file that cannot be used: exit code 2
│   └── ActionsError        an action plan that cannot be read or followed
├── PeriodError         a period that is not a period: exit code 2
└── OutputError         a folder that cannot or must not be written: exit code 4

A wrong argument to a function is a plain ``ValueError``. A message says where, what is wrong, what was
found and what to do; it never holds a woman's reference, a date of hers or free text.
"""

from difflib import get_close_matches


class AuditError(Exception):
    """Something the user can put right; its text is the whole message."""


class InputRefused(AuditError):
    """A log that cannot be audited as it stands."""


class UnreadableFile(InputRefused):
    """A file that is not a table in a form we read."""


class MissingColumns(InputRefused):
    """A log without the columns that every audit needs."""


class IdentifiersFound(InputRefused):
    """A log that seems to hold what could identify a person; no value of it is ever shown."""


class RecordRefused(InputRefused):
    """A record of an earlier audit that cannot stand beside this one."""


class SettingsError(AuditError):
    """A settings file that cannot be used."""


class ActionsError(SettingsError):
    """An action plan that cannot be read or followed."""


class PeriodError(AuditError):
    """A period that cannot be understood."""


class OutputError(AuditError):
    """An output folder that cannot be written, or must not be overwritten."""


def counted(number: int, noun: str) -> str:
    """A number with its noun, which takes an s unless the number is 1: "1 row", "2,000 rows"."""
    return f"{number:,} {noun}" if number == 1 else f"{number:,} {noun}s"


def name_a_few(names: list[str], *, limit: int = 5) -> str:
    """Names joined by commas, at most `limit` of them, then "and N more"."""
    shown = ", ".join(names[:limit])
    return shown if len(names) <= limit else f"{shown} and {len(names) - limit} more"


def unknown_name(what: str, name: str, known: list[str]) -> str:
    """A sentence for a name that does not exist, with the nearest one that does."""
    near = get_close_matches(name, known, n=1)
    hint = f"Did you mean '{near[0]}'?" if near else f"Write one of: {name_a_few(sorted(known), limit=20)}."
    return f"{what} '{name}' is not known. {hint}"
